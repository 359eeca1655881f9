"""Which reading comes next: what it decides, and that the list changes with every reading taken."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.model import DOES_NOT_CONFORM, Result
from guardcheck.report import from_json, to_json, to_short_reading
from guardcheck.report.arrange.explanations import explanations
from tests.verify.bench import BACK_MATCHED, dark, line, only, reading, run, text
from tests.verify.injected_faults import searches
from tests.verify.test_verify import RGBS, RIGHT

FINE = {"accuracy": "1%", "resolution": "1 mV", "termination": "1%"}


def keys(result: Result) -> list[str]:
    return [one.key for one in result.asks]


def test_everything_that_is_owed_is_asked_once(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, RGBS, RIGHT[0])
    open_ = {one.id for one in result.findings if one.needed and one.outcome == "not_proven"}
    assert open_ <= {id_ for one in result.asks for id_ in one.findings}
    assert len(set(keys(result))) == len(keys(result))
    assert all(one.decides == len(one.findings) and one.safe and one.where for one in result.asks)
    assert from_json(to_json(result)).asks == result.asks


def test_the_last_white_of_a_picture_comes_first(engine: Engine, tmp_path: Path) -> None:
    """It decides itself and the match of all three lines; any other reading decides itself alone."""
    result = run(engine, tmp_path, RGBS, RIGHT[0], RIGHT[1])
    first = result.asks[0]
    assert (first.key, first.decides) == ("reading:blue/level.white", 4)
    assert "LVL01/red/bare/level.mismatch" in first.findings
    assert {one.decides for one in result.asks[1:]} == {1}


def test_the_list_changes_with_every_reading_and_ends(engine: Engine, tmp_path: Path) -> None:
    left = [len(run(engine, tmp_path, RGBS, *RIGHT[:count]).asks) for count in (1, 2, 3, 4)]
    assert left == sorted(left, reverse=True)
    assert left[-1] == 0
    assert len(set(left)) == len(left)


def test_a_wrong_line_asks_for_what_tells_its_causes_apart(engine: Engine, tmp_path: Path) -> None:
    result = run(engine, tmp_path, text(BACK_MATCHED), reading(value="1.4 V", **FINE), dark())
    assert only(result, "level.white").outcome == DOES_NOT_CONFORM
    (ask,) = result.asks
    assert ask.key.startswith("reading:red/")
    assert ask.where == result.extra["explanations"][0]["do"]


def test_of_two_readings_the_one_that_is_likelier_to_decide_comes_first(engine: Engine, tmp_path: Path) -> None:
    """0.7 V lies far inside 0.496 to 0.989 V; 0.99 V lies on the end of it, where no hand scope decides."""
    near = line("green", source_values='white = "1.98 V", impedance = "1 mohm"', stage_values='series = "75 ohm 1%"')
    result = run(engine, tmp_path, text(BACK_MATCHED.replace("red", "blue"), near), dark("blue"), dark("green"))
    whites = [one.key for one in result.asks if one.key.endswith("level.white")]
    assert whites == ["reading:blue/level.white", "reading:green/level.white"]


PAD = line("red", source_values='white = "5 V", impedance = "1 mohm"', stage="two-resistor-pad",
           stage_values='series = "267 ohm 1%", shunt = "105 ohm 1%"')  # fmt: skip

# (fault, ohms of series and shunt, load with the display connected, load with the lead out)
INJECTED = [
    ("line shunt 75 ohm", 267.0, 105.0, 37.5, 75.0),
    ("display double-terminated", 267.0, 105.0, 37.5, 1e6),
    ("display unterminated", 267.0, 105.0, 1e6, 1e6),
    ("rp_stage 1 Gohm", 267.0, 1e9, 75.0, 1e6),
    ("rs_stage 534 ohm", 534.0, 105.0, 75.0, 1e6),
    ("rs_stage swapped with rp_stage", 105.0, 267.0, 75.0, 1e6),
]


@pytest.mark.parametrize(("fault", "series", "shunt", "load", "out"), INJECTED, ids=[row[0] for row in INJECTED])
def test_a_fault_is_found_by_following_the_next_reading(
    engine: Engine, tmp_path: Path, fault: str, series: float, shunt: float, load: float, out: float
) -> None:
    """A loaded reading, then the lead out where that is what is asked: the fault stays, rivals go (circuit law)."""

    def volts(across: float) -> float:
        parallel = 1 / (1 / shunt + 1 / across)
        return 5 * parallel / (series + parallel)

    told = [reading(value=f"{volts(load):.4f} V", **FINE)]
    first = run(engine, tmp_path, text(PAD), *told).extra["explanations"][0]
    before = {one["id"] for one in first["causes"]}
    assert fault in before
    if first["next"] is not None and "line open" in first["next"]["measure"]:
        told.append(reading(value=f"{volts(out):.4f} V", load="open", place="connector", **FINE))
        after = {one["id"] for one in run(engine, tmp_path, text(PAD), *told).extra["explanations"][0]["causes"]}
        assert fault in after
        assert after < before or len(before) == 1


def test_injected_faults_are_found_by_the_advice_alone(engine: Engine) -> None:
    """A sample of the forty of injected_faults.py: every one is found, in fewer readings than a fixed order takes."""
    ends = list(searches(engine, 6, ("pad", "follower"), seed=3))
    assert [(one.line, one.fault) for one in ends if not one.found] == []
    assert len(ends) == 6
    assert sum(one.readings for one in ends) < sum(one.fixed for one in ends)


def test_what_follows_each_value_is_told_with_the_next_reading(engine: Engine, tmp_path: Path) -> None:
    """67 % of white: no single further reading names the cause, and a reading of ohms cannot be handed in."""
    result = run(engine, tmp_path, text(BACK_MATCHED), reading(value="467 mV", **FINE))
    (one,) = explanations(result)
    marks = {cause.mark for cause in one.causes}
    assert len(marks) >= 3
    assert one.then
    assert {
        mark for step in one.then for _, pointed in step.expect for mark in re.findall(r"\((\w)\)", pointed)
    } <= marks
    assert one.then[0].after in {value for value, _ in one.expect}
    said = to_short_reading(result)
    assert all(f"({mark})" in said for mark in marks)
    assert f"    at {one.then[0].after}: " in said
    assert max(len(row) for row in said.splitlines()) <= 80
