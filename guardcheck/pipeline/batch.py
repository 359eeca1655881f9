"""Many jobs on engines that stay warm: one engine a process, and which saved results still hold."""

from __future__ import annotations

import atexit
from functools import cache
from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.errors import GuardcheckError
from guardcheck.job import parse_job, read_job
from guardcheck.model import KINDS, CircuitUsed, Job, Result
from guardcheck.pipeline.check import check_job
from guardcheck.pipeline.options import Options, Progress, plan_of
from guardcheck.version import __version__


@cache
def warm_engine(workers: int | None = 1) -> Engine:
    """Return this process's engine, started when it is first asked for and ended with the process.

    Parameters
    ----------
    workers : simulator processes; where many processes each check a job, one simulator each is enough

    """
    engine = Engine(workers=workers, wait=False)
    engine.__enter__()
    atexit.register(engine.close)
    return engine


def check_text(text: str, options: Options, *, file: Path, progress: Progress | None = None) -> Result:
    """Return the result of checking the text of a job file, on this process's engine.

    Parameters
    ----------
    text : what stands in the job file
    options : how to run the check
    file : the name of the job in the result; what the job names is looked for in its folder
    progress : told how far the work is

    Raises
    ------
    InputError
        the job or something it names cannot be understood
    EngineMissing
        no simulator could be started

    """
    job = parse_job(text, file=str(file), allow_outside=options.allow_outside)
    return check_job(job, warm_engine(options.workers), options, progress)


def still_holds(saved: Result, path: Path, options: Options) -> bool:
    """Tell whether a saved result is what a check of this job would give now: same content, options and version.

    Compared are the job file, the parts it uses, every event on the shelf, seed, samples and guardcheck's version.
    """
    try:
        job = read_job(path, allow_outside=options.allow_outside)
        made = (saved.command, saved.guardcheck, saved.job_sha256, saved.seed, saved.n_samples)
        now = ("check", __version__, job.sha256, options.seed, options.samples)
        return made == now and _same_parts(saved, job, options)
    except GuardcheckError:
        return False


def _same_parts(saved: Result, job: Job, options: Options) -> bool:
    recorded = {_content(one) for one in saved.circuits}
    plan = plan_of(job, options)
    library = plan.library
    needed = {_content(one) for one in plan.used}
    events = {name for kind, name, _ in recorded if kind == "event"}
    if job.lines and options.events and not set(library.names("event")) <= events:
        return False
    for kind, name, _ in recorded:
        if kind in KINDS and name in library.names(kind):
            library.get(kind, name)
        elif kind == "pin" and name in library.pin_names():
            library.pin(name)
        elif kind == "model" and name in library.names("model"):
            library.model(name)
    found = {_content(one) for one in library.used}
    return needed <= recorded and {one for one in recorded if one[0] in (*KINDS, "pin", "model")} <= found


def _content(one: CircuitUsed) -> tuple[str, str, str]:
    return one.kind, one.name, one.sha256
