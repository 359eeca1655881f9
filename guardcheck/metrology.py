"""Small arithmetic of the bench that more than one floor needs: meter accuracy, uncertainty, sheets, discharge.

Plain SI floats in and out; nothing here knows a limit or an outcome. There is one grammar for what a data sheet says of
an instrument, and one model of what follows from it: the whole statement is one bound, its terms added, and that bound
is the half-width of one uniform distribution (JCGM 100:2008, GUM).
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
from guardcheck.units import parse, shown

TIP_RADIUS = 0.5e-3
"""Radius of a meter's probe tip [m] when none was declared (common practice, no published source)."""

RING_FACTOR = 2.0 * math.pi / math.log(57.15 / 30.48)
"""Sheet resistance over the reading of a concentric ring electrode, 30.48 mm disk in a 57.15 mm ring (STM11.12)."""

LEADS = (0.1, 0.5)
"""Resistance of two test leads [ohm], least and greatest, as meter manuals tell it."""

COVERAGE = 2.0
"""Coverage factor of every expanded uncertainty."""

_DIVISORS = {"uniform": math.sqrt(3.0), "normal": 1.0}
_NUMBER = r"([0-9]+\.?[0-9]*|\.[0-9]+)"
_SHARE = re.compile(rf"{_NUMBER}\s*(%|ppm)\s*(?:(?:of\s+)?(.*))?")
_COUNTS = re.compile(rf"{_NUMBER}\s*(?:counts?|cts?|digits?|dgts?|d)\.?")
_DIVISIONS = re.compile(rf"{_NUMBER}\s*(?:div|divs|divisions?)")
_OF_READING = {"", "reading", "rdg", "rd", "value"}
_OF_RANGE = {"range", "full scale", "fs", "full-scale", "scale"}
_WANTED = "write it as the data sheet prints it, such as '3%', '1.0% + 2 counts' or '2% of full scale + 1 mV'"
_UNITS = ("V", "ohm", "A", "s", "Hz", "F", "W", "m")
"""Units an absolute term may be in where the statement is read before anyone knows what was measured."""


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error of an instrument.

    `of_reading` and `of_range` are fractions, `counts` multiples of the last digit, `divisions` of a screen division,
    `absolute` is in the quantity's SI unit; all are half-widths. `text` is what was written.
    """

    of_reading: float = 0.0
    of_range: float = 0.0
    counts: float = 0.0
    divisions: float = 0.0
    absolute: float = 0.0
    text: str = ""

    def half_width(
        self,
        seen: float,
        *,
        count: float | None = None,
        full_scale: float | None = None,
        division: float | None = None,
    ) -> float | None:
        """Return the half-width of the error of a reading: all terms added, since together they are one bound.

        Parameters
        ----------
        seen : what the instrument showed [unit of the quantity]
        count : one count of the last digit [the same]
        full_scale : end of the range used [the same]
        division : one division of the screen [the same]

        Returns
        -------
        half-width [the same], None when a term needs a count, range or division that is not known

        """
        terms = ((self.counts, count), (self.of_range, full_scale), (self.divisions, division))
        if any(size and base is None for size, base in terms):
            return None
        return self.of_reading * abs(seen) + self.absolute + math.fsum(size * (base or 0.0) for size, base in terms)


def parse_accuracy(
    text: str, unit: str | None, *, key: str | None = None, file: str | None = None, line: int | None = None
) -> Accuracy:
    """Read an accuracy statement as a data sheet prints it; terms are joined by ``+``, a leading ± is allowed.

    Parameters
    ----------
    text
        ``3%``, ``1.0% + 2 counts``, ``2% of full scale + 1 mV``, ``100 ppm``
    unit
        SI unit of what is measured, for an absolute term; None takes a term of any unit
    key, file, line
        the place, for messages

    Raises
    ------
    UnitError
        a term that is none of share, counts, divisions or value with unit, or a statement that allows no error at all

    """
    totals = {"of_reading": 0.0, "of_range": 0.0, "counts": 0.0, "divisions": 0.0, "absolute": 0.0}
    for raw in re.split(r"\+(?!\s*/)", text.replace("±", "").replace("+/-", "")):
        term = " ".join(raw.strip().strip("()").casefold().split())
        kind, size = _term(term, raw.strip().strip("()"), unit)
        if kind is None:
            problem = f"'{shown(raw.strip())}' is not an accuracy; {_WANTED}"
            raise UnitError(problem, file=file, key=key, line=line)
        totals[kind] += size
    if totals["of_reading"] > 1 or totals["of_range"] > 1:
        raise UnitError(f"'{shown(text)}' is an accuracy above 100 %; {_WANTED}", file=file, key=key, line=line)
    if not any(totals.values()):
        problem = f"'{shown(text)}' is an accuracy no instrument has: nothing is read without error; {_WANTED}"
        raise UnitError(problem, file=file, key=key, line=line)
    return Accuracy(**totals, text=text.strip())


def _term(term: str, raw: str, unit: str | None) -> tuple[str | None, float]:
    share = _SHARE.fullmatch(term)
    if share:
        size = float(share[1]) * (1e-2 if share[2] == "%" else 1e-6)
        of = (share[3] or "").strip()
        return ("of_reading" if of in _OF_READING else "of_range" if of in _OF_RANGE else None), size
    for kind, form in (("counts", _COUNTS), ("divisions", _DIVISIONS)):
        found = form.fullmatch(term)
        if found:
            return kind, float(found[1])
    for one in _UNITS if unit is None else (unit,):
        try:
            value, _ = parse(raw, one)
        except UnitError:
            continue
        return ("absolute", value.nominal) if value.nominal >= 0 and not value.varies else (None, 0.0)
    return None, 0.0


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


def meter_rows(
    accuracy: Accuracy, seen: float, *, count: float | None, full_scale: float | None, sources: tuple[str, str]
) -> tuple[Contribution, ...] | None:
    """Return the budget rows of a meter's reading, None when its statement needs a count or range nobody declared.

    Rounding to the last digit is part of a statement in counts; a statement without any is about the meter before it
    rounds, and the step counts beside it. `sources` say where the statement and the count come from.
    """
    half = accuracy.half_width(seen, count=count, full_scale=full_scale)
    if half is None:
        return None
    row = Contribution("accuracy", half, source=sources[0])
    return (row,) if accuracy.counts or count is None else (row, from_step("reading", count, sources[1]))


def expanded(*half_widths: float) -> float:
    """Return the expanded uncertainty, k = 2, of a sum of independent errors given by their half-widths.

    Each is taken as uniform, u = a / sqrt(3), and they add as root sum of squares (JCGM 100:2008, 4.3.7 and 5.1.2;
    clause numbers from memory, unverified).
    """
    return COVERAGE * math.sqrt(sum(width * width for width in half_widths) / 3.0)


def width_of(reading: Mapping[str, Any], shown: float, unit: str) -> float | None:
    """Return the half-width of a declared reading's error [unit], None when its accuracy is not fully declared.

    Parameters
    ----------
    reading : entries ``accuracy``, ``resolution`` and ``meter_range`` as the job file has them
    shown : what the meter showed [unit]

    """
    text, resolution, full = (reading.get(name) for name in ("accuracy", "resolution", "meter_range"))
    if not isinstance(text, str):
        return None
    try:
        accuracy = parse_accuracy(text, unit)
    except UnitError:
        return None  # its absolute term is in the unit of something else
    rows = meter_rows(
        accuracy,
        shown,
        count=resolution.nominal if isinstance(resolution, Value) else None,
        full_scale=full.nominal if isinstance(full, Value) else None,
        sources=("", ""),
    )
    return None if rows is None else math.sqrt(math.fsum(row.half_width**2 for row in rows))


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
