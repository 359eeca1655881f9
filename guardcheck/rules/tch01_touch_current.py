"""TCH01: touch current through the accessible 0 V.

Hazard
    Y capacitors tie the 0 V of a unit without protective earth to the mains. Whoever touches a connector shell closes
    the circuit; joining apparatus adds their currents, so a mod can push two compliant units past a limit together.
What is read
    Declared Y capacitance, how it sits, mains and frequency; the current through the body network is simulated, for
    the unit, for the display, and for both joined (with every other apparatus declared as a link). A measured touch
    current takes the place of the simulated one, and so does the touch check of service manuals.
Limit and source
    The limit of the standard the job names (`touch_standard`), by protection class: EN 50678 (test after repair, known
    only second-hand), IEC 60950-1, IEC 62368-1, IEC 60065 or IEC 60335-1 (data/touch.toml). They differ by a factor of
    two, so the others are told as well. Without a name, only what breaks every limit fails, and only what keeps the
    lowest conforms. Shown at the declared mains, judged at 1.1 x it.
Not covered
    Leakage above mains frequency, direct current, protective-conductor current, the insulation of the supply itself.
    A printed capacitance can show that a limit is broken, never that it is kept.
What to do at the bench
    Have the touch current measured with the weighted network, in both plug positions. Never add a protective earth to a
    class II unit to get rid of it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import hypot
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.leakage import DISPLAY, SERVICE_READING, UNIT, apparatus, halves, known, service_check
from guardcheck.metrology import expanded, width_of
from guardcheck.model import (
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    KNOWN_BY,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    PERSON,
    SAFETY,
    SIMULATED,
    Ask,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
    Value,
)
from guardcheck.toml_tables import read_table
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding

QUANTITY = "touch.current"
RULE = Rule(code="TCH01", title="Touch current", klass=SAFETY, quantities=(QUANTITY,), kind=PERSON)

JOINED = "joined"
PLACES = (UNIT, DISPLAY, JOINED)
BODY = 500.0
"""Resistor [ohm] of the body network the weighted voltage is divided by."""
_READING = "touch_reading"


@dataclass(frozen=True)
class _Data:
    decided_at: float
    limits: Mapping[str, Mapping[str, Limit]]
    titles: Mapping[str, str]


@cache
def _data() -> _Data:
    top, _ = read_table(Path(__file__).parent / "data" / "touch.toml", error=InputError)
    rows = {row.text("name"): row for row in top.tables("standard")}
    return _Data(
        top.real("decided_at", "1"),
        {
            name: {
                one.text("class"): Limit(
                    QUANTITY, None, one.real("current", "A"), None, one.text("reference"), one.text("known_by")
                )
                for one in row.tables("limit")
            }
            for name, row in rows.items()
        },
        {name: row.text("title") for name, row in rows.items()},
    )


def touch_standards() -> tuple[str, ...]:
    """Return the names `touch_standard` may have."""
    return tuple(sorted(_data().limits))


SETTINGS = {"touch_standard": touch_standards}
"""The keys of a job whose names this rule alone knows."""


def asks(facts: Facts) -> tuple[Ask, ...]:
    """Return the simulations wanted: touch current of the unit, of the display, of everything joined."""
    mains, frequency = known(facts.supply, "mains"), known(facts.supply, "mains_frequency")
    if mains is None or frequency is None:
        return ()
    sums: dict[str, tuple[float, float]] = {}
    for where, entries in apparatus(facts):
        capacitance = known(entries, "y_capacitance")
        if capacitance is None:
            continue
        live, neutral = halves(entries, capacitance.value)
        for place in (where, JOINED):
            before = sums.get(place, (0.0, 0.0))
            sums[place] = before[0] + live, before[1] + neutral
    return tuple(
        Ask(
            f"TCH01/{where}",
            "touch-current",
            {"mains": mains.value, "y_live": live, "y_neutral": neutral},
            "v(weighted)",
            frequency.value,
        )
        for where, (live, neutral) in sums.items()
        if where in PLACES
    )


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge the touch current of the unit, the display and both joined."""
    named = facts.settings.get("touch_standard")
    if not _concerns(facts, named):
        why = (
            "Not applicable: no mains, Y capacitance or touch-current standard is declared, so no leakage is examined."
        )
        return (_plain(UNIT, NOT_APPLICABLE, why, needed=False),)
    if named is not None and named not in _data().limits:
        known = touch_standards()
        why = (
            f"Not proven: no touch-current limit of '{named}' is known here; "
            f"accepted: {accepted(known)}{nearest(str(named), known)}."
        )
        return tuple(_plain(where, NOT_PROVEN, why) for where in PLACES)
    return tuple(_judge_one(facts, where, named) for where in PLACES)


