"""The usual cautions for work that can hurt someone, as data beside this module (cautions.toml)."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from functools import cache
from importlib import resources

from guardcheck.model import Job, Standard


@cache
def _rows() -> tuple[tuple[str, str], ...]:
    text = resources.files("guardcheck.rules").joinpath("cautions.toml").read_text(encoding="utf-8")
    return tuple((row["when"], row["text"]) for row in tomllib.loads(text)["caution"])


def cautions_for(job: Job, standards: Iterable[Standard]) -> tuple[str, ...]:
    """Return the cautions that apply: for every job, for the hazards this one declares, for what its lines carry."""
    declared = {key for fact in job.facts if fact.table == "hazards" for key, value in fact.entries.items() if value}
    general = (text for when, text in _rows() if when == "always" or when in declared)
    own = (standard.extra["caution"] for standard in standards if "caution" in standard.extra)
    return tuple(dict.fromkeys((*general, *own)))
