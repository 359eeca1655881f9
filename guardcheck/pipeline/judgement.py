"""Measured quantities held against the limits of their line, with the plan beside them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from guardcheck.formatting import show, span
from guardcheck.measure import decibels
from guardcheck.measure.readings import READABLE
from guardcheck.measure.readings.records import AT_LEAST, AT_MOST
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_PROVEN,
    QUANTITIES,
    WORKMANSHIP,
    Finding,
    Limit,
    Quantity,
    Standard,
)
from guardcheck.rules import all_rules
from guardcheck.verdict.outcome import as_claim, finding
from guardcheck.verification.measured import CAPTURED, Measured, captured_limits
from guardcheck.verification.plan import Plan, planned_mismatch

AMPLITUDES = ("level.white", "level.sync", "level.pp")
INSTEAD = ("burst.amplitude", "level.low", "level.blank")
"""What a line without an amplitude limit is decided by: chroma by its burst, a control line by its level."""
MISMATCH = "level.mismatch"
FIELD_TILT = "response.field_tilt"
MUST_SHOW = ("picture.bars",)
"""What must be right once it was looked at: steps of declared bars that are not this line's own."""
DECIDED = (CONFORMS, DOES_NOT_CONFORM)
NOT_MEASURED = "not measured"
DB = 20.0 / math.log(10.0)

CLIP = "scope clip to 0 V only, it is mains earth"
"""Told wherever a live reading is asked for."""
READ_IT = (
    "measure it: a white field or colour bars on the screen, the line into its load, the scope on direct coupling; or "
    f"a meter where the level is steady; {CLIP}"
)
READ_SO = {
    FIELD_TILT: (
        "capture two whole fields (40 ms) of a white field or colour bars at 4 MHz or more, the line into its load, "
        f"the scope on DC coupling; {CLIP}"
    ),
    "picture.bars": (
        "capture this line again with eight full-height colour bars on the screen, white at the left, and say "
        f"--picture bars-75 or bars-100; {CLIP}"
    ),
    "level.black": (
        "measure it: colour bars on the screen, the line into its load, and read the black bar against the blanking "
        f"beside the picture; {CLIP}"
    ),
    "level.blank": (
        "measure it: the line into its load, the scope on direct coupling, and read the blanking beside the picture "
        f"against the unit's 0 V; a meter shows the mean of a live line, never its blanking; {CLIP}"
    ),
    "level.high": f"measure it: the line at its input, scope on direct coupling, the higher of the two levels; {CLIP}",
    "level.low": f"measure it: the line at its input, scope on direct coupling, the lower of the two levels; {CLIP}",
}
"""How levels are read that a white field does not show, or that need no picture at all."""
SAY_PICTURE = (
    "show a white field or colour bars, read it again, and say which picture it was",
    "say which picture was captured: --picture white, bars-100 or bars-75",
)
SAY_COUPLING = (
    'say how the scope was coupled when it was read: coupling = "dc" under [scope] or in the reading',
    "say how the scope was coupled when it captured: --coupling dc",
)
SAY_LOAD = (
    'say how the line was loaded when it was read: load = "terminated" or "open"',
    "say how the line was loaded when it was captured: --load terminated or --load open",
)
"""For a typed reading, and for a capture."""
READ_AGAIN = "read it again, both ways: the two readings of it cannot both be true"
READ_FINER = (
    "read it again with less uncertainty: fill the screen, state the instrument's accuracy, use a 1 % terminator"
)


@dataclass(frozen=True)
class Row:
    """One measured quantity and its finding; `off` tells that it lies off the plan by more than both uncertainties."""

    measured: Measured
    finding: Finding
    off: bool = False

    @property
    def troubled(self) -> bool:
        """Tell whether a cause is worth looking for."""
        level = self.finding.quantity.startswith("level.") or self.finding.quantity == FIELD_TILT
        return level and self.measured.usable and (self.off or self.finding.outcome == DOES_NOT_CONFORM)

    @property
    def telling(self) -> bool:
        """Tell whether faults are to be compared with it: an amplitude always, a DC level where it is all, or wrong."""
        return self.finding.quantity in AMPLITUDES or self.troubled


def _held(quantity: Quantity, limit: Limit | None) -> Finding:
    """Return what the rule of a quantity makes of a measured one, as the claim it is."""
    rule = next(one.rule for one in all_rules() if quantity.name in one.rule.quantities)
    return as_claim(finding(rule.code, quantity, limit, needed=True), rule)


def decides(standard: Standard) -> tuple[str, ...]:
    """Return the quantities a line is decided by: without them nobody has shown that its level is right."""
    found = tuple(name for name in AMPLITUDES if name in standard.limits)
    return found or tuple(name for name in INSTEAD if name in standard.limits)[:1]


