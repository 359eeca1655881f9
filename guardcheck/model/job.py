"""The job as declared: one record per TOML table, physical values as `Value`, names not yet checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from guardcheck.model.values import Value

UNKNOWN_WORD = "unknown"


@dataclass(frozen=True)
class PartUse:
    """A part a job names: by library name, or by its own netlist.

    `values` are texts as written, words and ``"unknown"`` among them: what each means is read where its part, and so
    its unit, is known. One that was worked out, not written, is a `Value`. `key` is the dotted key that names the part,
    `values_key` that of the table its values stand in.
    """

    kind: str
    name: str | None
    netlist: str | None = None
    values: Mapping[str, Value | str] = field(default_factory=dict)
    key: str = ""
    values_key: str = ""


@dataclass(frozen=True)
class Original:
    """How the maker built a line: its stage, its guard (name None for none), and whether it led to a socket at all."""

    stage: PartUse
    guard: PartUse
    exposed: bool = True

    @property
    def has_guard(self) -> bool:
        """Tell whether the maker fitted a guard."""
        return self.guard.netlist is not None or self.guard.name not in (None, "none")


@dataclass(frozen=True)
class Line:
    """One signal conductor. `table` is the index of its `[[line]]` table; `event` is a stress of the user's own.

    `original` is the maker's build, the measure of it. `moves` names what of its stage a search for values may change.
    `readings` pairs a load, None for none, with what was read at the pin; `edges` holds rise and fall times there.
    """

    name: str
    table: int
    standard: str
    source: PartUse
    stage: PartUse
    guard: PartUse
    pin: Mapping[str, Value | str | bool] = field(default_factory=dict)
    stage_pin: Mapping[str, Value | str | bool] = field(default_factory=dict)
    event: PartUse | None = None
    original: Original | None = None
    moves: tuple[str, ...] = ()
    readings: tuple[tuple[Value | None, Value], ...] = ()
    edges: Mapping[str, Any] = field(default_factory=dict)

    @property
    def has_guard(self) -> bool:
        """Tell whether the job fits a guard (own netlist included)."""
        return self.guard.netlist is not None or self.guard.name not in (None, "none")


@dataclass(frozen=True)
class Fact:
    """One declared bench fact: table name (``bond`` …), its index, the entries as parsed, a short label."""

    table: str
    index: int
    label: str
    entries: Mapping[str, Any]


@dataclass(frozen=True)
class Job:
    """One job file.

    `supply` and `display_facts` hold the declared values of `[supply]` and `[display]` (Value, bool or the string
    ``"unknown"``), `picture` those of what the unit makes; `lines_of` maps a dotted key to its line number in the file.
    """

    file: str
    sha256: str
    unit: str
    unit_kind: str
    supply: Mapping[str, Any]
    display: PartUse
    display_facts: Mapping[str, Any]
    cable: PartUse
    lines: tuple[Line, ...]
    facts: tuple[Fact, ...] = ()
    claims: tuple[str, ...] = ()
    socket: Mapping[str, Any] = field(default_factory=dict)
    lead: Mapping[str, Any] = field(default_factory=dict)
    forbids: frozenset[str] = frozenset()
    settings: Mapping[str, Any] = field(default_factory=dict)
    drawer: Mapping[str, Any] = field(default_factory=dict)
    circuits: str | None = None
    warnings: tuple[str, ...] = ()
    picture: Mapping[str, Any] = field(default_factory=dict)
    lines_of: Mapping[str, int] = field(default_factory=dict)
