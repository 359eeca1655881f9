"""A user's own netlist in the place of a part: what the metadata would say is taken from its kind and its `.subckt`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePath

from guardcheck.library.devices import Device
from guardcheck.library.metadata import parameters_of, readings_of, states_of
from guardcheck.library.schema import OWN_KEYS
from guardcheck.model import DEFAULT, KNOWN_BY, Parameter, Part, Subcircuit, Value
from guardcheck.netlist import defaults
from guardcheck.toml_tables import Table


def own_part(kind: str, circuit: Subcircuit, top: Table, devices: Sequence[Device], *, file: str, sha256: str) -> Part:
    """Return a user's own netlist as a part.

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
        "parts": (),
    }
    readings = readings_of(top.table("two_readings"), parameters)
    if readings:
        extra["two_readings"] = readings
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
        extra=extra,
        own=True,
    )