def to_measure(standard: Standard) -> tuple[str, ...]:
    """Return what of a line is to be measured: its limited levels, and what decides it."""
    levels = [name for name in standard.limits if name.startswith("level.") and name in READABLE]
    return tuple(dict.fromkeys((*levels, *decides(standard))))


def owed(plan: Plan) -> tuple[str, ...]:
    """Return what of a line as built must be measured: a coupling capacitor owes the tilt of a field as well.

    So does a line of which nobody knows whether it has one, because its plan could not be simulated.
    """
    tilt = (FIELD_TILT,) if plan.coupled is not False and FIELD_TILT in plan.standard.limits else ()
    return (*to_measure(plan.standard), *tilt)


def held(plan: Plan, measured: Sequence[Measured]) -> tuple[Row, ...]:
    """Return the rows of one line: everything measured, and every level nobody measured."""
    limits = plan.standard.limits
    seen = (one for one in measured if one.quantity.value is not None or one.quantity.name in limits)
    rows = [_row(plan, one) for one in seen if not _superseded(one, measured)]
    known = {row.finding.quantity for row in rows}
    rows += [_row(plan, _missing(plan, name)) for name in owed(plan) if name not in known]
    return _placed(_with_needs(plan, _without_the_impossible(rows)))


def _superseded(one: Measured, measured: Sequence[Measured]) -> bool:
    """Tell whether a place kept for a reading is no longer needed because the quantity was measured elsewhere."""
    others = (other for other in measured if other is not one and not other.unread)
    return one.unread and any(other.quantity.name == one.quantity.name for other in others)


def _without_the_impossible(rows: Sequence[Row]) -> list[Row]:
    """Return the rows with no pass for a reading that another reading of the same quantity rules out.

    Two readings of one level agree when they differ by no more than both expanded uncertainties together (root sum of
    squares), and one that is a bound rules out only what lies beyond it. Where they do not, one of them is wrong, and
    nobody knows which: neither proves anything good.
    """
    out = []
    for row in rows:
        rival = next((other for other in rows if _excludes(row.measured, other.measured)), None)
        if rival is not None and row.finding.outcome == CONFORMS:
            unit = QUANTITIES[row.finding.quantity].unit
            why = (
                f"Not proven: {show(row.measured.quantity.value or 0.0, unit)} ({row.measured.label}) and"
                f" {show(rival.measured.quantity.value or 0.0, unit)} ({rival.measured.label}) exclude each other;"
                f" one of them is wrong. {row.finding.why}"
            )
            row = replace(row, finding=replace(row.finding, outcome=NOT_PROVEN, why=why, remedy=READ_AGAIN))
        out.append(row)
    return out


def _excludes(one: Measured, other: Measured) -> bool:
    a, b = one.quantity, other.quantity
    if one is other or a.name != b.name or not (one.usable and other.usable):
        return False
    widths = (a.uncertainty, b.uncertainty)
    if a.value is None or b.value is None or None in widths:
        return False
    above = a.value - b.value
    if abs(above) <= math.hypot(*(width or 0.0 for width in widths)):
        return False
    higher, lower = (a, b) if above > 0 else (b, a)
    return higher.bound != AT_MOST and lower.bound != AT_LEAST


def _missing(plan: Plan, name: str) -> Measured:
    quantity = Quantity(name, plan.line.name, plan.guarded, None, origin=MEASURED, failure=NOT_MEASURED)
    return Measured(quantity, None, None, None, None, "", "", unread=True)


def _row(plan: Plan, one: Measured) -> Row:
    quantity = one.quantity
    limit = captured_limits().get(quantity.name) or plan.standard.limits.get(quantity.name)
    made = _held(quantity, limit)
    meaning = _meaning(plan, quantity)
    comparable = quantity.value is not None and (quantity.name.startswith("level.") or quantity.name == FIELD_TILT)
    compared, off = _against_plan(plan, quantity) if comparable else ("", False)
    why = " ".join(text for text in (made.why, meaning, compared) if text)
    remedy = _remedy(one, made) if limit is not None else None
    return Row(one, replace(made, why=why, planned=plan.nominal(quantity.name), remedy=remedy), off)


def _meaning(plan: Plan, quantity: Quantity) -> str:
    """Return what a steady level means where the standard knows several states."""
    windows = plan.standard.windows
    if quantity.name != "level.blank" or quantity.value is None or not windows:
        return ""
    value = quantity.value
    found = [one.means for one in windows if one.low <= value <= one.high]
    return f"This level means: {', '.join(found)}." if found else "At this level no state is defined."


