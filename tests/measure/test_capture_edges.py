"""How long edges take, and where a burst begins: straight lines, numbers by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from guardcheck.measure.capture import Settings, analyse
from guardcheck.measure.capture.picture import Folded
from guardcheck.measure.capture.transitions import COARSE, NOISY, SCOPE_RISE, edge_time
from guardcheck.measure.readings import Circumstances
from tests.measure.drawn import L15, VGA, VGA_SYNC, Array, bar, capture, drawn, in_order, pulse
from tests.measure.error_table import capture_of
from tests.measure.measure_synth import S525, S625, Shot

KNOWN = Settings(picture="white", load="terminated", place="display", coupling="dc", circumstances=Circumstances(75.0))


def ramp(length: float, *, bin_: float = 10e-9, height: float = 0.7, count: int = 100) -> Folded:
    """Return a straight edge from 0 V, centred on 0 s."""
    x = np.arange(-1e-6, 1e-6, bin_)
    y = height * np.clip(x / length + 0.5, 0.0, 1.0)
    return Folded(x, y, np.full(len(x), count), y)


@pytest.mark.parametrize("length", [0.15e-6, 0.25e-6, 0.5e-6])
@pytest.mark.parametrize("height", [0.7, -0.3])
def test_a_straight_edge_is_four_fifths_of_its_length(length: float, height: float) -> None:
    found = edge_time(ramp(length, height=height), 0.0, 0.7e-6, (0.0, height), 0.0, 0.0)
    assert not isinstance(found, str)
    assert found[0] == pytest.approx(0.8 * length, rel=1e-6)
    blur = math.hypot(0.8 * 10e-9, SCOPE_RISE)
    faster = (found[0] - math.sqrt(found[0] ** 2 - blur**2)) / math.sqrt(3)
    assert found[1] == pytest.approx(math.hypot(faster, math.sqrt(2) * 10e-9 / 12), rel=1e-6)


def test_noise_and_jitter_widen_what_is_said_of_an_edge() -> None:
    """1 mV of 0.7 V over 100 samples: 1/7000 of the height, 0.25 / 7000 us at each end of a slope of 0.8 in 0.2 us."""
    plain, noisy, loose = (
        edge_time(ramp(0.25e-6), 0.0, 0.7e-6, (0.0, 0.7), noise, jitter)
        for noise, jitter in ((0.0, 0.0), (0.1, 0.0), (0.0, 20e-9))
    )
    assert not isinstance(plain, str)
    assert not isinstance(noisy, str)
    assert not isinstance(loose, str)
    assert noisy[0] == plain[0]
    ends = math.sqrt(2) * math.hypot(0.1 / 10 / 0.7 * 0.2e-6 / 0.8, 10e-9 / 12)
    rest = math.sqrt(plain[1] ** 2 - 2 * (10e-9 / 12) ** 2)
    assert noisy[1] == pytest.approx(math.hypot(rest, ends), rel=1e-6)
    blur = math.sqrt((0.8 * 10e-9) ** 2 + (2.563 * 20e-9) ** 2 + SCOPE_RISE**2)
    faster = (0.2e-6 - math.sqrt(0.2e-6**2 - blur**2)) / math.sqrt(3)
    assert loose[1] == pytest.approx(math.hypot(faster, math.sqrt(2) * 10e-9 / 12), rel=1e-6)


@pytest.mark.parametrize(
    ("fold", "levels", "noise", "words"),
    [
        (ramp(0.04e-6), (0.0, 0.7), 0.0, COARSE),  # 32 ns seen through 2 x 19.2 ns
        (ramp(0.2e-6, bin_=45e-9), (0.0, 0.7), 0.0, COARSE),  # less than four bins
        (ramp(0.2e-6), (0.0, 0.7), 0.36, NOISY),  # 0.36 / 10 is 5.1 % of 0.7 V
        (ramp(0.2e-6), (0.0, 0.0), 0.001, NOISY),
        (ramp(0.2e-6), (0.0, 0.9), 0.0, "the edge is not whole"),
        (ramp(0.2e-6), (-0.2, 0.7), 0.0, "the edge is not whole"),
        (ramp(0.2e-6, height=-0.7), (0.0, 0.7), 0.0, "the edge is not whole"),
    ],
)
def test_an_edge_that_cannot_be_told_says_why(
    fold: Folded, levels: tuple[float, float], noise: float, words: str
) -> None:
    assert edge_time(fold, 0.0, 0.7e-6, levels, noise, 0.0) == words


def test_noise_just_below_a_twentieth_of_the_edge_still_tells() -> None:
    assert not isinstance(edge_time(ramp(0.2e-6), 0.0, 0.7e-6, (0.0, 0.7), 0.34, 0.0), str)


def luma(sync: float, picture: float, rate: float = 33.0) -> Array:
    corners = pulse(4.7, 0.0, -0.3, sync / 0.8) + bar(10.5, 62.5, 0.0, 0.7, picture / 0.8)
    return drawn(in_order(corners, L15), L15, rate=rate, lines=60.3, noise=0.003)


@pytest.mark.parametrize(("sync", "picture"), [(0.2, 0.3), (0.14, 0.2), (0.4, 0.6)])
def test_edges_of_sync_and_picture_of_a_capture(sync: float, picture: float) -> None:
    """Sync 0.2 us and blanking 0.3 us are the nominal edges of ITU-R BT.470 system B/G, 0.14 us those of SMPTE 170M."""
    found = analyse(capture(33.0, Y=luma(sync, picture)), settings=KNOWN)
    for name, value in (("sync_fall", sync), ("sync_rise", sync), ("picture_rise", picture)):
        one = found.quantity(f"timing.{name}")
        assert one.value == pytest.approx(value * 1e-6, abs=9e-9), name
        assert one.uncertainty is not None
        assert abs(one.value - value * 1e-6) <= one.uncertainty


def test_positive_sync_rises_first() -> None:
    """Leading edge 0.2 us, trailing 0.5 us: the rise of positive sync is its leading edge, of negative its trailing."""
    corners = [(0.125, -0.3), (4.7 - 0.3125, -0.3), (4.7 + 0.3125, 0.0), (10.0, 0.0), (-0.125, 0.0)]
    settings = replace(KNOWN, circumstances=Circumstances(75.0, signal="sync"))
    for sign, rise in ((1.0, 0.5), (-1.0, 0.2)):
        volts = sign * drawn(in_order(corners, L15), L15, rate=33.0, lines=60.3, noise=0.003)
        found = analyse(capture(33.0, S=volts), settings=settings)
        assert found.quantity("timing.sync_rise").value == pytest.approx(rise * 1e-6, abs=12e-9)
        assert found.quantity("timing.sync_fall").value == pytest.approx((0.7 - rise) * 1e-6, abs=12e-9)


def test_logic_fast_edges_are_not_told_by_a_slow_capture() -> None:
    sync = in_order(pulse(VGA_SYNC, 4.6, 0.2, 0.02), VGA)
    found = analyse(capture(20.0, H=drawn(sync, VGA, rate=20.0, noise=0.03)), settings=KNOWN)
    assert found.quantity("timing.sync_fall").failure == COARSE


@pytest.mark.parametrize("rate", [20.7e6, 49.1e6])
@pytest.mark.parametrize(("system", "start"), [(S625, 5.6e-6), (S525, 5.3e-6), (S625, 6.1e-6), (S525, 5.0e-6)])
def test_where_the_burst_begins(system: object, start: float, rate: float) -> None:
    """ITU-R BT.470: 5.6 us in system B/G, 4.71 to 5.71 us in system M."""
    moved = replace(system, burst_start=start)  # type: ignore[type-var]
    shot = Shot(system=moved, picture="white", rate=rate, duration=1.6e-3, start=3e-3, noise=0.01, bits=8)
    one = analyse(capture_of(shot), settings=KNOWN).quantity("timing.burst_start")
    assert one.value == pytest.approx(start, abs=40e-9)
    assert one.uncertainty == pytest.approx(2 * 0.25 / system.subcarrier / math.sqrt(3), rel=0.2)  # type: ignore[attr-defined]


def test_a_burst_sampled_in_step_with_the_lines_is_not_placed() -> None:
    """10 MHz is 640 samples in each line of 64 us: two points in a cycle, the same in every line."""
    shot = Shot(system=S625, picture="white", rate=10e6, duration=2e-3, start=3e-3, noise=0.01, bits=8)
    found = analyse(capture_of(shot), settings=KNOWN)
    assert found.quantity("burst.amplitude").value == pytest.approx(0.3, abs=0.01)
    assert "too coarse" in str(found.quantity("timing.burst_start").failure)
