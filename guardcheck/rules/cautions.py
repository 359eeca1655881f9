"""The usual cautions for work that can hurt someone, as data: those of every job here, those of a hazard with it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from importlib import resources

from guardcheck.model import Job, Standard
from guardcheck.rules.haz01_hazards import declared_hazards, hazards


@cache
def general_cautions() -> Mapping[str, str]:
    """Return the cautions of every job by their code."""
    text = resources.files("guardcheck.rules").joinpath("cautions.toml").read_text(encoding="utf-8")
    return {row["code"]: row["text"] for row in tomllib.loads(text)["caution"]}


def cautions_for(job: Job, standards: Iterable[Standard]) -> tuple[str, ...]:
    """Return the cautions that apply: for every job, for the hazards this one declares, for what its lines carry.

    A hazard declared by two keys is told once; one that is only unknown is told as unknown.
    """
    entries = declared_hazards(job.facts)
    found = ((hazard, hazard.declared(entries)) for hazard in hazards())
    own = (hazard.caution(declared) for hazard, declared in found if declared is not None)
    carried = (standard.extra["caution"] for standard in standards if "caution" in standard.extra)
    return tuple(dict.fromkeys((*general_cautions().values(), *own, *carried)))
