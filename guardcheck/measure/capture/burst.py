"""The colour burst: found by its power, measured by least squares on every line."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.slicer import box

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

SEARCH = (3.2e6, 4.9e6)
WINDOW = (4.95e-6, 8.9e-6)
FEWEST_BINS = 4
"""Least points in a cycle of the burst that show where it begins."""
EARLIEST = 4.8e-6
"""Before this [s] the trailing edge of sync looks like a burst."""
MOST_LINES = 400
SAMPLES_PER_CYCLE = 2.2
_ENVELOPE_LINES = 40
_SPAN = 1.2e-6
_LEAST = 1e-3


@dataclass(frozen=True)
class Burst:
    """A colour burst: peak-to-peak amplitude [V], frequency [Hz], their standard errors, and its window [s].

    `start` is where its envelope passes half amplitude, with its standard error [s]; None where that cannot be seen.
    """

    amplitude: float
    amplitude_error: float
    frequency: float
    frequency_error: float
    window: tuple[float, float]
    coherent: bool
    start: tuple[float, float] | None = None


def can_see(step: float, subcarrier: float | None) -> bool:
    """Tell whether the sampling can show a subcarrier [Hz] at all; where there is none, nothing is missed."""
    return subcarrier is None or step * subcarrier * SAMPLES_PER_CYCLE <= 1.0


def find_burst(lines: Lines, noise: float, period: float) -> Burst | None:
    """Return the burst of a set of lines, or None when the back porch holds none.

    Parameters
    ----------
    lines
        whole lines, sampled finely enough to show a subcarrier (`can_see`)
    noise
        rms of the noise [V]
    period
        line period [s]

    """
    lines = lines.pick(np.arange(len(lines.rows)) < MOST_LINES)
    few = lines.pick(np.arange(len(lines.rows)) < _ENVELOPE_LINES)
    window = _full_height(few, _rough(few, WINDOW), noise)
    return None if window is None else _measure(lines, window, _rough(few, window), noise, period)


def _rough(lines: Lines, window: tuple[float, float]) -> float:
    """Return the frequency of a window to a few kilohertz, if the burst fills it, and to tens if it does not."""
    part = lines.columns(window)
    grid = np.arange(SEARCH[0], min(SEARCH[1], 0.49 / lines.step), 40e3)
    return _best_frequency(_times(lines, part), lines.rows[:, part], grid)


def _times(lines: Lines, part: slice) -> Floats:
    """Return when the samples of some columns were taken, from each line's own sync edge [s]."""
    return lines.offsets[:, None] + np.arange(part.start, part.stop) * lines.step


def _best_frequency(x: Floats, y: Floats, grid: Floats) -> float:
    """Return the frequency that explains most of the lines' power, by a parabola through the best of the grid."""
    power = np.array([_fit(x, y, f)[1] for f in grid])
    best = int(power.argmax())
    if not 0 < best < len(grid) - 1:
        return float(grid[best])
    left, right = power[[best - 1, best + 1]] - power[best]
    return float(grid[best] + 0.5 * (left - right) / (left + right) * (grid[1] - grid[0]))


def _full_height(lines: Lines, f: float, noise: float) -> tuple[float, float] | None:
    """Return the window [s] in which the burst stands at full height, None when nothing stands out of the noise."""
    centres = np.arange(WINDOW[0] + 0.5 * _SPAN, WINDOW[1] - 0.5 * _SPAN, 0.1e-6)
    heights = np.empty(len(centres))
    for i, centre in enumerate(centres):
        part = lines.columns((centre - 0.5 * _SPAN, centre + 0.5 * _SPAN))
        x = _times(lines, part)
        heights[i] = np.sqrt(np.mean(np.abs(_fit(x, lines.rows[:, part], f)[0]) ** 2))
    return _standing(centres, heights, max(_LEAST, 4 * noise / float(np.sqrt(_SPAN / lines.step))))


def _standing(centres: Floats, heights: Floats, least: float) -> tuple[float, float] | None:
    """Return the window [s] between the outermost full spans; None where all are alike, or none reaches `least` [V]."""
    peak = float(heights.max())
    if peak < least or heights.min() > 0.6 * peak:
        return None
    high = centres[heights > 0.93 * peak]
    return float(high[0]) - 0.3 * _SPAN, float(high[-1]) + 0.3 * _SPAN


def _measure(lines: Lines, window: tuple[float, float], rough: float, noise: float, period: float) -> Burst | None:
    part = lines.columns(window)
    x = _times(lines, part)
    y = lines.rows[:, part]
    n = y.shape[1]
    if n < 6:
        return None
    frequency = _best_frequency(x, y, np.arange(rough - 40e3, rough + 41e3, 4e3))
    phasors, power = _fit(x, y, frequency)
    present = np.abs(phasors) > 0.5 * np.median(np.abs(phasors))
    square = float(np.mean(np.abs(phasors[present]) ** 2)) - 4 * noise**2 / n
    if square <= 0:
        return None
    amplitude = float(np.sqrt(square))
    spread = float(np.std(np.abs(phasors[present])))
    count = np.count_nonzero(present)
    length = n * lines.step
    left = np.sqrt(max(0.0, n * y.var(axis=1).mean() - power) / (n - 3))  # a burst that does not fill it is unlike it
    slope_error = np.sqrt(6.0) * max(noise, left) / (np.pi * length * amplitude * np.sqrt(0.5 * n * count))
    error = float(max(slope_error, 30.0))  # what a parabola through steps of 4 kHz leaves
    refined = _from_phase(phasors, lines, frequency, period) if 3 * error < 0.25 / period else None
    coherent = refined is not None
    if refined is not None:
        frequency, error = refined
    mean_error = spread / np.sqrt(count)
    start = _start(lines.pick(present), phasors[present], frequency, window, y[present].mean(axis=1), noise)
    return Burst(2 * amplitude, 2 * float(mean_error), frequency, error, window, coherent, start)


