"""From a composed chain to the parts a technician sees: wires joined, models of chips gathered into boxes."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from guardcheck.compose.chain import FAR, NEAR, RAIL_CARD, Chain, chain_cards, nodes_of
from guardcheck.compose.variants import Builds
from guardcheck.model import Card, Fitted, SchematicPart
from guardcheck.model.schematic import (
    CABLE,
    CAPACITOR,
    CHIP,
    DIODE,
    INDUCTOR,
    NPN,
    PNP,
    RAILS,
    RESISTOR,
    ZENER,
)

WIRE = 2e-3
"""A resistor below this [ohm] is a wire that a netlist had to hold."""
_ROLES = ("source", "guard", "stage", "cable", "display")
_PASSIVE = {"r": (RESISTOR, "ohm"), "c": (CAPACITOR, "F"), "l": (INDUCTOR, "H")}
_BREAKS = "bv"
"""The model parameter that makes a diode a Zener diode, where it is low enough to be meant."""
_ZENER = 20.0
"""Breakdown voltage [V] up to which a diode is meant to break down."""


@dataclass(frozen=True)
class Drawn:
    """The parts of a chain and the nodes its signal passes; `joined` says which node a wire made one with which."""

    parts: tuple[SchematicPart, ...]
    path: tuple[str, ...]
    joined: Mapping[str, str]


def drawn(chain: Chain, builds: Builds) -> Drawn:
    """Return the parts of a chain in signal order. No card is lost: each is a part, a wire, or in a part's `cards`.

    The part's metadata says under ``real`` which elements are parts; the others model a chip and become its box. In a
    netlist without metadata every resistor, capacitor, inductor, diode and bipolar transistor counts as real.
    """
    nominal = builds.nominal()
    ports = nodes_of(chain)
    cards = {role: _cards(chain, role, nominal) for role in _ROLES if role in chain.parts}
    joined = _joined([one for role in _ROLES for one in cards.get(role, ()) if _is_wire(one)])
    parts: list[SchematicPart] = []
    for role in sorted(cards, key=lambda one: _place(one, chain)):
        here = [replace(one, nodes=tuple(joined.get(n, n) for n in one.nodes)) for one in cards[role]]
        ends = tuple(joined.get(node, node) for port, node in ports[role].items() if port != "emf")
        parts += _parts(chain.parts[role], role, here, ends)
    start, stop = (joined.get(node, node) for node in (ports["source"]["pin"], FAR))
    return Drawn(tuple(parts), path_of(parts, start, stop), joined)


def _place(role: str, chain: Chain) -> float:
    """Return where a role stands along the line: a guard at the connector comes after the stage."""
    at_chip = chain.guard is not None and chain.guard.words.get("place", "chip") == "chip"
    return 2.5 if role == "guard" and not at_chip else float(_ROLES.index(role))


def _cards(chain: Chain, role: str, builds: Builds) -> tuple[Card, ...]:
    cards, _ = chain_cards(chain, builds, 1, roles=(role,))
    return tuple(one for one in cards if one.name != RAIL_CARD)


def _number(one: Card) -> float | None:
    return None if one.value is None else float(np.ravel(one.value)[0])


def _is_wire(one: Card) -> bool:
    """Tell whether a card joins two nodes: a resistor of next to nothing, or a source of 0 V that reads a current."""
    value = _number(one)
    joins = value is not None and (value <= WIRE if one.name[0] == "r" else one.name[0] == "v" and value == 0.0)
    return joins and not one.tail and not set(one.nodes) <= set(RAILS)


def _joined(wires: Sequence[Card]) -> dict[str, str]:
    """Return the node every node stands for once wires are joined: the one nearest the chip, a rail before all."""
    found: dict[str, str] = {}

    def top(node: str) -> str:
        return top(found[node]) if node in found else node

    order = ("pin", "guarded", "driven", "unpadded", NEAR, FAR)
    for wire in wires:
        first, *other = sorted({top(node) for node in wire.nodes[:2]}, key=lambda node: _rank(node, order))
        for node in other:
            found[node] = first
    return {node: top(node) for node in found}


def _rank(node: str, order: Sequence[str]) -> tuple[int, int, str]:
    return (node not in RAILS, order.index(node) if node in order else len(order), node)


def _parts(fitted: Fitted, role: str, cards: Sequence[Card], ends: Sequence[str]) -> list[SchematicPart]:
    """Return the parts of one role: its real ones in netlist order, then the chip its other cards model."""
    if role == "cable" and not fitted.part.own:
        signal = tuple(node for node in ends if node not in RAILS)
        names = tuple(_element(one, role) for one in cards)
        return [SchematicPart(role, role, CABLE, signal, fitted.part.title, cards=names)] if len(signal) > 1 else []
    named = () if fitted.part.real is None and role == "source" else fitted.part.real
    keys = {row["element"]: row for row in fitted.part.extra.get("parts", ())}
    real: list[SchematicPart] = []
    rest: list[Card] = []
    for one in cards:
        name = _element(one, role)
        wanted = named is None or name in named
        made = _real(one, name, role, fitted, keys.get(name)) if wanted and not _is_wire(one) else None
        if made is not None:
            real.append(made)
        elif not _is_wire(one):
            rest.append(one)
    kept, rest = _absorbed(real, rest, role)
    chip = _chip(fitted, role, kept, rest, ends)
    return [*([chip] if chip is not None else []), *kept]


def _element(one: Card, role: str) -> str:
    return one.name.removesuffix(f"_{role}")


def _real(one: Card, name: str, role: str, fitted: Fitted, row: Mapping[str, object] | None) -> SchematicPart | None:
    """Return a card as a part with a symbol of its own, None for one that has none."""
    key = f"{role} {row['name']}" if row else ""
    letter = one.name[0]
    if letter in _PASSIVE:
        symbol, unit = _PASSIVE[letter]
        return SchematicPart(role, name, symbol, one.nodes[:2], "", key, _number(one), unit, (name,))
    model = one.tail.partition(" ")[0]
    known = next(
        (m for m in (*fitted.part.models, *fitted.part.circuit.models.values()) if model.endswith(m.name)), None
    )
    title = _printed(model if known is None else known.name)
    if letter == "d":
        breaks = None if known is None else known.parameters.get(_BREAKS)
        symbol = ZENER if breaks is not None and breaks <= _ZENER else DIODE
        return SchematicPart(role, name, symbol, one.nodes[:2], title, key, cards=(name,))
    if letter == "q":
        symbol = PNP if known is not None and known.type == "pnp" else NPN
        return SchematicPart(role, name, symbol, one.nodes[:3], title, key, cards=(name,))
    return None


def _printed(model: str) -> str:
    """Return what is printed on a device: the name of its model without the letter that says its kind."""
    name = model.upper()
    return name[1:] if name[:1] in "DQ" and len(name) > 1 else name


def _absorbed(real: Sequence[SchematicPart], rest: Sequence[Card], role: str) -> tuple[list[SchematicPart], list[Card]]:
    """Give cards that only model a real part (a transistor's breakdown, a strip of capacitance) to that part."""
    kept = list(real)
    left: list[Card] = []
    for one in rest:
        owner = next((n for n, p in enumerate(kept) if len(p.nodes) > 2 and _signal(one.nodes) <= set(p.nodes)), None)
        if owner is None:
            left.append(one)
        else:
            kept[owner] = replace(kept[owner], cards=(*kept[owner].cards, _element(one, role)))
    modelled: list[Card] = []
    for group in _islands(left):
        touched = set().union(*(_signal(one.nodes) for one in group))
        owner = next((n for n, p in enumerate(kept) if touched <= set(p.nodes)), None)
        if owner is None:
            modelled += group
        else:
            names = (_element(one, role) for one in group)
            kept[owner] = replace(kept[owner], cards=(*kept[owner].cards, *names))
    return kept, modelled


def _signal(nodes: Iterable[str]) -> set[str]:
    return set(nodes) - set(RAILS)


def _islands(cards: Sequence[Card]) -> list[list[Card]]:
    """Return the cards grouped by the nodes they share, rails not counted."""
    groups: list[tuple[set[str], list[Card]]] = []
    for one in cards:
        nodes, members = _signal(one.nodes), [one]
        apart: list[tuple[set[str], list[Card]]] = []
        for other, group in groups:
            if other & nodes:
                nodes, members = nodes | other, [*group, *members]
            else:
                apart.append((other, group))
        groups = [*apart, (nodes, members)]
    return [members for _, members in groups]


def _chip(
    fitted: Fitted, role: str, real: Sequence[SchematicPart], rest: Sequence[Card], ends: Sequence[str]
) -> SchematicPart | None:
    """Return the box that the cards which model a chip become, tied to every node it shares with the outside."""
    touched = set().union(*(_signal(part.nodes) for part in real)) if real else set()
    free = [node for node in dict.fromkeys(ends) if node not in RAILS and node not in touched]
    if not rest and len(free) < 2:
        return None
    inner = set().union(*(_signal(one.nodes) for one in rest)) if rest else set()
    outside = [node for node in dict.fromkeys(ends) if node not in RAILS and (node in inner or node in free)]
    outside += sorted(inner & touched - set(outside))
    rails = [node for node in RAILS if any(node in one.nodes for one in rest)]
    names = tuple(_element(one, role) for one in rest)
    title = "" if role == "display" and real else fitted.part.title
    return SchematicPart(role, role, CHIP, (*outside, *rails), title, cards=names)


def path_of(parts: Sequence[SchematicPart], start: str, stop: str) -> tuple[str, ...]:
    """Return the nodes from `start` to `stop` by the fewest parts, `start` alone when no way leads there.

    Parameters
    ----------
    parts : with the nodes each joins
    start, stop : names of the two nodes

    """
    before: dict[str, str] = {start: ""}
    queue = deque([start])
    while queue:
        node = queue.popleft()
        for part in parts:
            if node in part.nodes:
                for other in part.nodes:
                    if other not in before and other not in RAILS:
                        before[other] = node
                        queue.append(other)
    if stop not in before:
        return (start,)
    path = [stop]
    while before[path[-1]]:
        path.append(before[path[-1]])
    return tuple(reversed(path))
