"""Where the line sync pulses are, whatever else is on the line: noise, hum, offset, chroma, either polarity.

The trace is averaged down to about four samples a microsecond, smoothed over half a sync pulse (which removes chroma,
even when it is undersampled), and sliced above a floor that follows hum. Several slicing levels are tried; the right
one is where pulses of the width of line sync come at the line rate. Every line rate known is tried, and the one whose
lines fill most of the capture is taken. Times below are those of 15 kHz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.systems import Rate, Span, rates

Floats = NDArray[np.float64]

COARSE_STEP = 0.25e-6
SMOOTH = 2.2e-6
FLOOR_BLOCK = 75e-6
FIELD_PULSE = 20e-6
"""A pulse wider than this [s] belongs to field sync: line sync is below 6 us."""
MIN_LINES = 3
_LEVELS = np.geomspace(0.05, 0.75, 10)


@dataclass(frozen=True)
class Pulses:
    """Sync pulses found: leading and trailing crossings [s] of the level half-way, shape ``(n_pulses,)``.

    `sign` is +1 for negative-going sync (as video has it), -1 for an inverted line; `amplitude` [V] is a first guess;
    `rate` is the line rate they come at.
    """

    starts: Floats
    ends: Floats
    sign: int
    amplitude: float
    rate: Rate

    @property
    def widths(self) -> Floats:
        """Pulse widths [s]."""
        return self.ends - self.starts

    def field_starts(self) -> Floats:
        """Return where field syncs begin [s]: the first pulse far wider than line sync of each group."""
        broad = self.starts[self.widths > FIELD_PULSE * self.rate.scale]
        return broad[np.diff(broad, prepend=-np.inf) > 1e-3]

    def line_starts(self) -> Floats:
        """Leading edges of the pulses as wide as line sync."""
        return self.starts[_between(self.widths, self.rate.widths)]

    def pairs(self) -> int:
        """Return how many of those come one line after another."""
        return _line_pairs(self.line_starts(), self.rate)


def coarse(volts: NDArray[np.floating], step: float, to: float = COARSE_STEP) -> tuple[Floats, float]:
    """Return samples averaged in groups so that they stand about `to` apart, and the time between them [s].

    Parameters
    ----------
    volts : the channel's samples, shape ``(n_samples,)`` [V]; a last group that is not full is left out
    step : time between them [s]
    to : time wanted between the averages [s]; below `step` nothing is averaged

    """
    group = max(1, int(to / step + 1e-6))
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
    found = [one for one in (_at_rate(volts, step, rate) for rate in rates()) if one is not None]
    return max(found, key=lambda one: one.pairs() * one.rate.scale, default=None)


def _at_rate(volts: NDArray[np.floating], step: float, rate: Rate) -> Pulses | None:
    """Return the sync pulses of one line rate, None when there are too few for it."""
    data, dt = coarse(volts, step, COARSE_STEP * rate.scale)
    if len(data) * dt < MIN_LINES * rate.periods[0]:
        return None
    offset = 0.5 * (dt - step)  # the middle of a coarse sample lies after its start
    found = [_candidate(sign * data, dt, offset, sign, rate) for sign in (1, -1)]
    upright, inverted = ((0, None) if one is None else (one.pairs(), one) for one in found)
    score, pulses = inverted if inverted[0] > 1.03 * upright[0] else upright
    whole = len(data) * dt / rate.periods[1] - 2.0
    return pulses if score >= max(rate.pairs, rate.share * whole) else None


def _candidate(data: Floats, dt: float, offset: float, sign: int, rate: Rate) -> Pulses | None:
    """Return the pulses that go down from `data`, if they look like line sync, else None."""
    scale = rate.scale
    above, level = _sliced(box(data, round(SMOOTH * scale / dt)), dt, rate)
    starts, ends = runs_below(above, level, dt)
    inside = (starts > 2e-6 * scale) & (ends + 5e-6 * scale < len(data) * dt)
    narrow = _between(ends - starts, rate.rough) & inside
    if np.count_nonzero(narrow) < MIN_LINES:
        return None
    starts, ends = starts[narrow], ends[narrow]
    tip = _level(data, dt, 0.5 * (starts + ends), 1.2e-6 * scale)
    porch, length = 0.5 * sum(rate.porch), rate.porch[1] - rate.porch[0]
    after = _level(data, dt, ends + porch, length)
    amplitude = float(np.median(after - tip))
    if amplitude <= 0:
        return None
    late = max(0.0, 0.5 - level / amplitude) * SMOOTH * scale  # sliced low, a smoothed pulse looks narrower
    after = _level(data, dt, ends + late + porch, length)
    before = _level(data, dt, starts - late - 0.7e-6 * scale, 0.5e-6 * scale)
    amplitude = float(np.median(after - tip))
    if float(np.median(np.abs(before - after))) >= 0.5 * amplitude:
        return None  # blanking stands on both sides of sync; beside a bar of the picture it does not
    starts, ends = runs_below(above, 0.5 * amplitude, dt)
    return Pulses(starts + offset, ends + offset, sign, amplitude, rate)


def _level(data: Floats, dt: float, centres: Floats, length: float) -> Floats:
    """Return the mean of `length` [s] of the trace about each centre [V]."""
    reach = int(0.5 * length / dt)
    index = np.clip(np.round(centres / dt).astype(np.int64)[:, None] + np.arange(-reach, reach + 1), 0, len(data) - 1)
    result: Floats = data[index].mean(axis=1)
    return result


def box(data: Floats, width: int) -> Floats:
    """Return the centred moving average over `width` samples, same length; ends are averaged over what is there.

    An even width takes half of the sample at either end, so that nothing is shifted.
    """
    if width < 2:
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


def _sliced(smooth: Floats, dt: float, rate: Rate) -> tuple[Floats, float]:
    """Return the trace above its floor, and the level at which most pulses come at the line rate."""
    above = smooth - _floor(smooth, dt, FLOOR_BLOCK * rate.scale)
    top = float(np.quantile(above, 0.99))
    scores = np.array([_score(*runs_below(above, level * top, dt), rate) for level in _LEVELS])
    good = np.flatnonzero(scores >= 0.9 * scores.max())
    return above, float(_LEVELS[good[len(good) // 2]] * top)


def _floor(smooth: Floats, dt: float, block: float) -> Floats:
    """Return the lower envelope: the lowest value of each block a little longer than a line, median of five."""
    size = max(2, round(block / dt))
    n = max(1, len(smooth) // size)
    blocks = np.minimum.reduceat(smooth[: n * size], np.arange(n) * size)
    padded = np.pad(blocks, 2, mode="edge")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    centres = (np.arange(n) + 0.5) * size
    floor: Floats = np.interp(np.arange(len(smooth)), centres, middle)
    return floor


def runs_below(above: Floats, level: float, dt: float) -> tuple[Floats, Floats]:
    """Return start and end times [s] of the complete runs below `level`, by linear interpolation.

    Parameters
    ----------
    above : samples of the signal, shape ``(n_samples,)`` [V]
    level : [V]
    dt : time between samples [s]

    """
    low = above < level
    change = np.flatnonzero(low[1:] != low[:-1])
    x = change + (level - above[change]) / (above[change + 1] - above[change])
    falling = low[change + 1]
    starts, ends = x[falling], x[~falling]
    ends = ends[ends > starts[0]] if len(starts) else starts
    return starts[: len(ends)] * dt, ends * dt


def _score(starts: Floats, ends: Floats, rate: Rate) -> float:
    """Return how many neighbouring pulses are a line apart and as wide as each other."""
    narrow = _between(ends - starts, rate.rough)
    return float(_line_pairs(starts[narrow], rate))


def _line_pairs(starts: Floats, rate: Rate) -> int:
    return int(np.count_nonzero(_between(np.diff(starts), rate.periods)))


def _between(values: Floats, ends: Span) -> NDArray[np.bool_]:
    result: NDArray[np.bool_] = (values >= ends[0]) & (values <= ends[1])
    return result
