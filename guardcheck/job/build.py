"""From parsed tables to the records of `guardcheck.model`: the one place that knows how a job is put together."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from guardcheck.job.keys import FACT_TABLES
from guardcheck.job.read import Reading
from guardcheck.model import UNKNOWN_WORD, Fact, Job, Line, Original, PartUse, Value

MAX_LINES = 32
NO_GUARD = "none"
INTERLACED, PROGRESSIVE = "interlaced", "progressive"
SETTINGS = ("touch_standard",)
_READ = ("touch_reading", "service_reading", "insulation_reading")
DISPLAY_FACTS = ("earthed", "other_leads", "line_rates", "wiring", "y_capacitance", "y_coupling", *_READ)
LEAKAGE = frozenset(("y_capacitance", *_READ))
_LABELS = ("where", "to", "from")


def build(tables: Mapping[str, Any], *, sha256: str, reading: Reading) -> Job:
    """Return the job record of a document that passed the table of keys.

    Raises
    ------
    JobError
        what no single key shows: a name used twice, too many lines, lines without a display or a cable, an empty job

    """
    lines = _lines(tables.get("line", ()), reading)
    facts = _facts(tables)
    if not lines and not facts and not _leaks(tables):
        reading.refuse("nothing to check: add a [[line]], a [[bond]], a Y capacitance or another bench fact", ())
    for name in ("display", "cable"):
        if lines and name not in tables:
            reading.refuse(f"[{name}] is missing: the levels of a line depend on it", ())
    display, cable = tables.get("display", {}), tables.get("cable", {})
    for name, table in (("display", display), ("cable", cable)):
        if not lines and table.get("values"):
            reading.warn("there is no line, so these values say nothing", (name, "values"))
    if lines and not {"input", "input_netlist"} & set(display):
        reading.refuse("'input' or 'input_netlist': one of them is wanted", ("display",))
    return Job(
        file=reading.file,
        sha256=sha256,
        unit=tables["unit"]["label"],
        unit_kind=tables["unit"].get("kind", ""),
        supply=tables.get("supply", {}),
        display=PartUse(
            "display",
            display.get("input"),
            display.get("input_netlist"),
            display.get("values", {}),
            key="display.input",
            values_key="display.values",
        ),
        display_facts={name: display[name] for name in DISPLAY_FACTS if name in display},
        cable=PartUse(
            "cable",
            cable.get("kind"),
            cable.get("netlist"),
            _cable_values(cable, reading),
            key="cable.kind",
            values_key="cable.values",
        ),
        lines=lines,
        facts=facts,
        claims=_claims(tables.get("claims", {}), reading),
        drawer=tables.get("drawer", {}),
        forbids=frozenset(tables.get("use", {}).get("forbids", ())),
        socket=tables.get("socket", {}),
        lead=tables.get("lead", {}),
        settings={name: tables[name] for name in SETTINGS if name in tables},
        circuits=tables.get("circuits"),
        warnings=tuple(reading.warnings),
        picture=_picture(tables.get("picture", {}), reading),
        lines_of=dict(reading.lines),
    )


def _picture(picture: Mapping[str, Any], reading: Reading) -> dict[str, Any]:
    """Return what the unit makes; half a line belongs to an interlaced picture and to no other."""
    lines, scan = picture.get("lines_per_field"), picture.get("scan")
    if isinstance(lines, Value) and scan in (INTERLACED, PROGRESSIVE):
        half = round(2.0 * lines.nominal) % 2 == 1
        if half != (scan == INTERLACED):
            found = f"{lines.text} lines in a field do not fit scan = '{scan}'"
            reading.refuse(f"{found}: an interlaced field ends in half a line, no other does", ("picture", "scan"))
    return dict(picture)


def _cable_values(cable: Mapping[str, Any], reading: Reading) -> dict[str, Any]:
    values = dict(cable.get("values", {}))
    if "length" in cable:
        if "length" in values:
            reading.refuse("'length' is given twice; keep the one in [cable]", ("cable", "values", "length"))
        values["length"] = cable["length"]
    return values


def _leaks(tables: Mapping[str, Any]) -> bool:
    """Tell whether unit or display declares what a touch current follows from: enough to judge it alone."""
    declared = {key for name in ("supply", "display") for key in tables.get(name, {})}
    return bool(declared & LEAKAGE)


def _lines(tables: tuple[Mapping[str, Any], ...], reading: Reading) -> tuple[Line, ...]:
    lines: list[Line] = []
    seen: dict[str, int] = {}
    for index, table in enumerate(tables):
        parts = {kind: _part(kind, table, index) for kind in ("source", "stage", "guard", "event")}
        for kind, use in parts.items():
            if use.values and use.netlist is None and use.name in (None, NO_GUARD):
                reading.warn(f"there is no {kind}, so its values say nothing", ("line", index, f"{kind}_values"))
        original = _original(table, index)
        pin, stage_pin = table.get("pin", {}), table.get("stage_pin", {})
        for position, name in enumerate(table["names"]):
            place = ("line", index, "names", position)
            if name in seen:
                earlier = reading.line(("line", seen[name]))
                reading.refuse(f"'{name}' is already the name of a line (table at line {earlier})", place)
            if len(lines) == MAX_LINES:
                reading.refuse(f"more than {MAX_LINES} lines", place)
            seen[name] = index
            lines.append(
                Line(
                    name=name,
                    table=index,
                    standard=table["standard"],
                    source=parts["source"],
                    stage=parts["stage"],
                    guard=parts["guard"],
                    pin={} if pin == UNKNOWN_WORD else pin,
                    stage_pin={} if stage_pin == UNKNOWN_WORD else stage_pin,
                    original=original,
                    event=parts["event"] if parts["event"].netlist else None,
                    moves=tuple(table.get("moves", ())),
                    readings=_readings(table),
                    edges=table.get("edges", {}),
                )
            )
    return tuple(lines)


def _original(table: Mapping[str, Any], index: int) -> Original | None:
    """Return the maker's build of a line, if the job declares it."""
    if "original" not in table:
        return None
    row = table["original"]
    stage, guard = (_part(kind, row, index, f"line[{index}].original") for kind in ("stage", "guard"))
    return Original(stage, guard, row.get("exposed", True) is not False)


