"""A plug in a socket, contact by contact: does every signal arrive where it belongs, and who is hurt if not."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from guardcheck.compose import Joint, mating_deck, node_vectors
from guardcheck.engine import Engine
from guardcheck.errors import CircuitError, JobError
from guardcheck.library import Library
from guardcheck.model import (
    DRIVES,
    GROUND,
    INTERFACE,
    MISTAKE,
    OPEN,
    QUANTITIES,
    SIMULATED,
    TAKES,
    Condition,
    Job,
    Limit,
    Quantity,
    Role,
    Side,
    Trace,
    Value,
    Wiring,
)
from guardcheck.simulate.comparison import Solved
from guardcheck.units import format_si

STRAIGHT, CROSSED, ADAPTER = "straight", "crossed", "adapter"
Lead = tuple[tuple[str, str], ...]
"""A lead: which contact of the unit each wire joins to which of the display."""
MISFIT = "misfit"
"""Code of a finding about a contact whose two sides do not belong together."""
VOLTAGE, CURRENT, POWER = "mating.voltage", "mating.current", "mating.power"


@dataclass(frozen=True)
class Mating:
    """What is plugged into what; `known` holds the unit's drivers that the job says something of, by contact."""

    unit: Wiring
    display: Wiring
    joints: tuple[Joint, ...]
    known: Mapping[str, Role] = field(default_factory=dict)

    @property
    def told(self) -> tuple[tuple[str, str, str], ...]:
        """Rows of the plan: what a meter must show on the lead before power, and what the label at the socket says."""
        label = f"Wired {self.unit.name} ({self.unit.title}). Not for displays of another wiring system."
        return (("", "label at the socket", label), *(("", *row) for row in continuity(self)))


def lead_of(unit: Wiring, display: Wiring, kind: str) -> Lead:
    """Return the wires of a lead between two wiring systems.

    A straight one joins equal contacts, a crossed one exchanges the pairs the unit's system names, an adapter joins
    every role to the contact that takes it, and all grounds.

    Raises
    ------
    CircuitError
        the plugs do not mate, so that only an adapter can join them

    """
    if kind == ADAPTER:
        return _adapter(unit, display)
    if unit.connector != display.connector:
        raise CircuitError(
            f"a plug of '{unit.name}' ({unit.connector}) does not go into '{display.name}' ({display.connector}); "
            "write wiring = 'adapter' for a lead that joins the two"
        )
    across = {one: other for pair in unit.crossed for one, other in (pair, pair[::-1])} if kind == CROSSED else {}
    return tuple((contact, across.get(contact, contact)) for contact in unit.contacts if contact in display.contacts)


def swapped(lead: Lead) -> Lead:
    """Return the lead with its ends exchanged."""
    return tuple((there, here) for here, there in lead)


def _adapter(unit: Wiring, display: Wiring) -> Lead:
    wires: list[tuple[str, str]] = []
    grounds = [name for name, (_, side) in display.contacts.items() if side.action == GROUND]
    for here, (near, _) in unit.contacts.items():
        if near.action == GROUND:
            wires.append((here, grounds[len(wires) % len(grounds)]))
            continue
        there = next((name for name, (_, far) in display.contacts.items() if fits(near, far)), None)
        if there is not None:
            wires.append((here, there))
    return tuple(wires)


def fits(near: Side, far: Side) -> bool:
    """Tell whether one side drives what the other takes."""
    for source, sink in ((near, far), (far, near)):
        if source.action == DRIVES and sink.action == TAKES and source.role is not None and sink.role is not None:
            return source.role.name == sink.role.name or source.role.name in sink.role.accepts
    return False


def meets(near: Side, far: Side) -> bool:
    """Tell whether something is driven here that reaches something: an output that goes nowhere meets nothing."""
    if near.action == DRIVES:
        return far.action != OPEN
    return far.action == DRIVES and near.action != OPEN


