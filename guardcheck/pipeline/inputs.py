"""The files a job rests on: what no output may replace, and what a saved result belongs to."""

from __future__ import annotations

from pathlib import Path

from guardcheck.errors import GuardcheckError, InputError
from guardcheck.files import sha256_of
from guardcheck.job import read_job
from guardcheck.model import Result
from guardcheck.pipeline.options import Options


def files_named(path: Path, options: Options) -> tuple[Path, ...]:
    """Return a job file with every file and folder it names.

    A job that cannot be read names nothing but itself: whoever runs it will hear why.
    """
    found = [path, *((options.circuits,) if options.circuits else ())]
    try:
        job = read_job(path, allow_outside=options.allow_outside)
    except GuardcheckError:
        return tuple(found)
    uses = [use for line in job.lines for use in (line.source, line.stage, line.guard, line.event)]
    named = [use.netlist for use in (job.display, job.cable, *uses) if use is not None and use.netlist]
    return (*found, *(Path(one) for one in (*named, *((job.circuits,) if job.circuits else ()))))


def require_same_job(path: Path, result: Result, saved: Path) -> None:
    """Refuse a saved result that is not of this job file as it stands now.

    Raises
    ------
    InputError
        the job file cannot be read, or it is another one than the result was made of

    """
    if sha256_of(path) != result.job_sha256:
        problem = f"was made of another job file than {path.name} as it stands now; run the command again"
        raise InputError(problem, file=str(saved), key="job_sha256")
