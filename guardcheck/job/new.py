"""A job file to fill in, and the careful writing of text files."""

from __future__ import annotations

import contextlib
import os
import secrets
from importlib import resources
from pathlib import Path

from guardcheck.errors import JobError, accepted, nearest
from guardcheck.units import shown

TEMPLATE = "new_job.toml"
FAMILIES = "families"
"""Folder of job files to start from, one for each kind of output."""


def new_job_text() -> str:
    """Return the commented job file a technician starts from; it is a valid job as it stands."""
    return resources.files(__package__).joinpath(TEMPLATE).read_text(encoding="utf-8")


def family_names() -> tuple[str, ...]:
    """Return the kinds of output there is a job file to start from for, sorted."""
    folder = resources.files(__package__).joinpath(FAMILIES)
    return tuple(sorted(one.name.removesuffix(".toml") for one in folder.iterdir() if one.name.endswith(".toml")))


def family_job_text(family: str) -> str:
    """Return the job file to start from for a kind of output; it is a valid job as it stands.

    Raises
    ------
    JobError
        there is none for that kind (the sentence lists those there are)

    """
    known = family_names()
    if family not in known:
        raise JobError(f"no template for '{shown(family, 40)}'; accepted: {accepted(known)}{nearest(family, known)}")
    return resources.files(__package__).joinpath(FAMILIES, f"{family}.toml").read_text(encoding="utf-8")


def write_new(path: Path) -> None:
    """Write the commented job file; never over an existing file.

    Raises
    ------
    JobError
        the file exists, or cannot be written

    """
    write_text_atomic(path, new_job_text(), replace=False)


def write_text_atomic(path: Path, text: str, *, replace: bool = True) -> None:
    """Write a text file whole or not at all: into a temporary file beside it, then moved into place.

    Raises
    ------
    JobError
        the file exists and may not be replaced, or cannot be written

    """
    name = shown(str(path), 200)
    temporary = path.parent / f".guardcheck-{secrets.token_hex(8)}.tmp"
    try:
        with temporary.open("x", encoding="utf-8", newline="\n") as stream:
            stream.write(text)
            stream.flush()
            os.fsync(stream.fileno())
        if replace:
            temporary.replace(path)
        else:
            _move_to_new(temporary, path)
    except FileExistsError:
        raise JobError("exists already; choose another name, it is not overwritten", file=name) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else "the name is not possible"
        raise JobError(f"cannot be written: {reason.lower()}", file=name) from None
    finally:
        with contextlib.suppress(OSError, ValueError):
            temporary.unlink(missing_ok=True)


def _move_to_new(temporary: Path, path: Path) -> None:
    """Give a finished file its name; a link, unlike a rename, refuses an existing name in the same step."""
    try:
        path.hardlink_to(temporary)
    except FileExistsError:
        raise
    except OSError:  # a file system without links, such as a memory card's
        if path.exists():
            raise FileExistsError from None
        temporary.rename(path)