def mating_of(job: Job, library: Library, solved: Sequence[Solved]) -> Mating | None:
    """Return what a job plugs into what; None when it does not name both wiring systems.

    Raises
    ------
    JobError
        a wiring system, a contact or a lead that cannot be

    """
    names = {"socket.wiring": job.socket.get("wiring"), "display.wiring": job.display_facts.get("wiring")}
    if not all(isinstance(name, str) for name in names.values()):
        return None
    unit, display = (_wiring(job, library, key, str(name)) for key, name in names.items())
    kind = str(job.lead.get("wiring", STRAIGHT))
    try:
        lead = lead_of(unit, display, kind)
    except CircuitError as error:
        raise _error(job, "lead.wiring", error.problem) from None
    if job.lead.get("swapped") is True:
        lead = tuple(pair for pair in swapped(lead) if pair[0] in unit.contacts and pair[1] in display.contacts)
    known = _known_drives(job, unit, solved)
    return Mating(unit, display, tuple(_with_parts(job, unit, _joints(unit, display, lead, known))), known)


def _wiring(job: Job, library: Library, key: str, name: str) -> Wiring:
    try:
        return library.wiring(name)
    except CircuitError as error:
        raise _error(job, key, error.problem) from None


def _error(job: Job, key: str, problem: str) -> JobError:
    return JobError(problem, file=job.file, key=key, line=job.lines_of.get(key))


def _joints(unit: Wiring, display: Wiring, lead: Lead, known: Mapping[str, Role]) -> Iterable[Joint]:
    for here, there in lead:
        near, far = unit.contacts[here][0], display.contacts[there][1]
        if here in known:
            near = Side(DRIVES, known[here])
        yield Joint(here, there, near, far)


def _known_drives(job: Job, unit: Wiring, solved: Sequence[Solved]) -> dict[str, Role]:
    """Return what is known of the unit's drivers: lines of the job by their names, then what the socket table says."""
    lines = {one.experiment.chain.line: one for one in solved}
    found: dict[str, Role] = {}
    for contact, (near, _) in unit.contacts.items():
        if near.action == DRIVES and near.role is not None:
            line = next((lines[name] for name in (near.role.name, *near.role.accepts) if name in lines), None)
            driven = None if line is None else _thevenin(line)
            if driven is not None:
                found[contact] = near.role.driven(*driven)
    for index, row in enumerate(job.socket.get("drives", ())):
        contact, key = str(row["contact"]), f"socket.drives[{index}]"
        near = unit.contacts[contact][0] if contact in unit.contacts else Side(OPEN)
        if near.role is None or near.action != DRIVES:
            raise _error(job, f"{key}.contact", f"the unit drives nothing on contact '{contact}' of '{unit.name}'")
        volts, ohms = row.get("voltage"), row.get("resistance")
        before = found.get(contact, near.role)
        found[contact] = near.role.driven(
            max(abs(volts.low), abs(volts.high)) if isinstance(volts, Value) else before.volts,
            max(ohms.low, CONTACT_LEAST) if isinstance(ohms, Value) else before.ohms,
        )
    return found


CONTACT_LEAST = 0.1
"""Least resistance a driver is given [ohm]: its own wires."""


def _thevenin(one: Solved) -> tuple[float, float] | None:
    """Return open voltage [V] and resistance [ohm] of a line of the job, from its level at the display."""
    top, impedance = one.named("level.high"), one.named("response.impedance")
    pp = one.named("level.pp")
    load = one.experiment.chain.display.values.get("termination")
    levels = [quantity.value for quantity in (top, pp) if quantity is not None and quantity.value is not None]
    if not levels or load is None or impedance is None or impedance.value is None:
        return None
    return max(levels) * (1.0 + impedance.value / load.nominal), max(impedance.value, CONTACT_LEAST)


def _with_parts(job: Job, unit: Wiring, joints: Iterable[Joint]) -> Iterable[Joint]:
    parts: dict[str, list[tuple[str, Value]]] = {}
    for index, row in enumerate(job.lead.get("parts", ())):
        contact = str(row["contact"])
        if contact not in unit.contacts:
            raise _error(job, f"lead.parts[{index}].contact", f"'{unit.name}' has no contact '{contact}'")
        parts.setdefault(contact, []).append((str(row["part"]), row["value"]))
    for joint in joints:
        made = joint
        for part, value in parts.get(joint.unit, ()):
            if part == "series-capacitor":
                made = replace(made, blocks=True)
            elif part == "series-resistor":
                made = replace(made, series=made.series + value.nominal)
            else:
                made = replace(made, shunt=value.nominal)
        yield made


