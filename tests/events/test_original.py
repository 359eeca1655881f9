"""The maker's own build as the measure: better, the same or worse under the same stress, with both figures."""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import BETTER, CONFORMS, DAILY, DOES_NOT_CONFORM, SAME, WORSE, Facts, Finding, Quantity
from guardcheck.rules.evt01_stress import judge
from guardcheck.simulate.stress.events import beside_originals, originals_of
from guardcheck.verdict.outcome import EVENT_MARGIN_DB
from tests.events.jobs import DISPLAY, SUPPLY, job_text, plan_of, read

ORIGINAL = 'original = { stage = "series-resistor", stage_values = { series = "75 ohm" }, guard = "none" }'


def margin(value: float, use: str = DAILY) -> Quantity:
    return Quantity("event.margin", "red", False, value, spread=(value, value), event="e", severity="s", use=use)


def judged(value: float, original: float, use: str = DAILY) -> Finding:
    plan = plan_of(read(job_text(more=ORIGINAL)))
    (one,) = beside_originals(plan, [margin(value, use)], {("red", "e", "s"): original})
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
    assert "Worse than the original build by 10.0 dB (20.0 dB against 30.0 dB)." in found.why


def test_the_same_stress_runs_on_both_builds(engine: Engine) -> None:
    """A bare wire in place of the maker's 75 ohm: worse where a contact plugs in live, whatever the rating."""
    from guardcheck.simulate.stress.events import event_results

    single = 'y_coupling = "single"\n'
    supply, display = SUPPLY.replace("4.7 nF", "2.2 nF") + single, DISPLAY.replace("4.7 nF", "2.2 nF") + single
    bare = job_text(stage="pass-through", stage_values="", more=ORIGINAL, supply=supply, display=display)
    plan = plan_of(read(bare))
    results = event_results(engine, plan, deciding=True)
    rows = {(one.event, one.severity): one for one in results.quantities if one.name == "event.margin"}
    live = rows["hot-plug", "first contact"]
    assert live.against_original == WORSE
    assert live.value is not None
    assert live.original is not None
    assert live.original == pytest.approx(live.value + 3.0, abs=0.5)  # 4.2 A against 2.2 A in peak; charge is alike


def test_a_line_the_maker_led_to_no_socket_has_nothing_to_be_compared_with() -> None:
    inside = ORIGINAL.replace('guard = "none"', 'guard = "none", exposed = false')
    job = parse_job(job_text(more=inside), file="job.toml")
    assert job.lines[0].original is not None
    assert not job.lines[0].original.exposed
    assert originals_of(plan_of(job)) == ()
