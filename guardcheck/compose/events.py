"""Decks for stress events: the unit with its rail, the event at its connector, and what hangs beyond."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

from guardcheck.compose.chain import EMF, FAR, FAR_GND, NEAR, RAIL, Chain, nodes_of
from guardcheck.compose.decks import deck_of
from guardcheck.compose.event_probes import Probes, Reading, SurgeProbe, with_probes
from guardcheck.compose.lines import as_ladders
from guardcheck.model import (
    CABLE,
    DISPLAY,
    FALLING,
    NOTHING,
    OFF,
    ON,
    RISING,
    Card,
    Deck,
    Fitted,
    Model,
    Subcircuit,
    Transient,
)
from guardcheck.netlist import card, flatten, models_of

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


CHIP, LEAD, LEAD_GND = "chip", "lead", "lead_gnd"
"""Nodes an event adds: the source's pin behind its ammeter, the cable's unit end, the cable's 0 V at that end."""
GIVEN, SURGE_METER = "given", "vsurge"
"""The near end of a charged lead, before the ammeter that reads what it gives, and that ammeter."""
DRIVE_METER = "vmemf"
"""The ammeter of a driver that has a limit."""
GIVES_WAY = 1e5
"""Ohms by which a driver gives way beyond its limit: as good as a current source beside anything it drives."""
OPEN_END = 1e7
"""Insulation [ohm] at the open end of a cable, so that no node floats."""
PIN_BLEED = 1e4
"""What is left of a driver without power [ohm]: it drives nothing, and lets the pin's charge leak away."""
MOST_DELAYS, COARSEST, FINEST = 100.0, 5.0, 400.0
"""Where a lossless line may run beside diodes: up to this many delays, steps between these parts of its delay."""

MOST_SECTIONS = 40
"""Most sections of a ladder in an event: what a longer one would add to the edge is not worth the time it takes."""
NO_BREAKPOINTS = "rel=1e6 abs=1e6"
"""Settings of a lossless line under which the simulator sets no breakpoints of its own."""

COUPLES = 1e-8
"""From here on a capacitor in series with the signal counts as coupling, not as a filter [F]."""
SWINGS_AT = 1e-4
"""Time [s] at which the driver swings in a case with `before`: by then the event's contact is closed."""
SWING = 1e-6

LOW = "low"
"""Corner of tolerances at which a stress is harder: every resistance and capacitance at its low end."""


@dataclass(frozen=True)
class EventCase:
    """One run of one event on one chain.

    Parameters
    ----------
    chain : the line, bare or guarded
    rail : its supply rail
    event : the event's netlist with the values of this severity
    unit : state of the unit: ``on``, ``off``, ``rising`` or ``falling``
    mated : what hangs on the far side: ``display``, ``cable`` or ``nothing``
    level : EMF of the source while it is on [V]
    values : the event's parameters [SI]
    step, stop : largest time step and end [s]
    edge : fastest edge a line must carry where it is replaced by a ladder [s]
    tolerance : how far the simulator may stretch its steps; 1 keeps its error estimate, less is stricter
    corner : ``nominal`` or ``low``
    at_pin : the event hangs on the chip's pin, and there is no stage
    before : EMF the run starts from, until it swings to `level` [V]; None keeps `level` throughout. A coupling
        capacitor charged for a still picture hides what the driver delivers into a fault; charged for another it shows
    drive : current at which the driver saturates, either way [A]; None is a driver without limit

    """

    chain: Chain
    rail: Rail
    event: Fitted
    unit: str
    mated: str
    level: float
    step: float
    stop: float
    edge: float
    values: Mapping[str, float] = field(default_factory=dict)
    tolerance: float = 1.0
    corner: str = "nominal"
    at_pin: bool = False
    before: float | None = None
    drive: float | None = None


def event_deck(case: EventCase) -> tuple[Deck, Probes]:
    """Return the transient of one event, from its operating point, and where to read it."""
    numbers = {role: part_numbers(fitted, case.corner) for role, fitted in case.chain.parts.items()}
    cards, models = _unit_cards(case, numbers)
    display = Reading(FAR, FAR_GND) if case.mated == DISPLAY else Reading(_connector(case))
    metered, probes = with_probes(case.chain, cards, numbers, display)
    around, more = _surroundings(case, numbers)
    limited = case.unit != OFF and case.drive is not None
    probes = replace(probes, surge=_surge(case, around), drive=f"i({DRIVE_METER})" if limited else None)
    flat = [*metered, *around, *rail_cards(case.rail, case.unit)]
    flat += _driver(case)
    step, final = _line_steps(flat, case)
    state = "guarded" if case.chain.guarded else "bare"
    name = f"{case.event.part.name} on {case.chain.line}, {state}"
    used = tuple({model.name: model for model in (*models, *more)}.values())
    options = {"trtol": case.tolerance}
    return deck_of(
        name, final, used, Transient(step, case.stop, step), probes.save, options=options, family=case.chain.line
    ), probes


