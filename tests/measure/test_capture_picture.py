"""The average scan line, its plateaus, tilt and overshoot: every number expected is worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import picture
from guardcheck.measure.capture.lines import BEFORE, Lines
from guardcheck.measure.capture.picture import (
    Folded,
    Plateau,
    bright,
    folded,
    leaves,
    overshoot,
    plateaus,
    smoothing,
    tilt,
    trimmed,
)
from tests.measure.drawn import Array

US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def fold(corners: list[tuple[float, float]], bin_: float = 0.05, *, count: int = 10, scale: float = 1.0) -> Folded:
    """Return an average line drawn by its corners [us, V]: 61 us at 15 kHz from -3 us."""
    x = np.arange(-3.0, 61.0, bin_)
    y = np.interp(x, *zip(*corners, strict=True))
    return Folded(x * US * scale, y, np.full(len(x), count), y, scale)


STAIRS = [(-3, 0), (10, 0), (10.1, 0.7), (20, 0.7), (20.1, 0.3), (30, 0.3), (30.1, 0.28), (40, 0.28), (40.1, 0.0)]


def test_an_average_line_has_means_and_a_bin() -> None:
    one = fold([(0, 0), (10, 1)])
    assert one.bin == pytest.approx(0.05 * US)
    assert one.mean((1.98 * US, 4.02 * US)) == pytest.approx(0.3)
    assert one.mean((2.01 * US, 2.02 * US)) == pytest.approx(0.2015)


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_flat_parts_of_the_picture_in_order(scale: float) -> None:
    """Edges of 0.1 us count from 0.3 us before to 0.3 us behind: flat from 10.4 on; 20 mV is below 3.5 %."""
    found = plateaus(fold(STAIRS, scale=scale), (9 * US * scale, 60 * US * scale), 0.7, 0.0)
    assert [round(one.level, 3) for one in found] == [0.7, 0.29, 0.0]
    ends = [(one.window[0] / US / scale, one.window[1] / US / scale) for one in found]
    assert_allclose(ends, [(10.4, 19.7), (20.4, 39.7), (40.4, 60.0)], atol=0.11)
    assert found[0].width == pytest.approx(found[0].window[1] - found[0].window[0])
    tall = plateaus(fold(STAIRS, scale=scale), (9 * US * scale, 60 * US * scale), 0.5, 0.0)
    assert [round(one.level, 2) for one in tall] == [0.7, 0.3, 0.28, 0.0]
    noisy = plateaus(fold(STAIRS, scale=scale), (9 * US * scale, 60 * US * scale), 0.5, 0.0034)
    assert len(noisy) == 3  # six times the noise is above the small step
    assert len(plateaus(fold(STAIRS, scale=scale), (9 * US * scale, 60 * US * scale), 0.5, 0.0032)) == 4


def test_a_flat_part_below_a_microsecond_is_none() -> None:
    for length, count in ((1.8, 3), (1.5, 2)):
        corners = [(0, 0), (20, 0), (20.1, 0.7), (20.1 + length, 0.7), (20.2 + length, 0)]
        found = plateaus(fold(corners), (9 * US, 60 * US), 0.7, 0.0)
        assert len(found) == count


def test_a_window_is_trimmed_at_both_ends_but_keeps_its_middle_third() -> None:
    assert trimmed((1.0, 9.0), 0.5) == (1.5, 8.5)
    assert_allclose(trimmed((1.0, 2.5), 0.5), (1.5, 2.0))
    assert_allclose(trimmed((1.0, 2.2), 0.5), (1.4, 1.8))


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_where_the_line_leaves_a_level(scale: float) -> None:
    us = US * scale
    one = fold([(-3, 0), (10, 0), (10.4, 0.7), (40, 0.7), (40.4, 0)], scale=scale)
    assert leaves(one, 8.4 * us, 0.0, 0.7, 0.0) == pytest.approx(10.2 * us, abs=0.002 * us)
    assert leaves(one, 44 * us, 0.0, 0.7, 0.0, back=True) == pytest.approx(40.2 * us, abs=0.002 * us)
    assert leaves(one, 8.4 * us, 0.1, 0.7, 0.0) is None  # it does not even begin there
    late = fold([(-3, 0), (13.5, 0), (13.6, 0.7)], scale=scale)
    assert leaves(late, 8.4 * us, 0.0, 0.7, 0.0) == pytest.approx(13.55 * us, abs=0.003 * us)
    later = fold([(-3, 0), (14.1, 0), (14.2, 0.7)], scale=scale)
    assert leaves(later, 8.4 * us, 0.0, 0.7, 0.0) is None  # the porch is over by 14 us
    far = fold([(-3, 0.7), (39.8, 0.7), (39.9, 0)], scale=scale)
    assert leaves(far, 47.7 * us, 0.0, 0.7, 0.0, back=True) == pytest.approx(39.85 * us, abs=0.003 * us)
    assert leaves(far, 48.0 * us, 0.0, 0.7, 0.0, back=True) is None
    dark = fold([(-3, 0), (10, 0), (10.1, 0.02), (60, 0.02)], scale=scale)
    assert leaves(dark, 8.4 * us, 0.0, 0.7, 0.0) is None  # 3 % of 0.7 V is 21 mV
    assert leaves(dark, 8.4 * us, 0.0, 0.6, 0.0) == pytest.approx(10.05 * us, abs=0.003 * us)
    assert leaves(dark, 8.4 * us, 0.0, 0.6, 0.0034) is None  # six times the noise
    assert leaves(dark, 8.4 * us, 0.0, 0.6, 0.0032) is not None
    down = fold([(-3, 0), (10, 0), (10.4, -0.35)], scale=scale)
    assert leaves(down, 8.4 * us, 0.0, 0.35, 0.0) == pytest.approx(10.2 * us, abs=0.002 * us)
    slow = fold(
        [(-3, 0), (10, 0), (11, 0.35), (12, 0.7)], scale=scale
    )  # half of what stands 1 us behind the first sign
    assert leaves(slow, 8.4 * us, 0.0, 0.7, 0.0) == pytest.approx(10.53 * us, abs=0.06 * us)


def test_tilt_is_the_slope_over_the_whole_bar() -> None:
    """A bar from 10 to 50 us falls from 0.72 to 0.68 V above blanking of 0.02 V: 0.04 of 0.7 in the middle."""
    one = fold([(-3, 0.02), (10, 0.02), (10.01, 0.74), (50, 0.70), (50.01, 0.02)])
    value, error = tilt(one, Plateau((10 * US, 50 * US), 0.72), 0.02)
    assert value == pytest.approx(0.04 / 0.7, rel=1e-3)
    assert error == pytest.approx(0.015 * value, rel=0.01)
    rng = np.random.default_rng(5)
    rough = Folded(one.x, one.y + 0.01 * rng.standard_normal(len(one.x)), one.count, one.smooth)
    _, wide = tilt(rough, Plateau((10 * US, 50 * US), 0.72), 0.02)
    n = 38 / 0.05  # points in the 38 us between: their slope is known to s / (spacing * sqrt(n**3 / 12))
    expected = 0.01 / (0.05 * math.sqrt(n**3 / 12)) * 40 / 0.7
    assert wide == pytest.approx(math.hypot(expected, 0.015 * 0.04 / 0.7), rel=0.06)


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_overshoot_is_the_peak_behind_the_edge(scale: float) -> None:
    us = US * scale
    corners = [(-3, 0), (10, 0), (10.1, 0.77), (10.4, 0.77), (10.5, 0.7), (50, 0.7), (50.1, 0)]
    one = fold(corners, 0.025, scale=scale)
    bar_ = Plateau((10.8 * us, 49.7 * us), 0.7)
    found = overshoot(one, bar_, 0.0, 0.001)
    assert found is not None
    assert found[0] == pytest.approx(0.1, abs=0.002)
    assert found[1] == pytest.approx(0.001 / math.sqrt(10) / 0.7)
    half = overshoot(one, bar_, 0.35, 0.0)
    assert half is not None
    assert half[0] == pytest.approx(0.2, abs=0.004)
    plain = overshoot(fold(STAIRS, 0.025, scale=scale), Plateau((10.4 * us, 19.7 * us), 0.7), 0.0, 0.0)
    assert plain is not None
    assert plain[0] == pytest.approx(0.0, abs=1e-6)
    assert overshoot(fold(corners, 0.0625, scale=scale), bar_, 0.0, 0.0) is None  # bins above 60 ns
    assert overshoot(fold(corners, 0.055, scale=scale), bar_, 0.0, 0.0) is not None
    assert overshoot(fold(corners, 0.025, count=0, scale=scale), bar_, 0.0, 0.0) is None
    late = overshoot(one, Plateau((300 * us, 310 * us), 0.7), 0.0, 0.0)
    assert late is None


def test_smoothing_takes_two_cycles_of_chroma_out() -> None:
    assert smoothing(4e6) == pytest.approx(0.5 * US)
    assert smoothing(None) == pytest.approx(0.2 * US)
    step, n = 0.05e-6, 64
    offsets = -BEFORE + step * np.arange(n) / n
    times = offsets[:, None] + step * np.arange(1300)
    one = folded(
        Lines(0.3 + 0.1 * np.sin(2 * np.pi * 4e6 * times), offsets, step, np.arange(n), np.arange(n), 0.5), 60e-6, 4e6
    )
    inside = slice(100, -100)
    assert one.y[inside].max() == pytest.approx(0.4, abs=0.002)
    assert_allclose(one.smooth[inside], 0.3, atol=2e-3)
    assert one.scale == 0.5


def test_the_lines_that_reach_the_greatest_brightness() -> None:
    """Ten lines, three of white; one above it in field blanking does not count, nor one 5 % below by noise."""
    heights = array(0.1, 0.7, 0.7, 0.2, 0.665, 1.2, 0.6, 0.1, 0.1, 0.1)
    blank = np.full(10, 0.05)
    data = 0.05 + np.repeat(heights[:, None], 60, axis=1) * (np.arange(60) > 20)
    one = Lines(data, np.zeros(10), US, np.arange(10), np.arange(10))
    shown = np.arange(10) != 5
    found, floor = bright(one, (15 * US, 55 * US), blank, 0.0, shown)
    assert np.flatnonzero(found).tolist() == [1, 2, 4]
    assert floor == pytest.approx(0.7)
    # Noise of 40 mV over two samples leaves 28 mV: eight times that takes 0.6 V in, and 113 mV come off the floor.
    found, floor = bright(one, (15 * US, 55 * US), blank, 0.04, shown)
    assert np.flatnonzero(found).tolist() == [1, 2, 4, 6]
    assert floor == pytest.approx(0.7 - 4 * 0.04 / math.sqrt(2), rel=1e-6)


# The brightest lines, and what stands behind an edge -----------------------------------------------------------------


def level_lines(heights: Array, step: float = US) -> Lines:
    """Return lines that stand still at a height each."""
    count = len(heights)
    starts = np.arange(float(count))
    return Lines(np.repeat(heights[:, None], 40, axis=1), np.zeros(count), step, starts, np.arange(count))


def brightest(heights: Array, blank: Array | None = None, noise: float = 0.0) -> tuple[list[int], float]:
    blank = np.zeros(len(heights)) if blank is None else blank
    found, floor = bright(level_lines(heights), (2 * US, 30 * US), blank, noise, np.ones(len(heights)) > 0)
    return np.flatnonzero(found).tolist(), floor


def test_the_brightness_looked_for_is_that_of_one_line_in_a_hundred() -> None:
    found, floor = brightest(array(0.1, 0.66, 0.7, 0.65, 0.1))
    assert found == [1, 2]  # 6 % of 0.7 V are 42 mV
    assert floor == pytest.approx(0.7)
    many = np.full(200, 0.5)
    many[[20, 40]] = 0.70, 0.72
    found, floor = brightest(many)
    assert found == [20, 40]
    assert floor == pytest.approx(0.71)
    few = np.full(199, 0.5)
    few[[20, 40]] = 0.70, 0.72
    assert brightest(few)[1] == pytest.approx(0.72)


def test_brightness_stands_on_the_blanking_of_fifteen_lines() -> None:
    """Blanking jumps by 10 V in the last of 20 lines, and by 1 V in the last of four, averaged over five."""
    box_ = array(*(0.0 if i + 8 < 20 else 10.0 / (20 - (i - 7)) for i in range(20)))
    found, floor = brightest(0.7 + box_, array(*[0.0] * 19, 10.0))
    assert found == list(range(20))
    assert floor == pytest.approx(0.7)
    found, floor = brightest(0.7 + array(0, 1 / 4, 1 / 4, 1 / 3), array(0, 0, 0, 1))
    assert found == [0, 1, 2, 3]
    assert floor == pytest.approx(0.7)


def test_brightness_of_few_samples_is_that_of_each() -> None:
    """At 5 us a sample, 2.3 us is less than one; 2.3 us hold two of 1 us, and three of 0.8 us."""
    for step, expected in ((5 * US, 0.9), (US, 0.45), (0.8 * US, 0.3)):
        one = level_lines(np.zeros(3), step)
        one.rows[:, 10] = 0.9
        shown = np.ones(3) > 0
        assert bright(one, (2 * step, 30 * step), np.zeros(3), 0.0, shown)[1] == pytest.approx(expected)
    half = replace(level_lines(np.zeros(3), 0.4 * US), scale=0.5)
    half.rows[:, 10] = 0.9
    assert bright(half, (US, 10 * US), np.zeros(3), 0.0, np.ones(3) > 0)[1] == pytest.approx(0.3)


def average(*corners: tuple[float, float]) -> Folded:
    """Return an average line of straight lines between corners, in bins of 25 ns."""
    x = np.arange(2400) * 0.025
    at, volts = zip(*corners, strict=True)
    y = np.asarray(np.interp(x, array(*at), array(*volts)), dtype=np.float64)
    return Folded(np.asarray(x * US, dtype=np.float64), y, np.full(len(x), 10), y)


def test_overshoot_is_looked_for_within_two_microseconds_and_over_what_follows() -> None:
    edge = [(0, 0), (9.6, 0), (9.7, 0.77), (10.2, 0.77), (10.3, 0.7)]
    cases: list[tuple[list[tuple[float, float]], float, float, float]] = [
        ([(11.4, 0.7), (11.5, 0.9), (11.6, 0.7)], 0.7, 50, 0.07 / 0.7 - 0.9 / 141 / 0.7),  # 4 bins of 141: 0.9 V more
        ([(14.6, 0.7), (14.7, 0.5), (50, 0.5)], 0.7, 50, 0.1),  # from 2 to 5.5 us behind
        ([(14, 0.7)], 0.65, 12.4, 0.12 / 0.65),  # too narrow: its own level
        ([(14, 0.7)], 0.65, 13.0, 0.07 / 0.65),
    ]
    for rest, level, end, expected in cases:
        found = overshoot(average(*edge, *rest), Plateau((10 * US, end * US), level), 0.0, 0.0)
        assert found is not None
        assert found[0] == pytest.approx(expected, abs=3e-3)


def test_an_average_line_is_that_of_15_khz_unless_it_is_said() -> None:
    assert average((0, 0), (1, 1)).scale == 1.0
    assert level_lines(np.zeros(3)).scale == 1.0
    assert average((0, 0), (60, 60)).bin == pytest.approx(25e-9)


def test_the_ends_of_a_flat_part_belong_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bins of 2 ** -25 s, so that nothing is rounded: a flat part of just 32 of them."""
    monkeypatch.setattr(picture, "_SHORTEST", 2.0**-20)
    x = np.arange(2000.0) * 2.0**-25
    fold = Folded(x, np.full(2000, 0.5), np.full(2000, 1), np.full(2000, 0.5))
    (one,) = plateaus(fold, (float(x[400]), float(x[432])), 0.7, 0.0)
    assert (one.window, one.level, one.width) == ((x[400], x[432]), 0.5, 2.0**-20)
    assert plateaus(fold, (float(x[400]), float(x[431])), 0.7, 0.0) == ()
    step = Folded(x, x * 0, np.full(2000, 1), np.where(np.arange(2000) < 1000, 0.0, 0.7))
    first, second = plateaus(step, (float(x[100]), float(x[1900])), 0.7, 0.0)
    reach = 10  # 0.3 us in bins of 30 ns, on either side
    assert (first.window, second.window) == ((x[100], x[999 - reach]), (x[1000 + reach], x[1900]))


