"""What is noted of one channel, value by value: still lines, parts set by hand, numbers worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from guardcheck.measure.capture import found
from guardcheck.measure.capture.burst import Burst
from guardcheck.measure.capture.clipping import _CUT, _MAY_BE, Screen
from guardcheck.measure.capture.found import NO_SYNC, Raw
from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.picture import Folded, Plateau
from guardcheck.measure.capture.systems import System
from tests.measure.drawn import L15, Array, bar
from tests.measure.still import DARK, FAST, L31, NONE, PLAIN, S625, US, VGA, array, at_work, plainly

FULL = "fills the whole range of the converter, so it may be cut off by the edge of the screen"


def flats(*parts: tuple[float, float, float]) -> tuple[Plateau, ...]:
    return tuple(Plateau((start * US, end * US), level) for start, end, level in parts)


def average(*corners: tuple[float, float], scale: float = 1.0, end: float = 60.0) -> Folded:
    """Return an average line of straight lines between corners, bins of 12.5 ns, the same with and without chroma."""
    x = np.arange(-2.0, end, 0.0125)
    at, volts = zip(*corners, strict=True)
    y = np.asarray(np.interp(x, array(*at), array(*volts)), dtype=np.float64)
    return Folded(np.asarray(x * US, dtype=np.float64), y, np.full(len(x), 4), y, scale)


# Levels --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1, -1])
def test_a_level_at_the_end_of_the_trace_is_not_told(sign: int) -> None:
    white, tip, rest = (f"{what} {_MAY_BE}" for what in ("white", "the sync tip", "the level between the pulses"))
    one = plainly(sign=sign, top=0.8)
    for name in ("level.white", "response.line_tilt", "response.overshoot", "timing.picture_rise"):
        assert one.raw[name] == Raw(None, failure=white), name
    for name in ("level.sync", "level.high", "level.low", "timing.sync_fall", "timing.sync_rise", "level.blank"):
        assert one.raw[name].value is not None, name
    one = plainly(sign=sign, low=-0.2)
    for name in (
        "level.sync",
        "level.high",
        "level.low",
        *(f"timing.sync_{part}" for part in ("width", "fall", "rise")),
    ):
        assert one.raw[name] == Raw(None, failure=tip), name
    assert one.raw["level.white"].value == pytest.approx(0.7)
    one = plainly((DARK,) * 4, sign=sign, top=0.1)
    for name in ("level.high", "level.low", "level.sync", "level.blank", "timing.sync_fall", "timing.sync_rise"):
        assert one.raw[name] == Raw(None, failure=rest), name
    assert one.raw["level.white"] == Raw(None, failure="nothing brighter than blanking stands on this line")
    one = plainly((DARK,) * 4, sign=sign, top=0.1, low=-0.2)
    for name in ("level.high", "level.low", "level.sync"):
        assert one.raw[name] == Raw(None, failure=tip), name
    assert one.raw["level.blank"] == Raw(None, failure=rest)
    one = plainly((DARK,) * 4, sign=sign)
    assert [one.raw[f"level.{end}"].value for end in ("low", "high")] == pytest.approx(
        sorted((sign * 0.1, sign * -0.2))
    )


def test_levels_above_a_blanking_that_was_cut_off_are_not_told() -> None:
    """Without sync, blanking is the lowest level: 0.1 V at the very end of the trace may have been lower."""
    red = bar(10.5, 62.5, 0.1, 0.8, 0.2)
    words = f"blanking {_MAY_BE}"
    one = plainly((red,) * 4, own=False, low=0.1)
    for name in ("blank", "white", "black"):
        assert one.raw[f"level.{name}"] == Raw(None, failure=words), name
    for name in ("line_tilt", "overshoot", "field_tilt"):
        assert one.raw[f"response.{name}"] == Raw(None, failure=words), name
    for name in ("timing.picture_rise", "noise.hum", "noise.rms"):
        assert one.raw[name] == Raw(None, failure=words), name
    uneven = [red + bar(start, start + 8, 0.1, 1.5, 0.2) for start in (20, 40)]
    assert plainly(uneven * 2, own=False, low=0.1, top=2.0).raw["level.white"] == Raw(None, failure=words)
    one = plainly((red,) * 4, own=False)
    assert one.raw["level.white"].value == pytest.approx(0.7)
    one = plainly((bar(10.5, 62.5, 0.1, 0.105, 0.2),) * 4, own=False, low=0.1, top=0.3)
    assert one.raw["level.blank"].value == pytest.approx(0.1)
    assert one.raw["level.white"] == Raw(None, failure="nothing brighter than blanking stands on this line")
    with_sync = plainly(low=-0.2)
    assert with_sync.raw["level.blank"].value == pytest.approx(0.1)


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("screen", "said"),
    [
        (Screen(0.2), f"white {_CUT}"),  # 0.8 V are four divisions
        (Screen(0.25, 0.0), None),
        (Screen(0.25), f"white {_MAY_BE}"),  # where it stands is not known
        (Screen(0.1, 0.4), f"white {_CUT}"),  # four above 0.4 V, or below it
        (Screen(0.1, -0.4), f"white {_CUT}"),
        (Screen(0.1, 0.1), None),
    ],
)
def test_the_screen_tells_whether_white_was_cut_off(screen: Screen, said: str | None, sign: int) -> None:
    assert plainly(sign=sign, top=0.8, screen=screen).raw["level.white"].failure == said


def test_a_trace_that_fills_the_converter_may_be_cut_off_at_either_end() -> None:
    one = at_work(resolution=2.0 / 253)
    one._levels()
    assert one.raw["level.white"] == Raw(None, failure=f"white {FULL}")
    assert one.raw["level.sync"] == Raw(None, failure=f"the sync tip {FULL}")
    one = at_work(resolution=2.0 / 240)
    one._levels()
    assert one.raw["level.white"].value == pytest.approx(0.7)
    dark = at_work((DARK,) * 4, resolution=2.0 / 253)
    dark._levels()
    assert dark.raw["level.low"] == Raw(None, failure=f"the sync tip {FULL}")


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("noise", "cut"), [(1.05e-4, True), (0.95e-4, False)])
def test_noise_shows_a_level_cut_off_above_a_ten_thousandth_of_the_whole_height(
    noise: float, cut: bool, sign: int
) -> None:
    """The trace is 1 V high, from -0.2 to 0.8 V; half of the samples of a level stand at its end."""
    one = at_work(top=0.8, low=-0.2, sign=sign)
    one.noise = noise
    one.lines.rows[:, ::2] -= 0.01
    one.lit.rows[:, ::2] -= 0.01
    one._levels()
    assert one.raw["level.white"].failure == (f"white {_CUT}" if cut else None)
    one.lines.rows[:, ::2] += 0.02
    one._levels()
    assert one.raw["level.sync"].failure == (f"the sync tip {_CUT}" if cut else None)
    dark = at_work((DARK,) * 4, top=0.1, low=-0.9, sign=sign)
    dark.noise = noise
    dark.lines.rows[:, ::2] -= 0.01
    dark._levels()
    assert dark.raw["level.high"].failure == (f"the level between the pulses {_CUT}" if cut else None)


def test_levels_are_means_over_lines_with_their_error() -> None:
    """Two lines up and two down by 40 and 20 mV: standard deviations of 40, 60 and 20 mV over the root of four."""
    one = at_work()
    up = array(1, -1, 1, -1)
    one.blank = one.lit_blank = 0.1 + 0.04 * up
    one.lines.rows[:, one.lines.columns((0.5e-6, 4.2e-6))] -= 0.02 * up[:, None]
    one.white = Plateau((20e-6, 50e-6), 0.8)
    one._levels()
    assert one.raw["level.blank"] == Raw(pytest.approx(0.1), pytest.approx(0.02))
    assert one.raw["level.sync"] == Raw(pytest.approx(0.3), pytest.approx(0.03))
    assert one.raw["level.white"] == Raw(pytest.approx(0.7), pytest.approx(0.02))
    assert one.raw["level.low"] == Raw(pytest.approx(-0.2), pytest.approx(math.hypot(0.02, 0.03)))


def test_half_a_microsecond_at_either_end_of_a_level_is_not_read() -> None:
    """Of 20 to 30 us, 0.2 us at the end of what is read is 92 mV higher: 8 of 360 samples, or none."""
    one = at_work()
    one.flats = flats((20, 30, 0.8), (40, 50, 0.3))
    one.white = one.flats[0]
    for at in (20.5, 40.5):
        one.lit.rows[:, one.lit.columns((at * US, (at + 0.2) * US))] += 0.09
        one.lit.rows[:, one.lit.columns(((at - 0.5) * US, (at - 0.001) * US))] += 7.0
    one.lit.rows[:, one.lit.columns((40e-6, 50e-6))] -= 0.5
    one._levels()
    assert one.raw["level.white"].value == pytest.approx(0.7 + 0.09 * 8 / 360)
    assert one.raw["level.black"].value == pytest.approx(0.2 + 0.09 * 8 / 360)


@pytest.mark.parametrize("sign", [1, -1])
def test_black_is_the_darkest_flat_part_below_white(sign: int) -> None:
    rows = [DARK + bar(12, 30, 0.1, 0.8, 0.2) + bar(30.2, 45, 0.1, 0.4, 0.2) + bar(45.2, 60, 0.1, 0.15, 0.2)] * 4
    one = plainly(rows, sign=sign)
    assert one.raw["level.white"].value == pytest.approx(0.7)
    assert one.raw["level.black"].value == pytest.approx(0.0)  # the blanking beside them


def test_the_two_levels_of_sync_alone() -> None:
    one = at_work()
    for sign, high, low in ((1, Raw(2.0, 0.3), Raw(-1.0, 0.5)), (-1, Raw(5.0, 0.5), Raw(2.0, 0.3))):
        one.sign = sign
        one._ends(Raw(2.0, 0.3), Raw(3.0, 0.4))
        assert (one.raw["level.high"], one.raw["level.low"]) == (high, low)
    tip, rest = Raw(None, failure="the tip"), Raw(None, failure="the rest")
    for blank, sync, words in ((Raw(2.0), tip, "the tip"), (rest, tip, "the tip"), (rest, Raw(3.0), "the rest")):
        one._ends(blank, sync)
        assert one.raw["level.high"] == one.raw["level.low"] == Raw(None, failure=words)


# Tilt and overshoot --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("system", "least"), [(S625, 10.0), (VGA, 5.0)])
def test_tilt_needs_a_bar_of_ten_microseconds(system: System, least: float) -> None:
    one = at_work((PLAIN if system is S625 else FAST,) * 3, system=system)
    one.raw["level.white"] = Raw(0.7)
    for width, words in (
        (0.7 * least, f"the brightest part is {0.7 * least:.3g} us long; tilt needs {least:g} us"),
        (1.2 * least, None),
    ):
        one.flats = flats((10, 10 + width, 0.8))
        one.white = one.flats[0]
        one._shape()
        tilt = one.raw["response.line_tilt"]
        assert tilt.failure == words
        assert words is not None or tilt.value == pytest.approx(0.0, abs=1e-9)
        assert one.raw["response.overshoot"].value == pytest.approx(0.0, abs=1e-9)


def test_a_bar_of_just_ten_microseconds_shows_tilt() -> None:
    one = at_work()
    one.raw["level.white"], one.uneven = Raw(0.7), False
    one.white, one.flats = Plateau((0.0, 10e-6), 0.8), (Plateau((0.0, 10e-6), 0.8),)
    one.fold = average((-2, 0.1), (0, 0.1), (0.1, 0.8), (60, 0.8))
    one._shape()
    assert one.raw["response.line_tilt"].failure is None


def test_a_step_that_is_sampled_too_coarsely_shows_no_overshoot() -> None:
    one = at_work(step=0.1)
    one._levels()
    one._shape()
    assert one.raw["response.overshoot"] == Raw(None, failure="the sampling is too coarse to show it")


def test_overshoot_is_a_share_of_the_step_before_it() -> None:
    """0.1 V behind a step of 0.5 V, from the nearest of three earlier levels."""
    one = at_work()
    one.raw["level.white"] = Raw(0.8)
    parts = flats((5, 9, 0.0), (11, 14, 0.1), (16, 19, 0.4), (21, 50, 0.9), (52, 55, 0.2))
    one.flats, one.white, one.level, one.noise = parts, parts[3], 0.1, 0.0
    one.fold = average((-2, 0.4), (20, 0.4), (20.1, 1.0), (20.4, 1.0), (20.5, 0.9), (60, 0.9))
    assert one._before(parts[3]) == 0.4
    one._shape()
    assert one.raw["response.overshoot"].value == pytest.approx(0.2, abs=1e-6)
    assert one._before(parts[0]) == 0.1


# Times ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("system", "scale", "period", "width"), [(S625, 1.0, L15, 4.7), (VGA, 0.5, L31, 3.8)])
def test_porches_are_told_from_half_amplitude(system: System, scale: float, period: float, width: float) -> None:
    """The level of the front porch is that from 0.7 to 0.5 us before sync: the mean of a slope through 0 V there.

    A volt more or less of it would move half amplitude by 0.5 / 0.7 of the edge of 1 us.
    """
    one = at_work((PLAIN if scale == 1.0 else FAST,) * 3, system=system)
    end = period - 2.0 * scale
    smooth = average((-2, 0), (end - 0.5 * scale, 0.7), (end + 0.5 * scale, 0), (period, 0), end=period, scale=scale)
    y = 0.1 / scale * (smooth.x / US - period + 0.6 * scale)
    one.fold = replace(smooth, y=y)
    one.height, one.bin_noise, one.picture_start, one.level, one.sync = 0.7, 0.0, 10e-6, 0.0, 0.3
    one.raw["level.sync"] = one.raw["level.white"] = Raw(0.3)
    one._timing()
    assert one.raw["timing.back_porch"] == Raw(pytest.approx((10 - width) * US), pytest.approx(10e-9))
    assert one.raw["timing.front_porch"].value == pytest.approx(2.0 * scale * US, abs=1e-9)


def test_the_end_of_the_picture_is_looked_for_from_half_a_microsecond_before_sync_on() -> None:
    """An edge of 0.1 us in the middle of 0.65 us before sync, on a level that is zero throughout."""
    one = at_work()
    end = L15 - 0.65
    smooth = average((-2, 0), (end - 0.05, 0.7), (end + 0.05, 0), (L15, 0), end=L15)
    one.fold, one.height, one.bin_noise = replace(smooth, y=smooth.y * 0), 0.7, 0.0
    one.raw["level.sync"] = one.raw["level.white"] = Raw(0.3)
    one._timing()
    assert one.raw["timing.front_porch"].value == pytest.approx(0.65e-6, abs=1e-9)


def test_a_picture_that_ends_more_than_four_microseconds_before_sync_is_black_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Microseconds of 2 ** -20 s, so that nothing is rounded."""
    one = at_work()
    one.us, one.period = 2.0**-20, 2.0**-14
    one.raw["level.sync"] = one.raw["level.white"] = Raw(0.3)
    black = "the picture is black at its right edge, so its end cannot be seen"
    for before, words in ((4.0, None), (4.5, black), (None, black)):
        end = None if before is None else 2.0**-14 - before * 2.0**-20
        monkeypatch.setattr(found, "leaves", lambda *_, back, end=end: end if back else None)
        one._timing()
        assert one.raw["timing.front_porch"].failure == words
        assert words is not None or one.raw["timing.front_porch"].value == 4 * 2.0**-20


