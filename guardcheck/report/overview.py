"""Every stress event on every line in one table: what each leaves to spare, bare and guarded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from guardcheck.model import Finding, Result
from guardcheck.numbers import show
from guardcheck.report.view import SUMMARY_QUANTITY, event_title, natural
from guardcheck.report.words import clean, line_rank


@dataclass(frozen=True, slots=True)
class Standing:
    """One margin in words, with its outcome; `state` is True for guarded, False for bare, None for neither."""

    state: bool | None
    value: str
    outcome: str


@dataclass(frozen=True, slots=True)
class Strain:
    """One event at one severity: the standings of each line, bare first; `needed` when it decides on some line."""

    title: str
    needed: bool
    cells: tuple[tuple[Standing, ...], ...]


@dataclass(frozen=True, slots=True)
class Overview:
    """Lines in bench order, and a row for every event at every severity."""

    lines: tuple[str, ...]
    rows: tuple[Strain, ...]


def overview(result: Result) -> Overview | None:
    """Return the margins of all stress events, None when the result has none."""
    margins = [one for one in result.findings if one.quantity == SUMMARY_QUANTITY and one.line and one.event]
    if not margins:
        return None
    lines = sorted({one.line for one in margins if one.line is not None}, key=line_rank)
    keys = sorted({(one.event or "", one.severity or "") for one in margins}, key=lambda k: (k[0], natural(k[1])))
    rows = [_row(key, [one for one in margins if (one.event, one.severity or "") == key], lines) for key in keys]
    return Overview(tuple(clean(line) for line in lines), tuple(rows))


def _row(key: tuple[str, str], margins: Sequence[Finding], lines: Sequence[str]) -> Strain:
    cells = tuple(tuple(_standing(one) for one in _bare_first(margins, line)) for line in lines)
    return Strain(event_title(*key), any(one.needed for one in margins), cells)


def _bare_first(margins: Sequence[Finding], line: str) -> list[Finding]:
    mine = [one for one in margins if one.line == line]
    return sorted(mine, key=lambda one: (one.guarded is True, one.id))


def _standing(one: Finding) -> Standing:
    value = show(one.value, one.unit, 2) if one.value is not None else "no value"
    return Standing(one.guarded, f"about {value}" if one.estimate and one.value is not None else value, one.outcome)
