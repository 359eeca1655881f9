"""Small pieces of reading a capture, each called by itself: every number expected is worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import fieldsync, picture
from guardcheck.measure.capture.field import OverField, _droop, over_field
from guardcheck.measure.capture.fieldsync import _pulses, _raw, field_sync
from guardcheck.measure.capture.lines import Edges, Lines
from guardcheck.measure.capture.picture import Folded, Plateau, bright, leaves, overshoot, plateaus, tilt
from guardcheck.measure.capture.systems import rates
from guardcheck.measure.capture.transitions import COARSE, NOISY, _crossings, edge_time
from tests.measure.drawn import Array

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


# Edges of the average line -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        ((0, 0.05, 0.3, 0.5, 0.7, 0.8, 1.0), (1.2, 5.5)),
        ((0, 0.5, 0.05, 0.7, 1.0), (0.2, 3 + 2 / 3)),  # half is its middle
        ((0, 0.6, 0.05, 0.8, 1.0), (1 / 6, 3.5)),
        ((0, 0.2, 0.1, 0.6, 1.0), (0.5, 3.75)),  # 10 % is not below 10 %
        ((0, 0.6, 0.9, 0.8, 1.0), (1 / 6, 2.0)),  # 90 % is reached
        ((0.05, 0.14, 0.6, 1.0), (5 / 9, 2.75)),
        ((0.2, 0.6, 1.0), None),
        ((0, 0.6, 0.8), None),
        ((0.2, 0.6, 0.8), None),
        ((0.6, 0.05, 0.7, 1.0), None),  # it begins above its middle
        ((0, 0.1, 0.2), None),
    ],
)
def test_an_edge_passes_a_tenth_last_and_nine_tenths_first(
    share: tuple[float, ...], expected: tuple[float, float] | None
) -> None:
    found = _crossings(np.arange(float(len(share))), np.array(share))
    assert (found is None) == (expected is None)
    if found is not None and expected is not None:
        assert_allclose(found, expected, rtol=1e-12)


def ramp(length: int, bin_: int, before: float = 0.0, height: float = 1.0) -> Folded:
    """Return a straight edge of `length` from 0; both in nanoseconds, every corner on a bin."""
    x = np.arange(-2000, 2000 + length, bin_)
    y = before + height * np.clip(x / length, 0.0, 1.0)
    return Folded(np.asarray(x * 1e-9, dtype=np.float64), y, np.full(len(x), 4), y)


def time_of(length: int, bin_: int, noise: float = 0.0, jitter: float = 0.0) -> tuple[float, float] | str:
    levels = (0.25, 2.25)
    return edge_time(ramp(length, bin_, 0.25, 2.0), length * 0.5e-9, 1.5e-6, levels, noise, jitter * 1e-9)


def test_the_error_of_an_edge_time() -> None:
    """500 ns in bins of 10 ns, 10 ns of jitter: blur 8, 25.63 and 17.5 ns, together 32.04; a rectangle of that."""
    found = time_of(500, 10, 0.04, 10.0)
    assert not isinstance(found, str)
    blur = math.sqrt(8**2 + 25.63**2 + 17.5**2)
    faster = (400 - math.sqrt(400**2 - blur**2)) / math.sqrt(3)
    each = math.hypot(0.04 / 2 / 2 * 500, 10 / 12)  # 1 % of the height, on a slope of the height in 500 ns
    assert_allclose(found, (400e-9, 1e-9 * math.hypot(faster, each * math.sqrt(2))), rtol=1e-6)


def test_an_edge_is_told_where_blur_bins_and_noise_let_it() -> None:
    for length, bin_, jitter, told in (
        (90, 10, 10, True),
        (80, 10, 10, False),
        (600, 100, 0, True),
        (400, 100, 0, False),
    ):
        found = time_of(length, bin_, jitter=jitter)
        assert (found != COARSE) == told, (length, bin_)
    assert time_of(500, 10, 0.19) != NOISY  # 0.19 V over four samples is 4.75 % of 2 V
    assert time_of(500, 10, 0.21) == NOISY
    assert edge_time(ramp(500, 10), 0.0, 1e-6, (0.5, 0.5), 0.0, 0.0) == NOISY


def test_both_ends_of_what_is_looked_at_count() -> None:
    """10 % is passed behind the very first point, 90 % at the very last."""
    y = array(0, 0.2, 0.6, 0.8, 1.0)
    fold = Folded(np.arange(5.0), y, np.full(5, 1), y)
    assert edge_time(fold, 2.0, 2.0, (0.0, 1.0), 0.0, 0.0) == COARSE
    assert edge_time(fold, 2.0, 1.9, (0.0, 1.0), 0.0, 0.0) == "the edge is not whole"
    assert edge_time(fold, 2.0, 1e-3, (0.0, 1.0), 0.0, 0.0) == "the edge is not whole"


# Field sync on a line of its own -------------------------------------------------------------------------------------


def dips(starts: list[float], width: float, length: float, step: float = 2e-6) -> Array:
    """Return 1 V that goes to -1 V for `width` at each of `starts`; all in milliseconds, `step` in seconds."""
    volts = np.ones(round(length * 1e-3 / step))
    for start in starts:
        volts[round(start * 1e-3 / step) :][: round(width * 1e-3 / step)] = -1.0
    return volts


@pytest.mark.parametrize(
    ("starts", "width", "count"),
    [
        ([3], 0.2, 0),
        ([3, 23], 0.2, 2),
        ([3, 14], 0.2, 0),  # 11 ms: more than 90 fields a second
        ([3, 14.2], 0.2, 2),
        ([3, 25.1], 0.2, 2),
        ([3, 25.4], 0.2, 0),  # 22.4 ms: fewer than 45
        ([3, 23, 43.3], 0.2, 3),  # 20 and 20.3 ms: 0.15 from their mean of 20.15
        ([3, 23, 43.5], 0.2, 0),  # 20 and 20.5 ms: 0.25 from their mean of 20.25
        ([3, 23], 0.016, 0),
        ([3, 23], 0.022, 2),
        ([3, 23], 1.99, 2),
        ([3, 23], 2.01, 0),
    ],
)
def test_field_sync_is_wide_and_comes_evenly_once_a_field(starts: list[float], width: float, count: int) -> None:
    assert _pulses(dips(starts, width, 50.0), 2e-6) == count
    assert _pulses(0.2 + 0.5 * dips(starts, width, 50.0), 2e-6) == count


def test_the_limits_of_field_sync_belong_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Powers of two, so that nothing is rounded: 128 samples wide, 8192 apart, and 64 more and less."""
    step = 2.0**-19
    for name, value in (("FIELDS", (2**-6, 2**-6)), ("WIDTHS", (2**-12, 2**-12)), ("_EVEN", 2**-7)):
        monkeypatch.setattr(fieldsync, name, value)
    volts = np.ones(30_000)
    for at in (1000, 1000 + 8192 - 64, 1000 + 16384):
        volts[at : at + 128] = -1.0
    assert _pulses(volts, step) == 3


