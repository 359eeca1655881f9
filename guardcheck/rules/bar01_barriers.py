"""BAR01: barriers between boards, tails and shields.

Hazard
    What looks like insulation may not be: a shielding bag holds a metal layer under a coat that a solder tail pierces,
    a dissipative film leaks, and both read "over range" on a hand meter.
What is read
    The material, its maker's designation, and readings of each face: value or over range, the end of that range, the
    meter's voltage, the distance of the probes. Two-point readings are converted to sheet resistance and to what a ring
    electrode would read. A sheet described by a word nobody here knows is of unknown kind without a designation.
Limit and source
    Insulative means at least 1e11 ohm (ANSI/ESD S541). Over range proves no more than the range end: 60 Mohm leaves 3.2
    decades of the dissipative class unseen. A material with a metal layer is a short between every two nodes it spans,
    whatever was read. Only a single-layer dissipative film may be judged by its leak: a tenth of the range end above
    the meter's own voltage (common practice, no published source), simulated into the node it keeps apart.
Not covered
    Heat, ageing, moisture, wear. Field strength is proposed from data sheets, never proven.
What to do at the bench
    Probe about 1 mm apart, on both faces, in several places, on an edge and on a fold (common practice). Trim solder
    tails. Replace any bag by a sheet that is made to insulate.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from math import log10
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError
from guardcheck.metrology import RING_FACTOR, expanded, ring_equivalent, width_of
from guardcheck.model import (
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    PERSON,
    SAFETY,
    Ask,
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

RESISTANCE, LEAKAGE = "barrier.resistance", "barrier.leakage"
RULE = Rule(
    code="BAR01",
    title="Barriers",
    klass=SAFETY,
    quantities=(RESISTANCE, LEAKAGE),
    tables=("barrier",),
    kind=PERSON,
)

METAL, FILM, UNKNOWN, SHEET = "metal", "film", "unknown", "sheet"
OVER_RANGE = "over range"
UNREAD, FACES, EDGE, SPACING = "barrier-unread", "barrier-faces", "barrier-edge", "barrier-spacing"
WORKING, VOLTAGE, LAYERS, OPEN_BELOW = "barrier-working", "barrier-voltage", "barrier-layers", "barrier-open-below"
"""Codes of what readings leave open. That of the test voltage leaves insulation open, not a leak that was reckoned."""
DEAD_SHORT = 1e-3
"""Resistance [ohm] of a node nobody stated: the most that can leak is what a short would take."""
UNTOLD = 0.5
"""Share of a reading that is believed when the meter's accuracy is not declared (common practice)."""
_PAIRS = (frozenset(("inner", "outer")), frozenset(("upper", "lower")))
_NO_SHEET = ("through", "edge")
_DENIED = re.compile(r"\bnon[- ]?(?:conductive|conducting|metal[a-z]*|reflect[a-z]*)")
"""What a material is said not to be is no word for what it is."""


@dataclass(frozen=True, slots=True)
class Gap:
    """One thing readings leave open: its code for decisions, its words for a reader."""

    code: str
    text: str


@dataclass(frozen=True)
class _Data:
    insulative: Limit
    dissipative_from: float
    beyond: float
    leak: Limit
    metal_path: float
    spacing: float
    tail: float
    materials: tuple[tuple[str, str, tuple[str, ...], tuple[str, ...]], ...]
    plain: frozenset[str]
    sheets: tuple[str, ...]


@cache
def _data() -> _Data:
    top, _ = read_table(Path(__file__).parent / "data" / "barriers.toml", error=InputError)
    classes, leak = top.table("class"), top.table("leak")
    lowest = classes.real("insulative_from", "ohm")
    return _Data(
        Limit(RESISTANCE, lowest, None, None, classes.text("reference"), classes.text("known_by")),
        classes.real("dissipative_from", "ohm"),
        leak.real("beyond_voltage", "1"),
        Limit(LEAKAGE, None, leak.real("shift", "V"), None, leak.text("reference"), leak.text("known_by")),
        leak.real("metal_path", "ohm"),
        leak.real("spacing", "m"),
        leak.real("tail_clearance", "m"),
        tuple(
            (row.text("layers"), row.text("what"), row.texts("words"), row.texts("plain"))
            for row in top.tables("material")
        ),
        frozenset(top.table("plain").texts("words")),
        tuple(
            f"{row.text('name')}, {format_si(row.real('thickness', 'm'), 'm')} ({row.text('strength')}, "
            f"{format_si(row.real('withstands', 'V'), 'V')})"
            for row in top.tables("sheet")
        ),
    )