def test_tilt_leaves_out_one_microsecond_at_either_end() -> None:
    """A bar that bends 1.25 us from its ends; the straight line through 11 to 49 us is fitted here by itself."""
    one = average((0, 0), (9.9, 0), (10, 0.9), (11.25, 0.72), (48.75, 0.68), (50, 0.5), (50.1, 0))
    inside = (one.x >= 11e-6 - 1e-12) & (one.x <= 49e-6 + 1e-12)
    slope = np.polynomial.Polynomial.fit(one.x[inside], one.y[inside], 1).convert().coef[1]
    value, _ = tilt(one, Plateau((10e-6, 50e-6), 0.7), 0.0)
    assert value == pytest.approx(-slope * 40e-6 / 0.7, rel=5e-3)  # to a bin


def test_a_line_that_leaves_late_is_judged_by_the_last_that_is_seen() -> None:
    """It rises from 13.5 us on; at 14 us, where looking ends, 0.7 V: half of that at 13.75 us."""
    late = average((0, 0), (13.5, 0), (14.5, 1.4), (60, 1.4))
    assert leaves(late, 8.4e-6, 0.0, 0.7, 0.0) == pytest.approx(13.75e-6, abs=2e-9)
    on_its_way = average((0, 0), (10, 0), (10.5, 0.7), (60, 0.7))
    assert leaves(on_its_way, 9.9e-6, 0.0, 0.7, 0.0) == pytest.approx(10.25e-6, abs=2e-9)
    assert leaves(on_its_way, 10.2e-6, 0.0, 0.7, 0.0) is None  # it has left before


