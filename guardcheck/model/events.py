"""What a stress event says about itself, beside its netlist."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

ON, OFF, RISING, FALLING = "on", "off", "rising", "falling"
UNIT_STATES = (ON, OFF, RISING, FALLING)
"""What the unit's rail does during an event: powered, dead, being switched on, being switched off."""

DISPLAY, CABLE, NOTHING = "display", "cable", "nothing"
MATED = (DISPLAY, CABLE, NOTHING)
"""What hangs on the far side of an event: cable and display, the cable alone with an open end, or nothing."""

STRESS, REFERENCE = "stress", "reference"
ROLES = (STRESS, REFERENCE)
"""A stress is run on every line; a reference is a test pulse at the pin itself that stresses are compared with."""

DAILY, MISTAKE, STRIKE = "daily", "mistake", "strike"
USES = (DAILY, MISTAKE, STRIKE)
"""What brings an event about: daily use decides; a mistake that is not survived becomes a condition of use; a strike
gives a grade, and decides only where the job claims it."""


@dataclass(frozen=True)
class EventPlan:
    """How an event is run.

    Parameters
    ----------
    unit : states of the unit to try; the worst is taken
    mated : what hangs on the far side, each tried
    severities : parameter values by level name [SI], from mild to hard: the last stands for the event where one must
    states : states of the unit that belong to one level alone, by its name
    stop, step : length and largest time step of the first run [s]; a run goes on, and is repeated finer, until its
        quantities hold
    lasting : it stays until somebody ends it, so neither charge nor energy has an end
    claimed : it decides only when the job claims it
    role : ``stress`` or ``reference``
    mating : the order in which the contacts meet, in words, with its source
    use : what brings it about, by the name of the level; a level that is not named is of daily use
    condition : the rule of use that avoids a level, by its name
    charged : the parameter a lead is charged to, empty where none is
    rated : parts' ratings that are found by this very test, each with the parameter that is its level

    """

    unit: tuple[str, ...]
    mated: tuple[str, ...]
    severities: Mapping[str, Mapping[str, float]]
    stop: float
    step: float
    lasting: bool = False
    claimed: bool = False
    role: str = STRESS
    mating: str = ""
    states: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    use: Mapping[str, str] = field(default_factory=dict)
    condition: Mapping[str, str] = field(default_factory=dict)
    charged: str = ""
    rated: Mapping[str, str] = field(default_factory=dict)

    def units(self, severity: str) -> tuple[str, ...]:
        """Return the states of the unit to try at one level."""
        return self.states.get(severity, self.unit)


@dataclass(frozen=True)
class PinFamily:
    """What data sheets of one kind of chip allow at a pin: ratings by job key [SI].

    `voltage_by_current` is true where the data sheets let the voltage limits be passed as long as the clamp current is
    kept; then no voltage rating of the family is judged.
    """

    name: str
    title: str
    purpose: str
    ratings: Mapping[str, float]
    reference: str
    known_by: str
    file: str
    sha256: str
    voltage_by_current: bool = False
