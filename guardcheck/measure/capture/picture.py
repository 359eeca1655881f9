"""What the average scan line shows: back porch, plateaus of the picture, white, black, tilt and overshoot."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.slicer import box

Floats = NDArray[np.float64]

EDGE_SHARE = 0.035
"""A change of this share of the picture's height within 0.6 us is an edge; the smallest luma step of bars is 0.114."""

PORCH_LIMIT = 14e-6
"""Where the picture has begun at the latest; this and the times below are those of 15 kHz [s]."""
_TRIM = 0.5e-6
_SHORTEST = 1.0e-6
PLAIN = 0.2e-6
"""What a line without chroma is smoothed over [s]."""


@dataclass(frozen=True)
class Plateau:
    """A flat part of the picture: its window [s] and level [V] on the average line."""

    window: tuple[float, float]
    level: float

    @property
    def width(self) -> float:
        """Length of the window [s]."""
        return self.window[1] - self.window[0]


@dataclass(frozen=True)
class Folded:
    """The average line: times `x` [s], bins `y` [V] without gaps, samples per bin, `smooth` without chroma.

    `scale` is how long its times are against those of 15 kHz.
    """

    x: Floats
    y: Floats
    count: NDArray[np.int64]
    smooth: Floats
    scale: float = 1.0

    @property
    def bin(self) -> float:
        """Width of a bin [s]."""
        return float((self.x[-1] - self.x[0]) / (len(self.x) - 1))

    def mean(self, window: tuple[float, float]) -> float:
        """Return the mean over a window [V]."""
        inside = (self.x >= window[0]) & (self.x <= window[1])
        return float(self.y[inside].mean()) if inside.any() else float(np.interp(sum(window) / 2, self.x, self.y))


def folded(lines: Lines, period: float, subcarrier: float | None) -> Folded:
    """Average lines into one; `subcarrier` [Hz] sets the smoothing (two cycles) that takes chroma out, if there is any.

    Parameters
    ----------
    lines : the scan lines
    period : of a line [s]
    subcarrier : [Hz]

    """
    x, y, count = lines.fold(period)
    full = np.isfinite(y)
    y = np.interp(x, x[full], y[full])
    width = max(1, round(smoothing(subcarrier) / (x[-1] - x[0]) * (len(x) - 1)))
    return Folded(x, y, count, box(y, width), lines.scale)


def smoothing(subcarrier: float | None) -> float:
    """Return how long the average line is smoothed over [s]: two cycles of a subcarrier [Hz], little without one."""
    return 2.0 / subcarrier if subcarrier else PLAIN


