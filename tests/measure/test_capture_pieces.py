"""Small pieces of reading a capture, each called by itself: every number expected is worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import join, picture, slicer
from guardcheck.measure.capture.clipping import _CUT, _MAY_BE, cut_off
from guardcheck.measure.capture.header import ChannelFacts, channel_facts
from guardcheck.measure.capture.lines import Edges, Lines, _together, find_edges
from guardcheck.measure.capture.picture import Folded, Plateau, bright, leaves, overshoot, plateaus, tilt
from guardcheck.measure.capture.systems import nearest_system, rates
from tests.measure.drawn import L15, Array, capture, drawn, in_order, pulse

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


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


# What a scope says of itself -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "text", "expected"),
    [
        ("coupling", "DC", ChannelFacts(coupling="dc")),
        ("ch1 coupling", "ac 1M", ChannelFacts(coupling="ac")),
        ("coupling", "D", ChannelFacts(coupling="dc")),
        ("coupling", "a", ChannelFacts(coupling="ac")),
        ("coupling", "GND", ChannelFacts()),
        ("coupling", "1M", ChannelFacts()),
        ("coupling", " ", ChannelFacts()),
        ("probe", "10x", ChannelFacts(probe=10.0)),
        ("probe attenuation", "x 10", ChannelFacts(probe=10.0)),
        ("probe", "1", ChannelFacts(probe=1.0)),
        ("probe", "0.1", ChannelFacts(probe=0.1)),
        ("probe", "0", ChannelFacts()),
        ("probe", "-10", ChannelFacts()),
        ("probe", "auto", ChannelFacts()),
        ("vertical scale", "500mV", ChannelFacts(division=0.5)),
        ("volts/div", "2.5e-1", ChannelFacts(division=0.25)),
        ("v/div", "5 k", ChannelFacts(division=5000.0)),
        ("vscale", "5u", ChannelFacts(division=5e-6)),
        ("vscale", "5\u03bc", ChannelFacts(division=5e-6)),
        ("vscale", "5\u00b5V", ChannelFacts(division=5e-6)),
        ("vscale", "5nV", ChannelFacts(division=5e-9)),
        ("vertical sensitivity", "2 V", ChannelFacts(division=2.0)),
        ("vertical offset", "-250 mV", ChannelFacts(offset=-0.25)),
        ("offset", "0", ChannelFacts(offset=0.0)),
        ("horizontal scale", "5", ChannelFacts()),
    ],
)
def test_a_fact_of_the_only_channel(key: str, text: str, expected: ChannelFacts) -> None:
    found = channel_facts([(key, (text,))], ["CH1"])["CH1"]
    assert found.coupling == expected.coupling
    for name in ("probe", "division", "offset"):
        value = getattr(expected, name)
        assert getattr(found, name) == (value if value is None else pytest.approx(value, rel=1e-12, abs=0))


def test_a_row_holds_for_the_channel_it_names_or_for_each_in_turn() -> None:
    rows = [
        ("probe", ("", "10", "1")),
        ("ch2 coupling", ("AC", "DC", "DC")),
        ("coupling ch1", (" ",)),
        ("offset", ("1",)),  # one value for two channels says nothing
        ("ch10 offset", ("2",)),
        ("ch1 vertical scale", ("0",)),  # no scale: the next row may tell
        ("vertical scale", ("0.5", "0.2")),
        ("vertical scale", ("5", "2")),  # said already
    ]
    assert channel_facts(rows, ["CH1", "CH2"]) == {
        "CH1": ChannelFacts(probe=10.0, division=0.5),
        "CH2": ChannelFacts(coupling="ac", probe=1.0, division=0.2),
    }


# The screen's edge ---------------------------------------------------------------------------------------------------


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
    assert common().edges.together == 0.0
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


def test_a_span_holds_its_ends() -> None:
    assert slicer._between(array(0.9, 1, 2, 3, 3.1), (1.0, 3.0)).tolist() == [False, True, True, True, False]


def test_samples_at_the_ends_of_a_window_are_in_it() -> None:
    one = level_lines(np.zeros(3), 1.0)
    assert one.columns((2.0, 5.0)) == slice(2, 6)
    assert one.columns((2.0 + 1e-6, 5.0 - 1e-6)) == slice(3, 5)


@pytest.mark.parametrize(
    ("before", "end", "found"),
    [
        (2.8, 186.0, True),  # syncs at 0, 64 and 128 us
        (1.5, 186.0, False),  # the first begins within 2 us of the trace's own start
        (1.5, 203.0, True),  # those at 64, 128 and 192 us; the last ends at 196.7
        (1.5, 199.5, False),  # 5 us must follow
    ],
)
def test_a_sync_at_the_end_of_the_trace_does_not_count(before: float, end: float, found: bool) -> None:
    corners = in_order([(0.0, -0.3), (4.6, -0.3), (4.7, 0.0), (-0.1, 0.0)], L15)
    x, y = zip(*corners, strict=True)
    t = np.arange(-before, end, 0.05)
    volts = np.asarray(np.interp(t % L15, array(*x), array(*y), period=L15), dtype=np.float64)
    assert (slicer.find_pulses(volts, 0.05 * US) is not None) == found


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
    found = find_edges(volts, 0.02 * US, slicer.Pulses(starts, starts + 4.7 * US, 1, 0.3, LOW))
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
