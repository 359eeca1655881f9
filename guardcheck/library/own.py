"""A user's own netlist in the place of a part: what the metadata would say is taken from its kind and its `.subckt`."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath

from guardcheck.errors import CircuitError, UnitError, accepted, nearest
from guardcheck.library.devices import Device
from guardcheck.library.metadata import parameters_of, readings_of, states_of
from guardcheck.library.schema import OWN_KEYS, RATINGS
from guardcheck.model import ASSUMED, DEFAULT, KNOWN_BY, Element, Parameter, Part, Subcircuit, Value
from guardcheck.netlist import calls_of, defaults, flat_name
from guardcheck.toml_tables import Table
from guardcheck.units import parse, shown

_STATED = re.compile(r"^\*\s*rating\s+(\S+)\s+(.+)$", re.IGNORECASE | re.MULTILINE)
_PAIR = re.compile(r"(\w+)=(\S+)")
_WHAT: Mapping[str, str] = {
    "r": "resistor",
    "c": "capacitor",
    "d": "diode",
    **dict.fromkeys("qjm", "transistor"),
    "s": "switch",
    **dict.fromkeys("befgh", "controlled source"),
}
"""What may turn into heat or break, by the letter of its element."""
_OWED: Mapping[str, str] = {"capacitor": "working_voltage"}
"""The rating without which a part of that kind counts as unrated, whatever else is stated of it."""
LONGEST = 40
"""Longest flat name that is never cut short: what is cut could not be told from another part's."""
QUARTER_WATT = 0.25
"""What a film resistor is taken for that nobody rates [W] (common practice, no published source)."""


def stated_ratings(text: str, *, file: str) -> Mapping[str, Mapping[str, float]]:
    """Return the ratings a netlist states in comments: ``* rating r1 power=0.5W``, ``* rating c1 working_voltage=16V``.

    Raises
    ------
    CircuitError
        a rating that is not known, or no value of its unit

    """
    found: dict[str, dict[str, float]] = {}
    for match in _STATED.finditer(text):
        line = text.count("\n", 0, match.start()) + 1
        row = found.setdefault(match[1].lower(), {})
        for name, written in _PAIR.findall(match[2]):
            if name not in RATINGS:
                known = f"accepted: {accepted(RATINGS)}{nearest(name, RATINGS)}"
                raise CircuitError(f"'{shown(name)}' is no rating; {known}", file=file, line=line)
            try:
                row[name] = parse(written, RATINGS[name])[0].nominal
            except UnitError as problem:
                raise CircuitError(
                    f"the rating {name} of {match[1]}: {problem.problem}", file=file, line=line
                ) from None
    return found


def _rated_rows(
    circuit: Subcircuit, devices: Sequence[Device], stated: Mapping[str, Mapping[str, float]]
) -> tuple[Mapping[str, object], ...]:
    """Return a row of ratings for every part: stated, by its device, assumed for a film resistor, or none at all."""
    by_model = {device.model.name: device for device in devices}
    rows: list[Mapping[str, object]] = []
    for spoken, flat, element in _elements(circuit, circuit):
        what = _WHAT.get(element.name[0])
        if what is None:
            continue
        if len(flat) > LONGEST:
            problem = f"the name {spoken} is too long to be rated by: {LONGEST} characters at most, its calls with it"
            raise CircuitError(problem, file=circuit.file, line=element.line)
        twin = next((one["name"] for one in rows if one["element"] == flat), None)
        if twin is not None:
            problem = f"{spoken} and {twin} cannot be told apart: give one of them another name"
            raise CircuitError(problem, file=circuit.file, line=element.line)
        row: dict[str, object] = {"name": spoken, "element": flat, "what": what, "own": True}
        device = by_model.get(element.model or "")
        if device is not None:
            row |= {**device.ratings, "model": device.model.name, "reference": device.reference}
            row["known_by"] = device.known_by
        elif what == "resistor":
            row |= {"power": QUARTER_WATT, "reference": "a quarter-watt film resistor; common practice"}
            row["known_by"] = ASSUMED
        else:
            row |= {"unrated": True, "reference": "your own netlist", "known_by": ASSUMED}
        if spoken in stated:
            if _OWED.get(what, "") in ("", *stated[spoken]):
                row.pop("unrated", None)
            row |= {**stated[spoken], "reference": "ratings stated in your own netlist", "known_by": "read"}
        rows.append(row)
    return tuple(rows)


def _elements(part: Subcircuit, circuit: Subcircuit, calls: tuple[str, ...] = ()) -> Iterator[tuple[str, str, Element]]:
    """Yield every element, those inside calls too: as a comment names it (``x1.r1``), its flat name, and itself."""
    for element in circuit.elements:
        called = calls_of(element)
        if called is not None:
            yield from _elements(part, part.inner[called], (*calls, element.name))
        else:
            yield ".".join((*calls, element.name)), "_".join((flat_name(element), *reversed(calls))), element


def own_part(
    kind: str,
    circuit: Subcircuit,
    top: Table,
    devices: Sequence[Device],
    *,
    file: str,
    sha256: str,
    stated: Mapping[str, Mapping[str, float]],
) -> Part:
    """Return a user's own netlist as a part; `stated` are the ratings its comments state, by element.

    Its parameters are those of its `.subckt` line, of unit ``""`` because nothing says their unit, and those its kind
    brings along (`top`: a source's levels, a guard's place).
    """
    top.only(*OWN_KEYS)
    brought = parameters_of(top.table("parameters"))
    found = {
        name: Parameter(name, "", f"'{name}' of your own netlist", Value.exact(number, "", DEFAULT, repr(number)))
        for name, number in defaults(circuit).items()
        if name not in brought
    }
    parameters = brought | found
    extra: dict[str, object] = {
        "known_by": top.word("known_by", tuple(KNOWN_BY)),
        "models": {device.model.name: device.facts for device in devices},
        "parts": _rated_rows(circuit, devices, stated) if kind in ("stage", "guard") else (),
    }
    return Part(
        kind=kind,
        name=PurePath(file).stem,
        title=top.text("title"),
        purpose=top.text("purpose"),
        circuit=circuit,
        models=tuple(device.model for device in devices),
        parameters=parameters,
        reference=top.text("reference"),
        checks=(),
        file=file,
        sha256=sha256,
        states=states_of(top.table("states"), parameters),
        two_readings=readings_of(top.table("two_readings"), parameters),
        extra=extra,
        own=True,
    )