def mating_quantities(engine: Engine, mating: Mating) -> tuple[Quantity, ...]:
    """Return volts, amperes and watts of every contact where something is driven.

    What moves and what stays is solved apart, because a capacitor in the lead stops only what stays.
    """
    decks = [mating_deck(mating.joints, steady=steady) for steady in (False, True)]
    wanted = [deck for deck in decks if deck is not None]
    traces = engine.run(wanted) if wanted else ()
    found: list[Quantity] = []
    for joint in mating.joints:
        if meets(joint.near, joint.far):
            found += _contact(joint, traces)
    return tuple(found)


def half_declared(job: Job) -> tuple[Quantity, ...]:
    """Return the row of a job that names one of the two wiring systems only: nothing is proven of the contacts."""
    names = {"socket.wiring": "wiring" in job.socket, "display.wiring": "wiring" in job.display_facts}
    missing = [key for key, given in names.items() if not given]
    if len(missing) != 1:
        return ()
    return (Quantity(VOLTAGE, "", None, None, where="plug", failure=f"{missing[0]} is not declared"),)


def wrong_sockets(engine: Engine, library: Library, mating: Mating) -> tuple[Condition, ...]:
    """Return, for every other socket the unit's plug goes into, the condition of use that spares both sides.

    Only where something is harmed: a plug of the same shape whose signals merely go nowhere needs no label.
    """
    found = []
    for name in library.wiring_names():
        other = library.wiring(name)
        if name in (mating.unit.name, mating.display.name) or other.connector != mating.unit.connector:
            continue
        lead = lead_of(mating.unit, other, STRAIGHT)
        rows = mating_quantities(
            engine, Mating(mating.unit, other, tuple(_joints(mating.unit, other, lead, mating.known)))
        )
        worst = max((row for row in rows if row.needed), key=_passed, default=None)
        if worst is not None and _passed(worst) > 1.0:
            told = next(row.notes[0] for row in rows if row.name == VOLTAGE and row.where == worst.where)
            text = f"Never plug it into a socket wired {name}. {told[:-1]}, {worst.where}: {_size(worst)}."
            found.append(Condition("wrong-socket", text, (), MISTAKE))
    return tuple(found)


def _passed(row: Quantity) -> float:
    """Return by what a row passes what its contact is made for: above 1 it harms."""
    if row.value is None or row.limit is None or row.limit.high is None:
        return 0.0
    return row.value / row.limit.high


def _size(row: Quantity) -> str:
    return format_si(row.value or 0.0, QUANTITIES[row.name].unit)


@dataclass(frozen=True)
class _Heat:
    """A resistor that may burn: watts, what it stands, and whose it is."""

    watts: float
    limit: float
    whose: str

    @property
    def ratio(self) -> float:
        return self.watts / self.limit


def _contact(joint: Joint, traces: Sequence[Trace]) -> list[Quantity]:
    where = f"contact {joint.display}" + ("" if joint.unit == joint.display else f" (unit's {joint.unit})")
    right = fits(joint.near, joint.far)
    blank = Quantity(
        VOLTAGE, "", None, None, origin=SIMULATED, where=where, needed=not right, codes=() if right else (MISFIT,)
    )
    failure = next((trace.failure for trace in traces if trace.failure), None)
    if failure is not None or not traces:
        return [replace(blank, failure=failure or "nothing was simulated")]
    volts, amps = _worst(joint, traces)
    source, sink = (joint.near, joint.far) if joint.near.action == DRIVES else (joint.far, joint.near)
    assert source.role is not None
    told = _told(joint, source, sink)
    rows = [replace(blank, value=volts, limit=_voltage_limit(source, sink, right=right), notes=(told,))]
    if right:
        return rows
    drivers = [side.role for _, side in joint.drivers if side.role is not None]
    weakest = min(drivers, key=lambda role: role.amps)
    rows.append(
        replace(
            blank,
            name=CURRENT,
            value=amps,
            codes=(),
            limit=_limit(CURRENT, None, weakest.amps, weakest),
            notes=(f"What drives {weakest.title} is at risk above {format_si(weakest.amps, 'A')}.",),
        )
    )
    heat = max(_heats(joint, volts, amps), key=lambda one: one.ratio)
    rows.append(
        replace(
            blank,
            name=POWER,
            value=heat.watts,
            codes=(),
            limit=_limit(POWER, None, heat.limit, source.role),
            notes=(f"It heats {heat.whose}.",),
        )
    )
    return rows


