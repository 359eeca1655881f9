"""From the runs of one event to its quantities: the worst of all cases, margins, and the words that go with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from guardcheck.measure import Stress, time_outside, worst_of
from guardcheck.model import (
    ASKS,
    CONFORMS,
    DAILY,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    OFF,
    PART_NOT_RATED,
    RATING_NOT_STATED,
    SHORT_CIRCUIT,
    Limit,
    Quantity,
)
from guardcheck.simulate.stress.convergence import DRIVES, Group
from guardcheck.simulate.stress.margins import CAP, Margin, rail_margin, steady_margins, worst
from guardcheck.simulate.stress.pulses import BodyPulse, latch_up_margin, pulse_margins
from guardcheck.simulate.stress.ratings import PinRatings, exposed_ratings
from guardcheck.simulate.stress.runs import ENDLESS, PinSeen, Power, Seen, case_words
from guardcheck.simulate.stress.sentences import bench_words, beyond_words, other_words, pulse_words
from guardcheck.units import format_si, steady
from guardcheck.verdict.outcome import EVENT_MARGIN_DB, judge_margin


def quantities_of(
    group: Group, reference: BodyPulse | None, *, claims: Sequence[str], whole: bool = False
) -> tuple[Quantity, ...]:
    """Return the quantities of one event at one severity on one chain, for its first line.

    `whole` gives the margin to latch-up of a pin that keeps to its clamp rating as well, for others to be held against.
    """
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
        key=lambda one: steady(one.margin.strict),
    )
    beyond = beyond_words(good)
    margin = _margin_quantity(group, blank, judged, beyond, reference)
    return (
        margin,
        *_latch_up(group, blank, whole=whole),
        *_parts(group, blank, beyond),
        *_powers(group, blank),
        *_shown(group, blank, judged, estimate=beyond is not None),
    )


NEAR = 3.0
"""A quantity that does not hold decides nothing when its margin is this far [dB] from the least one."""


@dataclass(frozen=True)
class End:
    """One pin under one event at one end of what its driver may carry: the margin that decides and its run.

    `least` counts the corners of tolerances as well, `known` is what lies inside what the models know; `near` names
    quantities whose margin is close to the least.
    """

    margin: Margin
    worst: Seen
    least: float
    known: Margin
    near: frozenset[str]

    @property
    def outcome(self) -> str:
        """Return what this end alone comes to."""
        return outcome_of(self.least, self.margin.loose)


@dataclass(frozen=True)
class Judged:
    """One pin under one event: its worst stress, what of it is known for sure, and the margins.

    `margin` decides, in the run `worst`; `loose` names quantities that did not hold and might decide. `ends` are the
    judgements with the strongest and the weakest usual driver, only one where its limit is known or changes nothing.
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
    ends: tuple[End, ...]

    @property
    def outcome(self) -> str:
        """Return what the margin comes to: what fails, fails at both ends."""
        return outcome_of(self.least, self.margin.loose)

    @property
    def differs(self) -> bool:
        """Tell whether the current at which the driver gives way decides."""
        return len({one.outcome for one in self.ends}) > 1


def outcome_of(least: float, most: float) -> str:
    """Return what a margin comes to whose least and most are given [dB]."""
    if judge_margin(most) == DOES_NOT_CONFORM:
        return DOES_NOT_CONFORM
    return CONFORMS if judge_margin(least) == CONFORMS else NOT_PROVEN


def _judged(group: Group, index: int, reference: BodyPulse | None) -> Judged:
    ratings = _ratings_of(group, index)
    ends = [_end(group, index, reference, group.good, group.corners)]
    if group.weak:
        ends.append(_end(group, index, reference, group.weak, ()))
    hardest = min(ends, key=lambda one: steady(one.margin.strict))
    near = frozenset(name for one in ends for name in one.near if (index, name) in group.loose)
    nominal = [*group.good, *group.weak]
    return Judged(
        index,
        group.good[0].pins[index],
        ratings,
        stress=worst_of([one.pins[index].stress for one in nominal]),
        hard=worst_of([one.pins[index].stress for one in (*nominal, *group.corners)]),
        margin=replace(hardest.margin, loose=max(one.margin.loose for one in ends)),
        worst=hardest.worst,
        least=min(one.least for one in ends),
        known=max((one.known for one in ends), key=lambda one: one.loose),
        loose=tuple(sorted(near)),
        ends=tuple(ends),
    )


