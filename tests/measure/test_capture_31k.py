"""Captures at 31 kHz and of separate syncs: drawn by their corners, so that every number expected is on the page.

Timing of 640 x 480 is VESA DMT's, of 525 lines progressive ITU-R BT.1358's (both from memory, unverified): see `drawn`.
"""

from __future__ import annotations

import numpy as np
import pytest

from guardcheck.measure.capture import NAMES, Analysis, Settings, analyse
from guardcheck.measure.readings import Circumstances
from tests.measure.drawn import (
    L15,
    P525,
    P525_BACK,
    P525_FRONT,
    P525_SYNC,
    VGA,
    VGA_BACK,
    VGA_FRONT,
    VGA_SYNC,
    Array,
    bar,
    capture,
    drawn,
    in_order,
    pulse,
)

KNOWN = Settings(picture="white", load="terminated", place="display", coupling="dc", circumstances=Circumstances(75.0))
LOGIC = Settings(load="terminated", coupling="dc", circumstances=Circumstances(75.0, signal="sync"))
RED = in_order(bar(VGA_SYNC + VGA_BACK, VGA - VGA_FRONT, 0.0, 0.7), VGA)
DOWN, UP = in_order(pulse(VGA_SYNC, 4.6, 0.2), VGA), in_order(pulse(VGA_SYNC, 0.2, 4.6), VGA)


def close(found: Analysis, name: str, value: float, by: float) -> None:
    one = found.quantity(name)
    assert one.failure is None, one
    assert one.value == pytest.approx(value, abs=by), name
    assert one.uncertainty is not None
    assert abs(one.value - value) <= one.uncertainty


@pytest.mark.parametrize("rate", [50.0, 20.0, 10.0, 8.0])
@pytest.mark.parametrize("sync", [DOWN, UP], ids=["negative", "positive"])
def test_red_of_a_vga_picture_with_its_line_sync_on_a_second_channel(rate: float, sync: list) -> None:
    red = drawn(RED, VGA, rate=rate, noise=0.004)
    found = analyse(
        capture(rate, R=red, H=drawn(sync, VGA, rate=rate, noise=0.03, seed=2)), "R", sync_channel="H", settings=KNOWN
    )
    assert found.system == "vga"
    assert found.polarity == ("negative" if sync is DOWN else "positive")
    close(found, "level.white", 0.7, 0.003)
    close(found, "level.blank", 0.0, 0.002)
    close(found, "timing.line_period", VGA * 1e-6, 1e-9)
    close(found, "timing.back_porch", VGA_BACK * 1e-6, 25e-9)
    close(found, "timing.front_porch", VGA_FRONT * 1e-6, 25e-9)
    assert "no colour burst" in str(found.quantity("burst.amplitude").failure)


@pytest.mark.parametrize(("sync", "high"), [(DOWN, "blank"), (UP, "tip")], ids=["negative", "positive"])
def test_line_sync_of_either_polarity_shows_both_its_levels(sync: list, high: str) -> None:
    found = analyse(capture(50.0, H=drawn(sync, VGA, noise=0.03)), settings=LOGIC)
    close(found, "level.high", 4.6, 0.01)
    close(found, "level.low", 0.2, 0.01)
    close(found, "level.blank", 4.6 if high == "blank" else 0.2, 0.01)
    close(found, "timing.sync_width", VGA_SYNC * 1e-6, 5e-9)
    assert not any("inverted" in note for note in found.notes)


def test_luma_of_525_progressive_lines_is_not_taken_for_vga() -> None:
    corners = pulse(P525_SYNC, 0.0, -0.3, 0.07) + bar(P525_SYNC + P525_BACK, P525 - P525_FRONT, 0.0, 0.7, 0.07)
    found = analyse(capture(50.0, Y=drawn(in_order(corners, P525), P525, noise=0.004)), settings=KNOWN)
    assert found.system == "525p"
    close(found, "level.sync", 0.3, 0.002)
    close(found, "level.white", 0.7, 0.002)
    close(found, "level.pp", 1.0, 0.003)
    close(found, "timing.sync_width", P525_SYNC * 1e-6, 5e-9)
    close(found, "timing.back_porch", P525_BACK * 1e-6, 10e-9)
    close(found, "timing.front_porch", P525_FRONT * 1e-6, 10e-9)


def test_bars_at_31_khz_are_told_by_their_order() -> None:
    """Green of eight bars is bright in the first four; blue in every other one (ITU-R BT.471)."""
    edges = np.linspace(VGA_SYNC + VGA_BACK, VGA - VGA_FRONT, 9)
    green = in_order(bar(edges[0], edges[4], 0.0, 0.7), VGA)
    blue = in_order([p for i in (0, 2, 4, 6) for p in bar(edges[i], edges[i + 1], 0.0, 0.7)], VGA)
    sync = drawn(DOWN, VGA, noise=0.03, seed=2)
    settings = Settings(picture="bars-100", load="terminated", component="green", circumstances=Circumstances(75.0))
    for corners, value in ((green, 0.0), (blue, 0.5)):
        taken = capture(50.0, G=drawn(corners, VGA, noise=0.004), H=sync)
        one = analyse(taken, "G", sync_channel="H", settings=settings).quantity("picture.bars")
        assert one.value is not None
        assert (one.value < 0.04) == (value == 0.0)
        assert any("those of blue" in note for note in one.notes) == (corners is blue)


