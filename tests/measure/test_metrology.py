"""Meter statements and tables by hand: each term alone, and the ends of a table."""

from __future__ import annotations

import pytest

from guardcheck.metrology import Accuracy, discharge_time, interpolate, parse_accuracy


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
