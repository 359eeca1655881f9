"""Names in a job that only a rule can know: refused before anything is computed, not found out in a finding."""

from __future__ import annotations

from guardcheck.errors import JobError, accepted, nearest
from guardcheck.model import Job
from guardcheck.rules import known_settings
from guardcheck.units import shown


def check_settings(job: Job) -> None:
    """Refuse a setting whose name no rule knows. Raises `JobError` with the place and the nearest name."""
    for key, known in known_settings().items():
        given = job.settings.get(key)
        if given is None or given in known:
            continue
        raise JobError(
            f"no {key.replace('_', ' ')} '{shown(str(given))}'; accepted: {accepted(known)}, or leave the key out"
            f"{nearest(str(given), known)}",
            file=job.file,
            key=key,
            line=job.lines_of.get(key),
        )
