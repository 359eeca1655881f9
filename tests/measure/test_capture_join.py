"""Whether two captures may be used as one: what of their common channel must be alike, to the edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.errors import InputError
from guardcheck.measure.capture import Capture, differs, join
from guardcheck.measure.capture.lines import Edges
from guardcheck.measure.capture.slicer import find_pulses
from tests.measure.drawn import L15, Array, capture, drawn, in_order, pulse
from tests.measure.still import HIGH, LOW, US, array


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


def sync(
    period: float = L15, *, width: float = 4.7, height: float = 0.3, level: float = 0.0, rate: float = 20.0, up: int = 1
) -> Array:
    corners = in_order(pulse(width, 0.0, -height, 0.2), period)
    return level + up * drawn(corners, period, rate=rate, noise=0.003, seed=round(10 * period))


def test_two_captures_with_one_sync_may_be_used_as_one() -> None:
    first, second = capture(20.0, CH1=sync(), SYNC=sync()), capture(20.0, CH1=sync(), Sync=sync(64.01, level=0.02))
    assert differs(first, second, "sync") is None


@pytest.mark.parametrize(
    ("volts", "rate", "words"),
    [
        (sync(63.5555), 20.0, ["a line lasts 63.55", "64 us in the other", "two line rates"]),
        (sync(31.778, width=2.33), 20.0, ["31.778 us here", "two line rates"]),
        (sync(64.6), 20.0, ["64.6 us here", "wrong time base"]),
        (sync(63.9), 20.0, ["63.9 us here"]),
        (sync(width=4.2), 20.0, ["4.2 us wide here", "4.7 us in the other"]),
        (sync(height=0.35), 20.0, ["350 mV high here"]),
        (sync(height=0.26), 20.0, ["260 mV high here"]),
        (sync(level=0.2), 20.0, ["level between the pulses is 0.2 V here"]),
        (sync(up=-1), 20.0, ["the other way"]),
        (np.zeros(26000), 20.0, ["no line sync on the common channel 'SYNC' here"]),
        (sync(rate=25.0), 25.0, ["different rates", "25 MHz here", "20 MHz in the other"]),
    ],
)
def test_two_captures_that_do_not_belong_together_say_why(volts: Array, rate: float, words: list[str]) -> None:
    said = differs(capture(20.0, CH1=sync(), SYNC=sync()), capture(rate, CH1=volts, SYNC=volts), "SYNC")
    assert said is not None
    for word in ("cannot be joined", *words):
        assert word in said, said


def test_the_common_channel_must_be_in_both() -> None:
    with pytest.raises(InputError, match="no channel 'SYNC' in common"):
        differs(capture(20.0, SYNC=sync()), capture(20.0, CH1=sync()), "SYNC")


def test_pulses_without_three_whole_edges_are_no_line_sync() -> None:
    """Syncs at 2.5, 66.5 and 130.5 us: pulses are seen from 2 us on, their edges only from 2.8 us on."""
    x, y = zip(*in_order(pulse(4.7, 0.0, -0.3, 0.1), L15), strict=True)
    volts = np.interp((np.arange(0.0, 188.0, 0.05) - 2.5) % L15, x, y, period=L15)
    assert find_pulses(volts, 0.05 * US) is not None
    assert join._look(capture(20.0, S=volts), "S") == "there is no line sync"


# One acquisition saved twice ----------------------------------------------------------------------------------------


def trace(values: Array, start: float = 0.0, resolution: float = 0.01, step: float = 1e-6) -> Capture:
    """Return a capture of one channel whose samples are `values` [V], a microsecond apart unless told."""
    return Capture("a.csv", step, start, {"a": values.astype(np.float32)}, {"a": resolution})


RISE = np.arange(20.0)  # a volt a sample, so that a trace moved by one sample agrees nowhere


@pytest.mark.parametrize(
    ("second", "copied"),
    [
        (trace(RISE), True),
        (trace(RISE, step=1e-6 * (1.0 + 9e-7)), True),  # the same clock, to a millionth
        (trace(RISE, step=1e-6 * (1.0 + 1.1e-6)), False),
        (trace(RISE, step=1e-6 * (1.0 - 1.1e-6)), False),
        (trace(RISE, start=3e-6), False),  # three samples later it would have to begin at 3 V
        (trace(RISE[3:], start=3e-6), True),  # a part of it, where that part stood
        (trace(RISE[:15]), True),
        (trace(np.concatenate((np.arange(-4.0, 0.0), RISE[:16])), start=-4e-6), True),  # begun four samples earlier
        (trace(np.concatenate((np.arange(-4.0, 0.0), RISE[:16])), start=-3e-6), False),
        (trace(RISE + np.where(RISE == 7.0, 0.004, 0.0)), False),  # no digits were lost, and one sample differs
        (trace(RISE + 0.004, resolution=0.0100005), False),  # two figures of one converter, read off their samples
        (trace(RISE + 0.004), False),
        (trace(RISE - 0.004), False),
        (trace(RISE + 0.24, resolution=0.5), True),  # kept to half a volt: off by a quarter at most
        (trace(RISE - 0.24, resolution=0.5), True),
        (trace(RISE + 0.26, resolution=0.5), False),
        (trace(RISE + np.where(RISE == 19.0, 0.26, 0.0), resolution=0.5), False),
    ],
)
def test_a_copy_agrees_wherever_both_were_kept_but_for_its_digits(second: Capture, copied: bool) -> None:
    first = trace(RISE)
    assert join.is_copy(first, "a", second, "a") is copied
    assert join.is_copy(second, "a", first, "a") is copied


def test_two_traces_that_share_too_little_are_not_told_to_be_one() -> None:
    least = round(join.LEAST_COMMON * 20)
    for shared in (least - 1, least, least + 1):
        later = 20 - shared
        second = trace(later + RISE, start=later * 1e-6)
        assert join.is_copy(trace(RISE), "a", second, "a") is (shared >= least)
        assert join.is_copy(second, "a", trace(RISE), "a") is (shared >= least)
