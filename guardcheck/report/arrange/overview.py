"""Every stress event on every line in one table: what each leaves to spare, bare and guarded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from guardcheck.formatting import line_rank, show
from guardcheck.model import Finding, Result
from guardcheck.report.arrange.view import SUMMARY_QUANTITY, event_title, natural
from guardcheck.report.arrange.words import clean


@dataclass(frozen=True, slots=True)
class Standing:
    """One margin in words, with its outcome; `state` is True for guarded, False for bare, None for neither."""

    state: bool | None
    value: str
    outcome: str


@dataclass(frozen=True, slots=True)
class Strain:
    """One event at one severity: the standings in each column, bare first; `needed` when it decides on some line."""

    title: str
    needed: bool
    cells: tuple[tuple[Standing, ...], ...]


@dataclass(frozen=True, slots=True)
class Overview:
    """A row for every event at every severity; lines in bench order, those with the same margins in one column."""

    columns: tuple[str, ...]
    rows: tuple[Strain, ...]


def overview(result: Result) -> Overview | None:
    """Return the margins of all stress events, None when the result has none."""
    margins = [one for one in result.findings if one.quantity == SUMMARY_QUANTITY and one.line and one.event]
    if not margins:
        return None
    keys = sorted({_key(one) for one in margins}, key=lambda k: (k[0], natural(k[1])))
    alike: dict[tuple[tuple[Standing, ...], ...], list[str]] = {}
    for line in sorted({one.line for one in margins if one.line is not None}, key=line_rank):
        alike.setdefault(tuple(_cell(margins, line, key) for key in keys), []).append(clean(line))
    rows = (
        Strain(
            title=event_title(*key),
            needed=any(one.needed for one in margins if _key(one) == key),
            cells=tuple(column[place] for column in alike),
        )
        for place, key in enumerate(keys)
    )
    return Overview(tuple(", ".join(lines) for lines in alike.values()), tuple(rows))


def _key(one: Finding) -> tuple[str, str]:
    return one.event or "", one.severity or ""


def _cell(margins: Sequence[Finding], line: str, key: tuple[str, str]) -> tuple[Standing, ...]:
    """Return the standings of one line under one event, bare first."""
    mine = [one for one in margins if one.line == line and _key(one) == key]
    return tuple(_standing(one) for one in sorted(mine, key=lambda one: (one.guarded is True, one.id)))


def _standing(one: Finding) -> Standing:
    value = show(one.value, one.unit, 2) if one.value is not None else "no value"
    return Standing(one.guarded, f"about {value}" if one.estimate and one.value is not None else value, one.outcome)
