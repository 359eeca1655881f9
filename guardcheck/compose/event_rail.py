"""The supply rail during an event: a regulator that only sources, the rail's capacitors, and what the unit draws."""

from __future__ import annotations

from dataclasses import dataclass

from guardcheck.compose.chain import RAIL
from guardcheck.model import FALLING, OFF, ON, RISING, Card
from guardcheck.netlist import card

REGULATOR = 0.01
"""Output resistance of the regulator while it sources [ohm]; a sinking current finds no way through it."""
KNEE = 1e-4
"""Current [A] around which the regulator's one-way characteristic is rounded, so that the solver meets no corner."""
LEAST_OHMS = 1e-3
SWITCHING = 1e-5
"""Time [s] the rail and the source take when the unit is switched."""
SWITCHED_AT = 1e-6
DRIVER_AFTER = 1e-4
"""Time [s] after the rail at which the source comes up: no chip drives more than its rail. At power off it lets go
first, while the rail still drains: the larger step."""


@dataclass(frozen=True)
class Rail:
    """The rail as declared: `volts` [V], `capacitance` [F] behind `esr` [ohm], `load` [ohm]."""

    volts: float
    capacitance: float
    esr: float
    load: float


def rail_cards(rail: Rail, unit: str) -> tuple[Card, ...]:
    """Return the rail on node ``vdd``, its capacitors charged as the state of the `unit` says.

    A regulator cannot take current back: what a clamp dumps into the rail stays in its capacitance and load.
    """
    cards = [card("rload_rail", (RAIL, "0"), rail.load)]
    held = RAIL
    if rail.esr >= LEAST_OHMS:
        held = "rail_held"
        cards.append(card("resr_rail", (RAIL, held), rail.esr))
    cards.append(card("chold_rail", (held, "0"), rail.capacitance))
    if unit == OFF:
        return tuple(cards)
    surplus = f"((v(rail_set)-v({RAIL}))/{REGULATOR!r})"
    sourced = f"i=0.5*({surplus}+sqrt({surplus}*{surplus}+{KNEE * KNEE!r}))"
    held_at = rail.volts * (1.0 + REGULATOR / rail.load)
    cards.append(switched("vset_rail", "rail_set", held_at, unit))
    cards.append(card("bset_rail", ("0", RAIL), tail=sourced))
    return tuple(cards)


def switched(name: str, node: str, volts: float, unit: str, *, driver: bool = False) -> Card:
    """Return a source to 0 V that holds `volts` [V], or comes up or goes down as the unit is switched.

    Parameters
    ----------
    name : of the card
    node : where it feeds
    volts : what it holds while the unit is on [V]
    unit : ``on``, or the edge of a power step (`RISING`, `FALLING`)
    driver : whether it is a signal's driver, which comes up after the rail

    """
    if unit == ON:
        return card(name, (node, "0"), volts)
    before, after = {RISING: (0.0, volts), FALLING: (volts, 0.0)}[unit]
    at = SWITCHED_AT + (DRIVER_AFTER if driver and unit == RISING else 0.0)
    points = f"0.0 {before!r} {at!r} {before!r} {at + SWITCHING!r} {after!r}"
    return card(name, (node, "0"), None, f"pwl({points})")