def _end(group: Group, index: int, reference: BodyPulse | None, runs: Sequence[Seen], corners: Sequence[Seen]) -> End:
    ratings = _ratings_of(group, index)
    every = [(margin, one) for one in runs for margin in _margins(group, one, index, ratings, reference)]
    found = worst(margin for margin, _ in every)
    hard = [margin.strict for one in corners for margin in _margins(group, one, index, ratings, reference)]
    certain = [
        margin
        for one in runs
        for margin in _margins(group, one, index, ratings, reference, known=True)
        if margin.field != "rail" or not group.subject.bench.undeclared
    ]
    return End(
        found,
        next(one for margin, one in every if margin.told == found.told),
        min([margin.strict for margin, _ in every] + hard),
        worst(certain),
        frozenset(one.field for one, _ in every if one.strict < found.strict + NEAR),
    )


def _latch_up(group: Group, blank: Quantity, *, whole: bool) -> tuple[Quantity, ...]:
    """Return the margin of the powered pins to their latch-up test, if a pulse injects more than they take for good."""
    if group.event.plan.lasting:
        return ()
    found, weak = (_latches(group, runs, whole=whole) for runs in (group.good, group.weak))
    if not found and not weak:
        return ()
    margin, ratings = min((*found, *weak), key=lambda pair: steady(pair[0].strict))
    words, codes = _open_words(
        group, margin.strict, CAP, [(one.strict, CAP) for one, _ in _latches(group, group.kind, whole=True)]
    )
    if (
        group.weak
        and len({judge_margin(min((one.strict for one, _ in end), default=CAP)) for end in (found, weak)}) > 1
    ):
        words, codes = words or _drive_words(group), (*codes, SHORT_CIRCUIT)
    return (
        replace(
            blank,
            name="event.latch_up",
            failure=group.failure or words,
            value=margin.strict,
            spread=(margin.strict, margin.loose),
            limit=_margin_limit("event.latch_up", ratings.reference, ratings.known_by),
            notes=(f"{margin.told}.",),
            bearing=margin.bearing,
            codes=(*(() if ratings.latch_up is not None else (RATING_NOT_STATED,)), *codes),
        ),
    )


