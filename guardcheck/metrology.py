"""Small arithmetic of the bench that more than one floor needs: meter accuracy, tables, sheets, discharge.

Plain SI floats in and out; nothing here knows a limit or an outcome.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from guardcheck.errors import UnitError
from guardcheck.model import Value
from guardcheck.units import parse

TIP_RADIUS = 0.5e-3
"""Radius of a meter's probe tip [m] when none was declared (common practice, no published source)."""

RING_FACTOR = 2.0 * math.pi / math.log(57.15 / 30.48)
"""Sheet resistance over the reading of a concentric ring electrode, 30.48 mm disk in a 57.15 mm ring (STM11.12)."""

LEADS = (0.1, 0.5)
"""Resistance of two test leads [ohm], least and greatest, as meter manuals tell it."""

_TERM = re.compile(r"(?P<number>[0-9]+(?:\.[0-9]+)?)\s*(?P<rest>.*)", re.DOTALL)
_COUNTS = re.compile(r"(?:counts?|cts?|dgts?|digits?|d)\.?", re.IGNORECASE)
_SHARE = re.compile(
    r"(?P<unit>%|ppm)\s*(?:of\s+)?(?P<of>reading|rdg|rd|value|range|full[ -]scale|fs|scale)?", re.IGNORECASE
)
_OF_RANGE = ("range", "fs", "full scale", "full-scale", "scale")


def half_width(
    accuracy: str, reading: float, *, unit: str, resolution: float | None = None, full_scale: float | None = None
) -> float | None:
    """Return the half-width ``a`` of a reading's error from an accuracy as a data sheet prints it.

    Parameters
    ----------
    accuracy : sum of terms such as ``"1.0% + 2 counts"``, ``"0.5 % of range"`` or ``"5 mV"``
    reading : what the meter showed [unit]
    unit : SI unit of the reading
    resolution : one count of the meter in the range used [unit]
    full_scale : end of the range used [unit]

    Returns
    -------
    half-width [unit], or None when a term cannot be read or needs a resolution or range that is not known

    """
    total = 0.0
    for term in accuracy.strip().lstrip("±+-/ (").rstrip(" )").split("+"):
        width = _term(term.strip(), abs(reading), unit, resolution, full_scale)
        if width is None:
            return None
        total += width
    return total


def _term(term: str, reading: float, unit: str, resolution: float | None, full_scale: float | None) -> float | None:
    match = _TERM.fullmatch(term)
    if match is None:
        return None
    number, rest = float(match["number"]), match["rest"].strip()
    if _COUNTS.fullmatch(rest):
        return None if resolution is None else number * resolution
    share = _SHARE.fullmatch(rest)
    if share is not None:
        base = full_scale if (share["of"] or "").lower() in _OF_RANGE else reading
        part = 1e-6 if share["unit"].lower() == "ppm" else 0.01
        return None if base is None else part * number * base
    try:
        return parse(term, unit)[0].nominal
    except UnitError:
        return None


def expanded(*half_widths: float) -> float:
    """Return the expanded uncertainty, k = 2, of a sum of independent errors given by their half-widths.

    Each is taken as uniform, u = a / sqrt(3), and they add as root sum of squares (JCGM 100:2008, 4.3.7 and 5.1.2;
    clause numbers from memory, unverified).
    """
    return 2.0 * math.sqrt(sum(width * width for width in half_widths) / 3.0)


def width_of(reading: Mapping[str, Any], shown: float, unit: str) -> float | None:
    """Return the half-width of a declared reading's error [unit], None when its accuracy is not fully declared.

    Parameters
    ----------
    reading : entries ``accuracy``, ``resolution`` and ``meter_range`` as the job file has them
    shown : what the meter showed [unit]

    """
    accuracy, resolution, full = (reading.get(name) for name in ("accuracy", "resolution", "meter_range"))
    if not isinstance(accuracy, str):
        return None
    return half_width(
        accuracy,
        shown,
        unit=unit,
        resolution=resolution.nominal if isinstance(resolution, Value) else None,
        full_scale=full.nominal if isinstance(full, Value) else None,
    )


@dataclass(frozen=True, slots=True)
class LowOhms:
    """A low resistance as read [ohm], with the expanded uncertainty, None when the meter's accuracy is not declared.

    `leads` is what was taken off for the leads. None means they were not read: then `value` still holds them and the
    bond itself is no higher.
    """

    value: float
    uncertainty: float | None
    leads: float | None


def low_ohms(reading: Mapping[str, Any]) -> LowOhms | None:
    """Return a declared low-resistance reading with its leads taken off, None when there is no number in it.

    Only a four-wire reading has no leads in it. Bond and leads are two readings: both uncertainties count.
    """
    shown, leads = reading.get("value"), reading.get("leads")
    if not isinstance(shown, Value):
        return None
    width = width_of(reading, shown.nominal, "ohm")
    if reading.get("method") == "four-wire":
        return LowOhms(shown.nominal, None if width is None else expanded(width), 0.0)
    if not isinstance(leads, Value):
        return LowOhms(shown.nominal, None if width is None else expanded(width), None)
    other = width_of(reading, leads.nominal, "ohm")
    both = None if width is None or other is None else expanded(width, other)
    return LowOhms(shown.nominal - leads.nominal, both, leads.nominal)


def interpolate(table: Sequence[tuple[float, float]], at: float) -> float:
    """Return a table's value by straight lines between its rows ``(x, y)``, x rising; the end rows hold beyond them."""
    if at <= table[0][0]:
        return table[0][1]
    for (x0, y0), (x1, y1) in pairwise(table):
        if at <= x1:
            return y0 + (at - x0) / (x1 - x0) * (y1 - y0)
    return table[-1][1]


def two_point_factor(spacing: float, radius: float = TIP_RADIUS) -> float:
    """Return reading over sheet resistance for two round tips on a large thin sheet: acosh(d / 2a) / pi.

    Parameters
    ----------
    spacing : distance of the tips' centres [m]. Tips whose centres are less than two radii apart would touch, so such a
        spacing can only be the gap between them and is read as that
    radius : radius of a tip [m]

    """
    centres = spacing if spacing > 2.0 * radius else spacing + 2.0 * radius
    return math.acosh(centres / (2.0 * radius)) / math.pi


def ring_equivalent(resistance: float, spacing: float, radius: float = TIP_RADIUS) -> float:
    """Return what a ring electrode would read [ohm] on a sheet that reads `resistance` between two tips."""
    return resistance / two_point_factor(spacing, radius) / RING_FACTOR


def discharge_time(resistance: float, capacitance: float, start: float, end: float) -> float:
    """Return the time [s] a resistor [ohm] takes to bring a capacitor [F] from `start` to `end` [V], at least 0."""
    if start <= end:
        return 0.0
    return resistance * capacitance * math.log(start / end)


def stored_energy(capacitance: float, voltage: float) -> float:
    """Return the energy [J] on a capacitor [F] charged to a voltage [V]."""
    return 0.5 * capacitance * voltage * voltage
