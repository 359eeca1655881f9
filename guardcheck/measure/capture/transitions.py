"""How long an edge takes, from the average scan line."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.picture import Folded

Floats = NDArray[np.float64]

SCOPE_RISE = 17.5e-9
"""Rise time [s] of an oscilloscope of 20 MHz, 0.35 / 20 MHz: the slowest sold (common practice, no published source).

It is not known of the one that was used, so every edge may have been faster by that.
"""
COARSE = "the edge is faster than this capture can show: take it with more samples, or over more lines"
NOISY = "the trace is too noisy to tell where the edge begins and ends"
_UNSEEN = "the edge is not whole"
_MOST_NOISE = 0.05
_POINTS = 4
"""Least bins an edge must be long: straight lines between fewer make it look slower."""
_JITTER = 2.563
"""10 to 90 % of a normal distribution, in standard deviations."""
_BOX = 0.8
"""10 to 90 % of a box, as a share of its width."""


def edge_time(
    fold: Folded, near: float, reach: float, levels: tuple[float, float], noise: float, jitter: float
) -> tuple[float, float] | str:
    """Return the 10 to 90 % time of an edge and its standard error [s], or why it cannot be told.

    What blurs an edge (bins of the average, lines that do not lie on each other, the scope's own rise time) adds to it
    as squares do, so the true edge is faster than the one seen: the whole difference is taken as its uncertainty.

    Parameters
    ----------
    fold : the averaged line
    near : where its half amplitude is [s]
    reach : how far to either side the edge is looked for [s]
    levels : before and after it [V]
    noise : rms noise of a sample [V]
    jitter : rms of the places the lines were laid at [s]

    """
    before, after = levels
    height = after - before
    inside = np.flatnonzero((fold.x >= near - reach) & (fold.x <= near + reach))
    count = max(1.0, float(np.median(fold.count[inside])))
    scatter = noise / math.sqrt(count) / abs(height) if height else math.inf
    if scatter > _MOST_NOISE:
        return NOISY
    share = (fold.y[inside] - before) / height
    ends = _crossings(fold.x[inside], share)
    if ends is None:
        return _UNSEEN
    seen = ends[1] - ends[0]
    blur = math.sqrt((_BOX * fold.bin) ** 2 + (_JITTER * jitter) ** 2 + SCOPE_RISE**2)
    if seen < max(2.0 * blur, _POINTS * fold.bin):
        return COARSE
    faster = (seen - math.sqrt(seen**2 - blur**2)) / math.sqrt(3.0)
    between = math.sqrt(2.0) * math.hypot(scatter * seen / 0.8, fold.bin / 12.0)
    return seen, math.hypot(faster, between)


def _crossings(x: Floats, share: Floats) -> tuple[float, float] | None:
    """Return where an edge from 0 to 1 passes 10 % last before its middle and 90 % first after it; None unless both."""
    high = np.flatnonzero(share >= 0.5)
    if not len(high) or high[0] == 0:
        return None
    middle = int(high[0])
    low, top = np.flatnonzero(share[:middle] < 0.1), np.flatnonzero(share[middle:] >= 0.9)
    if not len(low) or not len(top):
        return None
    return _at(x, share, int(low[-1]), 0.1), _at(x, share, middle + int(top[0]) - 1, 0.9)


def _at(x: Floats, share: Floats, index: int, level: float) -> float:
    """Return where the line between a point and the next passes a level [s]."""
    part = (level - share[index]) / (share[index + 1] - share[index])
    return float(x[index] + part * (x[index + 1] - x[index]))
