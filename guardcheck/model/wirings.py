"""Plugs and sockets: what each contact carries, on the unit's side and on the display's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

DRIVES, TAKES, GROUND, OPEN = "drives", "takes", "ground", "open"
ACTIONS = (DRIVES, TAKES, GROUND, OPEN)


@dataclass(frozen=True, slots=True)
class Role:
    """What a contact can be, as a source and as an input [SI].

    A driver stands at `volts` behind `ohms` and may deliver `amps`; its resistor takes `watts`. An input loads with
    `load`, whose resistor takes `load_watts`; its own signal lies from `low` to `high`, and it is made for at most
    `most`. `accepts` names roles an input takes as its own. `steady` marks a voltage no capacitor passes.
    """

    name: str
    title: str
    volts: float
    ohms: float
    amps: float
    watts: float
    load: float
    low: float
    high: float
    most: float
    load_watts: float
    reference: str
    known_by: str
    accepts: tuple[str, ...] = ()
    steady: bool = False

    def driven(self, volts: float, ohms: float) -> Role:
        """Return the role with a driver that is known."""
        return replace(self, volts=volts, ohms=ohms)


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a contact: it drives or takes a role, is 0 V, or goes nowhere."""

    action: str
    role: Role | None = None

    @property
    def words(self) -> str:
        """What it is, for a reader: ``green``, ``0 V``, ``not connected``."""
        if self.role is not None:
            return self.role.title
        return "0 V" if self.action == GROUND else "not connected"


@dataclass(frozen=True)
class Wiring:
    """A wiring system: for each contact the unit's side and the display's, and which pairs a crossed lead exchanges."""

    name: str
    title: str
    connector: str
    purpose: str
    contacts: Mapping[str, tuple[Side, Side]]
    crossed: tuple[tuple[str, str], ...]
    reference: str
    known_by: str
    file: str
    sha256: str
