"""What a blank bench sheet of a job needs: its lines, the loads pins bear, and what each reading should show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.errors import EngineMissing
from guardcheck.job import read_job
from guardcheck.library import BENCH_LOAD
from guardcheck.model import Expected, Schematic
from guardcheck.pipeline.judgement import to_measure
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.simulate.schematic import schematics
from guardcheck.simulate.signal import solve_signals
from guardcheck.verification.expect import expectations


@dataclass(frozen=True)
class Bench:
    """What a blank bench sheet of a job has fields for.

    `lines` are names with the levels to read, `loads` the heaviest load each line's source may be asked to bear,
    `expected` what each point should show, `drawn` the lines as pictures; both are empty where no simulator is there.
    """

    unit: str = ""
    unit_kind: str = ""
    lines: tuple[tuple[str, tuple[str, ...]], ...] = ()
    loads: Mapping[str, str] = field(default_factory=dict)
    expected: tuple[Expected, ...] = ()
    drawn: tuple[Schematic, ...] = ()


def bench_of(path: Path, options: Options) -> Bench:
    """Return what a blank bench sheet of a job has fields for. Raises `InputError` for a job that cannot be read."""
    job = read_job(path, allow_outside=options.allow_outside)
    check_settings(job)
    plan = plan_of(job, options)
    readings = {one.name: one.bare.source.part.two_readings for one in plan.lines}
    bench = Bench(
        job.unit,
        job.unit_kind,
        tuple((one.name, tuple(to_measure(one.standard))) for one in plan.lines),
        {name: found[BENCH_LOAD] for name, found in readings.items() if BENCH_LOAD in found},
    )
    built = [one for one in plan.lines if not one.as_built.missing]
    if not built:
        return bench
    try:
        with Engine(workers=options.workers) as engine:
            solved = solve_signals(engine, [one.experiment(one.as_built) for one in built], drawn=False)
            return replace(bench, expected=expectations(engine, plan), drawn=schematics(engine, solved))
    except EngineMissing:
        return bench  # a pen needs no simulator: the sheet stands without figures
