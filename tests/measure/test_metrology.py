"""Meter statements and tables by hand: each term alone, and the ends of a table."""

from __future__ import annotations

import pytest

from guardcheck.errors import UnitError
from guardcheck.metrology import (
    LEADS,
    RING_FACTOR,
    TIP_RADIUS,
    Accuracy,
    discharge_time,
    interpolate,
    meter_rows,
    parse_accuracy,
    ring_equivalent,
    stored_energy,
    two_point_factor,
)


def test_a_statement_holds_its_own_terms_and_no_other() -> None:
    assert Accuracy(of_reading=0.01).half_width(-5.0) == pytest.approx(0.05)
    assert Accuracy(of_range=0.02).half_width(5.0, full_scale=10.0) == pytest.approx(0.2)
    assert Accuracy(counts=2).half_width(5.0, count=0.01) == pytest.approx(0.02)
    assert Accuracy(divisions=0.1).half_width(5.0, division=0.2) == pytest.approx(0.02)
    assert Accuracy(absolute=0.003).half_width(5.0) == pytest.approx(0.003)
    assert Accuracy(counts=2).half_width(5.0) is None
    assert Accuracy(of_range=0.02).half_width(5.0, count=0.01) is None
    assert Accuracy(divisions=0.1).half_width(5.0) is None


def test_terms_add_up_to_one_bound() -> None:
    found = parse_accuracy("1.0% + 2 counts + 5 mV", "V")
    # 1 % of 2 V is 20 mV, two counts of 10 mV are 20 mV, and 5 mV: 45 mV
    assert found.half_width(2.0, count=0.01) == pytest.approx(0.045)


def test_a_table_holds_at_its_ends_and_runs_straight_between() -> None:
    table = ((1.0, 10.0), (2.0, 20.0), (4.0, 0.0))
    assert [interpolate(table, at) for at in (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 9.0)] == [10, 10, 15, 20, 10, 0, 0]
    falling = ((1.0, 30.0), (2.0, 20.0))
    assert [interpolate(falling, at) for at in (0.0, 1.25, 5.0)] == [30, 27.5, 20]


def test_a_capacitor_below_its_goal_needs_no_time() -> None:
    assert discharge_time(1e3, 1e-6, 10.0, 20.0) == 0.0
    assert discharge_time(1e3, 1e-6, 20.0, 10.0) == pytest.approx(0.693147e-3, rel=1e-5)


def test_an_absolute_term_of_nothing_adds_nothing_and_one_with_a_tolerance_is_none() -> None:
    assert parse_accuracy("1% + 0 mV", "V") == Accuracy(of_reading=0.01, text="1% + 0 mV")
    for written in ("5 mV 10%", "-5 mV"):
        with pytest.raises(UnitError, match="is not an accuracy"):
            parse_accuracy(written, "V")


def test_an_accuracy_is_at_most_all_of_the_reading() -> None:
    assert parse_accuracy("100%", "V").of_reading == 1.0
    assert parse_accuracy("100% of range", "V").of_range == 1.0
    for written in ("101%", "101% of range"):
        with pytest.raises(UnitError, match="above 100 %"):
            parse_accuracy(written, "V")


def test_a_statement_without_counts_leaves_the_last_digit_beside_it() -> None:
    """1 % of 5 V is 50 mV; half of a last digit of 10 mV is 5 mV; with counts the digit is in the statement."""
    plain = meter_rows(parse_accuracy("1%", "V"), 5.0, count=0.01, full_scale=None, sources=("stated", "digit"))
    assert plain is not None
    assert [(row.name, row.half_width, row.source) for row in plain] == [
        ("accuracy", pytest.approx(0.05), "stated"),
        ("reading", pytest.approx(0.005), "digit"),
    ]
    counts = meter_rows(parse_accuracy("1% + 2 counts", "V"), 5.0, count=0.01, full_scale=None, sources=("a", "b"))
    assert counts is not None
    assert [(row.half_width, row.source) for row in counts] == [(pytest.approx(0.07), "a")]
    bare = meter_rows(parse_accuracy("1%", "V"), 5.0, count=None, full_scale=None, sources=("a", "b"))
    assert bare is not None
    assert len(bare) == 1


def test_two_tips_on_a_sheet() -> None:
    """acosh(d / 2a) / pi: d = 5a gives acosh 2.5 / pi = 0.49872; a gap of 2a or less stands for d = gap + 2a."""
    assert TIP_RADIUS == 0.5e-3
    assert two_point_factor(2.5e-3) == pytest.approx(0.49872, abs=1e-5)
    assert two_point_factor(2.5e-3, 1e-3) == pytest.approx(0.22064, abs=1e-5)  # acosh 1.25
    assert two_point_factor(1.5e-3, 1e-3) == pytest.approx(0.36886, abs=1e-5)  # a gap: acosh 1.75
    assert two_point_factor(2e-3, 1e-3) == pytest.approx(0.41920, abs=1e-5)  # a gap: acosh 2


def test_a_ring_electrode_reads_a_tenth_of_the_sheet() -> None:
    """2 pi / ln(57.15 / 30.48) = 9.9954 (ANSI/ESD STM11.12 multiplies by ten)."""
    assert pytest.approx(9.9954, abs=1e-4) == RING_FACTOR
    assert ring_equivalent(1e6, 1e-3) == pytest.approx(1e6 / 0.419201 / 9.995385, rel=1e-5)


def test_small_sums_of_the_bench() -> None:
    assert LEADS == (0.1, 0.5)
    assert stored_energy(220e-6, 325.0) == pytest.approx(11.61875)