def parts(high: Array, low: Array) -> dict[str, Array]:
    return {"high": high, "low": low}


def moved(level: float, by: float, count: int = 100) -> Array:
    """Return samples that go `by` above and below a level in turn."""
    return level + by * np.tile(array(1, -1), count // 2)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_levels_of_field_sync(sign: int) -> None:
    """10 and 20 mV of noise on 4 and 0.2 V: the mean of 100 samples is known to a tenth of that, of 400 a twentieth."""
    found, noise = _raw(parts(moved(4.0, 0.01), moved(0.2, 0.02, 400)), (4.5, 0.0), 0.0, None, sign, False)
    assert noise == pytest.approx(0.01)
    high, low, sync = found["level.high"], found["level.low"], found["level.sync"]
    assert (high.value, high.error) == pytest.approx((4.0, 0.001))
    assert (low.value, low.error) == pytest.approx((0.2, 0.001))
    assert sync.value == pytest.approx(3.8)
    assert found["level.blank"] is (high if sign > 0 else low)


def test_a_level_at_the_end_of_the_trace_is_no_level_of_field_sync() -> None:
    high, low = moved(4.0, 0.01), moved(0.2, 0.02)
    for places, lost in (((0, 96, 97, 98, 99), True), ((96, 97, 98, 99), False), ((97, 98, 99), False)):
        top, foot = high.copy(), low.copy()
        top[list(places)], foot[list(places)] = 4.5, 0.0
        found, _ = _raw(parts(top, low), (4.5, 0.0), 0.0, None, 1, False)
        words = "the high level is cut off by the edge of the screen" if lost else None
        assert (found["level.high"].failure, found["level.sync"].failure, found["level.low"].failure) == (
            words,
            words,
            None,
        )
        assert (found["level.sync"].value is None) == lost
        found, _ = _raw(parts(high, foot), (4.5, 0.0), 0.0, None, 1, False)
        words = "the low level is cut off by the edge of the screen" if lost else None
        assert (found["level.low"].failure, found["level.sync"].failure, found["level.high"].failure) == (
            words,
            words,
            None,
        )
        assert (found["level.low"].value is None) == lost
    found, _ = _raw(parts(high, low), (4.5, 0.0), 0.0, None, 1, True)
    assert "fills the whole range" in str(found["level.high"].failure)
    assert "fills the whole range" in str(found["level.sync"].failure)
    still = moved(1.0, 1e-4)  # a ten-thousandth of 2.03 V is more than this noise
    still[:10] = 1.03
    found, _ = _raw(parts(still, moved(-1.0, 1e-4)), (1.03, -1.0 - 1e-3), 0.0, None, 1, False)
    assert found["level.high"].failure is None


def line(rest: float, tip: float, edge: float, *, step: float = 5e-6) -> Array:
    """Return field sync twice, 20 ms apart and 0.2 ms wide; the second samples beside a change stand `edge` off."""
    shape = dips([3, 23], 0.2, 45, step)
    up = shape > 0
    volts = np.where(up, rest, tip) + 0.01 * np.tile(array(1, -1), len(shape) // 2)
    for at in np.flatnonzero(up[1:] != up[:-1]) + 1:
        volts[[at - 2, at + 2]] += edge * np.sign(rest - tip) * np.where(up[[at - 2, at + 2]], 1, -1)
    return volts


@pytest.mark.parametrize(("rest", "tip", "sign"), [(4.0, 0.2, 1), (0.2, 4.0, -1)])
def test_field_sync_by_itself(rest: float, tip: float, sign: int) -> None:
    """Two samples on either side of a change are left out, with what rings there; the third counts."""
    volts = line(rest, tip, 0.5)
    found = field_sync(volts, 5e-6, 0.0, None)
    assert found is not None
    one, seen_sign = found
    assert (seen_sign, one.lines, one.counted) == (sign, 2, "field syncs")
    assert (one.drift, one.has_picture) == (0.0, False)
    for part, expected in ((one.fold.x, (0.0, 5e-6)), (one.fold.y, (0, 0)), (one.fold.count, (0, 0))):
        assert part.tolist() == list(expected)
    for name, level in (("high", 4.0), ("low", 0.2), ("blank", rest), ("sync", 3.8)):  # 10 mV left over of 70 samples
        assert one.raw[f"level.{name}"].value == pytest.approx(level, abs=3e-4)
    still = line(rest, tip, 0.5)
    moved_one = still.copy()
    moved_one[600 - 3] += 0.1  # sync begins at the 600th; 8920 of 9000 are outside, ten of them beside a change
    levels = []
    for one_volts in (still, moved_one):
        found = field_sync(one_volts, 5e-6, 0.0, None)
        assert found is not None
        levels.append(found[0].raw["level.blank"].value or math.nan)
    assert levels[1] - levels[0] == pytest.approx(0.1 / 8910, rel=1e-6)


def test_what_is_no_field_sync() -> None:
    assert field_sync(line(4.0, 0.2, 0.5), 5.1e-6, 0.0, None) is None  # sampled too slowly
    assert field_sync(np.full(1000, 4.0), 5e-6, 0.0, None) is None
    assert field_sync(line(4.0, 0.2, 0.5)[:4000], 5e-6, 0.0, None) is None  # one pulse
    wide = line(1.0, 0.0, 0.3)
    assert field_sync(wide - 0.4, 5e-6, 0.0, None) is not None


# What happens over a field -------------------------------------------------------------------------------------------


def over(blank: Array, step: float = 64e-6) -> OverField:
    count = len(blank)
    starts = np.asarray(np.arange(count) * step, dtype=np.float64)
    one = Lines(np.zeros((count, 1)), np.zeros(count), step, starts, np.arange(count))
    return over_field(np.full(count, 0.5), step, one, blank, 0.003, array(0.001, 0.021), sign=1, coupled=False)


def test_a_few_lines_are_smoothed_over_what_there_is() -> None:
    """Four lines, averaged over five: 0, 1/4, 1/4, 1/3; the error is that of four, or of one."""
    found = over(array(0, 0, 0, 1))
    assert found.hum == pytest.approx(1 / 3)
    assert found.hum_error == pytest.approx(2 * 0.003 / 2)
    assert over(array(1)).hum_error == pytest.approx(2 * 0.003)
    assert "this one is 32 ms long" in str(over(np.zeros(500)).tilt_failure)


def test_three_lines_are_the_least_a_droop_is_fitted_to() -> None:
    left, slope, _ = _droop(array(0, 1, 2), array(0.5, 0.3, 0.1))
    assert slope == pytest.approx(0.2)
    assert_allclose(left, 0, atol=1e-12)


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
