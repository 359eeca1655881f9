"""What is found on one channel: still lines drawn by their corners, and numbers worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from guardcheck.measure.capture import found
from guardcheck.measure.capture.bars import Steps
from guardcheck.measure.capture.burst import Burst
from guardcheck.measure.capture.found import NO_SYNC, Content, Found, Raw, _Look, look
from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.picture import Folded, Plateau
from guardcheck.measure.capture.systems import System
from tests.measure.drawn import L15, Corners, bar, pulse
from tests.measure.still import (
    DARK,
    FAST,
    L31,
    LOW,
    NONE,
    P525,
    PLAIN,
    S525,
    S625,
    US,
    VGA,
    array,
    at_work,
    plainly,
    roomy,
    seen,
    still,
    still_edges,
)

# The whole line ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1, -1])
def test_the_levels_and_times_of_a_plain_line(sign: int) -> None:
    one = plainly(sign=sign)
    assert one.raw["level.blank"].value == pytest.approx(sign * 0.1)
    assert one.raw["level.sync"].value == pytest.approx(0.3)
    assert one.raw["level.white"].value == pytest.approx(0.7)
    assert one.raw["level.black"] == Raw(None, failure="the picture shows one level only, so no black to read")
    ends = [one.raw[f"level.{name}"].value for name in ("low", "high")]
    assert ends == pytest.approx([-0.2, 0.1] if sign > 0 else [-0.1, 0.2])
    assert one.levels == pytest.approx({"blanking": sign * 0.1, "sync tip": sign * -0.2, "white": sign * 0.8})
    assert one.raw["timing.line_period"] == Raw(64e-6, 2e-9)
    assert one.raw["timing.sync_width"].value == pytest.approx(4.7e-6)
    assert one.raw["timing.back_porch"].value == pytest.approx(5.8e-6, abs=1e-9)
    assert one.raw["timing.front_porch"].value == pytest.approx(1.5e-6, abs=1e-9)
    first, then = ("sync_fall", "sync_rise") if sign > 0 else ("sync_rise", "sync_fall")
    for name in (first, then, "picture_rise"):
        assert one.raw[f"timing.{name}"].value == pytest.approx(160e-9, abs=1e-9)  # 0.8 of 200 ns
    assert (one.lines, one.has_picture, one.notes, one.chroma, one.counted) == (4, True, (), None, "scan lines")
    assert one.drift == pytest.approx(0.0, abs=1e-12)


def test_where_the_parts_of_a_line_are_read() -> None:
    """Sync 0.8 us inside; the porch from 0.9 us behind sync to 0.45 us before the picture.

    White is flat where a difference over 0.6 us is below 3.5 %: the edge of 0.2 us, averaged over two cycles of
    4.43 MHz (18 samples, 0.45 us), is within that 0.25 us behind its middle; 0.3 us more, and 0.5 us are taken off.
    """
    one = plainly()
    assert one.windows["sync tip"] == pytest.approx((0.8e-6, 3.9e-6))
    assert one.windows["back porch"] == pytest.approx((5.6e-6, 10.05e-6), abs=1e-9)
    assert one.windows["white"] == pytest.approx((11.55e-6, 61.45e-6), abs=26e-9)
    assert one.content == Content(False, pytest.approx(50.90e-6, abs=52e-9), None, L15 * US)
    assert set(one.windows) == {"sync tip", "back porch", "white"}


def test_a_line_that_is_cut_at_another_channel_has_no_sync() -> None:
    one = plainly(own=False)
    assert set(one.levels) == set(one.windows) - {"back porch"} | {"blanking"} == {"blanking", "white"}
    for name in ("level.sync", "timing.sync_width", "timing.sync_fall", "timing.sync_rise"):
        assert one.raw[name] == Raw(None, failure=NO_SYNC)
    assert "level.high" not in one.raw


def test_what_was_not_seen_counts_as_nothing() -> None:
    assert Raw(1.0) == Raw(1.0, 0.0, None, None, None)
    assert Content() == Content(False, 0.0, None, 64e-6)
    fold = Folded(array(0, 1), array(0, 0), np.zeros(2, dtype=np.int64), array(0, 0))
    bare = Found({}, fold, {}, {}, 0.0, 0, 0.0, False, Content())
    assert (bare.least, bare.together, bare.chroma, bare.notes) == (0.0, 0.0, None, ())


def test_three_lines_are_the_least() -> None:
    volts = still((PLAIN,) * 2, L15)
    edges = still_edges(1, L15, 4.7, LOW)
    words = "fewer than three whole scan lines follow each other"
    assert look(volts, 25e-9, edges, S625, sign=1, own_sync=True, resolution=0.0) == words


def test_a_line_period_of_no_system_is_taken_for_the_plainest() -> None:
    volts = roomy(still((PLAIN,) * 4, L15))
    edges = still_edges(4, L15, 4.7, LOW)
    for system in (None, S625, S525):
        one = look(volts, 25e-9, edges, system, sign=1, own_sync=True, resolution=0.0)
        assert isinstance(one, Found)
        end = 9.0 if system is S525 else 10.05  # 525 lines: 0.2 us before blanking ends at 9.2 us
        assert one.windows["back porch"][1] == pytest.approx(end * US, abs=1e-9)


# Lines of the picture ------------------------------------------------------------------------------------------------


def test_lines_that_follow_field_sync_show_no_picture() -> None:
    """Field sync begins behind the edge of line 4 of 0 to 8; 0.2 ms before are 3.1 lines, two lines are blanked."""
    bright = pulse(4.7, 0.1, -0.2, 0.1) + bar(10.5, 62.5, 0.1, 0.9, 0.1)
    system = replace(S625, field_blanking=2)
    field = array(4.9875 + 4 * L15 + 1) * US
    for lit in range(9):
        rows = [bright if line == lit else PLAIN for line in range(9)]
        volts = roomy(still(rows, L15))
        one = look(
            volts, 25e-9, still_edges(9, L15, 4.7, LOW), system, sign=1, own_sync=True, resolution=0.0, fields=field
        )
        assert isinstance(one, Found)
        assert one.raw["level.white"].value == pytest.approx(0.7 if lit in (1, 2, 3, 4, 5, 6) else 0.8), lit
    assert (
        seen((PLAIN,) * 6, fields=array(5 * US))
        == "it holds no line of the picture, only the lines that follow field sync"
    )


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_three_lines_before_field_sync_and_the_blanking_behind_it_are_no_picture(scale: float) -> None:
    edge, end = 0.2e-3 * scale, 1e-3
    starts = array(-1.1 * edge, -edge, -0.9 * edge, 0.0, 0.999 * end, end, 1.001 * end)
    one = Lines(np.zeros((7, 1)), np.zeros(7), US, starts, np.arange(7), scale)
    assert found._shown(one, array(0.0), end).tolist() == [True, True, False, False, False, True, True]
    assert found._shown(one, array(5e-3, 0.0), end).tolist() == [True, True, False, False, False, True, True]
    assert found._shown(one, NONE, end).tolist() == [True] * 7


def two(first: Corners, second: Corners) -> list[Corners]:
    return [DARK + list(first), DARK + list(second)] * 2


@pytest.mark.parametrize(
    ("start", "end", "white"),
    [
        (9.45, 11.9, 0.72),  # looked for from 0.6 us behind 8.9 us on
        (9.05, 11.5, 0.70),  # 2.0 of 2.3 us only
        (60.45, 62.85, 0.72),  # and to 1.2 us before the next sync
        (60.90, 63.3, 0.70),
    ],
)
def test_the_brightness_of_lines_is_looked_for_inside_the_picture(start: float, end: float, white: float) -> None:
    """Bars of 2.4 us in three places: their average has the height of none, so the picture is uneven."""
    bars = bar(start, end, 0.1, 0.82, 0.02), bar(30, 33, 0.1, 0.8, 0.02), bar(40, 43, 0.1, 0.8, 0.02)
    rows = [DARK + one for one in bars] * 2
    one = plainly(rows)
    assert one.content.uneven
    assert one.raw["level.white"].value == pytest.approx(white, abs=0.002)
    assert one.raw["level.black"] == Raw(None, failure="the picture differs from line to line")
    for name in ("line_tilt", "overshoot"):
        assert one.raw[f"response.{name}"] == Raw(None, failure="the picture differs from line to line")
    assert one.has_picture


@pytest.mark.parametrize(
    ("step", "ratio", "uneven"), [(1, 1.05, False), (1, 1.3, True), (5, 1.2, False), (5, 1.6, True)]
)
def test_a_picture_is_uneven_where_its_lines_are_brighter_than_their_average(
    step: int, ratio: float, uneven: bool
) -> None:
    """What is common to the lines is 0.7 V over the ratio; a step of 125 ns is too coarse for 4.43 MHz."""
    common = bar(40, 50, 0.1, 0.1 + 0.7 / ratio, 0.02)
    rows = two(bar(20, 30, 0.1, 0.8, 0.02) + common, [*common, *bar(52, 60, 0.1, 0.8, 0.02)])
    one = at_work(rows, step=0.025 * step)
    assert one.floor == pytest.approx(0.7)
    assert one._height() == pytest.approx(0.7 / ratio)
    assert one.uneven == uneven
    assert one.has_picture


def test_a_picture_just_at_its_least_is_none() -> None:
    """Powers of two throughout: 5 V of sync make 0.25 V the least."""
    sync = pulse(4.7, 0.0, -5.0, 0.1)
    rows = [[*sync, *bar(20, 30, 0.0, 0.25, 0.02)], [*sync, *bar(40, 50, 0.0, 0.25, 0.02)]] * 2
    one = at_work(rows)
    assert (one.floor, one.least, one._height()) == (0.25, 0.25, 0.125)
    assert not one.uneven
    assert not one.has_picture
    even = at_work([[*sync, *bar(20, 30, 0.0, 0.25, 0.02)]] * 4)
    assert (even.least, even._height()) == (0.25, 0.25)
    assert not even.has_picture
    assert at_work([[*sync, *bar(20, 30, 0.0, 0.2501, 0.02)]] * 4).has_picture


@pytest.mark.parametrize(
    ("sync", "white", "noise", "own", "ends", "least"),
    [
        (0.3, 0.7, 0.0, True, (0.7, -0.3), 0.03),  # 3 % of 1 V from end to end
        (0.3, 0.06, 0.0, True, (0.06, -0.3), 0.015),  # 5 % of sync
        (0.3, 0.06, 0.0, False, (0.06, -0.3), 0.0108),  # on another channel it is none: 3 % of 0.36 V
        (0.03, 0.02, 0.0, True, (0.02, -0.03), 0.01),
        (0.3, 0.7, 0.12, True, (1.0, -0.5), 5 * 0.12 / math.sqrt(4 * 18)),  # four lines, 18 samples in two cycles
    ],
)
def test_the_least_picture_that_would_be_seen(
    sync: float, white: float, noise: float, own: bool, ends: tuple[float, float], least: float
) -> None:
    rows = [pulse(4.7, 0.0, -sync, 0.1) + bar(10.5, 62.5, 0.0, white, 0.1)] * 4
    one = plainly(rows, own=own, noise=noise, top=ends[0], low=ends[1])
    assert one.least == pytest.approx(least, rel=0.02)
    assert one.has_picture


def test_a_line_without_picture() -> None:
    one = plainly((DARK,) * 4)
    assert not one.has_picture
    assert set(one.windows) == set(one.levels) - {"blanking"} | {"back porch"} == {"back porch", "sync tip"}
    dark = Raw(None, failure="nothing brighter than blanking stands on this line")
    for name in ("level.white", "level.black", "response.line_tilt", "response.overshoot", "timing.picture_rise"):
        assert one.raw[name] == dark, name
    assert "left edge" in str(one.raw["timing.back_porch"].failure)
    assert "right edge" in str(one.raw["timing.front_porch"].failure)


def test_a_picture_is_flat_to_0_8_us_before_the_next_sync() -> None:
    rows = [pulse(4.7, 0.1, -0.2, 0.1)[:4] + bar(20, 63.98, 0.1, 0.8, 0.02)] * 4
    assert plainly(rows).windows["white"][1] == pytest.approx(62.7e-6, abs=26e-9)  # and half a microsecond
    fast = [FAST[:4] + bar(10, 31.76, 0.1, 0.8, 0.02)] * 4
    assert at_work(fast, system=VGA).flats[-1].window[1] == pytest.approx((L31 - 0.4) * US, abs=26e-9)


def test_what_cannot_be_seen_is_not_taken_for_a_burst() -> None:
    """A step of 125 ns shows 4.43 MHz as 3.57 MHz; a line of 31 kHz has no burst, whatever its picture holds."""
    coarse = at_work(step=0.125)
    assert coarse.lines.step * S625.subcarrier * 2.2 > 1  # type: ignore[operator]
    for subcarrier, system, step in ((4.43361875, S625, 0.125), (4.0, VGA, 0.025)):
        rows = (PLAIN if system is S625 else FAST,) * 4
        one = at_work(rows, system=system, step=step)
        x = one.lines.offsets[:, None] + np.arange(one.lines.rows.shape[1]) * one.lines.step
        inside = (x > 5.5e-6) & (x < 8.0e-6)
        one.lines.rows[:] += 0.15 * np.sin(2 * np.pi * subcarrier * 1e6 * x) * inside
        shown = np.ones(4, dtype=np.bool_)
        again = _Look(one.lines, one.edges, system, 1, True, 0.0, one.volts, shown, None)
        assert again.burst is None, system.name


# Hum -----------------------------------------------------------------------------------------------------------------


def swaying(by: float) -> list[Corners]:
    return [[(x, y + by * (-1) ** line) for x, y in PLAIN] for line in range(4)]


@pytest.mark.parametrize(
    ("by", "noise", "words"),
    [
        (0.0049, 0.0, None),
        (0.0051, 0.0, "the blanking level wanders by 5.1 mV rms from line to line (hum)"),
        (0.0119, 0.004, None),  # three times the noise
        (0.0123, 0.004, "the blanking level wanders by 12.3 mV rms from line to line (hum)"),
    ],
)
def test_hum_is_said_where_it_stands_out_of_the_noise(by: float, noise: float, words: str | None) -> None:
    one = plainly(swaying(by), noise=noise)
    assert one.drift == pytest.approx(by, rel=1e-6)
    assert one.notes == (() if words is None else (words,))


def test_hum_that_just_does_not_stand_out_is_not_said() -> None:
    one = at_work()
    one.blank, one.noise = 3 * array(1, -1, 1, -1) / 256, 1 / 256
    assert one.found(NONE, None, None).notes == ()
    one.blank = one.blank * (1 + 1e-12)
    assert len(one.found(NONE, None, None).notes) == 1
    one = at_work()
    one.blank, one.noise = array(0.005, -0.005, 0.005, -0.005), 0.0
    assert one.found(NONE, None, None).notes == ()


def test_the_error_of_hum_is_that_of_a_mean_over_the_porch() -> None:
    """5.6 to 9.1 us hold 140 samples; four lines are averaged, two ends taken from each other."""
    one = at_work()
    one.noise, one.porch, one.raw["level.blank"] = 0.02, (5.6e-6, 9.1e-6), Raw(0.1)
    one._field(NONE, None)
    assert one.raw["noise.hum"].error == pytest.approx(2 * 0.02 / math.sqrt(140) / math.sqrt(4))
    assert one.raw["noise.hum"].bound == "at_least"
    assert "two whole fields" in str(one.raw["response.field_tilt"].failure)
    assert "noise.rms" not in one.raw
    one.raw["level.blank"] = lost = Raw(None, failure="gone")
    one._field(NONE, None)
    assert [one.raw[name] for name in ("noise.hum", "noise.rms", "response.field_tilt")] == [lost] * 3


# Declared bars -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("noise", "least", "error"),
    [(0.0, 0.02, 0.0), (0.001, 0.02, 0.05), (0.00199, 0.02, 0.0995), (0.003, 0.03, 0.1)],
)
def test_steps_are_looked_for_above_the_noise(
    noise: float, least: float, error: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []

    def steps(fold: Folded, blank: float, period: float, own: str, at: float) -> Steps:
        asked.append((blank, period, own, at))
        return Steps(0.01, own)

    monkeypatch.setattr(found, "steps_of", steps)
    one = at_work()
    one.bin_noise = noise
    one._bars("green")
    assert asked == [(pytest.approx(0.1), L15 * US, "green", pytest.approx(least))]
    assert one.raw["picture.bars"] == Raw(0.01, pytest.approx(error))


@pytest.mark.parametrize(
    ("steps", "expected"),
    [
        (None, Raw(None, failure="the bars cannot be seen")),
        (Steps(0.3, "blue"), Raw(0.3, note="These steps are those of blue.")),
        (Steps(0.02, "green"), Raw(0.02)),
        (
            Steps(0.3, None),
            Raw(0.3, failure="these are not the eight bars that were declared, or not a whole row of them"),
        ),
    ],
)
def test_whose_steps_were_seen(steps: Steps | None, expected: Raw, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(found, "steps_of", lambda *_: steps)
    one = at_work()
    one.bin_noise = 0.0
    one._bars("green")
    assert one.raw["picture.bars"] == expected
    one._bars(None)
    assert "were not declared" in str(one.raw["picture.bars"].failure)
    one.uneven = True
    one._bars("green")
    assert one.raw["picture.bars"] == Raw(None, failure="the bars cannot be seen")
    one._bars(None)
    assert "were not declared" in str(one.raw["picture.bars"].failure)


# Content -------------------------------------------------------------------------------------------------------------


def flats(*parts: tuple[float, float, float]) -> tuple[Plateau, ...]:
    return tuple(Plateau((start * US, end * US), level) for start, end, level in parts)


@pytest.mark.parametrize(
    ("levels", "following"),
    [
        ((1.125, 0.125, 0.625, 0.375), 0.5),
        ((1.125, 1.0749), 0.9499),
        ((1.125, 0.125), 0.0),
        ((1.125, -0.125), -0.25),
        ((1.125,), None),
    ],
)
def test_the_next_lower_level_is_a_share_of_white(levels: tuple[float, ...], following: float | None) -> None:
    one = at_work()
    one.level, one.uneven = 0.125, False
    one.flats = flats(*((10 + 5 * i, 14 + 5 * i, level) for i, level in enumerate(levels)))
    one.white = one.flats[0]
    assert one._height() == 1.0
    content = one._content()
    assert content == Content(False, pytest.approx(4e-6), following and pytest.approx(following), L15 * US)
    assert (content.next_level is None) == (following is None)


def test_a_level_of_just_95_percent_is_white_as_well_and_blanking_is_no_picture() -> None:
    one = at_work()
    one.level, one.flats = 0.0, flats((10, 20, 1.0), (22, 30, 0.95))
    one.white = one.flats[0]
    assert one._content().next_level is None
    one.level = 1.0
    assert (one._height(), one._content()) == (0.0, Content(period=L15 * US))
    one.uneven, one.white = True, None
    assert (one._height(), one._content()) == (0.0, Content(True, period=L15 * US))


# Where to look -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("system", "width", "porch"),
    [
        (S625, 4.7, (8.0, 8.9)),  # 3.3 to 4.2 us behind sync
        (S625, 4.99, (8.0, 8.9)),
        (S625, 5.05, (8.35, 9.25)),  # 0.3 us wider than it should be: behind its own end
        (S525, 5.05, (8.1, 9.0)),  # and 0.2 us before blanking ends at 9.2 us
        (VGA, 3.8133, (4.3133, 5.1133)),
        (VGA, 3.98, (4.4, 5.2)),  # at 31 kHz 0.15 us are enough; blanking ends at 5.4 us
        (P525, 2.3333, (2.8333, 3.6333)),
    ],
)
def test_where_the_back_porch_is_flat(system: System, width: float, porch: tuple[float, float]) -> None:
    one = at_work((PLAIN if system in (S625, S525) else FAST,) * 3, system=system)
    one.width = width * US
    assert one._first_porch() == pytest.approx((porch[0] * US, porch[1] * US))


def test_sync_that_is_just_as_wide_as_may_be_is_taken_as_it_should_be() -> None:
    one = at_work()
    one.system, one.width = replace(S625, sync_width=0.0), 0.3 * 1e-6
    assert one._first_porch() == pytest.approx((3.3e-6, 4.2e-6))


@pytest.mark.parametrize(("system", "scale"), [(S625, 1.0), (VGA, 0.5)])
def test_margins_are_half_as_long_at_31_khz(system: System, scale: float) -> None:
    one = at_work((PLAIN if scale == 1.0 else FAST,) * 3, system=system)
    width, period = (4.7, L15) if scale == 1.0 else (3.8, L31)
    assert one._tip() == pytest.approx((0.8 * scale * US, (width - 0.8 * scale) * US))
    one.first = (8e-6, 9e-6)
    assert one._active(2.0, 3.0) == pytest.approx(((9 + 2 * scale) * US, (period - 3 * scale) * US))
    one.fold = Folded(*(array(0, 1) for _ in range(2)), np.full(2, 10), array(0, 1), scale)
    one.height, one.bin_noise = 0.7, 0.007  # 0.014 of 0.7 V, on a slope of 0.4 us: 8 ns
    one.lines = replace(one.lines, step=120e-9)
    assert one._edge_error() == pytest.approx(math.hypot(20e-9, 8e-9 * scale))
    one.lines = replace(one.lines, step=30e-9)
    assert one._edge_error() == pytest.approx(math.hypot(10e-9, 8e-9 * scale))
    one.height, one.bin_noise = -0.0001, 0.0001  # 0.2 mV of at least 1 mV
    assert one._edge_error() == pytest.approx(math.hypot(10e-9, 80e-9 * scale))


def test_the_noise_of_the_average_line() -> None:
    """Ten lines of 0.3 V; two cycles of 4 MHz are 500 ns, ten bins of 50 ns; without chroma 200 ns, four of them."""
    one = at_work()
    one.noise = 0.3
    one.fold = Folded(np.arange(101) * 50e-9, np.zeros(101), np.full(101, 10), np.zeros(101))
    for subcarrier, samples in ((4e6, 100), (None, 40)):
        one.system = replace(S625, subcarrier=subcarrier)
        assert one._bin_noise() == pytest.approx(0.3 / math.sqrt(samples))
    one.fold = Folded(np.arange(101) * 500e-9, np.zeros(101), np.full(101, 10), np.zeros(101))
    assert one._bin_noise() == pytest.approx(0.3 / math.sqrt(10))


def burst(start: float = 5.6, end: float = 7.8) -> Burst:
    return Burst(0.3, 0.001, 4.4e6, 100.0, (start * US, end * US), True, (start * US, 1e-8))


@pytest.mark.parametrize(
    ("system", "step", "has", "picture", "porch"),
    [
        (S625, 0.025, True, 10.5, (8.25, 10.05)),  # 0.45 us behind the burst, 0.45 us before the picture
        (S625, 0.025, True, 12.0, (8.25, 10.3)),  # 0.2 us before blanking ends
        (S625, 0.025, False, 12.0, (5.6, 10.3)),  # 0.9 us behind sync
        (S625, 0.125, False, 12.0, (8.0, 10.3)),  # a burst may stand there unseen
        (S625, 0.025, True, None, (8.25, 10.3)),
        (S625, 0.025, True, 9.3, (8.25, 8.85)),
        (S625, 0.025, True, 9.1, (8.0, 8.9)),  # 0.4 us is too little
        (VGA, 0.025, False, 6.0, (4.25, 5.2)),
        (VGA, 0.025, False, 5.2, (4.25, 4.975)),
        (VGA, 0.025, False, 4.8, (4.25, 4.575)),
    ],
)
def test_the_part_of_the_porch_without_burst(
    system: System, step: float, has: bool, picture: float | None, porch: tuple[float, float]
) -> None:
    slow = system is S625
    one = at_work((PLAIN if slow else FAST,) * 3, system=system, step=step)
    one.burst = burst() if has else None
    one.first = (8.0e-6, 8.9e-6) if slow else (3.9e-6, 4.4e-6)
    x = np.arange(0.0, 60.0, 0.0125)
    y = np.full(len(x), 0.1) if picture is None else np.where(x < picture, 0.1, 0.8)
    one.fold = Folded(x * US, y, np.full(len(x), 10), y, 1.0 if slow else 0.5)
    one.noise = one.bin_noise = 0.0
    assert one._porch(array(0.1, 0.1, 0.1)) == pytest.approx((porch[0] * US, porch[1] * US), abs=13e-9)
    assert one.height == pytest.approx(0.0 if picture is None else 0.7)


def test_a_porch_of_just_half_a_microsecond_will_do() -> None:
    """A microsecond of 2 ** -20 s: half of it before the end at 9.0 us is a number without rounding."""
    end = S525.blanking_end - 0.2e-6
    one = at_work(step=0.125)
    one.system, one.burst, one.us, one.first = S525, None, 2.0**-20, (end - 2.0**-21, end + 1e-6)
    one.fold = Folded(one.fold.x, one.fold.y * 0, one.fold.count, one.fold.y * 0)
    one.lines = replace(one.lines, step=0.2e-6)
    assert one._porch(array(0.0)) == (one.first[0], end)
    one.first = (one.first[0] + 1e-9, one.first[1])
    assert one._porch(array(0.0)) == one.first


def test_the_picture_begins_behind_the_middle_of_the_porch() -> None:
    one = at_work()
    one.burst, one.first = None, (8e-6, 9e-6)
    x = array(0, 4, 8, 8.5, 9, 10, 60) * US
    y = array(0, 0, 0, 0.5, 0.1, 0.0, 0.0)
    one.fold = Folded(x, y, np.full(7, 10), y)
    one._porch(array(0.0))
    assert one.height == 0.1
