"""Running events: every case coarsely, those that decide again and finer until their quantities hold within 1 %.

Chains and events are dealt out to a few threads, and those of one thread share each batch, so that every core has work.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import product

from guardcheck.compose import LOW, Chain, EventCase, event_deck, has_coupling, longest_line_run
from guardcheck.engine import Engine
from guardcheck.model import CABLE, FALLING, OFF, ON, REFERENCE, RISING, Deck, EventPlan, Fitted, Value
from guardcheck.simulate.batch import side_by_side
from guardcheck.simulate.stress.bench import Bench
from guardcheck.simulate.stress.pulses import BodyPulse
from guardcheck.simulate.stress.ratings import PinRatings
from guardcheck.simulate.stress.runs import ENDLESS, FLOORS, Seen, agree, seen_of
from guardcheck.units import steady

FINER, STRICTER = 2.0, 4.0
"""How much finer a repeated run is in its largest step, and how much stricter in the error it allows: the simulator
chooses most steps by its own estimate of the error, so a smaller largest step alone would often repeat the same run."""
LONGER = 4.0
"""How much longer a run becomes whose quantities still change at its end."""
MOST_LONGER = 64.0
"""The same at most, where what is still on its way tells how long it takes."""
ROUNDS = 5
"""Most repetitions, longer and finer together, before a run is given up as not holding."""
MOST_STEPS = 10_000
"""Most steps of a run: beyond it a repetition costs more than it can tell."""
DRIVES = (20e-3, 100e-3)
"""Least and most current [A] at which a driver saturates whose maker states none: the short-circuit current that
LS-TTL data sheets print (-20 to -100 mA); that other logic and video outputs lie between is common practice, no
published source. What is known only within this range is judged at both ends."""
SHARE = 0.05
"""Share of a pulse that moves a margin by 0.4 dB, well below what chip models are uncertain by."""
COMPARED = 2000.0
"""Voltage of the comparison pulse where nobody states what the pin is rated for [V]."""
HANDS = 3
"""Threads the groups are dealt out to: while one reads what its runs gave, the others keep the simulators busy."""
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Subject:
    """One chain to be stressed, for every line built alike; `stage_pin` is what the job states of its stage's."""

    chain: Chain
    lines: tuple[str, ...]
    levels: tuple[float, ...]
    ratings: PinRatings
    bench: Bench
    stage_pin: Mapping[str, Value | str | bool] = field(default_factory=dict)


@dataclass(frozen=True)
class Event:
    """An event with the values of the library (or of the job, for a user's own) and its plan."""

    fitted: Fitted
    plan: EventPlan

    @property
    def name(self) -> str:
        """Return the event's name."""
        return self.fitted.part.name


@dataclass
class Track:
    """One case from its first run to the one that is believed.

    `decides` names the quantities it gives, by pin; `held` those of them that a finer run left within 1 %. `weak` is
    the same with a driver that gives way at the least that is usual, where that is all that is known of it and it
    changes anything.
    """

    case: EventCase
    seen: Seen | None = None
    weak: Seen | None = None
    decides: set[tuple[int, str]] = field(default_factory=set)
    held: set[tuple[int, str]] = field(default_factory=set)


