"""Stress events of a job: which run on which line, and what they give as quantities and curves.

Corners: every case runs at the nominal values, with unknown ones where they protect least; the case that forces the
most current is repeated with every toleranced resistance and capacitance at its low end. Lines that are built alike
share their runs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from guardcheck.compose import Chain
from guardcheck.engine import Engine
from guardcheck.errors import JobError, accepted, nearest
from guardcheck.model import (
    BETTER,
    DAILY,
    MISTAKE,
    REFERENCE,
    SAME,
    STRIKE,
    WORSE,
    Curve,
    EventPlan,
    Fitted,
    Line,
    PartUse,
    Quantity,
    unknown_codes,
)
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.stress.bench import Bench, bench_of
from guardcheck.simulate.stress.convergence import Event, Group, Progress, Subject, groups_of, human_body, run_groups
from guardcheck.simulate.stress.curves import curves_of
from guardcheck.simulate.stress.quantities import quantities_of
from guardcheck.simulate.stress.ratings import source_ratings
from guardcheck.verdict.outcome import EVENT_MARGIN_DB, NO_BOUND

COMPARED = ("event.margin", "event.latch_up", "event.part_margin")
"""The quantities by which a mod and the original build are compared."""
BOTH = "both"
"""Word of a user's own event: try the unit powered and dead."""
OWN_LEVEL = "as written"
"""The one level of a user's own event."""


@dataclass(frozen=True)
class EventResults:
    """What the events of a job gave."""

    quantities: tuple[Quantity, ...] = ()
    curves: tuple[Curve, ...] = ()


def event_results(
    engine: Engine, plan: JobPlan, say: Progress | None = None, *, deciding: bool = False
) -> EventResults:
    """Return quantities and curves of every event on every line, bare and guarded.

    `deciding` leaves out what decides nothing: bare chains of guarded lines, events nobody claims, and curves.

    Raises
    ------
    JobError
        the job claims an event, or names a pin family, that is not there

    """
    events = library_events(plan)
    check_claims(plan, events)
    subjects = subjects_of(plan, as_built=deciding)
    if deciding:
        events = tuple(one for one in events if one.plan.role == REFERENCE or decides(one, plan))
    groups: list[Group] = []
    for subject in subjects:
        own = own_events(plan, subject)
        groups += groups_of(subject, (*events, *own))
    originals = originals_of(plan)
    makers = [group for subject in originals for group in groups_of(subject, events)]
    run_groups(engine, [*groups, *makers], say or (lambda done, total, what: None))
    quantities: list[Quantity] = []
    curves: list[Curve] = []
    for subject in subjects:
        mine = [group for group in groups if group.subject is subject]
        reference = human_body(mine)
        for group in mine:
            if group.event.plan.role == REFERENCE:
                continue
            found = quantities_of(group, reference, claims=plan.job.claims)
            quantities += [replace(one, line=line) for line in subject.lines for one in found]
        curves += [] if deciding else curves_of(mine, _as_built(groups, subject))
    quantities += gaps_of(plan, events)
    quantities = beside_originals(plan, quantities, _margins(plan, originals, makers))
    return EventResults(tuple(quantities), tuple(curves))


def decides(event: Event, plan: JobPlan) -> bool:
    """Tell whether an event can decide: it is no strike, or the job claims that the mod survives it."""
    return not event.plan.claimed or event.name in plan.job.claims


def _as_built(groups: Sequence[Group], subject: Subject) -> list[Group]:
    """Return the groups of the same line as it is built: guarded where it has a guard."""
    same = [group for group in groups if group.subject.lines[0] == subject.lines[0]]
    guarded = [group for group in same if group.subject.chain.guarded]
    return guarded or same


def gaps_of(plan: JobPlan, events: Sequence[Event]) -> Iterator[Quantity]:
    """Yield a margin without a value for every event on a line that cannot be simulated: nothing is proven of it."""
    for chain in (chain for one in plan.lines for chain in one.chains if chain.missing):
        for event in events:
            for severity in event.plan.severities if event.plan.role != REFERENCE else ():
                yield Quantity(
                    "event.margin",
                    chain.line,
                    chain.guarded,
                    None,
                    event=event.name,
                    severity=severity,
                    needed=not event.plan.claimed or event.name in plan.job.claims,
                    use=event.plan.use.get(severity, DAILY),
                    condition=event.plan.condition.get(severity),
                    failure=f"{', '.join(chain.missing)} is unknown and has no usual range to judge it by",
                    codes=unknown_codes(chain.missing),
                )