def _concerns(facts: Facts, named: object) -> bool:
    declared = {*facts.supply, *facts.display}
    wanted = {"mains", "y_capacitance", "y_coupling", "protection_class", _READING, SERVICE_READING}
    return bool(declared & wanted) or named is not None or any(facts.named((QUANTITY,)))


def _judge_one(facts: Facts, where: str, named: str | None) -> Finding:
    limits = _limits(facts, where, named)
    if not limits:
        return _plain(where, NOT_PROVEN, f"Not proven: {named} has no limit for this protection class that was read.")
    measured = _measured(facts, where)
    strict, lax = (
        _by_simulation(facts, where, limit) if measured is None else _by_reading(measured, limit)
        for limit in (limits[0], limits[-1])
    )
    if named is not None:
        return strict
    disputed = strict.outcome == DOES_NOT_CONFORM and lax.outcome != DOES_NOT_CONFORM
    why = f"{strict.why} The job names no `touch_standard`, so the lowest limit is shown" + (
        "; another standard allows more: not proven until one is named." if disputed else "."
    )
    return replace(strict, outcome=NOT_PROVEN if disputed else strict.outcome, why=why)


def _class(facts: Facts, where: str) -> str:
    """Return the class whose limit holds: I only where a protective earth is declared, else II, the stricter."""
    if where == UNIT:
        return "I" if facts.supply.get("protection_class") == "I" else "II"
    earthed = facts.display.get("earthed") is True
    return "I" if earthed or (where == JOINED and facts.supply.get("protection_class") == "I") else "II"


def _limits(facts: Facts, where: str, named: str | None) -> tuple[Limit, ...]:
    """Return the limit of the named standard, or those of all of them, lowest first."""
    klass = _class(facts, where)
    rows = _data().limits.values() if named is None else (_data().limits[named],)
    return tuple(sorted((row[klass] for row in rows if klass in row), key=lambda one: one.high or 0.0))


def _measured(facts: Facts, where: str) -> Quantity | None:
    """Return the measured touch current: a reading of its own, or for both joined the sum of the two.

    Joining adds at most, so a sum that keeps the limit proves it, as long as nothing else is linked.
    """
    for quantity in facts.named((QUANTITY,)):
        if quantity.origin == MEASURED and quantity.where == where:
            return quantity
    if where == JOINED:
        parts = [_measured(facts, one) for one in (UNIT, DISPLAY)]
        alone = not facts.table("link")
        return _sum([one for one in parts if one is not None]) if alone and None not in parts else None
    declared = {UNIT: facts.supply, DISPLAY: facts.display}.get(where, {})
    entries = declared.get(_READING)
    if not isinstance(entries, Mapping) or not isinstance(entries.get("value"), Value):
        return _by_service_check(facts, where, declared)
    value = entries["value"].nominal
    width = width_of(entries, value, "A")
    uncertainty = None if width is None else expanded(width)
    return Quantity(QUANTITY, "", None, value, origin=MEASURED, uncertainty=uncertainty, where=where)


def _by_service_check(facts: Facts, where: str, declared: Mapping[str, Any]) -> Quantity | None:
    """Return the current behind the touch check of service manuals; a capacitor drives the same through any network."""
    read, frequency = service_check(declared), known(facts.supply, "mains_frequency")
    if read is None or read.gap is not None or frequency is None:
        return None
    siemens = read.admittance(frequency.value)
    uncertainty = None if read.uncertainty is None else siemens * read.uncertainty
    notes = (f"It was reckoned from {format_si(read.volts, 'V')} across 1.5 kohm parallel 0.15 uF.",)
    value = siemens * read.volts
    return Quantity(QUANTITY, "", None, value, origin=MEASURED, uncertainty=uncertainty, where=where, notes=notes)


