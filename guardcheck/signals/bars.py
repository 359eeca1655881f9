"""Colour bars in numpy: luma and chroma of the eight bars, from the equations of ITU-R BT.470."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LUMA = np.array([0.299, 0.587, 0.114])
"""Shares of red, green and blue in luma (ITU-R BT.470)."""
SCALE_U, SCALE_V = 0.492111, 0.877283
"""Scale of B-Y and R-Y in the colour signal (ITU-R BT.470)."""
NAMES = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
RGB = np.array(
    [[1, 1, 1], [1, 1, 0], [0, 1, 1], [0, 1, 0], [1, 0, 1], [1, 0, 0], [0, 0, 1], [0, 0, 0]], dtype=np.float64
)


@dataclass(frozen=True)
class Bars:
    """The bars as shares of white above black: luma, and chroma peak to peak, shape ``(8,)`` each."""

    luma: Array
    chroma: Array

    @property
    def highest(self) -> float:
        """Highest level the bars reach, colour included (1 is white)."""
        return float(np.max(self.luma + self.chroma / 2.0))

    @property
    def lowest(self) -> float:
        """Lowest level the bars reach, colour included (0 is black)."""
        return float(np.min(self.luma - self.chroma / 2.0))


def colour_bars(amplitude: float = 1.0) -> Bars:
    """Return bars of an amplitude: 1 for 100/0/100/0, 0.75 for bars of three quarters (white included)."""
    primaries = RGB * amplitude
    luma = primaries @ LUMA
    u, v = SCALE_U * (primaries[:, 2] - luma), SCALE_V * (primaries[:, 0] - luma)
    return Bars(luma, 2.0 * np.hypot(u, v))