def test_a_picture_that_is_black_at_its_left_edge_has_no_back_porch() -> None:
    one = at_work()
    one.picture_start = None
    one._levels()
    one._timing()
    words = "the picture is black at its left edge, so its start cannot be seen"
    assert one.raw["timing.back_porch"] == Raw(None, failure=words)
    assert "does not begin with its brightest part" in str(one.raw["timing.picture_rise"].failure)


def test_sync_width_is_the_mean_of_all_with_its_error() -> None:
    one = at_work()
    one._levels()
    one.edges = replace(one.edges, trail=one.edges.lead + array(4.6, 4.8, 4.6, 4.8, 4.7) * US)
    one._timing()
    spread = math.sqrt(4 * 0.01 / 5) * US
    assert one.raw["timing.sync_width"] == Raw(pytest.approx(4.7e-6), pytest.approx(spread / math.sqrt(5)))
    for words in (NO_SYNC, "the sync tip is cut off"):
        one.raw["level.sync"] = Raw(None, failure=words)
        one._timing()
        assert one.raw["timing.sync_width"] == Raw(None, failure=words)


@pytest.mark.parametrize(("system", "scale"), [(S625, 1.0), (VGA, 0.5)])
def test_an_edge_is_looked_for_0_7_us_to_either_side(system: System, scale: float) -> None:
    """Straight edges pass 10 % at 0.4 of their length before their middle."""
    one = at_work((PLAIN if scale == 1.0 else FAST,) * 3, system=system)
    one.noise = 0.0
    for reach, told in ((0.66, True), (0.75, False)):
        half = reach * scale / 0.8
        one.fold = average((-2, 0.0), (10 - half, 0.0), (10 + half, 0.7), (60, 0.7))
        edge = one._edge(10e-6, (0.0, 0.7))
        assert (edge.failure is None) == told
        assert edge.failure == (None if told else "the edge is not whole")
        assert edge.value == (pytest.approx(2 * reach * scale * US, rel=1e-3) if told else None)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_edges_of_sync_by_their_direction(sign: int) -> None:
    """0.2 us at the front, 0.4 us at the end of a sync that is drawn downwards."""
    one = at_work(sign=sign)
    one.noise, one.level, one.sync, one.picture_start = 0.0, 0.1, 0.3, None
    one.fold = average((-2, 0.1), (-0.1, 0.1), (0.1, -0.2), (4.5, -0.2), (4.9, 0.1), (60, 0.1))
    one.raw["level.sync"] = one.raw["level.white"] = Raw(0.3)
    one._edges()
    seen = [one.raw[f"timing.sync_{name}"].value for name in ("fall", "rise")]
    assert seen == pytest.approx([0.16e-6, 0.32e-6] if sign > 0 else [0.32e-6, 0.16e-6], rel=1e-3)


