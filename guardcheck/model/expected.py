"""One reading to expect before anybody measures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

UNPOWERED, UNPOWERED_TURNED, FIRST_POWER = "unpowered", "unpowered_turned", "first_power"
"""When it is read, before the unit runs: without power first, then on a bench supply."""
LEAD_OUT, INTO_DISPLAY, RUNNING = "lead_out", "into_display", "running"
"""When it is read on the unit that runs; `RUNNING` is with the lead in or out."""
STATES: Mapping[str, str] = {
    UNPOWERED: "no power, lead out",
    UNPOWERED_TURNED: "no power, lead out, leads of the meter swapped",
    FIRST_POWER: "first power-up",
    LEAD_OUT: "lead out",
    INTO_DISPLAY: "into its display",
    RUNNING: "on",
}
"""How the unit and its lead are at each of these, in words; the words are only printed."""


@dataclass(frozen=True)
class Expected:
    """One reading to expect.

    `lines` are the lines it holds for, `point` its mark (M1 …), `where` the place in words, `when` the code of how the
    unit and its lead are, `instrument` what reads it, `quantity` what is read; `expected`, `low` and `high` are in
    `unit` [SI], None where the meter shows that its range is exceeded. `tells` names faults this reading would show.
    """

    lines: tuple[str, ...]
    point: str
    where: str
    when: str
    instrument: str
    quantity: str
    expected: float | None
    low: float | None
    high: float | None
    unit: str
    tells: tuple[str, ...] = ()

    @property
    def state(self) -> str:
        """How the unit and its lead are, in words."""
        return STATES[self.when]

    @property
    def runs(self) -> bool:
        """Tell whether the finished unit runs by then."""
        return self.when in (LEAD_OUT, INTO_DISPLAY, RUNNING)