def _driver(case: EventCase) -> tuple[Card, ...]:
    """Return what holds the source's EMF: nothing but a leak when off, else a level that gives way beyond its limit.

    The limit stands as a drop that grows with the current, so that the solver has a slope to follow.
    """
    if case.unit == OFF:
        return (card("remf_off", (EMF, "0"), PIN_BLEED),)
    node = EMF if case.drive is None else "emf_stiff"
    if case.before is not None:
        points = f"0.0 {case.before!r} {SWINGS_AT!r} {case.before!r} {SWINGS_AT + SWING!r} {case.level!r}"
        held = card("vemf", (node, "0"), None, f"pwl({points})")
    else:
        held = switched("vemf", node, case.level, case.unit, driver=True)
    if case.drive is None:
        return (held,)
    limit = repr(case.drive)
    amps = f"i({DRIVE_METER})"
    drop = f"v={GIVES_WAY!r}*(max({amps}-{limit},0)+min({amps}+{limit},0))"
    return (held, card(DRIVE_METER, (node, "emf_limit"), 0.0), card("bemf", ("emf_limit", EMF), tail=drop))


def has_coupling(chain: Chain) -> bool:
    """Tell whether a capacitor lies in series with the signal: between two nodes neither of which is a supply."""
    numbers = {role: part_numbers(fitted, "nominal") for role, fitted in chain.parts.items()}
    places = nodes_of(chain)
    return any(
        one.name[0] == "c" and not {"0", RAIL} & set(one.nodes) and float(one.value or 0.0) >= COUPLES
        for role in ("source", "guard", "stage")
        if role in places
        for one in _flattened(chain.parts[role], role, places[role], numbers[role])
    )


def longest_line_run(chain: Chain) -> float:
    """Return how long a run may be in which the chain's cable is an exact lossless line [s]; infinite without one."""
    ends = {"near": LEAD, "near_gnd": LEAD_GND, "far": FAR, "far_gnd": FAR_GND}
    cards = _flattened(chain.cable, "cable", ends, part_numbers(chain.cable, "nominal"))
    return MOST_DELAYS * min((_delay(one) for one in cards if one.name[0] == "t"), default=math.inf)


def part_numbers(fitted: Fitted, corner: str) -> dict[str, float]:
    """Return the numbers of a part at one corner [SI]; what is unknown is taken where it protects least."""
    numbers = {}
    for name, value in fitted.values.items():
        hard = value.unit in ("ohm", "F") and (corner == LOW or value.known == "unknown")
        numbers[name] = value.low if hard else value.nominal
    return numbers


def _flattened(fitted: Fitted, role: str, ports: Mapping[str, str], values: Mapping[str, float]) -> tuple[Card, ...]:
    known = fitted.part.circuit.parameters
    given = tuple((key, values[key]) for key in known if key in values)
    return _flat(fitted.part.circuit, role, tuple(ports.items()), given)


@lru_cache(maxsize=512)  # the cases of an event differ in a number or two, and share all their other parts
def _flat(
    circuit: Subcircuit, role: str, ports: tuple[tuple[str, str], ...], values: tuple[tuple[str, float], ...]
) -> tuple[Card, ...]:
    return flatten(circuit, name=role, ports=dict(ports), values=dict(values), prefix=f"{role}_")


def _models(fitted: Fitted, role: str) -> tuple[Model, ...]:
    return (*fitted.part.models, *models_of(fitted.part.circuit, prefix=f"{role}_"))


def _unit_cards(case: EventCase, numbers: Mapping[str, Mapping[str, float]]) -> tuple[list[Card], list[Model]]:
    """Return source, guard and stage, the source's pin behind its ammeter."""
    cards: list[Card] = []
    models: list[Model] = []
    places = nodes_of(case.chain)
    roles = ("source",) if case.at_pin else ("source", "guard", "stage")
    for role in roles:
        if role not in places:
            continue
        ports = dict(places[role])
        if role == "source":
            ports["pin"] = CHIP if not _pin_inside(case.chain) else ports["pin"]
        cards += _flattened(case.chain.parts[role], role, ports, numbers[role])
        models += _models(case.chain.parts[role], role)
    return cards, models


