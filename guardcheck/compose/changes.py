"""Changes to the flat cards of a chain: what a cold joint, a wrong part or a part turned round makes of a circuit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace

from guardcheck.model import Card
from guardcheck.netlist import card

OPEN = 1e9
"""Resistance [ohm] of a part that is not there: it still ties its nodes, since no deck may float."""
SHORT = 1e-3
"""Resistance [ohm] of a solder bridge."""
NOTHING = 1e-15
"""Capacitance [F] of a capacitor that is not there."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change to one card by its name: `act` is a key of `ACTS`, `by` the factor or the value [SI] it takes."""

    card: str
    act: str
    by: float = 1.0


def changed(cards: Iterable[Card], changes: Iterable[Change]) -> tuple[Card, ...]:
    """Return the cards with changes made; a change whose card is not among them does nothing here."""
    by_name: dict[str, list[Change]] = {}
    for change in changes:
        by_name.setdefault(change.card, []).append(change)
    if not by_name:
        return tuple(cards)
    out: list[Card] = []
    for one in cards:
        for change in by_name.get(one.name, ()):
            one = ACTS[change.act](one, change.by)
        out.append(one)
    return tuple(out)


def _scaled(one: Card, by: float) -> Card:
    return one if one.value is None else replace(one, value=one.value * by)


def _set(one: Card, by: float) -> Card:
    return replace(one, value=by)


def _opened(one: Card, by: float) -> Card:
    if one.name[0] == "c":
        return replace(one, value=NOTHING)
    return replace(one, value=OPEN) if one.name[0] == "r" else _resistor(one, OPEN)


def _bridged(first: int, second: int) -> Callable[[Card, float], Card]:
    """Return what a shorted junction leaves of a transistor: a wire between two of its terminals."""

    def act(one: Card, by: float) -> Card:
        return card(f"r_{one.name}", (one.nodes[first], one.nodes[second]), SHORT)

    return act


def _dead(one: Card, by: float) -> Card:
    """Return an open transistor: nothing flows, and base and emitter still have a way to each other."""
    return card(f"r_{one.name}", (one.nodes[1], one.nodes[2]), OPEN)


def _shorted(one: Card, by: float) -> Card:
    return _resistor(one, SHORT)


def _resistor(one: Card, ohms: float) -> Card:
    return card(f"r_{one.name}", one.nodes[:2], ohms)


def _turned(one: Card, by: float) -> Card:
    return replace(one, nodes=(one.nodes[1], one.nodes[0], *one.nodes[2:]))


ACTS: Mapping[str, Callable[[Card, float], Card]] = {
    "scale": _scaled,
    "set": _set,
    "open": _opened,
    "short": _shorted,
    "turn": _turned,
    "base-emitter short": _bridged(1, 2),
    "collector-emitter short": _bridged(0, 2),
    "collector-base short": _bridged(0, 1),
    "transistor open": _dead,
}
"""What may be done to a card: its value scaled or set, the part taken out, bridged, or turned round (two terminals)."""
