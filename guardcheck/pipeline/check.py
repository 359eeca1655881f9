"""`check`: a planned mod, from job file to result. The one place that knows the order of the steps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from guardcheck.cautions import cautions_for
from guardcheck.compose import Chain
from guardcheck.engine import Engine
from guardcheck.job import read_job
from guardcheck.library import Library
from guardcheck.model import (
    Curve,
    Facts,
    Finding,
    Job,
    Quantity,
    Result,
    Standard,
)
from guardcheck.pipeline.facts import undecided_facts
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.options import Options, Progress, plan_of
from guardcheck.pipeline.sentences import advice, not_examined, plan_rows
from guardcheck.rules import asks_of, judge_all
from guardcheck.simulate.comparison import Solved, amplitude_of, guard_errors, mismatches
from guardcheck.simulate.curves import sample_curve
from guardcheck.simulate.display import line_rates, sync_quantities
from guardcheck.simulate.mating import mating_of, mating_quantities
from guardcheck.simulate.planning import JobPlan
from guardcheck.simulate.probes import answer, probes_used
from guardcheck.simulate.remedy import IMPEDANCES, LEVELS, Trouble, amplitude_limits, attach, find
from guardcheck.simulate.schematic import schematics
from guardcheck.simulate.signal import solve_signals
from guardcheck.simulate.stress.events import EventResults, event_results
from guardcheck.verdict.asks import asks_of as questions_of
from guardcheck.verdict.outcome import conditions_of, misses, overall
from guardcheck.version import __version__


def check(path: Path, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of checking one job file. Raises `InputError` for bad input, `EngineMissing` for no ngspice."""
    job = read_job(path, allow_outside=options.allow_outside)
    with Engine(workers=options.workers) as engine:
        return check_job(job, engine, options, progress)


def check_job(job: Job, engine: Engine, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of checking a job that has been read, on a running engine."""
    check_settings(job)
    say = progress or (lambda done, total, what: None)
    plan = plan_of(job, options)
    experiments = [one.experiment(chain) for one in plan.lines for chain in one.chains if not chain.missing]
    gaps = [gap for one in plan.lines for chain in one.chains if chain.missing for gap in _gaps(chain, one.standard)]
    say(0, 4, "levels")
    solved = solve_signals(engine, experiments)
    mating = mating_of(job, plan.library, solved)
    say(2, 4, "stress events")
    events = event_results(engine, plan) if options.events else EventResults()
    say(3, 4, "remedies")
    quantities = (
        *(quantity for one in solved for quantity in one.quantities),
        *guard_errors(engine, solved),
        *mismatches(job, solved),
        *sync_quantities(solved),
        *line_rates(plan.standards.values()),
        *(() if mating is None else mating_quantities(engine, mating)),
        *gaps,
        *events.quantities,
    )
    facts = Facts(
        quantities=tuple(quantities),
        limits={name: standard.limits for name, standard in plan.standards.items()},
        guarded_lines=frozenset(line.name for line in job.lines if line.has_guard),
        declared=job.facts,
        supply=job.supply,
        display=job.display_facts,
        settings=job.settings,
        forbids=job.forbids,
    )
    facts = replace(facts, answers=answer(engine, plan.library, asks_of(facts)))
    findings = (*judge_all(facts), *undecided_facts(job.facts))
    remedies = find(engine, _troubles(plan, findings, solved))
    sources = {one.name: one.bare.source.part for one in plan.lines}
    findings = attach(findings, remedies, lambda one: advice(one, sources))
    findings = tuple(sorted(findings, key=lambda one: one.id))
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
        circuits=(*plan.library.used, *probes_used(plan.library, asks_of(facts))),
        curves=(*_curves(solved), *events.curves),
        schematics=schematics(engine, solved),
        warnings=plan.warnings,
        not_examined=not_examined(events=options.events),
        cautions=cautions_for(job, plan.standards.values()),
        plan=(*plan_rows(job), *(() if mating is None else mating.told)),
        conditions=conditions_of(findings, job.forbids),
        asks=questions_of(findings, quantities),
        job_file=Path(job.file).name,
        job_sha256=job.sha256,
        guardcheck=__version__,
        extra={"events": said_of(plan.library, findings)},
    )


def said_of(library: Library, findings: Sequence[Finding]) -> Mapping[str, str]:
    """Return what each event is called at the bench, by its name; an event of the user's own goes by its name."""
    names = sorted({one.event for one in findings if one.event} & set(library.names("event")))
    return {name: str(library.get("event", name).extra["said"]) for name in names}


def _gaps(chain: Chain, standard: Standard) -> list[Quantity]:
    """Return the quantities no simulation can give, because a part of the chain is unknown."""
    why = f"{', '.join(chain.missing)} is unknown and has no usual range to judge it by"
    return [
        Quantity(name, chain.line, chain.guarded, None, failure=why)
        for name in standard.quantities
        if name.split(".")[0] in ("level", "response", "guard") and (chain.guarded or not name.startswith("guard."))
    ]


def _troubles(plan: JobPlan, findings: Sequence[Finding], solved: Sequence[Solved]) -> list[Trouble]:
    """Return the lines that fail as built in a way a remedy may be sought for."""
    failing = {(one.line, one.guarded) for one in findings if one.quantity in (*LEVELS, *IMPEDANCES) and misses(one)}
    troubles = []
    for one in solved:
        chain, standard = one.experiment.chain, one.experiment.standard
        limits = amplitude_limits(standard)
        if (chain.line, chain.guarded) not in failing or not limits:
            continue
        impedance = one.named("response.impedance")
        cure = str(chain.display.part.extra.get("remedy", ""))
        swapped = bool(cure) and chain.display.part.name != standard.display
        troubles.append(
            Trouble(
                one.experiment,
                limits,
                float("nan") if impedance is None or impedance.value is None else impedance.value,
                standard.limits.get("response.impedance"),
                replace(chain, display=plan.own_display(standard)) if swapped else chain,
                cure if swapped else None,
            )
        )
    return troubles


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
