"""The two records the table of keys is made of, and short constructors for its rows.

A `Table` lists the keys it takes; a `Key` says what its value is, between which bounds it is believed, and where a
technician finds it. Nothing here knows a particular key: `keys` holds the rows, `read` applies them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from guardcheck.model import UNKNOWN_WORD, Range

OVER_RANGE = "over range"


@dataclass(frozen=True, slots=True)
class Measure:
    """One dimension a value may have, with the range it usually lies in and the range that is possible [SI]."""

    unit: str
    usual: Range
    possible: Range


@dataclass(frozen=True, slots=True)
class Key:
    """One key of a job file.

    Parameters
    ----------
    kind
        name of the reader that understands the value (see `read.READERS`)
    meaning
        what it is, as a noun phrase: stands in messages
    where
        where a technician finds it
    measures
        the dimensions a value may have; more than one where either will do
    choices
        the words accepted; empty for free words
    also
        words accepted in place of a value, such as ``"unknown"``
    required
        refused when missing
    table
        the keys of a table, or of each table in a list

    """

    kind: str
    meaning: str
    where: str = ""
    measures: tuple[Measure, ...] = ()
    choices: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    required: bool = False
    table: Table | None = None


@dataclass(frozen=True)
class Table:
    """The keys of one table, and which of them exclude each other (`one_of`: exactly one; `not_both`: at most one)."""

    keys: Mapping[str, Key]
    one_of: tuple[tuple[str, ...], ...] = ()
    not_both: tuple[tuple[str, ...], ...] = ()
    note: str = field(default="", compare=False)


def measure(unit: str, usual: tuple[float, float], possible: tuple[float, float]) -> Measure:
    """Return a dimension with its two ranges [SI]."""
    return Measure(unit, Range(*usual), Range(*possible))


def value(
    meaning: str, where: str, *measures: Measure, unknown: bool = True, over_range: bool = False, required: bool = False
) -> Key:
    """Return a key that takes a physical value, by default also ``"unknown"``."""
    also = ((UNKNOWN_WORD,) if unknown else ()) + ((OVER_RANGE,) if over_range else ())
    return Key("value", meaning, where, measures=measures, also=also, required=required)


def choice(meaning: str, where: str, *choices: str, required: bool = False) -> Key:
    """Return a key that takes one of a few words."""
    return Key("choice", meaning, where, choices=choices, required=required)


def flag(meaning: str, where: str) -> Key:
    """Return a key that takes true, false or ``"unknown"``."""
    return Key("flag", meaning, where, also=(UNKNOWN_WORD,))


def text(meaning: str, where: str = "", *, required: bool = False) -> Key:
    """Return a key that takes free text."""
    return Key("text", meaning, where, required=required)


def word(meaning: str, where: str = "", *, required: bool = False) -> Key:
    """Return a key that takes a library name, which is looked up later."""
    return Key("word", meaning, where, required=required)


def words(meaning: str, where: str = "", *, required: bool = False) -> Key:
    """Return a key that takes a list of names."""
    return Key("words", meaning, where, required=required)


def labels(meaning: str, where: str = "") -> Key:
    """Return a key that takes a list of names whose meaning is looked up later, spelled as they are shown."""
    return Key("labels", meaning, where)


def value_list(meaning: str, where: str, *measures: Measure) -> Key:
    """Return a key that takes a list of physical values."""
    return Key("value_list", meaning, where, measures=measures)


def path(meaning: str, where: str = "") -> Key:
    """Return a key that takes the path of a netlist beside the job file."""
    return Key("path", meaning, where)


def values(meaning: str, where: str = "") -> Key:
    """Return a key that takes a part's parameters, whose dimensions only the library knows."""
    return Key("values", meaning, where)
