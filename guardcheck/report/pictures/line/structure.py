"""How a picture of a line is built up: what stands along the signal, what hangs from each node, what bridges it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from guardcheck.model import Schematic, SchematicPart
from guardcheck.model.schematic import CHIP, RAILS, SUPPLY

_LONGEST = 3
"""Most parts in a row between a node of the signal and a rail."""


@dataclass(frozen=True)
class Branch:
    """Parts one after the other from a node to a rail; without a rail, one box that hangs from the node alone."""

    parts: tuple[SchematicPart, ...]
    rail: str | None

    @property
    def upward(self) -> bool:
        """Tell whether it leads to the supply."""
        return self.rail == SUPPLY


@dataclass(frozen=True)
class Stop:
    """One node of the signal with what hangs from it, and the part that leads on to the next node."""

    node: str
    branches: tuple[Branch, ...] = ()
    onward: SchematicPart | None = None
    beside: tuple[SchematicPart, ...] = ()
    third: tuple[Branch, ...] = ()


def structure(line: Schematic) -> tuple[SchematicPart | None, tuple[SchematicPart, ...], tuple[Stop, ...]]:
    """Return the chip that drives the line, the resistors its pins feed side by side, and every stop of the signal.

    A role whose parts fit no such picture becomes one box with its ports; its parts stay in the box's `cards`.
    """
    parts = list(line.parts)
    path = tuple(node.name for node in line.path)
    driver = next((part for part in parts if _drives(part)), None)
    inside = set() if driver is None else set(driver.nodes) - {*RAILS, path[0]}
    legs = tuple(part for part in parts if part is not driver and inside & set(part.nodes) and path[0] in part.nodes)
    parts = [part for part in parts if part not in legs]
    for _ in range(len({part.role for part in parts}) + 1):
        stops, left = _sorted(parts, path)
        if not left:
            break
        parts, path = _boxed(parts, path, {part.role for part in left})
    return driver, legs, stops


def _drives(part: SchematicPart) -> bool:
    return part.role == "source" and part.symbol == CHIP


def _sorted(parts: Sequence[SchematicPart], path: Sequence[str]) -> tuple[tuple[Stop, ...], list[SchematicPart]]:
    rest = [part for part in parts if not _drives(part)]
    stops: list[Stop] = []
    for place, node in enumerate(path):
        after = path[place + 1] if place + 1 < len(path) else None
        along = [part for part in rest if after is not None and {node, after} <= set(part.nodes)]
        along.sort(key=lambda part: len(part.nodes) == 2 and part.symbol not in (CHIP,))
        onward = along[0] if along else None
        beside = tuple(part for part in along[1:] if len(part.nodes) == 2 and part.symbol != CHIP)
        rest = [part for part in rest if part is not onward and part not in beside]
        third: list[Branch] = []
        if onward is not None and len(onward.nodes) > 2 and onward.symbol != CHIP:
            for end in onward.nodes:
                if end in path:
                    continue
                branch = Branch((), end) if end in RAILS else _chain(rest, end, ())
                if branch is not None:
                    third.append(branch)
                    rest = [part for part in rest if part not in branch.parts]
        stops.append(Stop(node, (), onward, beside, tuple(third)))
    for place, stop in enumerate(stops):
        branches: list[Branch] = []
        for part in [one for one in rest if stop.node in one.nodes]:
            branch = _hanging(part, rest, stop.node, path)
            if branch is not None:
                branches.append(branch)
                rest = [one for one in rest if one not in branch.parts]
        stops[place] = replace(stop, branches=tuple(branches))
    return tuple(stops), rest


def _hanging(part: SchematicPart, rest: Sequence[SchematicPart], node: str, path: Sequence[str]) -> Branch | None:
    others = [end for end in part.nodes if end != node]
    if part.symbol == CHIP and all(end in RAILS for end in others):
        return Branch((part,), None)
    if len(part.nodes) != 2:
        return None
    end = others[0] if others else node
    if end in RAILS:
        return Branch((part,), end)
    return None if end in path else _chain([one for one in rest if one is not part], end, (part,))


def _chain(rest: Sequence[SchematicPart], node: str, so_far: tuple[SchematicPart, ...]) -> Branch | None:
    """Follow the only way from a node off the signal to a rail; None where there are several, or none."""
    on = [part for part in rest if node in part.nodes and part not in so_far]
    if len(on) != 1 or len(on[0].nodes) != 2 or len(so_far) >= _LONGEST:
        return None
    end = next((one for one in on[0].nodes if one != node), node)
    found = (*so_far, on[0])
    return Branch(found, end) if end in RAILS else _chain(rest, end, found)


def _boxed(
    parts: Sequence[SchematicPart], path: Sequence[str], roles: Iterable[str]
) -> tuple[list[SchematicPart], tuple[str, ...]]:
    """Return the parts with every one of these roles gathered into a box, and the nodes still to be seen."""
    made: list[SchematicPart] = []
    for role in dict.fromkeys(part.role for part in parts):
        mine = [part for part in parts if part.role == role]
        if role not in roles:
            made += mine
            continue
        outside = {node for part in parts if part.role != role for node in part.nodes} | {path[0], path[-1]}
        nodes = dict.fromkeys(node for part in mine for node in part.nodes if node in outside or node in RAILS)
        ports = sorted((node for node in nodes if node not in RAILS), key=lambda one: (one not in path, one))
        cards = tuple(card for part in mine for card in part.cards)
        made.append(SchematicPart(role, role, CHIP, (*ports, *(n for n in nodes if n in RAILS)), cards=cards))
    seen = {node for part in made for node in part.nodes}
    return made, tuple(node for node in path if node in seen)