# Whole numbers: lines two million times as long as those of 15 kHz, so that a microsecond of them is 2 s --------------

LONG = 2e6


def still(x: Array, y: Array, *, smooth: Array | None = None, count: int = 1, scale: float = LONG) -> Folded:
    """Return an average line of these points, times in seconds."""
    return Folded(x, y, np.full(len(x), count), y if smooth is None else smooth, scale)


def spike(x: Array, at: float, height: float, rest: float = 0.0) -> Array:
    """Return `rest` everywhere but at one time that stands in `x`."""
    assert np.count_nonzero(x == at) == 1
    return np.where(x == at, height, rest)


def test_a_mean_takes_both_ends_of_its_window() -> None:
    one = still(np.arange(6.0), array(1, 2, 4, 8, 16, 32))
    assert one.mean((1.0, 3.0)) == (2 + 4 + 8) / 3
    assert one.mean((1.01, 2.99)) == 4
    assert one.mean((1.25, 1.75)) == 3  # no point inside: half-way


@pytest.mark.parametrize(
    ("subcarrier", "spread"),
    [
        (None, 1),  # 0.2 us are less than half a sample
        (2 / 1.2e-6, 2),  # 2.4 samples
        (2 / 1.3e-6, 3),  # 2.6 samples
    ],
)
def test_what_an_average_line_is_smoothed_over_is_told_in_its_bins(subcarrier: float | None, spread: int) -> None:
    """Ten bins of half a microsecond from 3 us before sync on; two cycles of the subcarrier in them."""
    rows = np.zeros((4, 10))
    rows[:, 5] = 12.0
    one = Lines(rows, np.full(4, -BEFORE + 1e-9), 0.5e-6, np.arange(4.0), np.arange(4))
    found = folded(one, 2e-6, subcarrier)
    assert len(found.x) == 10
    spread_out = {1: (0, 12, 0), 2: (3, 6, 3), 3: (4, 4, 4)}[spread]
    assert_allclose(found.smooth[3:8], (0, *spread_out, 0), atol=1e-12)
    assert_allclose(found.y, rows[0])


