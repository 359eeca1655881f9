"""Circuits that have no answer at DC, found before ngspice invents one for them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence

from guardcheck.model import Card

_VOLTAGE_B = re.compile(r"\bv\s*=", re.IGNORECASE)


def nodes_of(card: Card) -> tuple[str, ...]:
    """Return the circuit nodes of a card: couplings and current-controlled sources also list element names."""
    return () if card.name[0] == "k" else card.nodes[:2] if card.name[0] in "fh" else card.nodes


class _Groups:
    """Sets of nodes joined so far."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}

    def root(self, node: str) -> str:
        while (above := self._parent.get(node, node)) != node:
            self._parent[node] = self._parent.get(above, above)
            node = above
        return node

    def join(self, one: str, other: str) -> bool:
        """Join two nodes; False when they already were."""
        a, b = self.root(one), self.root(other)
        self._parent[a] = b
        return a != b


def check_loops(cards: Sequence[Card], *, initial: bool) -> Iterator[str]:
    """Yield a sentence for each loop of ideal voltages or coils, and each direct current that has nowhere to go.

    `initial` means the run starts from stated initial conditions: no operating point is solved, so coils may close a
    loop and a current may charge a capacitor.
    """
    groups = _Groups()
    for card in cards:
        if len(card.nodes) >= 2 and _fixes_voltage(card, initial) and not groups.join(*card.nodes[:2]):
            yield f"'{card.name}' closes a loop of ideal sources or coils, which has no answer"
    if initial:
        return
    conducting = _Groups()
    for card in cards:
        for one, other in _conducts(card):
            conducting.join(one, other)
    ground = conducting.root("0")
    for card in cards:
        if card.name[0] == "i" and card.value is not None and card.value != 0.0 and len(card.nodes) == 2:
            for node in card.nodes:
                if conducting.root(node) != ground:
                    yield f"the direct current of '{card.name}' has no way from node '{node}' to node 0"
                    return


def _fixes_voltage(card: Card, initial: bool) -> bool:
    letter = card.name[0]
    return letter in "veh" or (letter == "l" and not initial) or (letter == "b" and bool(_VOLTAGE_B.match(card.tail)))


def _conducts(card: Card) -> Iterable[tuple[str, str]]:
    letter, nodes = card.name[0], card.nodes
    if letter in "rlvdehs" and len(nodes) >= 2:
        return ((nodes[0], nodes[1]),)
    if letter == "b" and len(nodes) >= 2 and _VOLTAGE_B.match(card.tail):
        return ((nodes[0], nodes[1]),)
    if letter in "qj" and len(nodes) >= 3:
        return ((nodes[0], nodes[1]), (nodes[1], nodes[2]))
    if letter == "m" and len(nodes) >= 4:
        return ((nodes[0], nodes[2]), (nodes[0], nodes[3]), (nodes[2], nodes[3]))
    if letter == "t" and len(nodes) >= 4:
        return ((nodes[0], nodes[2]), (nodes[1], nodes[3]))
    return ()
