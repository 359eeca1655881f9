"""Where an event is looked at: ammeters at the pins, in their diodes and in the parts that may die.

Every ammeter is a source of 0 V in series with what it measures; it changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from guardcheck.compose.chain import RAIL, Chain
from guardcheck.model import Card
from guardcheck.netlist import card

GROUND = "0"
_THROUGH = "dqjmsbefgh"
"""Letters of the elements of an own netlist that are looked at by the current through their first end."""


@dataclass(frozen=True)
class Reading:
    """A voltage between two nodes; a node that is 0 V is no vector."""

    plus: str
    minus: str = GROUND

    @property
    def vectors(self) -> tuple[str, ...]:
        """Vectors to be saved for it."""
        return tuple(f"v({node})" for node in (self.plus, self.minus) if node != GROUND)


@dataclass(frozen=True)
class DiodeProbe:
    """One diode: the vector of its forward current, its voltage, who it belongs to, and what its data sheet says."""

    name: str
    role: str
    amps: str
    volts: Reading
    facts: Mapping[str, Any] = field(default_factory=dict)
    rated: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class TransistorProbe:
    """One transistor: the vector of its collector current, its collector-emitter voltage, what its data sheet says.

    Of an own netlist every other element that may turn into heat counts as one, by its first two ends.
    """

    name: str
    role: str
    amps: str
    volts: Reading
    facts: Mapping[str, Any] = field(default_factory=dict)
    rated: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class ResistorProbe:
    """One rated resistor: the voltage across it, its value [ohm] and what it may take."""

    name: str
    role: str
    volts: Reading
    ohms: float
    rated: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class CapacitorProbe:
    """One rated capacitor: the voltage across it and what it may take."""

    name: str
    role: str
    volts: Reading
    rated: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class PinProbe:
    """A chip's pin: its node, the vector of the total current into it, and its own diodes.

    `diodes` pairs the current vector of each with the node of the rail it ends on. `delivers` is what the chip's output
    may deliver [A] where the part says so.
    """

    role: str
    name: str
    volts: Reading
    amps: str
    diodes: tuple[tuple[str, str], ...]
    delivers: float | None = None


@dataclass(frozen=True)
class SurgeProbe:
    """What a charged lead gives: the vector of its current, the most its surge impedance lets through [A, ohm]."""

    amps: str
    most: float
    ohms: float


@dataclass(frozen=True)
class Probes:
    """Everything read of one run."""

    pins: tuple[PinProbe, ...]
    diodes: tuple[DiodeProbe, ...]
    transistors: tuple[TransistorProbe, ...]
    resistors: tuple[ResistorProbe, ...]
    capacitors: tuple[CapacitorProbe, ...]
    display: Reading
    rail: str = f"v({RAIL})"
    surge: SurgeProbe | None = None
    drive: str | None = None
    """Vector of the driver's own current, where it has a limit."""

    @property
    def save(self) -> tuple[str, ...]:
        """Every vector that is needed, once, sorted."""
        found = {self.rail}
        for pin in self.pins:
            found |= {*pin.volts.vectors, pin.amps, *(amps for amps, _ in pin.diodes)}
        ends = [one.volts for one in self.diodes] + [one.volts for one in self.transistors]
        ends += [one.volts for one in self.resistors] + [one.volts for one in self.capacitors]
        found |= {vector for end in ends for vector in end.vectors}
        found |= {*(diode.amps for diode in self.diodes), *(one.amps for one in self.transistors)}
        found |= set(self.display.vectors)
        found |= set() if self.surge is None else {self.surge.amps}
        found |= set() if self.drive is None else {self.drive}
        return tuple(sorted(found))


def with_probes(
    chain: Chain, cards: Sequence[Card], values: Mapping[str, Mapping[str, float]], display: Reading
) -> tuple[tuple[Card, ...], Probes]:
    """Return the cards with ammeters put in, and where to read.

    Parameters
    ----------
    chain : whose parts say what is rated and where their chips' pins are
    cards : flat cards of the chain, the source's pin being the node ``chip`` behind the node ``pin``
    values : numbers of every part by role [SI]
    display : what the far side sees: the display's input, or the connector where none is mated

    """
    metered: list[Card] = []
    diodes: list[DiodeProbe] = []
    transistors: list[TransistorProbe] = []
    for one in cards:
        role = _role(chain, one)
        rated = {} if role is None else _rated(chain, role, one)
        if role is None or one.name[0] not in ("dq" if not rated.get("own") else _THROUGH):
            metered.append(one)
            continue
        meter = f"vm_{one.name}"
        inner = f"m_{one.name}"
        metered += [replace(one, nodes=(inner, *one.nodes[1:])), card(meter, (one.nodes[0], inner), 0.0)]
        facts = _facts(chain, role, one)
        name = str(rated.get("name") or facts.get("title") or one.name)
        if one.name[0] == "d":
            diodes.append(DiodeProbe(name, role, f"i({meter})", Reading(*one.nodes[:2]), facts, rated))
        else:
            end = one.nodes[2 if one.name[0] in "qjm" else 1]
            transistors.append(TransistorProbe(name, role, f"i({meter})", Reading(one.nodes[0], end), facts, rated))
    pins, more = _pins(chain, metered, values, diodes)
    resistors, capacitors = _passives(chain, cards)
    probes = Probes(pins, tuple(diodes), tuple(transistors), resistors, capacitors, display)
    return tuple(more), probes


