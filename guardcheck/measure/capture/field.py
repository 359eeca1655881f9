"""What happens from line to line: the droop of a coupling capacitor over a field, and hum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.slicer import box

Floats = NDArray[np.float64]

FIELDS = 1.9
"""Least number of fields in which a droop is told from a drift."""
LONGEST_FIELD = 1 / 45
"""Longest field of any picture [s]."""
MAINS_PERIOD = 0.02
"""A capture shorter than this [s] does not show hum in full: 50 Hz."""
_SMOOTH_LINES = 9
_HALF = 0.5


@dataclass(frozen=True)
class OverField:
    """What a capture shows over a field.

    `tilt` is (start - end of the flat half) / step of a square wave at field rate, as the droop of the blanking level
    predicts it, `tilt_error` its standard error; None with `tilt_failure`. `hum` is what is left of the blanking
    level's movement, peak to peak [V], `hum_error` its standard error; `whole` tells that a mains period was seen.
    """

    tilt: float | None
    tilt_error: float
    tilt_failure: str | None
    hum: float
    hum_error: float
    whole: bool


def over_field(
    volts: NDArray[np.floating],
    step: float,
    lines: Lines,
    blank: Floats,
    noise: float,
    fields: Floats,
    *,
    sign: int,
    coupled: bool | None,
) -> OverField:
    """Look at the blanking level of every line over the whole capture.

    A coupling capacitor takes up the mean of the signal behind it: its voltage rises by v / tau, so the blanking level
    falls by the running integral of the line's own voltage over tau. That one constant gives the tilt of a square wave
    at field rate, (1 - e^-x) / (1 + e^-x) with x = half a field over tau, which is tanh(T / 4 tau).

    Parameters
    ----------
    volts, step
        all samples [V] and their interval [s]
    lines, blank
        whole lines, and the blanking level of each [V], shape ``(n_lines,)``
    noise
        rms of the noise of one line's blanking level [V]
    fields
        where field syncs begin [s]
    sign
        -1 for a channel that was turned over
    coupled
        whether the line is known to be AC coupled (True) or not (False): then only hum moves its blanking

    """
    integral = np.concatenate(([0.0], np.cumsum(volts, dtype=np.float64))) * (step * sign)
    charge = integral[np.round(lines.starts / step).astype(np.int64)]
    left, slope, error = _droop(charge, blank)
    duration = len(volts) * step
    period = float(np.median(np.diff(fields))) if len(fields) >= 2 else 0.0
    failure = None
    if not period and duration >= FIELDS * LONGEST_FIELD:
        failure = "no field sync was seen, so where a field begins is not known"
    elif not period or duration < FIELDS * period:
        failure = f"a capture of two whole fields shows it; this one is {1e3 * duration:.3g} ms long"
    tilt = float(np.tanh(slope * period / 4.0))
    tilt_error = (1.0 - tilt**2) * error * period / 4.0
    moved = blank if coupled is False else left
    smooth = box(moved, min(_SMOOTH_LINES, len(moved) | 1))
    hum = float(smooth.max() - smooth.min())
    hum_error = 2.0 * noise / float(np.sqrt(min(_SMOOTH_LINES, len(moved))))
    return OverField(
        None if failure else tilt,
        tilt_error,
        failure,
        hum,
        hum_error,
        duration >= MAINS_PERIOD and coupled is not True,
    )


def _droop(charge: Floats, blank: Floats) -> tuple[Floats, float, float]:
    """Fit the blanking level as a constant less the running integral over tau.

    Returns
    -------
    what the fit leaves [V], 1 / tau [1/s], and the standard error of that. What is left moves together over many lines,
    so it counts as if only one of two half fields had been seen

    """
    away = charge - charge.mean()
    square = float(np.sum(away**2))
    if square <= 0.0 or len(blank) < 3:
        return blank - blank.mean(), 0.0, 0.0
    slope = -float(np.sum(away * blank)) / square
    left = blank - blank.mean() + slope * away
    spread = float(np.std(left)) / float(np.std(charge))
    return left, slope, spread * _HALF