def test_bins_without_samples_lie_between_their_neighbours() -> None:
    rows = np.tile(array(0, 0, 1, 2), (4, 1))
    one = Lines(rows, np.full(4, -BEFORE + 1e-9), 0.5e-6, np.arange(4.0), np.arange(4))
    found = folded(one, 0.0, None)  # six bins, the last two without samples
    assert_allclose(found.y, (0, 0, 1, 2, 2, 2))
    assert found.count.tolist() == [4, 4, 4, 4, 0, 0]


def test_brightness_is_that_of_a_trace_below_zero_too() -> None:
    """All of it lies a volt below zero; 2.3 us are two samples, or the one there is."""
    one = level_lines(array(-1.0, -0.7, -0.3))
    for end in (30.0, 2.5):
        found, floor = bright(one, (2 * US, end * US), np.full(3, -1.0), 0.0, np.ones(3) > 0)
        assert np.flatnonzero(found).tolist() == [2]
        assert floor == pytest.approx(0.7)


def test_where_nothing_is_brighter_all_lines_are_the_picture() -> None:
    assert brightest(np.zeros(4)) == ([0, 1, 2, 3], 0.0)


def test_eight_times_the_noise_of_a_line_decide_which_is_bright() -> None:
    """Two samples in 2.3 us leave 40 mV of 56.6: 0.7 V less 320 mV."""
    found, floor = brightest(array(0.7, 0.385, 0.375), noise=0.04 * math.sqrt(2))
    assert found == [0, 1]
    assert floor == pytest.approx(0.54)


