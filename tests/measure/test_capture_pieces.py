"""Small pieces of reading a capture, each called by itself: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import fieldsync
from guardcheck.measure.capture.field import OverField, _droop, over_field
from guardcheck.measure.capture.fieldsync import _pulses, _raw, field_sync
from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.picture import Folded
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
