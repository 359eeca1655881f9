"""From a netlist and its metadata table to a `Part`: everything the two say about each other must agree."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from guardcheck.errors import CircuitError, accepted, nearest
from guardcheck.library.checks import checks_of
from guardcheck.library.devices import Device
from guardcheck.library.events import plan_of
from guardcheck.library.schema import (
    BENCH_LOAD,
    COMMON_KEYS,
    KIND_KEYS,
    MOVES,
    PARAMETER_KEYS,
    PIN_RATINGS,
    RATINGS,
    READING_ROLES,
    SIGNALS,
    STATE_NAMES,
)
from guardcheck.model import (
    ASSUMED,
    KNOWN_BY,
    PORTS,
    UNKNOWN,
    UNKNOWN_WORD,
    Ladder,
    Parameter,
    Part,
    Subcircuit,
    SyncWindow,
    Value,
)
from guardcheck.netlist import defaults
from guardcheck.toml_tables import Table

MOST_BITS = 6
"""Bits of a ladder whose every code is worth a row of its own."""

PLACE, PLACES = "place", ("chip", "connector")
"""The parameter that says where a guard sits, and where it can."""


def part_of(
    kind: str, name: str, circuit: Subcircuit, top: Table, devices: Sequence[Device], *, file: str, sha256: str
) -> Part:
    """Return the part that a netlist and its metadata (`top`) describe; `devices` are the models the netlist uses.

    Raises
    ------
    CircuitError
        what the netlist and the metadata say does not agree, or a key, unit or name is not accepted

    """
    top.only(*COMMON_KEYS, *KIND_KEYS[kind])
    check_ports(kind, circuit)
    described = top.table("ports")
    described.only(*PORTS[kind])
    for port in PORTS[kind]:
        described.text(port)
    parameters = parameters_of(top.table("parameters"))
    states = states_of(top.table("states"), parameters)
    readings = readings_of(top.table("two_readings"), parameters)
    colour = _colour(top.table("colour"), circuit, parameters)
    spoken_for = {target for signal in states.values() for target in signal.values()}
    spoken_for |= {colour[name] for name in ("burst", "chroma") if name in colour}
    spoken_for |= {top.table("ladder").text(name) for name in ("low", "high") if "ladder" in top}
    _agree(circuit, parameters, spoken_for, top)
    extra: dict[str, Any] = {
        "known_by": top.word("known_by", tuple(KNOWN_BY)),
        "models": {device.model.name: device.facts for device in devices},
        "parts": tuple(_used(row, circuit, devices) for row in top.tables("part")),
    }
    if "pin" in top:
        row = top.table("pin")
        row.only(*PIN_RATINGS, "reference")
        extra["pin"] = {**row.reals(PIN_RATINGS), "reference": row.text("reference")}
    if kind == "guard":
        _place(top, parameters)
    if "line" in top:
        _line(top.table("line"), circuit, parameters)
    event = kind == "event"
    return Part(
        kind=kind,
        name=name,
        title=top.text("title"),
        purpose=top.text("purpose"),
        circuit=circuit,
        models=tuple(device.model for device in devices),
        parameters=parameters,
        reference=top.text("reference"),
        checks=checks_of(top, PORTS[kind], parameters),
        states=states,
        file=file,
        sha256=sha256,
        two_readings=readings,
        identified=_identified(top.table("identified"), parameters),
        colour=colour,
        feed="feed" in top and top.flag("feed"),
        ladder=_ladder(top.table("ladder"), parameters) if "ladder" in top else None,
        exposed=_exposed(top.table("exposed"), circuit, parameters) if "exposed" in top else {},
        signals=tuple(_known(top, "signals", one, SIGNALS) for one in top.texts("signals")),
        sync_window=_sync_window(top.table("sync_window")) if "sync_window" in top else None,
        real=_real(top, circuit) if "real" in top else None,
        remedy=top.text("remedy") if "remedy" in top else None,
        plan=plan_of(top, parameters) if event else None,
        said=top.text("said", top.text("title")) if event else "",
        extra=extra,
    )


def check_ports(kind: str, circuit: Subcircuit) -> None:
    """Refuse a netlist whose ports are not those of its kind, in their order."""
    if circuit.ports != PORTS[kind]:
        article = "an" if kind == "event" else "a"
        raise CircuitError(
            f"'{circuit.name}' has the ports '{' '.join(circuit.ports)}'; {article} {kind} has "
            f"'{' '.join(PORTS[kind])}', in this order",
            file=circuit.file or None,
        )


def parameters_of(table: Table) -> dict[str, Parameter]:
    """Read the `[parameters.…]` tables."""
    parameters = {name: _parameter(name, table.table(name)) for name in table}
    for name, parameter in parameters.items():
        target = parameter.same_as
        if target is not None and (target == name or target not in parameters):
            table.table(name).refuse(
                "same_as", f"'{target}' is no other parameter of this part{nearest(target, parameters)}"
            )
    return parameters


def _parameter(name: str, row: Table) -> Parameter:
    row.only(*PARAMETER_KEYS)
    choices = row.texts("choices")
    meaning = row.text("meaning")
    if choices:
        return Parameter(name, "", meaning, choices=choices, word=row.word("word", choices))
    unit = row.text("unit")
    usual, possible = row.span("usual", unit), row.span("possible", unit)
    same_as = row.text("same_as") if "same_as" in row else None
    nominal: Value | None = None
    if "nominal" in row and same_as is not None:
        row.refuse("same_as", "stands instead of a nominal value, not beside it")
    if row.entries.get("nominal") == UNKNOWN_WORD:
        if usual is None:
            row.refuse("nominal", "'unknown' is judged over the usual range; write one under usual")
        nominal = Value((usual.low + usual.high) / 2, unit, usual.low, usual.high, UNKNOWN, UNKNOWN_WORD)
    elif "nominal" in row:
        nominal = row.value("nominal", unit)
    for label, span in (("usual", usual), ("possible", possible)):
        if nominal is not None and span is not None and not (nominal.low in span and nominal.high in span):
            row.refuse("nominal", f"'{nominal.text}' lies outside the {label} range")
    if usual is not None and possible is not None and not (usual.low in possible and usual.high in possible):
        row.refuse("usual", "the usual range reaches outside the possible one")
    moves = row.word("moves", MOVES) if "moves" in row else ""
    if moves and usual is None:
        row.refuse("moves", "a value that may move needs a usual range to move in")
    return Parameter(name, unit, meaning, nominal, same_as, usual, possible, fixed=row.flag("fixed"), moves=moves)


def states_of(table: Table, parameters: Mapping[str, Parameter]) -> dict[str, Mapping[str, str]]:
    """Read the `[states.…]` tables: signal kind, then signal state, to the parameter that holds its EMF."""
    states: dict[str, Mapping[str, str]] = {}
    for signal in table:
        row = table.table(signal)
        states[signal] = _names(row, STATE_NAMES, parameters)
        if "blank" not in states[signal]:
            row.refuse("blank", "is missing; every level is measured from blanking")
    return states


def readings_of(table: Table, parameters: Mapping[str, Parameter]) -> dict[str, str]:
    """Read `[two_readings]`: how EMF and impedance follow from an open and a loaded reading; all roles or none."""
    table.only(*READING_ROLES, BENCH_LOAD)
    if not table.entries:
        return {}
    readings = {role: table.text(role) for role in READING_ROLES}
    if BENCH_LOAD in table:
        readings[BENCH_LOAD] = table.value(BENCH_LOAD, "ohm").text
    for role in ("emf", "impedance"):
        _known(table, role, readings[role], parameters)
    return readings


def _names(table: Table, roles: Sequence[str], parameters: Mapping[str, Parameter]) -> dict[str, str]:
    table.only(*roles)
    return {role: _known(table, role, table.text(role), parameters) for role in table}


def _known(table: Table, key: str, name: str, known: Mapping[str, object] | Sequence[str]) -> str:
    if name not in known:
        table.refuse(key, f"'{name}' is not known here; accepted: {accepted(known)}{nearest(name, known)}")
    return name


def _agree(circuit: Subcircuit, parameters: Mapping[str, Parameter], spoken_for: set[str], top: Table) -> None:
    """Every netlist parameter is described; every other described one is a signal state's level or a word."""
    table = top.table("parameters")
    for name, default in defaults(circuit).items():
        if name not in parameters:
            table.refuse(name, f"is missing; the netlist's parameter '{name}' needs unit, range and meaning")
        nominal = parameters[name].nominal
        if nominal is not None and nominal.known != UNKNOWN and not math.isclose(nominal.nominal, default):
            table.refuse(name, f"its nominal '{nominal.text}' is not the netlist's own default, {default:g}")
    copied = {parameter.same_as for parameter in parameters.values()}
    for name, parameter in parameters.items():
        if name not in circuit.parameters and name not in spoken_for | copied and not parameter.choices:
            known = accepted(circuit.parameters) or "none"
            table.refuse(name, f"is no parameter of the netlist (it has: {known}) and no level of a signal state")