def _readings(table: Mapping[str, Any]) -> tuple[tuple[Value | None, Value], ...]:
    rows = table.get("readings", ())
    return tuple((row["load"] if isinstance(row["load"], Value) else None, row["volts"]) for row in rows)


def _part(kind: str, table: Mapping[str, Any], index: int, place: str | None = None) -> PartUse:
    netlist = table.get(f"{kind}_netlist")
    name = table.get(kind)
    if kind == "guard" and name is None and netlist is None:
        name = NO_GUARD
    key = f"{place or f'line[{index}]'}.{kind}"
    return PartUse(kind, name, netlist, table.get(f"{kind}_values", {}), key=key, values_key=f"{key}_values")


def _facts(tables: Mapping[str, Any]) -> tuple[Fact, ...]:
    facts = []
    for table in FACT_TABLES:
        entries = tables.get(table, ())
        for index, entry in enumerate((entries,) if isinstance(entries, dict) else entries):
            facts.append(Fact(table, index, _label(table, index, entry), entry))
    return tuple(facts)


def _label(table: str, index: int, entry: Mapping[str, Any]) -> str:
    if "from" in entry:
        return f"{entry['from']} to {entry['to']}"
    named = next((str(entry[key]) for key in _LABELS if key in entry), None)
    return named or f"{table} {index + 1}"


def _claims(claims: Mapping[str, Any], reading: Reading) -> tuple[str, ...]:
    events: tuple[str, ...] = claims.get("events", ())
    for position, name in enumerate(events):
        if name in events[:position]:
            reading.refuse(f"'{name}' is claimed twice", ("claims", "events", position))
    return events
