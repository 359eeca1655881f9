"""Bench facts that no rule judges yet: declared, therefore shown; not judged, therefore not proven."""

from __future__ import annotations

from collections.abc import Sequence

from guardcheck.model import DECLARED_ORIGIN, NOT_PROVEN, Fact, Finding
from guardcheck.rules import handled_tables

CODE = "DEC01"


def undecided_facts(facts: Sequence[Fact]) -> tuple[Finding, ...]:
    """Return one needed `not_proven` finding for every bench fact whose table no rule handles."""
    handled = handled_tables()
    return tuple(
        Finding(
            rule=CODE,
            quantity="declared.fact",
            line=None,
            guarded=None,
            value=None,
            unit="1",
            outcome=NOT_PROVEN,
            why=f"Not proven: {fact.label} is declared, and no rule judges it yet.",
            needed=True,
            origin=DECLARED_ORIGIN,
            where=f"{fact.table} {fact.index + 1}",
            remedy="have it judged by hand, or leave it for the hand-over sheet as not proven",
        )
        for fact in facts
        if fact.table not in handled
    )