def equalising() -> Array:
    """Return five lines of 525-line field blanking: pulses of 2.3 us every half line, nothing else."""
    return drawn(in_order(pulse(2.3, 0.0, -0.3, 0.2), L15 / 2), L15 / 2, lines=6.6, noise=0.003)


def test_equalising_pulses_are_no_31_khz_line() -> None:
    found = analyse(capture(50.0, Y=equalising()), settings=KNOWN)
    assert all(one.value is None for one in found.quantities)
    assert "too short" in str(found.quantity("level.sync").failure)


def test_a_15_khz_line_stays_one() -> None:
    corners = in_order(pulse(4.7, 0.0, -0.3, 0.2) + bar(10.5, 62.5, 0.0, 0.7, 0.3), L15)
    found = analyse(capture(20.0, Y=drawn(corners, L15, rate=20.0, noise=0.003)), settings=KNOWN)
    assert found.system == "625"
    close(found, "level.white", 0.7, 0.002)
    close(found, "timing.line_period", 64e-6, 1e-9)


@pytest.mark.parametrize(
    ("period", "width", "words"),
    [(20.0, 1.5, "no line sync of"), (45.0, 4.7, "no line sync of"), (64.0, 12.0, "no line sync of")],
)
def test_what_is_no_line_rate_known_proves_nothing(period: float, width: float, words: str) -> None:
    found = analyse(capture(50.0, H=drawn(in_order(pulse(width, 4.6, 0.2), period), period)), settings=LOGIC)
    assert {one.name for one in found.quantities} == set(NAMES)
    assert all(one.value is None and words in str(one.failure) for one in found.quantities)


def test_31_khz_needs_8_mhz() -> None:
    found = analyse(capture(5.0, H=drawn(DOWN, VGA, rate=5.0, noise=0.03, lines=40.3)), settings=LOGIC)
    assert "at least 8 MHz" in str(found.quantity("level.high").failure)


def test_the_picture_named_as_the_channel_of_sync_proves_nothing() -> None:
    red, sync = drawn(RED, VGA, noise=0.004), drawn(DOWN, VGA, noise=0.03, seed=2)
    found = analyse(capture(50.0, R=red, H=sync), "H", sync_channel="R", settings=KNOWN)
    assert all(one.value is None for one in found.quantities)
    assert "was found on channel 'R'" in str(found.quantity("level.white").failure)


@pytest.mark.parametrize(("low", "high"), [(None, 4.2), (0.5, None)])
def test_a_logic_level_cut_off_by_the_screen_is_not_proven(low: float | None, high: float | None) -> None:
    found = analyse(capture(50.0, H=np.clip(drawn(DOWN, VGA, noise=0.05), low, high)), settings=LOGIC)
    for name in ("level.high", "level.low"):
        assert found.quantity(name).value is None
        assert "cut off" in str(found.quantity(name).failure)


@pytest.mark.parametrize(("locked", "edge", "half"), [(32.0, 0.002, 115e-9), (VGA, 0.002, 25e-9), (32.0, 0.2, 20e-9)])
def test_edges_between_two_samples_of_a_locked_capture_are_known_to_one_sample(
    locked: float, edge: float, half: float
) -> None:
    """10 MHz: 100 ns as half a width makes 2 x 100 / sqrt(3) = 115 ns; a sixth of a sample makes 19 ns.

    Not locked, each of 19 widths is off by two edges rounded to 100 ns: at most 2 x 41 / sqrt(19) = 19 ns more.
    """
    sync = in_order(pulse(VGA_SYNC, 4.6, 0.2, edge), locked)
    found = analyse(capture(10.0, H=drawn(sync, locked, rate=10.0, noise=0.02)), settings=LOGIC)
    one = found.quantity("timing.sync_width")
    assert one.value == pytest.approx(VGA_SYNC * 1e-6, abs=half)
    assert one.uncertainty == pytest.approx(half, rel=0.15)


def field(up: bool, width: float = 63.6, fields: float = 2.4, rate: float = 1.0) -> Array:
    """Return field sync alone at 59.94 Hz: 4.6 V and 0.2 V; rate [MHz]."""
    period = 1e6 / 59.94
    low, high = (4.6, 0.2) if up else (0.2, 4.6)
    corners = in_order(pulse(width, high, low, 1.0), period)
    return drawn(corners, period, rate=rate, lines=fields, noise=0.03)


@pytest.mark.parametrize("up", [False, True], ids=["negative", "positive"])
def test_field_sync_alone_shows_both_its_levels_and_no_line(up: bool) -> None:
    found = analyse(capture(1.0, V=field(up)), settings=LOGIC)
    close(found, "level.high", 4.6, 0.005)
    close(found, "level.low", 0.2, 0.01)
    assert found.polarity == ("positive" if up else "negative")
    assert "once a field" in str(found.quantity("timing.line_period").failure)
    assert found.quantity("noise.rms").value is None


@pytest.mark.parametrize(
    "volts",
    [field(False, fields=1.3), field(False, width=8000.0), field(False, rate=0.1), np.clip(field(False), None, 4.6)],
    ids=["one pulse", "half the field", "too coarse", "cut off"],
)
def test_what_may_be_no_field_sync_proves_no_level(volts: Array) -> None:
    rate = 0.1 if len(volts) < 10_000 else 1.0
    found = analyse(capture(rate, V=volts), settings=LOGIC)
    assert found.quantity("level.high").value is None


def test_field_sync_is_looked_for_on_lines_of_sync_only() -> None:
    found = analyse(capture(1.0, V=field(False)), settings=KNOWN)
    assert all(one.value is None for one in found.quantities)