@dataclass
class Group:
    """One event at one severity on one chain: its cases, and the decisive ones at the corners of the tolerances.

    `kind` is the hardest case once more, and the hardest with the unit on, with what nobody knows of the chassis where
    it does least harm.
    """

    subject: Subject
    event: Event
    severity: str
    tracks: list[Track] = field(default_factory=list)
    hard: list[Seen] = field(default_factory=list)
    kind: list[Seen] = field(default_factory=list)

    @property
    def seen(self) -> list[Seen]:
        """Return the last run of every case."""
        return [track.seen for track in self.tracks if track.seen is not None]

    @property
    def good(self) -> list[Seen]:
        """Return the last run of every case that was solved."""
        return [one for one in self.seen if one.failure is None]

    @property
    def weak(self) -> list[Seen]:
        """Return the run of every case with the weakest usual driver; nothing where the driver changes nothing."""
        if all(track.weak is None for track in self.tracks):
            return []
        found = [track.weak or track.seen for track in self.tracks]
        return [one for one in found if one is not None and one.failure is None]

    @property
    def corners(self) -> list[Seen]:
        """Return the runs at the corners that were solved."""
        return [one for one in self.hard if one.failure is None]

    @property
    def loose(self) -> frozenset[tuple[int, str]]:
        """Return the quantities, by pin, that changed by more than 1 % at finer steps and longer runs."""
        return frozenset(item for track in self.tracks for item in track.decides - track.held)

    @property
    def failure(self) -> str | None:
        """Return why a run of the group could not be solved, or None."""
        failed = next((one.failure for one in self.seen if one.failure is not None), None)
        return None if failed is None else f"a run of this event failed ({failed})"


def run_groups(engine: Engine, groups: Sequence[Group], say: Progress, *, coarse: bool = False) -> None:
    """Fill in every track of every group: the coarse runs, the picks until they hold, the hard corners.

    `coarse` stops after the first runs: enough to tell good builds from bad ones, never to judge one.
    """
    hands = [groups[index::HANDS] for index in range(min(HANDS, len(groups)))]
    side_by_side(engine, [partial(_run_some, engine, mine, say, coarse) for mine in hands])


def _run_some(engine: Engine, groups: Sequence[Group], say: Progress, coarse: bool) -> None:
    first = [(group, track) for group in groups for track in group.tracks]
    _run(engine, first)
    if coarse:
        return
    active = [(group, track) for group in groups for track in _picks(group)]
    for index in range(ROUNDS):
        say(1 + index, ROUNDS + 2, "stress events")
        active = [(group, track) for group, track in active if _worth_repeating(track)]
        if not active:
            break
        _again(engine, active)
    solved = [group for group in groups if group.good]
    corners = [(group, case) for group in solved for case in _corners(group)]
    kind = [(group, case) for group in solved for case in _kindest(group)]
    weak = [(group, track) for group in solved for track in group.tracks if _weakens(group, track)]
    slack = [(group, replace(track.case, drive=DRIVES[0])) for group, track in weak]
    found = _seen(engine, [*corners, *kind, *slack])
    for (group, _), one in zip(corners, found, strict=False):
        group.hard.append(one)
    for (group, _), one in zip(kind, found, strict=False):
        group.kind.append(one)
    for (_, track), one in zip(weak, found, strict=True):
        track.weak = one


def _weakens(group: Group, track: Track) -> bool:
    """Tell whether a weaker driver would change a run: its limit is not known, and it carried more than the least.

    Beside a pulse of amperes in the diodes what it carries is lost: less than `SHARE` of it changes no outcome.
    """
    seen = track.seen
    if seen is None or seen.failure is not None or group.subject.ratings.short_circuit is not None:
        return False
    carried = min(seen.drive, DRIVES[1]) - DRIVES[0]
    return carried > 0.0 and carried > SHARE * max(pin.stress.diode_current for pin in seen.pins)


def _run(engine: Engine, pairs: Sequence[tuple[Group, Track]]) -> None:
    for (_, track), seen in zip(pairs, _seen(engine, [(group, track.case) for group, track in pairs]), strict=True):
        track.seen = seen


def _seen(engine: Engine, pairs: Sequence[tuple[Group, EventCase]]) -> Iterator[Seen]:
    made = [event_deck(case) for _, case in pairs]
    decks: list[Deck] = [deck for deck, _ in made]
    traces = engine.run(decks)
    for (group, case), (deck, probes), trace in zip(pairs, made, traces, strict=True):
        step = float(getattr(deck.analysis, "max_step", case.step))
        yield seen_of(case, step, probes, trace, lasting=group.event.plan.lasting)


