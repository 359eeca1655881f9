"""Apply the table of keys to a TOML document: one small reader for each kind of value, no key known by name."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any, NoReturn

from guardcheck import units
from guardcheck.errors import JobError, UnitError, accepted, nearest
from guardcheck.job.document import MAX_KEYS
from guardcheck.job.schema import Key, Table
from guardcheck.job.where import dotted, nearest_line
from guardcheck.metrology import parse_accuracy

FORMAT = 1
Place = tuple[str | int, ...]
_WORD = re.compile(r"[a-z0-9]+(?:[-_][a-z0-9]+)*")
_PARAMETER = re.compile(r"[a-z][a-z0-9_]{0,39}")
_LABEL = re.compile(r"[A-Za-z0-9]+(?:[-_. ][A-Za-z0-9]+)*")
_PARAMETER_WANTED = "a value with its unit such as '5 V'"


@dataclass
class Reading:
    """One pass over one document: where it came from, the warnings it collects, which paths it may name."""

    file: str
    folder: Path
    lines: dict[str, int]
    allow_outside: bool = False
    warnings: list[str] = field(default_factory=list)

    def line(self, place: Place) -> int | None:
        """Return the line of a key, or of the table it would stand in."""
        return nearest_line(self.lines, dotted(place))

    def refuse(self, problem: str, place: Place) -> NoReturn:
        """Raise a `JobError` at that key."""
        raise JobError(problem, file=self.file, key=_safe(place) or None, line=self.line(place))

    def warn(self, sentence: str, place: Place) -> None:
        """Keep a warning with its place; it goes into the result, so the file stands there by its bare name."""
        name = PurePath(self.file).name
        self.warnings.append(str(JobError(sentence, file=name, key=_safe(place) or None, line=self.line(place))))


def read_table(raw: Any, table: Table, place: Place, reading: Reading) -> dict[str, Any]:
    """Return the entries of a table as parsed; keys that were not given are absent.

    Raises
    ------
    JobError
        an unknown, missing or contradictory key, or a value its reader refuses

    """
    if not isinstance(raw, dict):
        reading.refuse(f"{found(raw)}; a table with the keys {accepted(table.keys)} is wanted", place)
    for name in raw:
        if name not in table.keys:
            hint = f"{nearest(name, table.keys)} (accepted here: {accepted(table.keys)})"
            reading.refuse(f"unknown key '{units.shown(name)}'{hint}", (*place, name))
    for name, key in table.keys.items():
        if key.required and name not in raw:
            reading.refuse(f"'{name}' is missing: {_explained(key)}", place)
    for names in table.one_of:
        given = [name for name in names if name in raw]
        if len(given) != 1:
            problem = "one of them is wanted" if not given else "only one of them can hold"
            reading.refuse(f"{' or '.join(repr(name) for name in names)}: {problem}", place)
    for names in table.not_both:
        if all(name in raw for name in names):
            reading.refuse(f"{' and '.join(repr(name) for name in names)}: only one of them can hold", place)
    return {name: read_key(raw[name], table.keys[name], (*place, name), reading) for name in raw}


def read_key(raw: Any, key: Key, place: Place, reading: Reading) -> Any:
    """Return one value as parsed, or the word it may have instead."""
    if isinstance(raw, str) and raw in key.also:
        return raw
    return READERS[key.kind](raw, key, place, reading)


def _safe(place: Place) -> str:
    return units.shown(dotted(place), 120)


def _explained(key: Key) -> str:
    return f"{key.meaning} ({key.where})" if key.where else key.meaning


def found(raw: Any) -> str:
    """Return what stands in the file, in words."""
    if isinstance(raw, bool):
        return f"found {str(raw).lower()}"
    if isinstance(raw, int | float):
        return f"found the bare number {units.shown(str(raw), 24)}"
    if isinstance(raw, str):
        return f"found '{units.shown(raw)}'"
    name = "table" if isinstance(raw, dict) else "list" if isinstance(raw, list) else "date or time"
    return f"found a {name}"


def _or_words(key: Key) -> str:
    return "".join(f", or '{word}'" for word in key.also)


def _string(raw: Any, wanted: str, place: Place, reading: Reading) -> str:
    if not isinstance(raw, str):
        reading.refuse(f"{found(raw)}; write {wanted}, in quotes", place)
    if not raw.strip():
        reading.refuse(f"an empty text; write {wanted}", place)
    return raw


def _value(raw: Any, key: Key, place: Place, reading: Reading) -> Any:
    wanted = " or ".join(units.describe(one.unit) for one in key.measures) + _or_words(key)
    text = _string(raw, wanted, place, reading)
    if not re.search(r"[0-9]", text):
        hint = nearest(text, key.also)
        reading.refuse(f"{found(raw)}{hint} (write {wanted})" if hint else f"{found(raw)}; write {wanted}", place)
    written = units.unit_of(text)
    chosen = next((one for one in key.measures if one.unit == written), None)
    if chosen is None and len(key.measures) > 1 and written is not None:
        wrong = "has no unit" if written == "1" else f"is {units.noun(written)}"
        reading.refuse(f"'{units.shown(text)}' {wrong}; write {wanted}", place)
    chosen = chosen or key.measures[0]
    value, warning = units.parse(
        text,
        chosen.unit,
        key=_safe(place),
        file=reading.file,
        line=reading.line(place),
        usual=chosen.usual,
        possible=chosen.possible,
        what=key.meaning,
    )
    if warning:
        reading.warn(warning, place)
    return value


def _any(raw: Any, key: Key, place: Place, reading: Reading) -> Any:
    text = _string(raw, "a value with its unit such as '5 V'" + _or_words(key), place, reading)
    return units.parse_any(text, key=_safe(place), file=reading.file, line=reading.line(place))


def _values(raw: Any, key: Key, place: Place, reading: Reading) -> dict[str, str]:
    """Return the values of a part as written: which unit each has, only the part knows that takes them."""
    if not isinstance(raw, dict):
        reading.refuse(f'{found(raw)}; write a table such as {{ series = "100 ohm 1%" }}', place)
    for name in raw:
        if not _PARAMETER.fullmatch(name):
            reading.refuse(f"'{units.shown(name)}' is no parameter name; use a to z, 0 to 9 and _", (*place, name))
    return {name: _string(inner, _PARAMETER_WANTED, (*place, name), reading) for name, inner in raw.items()}


def _choice(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    wanted = "one of " + ", ".join(f"'{word}'" for word in key.choices)
    if len(key.choices) == 1:
        wanted = f"'{key.choices[0]}'"
    text = _string(raw, wanted, place, reading)
    if text not in key.choices:
        exact = {word.casefold(): word for word in key.choices}.get(text.casefold())
        hint = f"; did you mean '{exact}'?" if exact else nearest(text, key.choices)
        want = f"{wanted}: {key.meaning}"
        reading.refuse(f"{found(text)}{hint} (write {want})" if hint else f"{found(text)}; write {want}", place)
    return text


def _choices(raw: Any, key: Key, place: Place, reading: Reading) -> tuple[str, ...]:
    if not isinstance(raw, list) or not raw:
        what = "an empty list" if isinstance(raw, list) else found(raw)
        reading.refuse(f'{what}; write a list such as ["{key.choices[0]}"]: {key.meaning}', place)
    return tuple(dict.fromkeys(_choice(inner, key, (*place, index), reading) for index, inner in enumerate(raw)))


def _flag(raw: Any, key: Key, place: Place, reading: Reading) -> bool:
    if not isinstance(raw, bool):
        want = f"true or false without quotes{_or_words(key)}: {key.meaning}"
        reading.refuse(f"{found(raw)}; write {want}", place)
    return raw


def _text(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    return _string(raw, f"a few words ({key.meaning})", place, reading).strip()


def _word(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    text = _string(raw, f"a name ({key.meaning})", place, reading)
    if len(text) > 60 or not _WORD.fullmatch(text):
        reading.refuse(f"'{units.shown(text)}' is no name; names are small letters, digits and hyphens", place)
    return text


def _words(raw: Any, key: Key, place: Place, reading: Reading) -> tuple[str, ...]:
    if not isinstance(raw, list) or not raw:
        what = "an empty list" if isinstance(raw, list) else found(raw)
        reading.refuse(f'{what}; write a list such as ["red", "green"]: {key.meaning}', place)
    return tuple(_word(inner, key, (*place, index), reading) for index, inner in enumerate(raw))


def _labels(raw: Any, key: Key, place: Place, reading: Reading) -> tuple[str, ...]:
    if not isinstance(raw, list) or not raw:
        what = "an empty list" if isinstance(raw, list) else found(raw)
        reading.refuse(f'{what}; write a list such as ["hot-plug"]: {key.meaning}', place)
    return tuple(_label(inner, key, (*place, index), reading) for index, inner in enumerate(raw))


def _label(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    text = _string(raw, f"a name ({key.meaning})", place, reading)
    if len(text) > 60 or not _LABEL.fullmatch(text):
        reading.refuse(f"'{units.shown(text)}' is no name; names are letters, digits, hyphens, dots", place)
    return text


def _value_list(raw: Any, key: Key, place: Place, reading: Reading) -> tuple[Any, ...]:
    if not isinstance(raw, list) or not raw:
        what = "an empty list" if isinstance(raw, list) else found(raw)
        reading.refuse(f"{what}; write a list of values in quotes: {key.meaning}", place)
    return tuple(_value(inner, key, (*place, index), reading) for index, inner in enumerate(raw))


def _accuracy(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    text = _string(raw, "the accuracy as printed, such as '1.0% + 2 counts'", place, reading)
    try:
        return parse_accuracy(text, key.measures[0].unit if key.measures else None).text
    except UnitError as error:
        reading.refuse(error.problem, place)


def _format(raw: Any, key: Key, place: Place, reading: Reading) -> int:
    if isinstance(raw, bool) or raw != FORMAT or not isinstance(raw, int):
        reading.refuse(f"{found(raw)}; this version reads 'format = {FORMAT}' only", place)
    return FORMAT


def _table(raw: Any, key: Key, place: Place, reading: Reading) -> dict[str, Any]:
    assert key.table is not None
    return read_table(raw, key.table, place, reading)


def _tables(raw: Any, key: Key, place: Place, reading: Reading) -> tuple[dict[str, Any], ...]:
    assert key.table is not None
    if not isinstance(raw, list):
        name = place[-1]
        reading.refuse(f"{found(raw)}; write a list of tables: [[{name}]] above each, or {name} = [ {{ ... }} ]", place)
    if len(raw) > MAX_KEYS:
        reading.refuse(f"{len(raw)} tables; at most {MAX_KEYS} are accepted", place)
    return tuple(read_table(inner, key.table, (*place, index), reading) for index, inner in enumerate(raw))


def _resolved(raw: Any, key: Key, place: Place, reading: Reading) -> Path:
    text = _string(raw, "a path beside the job file", place, reading)
    try:
        folder = reading.folder.resolve()
        target = (folder / text).resolve()
    except (OSError, RuntimeError, ValueError):
        reading.refuse(f"'{units.shown(text)}' cannot be followed to a file", place)
    if not reading.allow_outside and (Path(text).is_absolute() or not target.is_relative_to(folder)):
        hint = "put the file beside the job file, or allow it with --allow-outside"
        reading.refuse(f"'{units.shown(text)}' leaves the job file's folder; {hint}", place)
    return target


def _exists(target: Path, wanted: Callable[[Path], bool]) -> bool:
    try:
        return wanted(target)
    except OSError:
        return False


def _path(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    target = _resolved(raw, key, place, reading)
    if not _exists(target, Path.is_file):
        reading.refuse(f"'{units.shown(raw)}' is no file beside the job file: {_explained(key)}", place)
    return str(target)


def _folder(raw: Any, key: Key, place: Place, reading: Reading) -> str:
    target = _resolved(raw, key, place, reading)
    if not _exists(target, Path.is_dir):
        reading.refuse(f"'{units.shown(raw)}' is no folder: {_explained(key)}", place)
    return str(target)


READERS: Mapping[str, Callable[[Any, Key, Place, Reading], Any]] = {
    "accuracy": _accuracy,
    "any": _any,
    "choice": _choice,
    "choices": _choices,
    "flag": _flag,
    "folder": _folder,
    "format": _format,
    "path": _path,
    "table": _table,
    "tables": _tables,
    "text": _text,
    "value": _value,
    "value_list": _value_list,
    "values": _values,
    "word": _word,
    "words": _words,
    "labels": _labels,
}