@pytest.mark.parametrize(
    ("at", "share"),
    [(11.0, 0), (11.5, 0), (12.0, 1), (12.5, 1), (19.0, 1), (20.0, 1), (20.5, 0), (21.0, 0)],
)
def test_the_level_of_a_flat_part_leaves_half_a_microsecond_out_at_either_end(at: float, share: int) -> None:
    """A flat part from 11 to 21 s, a microsecond being 2 s: 17 points of half a second from 12 to 20 s."""
    x = np.arange(0.0, 40.0, 0.5)
    smooth = np.where((x >= 10.5) & (x <= 21.5), 0.7, 0.0)
    (_, one, _) = plateaus(still(x, spike(x, at, 17.0), smooth=smooth), (2.0, 38.0), 0.7, 0.0)
    assert one.window == (11.0, 21.0)
    assert one.level == pytest.approx(share)


def test_a_flat_part_of_just_a_microsecond_counts() -> None:
    x = np.arange(0.0, 40.0, 0.5)
    for length, count in ((2.0, 3), (1.5, 2)):
        smooth = np.where((x >= 9.5) & (x <= 10.5 + length), 0.7, 0.0)
        assert len(plateaus(still(x, smooth), (2.0, 38.0), 0.7, 0.0)) == count


def test_bins_wider_than_an_edge_are_looked_at_one_by_one() -> None:
    """A bin is 2 s, a microsecond; an edge between 18 and 20 s takes both of them."""
    x = np.arange(0.0, 40.0, 2.0)
    first, second = plateaus(still(x, np.where(x < 19, 0.0, 0.7)), (4.0, 36.0), 0.7, 0.0)
    assert (first.window, second.window) == ((4.0, 16.0), (22.0, 36.0))


