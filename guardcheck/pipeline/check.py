"""`check`: a planned mod, from job file to result. The one place that knows the order of the steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from guardcheck.appraisal import appraise
from guardcheck.cautions import cautions_for
from guardcheck.engine import Engine
from guardcheck.formatting import show
from guardcheck.job import read_job
from guardcheck.library import Library
from guardcheck.model import (
    CONFORMS,
    QUANTITIES,
    REMEDY_TRIED,
    Build,
    Curve,
    Finding,
    Job,
    Part,
    Result,
)
from guardcheck.pipeline.facts import undecided_facts
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.options import LINE_BUDGET, Options, Progress, budget_of, plan_of
from guardcheck.pipeline.sentences import advice, left_undone, not_examined, plan_rows
from guardcheck.proposal.remedies import NOTHING, curable, remedies
from guardcheck.proposal.search import propose_lines, titles_of
from guardcheck.rules import asks_of
from guardcheck.simulate.comparison import Solved, amplitude_of
from guardcheck.simulate.curves import sample_curve
from guardcheck.simulate.planning import JobPlan
from guardcheck.simulate.probes import probes_used
from guardcheck.simulate.schematic import schematics
from guardcheck.simulate.stress.events import circuits_of
from guardcheck.verdict.asks import asks_of as questions_of
from guardcheck.verdict.claims import leads_of
from guardcheck.verdict.outcome import conditions_of, misses, overall
from guardcheck.version import __version__


def check(path: Path, options: Options, progress: Progress | None = None, engine: Engine | None = None) -> Result:
    """Return the result of checking one job file.

    Parameters
    ----------
    path : the job file
    options : how to run the check
    progress : told how far the work is
    engine : a running engine to use, which stays running; without one an own is started and ended

    Raises
    ------
    InputError
        the job or something it names cannot be understood
    EngineMissing
        no simulator could be started

    """
    with ExitStack() as stack:  # the engine starts while the job is read and fitted
        running = engine or stack.enter_context(Engine(workers=options.workers, wait=False))
        return check_job(read_job(path, allow_outside=options.allow_outside), running, options, progress)


def check_job(job: Job, engine: Engine, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of checking a job that has been read, on a running engine."""
    check_settings(job)
    with engine.allowing(budget_of(job)):
        return _checked(job, engine, options, progress)


def _checked(job: Job, engine: Engine, options: Options, progress: Progress | None) -> Result:
    say = progress or (lambda done, total, what: None)
    plan = plan_of(job, options)
    say(0, 4, "levels and stress events")
    found = appraise(engine, plan, events=options.events)
    say(3, 4, "remedies")
    solved, facts = found.solved, found.facts
    findings = (*found.findings, *undecided_facts(job.facts))
    cures = remedies(engine, plan, findings, events=options.events)
    undone = engine.undone
    if options.propose:
        cures = {**cures, **_proposed(engine, plan, findings, options, say)}
    sources = {one.name: one.bare.source.part for one in plan.lines}
    told = (_advised(one, cures, sources) for one in findings)
    findings = tuple(sorted(told, key=lambda one: one.id))
    drawn = schematics(engine, solved, circuits_of(plan))
    say(4, 4, "done")
    return Result(
        command="check",
        unit=job.unit,
        unit_kind=job.unit_kind,
        outcome=overall(findings),
        seed=options.seed,
        n_samples=options.samples,
        engine=engine.info,
        findings=findings,
        circuits=(*plan.used, *probes_used(plan.library, asks_of(facts))),
        curves=(*_curves(solved), *found.events.curves),
        schematics=drawn,
        warnings=plan.warnings,
        not_examined=(*not_examined(events=options.events), *left_undone(undone)),
        cautions=cautions_for(job, plan.standards.values()),
        plan=(*plan_rows(job), *(() if found.mating is None else found.mating.told)),
        conditions=(*conditions_of(findings, job.forbids), *found.conditions),
        asks=questions_of(findings, leads_of(drawn)),
        job_file=Path(job.file).name,
        job_sha256=job.sha256,
        guardcheck=__version__,
        extra={"events": said_of(plan.library, findings)},
    )


def said_of(library: Library, findings: Sequence[Finding]) -> Mapping[str, str]:
    """Return what each event is called at the bench, by its name; an event of the user's own goes by its name."""
    names = sorted({one.event for one in findings if one.event} & set(library.names("event")))
    return {name: library.get("event", name).said for name in names}


def _proposed(
    engine: Engine, plan: JobPlan, findings: Sequence[Finding], options: Options, say: Progress
) -> Mapping[str, str]:
    """Return the best build for every line that fails, by the id of the findings it cures; or why there is none."""
    told: dict[str, str] = {}
    wrong = [one for one in findings if one.line is not None and misses(one) and (curable(one) or one.event)]
    tables = dict.fromkeys(plan.line(one.line).line.table for one in wrong if one.line is not None)
    for table in tables:
        first = next(one.name for one in plan.lines if one.line.table == table)
        engine.allow(LINE_BUDGET)
        found = propose_lines(engine, plan, first, samples=options.samples, seed=options.seed, say=say)
        if found.builds:
            best = found.builds[0]
            said = f"{best.say.rstrip('.')} (simulated: {_gives(plan, best)}); guardcheck propose JOB --line {first}"
        else:
            said = f"{NOTHING}: {found.none_because}"
        told |= {one.id: said for one in wrong if one.line in found.lines and one.needed}
    return told


def _gives(plan: JobPlan, best: Build) -> str:
    """Return what a build was simulated to give, and what of it nobody has proven."""
    figures = (("white", best.white, "V"), ("sync", best.sync, "V"), ("output", best.impedance, "ohm"))
    told = ", ".join(f"{name} {show(found.value, unit)}" for name, found, unit in figures if found is not None)
    titles = titles_of(plan, best.open_)
    loose = ", ".join(titles[name] if name in titles else QUANTITIES[name].title for name in best.open_)
    return "; ".join(part for part in (told or "solved", f"not proven: {loose}" if loose else "") if part)


def _advised(one: Finding, cures: Mapping[str, str], sources: Mapping[str, Part]) -> Finding:
    """Return a finding with what to do about it: what was simulated first, else what is to be found out."""
    if one.remedy is not None or not (misses(one) or (one.needed and one.outcome != CONFORMS)):
        return one
    tried = cures.get(one.id)
    codes = (*one.codes, REMEDY_TRIED) if tried else one.codes
    return replace(one, remedy=tried or advice(one, sources), codes=codes)


def _curves(solved: Sequence[Solved]) -> tuple[Curve, ...]:
    curves: list[Curve] = []
    for one in solved:
        curves += one.curves
        standard = one.experiment.standard
        name = amplitude_of(standard)
        quantity = None if name is None else one.named(name)
        drawn = None if quantity is None else sample_curve(quantity, standard.limits.get(quantity.name), "V")
        if drawn is not None:
            curves.append(drawn)
    return tuple(curves)
