"""A saved result may come from anybody: it is judged again, and must fit itself, its command and its job."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from guardcheck.cli import app
from guardcheck.errors import InputError
from guardcheck.job import read_job
from guardcheck.model import DOES_NOT_CONFORM, KNOWN_BY, MEASURED, NOT_APPLICABLE, NOT_PROVEN, Result
from guardcheck.pipeline import Options
from guardcheck.pipeline.options import plan_of
from guardcheck.report import evidence, from_json, read_result, to_json
from guardcheck.report.saved.read import MOST_BYTES
from guardcheck.report.saved.write import result_hash
from guardcheck.verdict.outcome import flattered, overall
from tests.checklist.conftest import WHITE, measured, planned, result, row
from tests.pipeline.jobs import line, text

OWN = "* mine\n.subckt mine in out vdd gnd\nr1 in out {ohms}\nr2 vdd gnd 1e6\n.ends mine\n"
JOB = text(line().replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"')).replace(
    'stage_values = { series = "74 ohm" }\n', ""
)
CHECK = result(planned(), job_sha256=hashlib.sha256(JOB.encode()).hexdigest(), guardcheck="0.1.0")
READINGS = replace(CHECK, command="verify", findings=measured(), not_examined=())


def forged(one: Result, change: Callable[[dict[str, Any]], None]) -> str:
    """Return a saved result that somebody edited, and whose digest they worked out again."""
    whole = json.loads(to_json(one))
    change(whole)
    content = {key: value for key, value in whole.items() if key not in ("curves", "schematics", "engine", "digest")}
    whole["digest"] = hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()
    return json.dumps(whole)


def set_(**values: Any) -> Callable[[dict[str, Any]], None]:
    def change(whole: dict[str, Any]) -> None:
        one = next(one for one in whole["findings"] if one["quantity"] == "level.white" and one["needed"])
        one.update(values)

    return change


def test_the_forger_works() -> None:
    assert from_json(forged(CHECK, lambda whole: None)) == from_json(to_json(CHECK))
    assert from_json(to_json(CHECK)).guardcheck == "0.1.0"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (set_(value=99.0), "cannot conform with 99 V against 496 to 989 mV"),
        (set_(value=None), "cannot conform without a value"),
        (set_(spread=[0.4, 0.7]), "cannot conform with 400 mV against"),
        (lambda whole: whole["findings"].clear(), "findings: the list is empty"),
        (lambda whole: [one.update(needed=False) for one in whole["findings"]], "no finding is needed"),
        (set_(outcome=DOES_NOT_CONFORM), "calls itself conforms, but a needed finding is does_not_conform"),
    ],
)
def test_a_forged_conformity_is_refused_by_its_own_numbers(change: Callable[..., Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        from_json(forged(CHECK, change))


def test_a_measured_value_keeps_its_distance_from_the_limit() -> None:
    """0.496 V + 0.021 V = 0.517 V is the least that conforms (decision margin w = U, ILAC-G8:09/2019)."""
    assert from_json(forged(READINGS, set_(value=0.517))).findings
    with pytest.raises(InputError, match="cannot conform with 516 mV ± 21 mV"):
        from_json(forged(READINGS, set_(value=0.516)))


@pytest.mark.parametrize(
    "change",
    [
        set_(value=0.7001),
        set_(why="all is well"),
        lambda whole: whole["findings"].pop(),
        lambda whole: whole["cautions"].clear(),
        lambda whole: whole.update(job_sha256="0" * 64),
        lambda whole: whole.update(guardcheck="9.9"),
        lambda whole: whole.update(digest=""),
    ],
)
def test_any_edit_is_seen_by_the_digest(change: Callable[..., Any]) -> None:
    whole = json.loads(to_json(CHECK))
    change(whole)
    with pytest.raises(InputError, match="digest: does not fit what the file says"):
        from_json(json.dumps(whole))


def test_the_former_format_is_read_without_a_digest_and_judged_as_well() -> None:
    whole = json.loads(to_json(CHECK)) | {"format": "guardcheck-result/1"}
    del whole["digest"], whole["guardcheck"]
    back = from_json(json.dumps(whole | {"guardcheck": "0.1.0"}))
    assert (back.findings, back.guardcheck) == (from_json(to_json(CHECK)).findings, "")
    set_(value=99.0)(whole)
    with pytest.raises(InputError, match="cannot conform with 99 V"):
        from_json(json.dumps(whole))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"low": None}, r"low: found null, but its limit says 0\.496"),
        ({"high": None}, r"high: found null, but its limit says 0\.989"),
        ({"reference": "a friend"}, r'reference: found "a friend", but its limit says "Invented standard 1'),
        ({"low": "0.4 V"}, r'findings\[\d+\]\.low: found "0\.4 V"; accepted: a finite number or null'),
        ({"high": 5.0}, "digest: does not fit what the file says"),
    ],
)
def test_a_row_that_does_not_say_what_its_limit_says_is_refused(values: dict[str, Any], words: str) -> None:
    text = to_json(CHECK)
    whole = json.loads(text)
    set_(**values)(whole)
    with pytest.raises(InputError, match=words):
        from_json(json.dumps(whole))


@pytest.mark.parametrize("known_by", KNOWN_BY)
def test_a_row_of_the_first_format_may_say_its_limit_alone(known_by: str) -> None:
    limit = replace(WHITE, known_by=known_by, clause=None)
    red = row("level.white", "red", True, 0.7, limit=limit)
    whole = json.loads(to_json(replace(CHECK, findings=(red,)))) | {"format": "guardcheck-result/1"}
    del whole["limits"], whole["digest"]
    (back,) = from_json(json.dumps(whole)).findings
    assert back.limit == replace(limit, nominal=None, note=None)
    set_(value=0.99)(whole)
    with pytest.raises(InputError, match="cannot conform with 990 mV against 496 to 989 mV"):
        from_json(json.dumps(whole))


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({}, None),
        ({"value": 0.4959}, "with 496 mV against 496 to 989 mV"),
        ({"value": 0.4959, "outcome": NOT_PROVEN}, None),
        ({"limit": None}, "without a limit"),
        ({"limit": replace(WHITE, low=None, high=None)}, "without a limit"),
        ({"limit": replace(WHITE, low=None), "value": 0.4}, None),
        ({"limit": replace(WHITE, low=None), "value": 0.989001}, "with 989 mV against at most 989 mV"),
        ({"interval": (0.6, 1.0)}, "with 1 V against 496 to 989 mV"),
        ({"origin": MEASURED, "uncertainty": 0.3}, "with 700 mV ± 300 mV"),
        ({"quantity": "declared.fact", "value": None, "limit": None}, None),
    ],
)
def test_what_a_conforming_row_must_bear_out(values: dict[str, Any], why: str | None) -> None:
    assert flattered(replace(row("level.white", "red", True, 0.7, limit=WHITE), **values)) == why


@pytest.mark.parametrize(
    ("check", "readings", "words"),
    [
        (READINGS, None, "check: is a result of 'verify'; a result of 'check' is wanted here"),
        (CHECK, CHECK, "verify: is a result of 'check'; a result of 'verify' is wanted here"),
    ],
)
def test_readings_are_no_plan_and_a_plan_is_no_reading(check: Result, readings: Result | None, words: str) -> None:
    with pytest.raises(InputError, match=words):
        evidence(check, readings)


@pytest.fixture
def saved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Save a check and readings of one job in the working folder, and return it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "job.toml").write_text(JOB, encoding="utf-8")
    (tmp_path / "mine.cir").write_text(OWN.format(ohms=75), encoding="utf-8")
    used = plan_of(read_job(Path("job.toml")), Options()).used
    (tmp_path / "check.json").write_text(to_json(replace(CHECK, circuits=used)), encoding="utf-8")
    (tmp_path / "verify.json").write_text(to_json(replace(READINGS, circuits=used)), encoding="utf-8")
    return tmp_path


def run(*arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, arguments)
    return done.exit_code, f"{done.output}{done.exception or ''}"


HAND_OVER = ("checklist", "--html", "sheet.html", "--result", "check.json", "--verified", "verify.json")


def test_a_hand_over_from_saved_results(saved: Path) -> None:
    code, said = run(*HAND_OVER, "job.toml")
    assert (code, said) == (0, "conforms: wrote sheet.html\n")


def test_a_verify_is_not_taken_for_the_check(saved: Path) -> None:
    code, said = run("checklist", "--html", "sheet.html", "--result", "verify.json")
    assert code != 0
    assert "a result of 'check' is wanted here" in said
    assert not (saved / "sheet.html").exists()


def test_a_job_that_changed_or_is_gone_is_refused(saved: Path) -> None:
    (saved / "job.toml").write_text(f"{JOB}# one more word\n", encoding="utf-8")
    code, said = run(*HAND_OVER, "job.toml")
    assert code != 0
    assert "check.json: job_sha256: was made of another job file than job.toml as it stands now" in said
    code, said = run(*HAND_OVER, "gone.toml")
    assert code != 0
    assert "gone.toml: cannot be read: no such file" in said
    assert not (saved / "sheet.html").exists()


def test_a_job_file_beside_the_saved_result_is_looked_at_without_being_named(saved: Path) -> None:
    """The result names its job file; where that lies beside it, it must still be what was checked."""
    assert run(*HAND_OVER) == (0, "conforms: wrote sheet.html\n")
    (saved / "sheet.html").unlink()
    code, said = run("checklist", "--html", "job.toml", *HAND_OVER[3:])
    assert code != 0
    assert "job.toml" in said
    assert (saved / "job.toml").read_text(encoding="utf-8") == JOB
    (saved / "mine.cir").write_text(OWN.format(ohms=10), encoding="utf-8")
    code, said = run(*HAND_OVER)
    assert code != 0
    assert "was made of another stage 'mine' than mine.cir as it stands now" in said
    (saved / "job.toml").write_text(f"{JOB}# one more word\n", encoding="utf-8")
    code, said = run(*HAND_OVER)
    assert code != 0
    assert "check.json: job_sha256: was made of another job file than job.toml as it stands now" in said
    assert not (saved / "sheet.html").exists()


def test_a_job_file_that_is_not_at_hand_is_said(saved: Path) -> None:
    (saved / "job.toml").unlink()
    code, said = run(*HAND_OVER)
    assert code == 0
    assert said == ("conforms: wrote sheet.html; job file not at hand: nobody has looked whether it changed since\n")
    elsewhere = to_json(replace(CHECK, job_file="../job.toml"))
    (saved / "apart").mkdir()
    (saved / "apart" / "check.json").write_text(elsewhere, encoding="utf-8")
    (saved / "job.toml").write_text("another", encoding="utf-8")
    _, said = run("checklist", "--html", "sheet.html", "--result", "apart/check.json")  # beside it, and nowhere else
    assert "job file not at hand" in said


def test_a_netlist_the_job_names_that_changed_is_refused(saved: Path) -> None:
    """The job file stays as it was; what it names is another circuit than the one that was checked."""
    (saved / "mine.cir").write_text(OWN.format(ohms=10), encoding="utf-8")
    code, said = run(*HAND_OVER, "job.toml")
    assert code != 0
    assert "check.json: circuits: was made of another stage 'mine' than mine.cir as it stands now" in said
    assert not (saved / "sheet.html").exists()


def test_a_row_taken_out_of_a_file_without_a_digest_is_not_handed_over(saved: Path) -> None:
    """The first format has no digest, and whoever edits a file can name it; it is read, but proves nothing."""
    whole = json.loads((saved / "check.json").read_text(encoding="utf-8"))
    whole |= {"format": "guardcheck-result/1", "findings": whole["findings"][1:]}
    (saved / "check.json").write_text(json.dumps(whole), encoding="utf-8")
    code, said = run(*HAND_OVER)
    assert code != 0
    assert "check: was saved without a digest, so nothing shows that it is whole; run 'check' again" in said
    assert not (saved / "sheet.html").exists()


def test_new_readings_are_not_passed_over_for_saved_ones(saved: Path) -> None:
    (saved / "readings.toml").write_text("format = 1\n", encoding="utf-8")
    for more in (("--readings", "readings.toml"), ("--capture", "red=red.csv"), ("--sync", "CH2")):
        code, said = run(*HAND_OVER, "job.toml", *more)
        assert code != 0
        assert "--verified: readings and captures are judged anew; give these or a saved verify, not both" in said


def test_a_result_too_large_is_refused_unread(tmp_path: Path) -> None:
    large = tmp_path / "large.json"
    with large.open("wb") as stream:
        stream.truncate(MOST_BYTES + 1)
    with pytest.raises(InputError, match="is larger than 16000 kB, the most a saved result has"):
        read_result(large)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({}, 0),
        ({"value": 0.701}, 0),
        ({"outcome": NOT_PROVEN}, 11),
        ({"outcome": DOES_NOT_CONFORM, "value": 0.2}, 10),
        ({"needed": False}, 11),
        ({"outcome": NOT_APPLICABLE, "needed": False}, 11),
    ],
)
def test_compare_tells_by_its_exit_code_that_something_got_worse(
    saved: Path, changes: dict[str, Any], code: int
) -> None:
    first, *others = (one for one in CHECK.findings if one.needed)
    before = replace(CHECK, findings=(first, *others))
    now = (replace(first, **changes), *others)
    later = replace(CHECK, findings=now, outcome=overall(now))
    (saved / "before.json").write_text(to_json(before), encoding="utf-8")
    (saved / "after.json").write_text(to_json(later), encoding="utf-8")
    assert result_hash(before) == json.loads((saved / "before.json").read_text(encoding="utf-8"))["digest"]
    assert run("compare", "before.json", "after.json")[0] == code
    assert run("compare", "after.json", "before.json")[0] == 0
