"""Builds proposed for the lines of a job: what to fit, and what was simulated of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from guardcheck.model.deck import EngineInfo
from guardcheck.model.findings import CircuitUsed


@dataclass(frozen=True, slots=True)
class Spread:
    """A value with the range its tolerances allow [SI]."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Build:
    """One build of a line as the full check found it.

    `stage_values` and `guard_values` are written as in a job file. `white` and `sync` [V] and `impedance` [ohm] are
    None where the line has none. `margins` are the least of every event that decides [dB], by its name, `yield_` the
    share of samples inside every limit. `binding` says what has least to spare, `open_` what nobody has proven yet,
    `conditions` which events have to be kept away, and `rules` the rules of use that do it. `cost_class` is 1 for
    resistors and capacitors alone, 2 with discrete semiconductors, 3 with an integrated circuit. `say` tells a
    technician what to solder, `own` that the stage is the job's own netlist.
    """

    rank: int
    outcome: str
    stage: str
    stage_values: Mapping[str, str]
    guard: str
    guard_values: Mapping[str, str]
    white: Spread | None
    sync: Spread | None
    impedance: Spread | None
    yield_: float | None
    margins: Mapping[str, float | None]
    level_error: float
    binding: str
    parts: int
    cost_class: int
    say: str
    open_: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()
    own: bool = False


@dataclass(frozen=True)
class LineProposals:
    """What was found for lines that are built alike; `line` is the first of them.

    `searched` counts the builds looked at, `confirmed` those the full check was made of. Where no build passes,
    `none_because` says which limit binds and what would have to change, and `nearest` is the build that fails least.
    """

    line: str
    lines: tuple[str, ...]
    searched: int
    confirmed: int
    builds: tuple[Build, ...]
    none_because: str | None = None
    nearest: Build | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Proposals:
    """The answer of `propose` for a whole job; `titles` says what each event is, by its name."""

    unit: str
    unit_kind: str
    lines: tuple[LineProposals, ...]
    engine: EngineInfo | None
    job_sha256: str = ""
    circuits: tuple[CircuitUsed, ...] = ()
    warnings: tuple[str, ...] = field(default=())
    titles: Mapping[str, str] = field(default_factory=dict)