def test_a_line_that_stands_still_is_one_flat_part_whatever_its_height() -> None:
    x = np.arange(0.0, 40.0, 0.5)
    (one,) = plateaus(still(x, np.full(80, 0.1)), (4.0, 36.0), 0.0, 0.0)
    assert one.window == (4.0, 36.0)
    assert plateaus(still(x, np.full(80, 0.1)), (50.0, 60.0), 0.0, 0.0) == ()


@pytest.mark.parametrize(
    ("values", "level", "expected"),
    [
        ((0, 0, 0.1, 0.9, 1, 1, 1), 0.0, 2.5),
        ((0, 1, 1, 1, 1, 1, 1), 0.0, 0.5),  # at once
        ((0.1, 1, 1, 1, 1, 1, 1), 0.0, None),  # it has left before
        ((0, 0, 0.5, 0.5, 1, 1, 1), 0.0, 2.0),  # half is reached, and then it rests
        ((0.2, 0.2, 0.3, 1.1, 1.2, 1.2, 1.2), 0.2, 2.5),  # half of 0.2 and 1.2 V
        ((0.5, 0.5, 0.4, 0.2, 0.1, 0.1, 0.1), 0.5, 2.5),  # downwards, half of 0.5 and 0.1 V
        ((0, 0, 0.03, 0.03, 0.03, 0.03, 0.03), 0.0, None),  # just 3 % of 1 V
        ((0, 0, 0.04, 0.04, 0.04, 0.04, 0.04), 0.0, 1.5),
        ((0, 0, 1, 1, 0, 0, 0), 0.0, None),  # a microsecond behind it is back
        ((0, 0, 1, 0, 1, 1, 1), 0.0, 1.5),
    ],
)
@pytest.mark.parametrize("back", [False, True])
def test_where_a_line_leaves_by_its_points(
    values: tuple[float, ...], level: float, expected: float | None, back: bool
) -> None:
    """A point a second from 12 s on, or backwards from 28 s on; a microsecond behind is two points."""
    x = np.arange(40.0)
    smooth = np.array((*[7.0] * 12, *values, *[values[-1]] * 21))
    start, sign = 12.0, 1
    if back:
        smooth, start, sign = smooth[::-1].copy(), 27.0, -1
    found = leaves(still(x, smooth * 0.0, smooth=smooth), start, level, 1.0, 0.0, back=back)
    assert found == (None if expected is None else pytest.approx(start + sign * expected))


