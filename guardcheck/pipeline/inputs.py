"""The files a job rests on: what no output may replace, and what a saved result belongs to."""

from __future__ import annotations

from pathlib import Path

from guardcheck.errors import GuardcheckError, InputError
from guardcheck.files import sha256_of
from guardcheck.job import read_job
from guardcheck.model import Result
from guardcheck.pipeline.options import Options, plan_of


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


def require_same_job(path: Path, result: Result, saved: Path, options: Options) -> None:
    """Refuse a saved result that is not of this job file, and of the parts it names, as they stand now.

    Raises
    ------
    InputError
        the job file or a part cannot be read, or one is another than the result was made of

    """
    if sha256_of(path) != result.job_sha256:
        problem = f"was made of another job file than {path.name} as it stands now; run the command again"
        raise InputError(problem, file=str(saved), key="job_sha256")
    recorded = {(one.kind, one.name, one.sha256) for one in result.circuits}
    job = read_job(path, allow_outside=options.allow_outside)
    for one in plan_of(job, options).used:
        if (one.kind, one.name, one.sha256) not in recorded:
            problem = f"was made of another {one.kind} '{one.name}' than {one.file} as it stands now"
            raise InputError(f"{problem}; run the command again", file=str(saved), key="circuits")
