"""One reading to expect before anybody measures."""

from __future__ import annotations

from dataclasses import dataclass

UNPOWERED, UNPOWERED_TURNED = "no power, lead out", "no power, lead out, leads of the meter swapped"
FIRST_POWER = "first power-up"
"""States of the unit in which it is read before it runs: without power first, then on a bench supply."""


@dataclass(frozen=True)
class Expected:
    """One reading to expect.

    `lines` are the lines it holds for, `point` its mark (M1 …), `where` the place in words, `state` how the unit and
    its lead are, `instrument` what reads it, `quantity` what is read; `expected`, `low` and `high` are in `unit` [SI],
    None where the meter shows that its range is exceeded. `tells` names faults this reading would show.
    """

    lines: tuple[str, ...]
    point: str
    where: str
    state: str
    instrument: str
    quantity: str
    expected: float | None
    low: float | None
    high: float | None
    unit: str
    tells: tuple[str, ...] = ()
