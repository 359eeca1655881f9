"""Every edge and every sentence of the outcome arithmetic, by hand: on a limit, just off it, and what is said.

Decision margin w = U (k = 2): ILAC-G8:09/2019. 2.5 and 97.5 % points of evenly spread samples: NumPy's linear
interpolation between order statistics (Hyndman and Fan 1996, type 7).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from guardcheck.model import (
    ASSUMED,
    COMPUTED,
    CONFORMS,
    DAILY,
    DOES_NOT_CONFORM,
    FORBIDDEN,
    MEASURED,
    MISTAKE,
    NOT_APPLICABLE,
    NOT_PROVEN,
    WORKMANSHIP,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import (
    DECLARED_FACT,
    conditions_of,
    finding,
    flattered,
    hold,
    inside,
    judge_margin,
    judge_measured,
    judge_reading,
    judge_simulated,
    misses,
    overall,
    probability_inside,
    sample_interval,
    sample_yield,
)

BOTH = Limit("level.white", 0.5, 1.0, 0.7, "test", "computed")
LEAST = replace(BOTH, high=None)
MOST = replace(BOTH, low=None)


def white(value: float | None, **more: object) -> Quantity:
    return Quantity("level.white", "red", False, value, **more)  # type: ignore[arg-type]


def why(quantity: Quantity, limit: Limit = BOTH) -> tuple[str, str]:
    judged = judge_simulated(quantity, limit)
    return judged.outcome, judged.why


def test_a_limit_belongs_to_what_is_allowed() -> None:
    assert [inside(one, BOTH) for one in (0.4999, 0.5, 1.0, 1.0001)] == [False, True, True, False]
    assert [inside(one, LEAST) for one in (0.4999, 0.5, 9.0)] == [False, True, True]
    assert [inside(one, MOST) for one in (-9.0, 1.0, 1.0001)] == [True, True, False]


def test_interval_and_yield_of_samples() -> None:
    even = np.linspace(0.0, 1.0, 41)
    assert sample_interval(even) == pytest.approx((0.025, 0.975))
    assert sample_interval(np.array([math.nan, 1.0, 2.0])) == pytest.approx((1.025, 1.975))
    assert sample_interval(None) is None
    assert sample_interval(np.array([math.nan])) is None
    assert sample_yield(np.array([0.5, 1.0, 0.4, 1.1]), BOTH) == 0.5
    assert sample_yield(np.array([0.5, 0.4]), LEAST) == 0.5
    assert sample_yield(np.array([-5.0, 9.0, 1.0]), MOST) == pytest.approx(2 / 3)
    assert sample_yield(np.array([]), BOTH) is None
    assert sample_yield(None, BOTH) is None


def met(event: str, condition: str, line: str, use: str) -> Finding:
    return replace(finding("X", white(0.7), None, needed=False), event=event, condition=condition, line=line, use=use)


def test_conditions_are_told_once_with_their_lines_what_is_forbidden_first() -> None:
    red, green = met("plug", "switch off first", "red", MISTAKE), met("plug", "switch off first", "green", MISTAKE)
    other, daily = met("arc", "wear a strap", "blue", MISTAKE), met("plug", "never", "blue", DAILY)
    plain = [(one.event, one.text, one.lines, one.kind) for one in conditions_of([red, other, green, daily])]
    assert plain == [
        ("arc", "wear a strap", ("blue",), MISTAKE),
        ("plug", "never", ("blue",), MISTAKE),
        ("plug", "switch off first", ("red", "green"), MISTAKE),
    ]
    forbidden = [(one.event, one.text, one.lines, one.kind) for one in conditions_of([red, other, daily], {"plug"})]
    assert forbidden == [
        ("plug", "never", ("red", "blue"), FORBIDDEN),
        ("arc", "wear a strap", ("blue",), MISTAKE),
    ]
    (alone,) = conditions_of([red, replace(red, condition=None), replace(green, event=None)], {"plug"})
    assert (alone.text, alone.lines) == ("switch off first", ("red",))


def test_the_share_that_would_fail_is_in_hundredths() -> None:
    _, told = why(white(0.7, spread=(0.4, 0.7), samples=np.array([0.4, 0.45, 0.48, 0.7])))
    assert "75 % of builds would fail" in told


def test_a_row_without_a_limit_decides_nothing_unless_its_value_is_missing() -> None:
    shown = finding("X", white(0.7), None, needed=True)
    assert (shown.outcome, shown.needed) == (NOT_APPLICABLE, False)
    wanted, spare = finding("X", white(None), None, needed=True), finding("X", white(None), None, needed=False)
    assert (wanted.outcome, wanted.needed) == (NOT_PROVEN, True)
    assert (spare.outcome, spare.needed) == (NOT_APPLICABLE, False)
    held = finding("X", white(None), BOTH, needed=True)
    assert (held.outcome, held.needed) == (NOT_PROVEN, True)


@pytest.mark.parametrize(
    ("quantity", "limit", "outcome", "sentence"),
    [
        (white(0.7), BOTH, CONFORMS, "700 mV lies within 500 mV to 1 V."),
        (white(0.7), LEAST, CONFORMS, "700 mV is at least 500 mV."),
        (white(0.7), MOST, CONFORMS, "700 mV is at most 1 V."),
        (
            white(0.7, spread=(0.6, 0.8)),
            BOTH,
            CONFORMS,
            "700 mV lies within 500 mV to 1 V, and so does every build from 600 to 800 mV.",
        ),
        (
            white(0.7, spread=(0.6, 0.8), unknowns=("source impedance",)),
            MOST,
            CONFORMS,
            "700 mV is at most 1 V, and so is every build from 600 to 800 mV over the usual range of source impedance "
            "(unknown).",
        ),
        (white(0.7, spread=(0.7, 0.7)), BOTH, CONFORMS, "700 mV lies within 500 mV to 1 V."),
        (white(0.4), BOTH, DOES_NOT_CONFORM, "400 mV lies below the limits (500 mV to 1 V)."),
        (white(1.2), BOTH, DOES_NOT_CONFORM, "1.2 V lies above the limits (500 mV to 1 V)."),
        (white(1.2), MOST, DOES_NOT_CONFORM, "1.2 V lies above the limit (at most 1 V)."),
        (white(0.4), LEAST, DOES_NOT_CONFORM, "400 mV lies below the limit (at least 500 mV)."),
        (white(None), BOTH, NOT_PROVEN, "Not proven: no value was obtained."),
        (white(None, failure="it timed out"), BOTH, NOT_PROVEN, "Not proven: it timed out."),
        (
            white(0.7, spread=(0.45, 0.9), samples=np.array([0.48, 0.6, 0.7, 0.8])),
            BOTH,
            NOT_PROVEN,
            "700 mV is inside, but builds from 450 to 900 mV cross the limits (500 mV to 1 V); 25 % of builds would "
            "fail.",
        ),
        (
            white(0.7, spread=(0.45, 0.9), samples=np.array([0.6, math.nan])),
            BOTH,
            NOT_PROVEN,
            "700 mV is inside, but builds from 450 to 900 mV cross the limits (500 mV to 1 V); 50 % of builds would "
            "fail or did not solve (1 of 2 samples).",
        ),
        (
            white(0.7, pictures=(0.45, 0.72)),
            BOTH,
            NOT_PROVEN,
            "700 mV is inside, but builds and pictures from 450 to 720 mV cross the limits (500 mV to 1 V).",
        ),
        (
            white(0.7, samples=np.array([0.7, math.nan])),
            BOTH,
            NOT_PROVEN,
            "Not proven: 1 of 2 samples did not solve.",
        ),
        (
            white(1.4, spread=(1.0, 2.0), unknowns=("source impedance",)),
            BOTH,
            NOT_PROVEN,
            "The middle of the range gives 1.4 V, but builds from 1 to 2 V over the usual range of source impedance "
            "(unknown) cross the limits (500 mV to 1 V).",
        ),
    ],
)
def test_what_is_said_of_a_simulated_value(quantity: Quantity, limit: Limit, outcome: str, sentence: str) -> None:
    assert why(quantity, limit) == (outcome, sentence)


@pytest.mark.parametrize(
    ("spread", "outcome"),
    [
        ((1.0, 2.0), NOT_PROVEN),  # the range touches the upper limit
        ((1.001, 2.0), DOES_NOT_CONFORM),
        ((math.nan, 2.0), NOT_PROVEN),
    ],
)
def test_an_unknown_fails_only_when_its_whole_range_does(spread: tuple[float, float], outcome: str) -> None:
    assert why(white(1.4, spread=spread, unknowns=("source impedance",)))[0] == outcome


def test_an_unknown_below_the_limits_fails_only_when_its_whole_range_does() -> None:
    unknown = {"unknowns": ("source impedance",)}
    assert why(white(0.3, spread=(0.2, 0.5), **unknown))[0] == NOT_PROVEN
    assert why(white(0.3, spread=(0.2, 0.499), **unknown))[0] == DOES_NOT_CONFORM
    assert why(white(0.3, spread=(0.2, 0.499), **unknown), LEAST)[0] == DOES_NOT_CONFORM
    assert why(white(1.4, spread=(1.2, 1.5), **unknown), MOST)[0] == DOES_NOT_CONFORM
    assert why(white(1.4, spread=(0.9, 1.5), **unknown), MOST)[0] == NOT_PROVEN
    assert why(white(1.4, **unknown))[0] == NOT_PROVEN  # not even a range: nothing is proven


@pytest.mark.parametrize(
    ("value", "limit", "outcome"),
    [
        (0.75, BOTH, CONFORMS),  # limits in binary fractions, so that edges are exact: U = 0.25
        (0.7499, BOTH, NOT_PROVEN),
        (0.7501, BOTH, NOT_PROVEN),
        (0.25, BOTH, NOT_PROVEN),
        (0.2499, BOTH, DOES_NOT_CONFORM),
        (1.25, BOTH, NOT_PROVEN),
        (1.2501, BOTH, DOES_NOT_CONFORM),
        (-9.0, MOST, CONFORMS),
        (0.75, MOST, CONFORMS),
        (0.7501, MOST, NOT_PROVEN),
        (9.0, LEAST, CONFORMS),
        (0.75, LEAST, CONFORMS),
        (0.7499, LEAST, NOT_PROVEN),
        (0.2499, LEAST, DOES_NOT_CONFORM),
    ],
)
def test_the_decision_margin_is_the_expanded_uncertainty(value: float, limit: Limit, outcome: str) -> None:
    assert judge_measured(value, 0.25, limit, "V").outcome == outcome


def test_the_probability_that_is_said_is_that_of_half_the_expanded_uncertainty() -> None:
    # 0.5 V with U = 0.2 V: u = 0.1 V, and the lower limit 0.4 V lies one u below: 84.1 % (normal law)
    judged = judge_measured(0.5, 0.2, replace(LEAST, low=0.4), "V")
    assert judged.outcome == NOT_PROVEN
    assert "84.1 %" in judged.why


def test_probability_without_uncertainty_is_certain() -> None:
    assert probability_inside(0.5, 0.0, BOTH) == 1.0
    assert probability_inside(0.4, 0.0, BOTH) == 0.0
    assert probability_inside(0.7, -1.0, BOTH) == 1.0
    assert probability_inside(0.5, 0.1, LEAST) == pytest.approx(0.5)


def read(value: float | None, limit: Limit = BOTH, **more: object) -> tuple[str, str]:
    judged = judge_reading(white(value, origin=MEASURED, **{"uncertainty": 0.02, **more}), limit)
    return judged.outcome, judged.why


def test_what_a_bounded_reading_may_say() -> None:
    assert read(1.2, bound="at_least")[0] == DOES_NOT_CONFORM
    assert read(1.2, bound="at_most")[0] == NOT_PROVEN
    assert read(0.3, bound="at_most")[0] == DOES_NOT_CONFORM
    assert read(0.3, bound="at_least")[0] == NOT_PROVEN
    assert read(0.3, LEAST, bound="at_most")[0] == DOES_NOT_CONFORM
    assert read(0.3, LEAST, bound="at_least")[0] == NOT_PROVEN
    assert read(0.7, bound="at_least") == (NOT_PROVEN, "Not proven: the reading only says at least 700 mV.")
    assert read(0.7, bound="at_most") == (NOT_PROVEN, "Not proven: the reading only says at most 700 mV.")


def test_an_undeclared_circumstance_proves_nothing_unless_it_is_what_bounds_the_reading() -> None:
    assert read(1.2, unknowns=("load",)) == (NOT_PROVEN, "Not proven: 1.2 V as seen, but the load was not declared.")
    assert read(1.2, unknowns=("picture",))[0] == NOT_PROVEN
    assert read(1.2, unknowns=("picture",), bound="at_least")[0] == DOES_NOT_CONFORM
    assert read(1.2, unknowns=("picture", "load"), bound="at_least")[0] == NOT_PROVEN
    assert read(None, failure="the trace is flat") == (NOT_PROVEN, "Not proven: the trace is flat.")
    assert read(0.7, uncertainty=None)[1] == "Not proven: the uncertainty of this reading is not known."


def test_a_declaration_fails_or_leaves_open() -> None:
    for origin, value, outcome in (
        (COMPUTED, 0.5, NOT_PROVEN),
        (COMPUTED, 1.0, NOT_PROVEN),
        (COMPUTED, 0.49, DOES_NOT_CONFORM),
        (COMPUTED, None, NOT_PROVEN),
    ):
        assert finding("LVL01", white(value, origin=origin), BOTH, needed=True).outcome == outcome


def test_only_needed_rows_with_a_limit_make_the_outcome() -> None:
    good = finding("LVL01", white(0.7), BOTH, needed=True)
    bad = finding("LVL01", white(1.2), BOTH, needed=False)
    none = finding("LVL01", white(0.7), None, needed=True)
    assert overall([good, bad, none]) == CONFORMS
    assert overall([bad, none]) == NOT_PROVEN
    assert overall([good, replace(bad, needed=True)]) == DOES_NOT_CONFORM
    assert overall([replace(none, needed=True)]) == NOT_PROVEN
    assert none.outcome == NOT_APPLICABLE
    assert none.why == "No limit applies; shown for information."
    assert finding("LVL01", white(None), None, needed=True).why == "Not proven: no value was obtained."


def test_a_finding_carries_its_limit_and_a_finite_spread_only() -> None:
    found = finding("LVL01", white(0.7, spread=(0.6, 0.8), notes=("A note.",)), LEAST, needed=True)
    assert (found.low, found.high, found.spread, found.needed) == (0.5, None, (0.6, 0.8), True)
    assert found.why.endswith("A note.")
    assert finding("LVL01", white(0.7, spread=(math.nan, 0.8)), BOTH, needed=True).spread is None
    assert finding("LVL01", white(0.7), None, needed=False).reference is None


@pytest.mark.parametrize(
    ("value", "limit", "words"),
    [
        (1.3, LEAST, "lies within at least 500 mV by more"),
        (0.3, LEAST, "is below 500 mV by more"),
        (1.3, MOST, "is above 1 V by more"),
        (0.3, MOST, "lies within at most 1 V by more"),
        (1.3, BOTH, "is above 1 V (500 mV to 1 V) by more"),
        (0.3, BOTH, "is below 500 mV (500 mV to 1 V) by more"),
    ],
)
def test_the_end_that_is_broken_is_named(value: float, limit: Limit, words: str) -> None:
    assert words in judge_measured(value, 0.01, limit, "V").why


@pytest.mark.parametrize(
    ("margin", "outcome"),
    [
        (1.5, CONFORMS),
        (1.49, NOT_PROVEN),
        (-1.49, NOT_PROVEN),
        (-1.5, DOES_NOT_CONFORM),
        (math.inf, NOT_PROVEN),
        (math.nan, NOT_PROVEN),
    ],
)
def test_an_event_needs_one_and_a_half_decibels(margin: float, outcome: str) -> None:
    assert judge_margin(margin) == outcome


def test_an_assumed_rating_proves_only_what_keeps_to_half_of_it() -> None:
    assumed = replace(MOST, known_by=ASSUMED)
    assert why(white(0.5), assumed)[0] == CONFORMS
    assert why(white(0.501), assumed)[0] == NOT_PROVEN
    assert why(white(0.4, spread=(0.4, 0.501)), assumed)[0] == NOT_PROVEN
    assert why(white(0.4, spread=(0.4, 0.5)), assumed)[0] == CONFORMS
    assert why(white(0.6, spread=(0.3, 0.6)), MOST)[0] == CONFORMS


def test_a_value_that_came_with_a_failure_can_fail_and_never_conforms() -> None:
    assert why(white(0.7, failure="the clamp was not solved")) == (NOT_PROVEN, "Not proven: the clamp was not solved.")
    assert why(white(1.2, failure="the clamp was not solved"))[0] == DOES_NOT_CONFORM
    assert why(white(math.inf))[0] == NOT_PROVEN
    assert why(white(0.7, spread=(0.6, math.nan)))[1] == (
        "Not proven: not every corner of the tolerances could be solved."
    )


PASSED = Finding("LVL01", "level.white", "red", False, 0.7, "V", CONFORMS, "Inside.", limit=BOTH)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({}, None),
        ({"value": 1.2}, "with 1.2 V against 500 mV to 1 V"),
        ({"value": 1.2, "outcome": NOT_PROVEN}, None),
        ({"value": 1.2, "outcome": DOES_NOT_CONFORM}, None),
        ({"value": None}, "without a value"),
        ({"limit": None}, "without a limit"),
        ({"limit": replace(LEAST, low=None)}, "without a limit"),
        ({"value": 0.4}, "with 400 mV against 500 mV to 1 V"),
        ({"limit": MOST, "value": 0.4}, None),  # at most 1 V, and nothing else is said
        ({"limit": LEAST, "value": 1.2}, None),
        ({"limit": replace(BOTH, low=0.6, high=0.65)}, "with 700 mV against 600 to 650 mV"),
        ({"spread": (0.4, 0.8)}, "with 400 mV against 500 mV to 1 V"),
        ({"interval": (0.6, 1.1)}, "with 1.1 V against 500 mV to 1 V"),
        ({"origin": MEASURED, "uncertainty": 0.1}, None),
        ({"origin": MEASURED, "uncertainty": None}, None),
        ({"uncertainty": 0.4}, None),  # simulated: its spread says what is uncertain
        ({"quantity": DECLARED_FACT, "value": None, "limit": None}, None),
        ({"quantity": DECLARED_FACT, "value": 1.2}, "with 1.2 V against 500 mV to 1 V"),
    ],
)
def test_a_pass_that_its_own_numbers_do_not_bear_out(change: dict[str, object], said: str | None) -> None:
    assert flattered(replace(PASSED, **change)) == said  # type: ignore[arg-type]


def test_a_measured_pass_needs_room_for_its_uncertainty() -> None:
    said = flattered(replace(PASSED, origin=MEASURED, uncertainty=0.25))
    assert said is not None
    assert said.startswith("with ")


def test_a_remedy_is_sought_for_failures_and_missed_targets_only() -> None:
    assert [misses(replace(PASSED, outcome=one)) for one in (DOES_NOT_CONFORM, NOT_PROVEN)] == [True, False]
    assert not misses(replace(PASSED, outcome=DOES_NOT_CONFORM, needed=False))
    target = replace(PASSED, kind=WORKMANSHIP, needed=False, outcome=NOT_PROVEN)
    assert misses(replace(target, value=1.2))
    assert not misses(target)
    assert not misses(replace(target, value=None))
    assert not misses(replace(target, value=1.2, limit=None))


def test_rules_hold_their_quantities_and_bare_rows_beside_a_guard_decide_nothing() -> None:
    bare, guarded = white(0.7), replace(white(1.2), guarded=True)
    facts = Facts((bare, guarded, replace(bare, name="level.sync")), {"red": {"level.white": BOTH}}, frozenset({"red"}))
    found = hold(Rule("LVL01", "levels", "signal", ("level.white",)), facts)
    assert [(one.outcome, one.needed) for one in found] == [(CONFORMS, False), (DOES_NOT_CONFORM, True)]


def test_a_finding_names_its_line_and_judges_both_ends_of_its_spread() -> None:
    assert finding("LVL01", white(0.7), BOTH, needed=True).line == "red"
    assert finding("LVL01", replace(white(0.7), line=""), BOTH, needed=True).line is None
    for spread, outcome in (((0.6, 0.8), CONFORMS), ((0.4, 0.8), NOT_PROVEN), ((0.6, 1.1), NOT_PROVEN)):
        assert finding("LVL01", white(0.7, spread=spread), BOTH, needed=True).outcome == outcome
        assert finding("LVL01", white(0.7, pictures=spread), BOTH, needed=True).outcome == outcome


def test_no_measurement_is_certain() -> None:
    assert "over 99.9 %" in judge_measured(0.7, 0.0, BOTH, "V").why
    assert "under 0.1 %" in judge_measured(0.2, 0.0, BOTH, "V").why