def _against_plan(plan: Plan, quantity: Quantity) -> tuple[str, bool]:
    """Return the plan of a level in words, and whether a cause is owed because the reading lies off it.

    A direct voltage asks for a cause when the scope's coupling is known: else it may be that alone.
    """
    planned, unit = plan.nominal(quantity.name), QUANTITIES[quantity.name].unit
    if plan.failure is not None:
        return f"Nothing to compare it with: {plan.failure}.", False
    if planned is None:
        return "", False
    ends = span(plan.quantities[quantity.name].spread, unit)
    tolerances = f" ({ends} with the declared tolerances)" if " to " in ends else ""
    words = f"Planned: {show(planned, unit)}{tolerances}"
    value, width = quantity.value, quantity.uncertainty
    if value is None or width is None or quantity.bound is not None or quantity.failure is not None:
        return f"{words}.", False
    away = value - planned
    tolerance = math.hypot(2.0 * plan.half_spread(quantity.name) / math.sqrt(3.0), plan.pictures(quantity.name))
    if abs(away) <= math.hypot(width, tolerance):
        return f"{words}; the reading agrees with it.", False
    side = "above" if away > 0 else "below"
    told = f"{words}; the reading lies {show(abs(away), unit)} {side}, more than both uncertainties."
    return told, "coupling" not in quantity.unknowns


def _remedy(one: Measured, made: Finding) -> str | None:
    quantity = one.quantity
    if made.outcome != NOT_PROVEN:
        return None
    if quantity.value is None or (quantity.name in READ_SO and quantity.failure is not None):
        return READ_SO.get(quantity.name, READ_IT if one.unread else None)
    option = 1 if one.how == CAPTURED else 0
    if quantity.bound is not None:
        return SAY_PICTURE[option]
    if quantity.failure is not None:
        return None
    said = {"load": SAY_LOAD, "coupling": SAY_COUPLING}
    asked = [words[option] for name, words in said.items() if name in quantity.unknowns]
    return "; ".join(asked) or READ_FINER


def _with_needs(plan: Plan, rows: Sequence[Row]) -> list[Row]:
    """Say which findings count: whatever decided, and every level to be measured that nothing has proven yet.

    White that conforms says nothing of black, blanking or sync, so one reading never settles a line that owes several.
    Of several measurements of one quantity, one that conforms proves it; the others need not.
    """
    proven = {row.finding.quantity for row in rows if row.finding.outcome == CONFORMS}
    must = (*owed(plan), *MUST_SHOW)

    def counts(made: Finding) -> bool:
        if made.limit is None or made.kind == WORKMANSHIP:
            return False
        return made.outcome in DECIDED or (made.quantity in must and made.quantity not in proven)

    counted = ((row, counts(row.finding)) for row in rows)
    return [
        replace(row, finding=replace(row.finding, needed=needed, remedy=row.finding.remedy if needed else None))
        for row, needed in counted
    ]


def _placed(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Tell several measurements of one quantity apart: the first that decides keeps the plain name."""
    ordered = sorted(rows, key=lambda row: row.finding.outcome not in DECIDED)
    seen: set[str] = set()
    out = []
    for row in ordered:
        name = row.finding.quantity
        where = row.measured.label if name in seen else None
        seen.add(name)
        out.append(replace(row, finding=replace(row.finding, where=where)))
    return tuple(out)


def mismatches(plans: Mapping[str, Plan], rows: Mapping[str, Iterable[Row]]) -> tuple[Finding, ...]:
    """Return `level.mismatch` of every line of a picture whose whites were all measured.

    It counts when it does not conform: two readings of 3 % each can seldom prove half a decibel.
    """
    groups: dict[str, list[Plan]] = {}
    for plan in plans.values():
        if plan.standard.group is not None and MISMATCH in plan.standard.quantities:
            groups.setdefault(plan.standard.group, []).append(plan)
    return tuple(made for members in groups.values() for made in _mismatch(members, rows))


def _mismatch(members: Sequence[Plan], rows: Mapping[str, Iterable[Row]]) -> list[Finding]:
    whites = [_white(rows[plan.line.name]) for plan in members]
    if len(members) < 2 or any(white is None or not white.value or white.value <= 0 for white in whites):
        return []
    found = sorted((white for white in whites if white is not None), key=lambda one: one.value or 0.0)
    low, high = found[0], found[-1]
    ratio = decibels((high.value or 1.0) / (low.value or 1.0))
    width = DB * math.hypot(*((one.uncertainty or 0.0) / (one.value or 1.0) for one in (low, high)))
    planned = planned_mismatch(members)
    out = []
    for plan in members:
        quantity = Quantity(MISMATCH, plan.line.name, plan.guarded, ratio, origin=MEASURED, uncertainty=width)
        limit = plan.standard.limits.get(MISMATCH)
        made = _held(quantity, limit)
        why = f"{made.why} Brightest {high.line}, darkest {low.line}."
        out.append(replace(made, why=why, planned=planned, needed=made.needed and made.outcome == DOES_NOT_CONFORM))
    return out


def _white(rows: Iterable[Row]) -> Quantity | None:
    """Return the first white of a line that stands for itself: known picture, known load, known uncertainty."""
    for row in rows:
        one = row.measured.quantity
        if one.name == "level.white" and row.measured.usable and one.bound is None and not one.unknowns:
            return one
    return None