def library_events(plan: JobPlan) -> tuple[Event, ...]:
    """Return every event on the shelf with its default values."""
    names = plan.library.names("event")
    fitted = [plan.fit(PartUse("event", name, key=f"event '{name}'")) for name in names]
    return tuple(Event(one, one.part.plan) for one in fitted if one.part.plan is not None)


def own_events(plan: JobPlan, subject: Subject) -> tuple[Event, ...]:
    """Return the user's own event of a subject's lines, if they have one."""
    line = plan.line(subject.lines[0]).line
    if line.event is None:
        return ()
    fitted = plan.fit(line.event)
    return (Event(fitted, own_plan(fitted)),)


def own_plan(fitted: Fitted) -> EventPlan:
    """Return the plan of a user's own event: what a metadata file would say stands among its values."""
    unit, use = fitted.words.get("unit", BOTH), fitted.words.get("use", DAILY)
    avoid = {OWN_LEVEL: f"Keep away what your own event '{fitted.part.name}' stands for"} if use == MISTAKE else {}
    return EventPlan(
        unit=("on", "off") if unit == BOTH else (unit,),
        mated=(fitted.words.get("mated", "display"),),
        severities={OWN_LEVEL: {}},
        use={OWN_LEVEL: use},
        condition=avoid,
        claimed=use == STRIKE,
        stop=fitted.values["stop"].nominal,
        step=fitted.values["step"].nominal,
    )


def check_claims(plan: JobPlan, events: Sequence[Event]) -> None:
    """Refuse an event that is claimed, or forbidden, and that there is none of."""
    job, known = plan.job, event_names(plan, events)
    named = [(f"claims.events[{index}]", name) for index, name in enumerate(job.claims)]
    named += [("use.forbids", name) for name in sorted(job.forbids)]
    for key, name in named:
        if name not in known:
            raise JobError(
                f"no event '{name}'; accepted: {accepted(known)}{nearest(name, known)}",
                file=job.file,
                key=key,
                line=job.lines_of.get(key),
            )


def event_names(plan: JobPlan, events: Sequence[Event]) -> list[str]:
    """Return the events a job may name: those on the shelf, and its lines' own."""
    known = [one.name for one in events if one.plan.role != REFERENCE]
    return known + [plan.fitter.part(line.event).name for line in plan.job.lines if line.event is not None]


def subjects_of(plan: JobPlan, *, as_built: bool = False) -> tuple[Subject, ...]:
    """Return the distinct chains of a job, each with the lines that are built so; `as_built` leaves out the others."""
    if not plan.lines:
        return ()  # a job of bench facts alone has no rail to state
    bench = bench_of(plan.job, plan.rail)
    found: dict[tuple[object, ...], Subject] = {}
    for one in plan.lines:
        for chain in (chain for chain in ((one.as_built,) if as_built else one.chains) if not chain.missing):
            subject = subject_of(plan, one, chain, bench)
            key = _key(subject, one.line)
            if key in found:
                subject = replace(found[key], lines=(*found[key].lines, one.name))
            found[key] = subject
    return tuple(found.values())


def circuits_of(plan: JobPlan) -> Mapping[str, tuple[object, ...]]:
    """Return for each line, as built, what makes another the same circuit, its standard and ratings included."""
    if not plan.lines:
        return {}
    bench = bench_of(plan.job, plan.rail)
    return {
        one.name: (one.standard.name, *_key(subject_of(plan, one, one.as_built, bench), one.line))
        for one in plan.lines
        if not one.as_built.missing
    }


