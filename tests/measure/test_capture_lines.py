"""Scan lines cut at their sync edges, and their averages. Every number expected is worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture.lines import BEFORE, Edges, Lines, _crossings, _fit, _means, _together, cut, find_edges
from guardcheck.measure.capture.slicer import Pulses, find_pulses
from guardcheck.measure.capture.systems import Rate, rates
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
    for level in (0.0, 0.9):
        flat = _crossings(np.ones(120), step, near, np.full(3, level), 1.0, falling=True)
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
    assert_allclose(found.rows[:, 670], 691 + 640 * found.number)
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


# Averages over lines -------------------------------------------------------------------------------------------------


def test_columns_are_counted_in_samples() -> None:
    """Half a second a sample, the first at -3 s."""
    one = lines(np.arange(20.0)[None, :], array(-3.0), 0.5)
    assert one.columns((-1.0, 2.0)) == slice(4, 11)
    assert one.columns((-0.9, 1.9)) == slice(5, 10)


def test_one_line_is_its_own_average() -> None:
    one = lines(array(1, 2, 4, 8)[None, :] * US, array(-BEFORE + 0.3 * US), US)
    x, y, count = one.fold(US)
    assert_allclose(x, -BEFORE + (np.arange(4) + 0.3) * US)
    assert_allclose(y, array(1, 2, 4, 8) * US)
    assert count.tolist() == [1, 1, 1, 1]


def test_no_bin_is_finer_than_25_ns() -> None:
    """32 lines at 32 phases of 0.1 us would fill bins of 12.5 ns with four samples each."""
    offsets = -BEFORE + 0.1 * US * (np.arange(32) + 0.5) / 32
    x, _, count = lines(np.zeros((32, 60)), offsets, 0.1 * US).fold(2.99 * US)
    assert len(x) == 240
    assert set(count.tolist()) == {8}


@pytest.mark.parametrize(
    ("early", "late", "bins"),
    [
        (0, 0, 24),
        (0, 1, 12),  # nothing in the second of the fine bins
        (-1, 0, 12),  # nothing in the last but one
        (1, 0, 24),  # nothing in the first: it is the end of a line
        (0, -1, 24),
    ],
)
def test_the_sampling_stays_where_a_fine_bin_is_empty(early: float, late: float, bins: int) -> None:
    """Eight lines at eight phases: the first four fill the even bins of half a sample, the others the odd ones."""
    phase = (np.arange(8) + 0.5) / 8
    offsets = -BEFORE + US * (phase + np.repeat([early, late], 4))
    x, _, _ = lines(np.zeros((8, 12)), offsets, US).fold(9 * US)
    assert len(x) == bins


# Where a trace crosses a level ---------------------------------------------------------------------------------------


def fall(at: int, count: int = 200) -> Array:
    """Return 0.5 V that goes to -1.5 V with the sample `at`: a quarter of the way down is 0 V."""
    return np.asarray(np.where(np.arange(count) < at, 0.5, -1.5), dtype=np.float64)


@pytest.mark.parametrize(
    ("step", "scale", "before"),
    [
        (0.11, 1.0, 0.75),  # 0.15 us are one sample: between 0.5 and -1.5
        (0.05, 1.0, 1.25),  # three: between 0.5 and -1/6
        (0.03, 1.0, 1.75),  # five: between 0.1 and -0.3
        (0.05, 0.5, 0.75),  # one again
        (0.02, 0.5, 1.25),  # three again
    ],
)
def test_crossings_are_looked_for_in_an_average_over_150_ns(step: float, scale: float, before: float) -> None:
    level = array(0.0)
    for volts, falling in ((fall(100), True), (-fall(100), False)):
        found = _crossings(volts, step * US, array(100) * step * US, level, scale, falling=falling)
        assert_allclose(found / (step * US), (100 - before,))
        assert np.isnan(_crossings(volts, step * US, array(100) * step * US, level, scale, falling=not falling)).all()


@pytest.mark.parametrize(
    ("step", "scale", "reach", "early", "late"),
    [
        (0.03, 1.0, 46, 2, 1),  # an average over five samples, or three, crosses between the second and the one before
        (0.042, 1.0, 33, 2, 1),
        (0.042, 0.5, 16, 1, 0),
        (0.11, 1.0, 12, 1, 0),
        (1.0, 1.0, 2, 1, 0),  # two samples are the least
    ],
)
def test_crossings_lie_within_one_and_four_tenths_of_a_microsecond(
    step: float, scale: float, reach: int, early: int, late: int
) -> None:
    """Both samples beside the crossing must lie within 1.4 us of the 100th, half of that at 31 kHz."""

    def found(at: int) -> bool:
        seen = _crossings(fall(at), step * US, array(100) * step * US, array(0), scale, falling=True)
        return bool(np.isfinite(seen).all())

    first, last = 100 - reach + early, 100 + reach + late
    assert [found(at) for at in (first - 1, first, last, last + 1)] == [False, True, True, False]


def test_crossings_are_found_up_to_the_ends_of_the_trace() -> None:
    for at, near in ((1, 3), (19, 18)):
        volts = fall(at, 20)
        found = _crossings(volts, 0.11 * US, array(near) * 0.11 * US, array(0), 1.0, falling=True)
        assert_allclose(found / (0.11 * US), (at - 0.75,))


def test_the_nearest_of_several_crossings_is_taken() -> None:
    """It falls at 96 and at 104; a sample on the level is crossed when the next lies below, and not when it turns."""
    volts = np.where((np.arange(200) < 96) | ((np.arange(200) > 99) & (np.arange(200) < 104)), 0.5, -1.5)
    for near, at in ((97, 96), (103, 104)):
        found = _crossings(volts, 0.11 * US, array(near) * 0.11 * US, array(0), 1.0, falling=True)
        assert_allclose(found / (0.11 * US), (at - 0.75,))
    for values, expected in (((0.5, 0.0, -0.5), 1.0), ((0.5, 0.0, 0.5), np.nan), ((0.0, -0.5, -0.5), 0.0)):
        volts = np.array([values[0]] * 20 + [values[1]] + [values[2]] * 20)
        found = _crossings(volts, 0.11 * US, array(20) * 0.11 * US, array(0), 1.0, falling=True)
        assert_allclose(found / (0.11 * US), (19 + expected,))


# The line period -----------------------------------------------------------------------------------------------------


def comb(count: int, offsets: dict[int, float] | None = None, pattern: Sequence[float] = (0.0,)) -> Array:
    """Return edges 64 us apart that stand off by a pattern again and again, some of them by `offsets` more [ns]."""
    lead = 5e-6 + np.arange(count) * 64e-6 + 1e-9 * np.resize(np.array(pattern), count)
    for at, by in (offsets or {}).items():
        lead[at] += by * 1e-9
    return np.asarray(lead, dtype=np.float64)


def fitted(lead: Array, rate: Rate = LOW) -> Edges:
    found = _fit(lead, lead + 4.7e-6, rate)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("pattern", "off", "kept"),
    [
        ((0, -20, 20, -10, 10), 85.0, True),  # half of them lie within 10 ns: six times 1.4826 x 10 ns are 89 ns
        ((0, -20, 20, -10, 10), -85.0, True),
        ((0, -20, 20, -10, 10), 93.0, False),
        ((0, -20, 20, -10, 10), -93.0, False),
        ((0,), 0.9, True),  # a nanosecond is nothing
        ((0,), 1.2, False),
        ((0,), -1.2, False),
    ],
)
def test_an_edge_six_times_as_far_off_as_usual_is_left_out(pattern: Sequence[float], off: float, kept: bool) -> None:
    """The one of 201 lines moves the straight line by half of one per cent of what it is off."""
    found = fitted(comb(201, {100: off}, pattern))
    assert (len(found.lead) == 201) == kept


@pytest.mark.parametrize("count", [12, 13])
@pytest.mark.parametrize(("swing", "evenly"), [(10.0, True), (55.0, True), (75.0, False), (200.0, False)])
def test_lines_early_and_late_by_turns_are_all_kept(count: int, swing: float, evenly: bool) -> None:
    """None is a stray one. The straight line takes 1 % of the swing of 12 lines with it, and 0.3 % of that of 13."""
    lead = comb(count, pattern=(swing, -swing))
    found = fitted(lead)
    assert len(found.lead) == count
    assert found.jitter == pytest.approx(swing * 1e-9, rel=0.02)
    assert (found.epochs() is found.fitted) == evenly
    gaps = 64e-6 + np.resize([-2, 2], count - 1) * swing * 1e-9
    error = gaps.std() / math.sqrt(count - 1)
    if evenly:
        assert found.period_error < error
    else:
        assert found.period == pytest.approx(gaps.mean(), rel=1e-12)
        assert found.period_error == pytest.approx(error, rel=1e-6)


@pytest.mark.parametrize(("strays", "kept"), [(7, 13), (8, 12), (9, 20)])
def test_strays_are_left_out_while_six_in_ten_lines_stay(strays: int, kept: int) -> None:
    """Twenty lines; strays of 1 us stand at both ends alike, so that the straight line keeps its slope."""
    places = [at for pair in zip(range(10), range(19, 9, -1), strict=True) for at in pair]
    signs = np.resize([1000.0, -1000.0, -1000.0, 1000.0], strays)
    found = fitted(comb(20, dict(zip(places, signs, strict=False))))
    assert len(found.lead) == kept
    assert (found.epochs() is found.fitted) == (kept < 20)


def test_gaps_just_as_long_as_the_limits_of_a_line_are_none() -> None:
    rate = replace(LOW, periods=(2.0**-14, 2.0**-13))
    for gap, found in ((2.0**-14, False), (1.5 * 2.0**-14, True), (2.0**-13, False)):
        lead = np.arange(5) * gap
        assert (_fit(lead, lead + 4.7e-6, rate) is not None) == found


def test_a_line_is_that_of_15_khz_unless_it_is_said() -> None:
    assert Lines(np.zeros((1, 1)), array(0), 1.0, array(0), np.zeros(1, dtype=np.int64)).scale == 1.0
    assert edges(3).together == 0.0


def test_lines_are_cut_at_the_fit_up_to_60_ns_of_jitter() -> None:
    for jitter, fit in ((59e-9, True), (60e-9, True), (61e-9, False), (89e-9, False)):
        one = replace(edges(3), jitter=jitter, fitted=array(1, 2, 3))
        assert one.epochs() is (one.fitted if fit else one.lead)


# Edges of sync -------------------------------------------------------------------------------------------------------

SLOW = 0.8
"""Length of an edge [us]: 0.3 V in it, so that a level 1 % off moves its middle by 8 ns."""


def keyhole(rate: Rate, lines: int = 5) -> tuple[Array, Pulses]:
    """Return lines whose sync is right where it is to be read and 0.1 V off elsewhere; samples of 0.02 us of 15 kHz.

    Sync goes from 0.5 V to 0.2 V, its middle from 10 to 14.7 us of a line. The tip is read from 1.2 to 3.4 us behind
    the one, the porch over `rate.porch` behind the other: 0.53 V in its first half, 0.47 V in its second.
    """
    half = SLOW / 2
    begin, end = (part * 1e6 / rate.scale for part in rate.porch)
    middle = (begin + end) / 2
    corners = [(10 - half, 0.5), (10 + half, 0.2), (10.5, 0.3), (11.15, 0.3), (11.16, 0.2), (13.44, 0.2), (13.45, 0.3)]
    corners += [(14.2, 0.3), (14.7 - half, 0.2), (14.7 + half, 0.5), (14.7 + begin - 0.05, 0.6)]
    corners += [(14.7 + begin - 0.04, 0.53), (14.7 + middle - 0.005, 0.53), (14.7 + middle + 0.005, 0.47)]
    corners += [(14.7 + end + 0.04, 0.47), (14.7 + end + 0.05, 0.6), (30, 0.6), (31, 0.5)]
    t = np.arange(0, lines * 64, 0.02)
    x, y = zip(*corners, strict=True)
    volts = np.asarray(np.interp(t % 64, x, y, period=64), dtype=np.float64)
    starts = (np.arange(lines) * 64 + 10) * US * rate.scale
    return volts, Pulses(starts, starts + 4.7 * US * rate.scale, 1, 0.3, rate)


@pytest.mark.parametrize("rate", [LOW, HIGH])
def test_edges_are_met_half_way_between_tip_and_porch(monkeypatch: pytest.MonkeyPatch, rate: Rate) -> None:
    """Half-way is 0.35 V; what tells whether a sample meets an edge is 40 % of 0.3 V about it."""
    bands = []
    monkeypatch.setattr("guardcheck.measure.capture.lines._together", lambda *args: bands.append(args[3]) or 0.5)
    volts, pulses = keyhole(rate)
    found = find_edges(volts, 0.02 * US * rate.scale, pulses)
    assert found is not None
    assert_allclose(found.lead, pulses.starts, atol=3e-9)
    assert_allclose(found.trail, pulses.ends, atol=3e-9)
    assert_allclose(bands, [(0.35 - 0.12, 0.35 + 0.12)], atol=2e-3)  # a sample more of one half of the porch
    assert found.together == 0.5


@pytest.mark.parametrize("rate", [LOW, HIGH])
@pytest.mark.parametrize(("off", "count"), [(0.55, 6), (-0.55, 6), (0.65, 5), (-0.65, 5)])
def test_a_sync_of_another_width_is_left_out(rate: Rate, off: float, count: int) -> None:
    """0.6 us, half of that at 31 kHz."""
    trails = [4.3, 4.3, 4.3 + off, 4.3, 4.3, 4.3]
    corners = np.concatenate([array(-0.05, 0.05, end - 0.05, end + 0.05) + 64 * at for at, end in enumerate(trails)])
    t = np.arange(-5.0, 6 * 64, 0.02)
    volts = np.asarray(np.interp(t, corners, np.tile([0.3, 0.0, 0.0, 0.3], 6)), dtype=np.float64)
    starts = (np.arange(6) * 64 + 5.0) * US * rate.scale
    found = find_edges(volts, 0.02 * US * rate.scale, Pulses(starts, starts + 4.3 * US * rate.scale, 1, 0.3, rate))
    assert found is not None
    assert len(found.lead) == count


@pytest.mark.parametrize("rate", [LOW, HIGH])
@pytest.mark.parametrize(
    ("first", "last", "count"),
    [(2.85, 5.05, 4), (2.8, 5.05, 3), (2.75, 5.05, 3), (2.85, 4.95, 3), (2.85, 5.0, 3)],
)
def test_syncs_too_near_to_either_end_are_none(rate: Rate, first: float, last: float, count: int) -> None:
    """2.8 us before the first and 5 us from the last to the last sample, which stands 0.1 us before the end."""
    edge = 2 * 1.4e-6 * rate.scale
    t = np.arange(0.0, 206.0, 0.1)
    lead = np.arange(4) * 64 + 3.0
    x = np.concatenate([array(-0.1, 0.1, 4.6, 4.8) + at for at in lead])
    volts = np.asarray(np.interp(t, x, np.tile([0.3, 0.0, 0.0, 0.3], 4)), dtype=np.float64)
    starts, ends = lead * US * rate.scale, (lead + 4.7) * US * rate.scale
    starts[0] = edge + (first - 2.8) * US * rate.scale
    end = (len(t) - 1) * (0.1 * US * rate.scale)
    ends[-1] = end - 5e-6 * rate.scale - (last - 5.0) * US * rate.scale
    wide = replace(rate, widths=(1e-6, 8e-6))
    found = find_edges(volts, 0.1 * US * rate.scale, Pulses(starts, ends, 1, 0.3, wide))
    assert found is not None
    assert len(found.lead) == count


def test_a_sync_just_as_wide_as_the_limits_is_one() -> None:
    """Powers of two, so that nothing is rounded: lines of 2 ** -14 s, sync of 2 ** -18 s, 512 samples a line."""
    rate = replace(LOW, periods=(2.0**-15, 2.0**-13), widths=(2.0**-18, 2.0**-18))
    k = np.arange(5 * 512)
    volts = np.asarray(np.where((k % 512 >= 128) & (k % 512 < 160), 0.0, 0.3), dtype=np.float64)
    starts = (np.arange(5) * 512 + 128) * 2.0**-23
    found = find_edges(volts, 2.0**-23, Pulses(starts, starts + 2.0**-18, 1, 0.3, rate))
    assert found is not None
    assert len(found.lead) == 5


# What the samples do not tell ----------------------------------------------------------------------------------------


def met(phase: float, levels: tuple[float, float], band: tuple[float, float] = (0.25, 0.75)) -> float:
    """Return what is said of edges at sample 10 and 15 of lines of 64, every other line `phase` of a sample later.

    `levels` [V] are those of the samples beside a leading and a trailing edge; the others stand at 0 and 1 V.
    """
    number = np.arange(20)
    lead = (10.0 + 64 * number + phase * (number % 2)) * US
    one = Edges(lead + 0.5 * US, lead + 5.5 * US, number, 64e-6, 0.0, 0.0, lead, LOW)
    volts = np.ones(1400)
    for at in 10 + 64 * number:
        volts[at : at + 7] = 0.0
        volts[[at, at + 5]] = levels
    return _together(volts, US, one, band)


@pytest.mark.parametrize(
    ("phase", "levels", "expected"),
    [
        (0.25, (0.0, 0.0), US),  # two phases a quarter apart: their mean is 0.71
        (0.35, (0.0, 0.0), 0.0),  # 0.45: they meet every part of an edge
        (0.0, (0.0, 0.0), US),
        (0.0, (0.5, 0.0), 0.0),  # half of the edges are enough
        (0.0, (0.0, 0.5), 0.0),
        (0.0, (0.25, 0.75), US),  # on the limits is not between them
        (0.0, (0.26, 0.0), 0.0),
        (0.0, (0.74, 0.0), 0.0),
    ],
)
def test_widths_are_known_to_a_sample_when_locked_and_seldom_met(
    phase: float, levels: tuple[float, float], expected: float
) -> None:
    assert met(phase, levels) == expected


def test_fewer_than_half_of_the_edges_met_are_too_few() -> None:
    lead = (10.5 + 64 * np.arange(20)) * US
    volts = np.zeros(1400)
    for count, expected in ((19, US), (20, 0.0)):
        volts[10 + 64 * np.arange(count)] = 0.5
        one = Edges(lead, lead + 5 * US, np.arange(20), 64e-6, 0.0, 0.0, lead, LOW)
        assert _together(volts, US, one, (0.25, 0.75)) == expected
