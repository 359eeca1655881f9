"""A reading from a meter put into the file it belongs to: whole or not at all, comments kept."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.files import write_text
from guardcheck.job import parse_job
from guardcheck.measure.instrument import Taken
from guardcheck.measure.readings import READABLE, parse_accuracy, parse_file
from guardcheck.model import QUANTITIES
from guardcheck.units import format_si, shown

BOND = "bond.resistance"
MAX_BYTES = 256 * 1024


def wanted_unit(quantity: str) -> str:
    """Return the unit of a quantity a meter may be asked for; InputError names the nearest one for another."""
    known = (*READABLE, BOND)
    if quantity not in known:
        raise InputError(
            f"'{shown(quantity, 40)}' is nothing a meter reads; accepted: {accepted(known)}{nearest(quantity, known)}",
            key="--quantity",
        )
    return QUANTITIES[quantity].unit


def facts_of(quantity: str, taken: Taken, accuracy: str, resolution: str | None) -> dict[str, Any]:
    """Return the entries of a reading: its value, what is stated of the meter, who the meter is.

    Raises
    ------
    InputError
        the accuracy cannot be read, or counts and nobody says what one count is

    """
    unit = QUANTITIES[quantity].unit
    stated = parse_accuracy(accuracy, unit, key="--accuracy")
    if stated.counts and resolution is None:
        raise InputError("names counts: say what one count is, such as --resolution '1 mV'", key="--accuracy")
    facts: dict[str, Any] = {"value": format_si(taken.mean, unit, 7), "accuracy": accuracy}
    if resolution is not None:
        facts["resolution"] = resolution
    facts["note"] = f"{_plain(taken.identity)}; {len(taken.values)} readings, spread {format_si(taken.spread, unit)}"
    return facts


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() and c not in '"\\' else "?" for c in text)


def record_reading(path: Path, line: str, quantity: str, facts: dict[str, Any], **words: str | bool) -> None:
    """Append a `[[reading]]` to a readings file; one that is not there yet is begun.

    Raises
    ------
    InputError
        the file cannot be read, is no readings file, or would be none with this reading in it

    """
    document = _document(path) if path.exists() else tomlkit.parse("format = 1\n")
    table = tomlkit.table()
    entries = {"line": line, "quantity": quantity, "instrument": "meter", **facts, **words}
    for name, value in entries.items():
        table.add(name, value)
    tables = document.get("reading")
    if tables is None:
        tables = tomlkit.aot()
        document.append("reading", tables)
    tables.append(table)
    text = tomlkit.dumps(document)
    parse_file(text, file=str(path))
    write_text(path, text)


def record_bond(path: Path, where: str, facts: dict[str, Any]) -> None:
    """Put a resistance into the `[[bond]]` of a job file that goes from the one end to the other.

    Raises
    ------
    InputError
        there is no such bond, it has a reading already, or the file is no job

    """
    document = _document(path)
    bonds = {f"{one.get('from')} to {one.get('to')}": one for one in document.get("bond", [])}
    if where not in bonds:
        raise InputError(
            f"no bond '{shown(where, 80)}'; accepted: {accepted(bonds) or 'none'}{nearest(where, bonds)}",
            file=str(path),
            key="--where",
        )
    if "reading" in bonds[where]:
        raise InputError("has a reading already; take it out first", file=str(path), key="--where")
    reading = tomlkit.inline_table()
    for name, value in (*facts.items(), ("method", "two-wire")):
        if name != "note":
            reading.append(name, value)
    reading.comment(str(facts["note"]))
    bonds[where]["reading"] = reading
    text = tomlkit.dumps(document)
    parse_job(text, file=str(path), folder=path.resolve().parent)
    write_text(path, text)


def _document(path: Path) -> tomlkit.TOMLDocument:
    try:
        if not path.is_file() or path.stat().st_size > MAX_BYTES:
            raise InputError(f"is no file of at most {MAX_BYTES // 1024} kB", file=str(path))
        return tomlkit.parse(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror or 'unknown reason'})", file=str(path)) from None
    except (TOMLKitError, UnicodeDecodeError) as error:
        raise InputError(f"is not TOML: {shown(str(error), 120)}", file=str(path)) from None
