"""How well a chain carries a picture: reflections, bandwidth, tilt, overshoot, headroom, gain change, dissipation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

RETURN_LOSS_CAP = 60.0
"""Return loss is reported up to here [dB]: no cable or connector is better."""
CLIPPED = 0.5
"""A gain below this share of the gain at mid signal counts as clipped."""
DEAD = 1e-9
"""A gain below this is none: nothing can be compared with it."""


def return_loss(impedance: Complex, nominal: float) -> Array:
    """Return -20·log10 |(Z - Z0)/(Z + Z0)| [dB], at most 60 dB; same shape as `impedance` [ohm], NaN where that is."""
    with np.errstate(invalid="ignore"):
        ratio = np.abs((impedance - nominal) / (impedance + nominal))
    return np.asarray(np.minimum(-20.0 * np.log10(np.maximum(ratio, 1e-12)), RETURN_LOSS_CAP))


def upper_corner(frequency: Array, response: Complex, *, reference: float) -> tuple[Array, Array]:
    """Return the -3 dB frequency above `reference` [Hz] of each variant, and whether one was reached.

    Parameters
    ----------
    frequency : shape ``(n_points,)`` [Hz], ascending
    response : shape ``(n_rows, n_points)``, complex

    Returns
    -------
    The corner, interpolated in log frequency, shape ``(n_rows,)`` [Hz]; the sweep's end where none is reached.

    """
    level = 20.0 * np.log10(np.maximum(np.abs(response), 1e-12))
    log_f = np.log10(frequency)
    at_reference = np.array([np.interp(np.log10(reference), log_f, row) for row in level])
    drop = level - at_reference[:, None] + 10.0 * np.log10(2.0)
    corner = np.full(len(level), frequency[-1])
    reached = np.zeros(len(level), dtype=bool)
    for index, row in enumerate(drop):
        below = np.flatnonzero((row < 0.0) & (frequency > reference))
        if below.size:
            last = int(below[0])
            share = row[last - 1] / (row[last - 1] - row[last])
            corner[index] = 10.0 ** (log_f[last - 1] + share * (log_f[last] - log_f[last - 1]))
            reached[index] = True
    return corner, reached


def tilt(windows: Array, *, share: float) -> tuple[Array, Array]:
    """Return the tilt of the flat halves per variant, and how much it still changes from period to period.

    Tilt is (start - end of the flat half) / height of the step that began it (contract), so a sag is positive on
    either half; of the two polarities the larger is returned.

    Parameters
    ----------
    windows : averages at start and end of four consecutive halves, shape ``(n_rows, 8)`` [V]
    share : the part of a half that lies between the start and the end window; the tilt is scaled to the whole half

    """
    tilts = []
    edge = (1.0 - share) / 2.0
    for half in (1, 2, 3):
        before, start, end = windows[:, 2 * half - 1], windows[:, 2 * half], windows[:, 2 * half + 1]
        # both neighbours are read a little inside their halves: carry each to the step by its own slope
        slope = (start - end) / share
        previous = (windows[:, 2 * half - 2] - before) / share
        height = (start + slope * edge) - (before - previous * edge)
        with np.errstate(divide="ignore", invalid="ignore"):
            tilts.append(slope / height)
    larger = np.where(np.abs(tilts[1]) > np.abs(tilts[2]), tilts[1], tilts[2])
    return larger, np.abs(tilts[2] - tilts[0])


def overshoot(time: Array, volts: Array) -> float:
    """Return (peak - final) / step of a step response, shape ``(n_points,)``; 0 when it never passes final."""
    settled = time > time[0] + 0.8 * (time[-1] - time[0])
    first, final = volts[0], float(np.mean(volts[settled]))
    height = final - first
    if abs(height) < 1e-9:
        return float("nan")
    return max(float(np.max((volts - final) / height)), 0.0)


def clip_bracket(emf: Array, gain: Array, middle: Array) -> Array:
    """Return the two neighbouring EMFs between which a signal begins to clip, shape ``(n_rows, 2)`` [V].

    Clipping is where the gain falls below half of its value at mid signal. The first of the two still lives; NaN where
    the gain is never lost.

    Parameters
    ----------
    emf : levels from the middle of the signal outward, shape ``(n_rows, n_points)`` [V]
    gain : magnitude of the small-signal gain there, same shape; NaN (not solved) counts as lost
    middle : the gain at mid signal, shape ``(n_rows,)``

    """
    with np.errstate(invalid="ignore"):
        lost = np.logical_not(gain >= CLIPPED * middle[:, None])
    first = np.argmax(lost, axis=1)
    rows = np.arange(len(emf))
    bracket = np.stack([emf[rows, np.maximum(first - 1, 0)], emf[rows, first]], axis=1)
    return np.where(np.any(lost, axis=1, keepdims=True), bracket, np.nan)


def worst_bend(bare: Array, guarded: Array) -> tuple[Array, NDArray[np.intp]]:
    """Return the worst change of gain a guard makes per build, and the column where it is.

    The ratio of the guarded to the bare gain against that ratio in the first column (blanking), as differential gain is
    defined. Both of shape ``(n_rows, n_points)``. A point without a bare gain is left out; one that was not solved
    (NaN) leaves its build without an answer.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(bare > DEAD, guarded / bare, np.nan)
        change = np.abs(ratio / ratio[:, :1] - 1.0)
    found = np.nan_to_num(change, nan=-1.0)
    column = np.argmax(found[:, 1:], axis=1) + 1
    worst = found[np.arange(len(found)), column]
    unsolved = np.isnan(bare).any(axis=1) | np.isnan(guarded).any(axis=1)
    return np.asarray(np.where(unsolved | (worst < 0.0), np.nan, worst)), column


def dissipation(potentials: Sequence[Array], currents: Sequence[Array]) -> Array:
    """Return the power a part turns into heat: sum of v·i over its terminals, currents into it.

    `currents` leaves out the last terminal, whose current is minus the sum of the others. All shape ``(n,)``.
    """
    last = potentials[-1]
    return np.asarray(sum((volts - last) * amps for volts, amps in zip(potentials[:-1], currents, strict=True)))
