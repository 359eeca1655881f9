"""Scan lines cut out of a capture at their sync edges, and the averages taken over them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.slicer import MIN_LINES, Pulses
from guardcheck.measure.capture.systems import Rate

Floats = NDArray[np.float64]

BEFORE = 3e-6
"""How much of the time before its sync edge a line keeps [s]: the front porch."""
_SMOOTH = 0.15e-6
_REACH = 1.4e-6
_FINE_BIN = 25e-9
_EVEN = 60e-9
"""Jitter [s] up to which lines come evenly, so that a straight line tells better where one begins than its own edge."""
_LOCKED = 0.5
"""Mean of the sampling phases of the lines, as vectors, above which lines are locked to the samples."""


@dataclass(frozen=True)
class Edges:
    """Sync edges of the whole lines of a capture.

    `lead` and `trail` [s] are the half-amplitude crossings, shape ``(n_lines,)``; `number` counts lines from the
    first; `period` [s] is fitted, `period_error` its standard error, `jitter` the rms of the fit [s]; `rate` is the
    line rate they come at. `together` is how far all widths may be off in the same way [s].
    """

    lead: Floats
    trail: Floats
    number: NDArray[np.int64]
    period: float
    period_error: float
    jitter: float
    fitted: Floats
    rate: Rate
    together: float = 0.0

    @property
    def width(self) -> float:
        """Mean sync width [s]."""
        return float(np.mean(self.trail - self.lead))

    def epochs(self) -> Floats:
        """Return where the lines are cut: at the fit where lines come evenly, else at each line's own edge."""
        return self.fitted if self.jitter <= _EVEN else self.lead


@dataclass(frozen=True)
class Lines:
    """Samples of whole lines, one row each.

    `rows` [V] has shape ``(n_lines, n_columns)``; column j of row k lies at ``offsets[k] + j * step`` [s] from that
    line's leading sync edge. `starts` are the edges themselves [s], `number` counts lines; `scale` is how long its
    times are against those of 15 kHz.
    """

    rows: Floats
    offsets: Floats
    step: float
    starts: Floats
    number: NDArray[np.int64]
    scale: float = 1.0

    def pick(self, keep: NDArray[np.bool_]) -> Lines:
        """Return only the lines where `keep`, shape ``(n_lines,)``, is true."""
        return Lines(self.rows[keep], self.offsets[keep], self.step, self.starts[keep], self.number[keep], self.scale)

    def columns(self, window: tuple[float, float]) -> slice:
        """Return the columns that lie inside a window [s] in every row; at least one."""
        first = int(np.ceil((window[0] - self.offsets.min()) / self.step - 1e-9))
        last = int(np.floor((window[1] - self.offsets.max()) / self.step + 1e-9))
        first = min(max(first, 0), self.rows.shape[1] - 1)
        return slice(first, max(min(last + 1, self.rows.shape[1]), first + 1))

    def means(self, window: tuple[float, float]) -> Floats:
        """Return each line's mean in a window [V], shape ``(n_lines,)``."""
        result: Floats = self.rows[:, self.columns(window)].mean(axis=1)
        return result

    def fold(self, period: float) -> tuple[Floats, Floats, NDArray[np.int64]]:
        """Average all lines into one.

        Lines are not locked to the samples, so their average is finer than the sampling when there are enough. Where
        they are, the sampling it stays.

        Returns
        -------
        mean time [s] and mean voltage [V] of each bin (its centre and NaN where no sample fell) and its number of
        samples, all of shape ``(n_bins,)``

        """
        width = min(self.step, max(_FINE_BIN, 4 * self.step / len(self.rows)))
        x, mean, count = self._binned(period, width)
        return (x, mean, count) if width == self.step or count[1:-1].all() else self._binned(period, self.step)

    def _binned(self, period: float, width: float) -> tuple[Floats, Floats, NDArray[np.int64]]:
        n = int(np.ceil((BEFORE + period) / width))
        column = np.arange(self.rows.shape[1]) * self.step
        index = ((self.offsets[:, None] + column[None, :] + BEFORE) / width).astype(np.int64).ravel()
        inside = (index >= 0) & (index < n)
        count = np.bincount(index[inside], minlength=n)
        total = np.bincount(index[inside], weights=self.rows.ravel()[inside], minlength=n)
        times = np.bincount(
            index[inside], weights=(self.offsets[:, None] + column[None, :]).ravel()[inside], minlength=n
        )
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.where(count > 0, total / count, np.nan)
            x = np.where(count > 0, times / count, (np.arange(n) + 0.5) * width - BEFORE)
        return x.astype(np.float64), mean.astype(np.float64), count.astype(np.int64)


