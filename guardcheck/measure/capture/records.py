"""What a scope wrote, and what was found in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.header import ChannelFacts
from guardcheck.metrology import Budget
from guardcheck.model import Quantity

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Capture:
    """One scope capture.

    `volts` maps each channel's name to its samples [V], float32, shape ``(n_points,)``, all channels alike.
    `time_step` and `start` are in seconds. `resolution` holds the smallest voltage step found in each channel [V],
    0 when the values form no steps; `facts` what the file itself says of a channel.
    """

    file: str
    time_step: float
    start: float
    volts: Mapping[str, NDArray[np.float32]]
    resolution: Mapping[str, float]
    notes: tuple[str, ...] = ()
    facts: Mapping[str, ChannelFacts] = field(default_factory=dict)

    @property
    def n_points(self) -> int:
        """Number of samples of each channel."""
        return len(next(iter(self.volts.values())))

    @property
    def duration(self) -> float:
        """Length of the capture [s]."""
        return self.n_points * self.time_step


@dataclass(frozen=True)
class Template:
    """The averaged scan line and the places things were read at, for drawing.

    `x` [s] counts from the half-amplitude point of the leading sync edge, `y` [V]; both shape ``(n_bins,)``, NaN
    where no sample fell. `levels` names voltages [V], `windows` names time intervals [s].
    """

    x: Floats
    y: Floats
    levels: Mapping[str, float] = field(default_factory=dict)
    windows: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True)
class Analysis:
    """Everything found in one channel.

    `quantities` holds every quantity a capture can give: with a value and its uncertainty (k = 2), or with the
    reason why there is none. `budgets` explains the uncertainties by quantity name. `system` is ``625``, ``525`` or
    None; `scan` ``interlaced``, ``non-interlaced`` or None; `polarity` ``negative`` (as video has it), ``positive``
    or None; `lines` the number of scan lines used. `mean` and `span` are those of all samples [V]. `least`
    is the smallest picture that would have been seen [V] where there is none, None where there is one.
    """

    channel: str
    quantities: tuple[Quantity, ...]
    budgets: Mapping[str, Budget]
    template: Template | None
    system: str | None = None
    scan: str | None = None
    polarity: str | None = None
    lines: int = 0
    termination: str | None = None
    notes: tuple[str, ...] = ()
    mean: float = 0.0
    span: float = 0.0
    least: float | None = None

    def quantity(self, name: str) -> Quantity:
        """Return the quantity of that name; KeyError when a capture cannot give it."""
        for quantity in self.quantities:
            if quantity.name == name:
                return quantity
        raise KeyError(name)
