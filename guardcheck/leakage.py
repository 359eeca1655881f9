"""What declared Y capacitances, mains and frequency mean for leakage: shared by the rules that follow the current.

A value declared ``"unknown"`` stands for the worst of what is usual, and says so; a value not declared stands for
nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from guardcheck.model import Facts, Value

STRAY = 1e-15
"""Capacitance [F] that stands for none: a capacitor of zero is no circuit."""

USUAL: Mapping[str, tuple[float, float]] = {
    "y_capacitance": (0.1e-9, 4.7e-9),
    "mains": (100.0, 240.0),
    "mains_frequency": (50.0, 60.0),
}
"""Lowest and highest of what is usual [F, V, Hz]; common practice, no published source."""

UNIT, DISPLAY = "unit", "display"


@dataclass(frozen=True, slots=True)
class Known:
    """A declared value as leakage is judged by it [SI].

    `value` is what is taken; `certain` the least that is sure to be there; `low` and `high` the span it may lie in.
    """

    value: float
    certain: float
    low: float
    high: float
    unknown: bool = False


def known(entries: Mapping[str, Any], name: str) -> Known | None:
    """Return a declared value, the worst of the usual range when it is declared unknown, None when not declared."""
    given = entries.get(name)
    if isinstance(given, Value):
        return Known(given.nominal, given.nominal, given.low, given.high)
    if given is None or name not in USUAL:
        return None
    low, high = USUAL[name]
    return Known(high, low, low, high, unknown=True)


def halves(entries: Mapping[str, Any], capacitance: float) -> tuple[float, float]:
    """Return the capacitance to live and to neutral [F].

    A coupling that is not declared symmetric counts as one capacitor to live: the worst, and a matter of how the plug
    is turned.
    """
    capacitance = max(capacitance, 2.0 * STRAY)
    if entries.get("y_coupling") == "symmetric":
        return capacitance / 2.0, capacitance / 2.0
    return capacitance, STRAY


def apparatus(facts: Facts) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield unit, display, and every linked apparatus that declares a Y capacitance, with its declared values."""
    yield UNIT, facts.supply
    yield DISPLAY, facts.display
    for label, fact in facts.table("link"):
        if "y_capacitance" in fact.entries:
            yield f"link to {label}", fact.entries
