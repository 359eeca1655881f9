"""Outcome arithmetic against the published decision rules."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.model import (
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    Limit,
    Quantity,
)
from guardcheck.verdict.outcome import (
    finding,
    judge_margin,
    judge_measured,
    overall,
    probability_inside,
    sample_yield,
    worst,
)

WHITE = Limit("level.white", 0.496, 0.989, 0.7, "21-pin connector", "computed")


def white(value: float | None, **more: object) -> Quantity:
    return Quantity("level.white", "red", False, value, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("quantity", "outcome"),
    [
        (white(0.7), CONFORMS),
        (white(0.7, spread=(0.5, 0.98)), CONFORMS),
        (white(0.7, spread=(0.49, 0.98)), NOT_PROVEN),
        (white(0.7, spread=(0.5, float("nan"))), NOT_PROVEN),
        (white(0.7, samples=np.full(200, 0.45)), NOT_PROVEN),
        (white(0.4, spread=(0.3, 0.7)), DOES_NOT_CONFORM),
        (white(1.4), DOES_NOT_CONFORM),
        (white(1.4, spread=(0.6, 2.0), unknowns=("source impedance",)), NOT_PROVEN),
        (white(1.4, spread=(1.2, 2.0), unknowns=("source impedance",)), DOES_NOT_CONFORM),
        (white(None, failure="did not converge"), NOT_PROVEN),
        (white(float("nan")), NOT_PROVEN),
        (white(0.7, failure="one corner timed out"), NOT_PROVEN),
        (white(0.7, origin=MEASURED), NOT_PROVEN),
        (white(0.7, origin=MEASURED, uncertainty=0.02), CONFORMS),
        (white(0.98, origin=MEASURED, uncertainty=0.02), NOT_PROVEN),
        (white(1.02, origin=MEASURED, uncertainty=0.02), DOES_NOT_CONFORM),
        (white(0.7, origin=MEASURED, uncertainty=0.02, failure="picture not known"), NOT_PROVEN),
        (white(0.7, origin=MEASURED, uncertainty=0.02, unknowns=("load",)), NOT_PROVEN),
        (white(1.4, origin=MEASURED, uncertainty=0.02, unknowns=("load",)), NOT_PROVEN),
        (white(0.8, origin=MEASURED, uncertainty=0.02, bound="at_least"), NOT_PROVEN),
        (white(1.4, origin=MEASURED, uncertainty=0.02, bound="at_least"), DOES_NOT_CONFORM),
        (white(0.3, origin=MEASURED, uncertainty=0.02, bound="at_least"), NOT_PROVEN),
        (white(0.3, origin=MEASURED, uncertainty=0.02, bound="at_most"), DOES_NOT_CONFORM),
        (white(1.4, origin=MEASURED, uncertainty=0.02, bound="at_most"), NOT_PROVEN),
        (white(0.7, origin=DECLARED_ORIGIN), NOT_PROVEN),
        (white(1.4, origin=DECLARED_ORIGIN), DOES_NOT_CONFORM),
    ],
)
def test_outcome_of_one_quantity(quantity: Quantity, outcome: str) -> None:
    found = finding("LVL01", quantity, WHITE, needed=True)
    assert found.outcome == outcome
    assert found.why.endswith(".")


def test_a_row_without_limit_decides_nothing() -> None:
    found = finding("LVL01", white(0.7), None, needed=True)
    assert (found.outcome, found.needed) == (NOT_APPLICABLE, False)


def test_no_needed_finding_is_no_evidence() -> None:
    assert overall([]) == NOT_PROVEN
    assert overall([finding("LVL01", white(0.7), None, needed=True)]) == NOT_PROVEN


def test_worst_of_many() -> None:
    assert worst([CONFORMS, NOT_PROVEN, NOT_APPLICABLE]) == NOT_PROVEN
    assert worst([NOT_PROVEN, DOES_NOT_CONFORM]) == DOES_NOT_CONFORM
    assert worst([NOT_APPLICABLE, CONFORMS]) == CONFORMS


@pytest.mark.parametrize(
    ("value", "u", "low", "high", "expected", "tolerance"),
    [
        # JCGM 106:2012, 7.4 figures as quoted by metrologyrules.com (2022/03): y 13.6, u 1.8, limits 12.5 to 16.3
        (13.6, 1.8, 12.5, 16.3, 0.6626, 1e-3),
        # ILAC-G8:09/2019: decision margin w = U (k = 2) leaves less than 2.5 % false accept at the acceptance limit
        (8.0, 1.0, None, 10.0, 1 - 0.02275, 1e-4),
        # simple acceptance at the limit: 50 % (ILAC-G8:09/2019)
        (10.0, 1.0, None, 10.0, 0.5, 1e-12),
        # w = 1.645 u: 5 % (normal law)
        (10.0 - 1.645, 1.0, None, 10.0, 0.95, 2e-4),
    ],
)
def test_probability_of_conformity(
    value: float, u: float, low: float | None, high: float, expected: float, tolerance: float
) -> None:
    limit = Limit("level.white", low, high, None, "test", "computed")
    assert probability_inside(value, u, limit) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("margin", "outcome"),
    [(1.5, CONFORMS), (1.49, NOT_PROVEN), (-1.49, NOT_PROVEN), (-1.5, DOES_NOT_CONFORM), (float("nan"), NOT_PROVEN)],
)
def test_event_margin(margin: float, outcome: str) -> None:
    assert judge_margin(margin) == outcome


def test_a_failed_sample_counts_against_the_yield() -> None:
    assert sample_yield(np.array([0.7, 0.7, np.nan, 2.0]), WHITE) == 0.5


@pytest.mark.parametrize("failed", [1, 100, 200])
def test_a_build_that_did_not_solve_is_no_build_that_conforms(failed: int) -> None:
    samples = np.full(200, 0.7)
    samples[:failed] = np.nan
    found = finding("LVL01", white(0.7, spread=(0.69, 0.71), samples=samples), WHITE, needed=True)
    assert found.outcome == NOT_PROVEN
    assert f"{failed} of 200 samples did not solve" in found.why
    outside = finding("LVL01", white(1.4, samples=samples), WHITE, needed=True)
    assert outside.outcome == DOES_NOT_CONFORM


def test_builds_that_cross_and_builds_that_did_not_solve_are_both_told() -> None:
    samples = np.array([0.7, 1.2, np.nan, 0.7])
    found = finding("LVL01", white(0.7, samples=samples), WHITE, needed=True)
    assert found.outcome == NOT_PROVEN
    assert "50 % of builds would fail or did not solve (1 of 4 samples)" in found.why


@settings(derandomize=True, deadline=None, database=None, max_examples=300)
@given(
    value=st.floats(-2, 2),
    spread=st.tuples(st.floats(-2, 2), st.floats(-2, 2)).map(lambda pair: (min(pair), max(pair))),
    samples=st.lists(st.floats(-2, 2) | st.just(float("nan")), max_size=20),
)
def test_nothing_outside_the_limits_ever_conforms(
    value: float, spread: tuple[float, float], samples: list[float]
) -> None:
    found = finding("LVL01", white(value, spread=spread, samples=np.array(samples)), WHITE, needed=True)
    if found.outcome == CONFORMS:
        assert 0.496 <= value <= 0.989
        assert 0.496 <= spread[0] <= spread[1] <= 0.989
        assert not np.isnan(samples).any()


@settings(derandomize=True, deadline=None, database=None, max_examples=300)
@given(value=st.floats(-3, 3), expanded=st.floats(0, 1))
def test_a_reading_conforms_only_inside_its_decision_margin(value: float, expanded: float) -> None:
    judged = judge_measured(value, expanded, WHITE, "V")
    if judged.outcome == CONFORMS:
        assert 0.496 + expanded <= value <= 0.989 - expanded
    if judged.outcome == DOES_NOT_CONFORM:
        assert value < 0.496 - expanded or value > 0.989 + expanded


def test_a_reading_is_shown_no_finer_than_its_uncertainty() -> None:
    from guardcheck.formatting import reading

    assert reading(0.7034567, 0.0121, "V") == "703 mV ± 12 mV"
    assert reading(4.58e-6, 0.0243, "V") == "0 V ± 24 mV"
