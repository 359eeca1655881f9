"""`guards`: every guard on the shelf, in every place it can sit, on a line of a job; best first.

Each event runs at its hardest level only. The order is: what breaks the picture last, then what fails least (events and
signal together), then what is least unproven, then how far what fails falls short, then least harm to the signal, then
fewest parts.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from guardcheck.compose import Chain
from guardcheck.engine import Engine
from guardcheck.errors import JobError, accepted, nearest
from guardcheck.formatting import show
from guardcheck.job import read_job
from guardcheck.measure import level_rows, relative_change
from guardcheck.model import (
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    REFERENCE,
    Facts,
    Finding,
    Job,
    Line,
    PartUse,
    Quantity,
    Ranked,
    Ranking,
    Standard,
    Value,
)
from guardcheck.pipeline.options import MOST_BUDGET, Options, plan_of
from guardcheck.pipeline.ranking_sentences import notes_of, summary_of
from guardcheck.pipeline.sentences import left_undone
from guardcheck.rules import judge_all
from guardcheck.simulate.clipping import distortions
from guardcheck.simulate.experiment import Experiment, Plateaus
from guardcheck.simulate.levels import solve
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.response import studies_of
from guardcheck.simulate.stress.bench import bench_of
from guardcheck.simulate.stress.convergence import Event, Group, Progress, groups_of, human_body, run_groups
from guardcheck.simulate.stress.events import library_events, subject_of
from guardcheck.simulate.stress.quantities import quantities_of
from guardcheck.verdict.outcome import EVENT_MARGIN_DB, worst

NONE = "none"
PLACE = "place"
RESISTOR = "resistor"
LEAST_LEFT = 1.0
"""Least a stage's resistor keeps when a guard's resistors are taken out of it [ohm]."""
SIGNAL = ("guard.level_error", "guard.distortion", "response.bandwidth")


@dataclass(frozen=True)
class Candidate:
    """One guard in one place on a line, and how many parts it takes."""

    name: str
    place: str | None
    title: str
    parts: int
    chain: Chain
    as_planned: bool


def rank_guards(path: Path, options: Options, line: str | None = None, say: Progress | None = None) -> Ranking:
    """Return the ranking of all guards on one line of a job, its first one unless `line` names another.

    Raises
    ------
    JobError
        the job cannot be read, or has no such line
    EngineMissing
        no simulator could be started

    """
    job = read_job(path, allow_outside=options.allow_outside)
    name = _line(job, line).name
    plan = plan_of(job, options)
    with Engine(workers=options.workers) as engine:
        return rank_line(engine, plan, name, say or (lambda done, total, what: None))


def rank_line(engine: Engine, plan: JobPlan, name: str, say: Progress) -> Ranking:
    """Return the ranking of all guards on one line."""
    with engine.allowing(MOST_BUDGET):
        return _ranking(engine, plan, name, say)


def _ranking(engine: Engine, plan: JobPlan, name: str, say: Progress) -> Ranking:
    job, one_line = plan.job, plan.line(name)
    line, standard = one_line.line, one_line.standard
    candidates = candidates_of(plan, one_line)
    events = tuple(_hardest(event) for event in library_events(plan))
    bench = bench_of(job, plan.rail)
    subjects = [subject_of(plan, one_line, one.chain, bench) for one in candidates]
    groups = [list(groups_of(subject, events)) for subject in subjects]
    run_groups(engine, [group for mine in groups for group in mine], say)
    signals = _signals(engine, one_line, candidates)
    stressed = [event for event in events if event.plan.role != REFERENCE]
    decides = {event.name: not event.plan.claimed or event.name in job.claims for event in stressed}
    rows = [
        _ranked(one, mine, found, standard, job.claims)
        for one, mine, found in zip(candidates, groups, signals, strict=True)
    ]
    ordered = tuple(sorted(rows, key=lambda row: _order(row, rows[0], decides)))
    shown = sorted(stressed, key=lambda event: (not decides[event.name], event.name))
    lines = tuple(other.name for other in job.lines if other.table == line.table)
    return Ranking(
        unit=job.unit,
        unit_kind=job.unit_kind,
        lines=lines if line.name == lines[0] else (line.name,),
        events=tuple((event.name, next(iter(event.plan.severities)), decides[event.name]) for event in shown),
        rows=ordered,
        summary=summary_of(line.name, ordered, rows[0], decides),
        notes=(*notes_of(ordered, bench), *left_undone(engine.undone)),
        engine=engine.info,
        circuits=plan.library.used,
    )


def _line(job: Job, name: str | None) -> Line:
    if not job.lines:
        raise JobError("the job declares no line to put a guard on", file=job.file)
    if name is None:
        return job.lines[0]
    known = [line.name for line in job.lines]
    if name not in known:
        raise JobError(f"no line '{name}'; accepted: {accepted(known)}{nearest(name, known)}", file=job.file)
    return next(line for line in job.lines if line.name == name)


def candidates_of(plan: JobPlan, one: LinePlan) -> tuple[Candidate, ...]:
    """Return every guard in every place, the bare line first; the job's own guard keeps the job's values."""
    line, bare, planned = one.line, one.bare, one.guarded
    found = [Candidate(NONE, None, "No guard", 0, bare, planned is None)]
    mine = None
    if planned is not None and planned.guard is not None:
        fitted = planned.guard
        mine = (fitted.part.name, fitted.words.get(PLACE))
        found.append(_candidate(mine[0], mine[1], planned, as_planned=True))
    for name in plan.library.names("guard"):
        places = plan.library.get("guard", name).parameters[PLACE].choices
        for place in places if name != NONE else ():
            if (name, place) == mine and line.guard.netlist is None:
                continue
            use = PartUse("guard", name, values={PLACE: place}, key=line.guard.key)
            chain = replace(bare, guard=plan.fit(use), guarded=True)
            found.append(_candidate(name, place, chain, as_planned=False))
            found += _split(name, place, chain)
    return tuple(candidate for candidate in found if not candidate.chain.missing)


def _split(name: str, place: str, chain: Chain) -> list[Candidate]:
    """Return a guard with resistors of its own once more, its resistors taken out of the stage's: the level stays.

    So the stage's resistor stands on both sides of the clamp instead of on one.
    """
    assert chain.guard is not None
    own = [chain.guard.values[key].nominal for key, one in chain.guard.part.parameters.items() if one.moves == RESISTOR]
    series = next((key for key, one in chain.stage.part.parameters.items() if one.moves == RESISTOR), None)
    if not own or series is None or chain.stage.values[series].nominal <= sum(own) + LEAST_LEFT:
        return []
    left = chain.stage.values[series].nominal - sum(own)
    stage = replace(chain.stage, values={**chain.stage.values, series: Value.exact(left, "ohm")})
    made = _candidate(name, place, replace(chain, stage=stage), as_planned=False)
    return [replace(made, title=f"{made.title}, taken out of the stage's resistor ({show(left, 'ohm')} left there)")]


def _candidate(name: str, place: str | None, chain: Chain, *, as_planned: bool) -> Candidate:
    assert chain.guard is not None
    part = chain.guard.part
    count = len(part.extra.get("parts", ())) or sum(element.name[0] in "rdqc" for element in part.circuit.elements)
    return Candidate(name, place, part.title, count, chain, as_planned)


def _hardest(event: Event) -> Event:
    """Return an event with its hardest level alone."""
    level, values = list(event.plan.severities.items())[-1]
    return Event(event.fitted, replace(event.plan, severities={level: values}))


@dataclass(frozen=True)
class Signal:
    """What a guard does to the wanted signal: judged quantities, and what is lost of the sync tip."""

    quantities: tuple[Quantity, ...]
    sync_error: float | None


def _signals(engine: Engine, line: LinePlan, candidates: Sequence[Candidate]) -> list[Signal]:
    """Return the side effects of every candidate, against the first, which is bare."""
    builds = candidates[0].chain.builds(n_samples=0, seed=(1,))
    experiments = [Experiment(one.chain, line.standard, line.states, builds) for one in candidates]
    groups = solve(engine, experiments)
    narrow = replace(line.standard, quantities=("response.bandwidth",))
    wanted = [studies_of(replace(one, standard=narrow), group) for one, group in zip(experiments, groups, strict=True)]
    decks = [deck for made in wanted for study in made for deck in study.decks]
    traces = iter(engine.run(decks))
    responses = [[q for study in made for q in study.read([next(traces) for _ in study.decks])] for made in wanted]
    bent = distortions(engine, [(groups[0], group) for group in groups], nominal=True)
    return [
        _signal(one, group, groups[0], (bending, *found))
        for one, group, bending, found in zip(experiments, groups, bent, responses, strict=True)
    ]


def _signal(
    one: Experiment,
    group: Sequence[Plateaus],
    bare: Sequence[Plateaus],
    responses: tuple[Quantity, ...],
) -> Signal:
    rows, other = (level_rows(plateaus[0].experiment.states, plateaus[0].volts) for plateaus in (group, bare))
    changes = {
        name: float(relative_change(rows[name], other[name])[0])
        for name in ("level.white", "level.sync")
        if name in rows and abs(float(other[name][0])) > 1e-6
    }
    amplitude = next((changes[name] for name in ("level.white", "level.sync") if name in changes), None)
    error = Quantity("guard.level_error", one.chain.line, True, _finite(amplitude), failure=group[0].failure)
    sync = changes.get("level.sync") if "level.white" in changes else None
    quantities = tuple(replace(found, guarded=True) for found in (error, *responses))
    return Signal(quantities, _finite(sync))


def _finite(value: float | None) -> float | None:
    return value if value is not None and np.isfinite(value) else None


def _ranked(
    one: Candidate, groups: Sequence[Group], signal: Signal, standard: Standard, claims: Sequence[str]
) -> Ranked:
    reference = human_body(groups)
    stressed = [group for group in groups if group.event.plan.role != REFERENCE]
    quantities = [
        replace(found, guarded=True) for group in stressed for found in quantities_of(group, reference, claims=claims)
    ]
    line = one.chain.line
    limits = {name: limit for name, limit in standard.limits.items() if name in SIGNAL}
    facts = Facts((*quantities, *signal.quantities), {line: limits}, guarded_lines=frozenset((line,)))
    findings = [found for found in judge_all(facts) if found.line == line]
    margins = {found.event: found for found in findings if found.quantity == "event.margin" and found.event is not None}
    own = {found.name: found.value for found in signal.quantities}
    rails = [found.value for found in quantities if found.name == "event.rail" and found.value is not None]
    parts = [found.value for found in findings if found.quantity == "event.part_margin" and found.value is not None]
    return Ranked(
        name=one.name,
        place=one.place,
        title=one.title,
        parts=one.parts,
        as_planned=one.as_planned,
        margins={name: found.value for name, found in margins.items()},
        outcomes={group.event.name: _event_outcome(findings, group.event.name) for group in stressed},
        estimates=frozenset(name for name, found in margins.items() if found.estimate),
        level_error=own.get("guard.level_error"),
        sync_error=signal.sync_error,
        distortion=own.get("guard.distortion"),
        bandwidth=own.get("response.bandwidth"),
        signal={found.quantity: found.outcome for found in findings if found.quantity in SIGNAL},
        rail=max(rails, default=None),
        part_margin=min(parts, default=None),
        why={name: found.why for name, found in margins.items()},
    )


def _event_outcome(findings: Sequence[Finding], event: str) -> str:
    return worst(found.outcome for found in findings if found.event == event)


def _order(row: Ranked, bare: Ranked, decides: Mapping[str, bool]) -> tuple[object, ...]:
    """Return the sort key of a guard: see the head of this module."""
    needed = [outcome for name, outcome in row.outcomes.items() if decides[name]] + list(row.signal.values())
    short = sum(_short(row, name) for name in row.outcomes if decides[name])
    every = sum(_short(row, name) for name in row.outcomes)
    return (
        not row.fits,
        needed.count(DOES_NOT_CONFORM),
        needed.count(NOT_PROVEN),
        round(short, 1),
        round(every, 1),
        round(harm(row, bare), 4),
        row.parts,
        row.name,
        row.place or "",
    )


def _short(row: Ranked, name: str) -> float:
    """Return how far an event's margin falls short of conforming [dB]."""
    margin = row.margins.get(name)
    return 120.0 if margin is None else max(0.0, EVENT_MARGIN_DB - margin)


def harm(row: Ranked, bare: Ranked) -> float:
    """Return what a guard takes from the wanted signal: shares of level, sync and gain, and of the bandwidth."""
    lost = 0.0
    if row.bandwidth is not None and bare.bandwidth:
        lost = max(0.0, 1.0 - row.bandwidth / bare.bandwidth)
    return lost + sum(abs(value or 0.0) for value in (row.level_error, row.sync_error, row.distortion))
