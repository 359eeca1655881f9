"""`check`: a planned mod, from job file to result. The one place that knows the order of the steps."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.job import read_job
from guardcheck.library import Library
from guardcheck.model import (
    DOES_NOT_CONFORM,
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
from guardcheck.simulate.batch import run_once
from guardcheck.simulate.comparison import Solved, amplitude_of, guard_errors, mismatches
from guardcheck.simulate.curves import curves_of, drawing_decks, sample_curve
from guardcheck.simulate.fitting import Fitter, standard_of, states_of
from guardcheck.simulate.levels import Experiment, Plateaus, level_quantities, solve
from guardcheck.simulate.probes import answer, probes_used
from guardcheck.simulate.remedy import IMPEDANCES, LEVELS, Trouble, amplitude_limits, attach, find
from guardcheck.simulate.response import studies_of, transfer_decks
from guardcheck.simulate.schematic import schematics
from guardcheck.simulate.stress.events import EventResults, event_results
from guardcheck.verdict.outcome import overall


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
    groups = solve(engine, experiments)
    say(1, 4, "responses")
    solved = _responses(engine, experiments, groups)
    say(2, 4, "stress events")
    events = event_results(engine, job, fitter, standards) if options.events else EventResults()
    say(3, 4, "remedies")
    quantities = (
        *(quantity for one in solved for quantity in one.quantities),
        *guard_errors(solved),
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
        schematics=schematics(engine, experiments, groups),
        warnings=tuple(dict.fromkeys((*job.warnings, *fitter.warnings))),
        not_examined=not_examined(events=options.events),
        cautions=cautions_for(job, standards.values()),
        plan=plan_rows(job),
        job_file=Path(job.file).name,
        job_sha256=job.sha256,
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


def _responses(
    engine: Engine, experiments: Sequence[Experiment], groups: Sequence[tuple[Plateaus, ...]]
) -> tuple[Solved, ...]:
    """Run every study and drawing of every experiment in one batch."""
    studies = [studies_of(one, group) for one, group in zip(experiments, groups, strict=True)]
    drawings = [drawing_decks(one) for one in experiments]
    transfers = [transfer_decks(one, group) for one, group in zip(experiments, groups, strict=True)]
    decks = [deck for made in studies for study in made for deck in study.decks]
    decks += [deck for drawn in (*drawings, *transfers) for deck in drawn]
    traces = iter(run_once(engine, decks))
    quantities = [
        [found for study in made for found in study.read([next(traces) for _ in study.decks])] for made in studies
    ]
    curves = [
        curves_of(one, group[0], (next(traces), next(traces))) for one, group in zip(experiments, groups, strict=True)
    ]
    solved = [
        Solved(one, group, (*level_quantities(group), *found), drawn, tuple(next(traces) for _ in transfer))
        for one, group, found, drawn, transfer in zip(experiments, groups, quantities, curves, transfers, strict=True)
    ]
    return tuple(solved)


def _troubles(
    fitter: Fitter,
    findings: Sequence[Finding],
    solved: Sequence[Solved],
    standards: Mapping[str, Standard],
    job: Job,
) -> list[Trouble]:
    """Return the lines that fail as built in a way a remedy may be sought for."""
    failing = {
        (one.line, one.guarded)
        for one in findings
        if one.needed and one.outcome == DOES_NOT_CONFORM and one.quantity in (*LEVELS, *IMPEDANCES)
    }
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