def _sum(parts: Sequence[Quantity]) -> Quantity | None:
    values = [one.value for one in parts if one.value is not None]
    widths = [one.uncertainty for one in parts if one.uncertainty is not None]
    if len(values) < len(parts):
        return None
    uncertainty = hypot(*widths) if len(widths) == len(parts) else None
    notes = ("This is the sum of both readings: joining adds at most.",)
    return Quantity(
        QUANTITY, "", None, sum(values), origin=MEASURED, uncertainty=uncertainty, where=JOINED, notes=notes
    )


def _by_reading(measured: Quantity, limit: Limit) -> Finding:
    """Judge a measured touch current, as it would be at 1.1 x the mains it was measured at."""
    if measured.value is None or measured.uncertainty is None:
        return finding(RULE.code, measured, limit, needed=True)
    factor = _data().decided_at
    judged = finding(
        RULE.code,
        replace(measured, value=factor * measured.value, uncertainty=factor * measured.uncertainty),
        limit,
        needed=True,
    )
    why = f"{format_si(measured.value, 'A')} was measured; judged at {factor:g} x the mains: {judged.why}"
    return replace(judged, value=measured.value, uncertainty=measured.uncertainty, why=why)


def _by_simulation(facts: Facts, where: str, limit: Limit) -> Finding:
    gap = _gap(facts, where)
    if gap is not None:
        return _plain(where, NOT_PROVEN, f"Not proven: {gap}.", limit=limit)
    volts = facts.answers.get(f"TCH01/{where}")
    if volts is None:
        return _plain(where, NOT_PROVEN, "Not proven: the body network could not be simulated.", limit=limit)
    value = volts / BODY
    doubt = _doubt(facts, where)
    factor, high = _data().decided_at, limit.high or 0.0
    fails = factor * value * doubt.certain > high
    quantity = Quantity(QUANTITY, "", None, value, origin=SIMULATED, where=where)
    shown = f"{format_si(value, 'A')} at the declared mains, {format_si(factor * value, 'A')} at {factor:g} x it"
    if doubt.unknown:
        shown += f" (not declared, worst usual value used: {', '.join(doubt.unknown)})"
    allowed = format_si(high, "A")
    verdict = (
        f"above the limit of {allowed}."
        if fails
        else f"against a limit of {allowed}: not proven, because a declared capacitance is not a measurement."
    )
    why = f"{shown}, {verdict} {_others(facts, where, factor * value)}{_where_words(facts, where)}"
    return replace(
        finding(RULE.code, quantity, limit, needed=True),
        outcome=DOES_NOT_CONFORM if fails else NOT_PROVEN,
        why=why.strip(),
        remedy=_REMEDY,
        spread=(value * doubt.low, value * doubt.high) if doubt.high > doubt.low else None,
    )


_REMEDY = (
    "have the touch current measured with the weighted network of IEC 60990 in both plug positions; a Y capacitor is "
    "only ever replaced by a licensed person with one of the same class. Never add a protective earth to a class II "
    "unit."
)


def _gap(facts: Facts, where: str) -> str | None:
    """Return what is not declared and has no stand-in."""
    for name in ("mains", "mains_frequency"):
        if known(facts.supply, name) is None:
            return f"[supply] {name} is not declared"
    for owner, entries in ((UNIT, facts.supply), (DISPLAY, facts.display)):
        if where in (owner, JOINED) and known(entries, "y_capacitance") is None:
            return f"the Y capacitance of the {owner} is not declared"
    return None


@dataclass(frozen=True)
class _Doubt:
    """What is not known of a current: shares of its value that are certain, lowest, highest; names of unknowns."""

    certain: float
    low: float
    high: float
    unknown: tuple[str, ...]