def find_edges(volts: NDArray[np.floating], step: float, pulses: Pulses) -> Edges | None:
    """Return the edges of line sync, interpolated between samples; None when fewer than three lines are whole.

    `volts` is the channel that carries sync, already turned so that sync is negative-going.

    Parameters
    ----------
    volts : the channel with sync, sync downwards, shape ``(n_samples,)`` [V]
    step : time between samples [s]
    pulses : the sync pulses found in it

    """
    rate = pulses.rate
    scale = rate.scale
    wide = (pulses.widths >= rate.widths[0]) & (pulses.widths <= rate.widths[1])
    starts, ends = pulses.starts[wide], pulses.ends[wide]
    last = (len(volts) - 1) * step
    whole = (starts > 2 * _REACH * scale) & (ends + 5e-6 * scale < last)
    starts, ends = starts[whole], ends[whole]
    if len(starts) < MIN_LINES:
        return None
    tip = _means(volts, step, starts + 1.2e-6 * scale, 2.2e-6 * scale)
    porch = _means(volts, step, ends + rate.porch[0], rate.porch[1] - rate.porch[0])
    half = tip + 0.5 * float(np.median(porch - tip))
    lead = _crossings(volts, step, starts, half, scale, falling=True)
    trail = _crossings(volts, step, ends, half, scale, falling=False)
    good = np.isfinite(lead) & np.isfinite(trail)
    good &= np.abs(trail - lead - np.nanmedian(trail - lead)) < 0.6e-6 * scale
    if np.count_nonzero(good) < MIN_LINES:
        return None
    found = _fit(lead[good], trail[good], rate)
    if found is None:
        return None
    level, height = float(np.median(half)), float(np.median(porch - tip))
    return replace(found, together=_together(volts, step, found, (level - 0.4 * height, level + 0.4 * height)))


def _together(volts: NDArray[np.floating], step: float, edges: Edges, band: tuple[float, float]) -> float:
    """Return how far all widths may be off in the same way [s]: a whole sample where no sample ever meets an edge.

    Lines that are not locked to the samples meet every part of an edge, so that the mean is right. Where they are, and
    no sample stands on the edges (in `band` [V]), each edge may lie anywhere between two samples, always the same.
    """
    turns = np.exp(2j * np.pi * edges.fitted / step)
    if abs(turns.mean()) < _LOCKED:
        return 0.0
    index = np.floor(np.concatenate((edges.lead, edges.trail)) / step).astype(np.int64)
    beside = volts[index[:, None] + np.arange(2)]
    met = ((beside > band[0]) & (beside < band[1])).any(axis=1)
    return 0.0 if met.mean() >= 0.5 else step


def _means(volts: NDArray[np.floating], step: float, starts: Floats, length: float) -> Floats:
    n = max(1, int(length / step))
    index = np.minimum((starts / step).astype(np.int64)[:, None] + np.arange(n), len(volts) - 1)
    result: Floats = volts[index].mean(axis=1, dtype=np.float64)
    return result