def _worst(joint: Joint, traces: Sequence[Trace]) -> tuple[float, float]:
    """Return the greatest voltage across the contact's far side [V] and the greatest current through it [A]."""
    near, far, through = node_vectors(joint)
    volts, amps = 0.0, 0.0
    for trace in traces:
        ground = np.real(trace.vectors["v(dg)"])
        across = np.real(trace.vectors[far]) - ground if joint.far.action != DRIVES else np.real(trace.vectors[near])
        volts = max(volts, float(np.max(np.abs(across))))
        amps = max(amps, float(np.max(np.abs(np.real(trace.vectors[through])))))
    return volts, amps


def _voltage_limit(source: Side, sink: Side, *, right: bool) -> Limit:
    assert source.role is not None
    if right and sink.role is not None:
        return _limit(VOLTAGE, sink.role.low, sink.role.high, sink.role)
    if sink.action == TAKES and sink.role is not None:
        return _limit(VOLTAGE, None, sink.role.most, sink.role)
    return _limit(VOLTAGE, source.role.low, source.role.most, source.role)


def _limit(quantity: str, low: float | None, high: float | None, role: Role) -> Limit:
    return Limit(quantity, low, high, None, role.reference, role.known_by, kind=INTERFACE)


def _heats(joint: Joint, volts: float, amps: float) -> list[_Heat]:
    found = []
    for end, side in (("the unit", joint.near), ("the display", joint.far)):
        if side.role is None:
            continue
        if side.action == DRIVES:
            whose = f"what {end} drives {side.role.title} through, {format_si(side.role.ohms, 'ohm')}"
            found.append(_Heat(amps * amps * side.role.ohms, side.role.watts, whose))
        elif side.action == TAKES:
            whose = f"the {format_si(side.role.load, 'ohm')} of {end}'s {side.role.title} input"
            found.append(_Heat(volts * volts / side.role.load, side.role.load_watts, whose))
    return found


def _told(joint: Joint, source: Side, sink: Side) -> str:
    assert source.role is not None
    whose, other = ("unit", "display") if source is joint.near else ("display", "unit")
    drive = f"{format_si(source.role.volts, 'V')} behind {format_si(source.role.ohms, 'ohm')}"
    if sink.action == DRIVES and sink.role is not None:
        return f"Two drivers meet: the unit's {source.role.title} and the display's {sink.role.title}."
    if sink.action == GROUND:
        return f"The {whose}'s {source.role.title} ({drive}) is shorted to the {other}'s 0 V."
    return f"The {whose}'s {source.role.title} ({drive}) meets the {other}'s {sink.words} input."


def continuity(mating: Mating) -> tuple[tuple[str, str], ...]:
    """Return what a meter must show on the lead before power: one row for each wire that carries something."""
    rows = []
    for joint in mating.joints:
        if joint.near.action != DRIVES:
            continue
        ohms = format_si(joint.series, "ohm") if joint.series else "a beep"
        through = "over range (a capacitor lies in it)" if joint.blocks else ohms
        verdict = "" if fits(joint.near, joint.far) else " STOP: these two must not be joined."
        rows.append(
            (
                f"before power: contact {joint.unit}",
                f"unit's {joint.near.words} to display's {joint.far.words} (contact {joint.display}): {through}; "
                f"no beep to 0 V.{verdict}",
            )
        )
    return tuple(rows)