def bright(
    lines: Lines, region: tuple[float, float], blank: Floats, noise: float, shown: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], float]:
    """Return which lines reach the picture's greatest brightness, shape ``(n_lines,)``, and a floor to it [V].

    Only lines that are `shown`, shape ``(n_lines,)``, can be of the picture. Brightness is the highest 2.3 us
    (at 15 kHz) average in `region` [s], which leaves no chroma even when it is undersampled. The floor leaves out what
    noise adds to the highest of many averages.

    Parameters
    ----------
    lines : the scan lines, ``n_lines`` of them
    region : start and end of the active picture [s]
    blank : blanking level of each line, shape ``(n_lines,)`` [V]
    noise : rms noise of a sample [V]
    shown : which lines can be of the picture, shape ``(n_lines,)``

    """
    part = lines.columns(region)
    width = max(1, min(round(2.3e-6 * lines.scale / lines.step), part.stop - part.start))
    sums = np.cumsum(np.pad(lines.rows[:, part], ((0, 0), (1, 0))), axis=1)
    average = (sums[:, width:] - sums[:, :-width]) / width
    highest = average.max(axis=1) - box(blank, min(15, len(blank) | 1))  # a line's own noise must not choose it
    few = max(1, int(np.count_nonzero(shown)) // 100)
    top = float(np.sort(highest[shown])[-few:].mean())
    scatter = float(noise / np.sqrt(width))
    result: NDArray[np.bool_] = shown & (highest >= top - max(0.06 * abs(top), 8 * scatter))
    return result, top - 4 * scatter


def plateaus(fold: Folded, region: tuple[float, float], height: float, noise: float) -> tuple[Plateau, ...]:
    """Return the flat parts of the average line within `region` [s], in order.

    Parameters
    ----------
    fold
        the average line
    region
        where to look [s]
    height
        height of the picture above blanking [V], for what counts as an edge
    noise
        standard error of a bin of `fold.smooth` [V]

    """
    reach = max(1, round(0.3e-6 * fold.scale / fold.bin))
    change = np.abs(fold.smooth[2 * reach :] - fold.smooth[: -2 * reach])
    change = np.pad(change, reach, mode="edge")
    edge = change > max(EDGE_SHARE * abs(height), 6 * noise)
    inside = (fold.x >= region[0]) & (fold.x <= region[1])
    flat = inside & ~edge
    border = np.flatnonzero(np.diff(np.concatenate(([0], flat.astype(np.int8), [0]))))
    found = []
    for first, last in border.reshape(-1, 2):
        window = (float(fold.x[first]), float(fold.x[last - 1]))
        if window[1] - window[0] >= _SHORTEST * fold.scale:
            found.append(Plateau(window, fold.mean(trimmed(window, _TRIM * fold.scale))))
    return tuple(found)


def trimmed(window: tuple[float, float], by: float) -> tuple[float, float]:
    """Return a window with `by` [s] taken off each end, but never less than its middle third."""
    by = min(by, (window[1] - window[0]) / 3)
    return window[0] + by, window[1] - by


def leaves(
    fold: Folded, start: float, level: float, height: float, noise: float, *, back: bool = False
) -> float | None:
    """Return where the line leaves `level` [V] for good after `start` [s] (before it, with `back`), at half amplitude.

    None when it stays within reach, as a black picture edge does.

    Parameters
    ----------
    fold : the averaged line
    start : where to begin [s]
    level : what it leaves [V]
    height : of the step that is looked for [V]
    noise : rms noise of the average [V]
    back : look before `start` instead

    """
    stop = start - 8e-6 * fold.scale if back else PORCH_LIMIT * fold.scale
    inside = np.flatnonzero((fold.x >= min(start, stop)) & (fold.x <= max(start, stop)))
    order = inside[::-1] if back else inside
    off = np.abs(fold.smooth[order] - level) > max(0.03 * abs(height), 6 * noise)
    if not off.any() or off[0]:
        return None
    first = int(np.argmax(off))
    beyond = order[min(first + round(1.0e-6 * fold.scale / fold.bin), len(order) - 1)]
    half = 0.5 * (level + fold.smooth[beyond])
    passed = (fold.smooth[order] - half) * np.sign(fold.smooth[beyond] - level) >= 0
    at = int(np.argmax(passed))
    if at == 0:  # it came back, so that there is no half to pass
        return None
    i, j = order[at - 1], order[at]
    share = (half - fold.smooth[i]) / (fold.smooth[j] - fold.smooth[i])
    return float(fold.x[i] + share * (fold.x[j] - fold.x[i]))


def tilt(fold: Folded, plateau: Plateau, blank: float) -> tuple[float, float]:
    """Return (start - end) of a plateau over its height above blanking, and the standard error of that.

    A straight line is fitted with the first and last microsecond left out (as bar tilt is read: ITU-R BT.1439 on
    CCIR 567 practice), and drawn out to the whole plateau.

    Parameters
    ----------
    fold : the averaged line
    plateau : the bar
    blank : blanking level [V]

    """
    window = trimmed(plateau.window, 1e-6 * fold.scale)
    inside = (fold.x >= window[0]) & (fold.x <= window[1])
    x, y = fold.x[inside], fold.y[inside]
    slope, start = np.polyfit(x, y, 1)
    rest = y - (start + slope * x)
    error = float(np.sqrt(np.sum(rest**2) / max(1, len(x) - 2) / np.sum((x - x.mean()) ** 2)))
    height = plateau.level - blank
    value = float(-slope * plateau.width / height)
    return value, float(np.hypot(error * plateau.width / height, 0.015 * value))  # where a bar ends is a convention


def overshoot(fold: Folded, plateau: Plateau, before: float, noise: float) -> tuple[float, float] | None:
    """Return the overshoot after the plateau's leading edge over the height of that edge, and its standard error.

    None when the average line is too coarse: bins above 60 ns (at 15 kHz), or empty ones, beside the edge.

    Parameters
    ----------
    fold : the averaged line
    plateau : the bar behind the edge
    before : level in front of the edge [V]
    noise : rms noise of the average [V]

    """
    unit = 1.0e-6 * fold.scale
    start = plateau.window[0] - unit  # the plateau begins where the overshoot has settled
    near = (fold.x >= start) & (fold.x <= start + 2.0 * unit)
    if fold.bin > 0.06 * unit or not near.any() or fold.count[near].min() == 0:
        return None
    step = plateau.level - before
    settled = trimmed(plateau.window, 0.3 * unit)
    wide = plateau.width > 2.5 * unit
    level = fold.mean((start + 2.0 * unit, min(settled[1], start + 5.5 * unit))) if wide else plateau.level
    error = noise / float(np.sqrt(np.median(fold.count[near])))
    smooth = 1 if error < 0.004 * abs(step) else max(1, round(0.05 * unit / fold.bin))
    y = box(fold.y, smooth)[near]
    return max(0.0, float((y.max() - level) / step)), abs(error / step)
