"""Where the line sync pulses are, whatever else is on the line: noise, hum, offset, chroma, either polarity.

The trace is averaged down to about four samples a microsecond, smoothed over half a sync pulse (which removes chroma,
even when it is undersampled), and sliced above a floor that follows hum. Several slicing levels are tried; the right
one is where pulses of the width of line sync come at the line rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

COARSE_STEP = 0.25e-6
SMOOTH = 2.2e-6
FLOOR_BLOCK = 75e-6
LINE_PERIODS = (62.5e-6, 65.0e-6)
LINE_WIDTHS = (3.6e-6, 5.8e-6)
MIN_LINES = 3
_LEVELS = np.geomspace(0.05, 0.75, 10)


@dataclass(frozen=True)
class Pulses:
    """Sync pulses found: leading and trailing crossings [s] of the level half-way, shape ``(n_pulses,)``.

    `sign` is +1 for negative-going sync (as video has it), -1 for an inverted line; `amplitude` [V] is a first guess.
    """

    starts: Floats
    ends: Floats
    sign: int
    amplitude: float

    @property
    def widths(self) -> Floats:
        """Pulse widths [s]."""
        return self.ends - self.starts

    def line_starts(self) -> Floats:
        """Leading edges of the pulses as wide as line sync."""
        return self.starts[_between(self.widths, LINE_WIDTHS)]


def coarse(volts: NDArray[np.floating], step: float) -> tuple[Floats, float]:
    """Average neighbouring samples to about `COARSE_STEP`; returns the samples [V] and their step [s]."""
    group = max(1, int(COARSE_STEP / step + 1e-6))
    n = len(volts) // group
    return volts[: n * group].reshape(n, group).mean(axis=1, dtype=np.float64), group * step


def find_pulses(volts: NDArray[np.floating], step: float) -> Pulses | None:
    """Return the sync pulses of a channel, or None when nothing on it looks like line sync.

    Parameters
    ----------
    volts
        samples [V], shape ``(n_points,)``
    step
        sample interval [s]

    """
    data, dt = coarse(volts, step)
    if len(data) * dt < MIN_LINES * LINE_PERIODS[0]:
        return None
    smooth = box(data, max(1, round(SMOOTH / dt)))
    found = [(_best(sign * smooth, dt), sign) for sign in (1, -1)]
    (score, level, above), sign = max(found, key=lambda item: item[0][0])
    if score < MIN_LINES - 1:
        return None
    starts, ends = runs_below(above, level, dt)
    amplitude = _amplitude(above, starts, ends, dt)
    if amplitude <= 0:
        return None
    starts, ends = runs_below(above, 0.5 * amplitude, dt)
    offset = 0.5 * ((step * max(1, round(dt / step))) - step)  # the middle of a coarse sample lies after its start
    pulses = Pulses(starts + offset, ends + offset, sign, amplitude)
    return pulses if _line_pairs(pulses.line_starts()) >= MIN_LINES - 1 else None


def box(data: Floats, width: int) -> Floats:
    """Return the centred moving average over `width` samples, same length; ends are averaged over what is there.

    An even width takes half of the sample at either end, so that nothing is shifted.
    """
    if width <= 1:
        return data
    sums = np.concatenate(([0.0], np.cumsum(data)))
    index = np.arange(len(data))

    def average(before: int, after: int) -> Floats:
        low, high = np.maximum(index - before, 0), np.minimum(index + after + 1, len(data))
        result: Floats = (sums[high] - sums[low]) / (high - low)
        return result

    half = width // 2
    if width % 2:
        return average(half, half)
    return 0.5 * (average(half, half - 1) + average(half - 1, half))


def _best(smooth: Floats, dt: float) -> tuple[float, float, Floats]:
    """Return the best score, its slicing level and the trace above its floor."""
    above = smooth - _floor(smooth, dt)
    top = float(np.quantile(above, 0.99))
    if top <= 0:
        return 0.0, 0.0, above
    scores = np.array([_score(*runs_below(above, level * top, dt)) for level in _LEVELS])
    good = np.flatnonzero(scores >= 0.9 * scores.max())
    level = float(_LEVELS[good[len(good) // 2]] * top)
    return float(scores.max()), level, above


def _floor(smooth: Floats, dt: float) -> Floats:
    """Return the lower envelope: the lowest value of each block a little longer than a line, median of five."""
    size = max(2, round(FLOOR_BLOCK / dt))
    n = max(1, len(smooth) // size)
    blocks = smooth[: n * size].reshape(n, size).min(axis=1) if len(smooth) >= size else np.array([smooth.min()])
    padded = np.pad(blocks, 2, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    centres = (np.arange(n) + 0.5) * size
    floor: Floats = np.interp(np.arange(len(smooth)), centres, middle)
    return floor


def runs_below(above: Floats, level: float, dt: float) -> tuple[Floats, Floats]:
    """Return start and end times [s] of the complete runs below `level`, by linear interpolation."""
    low = above < level
    change = np.flatnonzero(low[1:] != low[:-1])
    x = change + (level - above[change]) / (above[change + 1] - above[change])
    falling = low[change + 1]
    starts, ends = x[falling], x[~falling]
    if len(starts) and len(ends):
        ends = ends[ends > starts[0]]
        starts = starts[: len(ends)]
    n = min(len(starts), len(ends))
    return starts[:n] * dt, ends[:n] * dt


def _score(starts: Floats, ends: Floats) -> float:
    """Return how many neighbouring pulses are a line apart and as wide as each other."""
    if len(starts) < 2:
        return 0.0
    widths = ends - starts
    narrow = _between(widths, (1.5e-6, 8.0e-6))
    return float(_line_pairs(starts[narrow]))


def _line_pairs(starts: Floats) -> int:
    return int(np.count_nonzero(_between(np.diff(starts), LINE_PERIODS)))


def _between(values: Floats, ends: tuple[float, float]) -> NDArray[np.bool_]:
    result: NDArray[np.bool_] = (values >= ends[0]) & (values <= ends[1])
    return result


def _amplitude(above: Floats, starts: Floats, ends: Floats, dt: float) -> float:
    """Return the sync amplitude: the level just after the pulses, less that in them (their smoothed lowest)."""
    narrow = _between(ends - starts, (1.5e-6, 8.0e-6))
    starts, ends = starts[narrow], ends[narrow]
    porch = ((ends + 2.6e-6) / dt).astype(np.int64)
    tip = (0.5 * (starts + ends) / dt).round().astype(np.int64)
    keep = porch < len(above)
    if not keep.any():
        return 0.0
    return float(np.median(above[porch[keep]]) - np.median(above[tip[keep]]))