def originals_of(plan: JobPlan) -> tuple[Subject, ...]:
    """Return the makers' builds that the job declares and that led to a socket, one for all lines built alike."""
    if not any(one.line.original is not None and one.line.original.exposed for one in plan.lines):
        return ()
    bench = bench_of(plan.job, plan.rail)
    found: dict[tuple[object, ...], Subject] = {}
    for one in plan.lines:
        original = one.line.original
        if original is None or not original.exposed:
            continue
        guard = plan.fit(original.guard) if original.has_guard else None
        chain = replace(one.bare, stage=plan.fit(original.stage), guard=guard, guarded=guard is not None)
        if chain.missing:
            continue
        subject = subject_of(plan, one, chain, bench)
        key = _key(subject, one.line)
        found[key] = replace(found[key], lines=(*found[key].lines, one.name)) if key in found else subject
    return tuple(found.values())


Case = tuple[str, str, str | None, str | None]
"""A quantity's name, its line, event and level."""


def _margins(plan: JobPlan, originals: Sequence[Subject], groups: Sequence[Group]) -> Mapping[Case, Quantity]:
    """Return the margins of every original by line, event and level, where it has them."""
    found: dict[Case, Quantity] = {}
    for subject in originals:
        mine = [group for group in groups if group.subject is subject]
        reference = human_body(mine)
        for group in (one for one in mine if one.event.plan.role != REFERENCE):
            for one in quantities_of(group, reference, claims=plan.job.claims, whole=True):
                if one.name in COMPARED and one.value is not None:
                    found |= {(one.name, line, one.event, one.severity): one for line in subject.lines}
    return found


def beside_originals(
    plan: JobPlan, quantities: Sequence[Quantity], originals: Mapping[Case, Quantity]
) -> list[Quantity]:
    """Return the quantities, the margins of lines as built held against those of the makers' builds.

    Both ends count: what the ratings prove, and what would be harm. Worse at either is worse.
    """
    built = {one.name: one.as_built.guarded for one in plan.lines}
    out = []
    for one in quantities:
        original = originals.get((one.name, one.line, one.event, one.severity))
        if original is None or one.value is None or one.guarded != built[one.line]:
            out.append(one)
            continue
        # beyond its models an original proves nothing, however well it does there
        least = original.spread if original.failure is None else None
        out.append(
            replace(
                one,
                against_original=_against(one, original),
                original=original.value,
                original_spread=least,
            )
        )
    return out


def _against(one: Quantity, original: Quantity) -> str:
    """Return how a margin stands to the original's: by what is proven, and by what is harm where both know it."""
    assert one.value is not None
    assert original.value is not None
    steps = [one.value - original.value]
    harms = [pair[1] for pair in (one.spread, original.spread) if pair is not None and pair[1] < NO_BOUND]
    if len(harms) == 2:
        steps.append(harms[0] - harms[1])
    if min(steps) <= -EVENT_MARGIN_DB:
        return WORSE
    return BETTER if max(steps) >= EVENT_MARGIN_DB else SAME


def subject_of(plan: JobPlan, one: LinePlan, chain: Chain, bench: Bench) -> Subject:
    """Return one chain of a line with what is known of its pin and its bench."""
    source = chain.source
    names = source.part.states[one.standard.signal].values()
    levels = sorted({source.values[source.same.get(name, name)].nominal for name in names})
    diodes = any(element.name[0] == "d" for element in source.part.circuit.elements)
    ratings = source_ratings(plan.job, one.line, source.part, plan.library, diodes=diodes)
    return Subject(chain, (one.name,), tuple(sorted({levels[0], levels[-1]})), ratings, bench, one.line.stage_pin)


def _key(subject: Subject, line: Line) -> tuple[object, ...]:
    """Return what makes two lines the same circuit: parts, values, words, levels, ratings, own event."""
    chain = subject.chain
    parts = tuple(
        (role, one.part.file, one.part.sha256, _values(one), tuple(sorted(one.words.items())))
        for role, one in sorted(chain.parts.items())
    )
    event = None if line.event is None else (line.event.netlist, repr(sorted(line.event.values.items())))
    ratings = (repr(subject.ratings), repr(sorted(subject.stage_pin.items())))
    return chain.guarded, chain.rail.nominal, parts, subject.levels, ratings, event


def _values(fitted: Fitted) -> tuple[tuple[object, ...], ...]:
    return tuple((name, one.nominal, one.low, one.high, one.known) for name, one in sorted(fitted.values.items()))
