"""Preferred values of resistors and capacitors, and the drawer they may come from instead."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from guardcheck.model import Parameter
from guardcheck.units import format_si

E3 = (1.0, 2.2, 4.7)
E6 = (1.0, 1.5, 2.2, 3.3, 4.7, 6.8)
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
E24 = (
    *(1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0),
    *(3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1),
)
"""Preferred values (IEC 60063, series E3, E6, E12 and E24; from memory, unverified against the standard's text)."""
E96 = tuple(float(f"{10 ** (index / 96):.2f}") for index in range(96))
"""Series E96 of IEC 60063: the geometric steps, rounded to three figures (from memory, unverified)."""
ELECTROLYTIC = E6
"""Coupling capacitors are sold in E6 steps (common practice, no published source)."""


def shown_ohms(value: float) -> str:
    """Return a resistor value as a technician says it."""
    return format_si(float(f"{value:.3g}"), "ohm")


def values_between(series: Sequence[float], low: float, high: float) -> tuple[float, ...]:
    """Return the values of a series from `low` to `high` [SI], ascending, ends included."""
    slack = 1e-9
    decades = range(int(np.floor(np.log10(low))), int(np.floor(np.log10(high))) + 1)
    found = (float(f"{one * 10.0**decade:.6g}") for decade in decades for one in series)
    return tuple(value for value in found if low * (1 - slack) <= value <= high * (1 + slack))


def choices_of(
    parameter: Parameter, *, series: Sequence[float] = E24, resistors: Sequence[float] | None = None
) -> tuple[float, ...]:
    """Return the values a parameter that may move can take [SI], ascending.

    Parameters
    ----------
    parameter : one whose `moves` is set; its usual range bounds the search
    series : preferred values of resistors
    resistors : the drawer's resistors [ohm], which then take the place of the series

    """
    assert parameter.usual is not None
    low, high = parameter.usual.low, parameter.usual.high
    if parameter.moves == "capacitor":
        return values_between(ELECTROLYTIC, low, high)
    if resistors is not None:
        return tuple(sorted({value for value in resistors if low <= value <= high}))
    return values_between(series, low, high)
