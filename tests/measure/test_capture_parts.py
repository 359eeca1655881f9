"""The parts a capture is analysed with, each on a handful of samples: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

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
from guardcheck.measure.capture.systems import rates
from tests.measure.drawn import Array

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


# The picture ---------------------------------------------------------------------------------------------------------


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