def _crossings(
    volts: NDArray[np.floating], step: float, near: Floats, level: Floats, scale: float, *, falling: bool
) -> Floats:
    """Return where the trace crosses `level` nearest to `near` [s], NaN where it does not."""
    reach = max(2, int(_REACH * scale / step))
    smooth = max(1, int(_SMOOTH * scale / step)) | 1
    centre = np.round(near / step).astype(np.int64)
    index = centre[:, None] + np.arange(-reach - smooth // 2, reach + smooth // 2 + 1)
    index = np.clip(index, 0, len(volts) - 1)
    y = volts[index].astype(np.float64)
    sums = np.cumsum(np.pad(y, ((0, 0), (1, 0))), axis=1)
    y = (sums[:, smooth:] - sums[:, :-smooth]) / smooth - level[:, None]
    if not falling:
        y = -y
    crossing = (y[:, :-1] >= 0) & (y[:, 1:] < 0)
    column = np.arange(y.shape[1] - 1)
    away = np.where(crossing, np.abs(column - reach), np.inf)
    best = away.argmin(axis=1)
    rows = np.arange(len(y))
    before, after = y[rows, best], y[rows, best + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        exact = best + before / (before - after)
    return np.where(np.isfinite(away[rows, best]), (centre - reach + exact) * step, np.nan)


def _fit(lead: Floats, trail: Floats, rate: Rate) -> Edges | None:
    """Fit the line period to the edges that follow each other at the line rate."""
    gaps = np.diff(lead)
    neighbours = (gaps > rate.periods[0]) & (gaps < rate.periods[1])
    if np.count_nonzero(neighbours) < MIN_LINES - 1:
        return None
    period = float(np.median(gaps[neighbours]))
    steps = np.maximum(1, np.round(gaps / period).astype(np.int64))
    number = np.concatenate(([0], np.cumsum(steps)))
    keep = np.ones(len(lead), dtype=bool)
    for _ in range(4):
        slope, start = np.polyfit(number[keep], lead[keep], 1)
        off = lead - (start + slope * number)
        spread = 1.4826 * float(np.median(np.abs(off[keep] - np.median(off[keep]))))
        near = np.abs(off) <= max(6 * spread, 1e-9)
        if np.count_nonzero(near) < 0.6 * len(lead):
            break  # they are no strays, but a second place where lines begin
        keep = near
    jitter = float(np.sqrt(np.mean(off[keep] ** 2)))
    away = number[keep] - number[keep].mean()
    error = jitter / float(np.sqrt(np.sum(away**2))) if np.any(away) else jitter
    if jitter > _EVEN:
        runs = gaps[neighbours]
        slope, error = float(runs.mean()), float(runs.std() / np.sqrt(len(runs)))
        keep = np.ones(len(lead), dtype=bool)
    fitted = start + slope * number
    return Edges(lead[keep], trail[keep], number[keep], float(slope), error, jitter, fitted[keep], rate)


def cut(volts: NDArray[np.floating], step: float, edges: Edges, sign: int = 1) -> Lines | None:
    """Cut a channel into the whole lines between `edges`; None when fewer than three are left.

    A line is taken when the next sync edge comes one period later, so that field sync and gaps are left out.

    Parameters
    ----------
    volts : the channel, shape ``(n_samples,)`` [V]
    step : time between samples [s]
    edges : leading edges of line sync [s]
    sign : -1 turns the channel upside down

    """
    epochs, number = edges.epochs(), edges.number
    columns = int((BEFORE + edges.period) / step) + 1
    first = np.floor((epochs - BEFORE) / step).astype(np.int64) + 1
    follows = np.concatenate((np.diff(number) == 1, [False]))
    keep = follows & (first >= 0) & (first + columns <= len(volts))
    if np.count_nonzero(keep) < MIN_LINES - 1:
        return None
    first, epochs, number = first[keep], epochs[keep], number[keep]
    rows = sign * volts[first[:, None] + np.arange(columns)].astype(np.float64)
    return Lines(rows, first * step - epochs, step, epochs, number, edges.rate.scale)
