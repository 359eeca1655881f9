"""Small pieces of reading a capture, each called by itself: every number expected is worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.measure.capture import picture
from guardcheck.measure.capture.lines import Edges, Lines
from guardcheck.measure.capture.picture import Folded, Plateau, bright, leaves, overshoot, plateaus, tilt
from guardcheck.measure.capture.systems import rates
from tests.measure.drawn import Array

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


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


def test_a_line_is_that_of_15_khz_unless_it_is_said() -> None:
    assert average((0, 0), (1, 1)).scale == 1.0
    assert level_lines(np.zeros(3)).scale == 1.0
    assert Edges(*(array(0),) * 2, np.zeros(1, dtype=np.int64), 1.0, 0.0, 0.0, array(0), LOW).together == 0.0
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