def _used(row: Table, circuit: Subcircuit, devices: Sequence[Device]) -> Mapping[str, Any]:
    """Read one `[[part]]` row; ratings of the device it names stand in unless the row has its own."""
    row.only("name", "element", "what", "model", "reference", *RATINGS)
    elements = [element.name for element in circuit.elements]
    used: dict[str, Any] = {
        "name": row.text("name"),
        "element": _known(row, "element", row.text("element"), elements),
        "what": row.text("what"),
        "reference": row.text("reference", ""),
    }
    by_name = {device.name: device for device in devices}
    if "model" in row:
        device = by_name[_known(row, "model", row.text("model"), by_name)]
        used |= {**device.ratings, "model": device.model.name, "reference": used["reference"] or device.reference}
    used |= row.reals(RATINGS)
    used["known_by"] = by_name[row.text("model")].known_by if "model" in row else ASSUMED
    if not used["reference"]:
        row.refuse("reference", "is missing; ratings need a reference")
    return used


def _place(top: Table, parameters: Mapping[str, Parameter]) -> None:
    """Refuse a guard that does not say where it may sit: every guard is tried at each of its places."""
    place = parameters.get(PLACE)
    if place is None or not place.choices or not set(place.choices) <= set(PLACES):
        top.refuse(
            f"parameters.{PLACE}",
            f"{'is missing' if place is None else 'names no place a guard can sit'}; a guard says where it may sit: "
            f'choices = ["chip", "connector"], word = "chip", and what that means',
        )


