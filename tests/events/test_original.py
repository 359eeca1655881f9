"""The maker's own build as the measure: better, the same or worse under the same stress, with both figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import BETTER, CONFORMS, DAILY, DOES_NOT_CONFORM, SAME, WORSE, Facts, Finding, Quantity
from guardcheck.rules.evt01_stress import judge
from guardcheck.simulate.stress.events import beside_originals, event_results, originals_of
from guardcheck.verdict.outcome import EVENT_MARGIN_DB
from tests.events.jobs import DISPLAY, SUPPLY, job_text, plan_of, read

ORIGINAL = 'original = { stage = "series-resistor", stage_values = { series = "75 ohm" }, guard = "none" }'


def margin(value: float, use: str = DAILY) -> Quantity:
    return Quantity("event.margin", "red", False, value, spread=(value, value), event="e", severity="s", use=use)


def judged(value: float, original: float, use: str = DAILY) -> Finding:
    plan = plan_of(read(job_text(more=ORIGINAL)))
    (one,) = beside_originals(plan, [margin(value, use)], {("event.margin", "red", "e", "s"): margin(original)})
    return judge(Facts((one,)))[0]


@pytest.mark.parametrize(
    ("value", "original", "against", "outcome"),
    [
        (20.0, 30.0, WORSE, DOES_NOT_CONFORM),  # however much is left
        (20.0, 5.0, BETTER, CONFORMS),
        (20.0, 20.0 + EVENT_MARGIN_DB * 0.9, SAME, CONFORMS),
        (-20.0, -30.0, BETTER, DOES_NOT_CONFORM),  # better than bad is not good
    ],
)
def test_a_mod_is_held_against_the_original(value: float, original: float, against: str, outcome: str) -> None:
    found = judged(value, original)
    assert (found.against_original, found.original, found.outcome) == (against, original, outcome)
    assert f"{original:.1f} dB" in found.why


def test_worse_in_a_mistake_is_said_and_decides_nothing_by_itself() -> None:
    found = judged(20.0, 30.0, use="mistake")
    assert (found.against_original, found.outcome) == (WORSE, CONFORMS)
    assert "Worse than the original build: 20.0 dB against 30.0 dB by what is proven" in found.why


def ends(proven: float, harm: float, name: str = "event.margin", **more: object) -> Quantity:
    return replace(margin(proven), name=name, spread=(proven, harm), **more)  # type: ignore[arg-type]


def beside(mod: Quantity, original: Quantity) -> Finding:
    plan = plan_of(read(job_text(more=ORIGINAL)))
    (one,) = beside_originals(plan, [mod], {(original.name, "red", "e", "s"): original})
    return judge(Facts((one,)))[0]


@pytest.mark.parametrize(
    ("mod", "original", "against"),
    [
        ((10.0, 15.0), (10.0, 20.0), WORSE),  # as much proven, but sooner harmed
        ((10.0, 20.0), (10.0, 15.0), BETTER),
        ((12.0, 15.0), (10.0, 20.0), WORSE),  # worse at either end is worse
        ((10.0, 15.0), (10.0, 120.0), SAME),  # what nobody knows compares with nothing
        ((10.0, 15.0), (10.9, 15.9), SAME),
    ],
)
def test_what_would_be_harm_is_compared_as_well(
    mod: tuple[float, float], original: tuple[float, float], against: str
) -> None:
    found = beside(ends(*mod), ends(*original))
    assert found.against_original == against
    assert f"{mod[0]:.1f} dB against {original[0]:.1f} dB by what is proven" in found.why
    both = f"{mod[1]:.1f} dB against {original[1]:.1f} dB by what would be harm"
    assert (both in found.why) == (original[1] < 100.0)
    assert found.outcome == (DOES_NOT_CONFORM if against == WORSE else CONFORMS)


def test_a_part_that_can_be_replaced_may_be_worse_and_latch_up_may_not() -> None:
    parts = beside(ends(10.0, 15.0, "event.part_margin"), ends(20.0, 25.0, "event.part_margin"))
    assert (parts.against_original, parts.outcome) == (WORSE, CONFORMS)
    latch = beside(ends(10.0, 120.0, "event.latch_up"), ends(20.0, 120.0, "event.latch_up"))
    assert (latch.against_original, latch.outcome) == (WORSE, DOES_NOT_CONFORM)


@pytest.mark.parametrize(
    ("mod", "original", "against", "volts", "told"),
    [
        ((5.0, -4.0), (9.0, 4.0), WORSE, 4000.0, "Withstands 2 kV; 4 kV not proven; worse than the original build, "),
        ((9.0, 4.0), (5.0, -4.0), BETTER, 2000.0, "which withstands 2 kV"),
        ((9.0, 4.0), (9.0, 2.0), SAME, 4000.0, "the same as the original build"),
        ((9.0, 4.0), (-2.0, -8.0), BETTER, 0.0, "which withstands not even 2 kV"),
    ],
)
def test_grades_of_a_strike_are_compared_in_kilovolts(
    mod: tuple[float, float], original: tuple[float, float], against: str, volts: float, told: str
) -> None:
    plan = plan_of(read(job_text(more=ORIGINAL)))
    levels = ("2 kV", "4 kV")
    mods = [ends(value, 120.0, severity=level, use="strike") for level, value in zip(levels, mod, strict=True)]
    theirs = {
        ("event.margin", "red", "e", level): ends(value, 120.0) for level, value in zip(levels, original, strict=True)
    }
    rows = judge(Facts(tuple(beside_originals(plan, mods, theirs))))
    (grade,) = [one for one in rows if one.quantity == "event.withstands"]
    assert (grade.against_original, grade.original) == (against, volts)
    assert told in grade.why


def test_an_original_beyond_its_models_withstands_nothing_for_sure() -> None:
    plan = plan_of(read(job_text(more=ORIGINAL)))
    mod = ends(9.0, 120.0, severity="2 kV", use="strike")
    rows = beside_originals(
        plan, [mod], {("event.margin", "red", "e", "2 kV"): ends(9.0, 120.0, failure="beyond the data sheet")}
    )
    (grade,) = [one for one in judge(Facts(tuple(rows))) if one.quantity == "event.withstands"]
    assert (grade.against_original, grade.original) == (BETTER, 0.0)


def test_the_same_stress_runs_on_both_builds(engine: Engine) -> None:
    """A bare wire in place of the maker's 75 ohm: worse where a contact plugs in live, whatever the rating."""
    single = 'y_coupling = "single"\n'
    supply, display = SUPPLY.replace("4.7 nF", "2.2 nF") + single, DISPLAY.replace("4.7 nF", "2.2 nF") + single
    bare = job_text(stage="pass-through", stage_values="", more=ORIGINAL, supply=supply, display=display)
    results = event_results(engine, plan_of(read(bare)))
    rows = {(one.name, one.event, one.severity): one for one in results.quantities}
    live = rows["event.margin", "hot-plug", "first contact"]
    assert live.against_original == WORSE
    assert live.value is not None
    assert live.original is not None
    assert live.original == pytest.approx(live.value + 3.0, abs=0.5)  # 4.2 A against 2.2 A in peak; charge is alike
    latch = rows["event.latch_up", "hot-plug", "first contact"]
    # 325 V through 75 ohm of the display alone, or 75 ohm more: about half the current, less what the lead rounds off
    assert latch.original == pytest.approx((latch.value or 0.0) + 5.0, abs=1.0)
    assert rows["event.margin", "esd-contact", "8 kV"].original is not None  # strikes are compared though they decide
    assert not rows["event.margin", "esd-contact", "8 kV"].needed  # nothing


def test_a_line_the_maker_led_to_no_socket_has_nothing_to_be_compared_with() -> None:
    inside = ORIGINAL.replace('guard = "none"', 'guard = "none", exposed = false')
    job = parse_job(job_text(more=inside), file="job.toml")
    assert job.lines[0].original is not None
    assert not job.lines[0].original.exposed
    assert originals_of(plan_of(job)) == ()
