"""From the runs of one event to its quantities: the worst of all cases, margins, and the words that go with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from guardcheck.measure import Stress, time_outside, worst_of
from guardcheck.model import ASKS, CONFORMS, DAILY, DOES_NOT_CONFORM, OFF, RATING_NOT_STATED, Limit, Quantity
from guardcheck.simulate.stress.convergence import Group
from guardcheck.simulate.stress.margins import CAP, Margin, rail_margin, steady_margins, worst
from guardcheck.simulate.stress.pulses import BodyPulse, latch_up_margin, pulse_margins
from guardcheck.simulate.stress.ratings import PinRatings, exposed_ratings
from guardcheck.simulate.stress.runs import ENDLESS, PinSeen, Power, Seen, case_words
from guardcheck.simulate.stress.sentences import bench_words, beyond_words, other_words, pulse_words
from guardcheck.units import format_si
from guardcheck.verdict.outcome import EVENT_MARGIN_DB, judge_margin


def quantities_of(group: Group, reference: BodyPulse | None, *, claims: Sequence[str]) -> tuple[Quantity, ...]:
    """Return the quantities of one event at one severity on one chain, for its first line."""
    plan, good = group.event.plan, group.good
    needed = not plan.claimed or group.event.name in claims
    blank = Quantity(
        "event.margin",
        group.subject.lines[0],
        group.subject.chain.guarded,
        None,
        event=group.event.name,
        severity=group.severity,
        needed=needed,
        failure=group.failure,
        use=plan.use.get(group.severity, DAILY),
        condition=plan.condition.get(group.severity),
    )
    if not good:
        return (blank,)
    judged = min(
        (_judged(group, index, reference) for index in range(len(good[0].pins))),
        key=lambda one: one.margin.strict,
    )
    beyond = beyond_words(good)
    margin = _margin_quantity(group, blank, judged, beyond, reference)
    return (
        margin,
        *_latch_up(group, blank),
        *_parts(group, blank, beyond),
        *_powers(group, blank),
        *_shown(group, blank, judged, estimate=beyond is not None),
    )


NEAR = 3.0
"""A quantity that does not hold decides nothing when its margin is this far [dB] from the least one."""


@dataclass(frozen=True)
class Judged:
    """One pin under one event: its worst stress, what of it is known for sure, and the margins.

    `margin` decides, in the run `worst`; `loose` names quantities that did not hold and might decide.
    """

    index: int
    pin: PinSeen
    ratings: PinRatings
    stress: Stress
    hard: Stress
    margin: Margin
    worst: Seen
    least: float
    known: Margin
    loose: tuple[str, ...]


def _judged(group: Group, index: int, reference: BodyPulse | None) -> Judged:
    good = group.good
    pin = good[0].pins[index]
    ratings = _ratings_of(group, index)
    every = [(margin, one) for one in good for margin in _margins(group, one, index, ratings, reference)]
    found = worst(margin for margin, _ in every)
    run = next(one for margin, one in every if margin.told == found.told)
    near = {one.field for one, _ in every if one.strict < found.strict + NEAR and (index, one.field) in group.loose}
    harder = [*good, *group.corners]
    least = min(margin.strict for one in harder for margin in _margins(group, one, index, ratings, reference))
    certain = [
        margin
        for one in good
        for margin in _margins(group, one, index, ratings, reference, known=True)
        if margin.field != "rail" or not group.subject.bench.undeclared
    ]
    return Judged(
        index,
        pin,
        ratings,
        stress=worst_of([one.pins[index].stress for one in good]),
        hard=worst_of([one.pins[index].stress for one in harder]),
        margin=found,
        worst=run,
        least=least,
        known=worst(certain),
        loose=tuple(sorted(near)),
    )


def _latch_up(group: Group, blank: Quantity) -> tuple[Quantity, ...]:
    """Return the margin of the powered pins to their latch-up test, if a pulse injects more than they take for good."""
    if group.event.plan.lasting:
        return ()
    live = [one for one in group.good if one.case.unit != OFF]
    found = [
        (latch_up_margin(one.pins[index].stress, ratings), ratings)
        for index in range(len(group.good[0].pins))
        if (ratings := _ratings_of(group, index)).chip
        for one in live
        if one.pins[index].stress.injected > ratings.strict("clamp_current")
    ]
    if not found:
        return ()
    margin, ratings = min(found, key=lambda pair: pair[0].strict)
    gap = _undeclared(group) if judge_margin(margin.strict) != CONFORMS else None
    return (
        replace(
            blank,
            name="event.latch_up",
            failure=group.failure or gap,
            value=margin.strict,
            spread=(margin.strict, margin.loose),
            limit=Limit("event.latch_up", EVENT_MARGIN_DB, None, None, ratings.reference, ratings.known_by),
            notes=(f"{margin.told}.",),
            codes=(*(() if ratings.latch_up is not None else (RATING_NOT_STATED,)), *_asked(group, gap is not None)),
        ),
    )


def _ratings_of(group: Group, index: int) -> PinRatings:
    """Return what one of the chain's pins may take: the source's comes first."""
    if index == 0:
        return group.subject.ratings
    return exposed_ratings(group.good[0].pins[index].delivers, group.subject.stage_pin)


def _margins(
    group: Group, one: Seen, index: int, ratings: PinRatings, reference: BodyPulse | None, *, known: bool = False
) -> tuple[Margin, ...]:
    """Return every margin of one pin in one run: what is steady by steady ratings, what passes as a pulse, the rail."""
    pin = one.pins[index]
    stress = pin.known if known else pin.stress
    rows: tuple[Margin, ...] = ()
    if ratings.chip and group.event.plan.lasting:
        rows = steady_margins(stress, ratings)
    elif ratings.chip:
        rows = pulse_margins(stress, ratings, reference, diodes=bool(pin.waves.diodes))
    return (*rows, _rail_margin(group, one, stress))


def _rail_margin(group: Group, one: Seen, stress: Stress) -> Margin:
    rail_max = group.subject.bench.rail_max
    return rail_margin(
        stress.rail, one.case.rail, rail_max, dead=one.case.unit == OFF, lasting=group.event.plan.lasting
    )


def _margin_quantity(
    group: Group, blank: Quantity, judged: Judged, beyond: str | None, reference: BodyPulse | None
) -> Quantity:
    if judged.ratings.chip and not judged.ratings.judged:
        return replace(
            blank,
            failure="nothing is known of what this source may take: it has no chip diodes, and the job states no pin",
        )
    anyway = judge_margin(_kindest(group, judged, reference)) == DOES_NOT_CONFORM
    gap = None if anyway else _undeclared(group)
    proven = gap is None and judge_margin(judged.known.loose) == DOES_NOT_CONFORM
    unsure = f"its {' and '.join(judged.loose)} changed by more than 1 % with finer steps or longer runs"
    failure = group.failure or (unsure if judged.loose else None) or beyond
    if judged.margin.field == "rail" and not proven and group.subject.bench.undeclared:
        failure = failure or f"{', '.join(group.subject.bench.undeclared)} not declared"
    if gap is not None and judge_margin(judged.least) != CONFORMS:
        failure = group.failure or gap
    notes = [_worst_words(group, judged)]
    if beyond is not None:
        notes.append(
            f"The number is an estimate, {beyond}"
            + ("; the rating is exceeded even where the model is valid." if proven and failure else ".")
        )
    if anyway and proven:
        notes.append(_anyway_words(group))
    return replace(
        blank,
        value=judged.margin.strict,
        spread=(judged.least, max(judged.margin.loose, judged.least)),
        estimate=beyond is not None,
        failure=None if proven else failure,
        limit=_margin_limit("event.margin", judged.ratings.reference, judged.ratings.known_by),
        notes=(*notes, *_more_words(group, judged, reference)),
        codes=(
            *((RATING_NOT_STATED,) if judged.ratings.open(judged.margin.field) else ()),
            *_asked(group, gap is not None and judge_margin(judged.least) != CONFORMS),
        ),
    )


def _margin_limit(quantity: str, ratings: str, known_by: str) -> Limit:
    """Return the limit of a margin: what it must leave is this tool's own rule, the ratings are somebody's."""
    rule = f"{EVENT_MARGIN_DB:g} dB to spare (design rule of this tool) under {ratings}"
    return Limit(quantity, EVENT_MARGIN_DB, None, None, rule, known_by)


def _undeclared(group: Group) -> str | None:
    """Return what the event depends on and nobody knows: what fails by such a value is not proven.

    At its other end a fact may do less harm: then the two ends differ, and the answer decides.
    """
    if not _on_chassis(group):
        return None
    chassis = group.subject.bench.chassis
    if chassis.undeclared:
        return f"{', '.join(chassis.undeclared)} not declared; the margin shown is for the worst of what is usual"
    if chassis.open and chassis.least < chassis.volts:
        return (
            f"{', '.join(chassis.open)} not known: unit and display may stand {format_si(chassis.least, 'V')} to "
            f"{format_si(chassis.volts, 'V')} apart; the margin shown is for the most"
        )
    return None


def _kindest(group: Group, judged: Judged, reference: BodyPulse | None) -> float:
    """Return the loosest margin that is left of a pin where the answers nobody has do least harm [dB].

    Below a failing margin they need not be asked for: they fail at both ends.
    """
    return min(
        (
            margin.loose
            for one in group.kind
            if one.failure is None
            for margin in _margins(group, one, judged.index, judged.ratings, reference, known=True)
            if margin.field != "rail" or not group.subject.bench.undeclared
        ),
        default=CAP,
    )


def _anyway_words(group: Group) -> str:
    chassis = group.subject.bench.chassis
    return (
        f"What is not known of the two 0 V changes nothing: it fails at {format_si(chassis.least, 'V')} behind "
        f"{format_si(chassis.least_capacitance, 'F')} as well, the least that is usual."
    )


def _on_chassis(group: Group) -> bool:
    """Tell whether the event hangs on the voltage between the two 0 V."""
    return any(name in group.event.fitted.part.circuit.parameters for name in group.subject.bench.numbers)


def _asked(group: Group, outcome_open: bool) -> tuple[str, ...]:
    """Return the codes of the facts whose answer may decide an event that is not proven."""
    return (
        tuple(f"{ASKS}{key}" for key in group.subject.bench.chassis.open) if outcome_open and _on_chassis(group) else ()
    )


def _worst_words(group: Group, judged: Judged) -> str:
    """Return the deciding stress with the case it happened in."""
    at = "" if judged.index == 0 else f" At {judged.pin.name}."
    told = judged.margin.told[0].upper() + judged.margin.told[1:]
    return f"{told}; worst case: {case_words(judged.worst.case, group.subject.levels)}.{at}"


def _more_words(group: Group, judged: Judged, reference: BodyPulse | None) -> tuple[str, ...]:
    plan, subject = group.event.plan, group.subject
    words: list[str] = []
    if not plan.lasting and judged.ratings.chip:
        pulses = [one.pins[judged.index].stress for one in group.good]
        told = pulse_words(pulses, reference, judged.ratings)
        words += told if "human-body" not in judged.margin.told else told[1:]
    filled = {name: None for name in subject.bench.numbers if name in group.event.fitted.part.circuit.parameters}
    words += bench_words(subject.bench, filled)
    words += [f"{text[0].upper()}{text[1:]}." for text in (subject.ratings.assumed if judged.index == 0 else ())]
    words += other_words(group.good, plan, plan.units(group.severity))
    unknown = [name for name in subject.chain.unknowns if not name.startswith(("cable", "display"))]
    if unknown:
        words.append(f"Unknown; least protective value used: {', '.join(unknown)}.")
    return tuple(words)


def _parts(group: Group, blank: Quantity, beyond: str | None) -> tuple[Quantity, ...]:
    """Return the margin of the worst rated part of guard and stage, if any has a rating."""
    margins = [margin for one in group.good for margin in one.parts]
    if not margins:
        return ()
    found = worst(margins)
    least = min(margin.strict for one in (*group.good, *group.corners) for margin in one.parts)
    kind = min((margin.loose for one in group.kind for margin in one.parts), default=CAP)
    anyway = judge_margin(kind) == DOES_NOT_CONFORM
    gap = _undeclared(group) if judge_margin(least) != CONFORMS and not anyway else None
    return (
        replace(
            blank,
            name="event.part_margin",
            failure=group.failure or gap,
            value=found.strict,
            spread=(least, max(found.loose, found.strict)),
            estimate=beyond is not None,
            limit=_margin_limit("event.part_margin", "ratings in the parts' metadata", "read"),
            notes=(f"{found.told[0].upper()}{found.told[1:]}.",),
        ),
    )


def _powers(group: Group, blank: Quantity) -> tuple[Quantity, ...]:
    """Return the steady dissipation of every rated resistor, the worst over all cases."""
    most: dict[str, Power] = {}
    for one in group.good:
        for power in one.powers:
            if power.where not in most or power.watts > most[power.where].watts:
                most[power.where] = power
    return tuple(
        replace(
            blank,
            name="part.power",
            value=power.watts,
            where=power.where,
            limit=Limit(
                "part.power", None, power.rated["power"], None, power.rated["reference"], power.rated["known_by"]
            ),
        )
        for power in most.values()
    )


def _shown(group: Group, blank: Quantity, judged: Judged, *, estimate: bool) -> tuple[Quantity, ...]:
    """Return the quantities that are shown beside the margin."""
    stress, hard, lasting = judged.stress, judged.hard, group.event.plan.lasting
    rows = {
        "event.pin_over": (stress.over, hard.over),
        "event.pin_under": (stress.under, hard.under),
        "event.pin_current": (stress.current, hard.current),
        "event.pin_charge": (stress.charge, hard.charge),
        "event.pin_energy": (stress.energy, hard.energy),
        "event.rail": (stress.rail, hard.rail),
    }
    if not judged.ratings.chip:
        rows = {"event.rail": rows["event.rail"]}
    elif lasting:
        rows = {name: pair for name, pair in rows.items() if name.removeprefix("event.pin_") not in ENDLESS}
    else:
        outside = _outside(group.good, judged)
        rows["event.time_over"] = (outside, outside)
    shown = replace(blank, needed=False, failure=None, estimate=estimate)
    loose = {f"event.pin_{name}" for pin, name in group.loose if pin == judged.index}
    return tuple(
        replace(
            shown,
            name=name,
            value=value,
            spread=(value, max(value, corner)),
            estimate=estimate or name in loose,
            notes=("It changed by more than 1 % with finer steps or longer runs.",) if name in loose else (),
        )
        for name, (value, corner) in rows.items()
    )


def _outside(good: Sequence[Seen], judged: Judged) -> float:
    """Return the longest time the pin lies outside its strictest ratings [s]."""
    strict = judged.ratings.strict
    return max(
        time_outside(
            one.pins[judged.index].waves,
            over=strict("over_voltage"),
            under=strict("under_voltage"),
            current=strict("clamp_current"),
        )
        for one in good
    )