def test_a_rise_is_told_where_the_picture_begins_with_its_brightest_part() -> None:
    """Microseconds of 2 ** -20 s: 1.5 of them from the start to the flat part are the most."""
    words = "the picture does not begin with its brightest part, so its rise cannot be told"
    start = 2.0**-17
    one = at_work()
    one.us, one.noise, one.level, one.picture_start = 2.0**-20, 0.0, 0.1, start
    one.raw["level.sync"] = Raw(0.3)
    one.raw["level.white"] = Raw(0.7)
    at = start / US
    one.fold = average((-2, 0.1), (at - 0.25, 0.1), (at + 0.25, 0.8), (60, 0.8))

    def rise(*parts: Plateau) -> Raw:
        one.flats = parts
        one.white = max(parts, key=lambda flat: flat.level, default=None)
        one._edges()
        return one.raw["timing.picture_rise"]

    def flat(after: float, level: float) -> Plateau:
        return Plateau((start + after * 2.0**-20, start + (after + 10) * 2.0**-20), level)

    for after in (0.5, 1.5):
        assert rise(flat(after, 0.8), flat(20, 0.3)).value == pytest.approx(0.4e-6, rel=1e-3)
    assert rise(flat(1.75, 0.8), flat(20, 0.3)) == Raw(None, failure=words)
    assert rise(flat(1.0, 0.7), flat(20, 0.8)) == Raw(None, failure=words)
    assert rise() == Raw(None, failure=words)
    one.raw["level.white"] = Raw(None, failure="lost")
    assert rise(flat(0.5, 0.8)) == Raw(None, failure="lost")
    one.raw["level.white"], one.picture_start = Raw(0.7), None
    assert rise(flat(0.5, 0.8)) == Raw(None, failure=words)


