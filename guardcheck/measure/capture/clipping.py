"""Whether the edge of the screen cut a level off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.lines import Lines

_FULL_CODES = 250
_DIVISIONS = (8.0, 10.0)
"""How many divisions high screens are."""
_NEAR = 0.01
"""How close to the edge of the screen a level counts as standing at it, as a share of the screen."""


@dataclass(frozen=True)
class Screen:
    """A scope's vertical setting: volts per division, and the voltage the trace was moved by (None: not known) [V]."""

    division: float
    offset: float | None = None

    def at_edge(self, level: float) -> bool:
        """Tell whether a level stands where a screen of the usual heights ends, or beyond.

        Makers count an offset either way, so both are looked at, and zero volts in the middle as well.
        """
        for divisions in _DIVISIONS:
            half = 0.5 * divisions * self.division
            for offset in {0.0, self.offset or 0.0, -(self.offset or 0.0)}:
                if abs(abs(level - offset) - half) <= 2.0 * _NEAR * half:
                    return True
        return False


def cut_off(
    lines: Lines,
    window: tuple[float, float],
    extreme: float,
    noise: float,
    step: float,
    scale: float,
    screen: Screen | None = None,
    *,
    top: bool,
) -> str | None:
    """Say whether a level was cut off by the edge of the screen, or may have been; None when it was not.

    Cut off, all its samples stand exactly at the trace's extreme while others move with noise. Where the trace has no
    noise to tell by, only the ends of the screen can: a scale alone tells how high it is, not where it stands.

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
    screen
        the scope's vertical setting, None when it is not known
    top
        whether the upper edge is looked at

    """
    part = lines.rows[:, lines.columns(window)]
    slack = max(1e-6 * abs(scale), 0.01 * step)
    stuck = float(np.mean(part >= extreme - slack if top else part <= extreme + slack))
    if noise > max(0.8 * step, 1e-4 * abs(scale)):
        return _CUT if stuck >= 0.05 else None
    if stuck < 0.9:
        return None
    if noise > 0.3 * step > 0 or (screen is not None and screen.at_edge(extreme)):
        return _CUT
    return None if screen is not None and screen.offset is not None else _MAY_BE


_CUT = "is cut off by the edge of the screen"
_MAY_BE = (
    "stands at the very end of the trace without noise, as a level cut off by the edge of the screen does: leave a"
    " division free, or say the vertical scale and offset"
)


def fills_converter(volts: NDArray[np.floating], step: float) -> bool:
    """Tell whether the trace takes up the whole range of an 8-bit converter, so that both edges may cut it."""
    if step <= 0:
        return False
    span = float(volts.max()) - float(volts.min())
    return _FULL_CODES <= span / step <= 256