def _line(row: Table, circuit: Subcircuit, parameters: Mapping[str, Parameter]) -> None:
    """Refuse a cable's `[line]` that does not fit its netlist."""
    row.only("element", "impedance", "velocity", "length", "meaning")
    _known(row, "element", row.text("element"), [element.name for element in circuit.elements])
    for role in ("impedance", "velocity", "length"):
        _known(row, role, row.text(role), parameters)


def _real(top: Table, circuit: Subcircuit) -> tuple[str, ...]:
    elements = [element.name for element in circuit.elements]
    return tuple(_known(top, "real", one, elements) for one in top.texts("real"))


def _sync_window(row: Table) -> SyncWindow:
    row.only("low", "high", "most", "reference", "known_by")
    low, high, most = (row.real(name, "V") for name in ("low", "high", "most"))
    return SyncWindow(low, high, most, row.text("reference"), row.word("known_by", tuple(KNOWN_BY)))


def _identified(row: Table, parameters: Mapping[str, Parameter]) -> dict[str, str]:
    """Read which kind of output a source is, and which of its parameters hold what readings show of it."""
    row.only("kind", "level", "impedance", "limit")
    if not row.entries:
        return {}
    roles = {role: _known(row, role, row.text(role), parameters) for role in row if role != "kind"}
    return {"kind": row.text("kind"), **roles}


def _colour(table: Table, circuit: Subcircuit, parameters: Mapping[str, Parameter]) -> dict[str, str]:
    """Read which parameters hold burst and chroma, and the element that drives them where it is not the EMF itself.

    Then `through` and `beside` are the resistances of their own leg and of the EMF's: as their ratio the colour counts
    on the EMF.
    """
    table.only("burst", "chroma", "element", "beside", "through")
    found = {role: _known(table, role, table.text(role), parameters) for role in table if role != "element"}
    if "element" in table:
        found["element"] = _known(table, "element", table.text("element"), [one.name for one in circuit.elements])
    return found


def _ladder(table: Table, parameters: Mapping[str, Parameter]) -> Ladder:
    """Read the legs of a weighted ladder, most significant first, and what drives them."""
    table.only("legs", "driver", "low", "high")
    legs = table.texts("legs")
    if not 2 <= len(legs) <= MOST_BITS:
        table.refuse("legs", f"a ladder has 2 to {MOST_BITS} legs, the most significant first")
    driver, low, high = (_known(table, role, table.text(role), parameters) for role in ("driver", "low", "high"))
    return Ladder(tuple(_known(table, "legs", leg, parameters) for leg in legs), driver, low, high)


def _exposed(row: Table, circuit: Subcircuit, parameters: Mapping[str, Parameter]) -> dict[str, str]:
    """Read which node inside a part is a chip's pin of its own, what leads to it, and what it may deliver."""
    row.only("node", "meaning", "through", "delivers")
    nodes = {node for element in circuit.elements for node in element.nodes}
    _known(row, "node", row.text("node"), sorted(nodes))
    row.text("meaning")
    if "through" in row:
        _known(row, "through", row.text("through"), [element.name for element in circuit.elements])
    if "delivers" in row:
        _known(row, "delivers", row.text("delivers"), parameters)
    return {name: row.text(name) for name in row}
