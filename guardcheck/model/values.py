"""Declared physical values: plain SI floats with the bounds they may lie in."""

from __future__ import annotations

from dataclasses import dataclass, replace

DECLARED, DEFAULT, DERIVED, UNKNOWN = "declared", "default", "derived", "unknown"


@dataclass(frozen=True, slots=True)
class Value:
    """One physical value in SI units.

    `low` and `high` are the worst-case bounds its declared tolerance allows (equal to `nominal` when none was
    declared). `known` tells where it comes from: ``declared`` in the job file, ``default`` of the part, ``derived``
    from two readings, or ``unknown`` (then the bounds are the usual range). `text` is what was written.
    """

    nominal: float
    unit: str
    low: float
    high: float
    known: str = DECLARED
    text: str = ""

    @classmethod
    def exact(cls, nominal: float, unit: str, known: str = DECLARED, text: str = "") -> Value:
        """Return a value without tolerance."""
        return cls(nominal, unit, nominal, nominal, known, text)

    @property
    def varies(self) -> bool:
        """Tell whether the bounds differ."""
        return self.high > self.low

    def with_known(self, known: str) -> Value:
        """Return the same value with another provenance."""
        return replace(self, known=known)


@dataclass(frozen=True, slots=True)
class Range:
    """A closed interval in SI units."""

    low: float
    high: float

    def __contains__(self, number: float) -> bool:
        return self.low <= number <= self.high