def _doubt(facts: Facts, where: str) -> _Doubt:
    """Return the doubt about one current: it follows mains, frequency and the sum of the capacitances in proportion."""
    unknown: list[str] = []
    sums = [0.0, 0.0, 0.0, 0.0]
    for owner, entries in apparatus(facts):
        one = known(entries, "y_capacitance")
        if one is None or where not in (owner, JOINED):
            continue
        sums = [sums[0] + one.certain, sums[1] + one.low, sums[2] + one.high, sums[3] + one.value]
        if one.unknown:
            what = "capacitance between the windings of the transformer" if one.windings else "Y capacitance"
            unknown.append(f"{what} of {owner}")
        if entries.get("y_coupling") not in ("symmetric", "single"):
            unknown.append(f"coupling of {owner}")
    shares = [total / sums[3] if sums[3] else 1.0 for total in sums[:3]]
    for name in ("mains", "mains_frequency"):
        one = known(facts.supply, name)
        if one is not None and one.value:
            shares = [
                shares[0] * one.certain / one.value,
                shares[1] * one.low / one.value,
                shares[2] * one.high / one.value,
            ]
            unknown += [name.replace("_", " ")] if one.unknown else []
    return _Doubt(shares[0], shares[1], shares[2], tuple(unknown))


def _others(facts: Facts, where: str, decided: float) -> str:
    """Tell what every other standard's limit would say of the same current."""
    klass = _class(facts, where)
    words = []
    for name, rows in sorted(_data().limits.items()):
        if klass in rows and name != facts.settings.get("touch_standard"):
            high, known = rows[klass].high or 0.0, rows[klass].known_by
            doubt = "" if known == "read" else f", {KNOWN_BY[known]}"
            side = "over" if decided > high else "within"
            words.append(f"{_data().titles[name]} {format_si(high, 'A')} ({side}{doubt})")
    return f"Other standards' limits: {', '.join(words)}." if words else ""


def _where_words(facts: Facts, where: str) -> str:
    if where == JOINED:
        return " Joining apparatus adds their currents."
    if _class(facts, where) == "I":
        return " Judged with the protective earth interrupted, which is the single fault that lets it be felt."
    return ""


def _plain(where: str, outcome: str, why: str, *, needed: bool = True, limit: Limit | None = None) -> Finding:
    quantity = Quantity(QUANTITY, "", None, None, origin=DECLARED_ORIGIN, where=where)
    return replace(finding(RULE.code, quantity, limit, needed=needed), outcome=outcome, why=why, needed=needed)


def _facts(capacitance: str, standard: str | None, answer: float | None, **more: Any) -> Facts:
    farads = {"4.7 nF": 4.7e-9, "2.2 nF": 2.2e-9}[capacitance]
    supply = {
        "mains": Value.exact(230.0, "V"),
        "mains_frequency": Value.exact(50.0, "Hz"),
        "y_capacitance": Value.exact(farads, "F"),
        "y_coupling": "single",
        **more,
    }
    answers = {f"TCH01/{where}": answer for where in PLACES}
    settings = {} if standard is None else {"touch_standard": standard}
    return Facts(supply=supply, display={"y_capacitance": supply["y_capacitance"]}, settings=settings, answers=answers)


_TESTED = Quantity(QUANTITY, "", None, 0.05e-3, origin=MEASURED, uncertainty=2e-6)
CASES = (
    Case(
        "both measured, their sum well below the limit",
        Facts(
            tuple(replace(_TESTED, where=where) for where in (UNIT, DISPLAY)),
            settings={"touch_standard": "iec-62368-1"},
        ),
        "conforms",
    ),
    Case("4.7 nF against 0.25 mA", _facts("4.7 nF", "iec-60950-1", 0.1693), DOES_NOT_CONFORM),
    Case("4.7 nF against 0.5 mA: declared, so never proven", _facts("4.7 nF", "iec-62368-1", 0.1693), NOT_PROVEN),
    Case("4.7 nF and no standard named: the standards disagree", _facts("4.7 nF", None, 0.1693), NOT_PROVEN),
    Case("no simulator", _facts("2.2 nF", "iec-62368-1", None), NOT_PROVEN),
    Case("mains declared, Y capacitance not", Facts(supply={"mains": Value.exact(230.0, "V")}), NOT_PROVEN),
    Case("nothing about the mains declared", Facts(), NOT_APPLICABLE),
    Case("class I unit, 4.7 nF", _facts("2.2 nF", "iec-60950-1", 0.0793, protection_class="I"), NOT_PROVEN),
)