@dataclass(frozen=True, slots=True)
class Material:
    """What a job calls a material: its layers, its name, and whether its maker's designation would settle its kind."""

    layers: str
    what: str
    nameable: bool = False


def material_of(told: str, designation: str = "") -> Material:
    """Return what a job calls a material, with the maker's designation if there is one.

    The first row of the list with a word found decides. A sheet described by a word nobody here knows, or a material
    that is not on the list, is of unknown kind until its maker's designation is given: a mirror is polyester too.
    """
    words = _DENIED.sub("", f"{told} {designation}".casefold())
    for layers, what, known, plain in _data().materials:
        if any(word in words for word in known):
            unnamed = layers == SHEET and not designation
            strange = _strange(_DENIED.sub("", told.casefold()), (*known, *plain)) if unnamed else ()
            if strange:
                return Material(UNKNOWN, f"a sheet called '{' '.join(strange)}', which may name a coating,", True)
            return Material(layers, what)
    if designation:
        return Material(SHEET, f"a sheet its maker calls '{designation}'")
    return Material(UNKNOWN, "a material that is not on the list", True)


def _strange(words: str, known: Sequence[str]) -> tuple[str, ...]:
    """Return the words of a description that are neither a material's own nor say nothing about layers."""
    for name in known:
        words = words.replace(name, " ")
    return tuple(dict.fromkeys(word for word in re.findall(r"[^\W\d_][\w-]*", words) if word not in _data().plain))


def classify(resistance: float) -> str:
    """Return the class of a surface resistance by ring electrode [ohm]: conductive, dissipative or insulative."""
    if resistance < _data().dissipative_from:
        return "conductive"
    return "insulative" if resistance >= (_data().insulative.low or 0.0) else "dissipative"


@dataclass(frozen=True)
class _Seen:
    """What one reading shows [ohm]: the meter's number, least and most it may be, least by ring electrode."""

    face: str
    shown: float
    least: float
    most: float | None
    ring: float
    over: bool
    voltage: float | None
    near: bool


def _seen(reading: Mapping[str, Any]) -> _Seen | None:
    value, span = reading.get("value"), reading.get("meter_range")
    over = value == OVER_RANGE
    told = span if over else value
    if not isinstance(told, Value):
        return None
    shown = told.nominal
    width = None if over else width_of(reading, shown, "ohm")
    if over:
        least, most = shown, None
    elif width is None:
        least, most = UNTOLD * shown, shown / UNTOLD
    else:
        least, most = max(shown - expanded(width), 0.0), shown + expanded(width)
    face, gap, voltage = str(reading.get("face", "")), reading.get("probe_spacing"), reading.get("test_voltage")
    spacing = gap.nominal if isinstance(gap, Value) else None
    flat = face not in _NO_SHEET
    return _Seen(
        face,
        shown,
        least,
        most,
        ring_equivalent(least, spacing) if flat and spacing is not None else least / RING_FACTOR if flat else least,
        over,
        voltage.nominal if isinstance(voltage, Value) else None,
        not flat or (spacing is not None and spacing <= _data().spacing),
    )


def _material(fact: Fact) -> Material:
    return material_of(str(fact.entries.get("material", "")), str(fact.entries.get("designation", "")))


def _all_seen(fact: Fact) -> tuple[_Seen, ...]:
    readings = fact.entries.get("readings", ())
    return tuple(one for one in map(_seen, readings) if one is not None)


def _number(fact: Fact, name: str) -> float | None:
    given = fact.entries.get(name)
    return given.nominal if isinstance(given, Value) else None


def _least_path(seen: Sequence[_Seen], working: float) -> float | None:
    """Return the least resistance the readings leave open at the working voltage [ohm]."""
    beyond = _data().beyond
    paths = [one.least if one.voltage is not None and working <= one.voltage else one.least / beyond for one in seen]
    return min(paths, default=None)


