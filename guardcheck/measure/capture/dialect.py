"""How one file writes its table: delimiter, decimal sign, columns and units, found from its first lines."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from guardcheck.errors import InputError, accepted

HEADER_LINES = 200
MAX_COLUMNS = 9
_TIME = {"s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12}
_VOLT = {"v": 1.0, "volt": 1.0, "volts": 1.0, "mv": 1e-3, "uv": 1e-6, "kv": 1e3}
_OTHER = {"a", "ma", "w", "db", "dbv", "dbm", "%", "deg", "hz", "ohm", "div", "counts"}
_RATE = {"hz": 1.0, "khz": 1e3, "mhz": 1e6, "ghz": 1e9, "sa/s": 1.0, "ksa/s": 1e3, "msa/s": 1e6, "gsa/s": 1e9}
_RATE |= {"s/s": 1.0, "ks/s": 1e3, "ms/s": 1e6, "gs/s": 1e9}
_TIME_NAMES = {"time", "t", "x", "x-axis", "x axis", "zeit", "temps", "tiempo", "second", "seconds", "sec"}
_COUNT_NAMES = {"", "#", "n", "no", "no.", "nr", "index", "sample", "samples", "point", "points", "number"}
_INTERVAL_WORDS = (
    "interval",
    "increment",
    "time step",
    "timestep",
    "sample period",
    "sampling period",
    "delta t",
    "dt",
)
_RATE_WORDS = ("sample rate", "sampling rate", "samplerate", "sampling frequency", "sample frequency")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?(nan|inf|infinity)", re.IGNORECASE)


@dataclass(frozen=True)
class Column:
    """One column: its name, what it holds (``time``, ``volts``, ``count``, ``other``) and its scale to SI."""

    name: str
    kind: str
    scale: float
    unit: str = ""


@dataclass(frozen=True)
class Dialect:
    """The table's form. `skip` is the number of lines above the first row; `interval` [s] stands there, if at all."""

    delimiter: str
    decimal: str
    columns: tuple[Column, ...]
    skip: int
    interval: float | None = None
    metadata: Mapping[str, str] = field(default_factory=dict)
    rows: tuple[tuple[str, tuple[str, ...]], ...] = ()
    notes: tuple[str, ...] = ()


def sniff(lines: Sequence[str], *, file: str) -> Dialect:
    """Return the dialect of a file from its first lines.

    Raises
    ------
    InputError
        no table of numbers within the first lines, or one that cannot be told apart safely

    """
    for index in range(min(len(lines), HEADER_LINES)):
        if not lines[index].strip():
            continue
        sample = [line for line in lines[index : index + 400] if line.strip()][:300]
        form = _form(sample)
        if form is not None:
            delimiter, decimal, width = form
            return _describe(lines, index, delimiter, decimal, width, file)
    raise InputError(
        f"no table of numbers was found in the first {HEADER_LINES} lines; accepted are columns of numbers separated"
        " by comma, semicolon or tab, below any lines of text",
        file=file,
    )


def _form(sample: Sequence[str]) -> tuple[str, str, int] | None:
    """Return delimiter, decimal sign and number of fields when the first rows are all numbers."""
    if len(sample) < 3:
        return None
    head = sample[:3]
    quoted = [_unquoted(row) for row in head]
    if all(row is not None and "," in row for row in quoted):
        width = _common_width([row or "" for row in quoted], ";", ",")
        return ('"', ",", width) if width else None
    present = [mark for mark in ("\t", ";", ",", " ") if mark in head[0].strip()] or ["\t"]
    for delimiter in present:
        for decimal in (".", ",") if delimiter != "," else (".",):
            width = _common_width(head, delimiter, decimal)
            if width:
                comma = delimiter != "," and any("," in row for row in sample)
                return delimiter, "," if comma else ".", width
    return None


def _common_width(rows: Sequence[str], delimiter: str, decimal: str) -> int:
    """Return the number of numbers in each row, 0 when the rows differ or hold something else."""
    widths = {_numeric_width(row, delimiter, decimal) for row in rows}
    return widths.pop() if len(widths) == 1 else 0


def _unquoted(row: str) -> str | None:
    """Return ``"0,1","0,2"`` with semicolons and no quotes, or None when the row is not written so."""
    text = row.strip()
    return text.replace('","', ";").replace('"', "") if text.startswith('"') and text.endswith('"') else None


def split(row: str, delimiter: str) -> list[str]:
    """Return a row's fields, stripped; a quoted row with decimal commas has the delimiter ``"``."""
    text = row.strip(" \r\n")
    fields = text.split() if delimiter == " " else text.split('","' if delimiter == '"' else delimiter)
    return [part.strip().strip('"').strip() for part in fields]


def _numeric_width(row: str, delimiter: str, decimal: str) -> int:
    fields = split(row, delimiter)
    width = 0
    for part in fields:
        if not part:
            continue
        text = part.replace(",", ".") if decimal == "," else part
        if not _NUMBER.fullmatch(text):
            return 0
        width += 1
    return width


