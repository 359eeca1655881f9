"""Scan lines drawn by their corners: straight lines between points, so that every number expected is on the page.

Nothing here is imported from the program under test but the record a capture is handed over in. Timing of 640 x 480:
VESA DMT (from memory, unverified), 800 pixels of 25.175 MHz in a line, sync 96, front porch and border 16, back porch
and border 48. 525 lines progressive: ITU-R BT.1358 (from memory, unverified), 858 pixels of 27 MHz, sync 63, front 16.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture import Capture
from guardcheck.measure.capture.reader import voltage_step

Array = NDArray[np.float64]
Corners = Sequence[tuple[float, float]]

PIXEL = 1 / 25.175
VGA, VGA_SYNC, VGA_BACK, VGA_FRONT = 800 * PIXEL, 96 * PIXEL, 48 * PIXEL, 16 * PIXEL
P525, P525_SYNC, P525_BACK, P525_FRONT = 858 / 27, 63 / 27, 59 / 27, 16 / 27
L15 = 64.0


def drawn(
    corners: Corners, period: float, *, rate: float = 50.0, lines: float = 20.3, noise: float = 0.0, seed: int = 1
) -> Array:
    """Return samples of a line repeated: corners (time [us], volts), period [us], rate [MHz], rms noise [V]."""
    x, y = zip(*corners, strict=True)
    t = np.arange(round(lines * period * rate)) / rate + 0.37 * period
    samples = np.interp(t % period, x, y, period=period)
    return samples + noise * np.random.default_rng(seed).standard_normal(len(t))


def pulse(width: float, rest: float, tip: float, edge: float = 0.02) -> list[tuple[float, float]]:
    """Return the corners of a sync pulse whose half-amplitude points are 0 and `width`; `edge` from foot to top."""
    half = edge / 2
    return [(half, tip), (width - half, tip), (width + half, rest), (width + 1.0, rest), (-half, rest)]


def bar(start: float, end: float, low: float, high: float, edge: float = 0.04) -> list[tuple[float, float]]:
    """Return the corners of a bar whose half-amplitude points stand at `start` and `end`."""
    half = edge / 2
    return [(start - half, low), (start + half, high), (end - half, high), (end + half, low)]


def in_order(corners: Corners, period: float) -> list[tuple[float, float]]:
    """Return the corners of one line in the order of time."""
    return sorted(((x % period, y) for x, y in corners), key=lambda one: one[0])


def capture(rate: float = 50.0, **channels: Array) -> Capture:
    """Return a capture as the reader would hand it over; rate [MHz]."""
    data = {name: volts.astype(np.float32) for name, volts in channels.items()}
    return Capture("made.csv", 1e-6 / rate, 0.0, data, {name: voltage_step(volts) for name, volts in data.items()})