def test_what_is_looked_at_when_a_line_leaves_ends_with_the_porch() -> None:
    """14 us are 28 s; the other way 8 us are 16 s."""
    x = np.arange(60.0)
    for at, seen in ((28.0, 27.5), (29.0, None)):
        assert leaves(still(x, np.where(x >= at, 1.0, 0.0)), 20.0, 0.0, 1.0, 0.0) == seen
    for at, seen in ((30.0, 30.5), (29.0, None)):
        assert leaves(still(x, np.where(x <= at, 1.0, 0.0)), 46.0, 0.0, 1.0, 0.0, back=True) == seen


def test_the_error_of_a_tilt_of_few_points_is_that_of_a_straight_line() -> None:
    """Residuals with neither mean nor slope; two of n degrees of freedom are the line's own.

    Four points 1, -1, -1, 1 a second apart: 4 / 2 over 5; three 1, -2, 1: 6 / 1 over 2; both over a bar of 1 V, whose
    slope is drawn out to 7 s or 6 s.
    """
    for points, width, expected in (((1, -1, -1, 1), 7.0, 4 / 2 / 5), ((1, -2, 1), 6.0, 6 / 1 / 2)):
        y = np.full(20, 50.0)  # what stands at the ends is left out: 2 s
        y[7 : 7 + len(points)] = 3.0 + 0.01 * np.array(points)
        value, error = tilt(still(np.arange(20.0), y), Plateau((5.0, 5.0 + width), 3.0), 2.0)
        assert value == pytest.approx(0.0, abs=1e-12)
        assert error == pytest.approx(0.01 * math.sqrt(expected) * width)


def test_tilt_takes_the_points_a_microsecond_from_its_ends() -> None:
    """From 2 to 6 s: 1 V at the first of five points is a slope of -2 / 10 V a second; the bar is 8 s long, of 2 V."""
    x = np.arange(20.0)
    for at, slope in ((1.0, 0.0), (2.0, -0.2), (3.0, -0.1), (6.0, 0.2), (7.0, 0.0)):
        value, _ = tilt(still(x, spike(x, at, 1.0)), Plateau((0.0, 8.0), 2.0), 0.0)
        assert value == pytest.approx(-slope * 8 / 2, abs=1e-12)