def _describe(lines: Sequence[str], index: int, delimiter: str, decimal: str, width: int, file: str) -> Dialect:
    above = [line for line in lines[:index] if line.strip()]
    metadata = _metadata(above)
    names, units, notes = _headings(above, delimiter, width, decimal, file)
    if width > MAX_COLUMNS:
        raise InputError(f"{width} columns were found; accepted are at most {MAX_COLUMNS}", file=file, line=index + 1)
    columns = tuple(_column(name, unit) for name, unit in zip(names, units, strict=True))
    interval = _interval(metadata)
    return Dialect(delimiter, decimal, columns, index, interval, metadata, _rows(above), notes)


def _headings(
    above: Sequence[str], delimiter: str, width: int, decimal: str, file: str
) -> tuple[list[str], list[str], tuple[str, ...]]:
    """Return names and units of the columns from the one or two lines above the table."""
    separator = "," if delimiter == '"' else delimiter
    rows = [_trimmed(split(line, separator)) for line in above[-2:]]
    blank = [""] * width
    if not rows:
        return blank, blank, ("the file names no columns",)
    last = rows[-1]
    if len(last) == width:
        if all(_known_unit(part) for part in last) and len(rows) == 2 and len(rows[0]) == width:
            return rows[0], [part.strip("()[]") for part in last], ()
        pairs = [_name_and_unit(part) for part in last]
        return [name for name, _ in pairs], [unit for _, unit in pairs], ()
    if delimiter == "," and width == 2 * len(last) and len(last) > 1:
        raise InputError(
            f"the header names {len(last)} columns but the rows hold {width} numbers: comma is both the separator and"
            " the decimal sign; save the file with semicolons or decimal points",
            file=file,
            line=len(above),
        )
    return blank, blank, ("no header with one name for each column was found",)


def _trimmed(fields: list[str]) -> list[str]:
    while fields and not fields[-1]:
        fields = fields[:-1]
    return fields


def _plain(text: str) -> str:
    return text.strip().strip("()[]").replace("µ", "u").replace("μ", "u").casefold()


def _known_unit(text: str) -> bool:
    word = _plain(text)
    return word in _TIME or word in _VOLT or word in _OTHER


def _name_and_unit(heading: str) -> tuple[str, str]:
    """Split ``Time (s)``, ``CH1 [mV]``, ``CH1 in V`` or ``s`` into name and unit."""
    match = re.fullmatch(r"(.*?)\s*[(\[]\s*([^()\[\]]*)\s*[)\]]", heading) or re.fullmatch(
        r"(.+?)(?: in |/)(\S+)", heading
    )
    if match and _known_unit(match[2]):
        return match[1].strip() or heading, match[2].strip()
    return heading, heading if _plain(heading) in _TIME or _plain(heading) in _VOLT else ""


def _column(name: str, unit: str) -> Column:
    word = _plain(unit)
    label = name.casefold().strip()
    if word in _TIME:
        return Column(name or "time", "time", _TIME[word], unit)
    if word in _VOLT:
        return Column(name, "volts", _VOLT[word], unit)
    if word in _OTHER:
        return Column(name, "other", 1.0, unit)
    if label in _TIME_NAMES or label.startswith("time"):
        return Column(name, "time", 1.0, "")
    if label in _COUNT_NAMES and label:
        return Column(name, "count", 1.0, "")
    return Column(name, "volts", 1.0, "")


def _metadata(above: Sequence[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for key, values in _rows(above):
        found.setdefault(key, " ".join(values)[:200])
    return found


def _rows(above: Sequence[str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return key and values of each line above the table that has both."""
    rows: list[tuple[str, tuple[str, ...]]] = []
    for line in above:
        parts = [part for part in re.split(r"[,;\t]", line) if part.strip()]
        if len(parts) == 1:
            parts = re.split(r"[:=]", line, maxsplit=1)
        if len(parts) >= 2:
            key = parts[0].strip().strip('":#% ').casefold()
            if key:
                rows.append((key[:80], tuple(part.strip().strip('"') for part in parts[1:])))
    return tuple(rows)


def _interval(metadata: Mapping[str, str]) -> float | None:
    """Return the sample interval [s] the metadata states, or None."""
    for words, table, inverse in ((_INTERVAL_WORDS, _TIME, False), (_RATE_WORDS, _RATE, True)):
        for key, text in metadata.items():
            if not any(word == key or (len(word) > 2 and word in key) for word in words):
                continue
            joined = f"{text} {key[key.find('(') :] if '(' in key else ''}"
            match = re.search(r"([+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?)\s*[(\[]?\s*([A-Za-zµμ/]*)", joined)
            if not match:
                continue
            number = float(match[1].replace(",", "."))
            unit = _plain(match[2]) or _plain(key[key.find("(") + 1 :] if "(" in key else "")
            scale = table.get(unit, 1.0 if not unit else None)
            if scale is not None and number > 0:
                return 1 / (number * scale) if inverse else number * scale
    return None


def wanted_units() -> str:
    """Return the accepted units of a voltage column, for messages."""
    return accepted(("V", "mV", "uV", "kV"))
