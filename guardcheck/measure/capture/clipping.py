"""Whether the edge of the screen cut a level off."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.lines import Lines

_FULL_CODES = 250


def cut_off(
    lines: Lines, window: tuple[float, float], extreme: float, noise: float, step: float, scale: float, *, top: bool
) -> bool:
    """Tell whether a level was cut off: its samples stand exactly at the trace's extreme while others move with noise.

    Parameters
    ----------
    lines
        the lines the level is read on
    window
        where the level stands [s]
    extreme
        the greatest (or, with `top` false, the lowest) value of the whole trace [V]
    noise
        rms of the noise where nothing is cut [V]
    step
        the trace's voltage step [V], 0 when none was found
    scale
        height of the signal [V]
    top
        whether the upper edge is looked at

    """
    part = lines.rows[:, lines.columns(window)]
    slack = max(1e-6 * abs(scale), 0.01 * step)
    stuck = float(np.mean(part >= extreme - slack if top else part <= extreme + slack))
    if noise > max(0.8 * step, 1e-4 * abs(scale)):
        return stuck >= 0.05
    return noise > 0.3 * step > 0 and stuck >= 0.9


def fills_converter(volts: NDArray[np.floating], step: float) -> bool:
    """Tell whether the trace takes up the whole range of an 8-bit converter, so that both edges may cut it."""
    if step <= 0:
        return False
    span = float(volts.max()) - float(volts.min())
    return _FULL_CODES <= span / step <= 256
