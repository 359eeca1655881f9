"""Read a job file or a job's text."""

from __future__ import annotations

from pathlib import Path

from guardcheck.files import digest_of
from guardcheck.job.build import build
from guardcheck.job.document import decode, load, read_bytes
from guardcheck.job.keys import JOB
from guardcheck.job.read import Reading, read_table
from guardcheck.model import Job
from guardcheck.units import shown


def read_job(path: Path, *, allow_outside: bool = False) -> Job:
    """Read one job file.

    Parameters
    ----------
    path
        the file; netlists it names are looked for beside it
    allow_outside
        let paths in the file leave its folder

    Raises
    ------
    JobError, UnitError
        one sentence with file, line and key; see `guardcheck.errors`

    """
    return _parse(read_bytes(path), file=str(path), folder=path.parent, allow_outside=allow_outside)


def parse_job(text: str, *, file: str = "job", folder: Path | None = None, allow_outside: bool = False) -> Job:
    """Read a job from its text; `file` stands in messages, `folder` (default: that of `file`) holds its netlists."""
    where = Path(file).parent if folder is None else folder
    return _parse(text.encode("utf-8", "surrogatepass"), file=file, folder=where, allow_outside=allow_outside)


def _parse(data: bytes, *, file: str, folder: Path, allow_outside: bool) -> Job:
    name = shown(file, 200)
    document, lines = load(decode(data, file=name), file=name)
    reading = Reading(name, folder, lines, allow_outside)
    tables = read_table(document, JOB, (), reading)
    return build(tables, sha256=digest_of(data), reading=reading)
