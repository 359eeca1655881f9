"""Uncertainty budgets by the GUM: contributions, their root sum of squares, k = 2."""

from __future__ import annotations

import math
from dataclasses import dataclass

COVERAGE = 2.0
_DIVISORS = {"uniform": math.sqrt(3.0), "normal": 1.0}


@dataclass(frozen=True, slots=True)
class Contribution:
    """One row of a budget.

    Parameters
    ----------
    name
        what it is, in words
    half_width
        half-width of a uniform distribution, or the standard deviation of a normal one [unit of the quantity]
    distribution
        ``uniform`` or ``normal``
    sensitivity
        change of the quantity for a change of one
    source
        where the figure comes from

    """

    name: str
    half_width: float
    distribution: str = "uniform"
    sensitivity: float = 1.0
    source: str = ""

    @property
    def standard(self) -> float:
        """Standard uncertainty: a / sqrt(3) for a uniform half-width a (JCGM 100:2008, GUM)."""
        return abs(self.sensitivity * self.half_width) / _DIVISORS[self.distribution]


@dataclass(frozen=True, slots=True)
class Budget:
    """The budget of one quantity, in that quantity's SI unit."""

    quantity: str
    unit: str
    contributions: tuple[Contribution, ...]

    @property
    def standard(self) -> float:
        """Combined standard uncertainty: root sum of squares of independent contributions."""
        return math.sqrt(math.fsum(row.standard**2 for row in self.contributions))

    @property
    def expanded(self) -> float:
        """Expanded uncertainty, k = 2."""
        return COVERAGE * self.standard


def from_step(name: str, step: float, source: str, sensitivity: float = 1.0) -> Contribution:
    """Return the contribution of a rounding step q: uniform over +/- q/2, so q / sqrt(12)."""
    return Contribution(name, step / 2.0, "uniform", sensitivity, source)
