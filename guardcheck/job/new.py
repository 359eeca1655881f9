"""Job files to fill in."""

from __future__ import annotations

from importlib import resources

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
