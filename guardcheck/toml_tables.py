"""TOML tables read with a sentence for every mistake: what `library` and `standards` are made of.

A `Table` knows its file and its dotted key, so that whatever is wrong in it is said with its place. Reading is strict:
a key nobody asked for is refused with the nearest known one, a physical value without a unit likewise.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from guardcheck.errors import InputError, UnitError, accepted, nearest
from guardcheck.files import read_bytes
from guardcheck.model.values import Range, Value
from guardcheck.units import parse, shown

MAX_BYTES = 128_000
MAX_TEXT = 600


@dataclass(frozen=True)
class Table:
    """One TOML table: its entries, the file and dotted key it stands at, and the error its mistakes are raised as."""

    entries: Mapping[str, Any]
    file: str
    key: str = ""
    error: type[InputError] = InputError

    def __contains__(self, name: str) -> bool:
        return name in self.entries

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)

    def at(self, name: str) -> str:
        """Return the dotted key of an entry."""
        return f"{self.key}.{name}" if self.key else name

    def refuse(self, name: str | None, problem: str) -> NoReturn:
        """Raise the table's error for one of its entries, or for the table itself."""
        raise self.error(problem, file=self.file, key=(self.key or None) if name is None else self.at(name))

    def only(self, *known: str) -> None:
        """Refuse any key that is not among `known`."""
        for name in self.entries:
            if name not in known:
                found = shown(name)
                self.refuse(name, f"unknown key '{found}'; accepted: {accepted(known)}{nearest(found, known)}")

    def text(self, name: str, default: str | None = None) -> str:
        """Return a text; without `default` it must be there and must not be empty."""
        if name not in self.entries and default is not None:
            return default
        found = self._there(name, "a text in quotes")
        if not isinstance(found, str) or not found.strip():
            self.refuse(name, f"{_seen(found)} is not a text; write a text in quotes")
        if len(found) > MAX_TEXT or not found.isprintable():
            self.refuse(name, f"a text of at most {MAX_TEXT} printable characters on one line is accepted")
        return found

    def word(self, name: str, choices: Sequence[str], default: str | None = None) -> str:
        """Return a text that must be one of `choices`."""
        found = self.text(name, default)
        if found not in choices:
            problem = f"'{shown(found)}' is not accepted; write one of {accepted(choices)}"
            self.refuse(name, problem + nearest(found, choices))
        return found

    def flag(self, name: str) -> bool:
        """Return a true or false; false when it is not there."""
        found = self.entries.get(name, False)
        if not isinstance(found, bool):
            self.refuse(name, f"{_seen(found)} is not accepted; write true or false")
        return found

    def texts(self, name: str) -> tuple[str, ...]:
        """Return a list of texts; empty when it is not there."""
        found = self.entries.get(name, [])
        if not isinstance(found, list) or not all(isinstance(one, str) for one in found):
            self.refuse(name, f"{_seen(found)} is not a list of texts")
        return tuple(found)

    def value(self, name: str, unit: str) -> Value:
        """Return a physical value, written as a text with its unit."""
        return self._parsed(name, self._there(name, "a value with its unit"), unit)

    def real(self, name: str, unit: str) -> float:
        """Return the nominal of a physical value [SI]."""
        return self.value(name, unit).nominal

    def reals(self, units: Mapping[str, str]) -> dict[str, float]:
        """Return those entries that `units` knows, as floats [SI]."""
        return {name: self.real(name, unit) for name, unit in units.items() if name in self.entries}

    def span(self, name: str, unit: str) -> Range | None:
        """Return a range written as a list of two values, or None when it is not there."""
        if name not in self.entries:
            return None
        found = self.entries[name]
        if not isinstance(found, list) or len(found) != 2:
            self.refuse(name, f"{_seen(found)} is not a range; write two values, lowest first")
        low, high = (self._parsed(name, one, unit).nominal for one in found)
        if low > high:
            self.refuse(name, f"the range {_seen(found)} is upside down; write the lowest first")
        return Range(low, high)

    def table(self, name: str) -> Table:
        """Return a table inside this one; empty when it is not there."""
        found = self.entries.get(name, {})
        if not isinstance(found, dict):
            self.refuse(name, f"{_seen(found)} is not a table; write it under [{self.at(name)}]")
        return Table(found, self.file, self.at(name), self.error)

    def tables(self, name: str) -> tuple[Table, ...]:
        """Return an array of tables; empty when it is not there."""
        found = self.entries.get(name, [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            self.refuse(name, f"{_seen(found)} is not a list of tables; write each under [[{self.at(name)}]]")
        return tuple(Table(one, self.file, f"{self.at(name)}[{i}]", self.error) for i, one in enumerate(found))

    def _there(self, name: str, wanted: str) -> Any:
        if name not in self.entries:
            self.refuse(name, f"is missing; write {wanted}")
        return self.entries[name]

    def _parsed(self, name: str, found: Any, unit: str) -> Value:
        if not isinstance(found, str):
            self.refuse(name, f"{_seen(found)} is not accepted; write the value in quotes with its unit")
        try:
            return parse(found, unit)[0]
        except UnitError as problem:
            self.refuse(name, problem.problem)


def read_table(path: Path, *, error: type[InputError], shown_as: str = "") -> tuple[Table, bytes]:
    """Read a TOML file of at most 128 kB; `shown_as` is how it is called in messages, its path if nothing is given.

    Returns
    -------
    its top table, and the bytes it was read from (for hashing)

    Raises
    ------
    error
        the file cannot be read, is too large, or is not TOML

    """
    file = shown_as or str(path)
    data = read_bytes(path, MAX_BYTES, what="such a file", error=error, shown_as=file)
    try:
        entries = tomllib.loads(data.decode("utf-8"))
    except UnicodeDecodeError:
        raise error("is not UTF-8 text", file=file) from None
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        raise error(f"is not TOML: {shown(str(problem) or 'nested too deeply', 200)}", file=file) from None
    return Table(entries, file, "", error), data


def _seen(found: Any) -> str:
    return f"'{shown(str(found), 40)}'"
