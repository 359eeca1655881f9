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
"""A slope below this share of the slope at mid signal counts as clipped."""


def return_loss(impedance: Complex, nominal: float) -> Array:
    """Return -20·log10 |(Z - Z0)/(Z + Z0)| [dB], capped at 60 dB; same shape as `impedance` [ohm]."""
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


def slopes(emf: Array, volts: Array) -> tuple[Array, Array]:
    """Return midpoints [V] and slopes of a transfer curve, both shape ``(n_points - 1,)``."""
    return (emf[1:] + emf[:-1]) / 2.0, np.diff(volts) / np.diff(emf)


def headroom(emf: Array, volts: Array, lowest: float, highest: float) -> tuple[float, bool]:
    """Return the least distance from the signal to clipping, in volts at the display, and whether it clips at all.

    Clipping is where the slope falls below half of its value in the middle of the signal. Negative: the signal itself
    clips. When the curve does not clip within the grid, the distance to the grid's end is returned ("at least").

    Parameters
    ----------
    emf, volts : transfer curve, shape ``(n_points,)`` [V]
    lowest, highest : the signal's extremes [V of EMF]

    """
    middle, slope = slopes(emf, volts)
    centre = int(np.argmin(np.abs(middle - (lowest + highest) / 2.0)))
    gain = slope[centre]
    alive = np.abs(slope) >= CLIPPED * abs(gain)
    up = next((int(index) for index in range(centre, len(slope)) if not alive[index]), None)
    down = next((int(index) for index in range(centre, -1, -1) if not alive[index]), None)
    top = emf[-1] if up is None else emf[up]
    bottom = emf[0] if down is None else emf[down + 1]
    distance = min(top - highest, lowest - bottom) * abs(gain)
    return float(distance), up is not None or down is not None


def gain_change(bare: Array, guarded: Array, emf: Array, *, lowest: float, highest: float, reference: float) -> float:
    """Return the worst change of small-signal gain the guard makes over the signal's range.

    The ratio of the guarded slope to the bare one, relative to that ratio at the `reference` level (blanking), as
    differential gain is defined; arrays of shape ``(n_points,)`` [V], levels in volts of EMF.
    """
    middle, without = slopes(emf, bare)
    _, having = slopes(emf, guarded)
    inside = (middle >= lowest) & (middle <= highest) & (np.abs(without) > 1e-9)
    if not inside.any():
        return float("nan")
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = having / without
    home = ratio[int(np.argmin(np.abs(middle - reference)))]
    return float(np.max(np.abs(ratio[inside] / home - 1.0)))


def dissipation(potentials: Sequence[Array], currents: Sequence[Array]) -> Array:
    """Return the power a part turns into heat: sum of v·i over its terminals, currents into it.

    `currents` leaves out the last terminal, whose current is minus the sum of the others. All shape ``(n,)``.
    """
    last = potentials[-1]
    return np.asarray(sum((volts - last) * amps for volts, amps in zip(potentials[:-1], currents, strict=True)))
