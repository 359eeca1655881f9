"""Advice is simulated: it cures the very quantity that failed, makes nothing else fail, or says that nothing did."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Finding, Result
from guardcheck.pipeline import Options, check_job
from guardcheck.pipeline.sentences import advice
from guardcheck.proposal import remedies
from guardcheck.proposal.remedies import NOTHING, owed
from guardcheck.proposal.trials import Trial
from guardcheck.rules import all_rules
from guardcheck.simulate.planning import JobPlan
from tests.pipeline.jobs import finding, line, run, text

DEMOS = sorted((Path(__file__).parents[2] / "reports-demo").glob("*/job.toml"))

COMPOSITE = 'white = "2.0 V", black = "0.6 V", blank = "0.6 V", sync = "0 V", impedance = "1 ohm"'
STIFF = 'white = "1.4 V", impedance = "1 ohm"'
BROKEN = {
    "too small a coupling capacitor": text(
        line(stage="ac-coupled", stage_values='capacitor = "220 uF 20%", series = "74 ohm"')
    ),
    "75 ohm twice": text(line(source_values='white = "1.4 V", impedance = "75 ohm"', stage_values='series = "75 ohm"')),
    "a second termination in the display": text(line(), display="double-terminated"),
    "no termination": text(line(), display="unterminated"),
    "an input of a kilohm by design": text(line(), display="unterminated").replace(
        'input = "unterminated"', 'input = "unterminated"\nvalues = { termination = "1 kohm" }'
    ),
    "wrong values in a pad": text(
        line(
            source_values='white = "2.0 V", impedance = "10 ohm"',
            stage="two-resistor-pad",
            stage_values='series = "22 ohm 1%", shunt = "470 ohm 1%"',
        )
    ),
    "a transistor without bias": text(
        line(source_values='white = "1.6 V", black = "0 V", impedance = "1 ohm"', stage="npn-follower", stage_values="")
    ),
    "wide tolerances": text(
        line(
            standard="vga",
            source_values='white = "2.1 V", impedance = "1 ohm"',
            stage="two-resistor-pad",
            stage_values='series = "110 ohm 10%", shunt = "220 ohm 10%"',
        )
    ),
    "sync at logic level": text(
        line("sync", "scart-sync", "logic-pin", 'high = "5 V", low = "0 V", impedance = "50 ohm"', "pass-through", "")
    ),
    "a guard that eats the sync": text(
        line(
            "comp", "composite-625", "video-pin", COMPOSITE, "ac-coupled", 'series = "74 ohm"', "schottky-pair"
        ).replace('guard = "schottky-pair"', 'guard = "schottky-pair"\nguard_values = { place = "connector" }')
    ),
    "a buffer that clips": text(
        line(
            source_values='white = "2.4 V", black = "0.3 V", impedance = "1 ohm"', stage="video-buffer", stage_values=""
        )
    ),
    "nothing at all": text(line(source_values='white = "0.001 V", impedance = "1 ohm"')),
}


@pytest.fixture(scope="module")
def results(engine: Engine) -> dict[str, Result]:
    return {name: run(engine, job) for name, job in BROKEN.items()}


def as_built(result: Result) -> list[Finding]:
    guarded = {one.line for one in result.findings if one.guarded}
    return [one for one in result.findings if owed(replace(one, remedy=None)) and one.guarded == (one.line in guarded)]


@pytest.mark.parametrize("name", BROKEN)
def test_what_fails_has_a_simulated_cure_or_says_that_there_is_none(results: dict[str, Result], name: str) -> None:
    failing = as_built(results[name])
    assert failing
    for one in failing:
        assert one.remedy is not None, one.id
        assert "(simulated: " in one.remedy or one.remedy.startswith(NOTHING), (one.id, one.remedy)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.parent.name)
def test_the_demo_has_no_failure_without_an_answer(engine: Engine, path: Path) -> None:
    job = parse_job(path.read_text(encoding="utf-8"), file=str(path))
    for one in as_built(check_job(job, engine, Options(samples=0, events=False))):
        assert one.remedy is not None, one.id
        assert "(simulated: " in one.remedy or one.remedy.startswith(NOTHING), (one.id, one.remedy)


@pytest.mark.parametrize(
    ("name", "quantity", "words"),
    [
        # tanh(10 ms / (2 x 150 ohm x C)): 220 uF tilt 15 %, 330 uF 10.1 %, 470 uF 7.1 %: the first that holds 10 %
        ("too small a coupling capacitor", "response.field_tilt", r"larger coupling capacitor.*470 uF"),
        # 1.4 V behind 75 ohm is right by itself: nothing but a wire belongs there
        ("75 ohm twice", "level.white", r"pass-through|series-resistor.*series 22 ohm"),
        ("a second termination in the display", "level.white", r"two terminations"),
        ("no termination", "level.white", r"not terminated"),
        # k = 2 x 0.7/2, series 75/k - 10 = 97, shunt 75/(1-k) = 250: two equations, nearest E24 pair 100 and 240
        ("wrong values in a pad", "level.white", r"two-resistor-pad of red to series 100 ohm 1% and shunt 240"),
        ("a transistor without bias", "level.white", r"bias"),
        ("wide tolerances", "level.white", r"closer parts on red"),
    ],
)  # fmt: skip
def test_the_cure_is_the_one_a_practitioner_would_name(
    results: dict[str, Result], name: str, quantity: str, words: str
) -> None:
    one = next(found for found in results[name].findings if found.quantity == quantity and found.remedy is not None)
    assert re.search(words, one.remedy or ""), one.remedy


FAILING = [
    (f"{one.rule.code}: {case.name}", found)
    for one in all_rules()
    for case in one.cases
    for found in one.judge(case.facts)
    if found.needed and found.outcome == DOES_NOT_CONFORM
]


@pytest.mark.parametrize("found", [found for _, found in FAILING], ids=[name for name, _ in FAILING])
def test_whatever_a_rule_fails_says_what_to_do(found: Finding) -> None:
    """What a change of the plan may cure is simulated; everything else is told what to look at, or to put right."""
    assert remedies.curable(found) or advice(found, {}), found.id


@pytest.mark.parametrize(("quantity", "words"), [("sync.lock", "into the window"), ("source.fit", "which kind")])
def test_what_no_level_settles_is_not_sent_to_be_measured(quantity: str, words: str) -> None:
    one = Finding("TST01", quantity, "sync", False, 3.0, "V", NOT_PROVEN, "x")
    told = advice(one, {}) or ""
    assert words in told
    assert not told.startswith("measure")


def test_a_change_that_makes_something_else_fail_is_no_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    """At its operating point the change looks right; simulated to its end it breaks what was right before."""
    white = Finding("LVL01", "level.white", "red", False, 0.3, "V", DOES_NOT_CONFORM, "x")
    others = [
        Finding("RSP01", "response.field_tilt", "red", False, 0.05, "1", CONFORMS, "x"),
        Finding("EVT01", "event.margin", "red", False, 6.0, "dB", CONFORMS, "x", event="misplug", severity="12 V"),
    ]
    cured = replace(white, outcome=CONFORMS)
    for broken in (*others, None):
        end = [cured, *(replace(one, outcome=DOES_NOT_CONFORM) if one is broken else one for one in others)]

        def seen(*_: Any, standards: object = None, found: list[Finding] = end, **__: Any) -> list[list[Finding]]:
            return [[cured] if standards is not None else found]

        monkeypatch.setattr(remedies, "appraised", seen)
        trial = Trial((parse_job(text(line())).lines[0],), "fit another part")
        before = remedies._by_subject([white, *others], guarded=False)
        bench = remedies._Bench(cast("Engine", None), cast("JobPlan", SimpleNamespace(standards={})), before, True)
        cure = bench.cure(white, bench.likely([trial]))
        assert (cure is not None) is (broken is None)


def test_one_change_is_told_once_with_every_figure_it_puts_right(results: dict[str, Result]) -> None:
    """The same pair of resistors cures white and impedance: one thing to do, not one for each row."""
    told = [one for one in as_built(results["wrong values in a pad"]) if "100 ohm 1%" in (one.remedy or "")]
    assert {one.quantity for one in told} >= {"level.white", "response.impedance"}
    assert len({one.remedy for one in told}) == 1
    figures = (told[0].remedy or "").partition("(simulated: ")[2].rstrip(")").split(", ")
    assert len(figures) == min(3, len({one.quantity for one in told}))


def test_no_terminator_for_an_input_that_is_high_by_design(results: dict[str, Result]) -> None:
    told = [one.remedy or "" for one in results["an input of a kilohm by design"].findings]
    assert any(told)
    assert not any("terminat" in one.partition("(simulated")[0] for one in told)


def test_a_remedy_that_was_followed_is_not_taken_back(engine: Engine, results: dict[str, Result]) -> None:
    """The guard moves to the side that was advised, and no advice moves it back."""
    name = "a guard that eats the sync"
    moved = next(one for one in results[name].findings if one.quantity == "guard.distortion" and one.remedy is not None)
    assert "move the guard of comp from the connector side to the chip side" in (moved.remedy or "")
    after = run(engine, BROKEN[name].replace('place = "connector"', 'place = "chip"'))
    assert not any("move the guard" in (one.remedy or "") for one in after.findings)


def test_a_cure_is_what_check_says_of_the_changed_job(engine: Engine, results: dict[str, Result]) -> None:
    one = finding(results["wrong values in a pad"], "level.white")
    assert one.outcome == DOES_NOT_CONFORM
    changed = BROKEN["wrong values in a pad"].replace(
        'series = "22 ohm 1%", shunt = "470 ohm 1%"', 'series = "100 ohm 1%", shunt = "240 ohm 1%"'
    )
    after = finding(run(engine, changed), "level.white")
    assert after.outcome == CONFORMS
    assert f"{1000 * (after.value or 0.0):.0f} mV" in (one.remedy or "")
