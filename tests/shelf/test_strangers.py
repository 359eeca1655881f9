"""What a stranger adds: refused with a sentence where it cannot be used, taken and named where it can."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import CircuitError, UnknownQuantity
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Quantity
from guardcheck.model.quantities import unit_of_quantity
from guardcheck.pipeline import Options, check_job, describe, prove, proven, shelf
from guardcheck.report import proofs, sheet
from guardcheck.report import shelf as shelf_text
from guardcheck.verdict.outcome import finding
from tests.pipeline.jobs import line, text

ROOT = Path(__file__).parents[2]
CIRCUITS, STANDARDS = ROOT / "circuits", ROOT / "guardcheck" / "standards"


def mine(folder: Path, kind: str, old: str, new: str, *changes: tuple[str, str]) -> Path:
    """Copy a part under a new name into a stranger's folder, with changes to its two files."""
    place = folder / kind / new
    shutil.copytree(CIRCUITS / kind / old, place)
    for end in ("cir", "toml"):
        file = place / f"{old}.{end}"
        body = file.read_text(encoding="utf-8").replace(old.replace("-", "_"), new.replace("-", "_"))
        for before, after in changes:
            body = body.replace(before, after)
        file.write_text(body, encoding="utf-8")
        file.rename(place / f"{new}.{end}")
    return place


def test_a_guard_that_does_not_say_where_it_sits_is_refused_at_load(tmp_path: Path) -> None:
    place = mine(tmp_path, "guards", "silicon-pair", "my-pair")
    file = place / "my-pair.toml"
    body = file.read_text(encoding="utf-8")
    assert "[parameters.place]" in body
    file.write_text(body.replace("[parameters.place]", "[parameters.seat]"), encoding="utf-8")
    with pytest.raises(CircuitError, match=r"my-pair\.toml.*place.*is missing; a guard says where it may sit"):
        Library.load(tmp_path).get("guard", "my-pair")
    file.write_text(body.replace('"chip", "connector"', '"chip", "roof"').replace('"roof"', '"roof"'), encoding="utf-8")
    with pytest.raises(CircuitError, match="names no place a guard can sit"):
        Library.load(tmp_path).get("guard", "my-pair")


def test_one_broken_part_or_standard_hides_no_other(tmp_path: Path) -> None:
    mine(tmp_path, "stages", "series-resistor", "my-stage")
    (mine(tmp_path, "stages", "series-resistor", "torn-stage") / "torn-stage.toml").write_text("title =", "utf-8")
    (tmp_path / "standards").mkdir()
    (tmp_path / "standards" / "torn.toml").write_text("title =", "utf-8")
    listed = {item.name: item.title for item in shelf(None, tmp_path)}
    assert listed["torn-stage"].startswith("cannot be used: ")
    assert "torn-stage.toml" in listed["torn-stage"]
    assert listed["torn"].startswith("cannot be used: ")
    assert listed["my-stage"] == listed["series-resistor"]
    assert "cannot be used" in shelf_text(shelf("stages", tmp_path))


def test_a_users_standard_is_used_named_and_warned_of(tmp_path: Path, engine: Engine) -> None:
    """The white level of the supplied one, held against 0.1 to 0.2 V: 0.7 V does not conform, and we are told why."""
    (tmp_path / "standards").mkdir()
    body = (STANDARDS / "scart-rgb.toml").read_text(encoding="utf-8")
    start = body.index('quantity = "level.white"')
    row = body[start : body.index("[[limit]]", start)]
    narrow = 'quantity = "level.white"\nnominal = "0.15 V"\nlow = "0.1 V"\nhigh = "0.2 V"\n'
    narrow += 'reference = "The workshop\'s own page"\nknown_by = "read"\n\n'
    (tmp_path / "standards" / "mine-rgb.toml").write_text(body.replace(row, narrow), encoding="utf-8")
    job = parse_job(text(line(standard="mine-rgb")), file="job.toml")
    result = check_job(job, engine, Options(samples=0, events=False, circuits=tmp_path))
    (white,) = (one for one in result.findings if one.quantity == "level.white")
    assert white.outcome == DOES_NOT_CONFORM
    assert (white.low, white.high) == (0.1, 0.2) or (white.limit is not None and white.limit.high == 0.2)
    (used,) = (one for one in result.circuits if one.kind == "standard")
    assert (used.name, used.file) == ("mine-rgb", f"{tmp_path.name}/standards/mine-rgb.toml")
    assert len(used.sha256) == 64
    assert any("standard 'mine-rgb' is the one in" in warning for warning in result.warnings)
    assert "mine-rgb" in {item.name for item in shelf("standards", tmp_path)}
    assert describe("mine-rgb", tmp_path)[0].kind == "standard"


def test_the_battery_runs_over_a_strangers_parts_and_has_teeth(tmp_path: Path) -> None:
    """Three parts: one as it is, one whose 75 ohm became 76, one that cannot be read. Each has its own row."""
    mine(tmp_path, "stages", "two-resistor-pad", "good-pad")
    bad = mine(tmp_path, "stages", "two-resistor-pad", "bad-pad") / "bad-pad.cir"
    bad.write_text(bad.read_text(encoding="utf-8").replace("{shunt}", "{2*shunt}"), encoding="utf-8")
    (mine(tmp_path, "stages", "two-resistor-pad", "torn-pad") / "torn-pad.toml").write_text("title =", "utf-8")
    found = prove(Options(circuits=tmp_path, workers=1))
    by = {member: [one for one in found if one.member == member] for member in {one.member for one in found}}
    assert set(by) == {"stage good-pad", "stage bad-pad", "stage torn-pad"}
    assert {one.outcome for one in by["stage good-pad"]} == {CONFORMS}
    assert DOES_NOT_CONFORM in {one.outcome for one in by["stage bad-pad"]}
    (torn,) = by["stage torn-pad"]
    assert torn.outcome == NOT_PROVEN
    assert proven(found) == DOES_NOT_CONFORM
    told = proofs(found)
    assert f"all {len(by['stage good-pad'])} checks hold" in told
    assert "declared" in told
    assert max(map(len, told.splitlines())) <= 80


def test_an_empty_shelf_proves_nothing(tmp_path: Path) -> None:
    found = prove(Options(circuits=tmp_path, workers=1))
    assert found == ()
    assert proven(found) == NOT_PROVEN
    assert "no part here" in proofs(found)


def test_a_strangers_checks_are_declared_until_they_are_run(tmp_path: Path) -> None:
    mine(tmp_path, "stages", "series-resistor", "my-stage")
    assert "Declared checks, not run for this page (guardcheck prove runs them)" in sheet(
        describe("my-stage", tmp_path)
    )
    ours = sheet(describe("series-resistor", tmp_path))
    assert "Checked in ngspice" in ours
    assert "Declared" not in ours


def test_a_quantity_without_a_row_is_a_sentence() -> None:
    assert unit_of_quantity("level.white") == "V"
    with pytest.raises(UnknownQuantity, match=r"'level\.glow' has no row in model/quantities\.py"):
        finding("LVL01", Quantity("level.glow", "red", False, 1.0), None, needed=True)