BIN = 1 / 16


def peak(at: float, window: tuple[float, float] = (20.0, 60.0), *, level: float = 1.0, noise: float = 0.0) -> float:
    """Return the overshoot of a line of 1 V, with one point of 2 V; in bins of a sixteenth of a second."""
    x = np.arange(0.0, 80.0, BIN)
    found = overshoot(still(x, spike(x, at, 2.0, 1.0)), Plateau(window, level), 0.0, noise)
    assert found is not None
    assert found[1] == pytest.approx(noise / level)
    return found[0]


@pytest.mark.parametrize(
    ("at", "expected"),
    [
        (18.0 - BIN, 0.0),
        (18.0, 1.0),  # a microsecond before the plateau
        (20.0, 1.0),
        (22.0, 1.0 - 1 / 113),  # a microsecond behind its start; the level has 7 s, 113 points, from there on
        (22.0 + BIN, 0.0),
    ],
)
def test_overshoot_is_looked_for_a_microsecond_on_either_side(at: float, expected: float) -> None:
    assert peak(at) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("at", "window", "level"),
    [
        (29.0, (20.0, 60.0), 1 + 1 / 113),  # up to 5.5 us behind the start: 22 to 29 s
        (29.0 + BIN, (20.0, 60.0), 1),
        (27.375, (20.0, 28.0), 1 + 1 / 87),  # 0.3 us from the end, 27.4 s: 87 points
        (27.4375, (20.0, 28.0), 1),
        (23.0, (20.0, 25.0), 1.25),  # 2.5 us are too narrow: its own level
        (23.0, (20.0, 25.0625), 1 + 1 / 40),  # 22 to 24.4 s: 39 points and one
    ],
)
def test_overshoot_stands_on_the_level_behind_it(at: float, window: tuple[float, float], level: float) -> None:
    """A line of 1 V with a second point of 3 V in front, so that what the level is can be read from the overshoot."""
    x = np.arange(0.0, 80.0, BIN)
    y = spike(x, at, 2.0, 1.0) + spike(x, 20.0, 2.0)
    found = overshoot(still(x, y), Plateau(window, 1.25), 0.25, 0.0)
    assert found is not None
    assert found[0] == pytest.approx(3 - level)


@pytest.mark.parametrize(
    ("noise", "level", "spread"),
    [
        (0.0039, 1.0, 1),
        (0.004, 1.0, 2),  # 0.4 % of the step: averaged over 50 ns, 1.6 bins
        (0.0031, 0.5, 2),  # of half a volt
        (0.0019, 0.5, 1),
    ],
)
def test_noise_is_averaged_over_before_the_peak_is_taken(noise: float, level: float, spread: int) -> None:
    """A point a volt high: half of it is left of two bins. The level behind is 1 V, the step is the plateau's own."""
    assert peak(20.0, level=level, noise=noise) == pytest.approx(1 / spread / level)


def test_overshoot_is_averaged_over_one_bin_at_least_and_three_where_they_are_fine() -> None:
    for bin_, spread in ((0.125, 1), (1 / 32, 3)):
        x = np.arange(0.0, 80.0, bin_)
        one = Folded(x, spike(x, 20.0, 2.0, 1.0), np.full(len(x), 1), x, 2.25e6 if spread == 1 else LONG)
        found = overshoot(one, Plateau((20.0, 60.0), 1.0), 0.0, 0.1)
        assert found is not None
        assert found[0] == pytest.approx(1 / spread)


def test_bins_of_just_sixty_nanoseconds_show_an_overshoot() -> None:
    """0.12 s of 2 s; one bin more in the same time, and they are wider than that."""
    for bins, seen in ((512, True), (511, False)):
        x = np.linspace(0.0, 512 * 0.12, bins + 1)
        found = overshoot(still(x, np.ones(len(x))), Plateau((20.0, 40.0), 1.0), 0.0, 0.0)
        assert (found is not None) == seen
