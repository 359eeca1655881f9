"""Parts of the circuit library: a netlist with its metadata."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from guardcheck.model.circuit import Model, Subcircuit
from guardcheck.model.events import EventPlan
from guardcheck.model.values import Range, Value

KINDS = ("source", "stage", "guard", "cable", "display", "event")
PORTS: Mapping[str, tuple[str, ...]] = {
    "source": ("emf", "pin", "vdd", "gnd"),
    "stage": ("in", "out", "vdd", "gnd"),
    "guard": ("chip", "line", "vdd", "gnd"),
    "cable": ("near", "far", "near_gnd", "far_gnd"),
    "display": ("in", "gnd"),
    "event": ("near", "near_gnd", "far", "far_gnd"),
}


@dataclass(frozen=True, slots=True)
class Parameter:
    """One parameter of a part.

    `nominal` is the default, None when `same_as` names the parameter to copy or when the job must give it.
    `choices` is set for a word parameter such as a guard's place; then `word` is its default. `fixed` marks one that
    cannot carry a tolerance (a line's length), `moves` one that a search for values may choose anew (``resistor``,
    ``capacitor``). A nominal of provenance ``unknown`` means that leaving it out is the
    same as calling it unknown.
    """

    name: str
    unit: str
    meaning: str
    nominal: Value | None = None
    same_as: str | None = None
    usual: Range | None = None
    possible: Range | None = None
    choices: tuple[str, ...] = ()
    word: str | None = None
    fixed: bool = False
    moves: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """One `[[check]]` row: a small bench around the part, what is read, and what it must be.

    `ports` says what hangs on each port: ``"5 V"``, ``"1.4 V via 75 ohm"``, ``"1 mA"``, ``"75 ohm"``, ``"open"``.
    `read` is ``v(port)``, ``i(port)``, ``z(port)`` or ``gain(from, to)``. Values are SI. `time` reads a waveform:
    at a time [s], at its ``peak`` (the extreme farthest from zero, with its sign), or its ``rise``, 10 to 90 % of that.
    """

    what: str
    ports: Mapping[str, str]
    read: str
    value: float
    unit: str
    tolerance: float
    basis: str
    reference: str
    values: Mapping[str, Value | str] = field(default_factory=dict)
    frequency: float | None = None
    time: float | str | None = None


@dataclass(frozen=True, slots=True)
class SyncWindow:
    """Sync amplitudes a display locks to, from `low` to `high`, and the `most` its input stands, peak to peak [V]."""

    low: float
    high: float
    most: float
    reference: str
    known_by: str


@dataclass(frozen=True, slots=True)
class Ladder:
    """A weighted ladder by its parameters: legs, most significant first, what drives each, low and high level."""

    legs: tuple[str, ...]
    driver: str
    low: str
    high: str


@dataclass(frozen=True)
class Part:
    """A member of the library, or a user's own netlist in its place.

    `states` maps a signal kind (``picture``, ``sync`` …) to the EMF each signal state takes, as parameter names.
    Of a source, `two_readings` names the parameters that EMF and impedance follow from, `identified` the kind of output
    it is and its parameters, `colour` what holds burst and chroma; `feed` marks one that is no chip's pin. `exposed` is
    a chip's pin inside the part: its node, what it is, what leads to it and what it may deliver. `signals` are those a
    stage is for, empty for any. `real` names the elements a technician can point at, None for all. Of an event, `plan`
    is what it does and `said` what the bench calls it. `extra` keeps the tables of ratings of parts, models and pin.
    """

    kind: str
    name: str
    title: str
    purpose: str
    circuit: Subcircuit
    models: tuple[Model, ...]
    parameters: Mapping[str, Parameter]
    reference: str
    checks: tuple[Check, ...]
    file: str
    sha256: str
    states: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    two_readings: Mapping[str, str] = field(default_factory=dict)
    identified: Mapping[str, str] = field(default_factory=dict)
    colour: Mapping[str, str] = field(default_factory=dict)
    feed: bool = False
    ladder: Ladder | None = None
    exposed: Mapping[str, str] = field(default_factory=dict)
    signals: tuple[str, ...] = ()
    sync_window: SyncWindow | None = None
    real: tuple[str, ...] | None = None
    remedy: str | None = None
    plan: EventPlan | None = None
    said: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)
    own: bool = False


@dataclass(frozen=True, slots=True)
class TwoReadings:
    """An impedance read twice: the names of the values it follows from, Z = load x (open / loaded - 1)."""

    open: str
    loaded: str
    load: str


@dataclass(frozen=True)
class Fitted:
    """A part with the values this job gives it (defaults filled in). Word parameters stand in `words`.

    `same` maps a parameter that copies another one to it, so that both take the same sample. `missing` names
    parameters declared unknown for which no usual range exists: nothing simulated with this part can conform.
    `follows` maps a parameter to the two readings it follows from: what varies from build to build is the readings.
    """

    part: Part
    values: Mapping[str, Value]
    words: Mapping[str, str] = field(default_factory=dict)
    same: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    follows: Mapping[str, TwoReadings] = field(default_factory=dict)
