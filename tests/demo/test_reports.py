"""The committed reports say what the code makes today: words and numbers exactly, drawings as far as the eye sees."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from guardcheck.model import Curve, EngineInfo, Result
from tests.checklist.conftest import measured, planned, result
from tests.checklist.test_same_everywhere import NUDGES, nudged
from tests.demo.content import differences, same
from tests.demo.make_reports import DEMO, SEARCHED, make_all, reports, sheets, write

UNITS = sorted(path.parent.name for path in DEMO.glob("*/job.toml"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All reports, made again in another folder."""
    folder = tmp_path_factory.mktemp("reports")
    for unit in UNITS:
        made = ("*.html", "*.svg", "*.json", "*.txt", "*.pdf", "proposed.toml")
        shutil.copytree(DEMO / unit, folder / unit, ignore=shutil.ignore_patterns(*made))
    make_all(folder)
    return folder


def release(folder: Path) -> str:
    """Return the simulator's release a unit's report was made with."""
    return str(json.loads((folder / "report.json").read_text(encoding="utf-8"))["engine"]["version"])


def outcomes(path: Path) -> dict[str, str]:
    """Return the outcome of every finding of a saved result by its id; none for another kind of file."""
    rows = json.loads(path.read_text(encoding="utf-8")).get("findings", [])
    return {row["id"]: row["outcome"] for row in rows}


@pytest.mark.parametrize("unit", UNITS)
def test_reports_are_what_the_code_makes(made: Path, unit: str) -> None:
    kept, new = DEMO / unit, made / unit
    assert sorted(path.name for path in new.iterdir()) == sorted(path.name for path in kept.iterdir())
    given = {path.name for path in new.iterdir() if path.suffix in (".toml", ".csv")} - {"proposed.toml"}
    made_only = {path for path in new.iterdir() if path.name not in given}
    if release(new) != release(kept):  # another release of the simulator steps through time in its own way
        made_only = {path for path in made_only if path.suffix == ".json"}
    for path in sorted(made_only):
        if release(new) != release(kept):
            assert outcomes(path) == outcomes(kept / path.name), f"{unit}/{path.name}"
            continue
        found = list(differences(path.name, path.read_bytes(), (kept / path.name).read_bytes()))
        assert found == [], f"{unit}/{path.name}: run make reports"


def test_the_index_opens_every_file_of_every_unit(made: Path) -> None:
    text = (made / "index.html").read_text(encoding="utf-8")
    links = set(re.findall(r'(?:href|src)="([^"]+)"', text))
    assert {link for link in links if not (made / link).is_file()} == set()
    assert links >= {f"{unit}/{path.name}" for unit in UNITS for path in (made / unit).iterdir() if path.is_file()}


@pytest.mark.parametrize("unit", SEARCHED)
def test_the_build_proposed_turns_a_plan_that_fails_into_one_that_conforms(made: Path, unit: str) -> None:
    before = json.loads((made / unit / "report.json").read_text(encoding="utf-8"))
    build = json.loads((made / unit / "proposals.json").read_text(encoding="utf-8"))["lines"][0]["builds"][0]
    after = (made / unit / "proposed.txt").read_text(encoding="utf-8")
    job = tomllib.loads((made / unit / "proposed.toml").read_text(encoding="utf-8"))
    assert before["outcome"] == "does_not_conform"
    assert after.splitlines()[2].startswith("CONFORMS")
    assert (job["line"][0]["stage"], job["line"][0]["guard"]) == (build["stage"], build["guard"])
    assert build["sync"]["value"] == pytest.approx(0.3, rel=0.06)  # 300 mV; 6 % nobody sees


TIME = np.linspace(0.0, 64e-6, 400)
WAVE = Curve("red", True, "waveform", "red guarded", TIME, 0.35 + 0.35 * np.sin(TIME * 2e5), "s", "V", (0.496, 0.989))
CHECK = result(planned(), curves=(WAVE,))
READINGS = result(measured(), command="verify", not_examined=())


def elsewhere(one: Result, share: float) -> Result:
    """Return a result as another processor and another simulator would give it: every number off by a little."""
    curves = tuple(replace(curve, y=curve.y * (1.0 + share * np.cos(curve.x * 1e6))) for curve in one.curves)
    moved: Result = replace(nudged(one, NUDGES["more"]), curves=curves, engine=EngineInfo("ngspice", "45.2"))
    return moved


def all_files(check: Result, readings: Result) -> dict[str, bytes]:
    return {**reports(check, "report"), **sheets(check, readings)}


def test_another_processor_leaves_the_committed_files_alone(tmp_path: Path) -> None:
    write(tmp_path, all_files(CHECK, READINGS))
    before = {path.name: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
    there = all_files(elsewhere(CHECK, 1e-8), elsewhere(READINGS, 1e-8))
    assert {path.suffix for path in tmp_path.iterdir()} == {".html", ".json", ".pdf", ".svg", ".txt"}
    assert there["report.json"] != (tmp_path / "report.json").read_bytes()
    write(tmp_path, there)
    assert {path.name: path.stat().st_mtime_ns for path in tmp_path.iterdir()} == before


def test_a_point_drawn_a_hair_away_is_the_same_drawing() -> None:
    drawn = '<svg><rect x="100" y="50"/><path d="M 0 0 L 10 %s L 20 0"/></svg>'
    ours, hair, line = ((drawn % point).encode() for point in ("5", "5.4", "5.6"))
    assert same("a.svg", ours, hair)
    assert not same("a.svg", ours, line)
    assert not same("a.svg", ours, ours.replace(b"rect", b"line"))
    assert not same("a.svg", ours, ours.replace(b'x="100"', b'x="100.6"'))


def test_what_a_reader_would_see_is_seen(tmp_path: Path) -> None:
    ours = all_files(CHECK, READINGS)
    first = CHECK.findings[0]
    changed = replace(CHECK, findings=(replace(first, value=0.704, why="another reason"), *CHECK.findings[1:]))
    theirs = all_files(changed, READINGS)
    assert {name for name in ours if not same(name, ours[name], theirs[name])} == {
        "report.json", "report.html", "report-full.txt", "sheet.html", "sheet.pdf", "record.pdf",
    }  # fmt: skip
    drawn = reports(replace(CHECK, curves=(replace(WAVE, y=WAVE.y * 1.02),)), "report")
    assert {name for name in drawn if not same(name, ours[name], drawn[name])} == {
        "report.json", "report.html", "report-red-waveform.svg",
    }  # fmt: skip
