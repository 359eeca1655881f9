"""The readings file: `[[reading]]` tables, read strictly."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

from guardcheck.errors import InputError, JobError, UnitError, accepted, nearest
from guardcheck.files import read_bytes
from guardcheck.measure.readings.instruments import presumed
from guardcheck.measure.readings.records import (
    COUPLINGS,
    INSTRUMENTS,
    LOADS,
    PICTURES,
    PLACES,
    PROBES,
    READABLE,
    SCALES_AT,
    CaptureNote,
    Reading,
    ReadingsFile,
)
from guardcheck.metrology import parse_accuracy
from guardcheck.model import QUANTITIES, UNKNOWN_WORD, Range
from guardcheck.toml_tables import Table
from guardcheck.units import parse, shown

MAX_BYTES = 256_000
MAX_READINGS = 500
KEYS: Mapping[str, str] = {
    "line": "the line's name in the job file",
    "quantity": "what was read",
    "value": "what the instrument showed, with its unit, divisions such as '4.0 div', or unknown",
    "scale": "volts (or time) per division, such as '200 mV/div'",
    "instrument": "scope or meter",
    "probe": "x1, x10 or x100",
    "scale_at": "tip or input",
    "place": "display, connector or pin",
    "load": "terminated or open",
    "picture": "white, bars-100, bars-75 or other",
    "accuracy": "as the data sheet prints it",
    "resolution": "the smallest step that could be read",
    "range": "the meter's range, or the scope's full scale",
    "termination": "tolerance of the 75 ohm the line was loaded with",
    "probe_tolerance": "tolerance of the probe's attenuation",
    "note": "anything worth remembering",
    "coupling": "dc or ac: how the oscilloscope was coupled",
    "steady": "true when the line carried no signal while it was read",
}
CAPTURE_KEYS: Mapping[str, str] = {
    "line": "the line's name in the job file",
    **{
        name: KEYS[name]
        for name in (
            "picture", "load", "place", "coupling", "probe", "scale_at", "scale", "accuracy", "probe_tolerance",
            "termination",
        )
    },
    "offset": "the voltage in the middle of the screen",
    "timebase": "tolerance of the oscilloscope's time base, such as '25 ppm'",
    "joins": "the line whose capture goes with this one: another file of the same scope, with the same sync channel",
    "note": KEYS["note"],
}  # fmt: skip
_DIVISIONS = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+))\s*div(?:s|isions?)?")
_POSSIBLE = {"V": Range(-100.0, 100.0), "s": Range(0.0, 1.0), "Hz": Range(0.0, 1e9), "ohm": Range(0.0, 1e7)}
_LIKELY_UNIT = {"V": "700 mV", "s": "4.7 us", "Hz": "4.43 MHz", "ohm": "75 ohm", "1": "2%"}


def read_readings(path: Path | str) -> ReadingsFile:
    """Read a readings file of at most 256 kB.

    Raises
    ------
    JobError
        the file cannot be read or understood: one sentence with file, key, line, what was found and what is accepted

    """
    file = str(path)
    data = read_bytes(Path(path), MAX_BYTES, what="a readings file", error=JobError)
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise JobError("is not UTF-8 text", file=file) from None
    return parse_file(text, file=file)


def parse_readings(text: str, *, file: str = "readings") -> tuple[Reading, ...]:
    """Return the readings in the text of a readings file. Raises JobError as `read_readings` does."""
    return parse_file(text, file=file).readings


def parse_file(text: str, *, file: str = "readings") -> ReadingsFile:
    """Read the text of a readings file; `file` names it in messages. Raises JobError as `read_readings` does."""
    try:
        entries = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        said = shown(str(problem) or "nested too deeply", 200)
        where = re.search(r"at line (\d+)", said)
        raise JobError(f"is not TOML: {said}", file=file, line=int(where[1]) if where else None) from None
    try:
        return _readings(Table(entries, file, "", JobError))
    except InputError as problem:
        if problem.line is not None or not problem.key:
            raise
        line = line_of(text, problem.key)
        raise type(problem)(problem.problem, file=problem.file, key=problem.key, line=line) from None


def line_of(text: str, key: str) -> int | None:
    """Return the line of ``reading[2].probe`` or of its table, as well as a plain scan can tell."""
    table, _, name = (key, "", "") if key.endswith("]") else key.rpartition(".")
    here, table_line, met = "", None, Counter[str]()
    for number, row in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*(\[\[?)\s*[\"']?(\w+)", row)
        if header:
            here = header[2] if header[1] == "[" else f"{header[2]}[{met[header[2]]}]"
            met[header[2]] += 1
            table_line = number if here == table else table_line
        elif here == table and re.match(rf"\s*[\"']?{re.escape(name)}[\"']?\s*=", row):
            return number
    return table_line


def _readings(top: Table) -> ReadingsFile:
    top.only("format", "reading", "capture", *INSTRUMENTS)
    if "format" in top and top.entries["format"] != 1:
        top.refuse("format", f"'{shown(str(top.entries['format']))}' is not a format known here; write format = 1")
    stated = {kind: _stated(top.table(kind), kind) for kind in INSTRUMENTS}
    tables, captures = top.tables("reading"), top.tables("capture")
    if not tables and not captures:
        top.refuse("reading", "there is no reading in this file; write at least one [[reading]] or [[capture]]")
    if len(tables) + len(captures) > MAX_READINGS:
        found = f"{len(tables)} readings and {len(captures)} captures were found"
        top.refuse("reading", f"{found}; at most {MAX_READINGS} together are accepted")
    scope = top.table("scope")
    coupling = _choice(scope, "coupling", COUPLINGS)
    notes = tuple(_capture(table) for table in captures)
    for index, note in enumerate(notes):
        if note.line in [one.line for one in notes[:index]]:
            captures[index].refuse("line", f"'{shown(note.line)}' has a [[capture]] already")
    accuracy = parse_accuracy(scope.text("accuracy"), "V") if "accuracy" in scope else None
    readings = tuple(_reading(table, stated, coupling) for table in tables)
    return ReadingsFile(readings, notes, coupling, _share(scope, "timebase"), accuracy)


def _stated(table: Table, kind: str) -> Mapping[str, str]:
    """Return what the file says of an instrument in general, checked as accuracy statements."""
    table.only(*presumed()[kind], *(("coupling",) if kind == "scope" else ()))
    general = [name for name in table if name in presumed()[kind]]
    for name in general:
        if name not in ("bits", "divisions"):
            parse_accuracy(table.text(name), "V", key=table.at(name), file=table.file)
        elif not re.fullmatch(r"[1-9][0-9]?", table.text(name)):
            table.refuse(name, f"'{shown(table.text(name))}' is not accepted; write a whole number such as '8'")
    return {name: table.text(name) for name in general}


def _capture(table: Table) -> CaptureNote:
    table.only(*CAPTURE_KEYS)
    return CaptureNote(
        line=table.text("line"),
        picture=_choice(table, "picture", PICTURES),
        load=_choice(table, "load", LOADS),
        place=_choice(table, "place", PLACES),
        coupling=_choice(table, "coupling", COUPLINGS),
        probe=PROBES[table.word("probe", tuple(PROBES))] if "probe" in table else None,
        scale_at=_choice(table, "scale_at", SCALES_AT),
        division=_scale(table, "V") if "scale" in table else None,
        offset=_plain(table, "offset", "V") if "offset" in table else None,
        accuracy=parse_accuracy(table.text("accuracy"), "V", key=table.at("accuracy"), file=table.file)
        if "accuracy" in table
        else None,
        timebase=_share(table, "timebase"),
        probe_tolerance=_share(table, "probe_tolerance"),
        termination=_share(table, "termination"),
        joins=table.text("joins") if "joins" in table else None,
        file=table.file,
        key=table.key,
    )


def _reading(table: Table, stated: Mapping[str, Mapping[str, str]], coupling: str | None) -> Reading:
    table.only(*KEYS)
    quantity = table.word("quantity", READABLE)
    unit = QUANTITIES[quantity].unit
    written = table.text("value")
    division = _scale(table, unit) if "scale" in table else None
    unread = written.strip() == UNKNOWN_WORD
    seen, by_eye = (0.0, False) if unread else _value(table, written, unit, division)
    kind = _instrument(table, by_eye or division is not None or "probe" in table)
    accuracy = None
    if "accuracy" in table:
        accuracy = parse_accuracy(table.text("accuracy"), unit, key=table.at("accuracy"), file=table.file)
        if accuracy.divisions and division is None:
            table.refuse("accuracy", 'names divisions, but no scale was given; add scale = "200 mV/div"')
    return Reading(
        line=table.text("line"),
        quantity=quantity,
        seen=seen,
        written=written.strip(),
        instrument=kind,
        division=division,
        by_eye=by_eye,
        probe=PROBES[table.word("probe", tuple(PROBES))] if "probe" in table else None,
        scale_at=_choice(table, "scale_at", SCALES_AT),
        place=_choice(table, "place", PLACES),
        load=_choice(table, "load", LOADS),
        picture=_choice(table, "picture", PICTURES),
        accuracy=accuracy,
        resolution=_resolution(table, unit, division),
        range=_positive(table, "range", unit),
        termination=_share(table, "termination"),
        probe_tolerance=_share(table, "probe_tolerance"),
        note=table.text("note", " ").strip(),
        presumed=stated[kind],
        file=table.file,
        key=table.key,
        unread=unread,
        coupling=_choice(table, "coupling", COUPLINGS) or (coupling if kind == "scope" else None),
        steady=table.flag("steady"),
    )


def _choice(table: Table, name: str, words: Mapping[str, object]) -> str | None:
    return table.word(name, tuple(words)) if name in table else None


def _instrument(table: Table, scope_words: bool) -> str:
    if "instrument" in table:
        kind = table.word("instrument", INSTRUMENTS)
        if kind == "meter" and scope_words:
            table.refuse("instrument", 'a meter has neither divisions nor a probe; write "scope" or drop those keys')
        return kind
    counts = "accuracy" in table and re.search(r"count|digit|dgt", table.text("accuracy")) is not None
    return "meter" if counts and not scope_words else "scope"


def _value(table: Table, written: str, unit: str, division: float | None) -> tuple[float, bool]:
    match = _DIVISIONS.fullmatch(written.strip())
    if match:
        if division is None:
            table.refuse("value", f"'{shown(written)}' is in divisions; add a scale such as scale = \"200 mV/div\"")
        number = float(match[1])
        if abs(number) > 20:
            table.refuse("value", f"'{shown(written)}' is more than a screen has; at most 20 div are accepted")
        return number * division, True
    return _plain(table, "value", unit), False


def _plain(table: Table, name: str, unit: str) -> float:
    text = table.text(name)
    key, file = table.at(name), table.file
    value, _ = parse(text, unit, possible=_POSSIBLE.get(unit), what="a reading", key=key, file=file)
    if value.varies:
        raise UnitError(
            f"'{shown(text)}' carries a tolerance; write what the instrument showed, and its limits under accuracy",
            key=key,
            file=file,
        )
    return value.nominal


def _positive(table: Table, name: str, unit: str) -> float | None:
    if name not in table:
        return None
    found = _plain(table, name, unit)
    if found <= 0:
        table.refuse(
            name, f"'{shown(table.text(name))}' is not above zero; write a value such as '{_LIKELY_UNIT[unit]}'"
        )
    return found


def _scale(table: Table, unit: str) -> float:
    text = table.text("scale")
    match = re.fullmatch(r"(.+?)\s*/\s*div(?:ision)?", text.strip())
    example = {"V": "200 mV/div", "s": "1 us/div"}.get(unit)
    if match is None or example is None:
        table.refuse("scale", f"'{shown(text)}' is not a scale for this quantity; write one such as '{example or '-'}'")
    value, _ = parse(match[1], unit, key=table.at("scale"), file=table.file, possible=Range(1e-9, 100.0))
    return value.nominal


def _resolution(table: Table, unit: str, division: float | None) -> float | None:
    if "resolution" not in table:
        return None
    match = _DIVISIONS.fullmatch(table.text("resolution").strip())
    if match and division is not None and float(match[1]) > 0:
        return float(match[1]) * division
    return _positive(table, "resolution", unit)


def _share(table: Table, name: str) -> float | None:
    if name not in table:
        return None
    text = table.text(name)
    share = parse_accuracy(text.removeprefix("75 ohm").strip() or text, "1", key=table.at(name), file=table.file)
    if share.counts or share.divisions or share.of_range or share.absolute:
        table.refuse(name, f"'{shown(text)}' is not a tolerance; write a share such as '1%'")
    return share.of_reading


def unknown_lines(readings: Sequence[Reading | CaptureNote], lines: tuple[str, ...]) -> None:
    """Refuse readings and captures of lines the job does not have; raises JobError with the nearest name."""
    for reading in readings:
        if reading.line not in lines:
            raise JobError(
                f"'{shown(reading.line)}' is not a line of this job; accepted: {accepted(lines)}"
                f"{nearest(reading.line, lines)}",
                file=reading.file,
                key=f"{reading.key}.line",
            )