def asks(facts: Facts) -> tuple[Ask, ...]:
    """Return the simulations wanted: the worst leak of each barrier into the node it keeps apart."""
    found = []
    for where, fact in facts.table("barrier"):
        working = _number(fact, "working_voltage")
        if working is None:
            continue
        metal = _material(fact).layers == METAL
        path = _data().metal_path if metal else _least_path(_all_seen(fact), working)
        if path is not None:
            load = _number(fact, "node_resistance") or DEAD_SHORT
            values = {"working": working, "leak": max(path, DEAD_SHORT), "load": DEAD_SHORT if metal else load}
            found.append(Ask(f"BAR01/{where}", "barrier-leak", values, "i(vworking)"))
    return tuple(found)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every declared barrier: what its readings prove, and the worst leak they leave open."""
    findings = [one for where, fact in facts.table("barrier") for one in _barrier(facts, where, fact)]
    if findings:
        return tuple(findings)
    why = "Not applicable: the job declares no barrier."
    return (_row(Quantity(RESISTANCE, "", None, None), None, NOT_APPLICABLE, why, needed=False),)


def _barrier(facts: Facts, where: str, fact: Fact) -> Iterator[Finding]:
    material = _material(fact)
    layers, what = material.layers, material.what
    seen = _all_seen(fact)
    answer = facts.answers.get(f"BAR01/{where}")
    leak = Quantity(LEAKAGE, "", None, None if answer is None else abs(answer), where=where)
    if layers == METAL:
        yield from _metal(where, what, leak)
        return
    least = min(seen, key=lambda one: one.least, default=None)
    value = None if least is None else least.shown
    resistance = Quantity(RESISTANCE, "", None, value, origin=MEASURED, where=where)
    outcome, why, codes = _resistance(fact, material, seen)
    needed = layers != FILM or outcome == DOES_NOT_CONFORM
    yield replace(_row(resistance, _data().insulative, outcome, why, needed=needed), codes=codes)
    yield _leak(fact, layers, seen, leak)


def _metal(where: str, what: str, leak: Quantity) -> Iterator[Finding]:
    why = (
        f"{what} is a short between every two nodes it spans, whatever the meter shows: the metal lies under a coat "
        "that a solder tail pierces."
    )
    why = why[0].upper() + why[1:]
    yield _row(Quantity(RESISTANCE, "", None, None, where=where), _data().insulative, DOES_NOT_CONFORM, why)
    told = "What it would carry was not simulated."
    if leak.value is not None:
        told = f"Pierced at two points 10 mm apart it would carry about {format_si(leak.value, 'A')}."
    yield _row(replace(leak, estimate=True), None, DOES_NOT_CONFORM, f"{why} {told}")


def _resistance(fact: Fact, material: Material, seen: Sequence[_Seen]) -> tuple[str, str, tuple[str, ...]]:
    """Return outcome, sentence and codes of what the readings prove of a barrier without a known metal layer."""
    if not seen:
        why = "Not proven: no reading with a value, or with the end of the range it was over, is declared."
        return NOT_PROVEN, why, (UNREAD,)
    layers, least = material.layers, min(seen, key=lambda one: one.least)
    limit = _data().insulative.low or 0.0
    words = _words(least)
    if any(one.most is not None and one.most < limit for one in seen):
        kind = classify(least.ring)
        if layers == FILM and kind == "dissipative":
            return NOT_APPLICABLE, f"{words}: {kind}, as such a film is. It is no insulation; its leak decides.", ()
        return DOES_NOT_CONFORM, f"{words}: {kind}, not insulation.", ()
    if layers == FILM:
        return NOT_APPLICABLE, f"{words}. A dissipative film is never insulation; its leak decides.", ()
    gaps = [*_unknown_kind(material), *_gaps(fact, seen)]
    if least.ring < limit:
        gaps.append(Gap(OPEN_BELOW, f"that leaves {log10(limit / least.shown):.1f} decades below insulation open"))
    if gaps:
        return NOT_PROVEN, f"Not proven: {words}; {_told(gaps)}.", tuple(gap.code for gap in gaps)
    return CONFORMS, f"{words}, at no less than the working voltage, on both faces and an edge: insulative.", ()


def _unknown_kind(material: Material) -> Iterator[Gap]:
    if material.layers == UNKNOWN:
        cure = "; write its maker's designation (`designation`)" if material.nameable else ""
        yield Gap(LAYERS, f"{material.what} may hold a metal layer, which no meter sees{cure}")


def _told(gaps: Sequence[Gap]) -> str:
    return "; ".join(gap.text for gap in gaps)


def _words(one: _Seen) -> str:
    shown = f"over range proves only more than {format_si(one.shown, 'ohm')}" if one.over else ""
    shown = shown or f"{format_si(one.shown, 'ohm')} was read"
    if one.face in _NO_SHEET:
        return f"{one.face}: {shown}"
    sheet, ring = format_si(one.ring * RING_FACTOR, "ohm"), format_si(one.ring, "ohm")
    return f"{one.face} face: {shown}; at least {sheet} per square, {ring} by ring electrode"


def _gaps(fact: Fact, seen: Sequence[_Seen]) -> Iterator[Gap]:
    """Yield what is missing before readings can stand for the whole barrier."""
    faces = {one.face for one in seen}
    if not any(pair <= faces for pair in _PAIRS):
        yield Gap(FACES, "both faces must be read")
    if "edge" not in faces:
        yield Gap(EDGE, "an edge (and a fold, if there is one) must be read")
    if not all(one.near for one in seen):
        yield Gap(SPACING, f"probes must stand about 1 mm apart, {format_si(_data().spacing, 'm')} at most")
    working = _number(fact, "working_voltage")
    if working is None:
        yield Gap(WORKING, "the working voltage is not declared")
    elif any(one.voltage is None or one.voltage < working for one in seen):
        yield Gap(VOLTAGE, f"no reading at {format_si(working, 'V')} or above")


def _leak(fact: Fact, layers: str, seen: Sequence[_Seen], leak: Quantity) -> Finding:
    if leak.value is None:
        why = "Not proven: working voltage and readings are needed to simulate the leak."
        return _row(leak, None, NOT_PROVEN, why, needed=layers != SHEET)
    path = _least_path(seen, _number(fact, "working_voltage") or 0.0)
    told = f"At worst {format_si(leak.value, 'A')} leaks through {format_si(path, 'ohm')} (common practice)"
    if layers == SHEET:
        return _row(leak, None, NOT_APPLICABLE, f"{told}; insulation is judged by its resistance.", needed=False)
    if layers == UNKNOWN:
        return _row(leak, None, NOT_PROVEN, f"Not proven: {told} if it has no metal layer, and nobody knows that.")
    node = _number(fact, "node_resistance")
    if not node:
        why = f"Not proven: {told}; state the resistance of the node it keeps apart (`node_resistance`)."
        return _row(leak, None, NOT_PROVEN, why)
    shift = _data().leak
    limit = replace(shift, high=(shift.high or 0.0) / node)
    judged = finding(RULE.code, leak, limit, needed=True)
    gaps = [gap for gap in _gaps(fact, seen) if gap.code != VOLTAGE]
    if judged.outcome == CONFORMS and gaps:
        codes = tuple(gap.code for gap in gaps)
        why = f"Not proven: {told}; {_told(gaps)}."
        return replace(judged, outcome=NOT_PROVEN, why=why, remedy=_remedy(judged.where), codes=codes)
    return replace(
        judged, why=f"{told}. {judged.why}", remedy=None if judged.outcome == CONFORMS else _remedy(judged.where)
    )


def _remedy(where: str | None) -> str:
    data = _data()
    return (
        f"take the barrier {where or 'that was declared'} out and fit a sheet made to insulate: "
        f"{'; '.join(data.sheets)} (data-sheet strength, least voltage); trim solder tails and keep "
        f"{format_si(data.tail, 'm')} between the longest tail and the sheet (common practice)"
    )


def _row(quantity: Quantity, limit: Limit | None, outcome: str, why: str, *, needed: bool = True) -> Finding:
    made = finding(RULE.code, quantity, limit, needed=needed)
    origin = DECLARED_ORIGIN if quantity.value is None else made.origin
    remedy = _remedy(quantity.where) if outcome in (DOES_NOT_CONFORM, NOT_PROVEN) else None
    return replace(made, outcome=outcome, why=why, needed=needed, remedy=remedy, origin=origin)


def _case(material: str, *faces: str, answer: float | None = None, **more: Any) -> Facts:
    reading = {
        "value": OVER_RANGE,
        "meter_range": Value.exact(60e6, "ohm"),
        "probe_spacing": Value.exact(1e-3, "m"),
        "test_voltage": Value.exact(1.0, "V"),
    }
    readings = tuple({**reading, "face": face, **more} for face in faces)
    entries = {"material": material, "working_voltage": Value.exact(12.0, "V"), "readings": readings}
    entries["node_resistance"] = Value.exact(75.0, "ohm")
    return Facts(declared=(Fact("barrier", 0, "add-on", entries),), answers={"BAR01/add-on": answer})


_TERAOHM = {"meter_range": Value.exact(2e12, "ohm"), "test_voltage": Value.exact(100.0, "V")}
CASES = (
    Case(
        "polyimide by insulation tester, both faces and an edge",
        _case("polyimide film", "upper", "lower", "edge", answer=-6e-12, **_TERAOHM),
        CONFORMS,
    ),
    Case("pink film, 2 uA into 75 ohm", _case("pink poly film", "inner", "outer", "edge", answer=-2e-6), CONFORMS),
    Case("shielding bag over range", _case("metallised shielding bag", "inner", answer=-1.26), DOES_NOT_CONFORM),
    Case("polyimide by hand meter", _case("polyimide film", "upper", "lower", "edge", answer=-2e-6), NOT_PROVEN),
    Case("some bag over range", _case("antistatic bag", "inner", "outer", "edge", answer=-2e-6), NOT_PROVEN),
    Case("polyimide, not read", _case("polyimide film"), NOT_PROVEN),
    Case("no barrier declared", Facts(), NOT_APPLICABLE),
)
