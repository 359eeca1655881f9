"""What declared Y capacitances, mains and frequency mean for leakage: shared by the rules that follow the current.

A value declared ``"unknown"`` stands for the worst of what is usual, and says so; a value not declared stands for
nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import hypot, pi
from typing import Any

from guardcheck.metrology import expanded, width_of
from guardcheck.model import Facts, Value

STRAY = 1e-15
"""Capacitance [F] that stands for none: a capacitor of zero is no circuit."""

USUAL: Mapping[str, tuple[float, float]] = {
    "y_capacitance": (0.1e-9, 4.7e-9),
    "mains": (100.0, 240.0),
    "mains_frequency": (50.0, 60.0),
}
"""Lowest and highest of what is usual [F, V, Hz]; common practice, no published source."""

TRANSFORMER = "transformer"
"""The coupling of a supply that has no Y capacitor: a plain mains transformer."""
WINDINGS = (50e-12, 1e-9)
"""Capacitance between the windings of a small mains transformer [F] (from memory, unverified)."""
NO_CAPACITOR = 10e-12
"""Below this [F] a declared Y capacitance says that there is none: what is left is between the windings."""

PAIR_SPREAD = 0.2
"""Tolerance of Y capacitors where none is declared: 20 % is what the marking M allows (common practice)."""

UNIT, DISPLAY = "unit", "display"

SERVICE_OHMS, SERVICE_FARADS = 1500.0, 0.15e-6
"""The network of the touch check that service manuals print [ohm, F]."""
SERVICE_TOLERANCE = 0.05
"""Tolerance of that network when it is built from ordinary parts (common practice, no published source)."""
SERVICE_READING = "service_reading"


@dataclass(frozen=True, slots=True)
class Known:
    """A declared value as leakage is judged by it [SI].

    `value` is what is taken; `certain` the least that is sure to be there; `low` and `high` the span it may lie in.
    `windings`: there is no capacitor, and it stands for what the transformer couples.
    """

    value: float
    certain: float
    low: float
    high: float
    unknown: bool = False
    windings: bool = False


def known(entries: Mapping[str, Any], name: str) -> Known | None:
    """Return a declared value, the worst of the usual range when it is declared unknown, None when not declared.

    A supply on the mains without Y capacitors couples through the windings of its transformer, which nobody declares.
    """
    given = entries.get(name)
    if name == "y_capacitance" and entries.get("protection_class") != "III":
        none = given.high < NO_CAPACITOR if isinstance(given, Value) else entries.get("y_coupling") == TRANSFORMER
        if none:
            return Known(WINDINGS[1], WINDINGS[0], *WINDINGS, unknown=True, windings=True)
    if isinstance(given, Value):
        return Known(given.nominal, given.nominal, given.low, given.high)
    if given is None or name not in USUAL:
        return None
    low, high = USUAL[name]
    return Known(high, low, low, high, unknown=True)


def pair_spread(entries: Mapping[str, Any]) -> float:
    """Return the tolerance of the two capacitors of a symmetric pair, as a share of each."""
    value = entries.get("y_capacitance")
    if not isinstance(value, Value) or not value.varies or value.nominal <= 0.0:
        return PAIR_SPREAD
    return min(max(value.high / value.nominal - 1.0, 1.0 - value.low / value.nominal), 1.0)


def halves(entries: Mapping[str, Any], capacitance: float, spread: float = 0.0) -> tuple[float, float]:
    """Return the capacitance to live and to neutral [F], those of a pair apart by `spread`.

    A coupling that is not declared symmetric counts as one capacitor to live: the worst, and a matter of how the plug
    is turned.
    """
    capacitance = max(capacitance, 2.0 * STRAY)
    if entries.get("y_coupling") == "symmetric":
        return capacitance * (1.0 + spread) / 2.0, max(capacitance * (1.0 - spread) / 2.0, STRAY)
    return capacitance, STRAY


def unit_earthed(supply: Mapping[str, Any]) -> bool | None:
    """Tell whether the unit's 0 V is at earth: a class I supply ties it there; None where nobody declared a class."""
    return {"I": True, "II": False, "III": False}.get(str(supply.get("protection_class")))


def display_earthed(display: Mapping[str, Any]) -> bool | None:
    """Tell whether the display's 0 V is at earth; None where nobody knows, or another lead is not ruled out."""
    earthed = display.get("earthed")
    floats = earthed is False and display.get("other_leads") is False
    return True if earthed is True else False if floats else None


def apparatus(facts: Facts) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield unit, display, and every linked apparatus that declares a Y capacitance, with its declared values."""
    yield UNIT, facts.supply
    yield DISPLAY, facts.display
    for label, fact in facts.table("link"):
        if "y_capacitance" in fact.entries:
            yield f"link to {label}", fact.entries


@dataclass(frozen=True, slots=True)
class ServiceCheck:
    """A touch check as read: volts [V], their expanded uncertainty if it is known [V], and why it proves nothing."""

    volts: float
    uncertainty: float | None
    gap: str | None

    def admittance(self, frequency: float) -> float:
        """Return what turns the voltage across the network into the current through it [S]."""
        return hypot(1.0 / SERVICE_OHMS, 2.0 * pi * frequency * SERVICE_FARADS)


def service_check(entries: Mapping[str, Any]) -> ServiceCheck | None:
    """Return the touch check an apparatus declares, None without one."""
    reading = entries.get(SERVICE_READING)
    if not isinstance(reading, Mapping) or not isinstance(reading.get("value"), Value):
        return None
    volts = reading["value"].nominal
    width = width_of(reading, volts, "V")
    unsure = None if width is None else expanded(width, SERVICE_TOLERANCE * volts)
    return ServiceCheck(volts, unsure, _unproven(reading))


def _unproven(reading: Mapping[str, Any]) -> str | None:
    transformer = reading.get("isolating_transformer")
    if transformer is True:
        return "an isolating transformer fed it, so the reading shows nothing"
    if transformer is not False:
        return "nobody said that no isolating transformer fed it (`isolating_transformer = false`)"
    if reading.get("both_plug_ways") is not True:
        return "nobody said that it was read with the plug both ways round (`both_plug_ways = true`)"
    return None
