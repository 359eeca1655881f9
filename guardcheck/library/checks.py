"""`[[check]]` rows: a small bench around a part or a device, what is read on it, and what it must be."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from guardcheck.errors import UnitError
from guardcheck.library.schema import READ_UNITS
from guardcheck.model import Check, Parameter, Value
from guardcheck.toml_tables import Table
from guardcheck.units import parse, unit_of

BASES = ("published", "hand", "regression")
GROUNDED = ("gnd", "near_gnd")
"""Ports that lie at 0 V unless a check hangs something else on them; every other port is open."""
_KEYS = ("what", "ports", "values", "read", "frequency", "time", "value", "tolerance", "between", "basis", "reference")
PEAK, RISE = "peak", "rise"
"""What a check may read of a waveform besides its value at a time: the extreme, or the time from 10 to 90 % of it."""
_READ = re.compile(r"(v|i|z)\((\w+)\)|(gain)\((\w+), ?(\w+)\)")


@dataclass(frozen=True, slots=True)
class Hanging:
    """What hangs between a port and 0 V: a source of `volts` behind `ohms` [ohm], `amps` pushed in, or nothing.

    ``volts`` None with ``ohms`` set is a plain resistor; everything None is an open port.
    """

    volts: float | None = None
    ohms: float | None = None
    amps: float | None = None


def hanging(text: str) -> Hanging:
    """Read what hangs on a port: ``"open"``, ``"5 V"``, ``"1.4 V via 75 ohm"``, ``"75 ohm"`` or ``"1 mA"``.

    Raises
    ------
    UnitError
        anything else

    """
    if text.strip() == "open":
        return Hanging()
    volts, via, ohms = text.partition(" via ")
    if via:
        return Hanging(volts=parse(volts, "V")[0].nominal, ohms=parse(ohms, "ohm")[0].nominal)
    unit = unit_of(text)
    if unit == "A":
        return Hanging(amps=parse(text, "A")[0].nominal)
    if unit == "ohm":
        return Hanging(ohms=parse(text, "ohm")[0].nominal)
    return Hanging(volts=parse(text, "V")[0].nominal)


def checks_of(top: Table, ports: Sequence[str], parameters: Mapping[str, Parameter]) -> tuple[Check, ...]:
    """Read every `[[check]]` row of a metadata file; at least one must stand there."""
    rows = top.tables("check")
    if not rows:
        top.refuse("check", "is missing; at least one [[check]] row proves that the netlist does what it says")
    return tuple(_check(row, ports, parameters) for row in rows)


def _check(row: Table, ports: Sequence[str], parameters: Mapping[str, Parameter]) -> Check:
    row.only(*_KEYS)
    read = row.text("read")
    match = _READ.fullmatch(read)
    named = [] if match is None else [name for name in (match[2], match[4], match[5]) if name]
    if match is None or not set(named) <= set(ports):
        row.refuse("read", f"'{read}' is not accepted; write v(port), i(port), z(port) or gain(from, to)")
    kind = match[1] or match[3]
    unit = READ_UNITS[kind]
    frequency = row.real("frequency", "Hz") if "frequency" in row else None
    if (kind in ("z", "gain")) != (frequency is not None):
        row.refuse("frequency", "an impedance or a gain is read at a frequency; a voltage or a current without one")
    time = _time(row, kind)
    value, tolerance = _wanted(row, "s" if time == RISE else unit)
    return Check(
        what=row.text("what"),
        ports=_ports(row, ports),
        read=read,
        value=value,
        unit="s" if time == RISE else unit,
        tolerance=tolerance,
        basis=row.word("basis", BASES),
        reference=row.text("reference"),
        values=values_of(row.table("values"), parameters),
        frequency=frequency,
        time=time,
    )


def _time(row: Table, kind: str) -> float | str | None:
    """Return when a waveform is read: a time [s], ``peak``, ``rise``, or None for a check at rest."""
    if "time" not in row:
        return None
    if kind not in ("v", "i"):
        row.refuse("time", "a voltage or a current is read of a waveform, an impedance or a gain at a frequency")
    text = row.text("time")
    return text if text in (PEAK, RISE) else row.real("time", "s")


def _wanted(row: Table, unit: str) -> tuple[float, float]:
    span = row.span("between", unit)
    if span is not None:
        if "value" in row or "tolerance" in row:
            row.refuse("between", "stands instead of value and tolerance, not beside them")
        return (span.low + span.high) / 2, (span.high - span.low) / 2
    tolerance = row.real("tolerance", unit)
    if tolerance <= 0:
        row.refuse("tolerance", "must be above zero")
    return row.real("value", unit), tolerance


def _ports(row: Table, ports: Sequence[str]) -> Mapping[str, str]:
    table = row.table("ports")
    table.only(*ports)
    hung = {port: "0 V" if port in GROUNDED else "open" for port in ports}
    for port in table:
        hung[port] = table.text(port)
        try:
            hanging(hung[port])
        except UnitError:
            table.refuse(
                port, f"'{hung[port]}' is not accepted; write open, '5 V', '1.4 V via 75 ohm', '75 ohm' or '1 mA'"
            )
    return hung


def values_of(table: Table, parameters: Mapping[str, Parameter]) -> dict[str, Value | str]:
    """Read a table of parameter values against the parameters they belong to."""
    table.only(*parameters)
    return {
        name: table.word(name, parameters[name].choices)
        if parameters[name].choices
        else table.value(name, parameters[name].unit)
        for name in table
    }
