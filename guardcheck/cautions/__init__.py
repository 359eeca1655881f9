"""The usual cautions for work that can hurt someone, as data: those of every job, and those of each hazard.

A caution is one sentence or more for a reader at the bench. Local codes and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError
from guardcheck.model import UNKNOWN_WORD, Fact, Job, Standard
from guardcheck.toml_tables import read_table

TABLE, OTHERS = "hazards", "others"
"""The table of a job that declares hazards, and its entry for all that the table does not name."""


@dataclass(frozen=True)
class Hazard:
    """One hazard: the keys that declare it, what settles it, and its caution, known to be there or only unknown."""

    keys: tuple[str, ...]
    name: str
    settles: str
    known: str
    unknown: str
    text: str

    def declared(self, entries: Mapping[str, Any]) -> object:
        """Return what a job says of it: None for nothing or no, ``unknown``, else the fact."""
        said = [entries[key] for key in self.keys if entries.get(key) not in (None, False)]
        return next((one for one in said if one != UNKNOWN_WORD), said[0] if said else None)

    def told(self, entries: Mapping[str, Any]) -> bool:
        """Tell whether a job says anything of it: that it is there, that it is not, or that nobody knows."""
        return any(key in entries for key in self.keys)

    def caution(self, declared: object) -> str:
        """Return the caution: what is unknown is not told as a fact."""
        return f"{self.unknown if declared == UNKNOWN_WORD else self.known} {self.text}"


@cache
def general_cautions() -> Mapping[str, str]:
    """Return the cautions of every job by their code."""
    top, _ = read_table(Path(__file__).parent / "general.toml", error=InputError)
    return {row.text("code"): row.text("text") for row in top.tables("caution")}


@cache
def hazards() -> tuple[Hazard, ...]:
    """Return every hazard there are words for, in the order cautions are told."""
    top, _ = read_table(Path(__file__).parent / "hazards.toml", error=InputError)
    return tuple(
        Hazard(
            row.texts("keys"),
            row.text("name"),
            row.text("settles"),
            row.text("known"),
            row.text("unknown"),
            row.text("text"),
        )
        for row in top.tables("hazard")
    )


def declared_hazards(facts: Iterable[Fact]) -> dict[str, Any]:
    """Return the entries of the job's [hazards] table."""
    return {key: value for fact in facts if fact.table == TABLE for key, value in fact.entries.items()}


def cautions_for(job: Job, standards: Iterable[Standard]) -> tuple[str, ...]:
    """Return the cautions that apply: for every job, for the hazards this one declares, for what its lines carry.

    A hazard declared by two keys is told once; one that is only unknown is told as unknown.
    """
    entries = declared_hazards(job.facts)
    found = ((hazard, hazard.declared(entries)) for hazard in hazards())
    own = (hazard.caution(declared) for hazard, declared in found if declared is not None)
    carried = (standard.caution for standard in standards if standard.caution is not None)
    return tuple(dict.fromkeys((*general_cautions().values(), *own, *carried)))