def _role(chain: Chain, one: Card) -> str | None:
    """Return the role of the unit's part a card belongs to (element ``dup`` of the guard is ``dup_guard``)."""
    return next((role for role in ("source", "stage", "guard") if one.name.endswith(f"_{role}")), None)


def _facts(chain: Chain, role: str, one: Card) -> Mapping[str, Any]:
    found: Mapping[str, Any] = chain.parts[role].part.extra["models"].get(one.tail.split(" ")[0], {})
    return found


def _rated(chain: Chain, role: str, one: Card) -> Mapping[str, Any]:
    rows = chain.parts[role].part.extra.get("parts", ())
    return next((row for row in rows if f"{row['element']}_{role}" == one.name), {})


def _pins(
    chain: Chain, cards: Sequence[Card], values: Mapping[str, Mapping[str, float]], diodes: Sequence[DiodeProbe]
) -> tuple[tuple[PinProbe, ...], list[Card]]:
    """Return every chip's pin of the unit: the source's, and those inside parts that say so (`[exposed]`)."""
    found: list[PinProbe] = []
    metered = list(cards)
    present = {one.name for one in metered}
    for role, node, through, exposed in _places(chain):
        if through is not None and f"{through}_{role}" not in present:
            continue
        meter, outer = f"vpin_{role}", "pin" if through is None else f"into_{role}"
        outside = (f"{through}_{role}",)
        metered = [
            _moved(one, node, outer)
            if one.name in outside or (one.name[0] == "c" and one.name.endswith(f"_{role}"))
            else one
            for one in metered
        ]
        metered.append(card(meter, (outer, node), 0.0))
        own = [
            (one.amps, end)
            for one in diodes
            if one.role == role
            for end in (one.volts.plus, one.volts.minus)
            if end in (RAIL, GROUND)
        ]
        delivers = values[role].get(str(exposed.get("delivers"))) if exposed.get("delivers") else None
        name = str(exposed.get("meaning") or "the chip's pin").partition(":")[0]
        found.append(PinProbe(role, name, Reading(node), f"i({meter})", tuple(own), delivers))
    return tuple(found), metered


def _moved(one: Card, node: str, outer: str) -> Card:
    """Return a card whose end on a pin is moved to the outer side of the pin's ammeter.

    So moved are what leads to the pin, and its capacitance: charging a few picofarads of pad and track is no stress.
    """
    return replace(one, nodes=tuple(outer if end == node else end for end in one.nodes))


def _places(chain: Chain) -> list[tuple[str, str, str | None, Mapping[str, str]]]:
    """Return role, node, the element that leads to it, and its metadata, of every chip's pin."""
    inside = chain.source.part.exposed
    places: list[tuple[str, str, str | None, Mapping[str, str]]] = []
    if inside.get("through"):
        places.append(("source", f"source_{inside['node']}", inside["through"], inside))
    else:
        places.append(("source", "chip", None, inside))
    for role in ("stage", "guard"):
        exposed = chain.parts[role].part.exposed if role in chain.parts else {}
        if exposed.get("through"):
            places.append((role, f"{role}_{exposed['node']}", exposed["through"], exposed))
    return places


def _passives(chain: Chain, cards: Sequence[Card]) -> tuple[tuple[ResistorProbe, ...], tuple[CapacitorProbe, ...]]:
    """Return the rated resistors and capacitors of stage and guard."""
    resistors: list[ResistorProbe] = []
    capacitors: list[CapacitorProbe] = []
    for one in cards:
        role = _role(chain, one)
        if role not in ("stage", "guard") or one.name[0] not in "rc":
            continue
        rated = _rated(chain, role, one)
        if "power" in rated and one.name[0] == "r":
            resistors.append(ResistorProbe(rated["name"], role, Reading(*one.nodes), float(one.value or 0.0), rated))
        if ("working_voltage" in rated or "unrated" in rated) and one.name[0] == "c":
            capacitors.append(CapacitorProbe(rated["name"], role, Reading(*one.nodes), rated))
    return tuple(resistors), tuple(capacitors)
