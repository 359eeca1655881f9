"""Scan lines cut at their sync edges, and their averages. Every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture.lines import BEFORE, Edges, Lines, _crossings, _fit, _means, _together, cut, find_edges
from guardcheck.measure.capture.slicer import Pulses, find_pulses
from guardcheck.measure.capture.systems import rates
from tests.measure.drawn import L15, Array, bar, drawn, in_order, pulse

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def lines(data: Array, offsets: Array, step: float = 1.0) -> Lines:
    n = len(data)
    return Lines(data, offsets, step, np.arange(n) * 100.0, np.arange(n), 0.5)


def test_columns_lie_inside_a_window_in_every_row() -> None:
    one = lines(np.arange(20.0).reshape(2, 10), array(-3.0, -2.5))
    assert one.columns((-1.0, 2.0)) == slice(2, 5)  # row 0: -3 + 2; row 1 ends at -2.5 + 4
    assert one.columns((-9.0, -2.0)) == slice(0, 1)
    assert one.columns((50.0, 60.0)) == slice(9, 10)
    assert one.columns((0.1, 0.2)) == slice(4, 5)
    assert_allclose(one.means((-1.0, 2.0)), (3, 13))
    picked = one.pick(array(0, 1) > 0)
    assert (picked.rows.tolist(), picked.offsets.tolist(), picked.scale) == ([list(range(10, 20))], [-2.5], 0.5)
    assert (picked.starts.tolist(), picked.number.tolist(), picked.step) == ([100.0], [1], 1.0)


def test_lines_that_are_not_locked_are_averaged_finer_than_the_sampling() -> None:
    """Eight lines, an eighth of a sample apart, of a ramp of 1 V in 10 us: bins of half a sample, mean times exact."""
    step, n = 1e-6, 8
    offsets = -BEFORE + step * (np.arange(n) + 0.5) / n
    times = offsets[:, None] + step * np.arange(13)
    one = Lines(times * 1e5, offsets, step, np.arange(n) * 1.0, np.arange(n))
    x, y, count = one.fold(9e-6)
    assert len(x) == 24  # 12 us in bins of half a microsecond
    assert_allclose(count, 4)
    assert_allclose(x, -BEFORE + 0.5e-6 * np.arange(24) + 0.25e-6, atol=1e-12)
    assert_allclose(y, x * 1e5)


def test_locked_lines_keep_the_sampling_and_empty_bins_are_told() -> None:
    one = Lines(np.tile(np.arange(6.0), (8, 1)), np.full(8, -BEFORE + 1e-9), 1e-6, np.arange(8.0), np.arange(8))
    x, y, count = (part[:8] for part in one.fold(5e-6))
    assert count.tolist()[:8] == [8, 8, 8, 8, 8, 8, 0, 0]
    assert_allclose(x, (-3e-6, -2e-6, -1e-6, 0, 1e-6, 2e-6, 3.5e-6, 4.5e-6), atol=1.1e-9)
    assert_allclose(y, (0, 1, 2, 3, 4, 5, np.nan, np.nan))


def test_the_mean_behind_a_time() -> None:
    volts = np.arange(100.0)
    assert_allclose(_means(volts, 0.1, array(1.0, 5.05), 0.4), (11.5, 51.5))
    assert_allclose(_means(volts, 0.1, array(2.0, 50.0), 0.05), (20, 99))


def test_crossings_are_those_nearest() -> None:
    """A triangle wave of period 40 samples: it falls through 0 at 10, 50, 90 and rises through it at 30, 70."""
    t = np.arange(120.0)
    volts = 10.0 - np.abs((t % 40) - 20.0)
    volts = -volts  # falls through 0 at 10 + 40 k, rises through it at 30 + 40 k
    step = 0.1e-6
    near = array(12, 49, 88) * step
    assert_allclose(_crossings(volts, step, near, np.zeros(3), 1.0, falling=True), array(10, 50, 90) * step, atol=1e-12)
    rising = _crossings(volts, step, array(33.0, 68.0) * step, array(0.4, -0.4), 1.0, falling=False)
    assert_allclose(rising, array(30.4, 69.6) * step, atol=1e-12)
    far = _crossings(volts, step, array(30.0) * step, array(0.0), 1.0, falling=True)
    assert np.isnan(far).all()
    flat = _crossings(np.ones(120), step, near, np.zeros(3), 1.0, falling=True)
    assert np.isnan(flat).all()


def test_the_line_period_is_fitted_over_gaps_and_past_a_wild_edge() -> None:
    numbers = np.array([0, 1, 2, 3, 7, 8, 9, 10, 11, 12])
    lead = 5e-6 + numbers * 64e-6
    wild = lead.copy()
    wild[5] += 0.5e-6
    found = _fit(wild, wild + 4.7e-6, LOW)
    assert found is not None
    assert found.number.tolist() == [0, 1, 2, 3, 7, 9, 10, 11, 12]
    assert found.period == pytest.approx(64e-6, rel=1e-9)
    assert_allclose(found.fitted, 5e-6 + found.number * 64e-6)
    assert found.jitter < 1e-12
    assert found.width == pytest.approx(4.7e-6)
    assert found.epochs() is found.fitted
    assert _fit(array(0, 64e-6), array(5e-6, 69e-6), LOW) is None
    assert _fit(array(0, 66e-6, 132e-6), array(5e-6, 71e-6, 137e-6), LOW) is None


def test_the_error_of_the_period_is_that_of_a_straight_line() -> None:
    """Edges 10 ns early and late by turns: rms 10 ns over the root of the sum of squares of -4.5 .. 4.5."""
    number = np.arange(10)
    lead = number * 64e-6 + 10e-9 * np.array([1, -1, -1, 1, 1, -1, 1, -1, -1, 1])
    found = _fit(lead, lead + 4.7e-6, LOW)
    assert found is not None
    assert found.period == pytest.approx(64e-6, abs=2e-9)
    assert found.jitter == pytest.approx(10e-9, rel=0.02)
    assert found.period_error == pytest.approx(found.jitter / math.sqrt(82.5), rel=1e-6)


def test_lines_that_do_not_come_evenly_are_cut_at_their_own_edges() -> None:
    """A period that swings by 0.4 us: no straight line fits, and the mean of the gaps is taken."""
    lead = np.cumsum(np.array([0.0, *(64e-6 + 0.2e-6 * (-1) ** (i // 3) for i in range(12))]))
    found = _fit(lead, lead + 4.7e-6, LOW)
    assert found is not None
    assert found.jitter >= 60e-9
    assert found.epochs() is found.lead
    assert len(found.lead) == 13
    assert found.period == pytest.approx((lead[-1] - lead[0]) / 12, rel=1e-9)
    assert found.period_error == pytest.approx(0.2e-6 / math.sqrt(12), rel=0.01)


def edges(count: int, step: float = 0.1e-6, skip: int | None = None, start: float = 5.03e-6) -> Edges:
    number = np.array([i for i in range(count) if i != skip])
    lead = start + number * 64e-6
    return Edges(lead, lead + 4.7e-6, number, 64e-6, 0.0, 0.0, lead, LOW)


def test_lines_are_cut_where_the_next_follows() -> None:
    """Sample n is n volts; rows begin at the first sample at least 3 us before the edge, and hold 67 us."""
    volts = np.arange(6400.0)
    found = cut(volts, 0.1e-6, edges(9, skip=4))
    assert found is not None
    assert found.number.tolist() == [0, 1, 2, 5, 6, 7]
    assert found.rows.shape == (6, 671)
    assert_allclose(found.rows[:, 0], 21 + 640 * found.number)  # 5.03 - 3 = 2.03 us
    assert_allclose(found.offsets, -2.93e-6, atol=1e-12)
    assert_allclose(found.starts, 5.03e-6 + 64e-6 * found.number)
    turned = cut(volts, 0.1e-6, edges(9), -1)
    assert turned is not None
    assert turned.rows[0, 0] == -21
    assert cut(volts, 0.1e-6, edges(2)) is None
    three = cut(volts, 0.1e-6, edges(3))
    assert three is not None
    assert len(three.rows) == 2
    early = cut(volts, 0.1e-6, edges(9, start=2.95e-6))
    assert early is not None
    assert early.number[0] == 0  # the first sample of the trace is the row's first


def test_a_line_that_begins_before_the_trace_or_ends_behind_it_is_left_out() -> None:
    volts = np.arange(6400.0)
    found = cut(volts, 0.1e-6, edges(10, start=2.85e-6))
    assert found is not None
    assert found.number.tolist() == list(range(1, 9))
    short = cut(volts[: 21 + 640 * 2 + 671], 0.1e-6, edges(9))
    assert short is not None
    assert short.number.tolist() == [0, 1, 2]
    shorter = cut(volts[: 21 + 640 * 2 + 670], 0.1e-6, edges(9))
    assert shorter is not None
    assert shorter.number.tolist() == [0, 1]


def test_edges_are_known_to_a_sample_when_locked_and_never_met() -> None:
    step = 1e-6
    for period, met, expected in ((64e-6, False, step), (64e-6, True, 0.0), (64.37e-6, False, 0.0)):
        lead = 10.5e-6 + np.arange(20) * period
        one = Edges(lead, lead + 5e-6, np.arange(20), period, 0.0, 0.0, lead, LOW)
        volts = np.ones(1400)
        for start in lead:
            at = math.floor(start / step)
            volts[at + 1 : at + 6] = 0.0
            if met:
                volts[[at, at + 5]] = 0.5
        assert _together(volts, step, one, (0.1, 0.9)) == expected


@pytest.mark.parametrize("rate", [10.0, 40.0])
def test_sync_edges_are_found_at_half_amplitude(rate: float) -> None:
    volts = drawn(in_order(pulse(4.7, 0.1, -0.2, 0.4) + bar(10.5, 62.5, 0.1, 0.8, 0.3), L15), L15, rate=rate)
    found = find_pulses(volts, 1e-6 / rate)
    assert found is not None
    one = find_edges(volts, 1e-6 / rate, found)
    assert one is not None
    assert_allclose(one.lead, (0.63 + one.number) * 64e-6, atol=5e-9)
    assert_allclose(one.trail - one.lead, 4.7e-6, atol=8e-9)
    assert len(one.lead) == 20
    assert one.rate is LOW


def test_samples_at_the_ends_of_a_window_are_in_it() -> None:
    one = lines(np.zeros((3, 40)), np.zeros(3))
    assert one.columns((2.0, 5.0)) == slice(2, 6)
    assert one.columns((2.0 + 1e-6, 5.0 - 1e-6)) == slice(3, 5)


@pytest.mark.parametrize(
    ("before", "end", "seen"),
    [
        (3.5, 186.0, [0, 64, 128]),  # three are enough
        (2.5, 203.0, [64, 128, 192]),  # 2.8 us must go before
        (3.5, 203.0, [0, 64, 128, 192]),
        (3.5, 200.0, [0, 64, 128]),  # 5 us must follow
        (3.5, 136.0, None),
    ],
)
def test_edges_of_whole_syncs(before: float, end: float, seen: list[float] | None) -> None:
    corners = in_order([(0.05, -0.3), (4.65, -0.3), (4.75, 0.0), (-0.05, 0.0)], L15)
    x, y = zip(*corners, strict=True)
    t = np.arange(-before, end, 0.02)
    volts = np.asarray(np.interp(t % L15, array(*x), array(*y), period=L15), dtype=np.float64)
    starts = (before + np.array([one for one in (0.0, 64.0, 128.0, 192.0) if one + 4.7 < end])) * US
    found = find_edges(volts, 0.02 * US, Pulses(starts, starts + 4.7 * US, 1, 0.3, LOW))
    assert (found is None) == (seen is None)
    if found is not None and seen is not None:
        assert_allclose(found.lead, (before + np.array(seen)) * US, atol=2e-9)
        assert found.width == pytest.approx(4.7e-6, abs=2e-9)


def test_only_the_two_samples_beside_an_edge_tell_whether_it_was_met() -> None:
    lead = np.asarray(10.5e-6 + np.arange(20) * 64e-6, dtype=np.float64)
    one = Edges(lead, lead + 5e-6, np.arange(20), 64e-6, 0.0, 0.0, lead, LOW)
    volts = np.ones(1400)
    for at in 10 + 64 * np.arange(20):
        volts[at + 1 : at + 6] = 0.0
        volts[[at + 2, at + 7]] = 0.5
    assert _together(volts, 1e-6, one, (0.1, 0.9)) == 1e-6
    for at in 10 + 64 * np.arange(20):
        volts[[at + 1, at + 6]] = 0.5
    assert _together(volts, 1e-6, one, (0.1, 0.9)) == 0.0