def _picks(group: Group) -> list[Track]:
    """Return the cases that decide a quantity of any pin: each is repeated until that holds.

    A dead rail is judged on its own, however far below a live one it stays.
    """
    solved = [track for track in group.tracks if track.seen is not None and track.seen.failure is None]
    lasting = group.event.plan.lasting
    dead = [track for track in solved if track.case.unit == OFF]
    live = [track for track in solved if track.case.unit != OFF]
    for index in range(len(solved[0].seen.pins) if solved and solved[0].seen is not None else 0):
        for name in FLOORS:
            if lasting and name in ENDLESS:
                continue
            for among in (dead, live) if name == "rail" else (solved,):
                largest = max(among, key=lambda track: _value(track, index, name), default=None)
                if largest is not None and _value(largest, index, name) > 0.0:
                    largest.decides.add((index, name))
    return [track for track in solved if track.decides or _drifts(track)]


def _drifts(track: Track) -> bool:
    """Tell whether the end of a switched unit's run is no level yet: the far side of the lead still moves."""
    switched = track.case.unit in (RISING, FALLING)
    return switched and track.seen is not None and track.seen.failure is None and track.seen.tail > 0.0


def _value(track: Track, pin: int, name: str) -> float:
    assert track.seen is not None
    return steady(float(getattr(track.seen.pins[pin].stress, name)))


def _worth_repeating(track: Track) -> bool:
    """Tell whether a quantity of a solved track may still come to hold, by a longer or a finer run."""
    if _drifts(track):
        return True
    if track.seen is None or track.seen.failure is not None or track.decides <= track.held:
        return False
    if track.seen.changing & track.decides and track.case.stop < _most(track.case):
        return True
    waiting = track.decides - track.held - track.seen.changing
    return bool(waiting) and track.case.stop / track.case.step * FINER <= MOST_STEPS


def _again(engine: Engine, active: Sequence[tuple[Group, Track]]) -> None:
    """Repeat each track: longer where it had not settled, else finer; note which of its quantities now hold."""
    before = [track.seen for _, track in active]
    for (_, track), seen in zip(active, before, strict=True):
        longer = min(track.case.stop * _times_longer(seen), _most(track.case))
        moving = seen is not None and (seen.changing & track.decides or _drifts(track))
        if moving and longer > track.case.stop:
            track.case = replace(track.case, step=track.case.step * longer / track.case.stop, stop=longer)
        else:
            finer = track.case.step / FINER
            track.case = replace(track.case, step=finer, tolerance=track.case.tolerance / STRICTER)
    _run(engine, active)
    for (_, track), old in zip(active, before, strict=True):
        new = track.seen
        if new is not None and old is not None and new.failure is None and _is_finer(new.case, old.case):
            track.held |= {item for item in track.decides - old.changing if agree(old, new, item)}


def _times_longer(seen: Seen | None) -> float:
    """Return how much longer a run becomes: up to five time constants of what is still on its way."""
    if seen is None or not seen.tail:
        return LONGER
    return min(max(LONGER, 5.0 * seen.tail / seen.case.stop), MOST_LONGER)


def _is_finer(new: EventCase, old: EventCase) -> bool:
    return new.stop == old.stop and new.tolerance < old.tolerance


def _most(case: EventCase) -> float:
    """Return how long a run may become [s]: a charged line has nothing more to give after a hundred delays."""
    return longest_line_run(case.chain) if case.mated == CABLE else math.inf


def groups_of(subject: Subject, events: Sequence[Event]) -> Iterator[Group]:
    """Yield a group for every severity of every event on one chain."""
    for event in events:
        for severity in event.plan.severities:
            group = Group(subject, event, severity)
            group.tracks = [Track(case) for case in _cases(subject, event, severity)]
            yield group


