"""HAZ01: what else in the unit can hurt.

Hazard
    Mains, a picture tube, a reservoir capacitor, an optical pick-up with its lid switch bridged, a lithium cell, hot
    air: none of them shows in the signal, each has hurt somebody.
What is read
    What the job declares under [hazards]: flags, the wavelength and power of a laser. What that table does not name
    nobody has looked for, unless `others = false` says so. What is only unknown is told as unknown, never as a fact.
Limit and source
    Class 1 limits of a laser by wavelength (IEC 60825-1, as coded in public programs); class 3R is five times class 1
    for invisible light and 5 mW for visible light. The other figures are service practice (cautions/hazards.toml).
    Declared power can break the limit, never keep it.
Not covered
    Whatever the job does not declare. Ultraviolet, microwaves, asbestos, lead.
What to do at the bench
    Follow the caution of each row. Local codes come first; mains, high voltage and lasers are for licensed practice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from guardcheck.cautions import OTHERS, TABLE, Hazard, declared_hazards, hazards
from guardcheck.errors import InputError
from guardcheck.model import (
    COMPUTED,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    KNOWN_BY,
    NOT_APPLICABLE,
    NOT_PROVEN,
    PERSON,
    SAFETY,
    UNKNOWN_OF,
    UNKNOWN_WORD,
    Case,
    Fact,
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

FACT, POWER = "declared.fact", "laser.power"
RULE = Rule(code="HAZ01", title="Unit hazards", klass=SAFETY, quantities=(POWER,), tables=("hazards",), kind=PERSON)

CAUTION, RESTORE, LIMIT = "caution", "restore", "limit"
NOBODY_LOOKED = "Not proven: the job has no [hazards] table, so nobody has said what else in the unit can hurt."
LOOK = (
    'look, then write into [hazards] of the job file true for what is there, "unknown" where you could not look, and '
    "others = false once you have looked for all the rest"
)

UNKNOWN = (f"{UNKNOWN_OF}{TABLE}",)
"""Code of a hazard nobody knows of: no paper may tell it as a fact."""

PUT_BACK = "have every bridged cover or lid switch put back as built before anything is powered; local codes first"
DARK = (
    "do not power it with the lid open or look towards the lens; have the drive put back as built by a person trained "
    "for lasers; local codes first"
)

C4_FROM = 700e-9
"""Wavelength [m] from which the limit rises with C4."""


@dataclass(frozen=True)
class _Class1:
    """One span of wavelengths [m] with its class 1 limit; `rises`: times C4."""

    low: float
    high: float
    rises: bool
    limit: Limit


@dataclass(frozen=True)
class _Data:
    class_3r_invisible: float
    class_3r_visible: float
    visible_to: float
    limits: tuple[_Class1, ...]


@cache
def _data() -> _Data:
    top, _ = read_table(Path(__file__).parent / "data" / "lasers.toml", error=InputError)
    laser = top.table("laser")
    return _Data(
        laser.real("class_3r_invisible", "1"),
        laser.real("class_3r_visible", "W"),
        laser.real("visible_to", "m"),
        tuple(
            _Class1(
                row.real("from", "m"),
                row.real("to", "m"),
                row.flag("rises"),
                Limit(POWER, None, row.real("power", "W"), None, row.text("reference"), row.text("known_by")),
            )
            for row in laser.tables("limit")
        ),
    )


def class_1_limit(wavelength: float) -> Limit | None:
    """Return the class 1 limit of a laser [W] at a wavelength [m], None where no limit was read."""
    for row in _data().limits:
        if row.low <= wavelength <= row.high:
            c4 = 10.0 ** (0.002 * (wavelength - C4_FROM) * 1e9) if row.rises else 1.0
            return replace(row.limit, high=(row.limit.high or 0.0) * c4)
    return None


def class_3r_limit(wavelength: float, class_1: float) -> float:
    """Return where class 3R ends [W] at a wavelength [m] whose class 1 ends at `class_1` [W]."""
    data = _data()
    return data.class_3r_visible if wavelength <= data.visible_to else data.class_3r_invisible * class_1


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every declared hazard; one that is only unknown is not proven either way."""
    entries = declared_hazards(facts.declared)
    findings: list[Finding] = []
    for hazard in hazards():
        declared = hazard.declared(entries)
        if declared is not None:
            held = hazard.settles == LIMIT
            found = _laser(entries, hazard.caution(declared)) if held else iter((_hazard(facts, hazard, declared),))
            codes = UNKNOWN if declared == UNKNOWN_WORD else ()
            findings += [replace(one, codes=(*one.codes, *codes)) for one in found]
    if not facts.table(TABLE):
        return (replace(_row("not looked for", NOT_PROVEN, NOBODY_LOOKED), remedy=LOOK),)
    if silent := [hazard.name for hazard in hazards() if not hazard.told(entries)]:
        findings += _silent(silent, entries.get(OTHERS))
    if findings:
        return tuple(findings)
    why = "Not applicable: the job says that there is no hazard; nobody can prove that there is none."
    return (_row("none declared", NOT_APPLICABLE, why, needed=False),)