# Burst and scatter ---------------------------------------------------------------------------------------------------


def test_a_burst_is_noted_with_the_chroma_of_the_picture() -> None:
    """A sine of 0.15 V throughout: 0.3 V from peak to peak."""
    one = at_work()
    hidden = "the burst begins too close behind sync, or the sampling is too coarse, to tell where"
    one.burst = Burst(0.3, 0.002, 4.4e6, 50.0, (5.5e-6, 7.5e-6), True, (5.4e-6, 1e-8))
    one.noise = 0.0
    x = one.lit.offsets[:, None] + np.arange(one.lit.rows.shape[1]) * one.lit.step
    one.lit.rows[:] = 0.15 * np.sin(2 * np.pi * 4.4e6 * x)
    seen = one.found(NONE, None, None)
    assert seen.windows["burst"] == (5.5e-6, 7.5e-6)
    assert seen.chroma == pytest.approx(0.3, rel=0.02)
    assert seen.raw["burst.amplitude"] == Raw(0.3, 0.002)
    assert seen.raw["burst.frequency"] == Raw(4.4e6, 50.0)
    assert seen.raw["timing.burst_start"] == Raw(5.4e-6, 1e-8)
    one.burst = replace(one.burst, start=None)
    one._burst()
    assert one.raw["timing.burst_start"] == Raw(None, failure=hidden)


