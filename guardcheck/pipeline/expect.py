"""`expect`: what every reading should show, from a job to rows, without judging anything."""

from __future__ import annotations

from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.job import read_job
from guardcheck.model import Expected, Job
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.verification.expect import expectations


def expect(path: Path, options: Options) -> tuple[Job, tuple[Expected, ...]]:
    """Return a job and what a meter or scope shows at each point of its lines when the mod is right.

    Raises
    ------
    InputError
        the job cannot be understood, or has no line
    EngineMissing
        no simulator could be started

    """
    job = read_job(path, allow_outside=options.allow_outside)
    if not job.lines:
        raise InputError("the job has no [[line]], so there is nothing to expect", file=path.name)
    check_settings(job)
    with Engine(workers=options.workers) as engine:
        return job, expectations(engine, plan_of(job, options))