def _start(
    lines: Lines, phasors: Complexes, f: float, window: tuple[float, float], level: Floats, noise: float
) -> tuple[float, float] | None:
    """Return where the envelope of the burst passes half amplitude on its way up, and the standard error of that [s].

    Each line is multiplied by the burst it was found to hold, and all are averaged: 1 where the burst stands, 0 where
    there is none. An average over one cycle takes out what is left at twice the frequency. Where a burst begins is a
    convention, told to a quarter of a cycle.
    """
    x = _times(lines, slice(0, lines.rows.shape[1]))
    turned = (lines.rows - level[:, None]) * np.exp(-2j * np.pi * f * x) * np.conj(phasors)[:, None]
    product = 2 * turned.real / np.abs(phasors[:, None]) ** 2
    times, height, count = replace(lines, rows=product).fold(WINDOW[1])
    seen = np.isfinite(height)
    fine = (times[-1] - times[0]) / (len(times) - 1)
    width = round(1 / f / fine)
    if width < FEWEST_BINS:
        return None
    envelope = box(np.interp(times, times[seen], height[seen]), width)
    first, middle = np.searchsorted(times, (EARLIEST, sum(window) / 2))
    below = np.flatnonzero(envelope[first:middle] < 0.5)
    if not len(below):
        return None
    i = int(first + below[-1])
    if i + 1 == middle:  # it does not stand in the middle of its window: that holds more than one
        return None
    share = (0.5 - envelope[i]) / (envelope[i + 1] - envelope[i])
    samples = float(np.median(count[first:middle])) * width
    scatter = 2 * noise / float(np.sqrt(np.mean(np.abs(phasors) ** 2)) * np.sqrt(samples)) / f
    error = float(np.sqrt(scatter**2 + fine**2 / 12 + (0.25 / f) ** 2 / 3))
    return float(times[i] + share * fine), error


def _fit(x: Floats, y: Floats, f: float) -> tuple[Complexes, float]:
    """Fit cosine, sine and a constant to every line.

    Returns
    -------
    the phasor of each line, shape ``(n_lines,)``, and the mean power the fit explains

    """
    angle = 2 * np.pi * f * x
    y = y - y.mean(axis=1, keepdims=True)
    basis = np.stack((np.cos(angle), np.sin(angle), np.ones_like(angle)), axis=-1)
    normal = np.einsum("kji,kjl->kil", basis, basis)
    right = np.einsum("kji,kj->ki", basis, y)
    solved = np.linalg.solve(normal, right[..., None])[..., 0]
    phasors: Complexes = solved[:, 0] - 1j * solved[:, 1]
    return phasors, float(np.mean(np.sum(solved * right, axis=1)))


def _from_phase(phasors: Complexes, lines: Lines, f: float, period: float) -> tuple[float, float] | None:
    """Refine the frequency by the phase from each line to the next but one, which the swing of PAL leaves alone."""
    absolute = phasors * np.exp(-2j * np.pi * f * lines.starts)
    place = {int(number): index for index, number in enumerate(lines.number)}
    pairs = [(index, place[number + 2]) for number, index in place.items() if number + 2 in place]
    if len(pairs) < 4:
        return None
    first, second = np.array(pairs).T
    turn = absolute[second] * np.conj(absolute[first])
    mean = turn.sum()
    steady = float(abs(mean) / np.abs(turn).sum())
    if steady < 0.8:
        return None
    scatter = float(np.sqrt(max(0.0, -2 * np.log(steady)))) / np.sqrt(len(pairs))
    return f + float(np.angle(mean)) / (4 * np.pi * period), scatter / (4 * np.pi * period)


def envelope_peak(lines: Lines, f: float, noise: float) -> float:
    """Return the greatest chroma amplitude anywhere in the lines, peak to peak [V]: rms over lines of the envelope.

    Parameters
    ----------
    lines : the scan lines
    f : subcarrier [Hz]
    noise : rms noise of a sample [V]

    """
    lines = lines.pick(np.arange(len(lines.rows)) < MOST_LINES)
    width = round(4 / f / lines.step)
    angle = 2 * np.pi * f * lines.step * np.arange(lines.rows.shape[1])
    cosine, sine = np.cos(angle), np.sin(angle)
    power = np.zeros(len(angle))
    for row in lines.rows:
        power += box(row * cosine, width) ** 2 + box(row * sine, width) ** 2
    square = power / len(lines.rows) - noise**2 / width
    return 4.0 * float(np.sqrt(max(0.0, square[width:-width].max())))
