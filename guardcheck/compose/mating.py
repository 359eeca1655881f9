"""Plug in socket: every contact as a Thevenin port on either side, joined by a lead, with one common return."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose.decks import deck_of
from guardcheck.model import DRIVES, GROUND, TAKES, Card, Deck, Operating, Side
from guardcheck.netlist import card

Array = NDArray[np.float64]

CONTACT, RETURN, NOWHERE = 0.02, 0.01, 1e7
"""Resistance of a contact with its wire, of a ground inside its apparatus, and of what goes nowhere [ohm]."""
DISPLAY_GROUND = "dg"


@dataclass(frozen=True)
class Joint:
    """One wire of a lead: a contact of the unit and one of the display, with what stands on either side.

    `series` is a resistance in the wire and `shunt` one from the display's end to its ground [ohm]; `blocks` says that
    a capacitor stands in the wire, which passes no voltage that stays.
    """

    unit: str
    display: str
    near: Side
    far: Side
    series: float = 0.0
    shunt: float | None = None
    blocks: bool = False

    @property
    def tag(self) -> str:
        """Name for nodes and elements."""
        return f"{self.unit}_{self.display}".replace("-", "_")

    @property
    def drivers(self) -> tuple[tuple[str, Side], ...]:
        """The sides that drive, with the letter of their end."""
        return tuple((end, side) for end, side in (("u", self.near), ("d", self.far)) if side.action == DRIVES)


def drives_of(joints: Sequence[Joint], *, steady: bool) -> tuple[tuple[str, float], ...]:
    """Return the drivers of one form: name of the element, and the voltage it stands at [V]; a contact counts once."""
    found: dict[str, float] = {}
    for joint in joints:
        for end, side in joint.drivers:
            if side.role is not None and side.role.steady is steady:
                found[_element("v", end, joint)] = side.role.volts
    return tuple(found.items())


def mating_deck(joints: Sequence[Joint], *, steady: bool) -> Deck | None:
    """Return the operating points of all drivers of one form: each alone, the others at 0 V, then all together.

    None where nothing of that form is driven. Vectors: ``v(u_…)`` and ``v(d_…)`` of every joint, ``i(vm_…)`` through it
    towards the display, and the display's ground ``v(dg)``.
    """
    drives = drives_of(joints, steady=steady)
    if not drives:
        return None
    columns = {name: np.zeros(len(drives) + 1) for name, _ in drives}
    for index, (name, volts) in enumerate(drives):
        columns[name][[index, len(drives)]] = volts
    cards: list[Card] = [card("rapart", ("0", DISPLAY_GROUND), NOWHERE)]
    done: set[str] = set()
    for joint in joints:
        for end, side, name in (("u", joint.near, joint.unit), ("d", joint.far, joint.display)):
            if f"{end}{name}" not in done:
                done.add(f"{end}{name}")
                cards += _port(end, side, joint, columns)
        cards += _wire(joint, steady=steady)
    save = ["v(dg)"]
    for joint in joints:
        save += [f"v({_node('u', joint)})", f"v({_node('d', joint)})", f"i(vm_{joint.tag})"]
    form = "steady" if steady else "moving"
    return deck_of(f"{form} voltages across the plug", cards, (), Operating(), tuple(dict.fromkeys(save)))


def _end(end: str, joint: Joint) -> str:
    return (joint.unit if end == "u" else joint.display).replace("-", "_")


def _node(end: str, joint: Joint) -> str:
    return f"{end}_{_end(end, joint)}"


def _element(letter: str, end: str, joint: Joint) -> str:
    return f"{letter}{end}_{_end(end, joint)}"


def _port(end: str, side: Side, joint: Joint, columns: Mapping[str, Array]) -> list[Card]:
    node, home = _node(end, joint), "0" if end == "u" else DISPLAY_GROUND
    if side.action == DRIVES and side.role is not None:
        source = _element("v", end, joint)
        behind = f"behind_{node}"
        return [
            card(source, (behind, home), columns.get(source, 0.0)),
            card(_element("r", end, joint), (behind, node), side.role.ohms),
        ]
    ohms = NOWHERE
    if side.action == GROUND:
        ohms = RETURN
    elif side.action == TAKES and side.role is not None:
        ohms = side.role.load
    return [card(_element("r", end, joint), (node, home), ohms)]


def _wire(joint: Joint, *, steady: bool) -> list[Card]:
    middle = f"w_{joint.tag}"
    ohms = NOWHERE if joint.blocks and steady else joint.series + CONTACT
    cards = [
        card(f"vm_{joint.tag}", (_node("u", joint), middle), 0.0),
        card(f"rw_{joint.tag}", (middle, _node("d", joint)), ohms),
    ]
    if joint.shunt is not None:
        cards.append(card(f"rs_{joint.tag}", (_node("d", joint), DISPLAY_GROUND), joint.shunt))
    return cards


def node_vectors(joint: Joint) -> tuple[str, str, str]:
    """Return the vectors of a joint: unit's node, display's node, current towards the display."""
    return f"v({_node('u', joint)})", f"v({_node('d', joint)})", f"i(vm_{joint.tag})"
