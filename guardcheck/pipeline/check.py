"""`check`: a planned mod, from job file to result. The one place that knows the order of the steps."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from guardcheck import __version__
from guardcheck.engine import Engine
from guardcheck.job import read_job
from guardcheck.library import Library
from guardcheck.model import (
    Curve,
    Facts,
    Finding,
    Job,
    Line,
    Quantity,
    Result,
    Standard,
)
from guardcheck.pipeline.facts import undecided_facts
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.options import Options, Progress
from guardcheck.pipeline.sentences import advice, not_examined, plan_rows
from guardcheck.rules import asks_of, judge_all
from guardcheck.rules.cautions import cautions_for
from guardcheck.simulate.comparison import Solved, amplitude_of, guard_errors, mismatches
from guardcheck.simulate.curves import sample_curve
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.fitting import Fitter, standard_of, states_of
from guardcheck.simulate.probes import answer, probes_used
from guardcheck.simulate.remedy import IMPEDANCES, LEVELS, Trouble, amplitude_limits, attach, find
from guardcheck.simulate.signal import solve_signals
from guardcheck.simulate.stress.events import EventResults, event_results
from guardcheck.verdict.asks import asks_of as questions_of
from guardcheck.verdict.outcome import conditions_of, misses, overall


def check(path: Path, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of checking one job file. Raises `InputError` for bad input, `EngineMissing` for no ngspice."""
    job = read_job(path, allow_outside=options.allow_outside)
    with Engine(workers=options.workers) as engine:
        return check_job(job, engine, options, progress)


def check_job(job: Job, engine: Engine, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of checking a job that has been read, on a running engine."""
    check_settings(job)
    say = progress or (lambda done, total, what: None)
    folder = options.circuits or (Path(job.circuits) if job.circuits else None)
    library = Library.load(folder)
    fitter = Fitter(job, library)
    standards = {line.name: standard_of(job, line) for line in job.lines}
    experiments, gaps = _experiments(job, fitter, standards, options)
    say(0, 4, "levels")
    solved = solve_signals(engine, experiments)
    say(2, 4, "stress events")
    events = event_results(engine, job, fitter, standards) if options.events else EventResults()
    say(3, 4, "remedies")
    quantities = (
        *(quantity for one in solved for quantity in one.quantities),
        *guard_errors(engine, solved),
        *mismatches(job, solved),
        *gaps,
        *events.quantities,
    )
    facts = Facts(
        quantities=tuple(quantities),
        limits={name: standard.limits for name, standard in standards.items()},
        guarded_lines=frozenset(line.name for line in job.lines if line.has_guard),
        declared=job.facts,
        supply=job.supply,
        display=job.display_facts,
        settings=job.settings,
        forbids=job.forbids,
    )
    facts = replace(facts, answers=answer(engine, library, asks_of(facts)))
    findings = (*judge_all(facts), *undecided_facts(job.facts))
    remedies = find(engine, _troubles(fitter, findings, solved, standards, job))
    findings = tuple(sorted(attach(findings, remedies, advice), key=lambda one: one.id))
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
        circuits=(*library.used, *probes_used(library, asks_of(facts))),
        curves=(*_curves(solved, standards), *events.curves),
        warnings=tuple(dict.fromkeys((*job.warnings, *fitter.warnings))),
        not_examined=not_examined(events=options.events),
        cautions=cautions_for(job, standards.values()),
        plan=plan_rows(job),
        conditions=conditions_of(findings, job.forbids),
        asks=questions_of(findings, quantities),
        job_file=Path(job.file).name,
        job_sha256=job.sha256,
        guardcheck=__version__,
    )


def _experiments(
    job: Job, fitter: Fitter, standards: Mapping[str, Standard], options: Options
) -> tuple[list[Experiment], list[Quantity]]:
    """Return the chains to solve, bare and guarded, and the quantities that no simulation can give."""
    experiments: list[Experiment] = []
    gaps: list[Quantity] = []
    for line in job.lines:
        standard = standards[line.name]
        states = states_of(job, fitter, line, standard)
        seed = (options.seed, zlib.crc32(line.name.encode()))
        fullest = fitter.chain(line, standard, guarded=line.has_guard)
        builds = fullest.builds(n_samples=options.samples, seed=seed)
        for guarded in (False, True) if line.has_guard else (False,):
            chain = fitter.chain(line, standard, guarded=guarded)
            if chain.missing:
                gaps += _gaps(chain.missing, line, guarded, standard)
            else:
                experiments.append(Experiment(chain, standard, states, builds))
    return experiments, gaps


def _gaps(missing: Sequence[str], line: Line, guarded: bool, standard: Standard) -> list[Quantity]:
    why = f"{', '.join(missing)} is unknown and has no usual range to judge it by"
    return [
        Quantity(name, line.name, guarded, None, failure=why)
        for name in standard.quantities
        if name.split(".")[0] in ("level", "response", "guard") and (guarded or not name.startswith("guard."))
    ]


def _troubles(
    fitter: Fitter,
    findings: Sequence[Finding],
    solved: Sequence[Solved],
    standards: Mapping[str, Standard],
    job: Job,
) -> list[Trouble]:
    """Return the lines that fail as built in a way a remedy may be sought for."""
    failing = {(one.line, one.guarded) for one in findings if one.quantity in (*LEVELS, *IMPEDANCES) and misses(one)}
    lines = {line.name: line for line in job.lines}
    troubles = []
    for one in solved:
        chain = one.experiment.chain
        standard = standards[chain.line]
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
                fitter.chain(lines[chain.line], standard, guarded=chain.guarded, reference=swapped),
                cure if swapped else None,
            )
        )
    return troubles


def _curves(solved: Sequence[Solved], standards: Mapping[str, Standard]) -> tuple[Curve, ...]:
    curves: list[Curve] = []
    for one in solved:
        curves += one.curves
        standard = standards[one.experiment.chain.line]
        name = amplitude_of(standard)
        quantity = None if name is None else one.named(name)
        drawn = None if quantity is None else sample_curve(quantity, standard.limits.get(quantity.name), "V")
        if drawn is not None:
            curves.append(drawn)
    return tuple(curves)