def _latches(group: Group, runs: Sequence[Seen], *, whole: bool) -> list[tuple[Margin, PinRatings]]:
    """Return the latch-up margin of every powered pin that takes more than its clamp rating, or of the `whole`."""
    return [
        (latch_up_margin(one.pins[index].stress, ratings), ratings)
        for index in range(len(group.good[0].pins))
        if (ratings := _ratings_of(group, index)).chip
        for one in runs
        if one.failure is None and one.case.unit != OFF
        if whole or one.pins[index].stress.injected > ratings.strict("clamp_current")
    ]


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
            codes=(RATING_NOT_STATED,),
        )
    kind = _kindest(group, judged, reference)
    anyway = bool(kind) and outcome_of(*_ends_of(kind)) == DOES_NOT_CONFORM
    gap, codes = _open_words(group, judged.least, judged.margin.loose, kind)
    proven = gap is None and judge_margin(judged.known.loose) == DOES_NOT_CONFORM
    unsure = f"its {' and '.join(judged.loose)} changed by more than 1 % with finer steps or longer runs"
    failure = group.failure or (unsure if judged.loose else None) or beyond
    undeclared = group.subject.bench.undeclared
    if judged.margin.field == "rail" and not proven and undeclared:
        failure = failure or f"{', '.join(name.replace('_', ' ') for name in undeclared)} not declared"
        codes = (*codes, *(f"{ASKS}supply.{name}" for name in undeclared))
    if judged.differs:
        failure, codes = group.failure or _drive_words(group, judged.ends), (*codes, SHORT_CIRCUIT)
    if gap is not None:
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
        bearing=judged.margin.bearing,
        codes=(
            *((RATING_NOT_STATED,) if judged.ratings.open(judged.margin.field) else ()),
            *codes,
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


Pair = tuple[float, float]
"""Strict and loose end of a margin [dB]."""


def _ends_of(pairs: Sequence[Pair]) -> Pair:
    return min(strict for strict, _ in pairs), min(loose for _, loose in pairs)


def _open_words(group: Group, least: float, most: float, kind: Sequence[Pair]) -> tuple[str | None, tuple[str, ...]]:
    """Return what of the two 0 V nobody knows and decides a margin, in words and as codes; nothing where none does.

    It decides where the kindest answers come to another outcome than the worst: what fails at both ends fails, and what
    neither end proves is not proven by an answer.

    Parameters
    ----------
    group : of the event
    least, most : the margin at the worst answers [dB]
    kind : margins at the kindest answers [dB], empty where no voltage is left

    """
    at_worst = outcome_of(least, most)
    if at_worst == CONFORMS or (kind and outcome_of(*_ends_of(kind)) == at_worst):
        return None, ()
    gap = _undeclared(group)
    return gap, () if gap is None else tuple(f"{ASKS}{key}" for key in group.subject.bench.chassis.open)


def _drive_words(group: Group, ends: Sequence[End] = ()) -> str:
    """Return that the driver's limit is not known, and what either end comes to."""
    strong, weak = (format_si(amps, "A") for amps in reversed(DRIVES))
    margins = f": {ends[1].margin.strict:.1f} dB and {ends[0].margin.strict:.1f} dB" if len(ends) > 1 else ""
    return f"nobody states at which current its driver gives way, and {weak} or {strong} decide it{margins}"


def _kindest(group: Group, judged: Judged, reference: BodyPulse | None) -> list[Pair]:
    """Return the margins that are left of a pin where the answers nobody has do least harm [dB]."""
    return [
        (margin.strict, margin.loose)
        for one in group.kind
        if one.failure is None
        for margin in _margins(group, one, judged.index, judged.ratings, reference, known=True)
        if margin.field != "rail" or not group.subject.bench.undeclared
    ]


def _anyway_words(group: Group) -> str:
    chassis = group.subject.bench.chassis
    return (
        f"What is not known of the two 0 V changes nothing: it fails at {format_si(chassis.least, 'V')} behind "
        f"{format_si(chassis.least_capacitance, 'F')} as well, the least that is usual."
    )


def _on_chassis(group: Group) -> bool:
    """Tell whether the event hangs on the voltage between the two 0 V."""
    return any(name in group.event.fitted.part.circuit.parameters for name in group.subject.bench.numbers)


def _worst_words(group: Group, judged: Judged) -> str:
    """Return the deciding stress with the case it happened in."""
    at = "" if judged.index == 0 else f" At {judged.pin.name}."
    told = judged.margin.told[0].upper() + judged.margin.told[1:]
    case = case_words(judged.worst.case, group.subject.levels)
    if judged.worst in group.weak and judged.worst.case.drive == DRIVES[0]:
        case += f", its driver giving way at {format_si(DRIVES[0], 'A')}"
    return f"{told}; worst case: {case}.{at}"


def _more_words(group: Group, judged: Judged, reference: BodyPulse | None) -> tuple[str, ...]:
    plan, subject = group.event.plan, group.subject
    words: list[str] = []
    if not plan.lasting and judged.ratings.chip:
        pulses = [one.pins[judged.index].stress for one in group.good]
        told = pulse_words(pulses, reference, judged.ratings)
        words += told[1:] if judged.margin.pulse else told
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
    ends = [[margin for one in runs for margin in one.parts] for runs in (group.good, group.weak) if runs]
    if not ends[0]:
        return ()
    worsts = [worst(margins) for margins in ends]
    found = min(worsts, key=lambda one: steady(one.strict))
    loose = max(one.loose for one in worsts)
    least = min(margin.strict for one in (*group.good, *group.weak, *group.corners) for margin in one.parts)
    kind = [(margin.strict, margin.loose) for one in group.kind for margin in one.parts]
    words, codes = _open_words(group, least, loose, kind)
    rated = found.bearing is None or found.bearing.allowed is not None
    if len({outcome_of(one.strict, one.loose) for one in worsts}) > 1:
        words, codes = words or _drive_words(group), (*codes, SHORT_CIRCUIT)
    return (
        replace(
            blank,
            name="event.part_margin",
            failure=group.failure or words,
            value=found.strict,
            spread=(least, max(loose, found.strict)),
            estimate=beyond is not None,
            limit=_margin_limit("event.part_margin", "ratings in the parts' metadata", "read"),
            notes=(f"{found.told[0].upper()}{found.told[1:]}.",),
            bearing=found.bearing,
            codes=codes if rated else (PART_NOT_RATED, *codes),
        ),
    )


def _powers(group: Group, blank: Quantity) -> tuple[Quantity, ...]:
    """Return the steady dissipation of every rated resistor, the worst over all cases.

    One that holds at one end of what its driver may carry and not at the other is not proven.
    """
    strong, weak = _hottest(group.good), _hottest(group.weak or group.good)
    return tuple(_power(group, blank, (strong[where], weak[where])) for where in strong if where in weak)


def _hottest(runs: Sequence[Seen]) -> dict[str, Power]:
    most: dict[str, Power] = {}
    for one in runs:
        for power in one.powers:
            if power.where not in most or power.watts > most[power.where].watts:
                most[power.where] = power
    return most


def _power(group: Group, blank: Quantity, ends: tuple[Power, Power]) -> Quantity:
    least, most = sorted(one.watts for one in ends)
    rated = ends[0].rated
    open_ = least <= rated["power"] < most
    return replace(
        blank,
        name="part.power",
        value=least if open_ else most,
        spread=(least, most) if least < most else None,
        failure=_drive_words(group) if open_ and blank.failure is None else blank.failure,
        where=ends[0].where,
        limit=Limit("part.power", None, rated["power"], None, rated["reference"], rated["known_by"]),
        codes=(SHORT_CIRCUIT,) if open_ else (),
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