def _silent(names: Sequence[str], others: object) -> Iterator[Finding]:
    """Yield the row of what the table does not name; none where the job says that somebody looked and found nothing."""
    if others is True:
        why = f"Not proven: the job says that there is more than it names, and not which: {', '.join(names)}?"
    elif others is False:
        return
    else:
        named = " or ".join(part for part in (", ".join(names[:-1]), names[-1]) if part)
        why = f"Not proven: the job does not say whether there is {named}."
    yield replace(_row("not named", NOT_PROVEN, why), remedy=LOOK)


def _hazard(facts: Facts, hazard: Hazard, declared: object) -> Finding:
    where, told = hazard.keys[0].replace("_", " "), hazard.caution(declared)
    if declared == UNKNOWN_WORD:
        return _row(where, NOT_PROVEN, f"Not proven: {told}")
    if hazard.settles == RESTORE:
        return replace(_row(where, DOES_NOT_CONFORM, told), remedy=PUT_BACK)
    if hazard.settles == CAUTION or facts.table(hazard.settles):
        return _row(where, NOT_APPLICABLE, f"A caution, nothing to judge: {told}", needed=False)
    return _row(where, NOT_PROVEN, f"Not proven: nothing in this job shows that it is safe. {told}")


def _laser(declared: Mapping[str, Any], told: str) -> Iterator[Finding]:
    """Yield the row of a laser: its declared power against class 1, its label worth nothing with the lid open."""
    data = _data()
    length, power = declared.get("laser_wavelength"), declared.get("laser_power")
    limit = class_1_limit(length.nominal) if isinstance(length, Value) else None
    watts = power.high if isinstance(power, Value) else None
    opened = declared.get("interlock_defeated") not in (None, False)
    label = " Its class 1 label says nothing while the lid switch is bridged." if opened else ""
    quantity = Quantity(POWER, "", None, watts, origin=COMPUTED, where="lens")
    if limit is None or limit.high is None or not isinstance(length, Value):
        missing = (
            "no limit at its wavelength was read" if isinstance(length, Value) else "its wavelength is not declared"
        )
        why = f"Not proven: {missing}.{label} {told}"
        yield _laser_row(quantity, None, NOT_PROVEN, why)
        return
    third = format_si(class_3r_limit(length.nominal, limit.high), "W")
    doubt = f" ({KNOWN_BY['recalled']})" if length.nominal <= data.visible_to else ""
    allowed = f"class 1 ends at {format_si(limit.high, 'W')}, class 3R at {third}{doubt}"
    if watts is None:
        why = f"Not proven: its power is not declared; {allowed}.{label} {told}"
        yield _laser_row(quantity, limit, NOT_PROVEN, why)
    elif watts > limit.high:
        why = f"{format_si(watts, 'W')} at the lens; {allowed}.{label} {told}"
        yield replace(_laser_row(quantity, limit, DOES_NOT_CONFORM, why), remedy=DARK)
    else:
        why = f"Not proven: {format_si(watts, 'W')} declared, not measured; {allowed}.{label} {told}"
        yield _laser_row(quantity, limit, NOT_PROVEN, why)


def _laser_row(quantity: Quantity, limit: Limit | None, outcome: str, why: str) -> Finding:
    return replace(finding(RULE.code, quantity, limit, needed=True), outcome=outcome, why=why, needed=True)


def _row(where: str, outcome: str, why: str, *, needed: bool = True) -> Finding:
    quantity = Quantity(FACT, "", None, None, origin=DECLARED_ORIGIN, where=where)
    return replace(finding(RULE.code, quantity, None, needed=needed), outcome=outcome, why=why, needed=needed)


def _case(**entries: Any) -> Facts:
    return Facts(declared=(Fact("hazards", 0, "hazards 1", {"others": False} | entries),))


_CD = {"laser": True, "laser_wavelength": Value.exact(780e-9, "m")}
CASES = (
    Case("mains inside: a caution", _case(mains_inside=True), NOT_APPLICABLE),
    Case("lid switch bridged", _case(laser=True, interlock_defeated=True), DOES_NOT_CONFORM),
    Case("5 mW at 780 nm", _case(**_CD, laser_power=Value.exact(5e-3, "W")), DOES_NOT_CONFORM),
    Case("0.3 mW at 780 nm, declared", _case(**_CD, laser_power=Value.exact(0.3e-3, "W")), NOT_PROVEN),
    Case("pick-up, power not declared", _case(**_CD), NOT_PROVEN),
    Case("picture tube, not shown discharged", _case(crt=True), NOT_PROVEN),
    Case("looked, and nothing there", _case(), NOT_APPLICABLE),
    Case("no mains, and not a word of the rest", _case(mains_inside=False, others="unknown"), NOT_PROVEN),
    Case("an empty table", Facts(declared=(Fact("hazards", 0, "hazards 1", {}),)), NOT_PROVEN),
    Case("nobody looked", Facts(), NOT_PROVEN),
)
