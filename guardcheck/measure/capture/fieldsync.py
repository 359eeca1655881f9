"""Field sync on a line of its own: two levels, changing once a field."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.clipping import Screen, cut_off, fills_converter
from guardcheck.measure.capture.found import Content, Found, Raw
from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.picture import Folded
from guardcheck.measure.capture.slicer import runs_below

Floats = NDArray[np.float64]

FIELDS = (1.0 / 90.0, 1.0 / 45.0)
"""Shortest and longest field of any picture [s]."""
WIDTHS = (20e-6, 2e-3)
"""Shortest and longest field sync [s]: one line of 31 kHz, and a good deal more than nine of 15 kHz."""
SLOWEST = 5e-6
"""Longest sample interval [s] that shows it: four samples in the shortest."""
_EVEN = 0.01
_EDGE = 2
"""Samples left out on either side of a change."""
NO_LINE = "this is field sync: it comes once a field, not once a line"


def field_sync(
    volts: NDArray[np.floating], step: float, resolution: float, screen: Screen | None
) -> tuple[Found, int] | None:
    """Return what stands on a line of field sync alone, and 1 (-1: its pulses go up); None when it is not one.

    At least two pulses must come a field apart, and nothing else may stand on the line.

    Parameters
    ----------
    volts : the channel's samples, shape ``(n_samples,)`` [V]
    step : sample interval [s]
    resolution : the channel's voltage step [V], 0 when none was found
    screen : the scope's vertical setting, None when it is not known

    """
    top, low = float(volts.max()), float(volts.min())
    if step > SLOWEST or top <= low:
        return None
    middle = 0.5 * (top + low)
    away = volts.astype(np.float64) - middle
    pulses, sign = max((_pulses(sign * away, step), sign) for sign in (1, -1))
    if not pulses:
        return None
    up = away > 0
    settled = np.convolve(np.abs(np.diff(up.astype(np.int8), prepend=up[:1])), np.ones(2 * _EDGE + 1), "same") == 0
    levels = {name: volts[settled & (up == high)].astype(np.float64) for name, high in (("high", True), ("low", False))}
    if not all(len(part) for part in levels.values()):
        return None
    raw, noise = _raw(levels, (top, low), resolution, screen, sign, fills_converter(volts, resolution))
    empty = np.zeros(2)
    fold = Folded(np.array([0.0, step]), empty, np.zeros(2, dtype=np.int64), empty)
    return Found(raw, fold, {}, {}, noise, pulses, 0.0, False, Content(), counted="field syncs"), sign


def _pulses(volts: Floats, step: float) -> int:
    """Return how many pulses go below zero, 0 when they are not those of field sync alone."""
    starts, ends = runs_below(volts, 0.0, step)
    widths, gaps = ends - starts, np.diff(starts)
    if len(starts) < 2 or np.any(widths < WIDTHS[0]) or np.any(widths > WIDTHS[1]):
        return 0
    even = bool(np.all(np.abs(gaps - gaps.mean()) <= _EVEN * gaps.mean()))
    return len(starts) if even and FIELDS[0] <= gaps.mean() <= FIELDS[1] else 0


def _raw(
    levels: dict[str, Floats], ends: tuple[float, float], step: float, screen: Screen | None, sign: int, full: bool
) -> tuple[dict[str, Raw], float]:
    """Return the two levels, what follows from them, and the noise on the steadier part [V]."""
    noise = float(min(np.std(part) for part in levels.values()))
    found: dict[str, Raw] = {}
    for (name, part), extreme in zip(levels.items(), ends, strict=True):
        one = Lines(part[None, :], np.zeros(1), 1.0, np.zeros(1), np.zeros(1, dtype=np.int64))
        whole = (0.0, float(len(part)))
        lost = cut_off(one, whole, extreme, noise, step, ends[0] - ends[1], screen, top=name == "high")
        if full:
            lost = "fills the whole range of the converter, so it may be cut off by the edge of the screen"
        value, error = float(part.mean()), float(np.std(part) / np.sqrt(len(part)))
        found[f"level.{name}"] = Raw(value, error) if lost is None else Raw(None, failure=f"the {name} level {lost}")
    high, low = found["level.high"], found["level.low"]
    lost = high.failure or low.failure
    found["level.blank"] = high if sign > 0 else low
    swing = Raw(None, failure=lost) if high.value is None or low.value is None else Raw(high.value - low.value)
    found["level.sync"] = swing
    return found, noise
