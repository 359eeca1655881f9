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