def _connector(case: EventCase) -> str:
    """Return the node the event hangs on: the unit's connector, or the chip's pin itself."""
    return nodes_of(case.chain)["source"]["pin"] if case.at_pin else NEAR


def _charged(case: EventCase) -> str:
    """Return the event's parameter that the lead is charged to; empty where nothing but the event gives a current."""
    plan = case.event.part.plan
    return plan.charged if plan is not None and case.mated == CABLE else ""


def _surge(case: EventCase, cards: Sequence[Card]) -> SurgeProbe | None:
    """Return the most a charged lead can give: its own voltage and the pin's, opposed, over its surge impedance."""
    name = _charged(case)
    lines = [float(_fields(one)["z0"]) for one in cards if one.name[0] == "t"]
    if not name or not lines:
        return None
    volts = case.values[name] if name in case.values else case.event.values[name].nominal
    stands = max(abs(case.rail.volts), abs(case.level))
    return SurgeProbe(f"i({SURGE_METER})", (abs(volts) + stands) / min(lines), min(lines))


def _pin_inside(chain: Chain) -> bool:
    return bool(chain.source.part.exposed.get("through"))


def _surroundings(case: EventCase, numbers: Mapping[str, Mapping[str, float]]) -> tuple[list[Card], list[Model]]:
    """Return the event and what is mated behind it."""
    places = nodes_of(case.chain)
    ports = {"near": GIVEN if _charged(case) else _connector(case), "near_gnd": "0", "far": LEAD, "far_gnd": LEAD_GND}
    values = {**{name: value.nominal for name, value in case.event.values.items()}, **case.values}
    cards = [*_flattened(case.event, "event", ports, values)]
    if _charged(case):
        cards.append(card(SURGE_METER, (GIVEN, _connector(case)), 0.0))
    models = [*_models(case.event, "event")]
    if case.mated in (DISPLAY, CABLE):
        ends = {"near": LEAD, "near_gnd": LEAD_GND, "far": FAR, "far_gnd": FAR_GND}
        cards += _flattened(case.chain.cable, "cable", ends, numbers["cable"])
        models += _models(case.chain.cable, "cable")
    if case.mated == DISPLAY:
        cards += _flattened(case.chain.display, "display", places["display"], numbers["display"])
        models += _models(case.chain.display, "display")
    else:
        end = (LEAD, LEAD_GND) if case.mated == NOTHING else (FAR, FAR_GND)
        cards.append(card("ropen_end", end, OPEN_END))
    cards.append(card("ropen_gnd", (LEAD_GND, "0"), OPEN_END))
    return cards, models


def _line_steps(cards: list[Card], case: EventCase) -> tuple[float, tuple[Card, ...]]:
    """Return the largest step and the cards: lossless lines where they may run, ladders everywhere else.

    Beside diodes a lossless line hangs in long runs and lies in coarse ones; within these bounds it is exact. The
    lower one leaves room for repeated runs to be finer. Its own breakpoints are switched off: they multiply with every
    reflection until the run stands still, and with steps this fine nothing is gained by them.
    """
    delays = [_delay(one) for one in cards if one.name[0] == "t"]
    if not delays:
        return case.step, tuple(cards)
    coarsest, finest = min(delays) / COARSEST, max(delays) / FINEST
    short = case.stop <= MOST_DELAYS * min(delays) and finest <= coarsest
    if short:
        exact = (replace(one, tail=f"{one.tail} {NO_BREAKPOINTS}") if one.name[0] == "t" else one for one in cards)
        return min(max(case.step, finest), coarsest), tuple(exact)
    edge = max(case.edge, 10.0 * max(delays) / MOST_SECTIONS)
    return case.step, as_ladders(cards, rise_time=edge)


def _delay(line: Card) -> float:
    return float(_fields(line)["td"])


def _fields(line: Card) -> Mapping[str, str]:
    return dict(field.split("=") for field in line.tail.split())


__all__ = ["LOW", "SWING", "SWINGS_AT", "EventCase", "event_deck", "has_coupling", "longest_line_run", "part_numbers"]
