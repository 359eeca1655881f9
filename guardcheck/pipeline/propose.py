"""`propose`: what to fit instead, searched line by line, and the job file that fits it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.errors import InputError, JobError, accepted, nearest
from guardcheck.files import read_bytes
from guardcheck.job import read_job
from guardcheck.model import CONFORMS, Job, LineProposals, Proposals
from guardcheck.pipeline.check import check_job
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.options import SEARCH_BUDGET, Options, Progress, plan_of
from guardcheck.proposal.picture import beside
from guardcheck.proposal.search import propose_lines, titles_of
from guardcheck.proposal.write import with_build
from guardcheck.simulate.planning import JobPlan
from guardcheck.verdict.outcome import misses

MOST = 2_000_000
"""Largest job file [bytes]."""


def propose(
    path: Path, options: Options, line: str | None = None, say: Progress | None = None, *, every: bool = False
) -> Proposals:
    """Return builds for every line of a job that fails, or for the one named; `every` takes those that do not, too.

    Raises
    ------
    JobError
        the job cannot be read, or has no such line
    EngineMissing
        no simulator could be started

    """
    job = read_job(path, allow_outside=options.allow_outside)
    check_settings(job)
    named = _named(job, line)
    plan = plan_of(job, options)
    progress = say or (lambda done, total, what: None)
    with Engine(workers=options.workers) as engine:
        wanted = [named] if named is not None else _firsts(plan)
        if named is None and not every:
            wanted = [name for name in wanted if name in _failing(job, engine, options)]
        found = beside(engine, plan, [proposals_for(engine, plan, name, options, progress) for name in wanted])
        return Proposals(
            unit=job.unit,
            unit_kind=job.unit_kind,
            lines=found,
            engine=engine.info,
            job_sha256=job.sha256,
            circuits=plan.library.used,
            warnings=plan.warnings,
            titles=titles_of(plan, _events(found)),
        )


def _events(found: Iterable[LineProposals]) -> set[str]:
    """Return the names of all events that anything is said of."""
    builds = [build for one in found for build in (*one.builds, *((one.nearest,) if one.nearest else ()))]
    return {name for build in builds for name in (*build.margins, *build.open_, *build.conditions)}


def proposals_for(engine: Engine, plan: JobPlan, name: str, options: Options, say: Progress) -> LineProposals:
    """Return the builds proposed for a line, and for all that are built like it."""
    with engine.allowing(SEARCH_BUDGET):
        return propose_lines(engine, plan, name, samples=options.samples, seed=options.seed, say=say)


def _named(job: Job, line: str | None) -> str | None:
    known = [one.name for one in job.lines]
    if not known:
        raise JobError("the job declares no line to propose a build for", file=job.file)
    if line is not None and line not in known:
        raise JobError(f"no line '{line}'; accepted: {accepted(known)}{nearest(line, known)}", file=job.file)
    return line


def _firsts(plan: JobPlan) -> list[str]:
    """Return the first line of every table."""
    tables: dict[int, str] = {}
    for one in plan.lines:
        tables.setdefault(one.line.table, one.name)
    return list(tables.values())


def _failing(job: Job, engine: Engine, options: Options) -> set[str]:
    """Return the first lines of the tables of which something fails, or is not proven, as planned."""
    found = check_job(job, engine, options).findings
    wrong = {one.line for one in found if misses(one) or (one.needed and one.outcome != CONFORMS)}
    tables = {one.table for one in job.lines if one.name in wrong}
    return {one.name for one in job.lines if one.table in tables}


def job_with(path: Path, proposals: Proposals, pick: int) -> str:
    """Return the text of a job file with the builds of rank `pick` in it.

    Raises
    ------
    InputError
        no line has a build of that rank

    """
    job = read_job(path, allow_outside=True)
    tables = {one.name: one.table for one in job.lines}
    chosen = {tables[found.line]: build for found in proposals.lines for build in found.builds if build.rank == pick}
    if not chosen:
        ranks = sorted({build.rank for found in proposals.lines for build in found.builds})
        raise InputError(
            f"there is no build number {pick} to write; proposed: {', '.join(map(str, ranks)) or 'none'}",
            file=str(path),
        )
    return with_build(read_bytes(path, MOST, what="a job file").decode("utf-8"), chosen)
