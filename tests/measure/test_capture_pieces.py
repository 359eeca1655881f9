"""Small pieces of reading a capture, each called by itself: every number expected is worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import fieldsync, join
from guardcheck.measure.capture.clipping import _CUT, _MAY_BE, cut_off
from guardcheck.measure.capture.field import OverField, _droop, over_field
from guardcheck.measure.capture.fieldsync import _pulses, _raw, field_sync
from guardcheck.measure.capture.lines import Edges, Lines
from guardcheck.measure.capture.picture import Folded
from guardcheck.measure.capture.systems import nearest_system, rates
from guardcheck.measure.capture.transitions import COARSE, NOISY, _crossings, edge_time
from tests.measure.drawn import L15, Array, capture, drawn, in_order, pulse

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


# Two captures used as one --------------------------------------------------------------------------------------------


def common(
    period: float = 64.0,
    width: float = 4.7,
    error: float = 0.0,
    together: float = 0.0,
    level: float = 1.0,
    height: float = 0.3,
    sign: int = 1,
) -> join._Common:
    lead = array(0, 64, 128) * US
    number = np.arange(3)
    edges = Edges(lead, lead + width * US, number, period * US, error * US, 0.0, lead, LOW, together * US)
    return join._Common(edges, sign, level, height)


@pytest.mark.parametrize(
    ("other", "words"),
    [
        (common(), None),
        (common(period=64.031), None),  # 0.05 % is 32 ns
        (common(period=64.033), "a line lasts 64.033 us here, 64 us in the other: two line rates"),
        (common(period=63.969), None),
        (common(period=63.967), "a line lasts 63.967 us here, 64 us in the other: two line rates"),
        (common(period=63.5555), "63.556 us here, 64 us in the other: two line rates"),
        (common(period=60.0), "60 us here, 64 us in the other: a wrong time base, or another signal"),
        (common(period=64.06, error=0.01), None),  # three times 10 ns more
        (common(period=64.064, error=0.01), "64.064 us"),
        (common(sign=-1), "sync goes the other way"),
        (common(width=4.79), None),
        (common(width=4.61), None),
        (common(width=4.81), "sync is 4.81 us wide here, 4.7 us in the other"),
        (common(width=4.59), "sync is 4.59 us wide here"),
        (common(width=4.84, together=0.05), None),
        (common(width=4.86, together=0.05), "4.86 us wide here"),
        (common(height=0.329), None),
        (common(height=0.271), None),
        (common(height=0.331), "sync is 331 mV high here, 300 mV in the other"),
        (common(height=0.269), "sync is 269 mV high here"),
        (common(level=1.074), None),  # a quarter of 0.3 V
        (common(level=1.076), "the level between the pulses is 1.08 V here, 1 V in the other"),
        (common(level=0.924), "0.924 V here"),
    ],
)
def test_what_of_the_common_channel_must_be_alike(other: join._Common, words: str | None) -> None:
    said = join._compared(common(), other, "sync")
    assert said is None if words is None else said is not None and words in said


def test_what_the_samples_do_not_tell_is_allowed_on_either_side() -> None:
    first = common(together=0.05, error=0.01)
    assert join._compared(first, common(width=4.84), "sync") is None
    assert join._compared(first, common(width=4.86), "sync") is not None
    assert join._compared(first, common(width=4.89, together=0.05), "sync") is None
    assert join._compared(first, common(width=4.91, together=0.05), "sync") is not None
    assert join._compared(first, common(period=64.09, error=0.01), "sync") is None  # 32 + 60 ns
    assert join._compared(first, common(period=64.094, error=0.01), "sync") is not None
    half = common(period=32.0, width=2.0)
    half = replace(half, edges=replace(half.edges, rate=HIGH))
    for width, alike in ((2.04, True), (2.06, False)):  # 0.1 us of 15 kHz is half of that at 31 kHz
        other = common(period=32.0, width=width)
        assert (join._compared(half, other, "sync") is None) == alike


def test_what_differs_by_just_as_much_as_may_be_is_alike(monkeypatch: pytest.MonkeyPatch) -> None:
    """Powers of two, so that nothing is rounded."""
    for name, value in (("RATE", 2**-10), ("HEIGHT", 2**-3), ("LEVEL", 2**-2), ("WIDTH", 2**-23)):
        monkeypatch.setattr(join, name, value)

    def one(period: float = 2**-14, width: float = 2**-18, level: float = 1.0, height: float = 1.0) -> join._Common:
        lead = array(0, 1, 2) * 2**-14
        edges = Edges(lead, lead + width, np.arange(3), period, 0.0, 0.0, lead, LOW)
        return join._Common(edges, 1, level, height)

    for other in (one(2**-14 * (1 + 2**-10)), one(width=2**-18 + 2**-23), one(level=1.25), one(height=1.125)):
        assert join._compared(one(), other, "sync") is None


def test_a_mean_of_each_line_and_the_median_of_them() -> None:
    volts = np.arange(100.0, dtype=np.float32)
    assert join._median(volts, 0.1, array(1.0, 2.05, 4.0), 0.45) == 21.5  # 20 to 23
    assert join._median(volts, 0.1, array(1.0, 2.05, 4.0), 0.05) == 20
    assert join._median(volts, 0.1, array(50, 60, 70), 0.3) == 99
    assert join._median(volts, 0.1, array(-3), 0.3) == 0


@pytest.mark.parametrize("sign", [1, -1])
def test_the_common_channel_is_read_behind_sync_and_in_its_middle(sign: int) -> None:
    """1 and 1.02 V in either half of 3.3 to 4.2 us behind sync; 0.7 V from a quarter to three quarters of it."""
    tip = [(0.1, 0.71), (1.1, 0.71), (1.15, 0.7), (3.55, 0.7), (3.6, 0.71), (4.6, 0.71)]
    porch = [(4.8, 1.0), (8.4, 1.0), (8.5, 1.02), (8.95, 1.02), (9.0, 1.1), (20, 1.1), (20.1, 1.0), (-0.1, 1.0)]
    corners = [*tip, *porch]
    seen = join._look(capture(sync=sign * drawn(in_order(corners, L15), L15, noise=0.001)), "sync")
    assert not isinstance(seen, str)
    assert (seen.sign, seen.edges.rate.name) == (sign, "15k")
    assert seen.level == pytest.approx(sign * 1.01, abs=1e-3)
    assert seen.height == pytest.approx(0.31, abs=1e-3)
    assert join._look(capture(sync=np.full(50_000, 0.3)), "sync") == "there is no line sync"


def test_captures_of_another_rate_or_channel_are_not_joined() -> None:
    volts = drawn(in_order(pulse(4.7, 1.0, 0.7, 0.1), L15), L15, noise=0.001)
    one = capture(Sync=volts)
    assert join.differs(one, capture(SYNC=volts), "sync") is None
    words = "different rates (40 MHz here, 50 MHz in the other); take both alike"
    assert words in str(join.differs(one, capture(40.0, Sync=volts), "sync"))
    step = one.time_step
    assert join.differs(one, replace(one, time_step=step * (1 + 0.9e-6)), "sync") is None
    assert "different rates" in str(join.differs(one, replace(one, time_step=step * (1 + 1.1e-6)), "sync"))
    assert "different rates" in str(join.differs(one, replace(one, time_step=step * (1 - 1.1e-6)), "sync"))
    flat = capture(Sync=np.full(len(volts), 0.3))
    assert str(join.differs(one, flat, "sync")).endswith("on the common channel 'sync' here")
    assert str(join.differs(flat, one, "sync")).endswith("on the common channel 'sync' in the other capture")


def test_a_period_of_a_system_is_told_to_a_third_of_a_percent() -> None:
    for off, name in ((0.0034, "625"), (-0.0034, "625"), (0.0036, None)):
        found = nearest_system(64e-6 * (1 + off), 4.7e-6)
        assert (found.name if found else None) == name


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


# The screen's edge, and what happens over a field --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("values", "noise", "step", "scale", "said"),
    [
        ([1.0 - 1e-6] * 90 + [0.9] * 10, 0.0, 0.0, 0.25, None),  # a millionth of 0.25 V is less
        ([1.0 - 1e-6] * 90 + [0.9] * 10, 0.0, 0.0, 4.0, _MAY_BE),
        ([1.0 - 0.01 * 0.01] * 90 + [0.9] * 10, 0.0, 0.01, 1.0, _MAY_BE),  # just a hundredth of a step
        ([1.0] * 5 + [0.9] * 95, 0.8 * 0.01, 0.01, 1.0, None),  # just 0.8 of a step of noise
        ([1.0] * 95 + [0.9] * 5, 0.3 * 0.01, 0.01, 1.0, _MAY_BE),
        ([1.0] * 90 + [0.9] * 10, 3.1e-5, 1e-4, 1.0, _CUT),
    ],
)
def test_what_stands_at_the_extreme_by_the_limits_themselves(
    values: list[float], noise: float, step: float, scale: float, said: str | None
) -> None:
    one = Lines(array(*values)[None, :], array(0), US, array(0), np.zeros(1, dtype=np.int64))
    assert cut_off(one, (0.0, 99.5 * US), 1.0, noise, step, scale, None, top=True) == said
    turned = Lines(-one.rows, one.offsets, US, one.starts, one.number)
    assert cut_off(turned, (0.0, 99.5 * US), -1.0, noise, step, scale, None, top=False) == said


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


def test_a_line_is_that_of_15_khz_unless_it_is_said() -> None:
    assert Lines(np.zeros((1, 1)), array(0), US, array(0), np.zeros(1, dtype=np.int64)).scale == 1.0
    assert common().edges.together == 0.0
    assert Edges(*(array(0),) * 2, np.zeros(1, dtype=np.int64), 1.0, 0.0, 0.0, array(0), LOW).together == 0.0