def _cases(subject: Subject, event: Event, severity: str) -> Iterator[EventCase]:
    """Yield every combination of polarity, mating, state of the unit and driver level."""
    plan, known = event.plan, event.fitted.part.circuit.parameters
    numbers = {**subject.bench.numbers, "rated_volts": subject.ratings.human_body or COMPARED}
    filled = {name: value for name, value in numbers.items() if name in known}
    polarities = (1.0, -1.0) if "polarity" in known else (None,)
    for polarity, mated, unit in product(polarities, plan.mated, plan.units(severity)):
        values = {**filled, **plan.severities[severity]}
        if polarity is not None:
            values["polarity"] = polarity
        for level in subject.levels[:1] if unit == OFF else subject.levels:
            swings = plan.lasting and unit == ON and level > subject.levels[0] and has_coupling(subject.chain)
            yield EventCase(
                before=subject.levels[0] if swings else None,
                chain=subject.chain,
                rail=subject.bench.rail,
                event=event.fitted,
                unit=unit,
                mated=mated,
                level=level,
                step=plan.step,
                stop=min(plan.stop, longest_line_run(subject.chain)) if mated == CABLE else plan.stop,
                edge=plan.step,
                values=values,
                at_pin=plan.role == REFERENCE,
                drive=subject.ratings.short_circuit or DRIVES[1],
            )


def _has_corner(group: Group) -> bool:
    """Tell whether any value of the chain has a tolerance that could make the stress harder."""
    return any(
        value.low < value.nominal and value.known != "unknown"
        for fitted in group.subject.chain.parts.values()
        for value in fitted.values.values()
        if value.unit in ("ohm", "F")
    )


def _corners(group: Group) -> Iterator[EventCase]:
    """Yield the cases to repeat at a corner: the one that forces the most current, at every corner that is declared.

    They are the low ends of the chain's resistances and capacitances, the ends of a live rail's voltage, and the high
    end of the rail's capacitance, which prolongs the surge that charges a dead rail.
    """
    hardest, bench = _hardest(group.good), group.subject.bench
    if _has_corner(group):
        yield replace(hardest.case, corner=LOW)
    live = [one for one in group.good if one.case.unit != OFF]
    for rail in bench.live_rails if live else ():
        most = _most_lifted(live) if rail.volts > bench.rail.volts else _hardest(live)
        yield replace(most.case, corner=LOW, rail=rail)
    dead = [one for one in group.good if one.case.unit == OFF]
    for rail in bench.dead_rails if dead else ():
        yield replace(_hardest(dead).case, corner=LOW, rail=rail)


def _kindest(group: Group) -> Iterator[EventCase]:
    """Yield the hardest case where the answers nobody has do least harm, if even there a voltage is left."""
    bench, known = group.subject.bench, group.event.fitted.part.circuit.parameters
    values = {name: value for name, value in bench.kindest.items() if name in known}
    if values and bench.chassis.least > 0.0 and (bench.chassis.open or bench.chassis.undeclared):
        live = [one for one in group.good if one.case.unit != OFF]
        hardest = [_hardest(group.good), *([_hardest(live)] if live else ())]
        for case in {id(one): one.case for one in hardest}.values():
            yield replace(case, values={**case.values, **values})


def _hardest(runs: Sequence[Seen]) -> Seen:
    return max(runs, key=lambda one: steady(max(pin.stress.current for pin in one.pins)))


def _most_lifted(runs: Sequence[Seen]) -> Seen:
    return max(runs, key=lambda one: max((steady(pin.stress.rail), steady(pin.stress.current)) for pin in one.pins))


def human_body(groups: Sequence[Group]) -> BodyPulse | None:
    """Return what a human-body pulse does to a chain's pin: of both signs, the one that does less."""
    found = [
        BodyPulse.seen(one.pins[0].stress, float(one.case.values["rated_volts"]))
        for group in groups
        if group.event.plan.role == REFERENCE
        for one in group.good
        if one.pins[0].stress.diode_charge > 0.0
    ]
    return min(found, key=lambda one: steady(one.energy), default=None)