@pytest.mark.parametrize(
    ("system", "step", "words"),
    [
        (S625, 0.025, "no colour burst stands on the back porch"),
        (S625, 0.125, "undersampled: 8 MHz cannot show a burst of 4.43 MHz"),
        (VGA, 0.025, "a VGA picture of 640 by 480 has no colour burst"),
    ],
)
def test_why_there_is_no_burst(system: System, step: float, words: str) -> None:
    one = at_work((PLAIN if system is S625 else FAST,) * 3, system=system, step=step)
    seen = one.found(NONE, None, None)
    for name in ("burst.amplitude", "burst.frequency", "timing.burst_start"):
        assert seen.raw[name] == Raw(None, failure=words)
    assert "burst" not in seen.windows


def test_scatter_is_about_the_mean_of_each_line() -> None:
    """0, 2 and 10, 10: squares of 1, 1, 0, 0 over one degree of freedom in each of two lines."""

    def of(*rows: tuple[float, ...]) -> float:
        data = np.array(rows, dtype=np.float64)
        one = Lines(data, np.zeros(len(rows)), US, np.zeros(len(rows)), np.arange(len(rows)))
        return found._scatter(one, (0.0, 100 * US))

    assert of((0, 2), (10, 10)) == pytest.approx(1.0)
    assert of((0, 3, 6)) == pytest.approx(3.0)  # 9 + 0 + 9 over two
    assert of((0, 3, 6), (1, 1, 1), (5, 5, 5)) == pytest.approx(math.sqrt(3))
    assert of((5,), (7,)) == 0.0


def test_the_error_of_a_mean_is_the_spread_over_the_root_of_their_number() -> None:
    values: Array = array(1, 3, 1, 3, 1, 3, 1, 3, 2)
    assert found._error(values) == pytest.approx(math.sqrt(8 / 9) / 3)
    assert found._mean(values) == Raw(pytest.approx(2.0), pytest.approx(math.sqrt(8 / 9) / 3))
    assert found._unless(None, "white", values) == found._mean(values)
    assert found._unless("is gone", "white", values) == Raw(None, failure="white is gone")


def test_what_all_widths_may_be_off_by_is_handed_on() -> None:
    assert at_work(together=0.025).found(NONE, None, None).together == 25e-9
