"""Findings as rows of tables: every number with its limit, its source and how much is left to the limit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from guardcheck.formatting import NO_VALUE, line_rank, quantity_rank, share, show, telling_digits
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, KNOWN_BY, NOT_APPLICABLE, Finding
from guardcheck.report.arrange.view import SUMMARY_QUANTITY
from guardcheck.report.arrange.words import clean, doubt, quantity_title
from guardcheck.report.handover.blocks import Cell
from guardcheck.report.handover.strings import Words


@dataclass(frozen=True, slots=True)
class Citation:
    """One reference with its number, how it is known, and the quantities it was used for."""

    number: int
    reference: str
    known: str
    quantities: tuple[str, ...]
    notes: tuple[str, ...]


class Sources:
    """The references of all findings, numbered in the order of the table of quantities."""

    def __init__(self, findings: Iterable[Finding], say: Words) -> None:
        families: dict[tuple[str, str], list[Finding]] = {}
        for one in sorted(findings, key=lambda f: (quantity_rank(f.quantity), f.id)):
            key = self._key(one)
            if key is not None and one.outcome != NOT_APPLICABLE:
                families.setdefault(key, []).append(one)
        self._say = say
        self._numbers = {key: number for number, key in enumerate(families, 1)}
        self.rows = tuple(self._row(key, found) for key, found in families.items())

    def _key(self, one: Finding) -> tuple[str, str] | None:
        if one.limit is None:
            return None
        where = one.limit.reference if one.limit.clause is None else f"{one.limit.reference}, {one.limit.clause}"
        return clean(where), one.limit.known_by

    def _row(self, key: tuple[str, str], found: Sequence[Finding]) -> Citation:
        names = dict.fromkeys(title(one.quantity, self._say) for one in found)
        notes = dict.fromkeys(clean(one.limit.note) for one in found if one.limit is not None and one.limit.note)
        known = self._say.known(f"known.{key[1]}", KNOWN_BY.get(key[1], clean(key[1])))
        return Citation(self._numbers[key], key[0], known, tuple(names), tuple(notes))

    def number(self, one: Finding) -> str:
        """Return ``[3]``, or an empty string when the finding names no source."""
        key = self._key(one)
        return self._say("cell.source", n=self._numbers[key]) if key in self._numbers else ""


def title(quantity: str, say: Words) -> str:
    """Return the short title of a quantity in the language of the sheet."""
    return say.known(f"quantity.{quantity}", quantity_title(quantity))


def place(line: str | None, say: Words) -> str:
    """Return the name of a line, or the words for the whole unit."""
    return say("front.whole_unit") if line is None else clean(line)


def places(lines: Iterable[str | None], say: Words) -> str:
    """Return line names in bench order, joined."""
    return ", ".join(place(line, say) for line in sorted(set(lines), key=line_rank))


def limits_text(one: Finding, say: Words, digits: int) -> str:
    """Return the bounds of a finding in words."""
    low, high = one.bounds
    if low is None and high is None:
        return say("limits.none") if one.outcome == NOT_APPLICABLE else say("limits.number")
    if low is None or high is None:
        key, end = ("low", low) if high is None else ("high", high)
        return say(f"limits.{key}", **{key: show(end, one.unit, digits)})
    return _span((low, high), one.unit, digits, say)


def _span(ends: tuple[float, float], unit: str, digits: int, say: Words) -> str:
    first, last = show(ends[0], unit, digits), show(ends[1], unit, digits)
    if first == last:
        return first
    number, _, first_unit = first.partition(" ")
    return say("limits.both", low=number if first_unit == last.partition(" ")[2] else first, high=last)


def digits_for(findings: Sequence[Finding]) -> int:
    """Return the digits at which no value of the row looks equal to a bound it differs from."""
    ends = [end for one in findings for end in one.bounds]
    return telling_digits([one.value for one in findings], ends, findings[0].unit)


def to_spare(one: Finding, say: Words) -> str | None:
    """Return how far the worse end of a value lies inside its limits, or beyond them; None when it decides nothing.

    The worse end is that of the worst case, of the samples and of the uncertainty. A finding that is not proven shows
    no distance inside: that would read as a pass.
    """
    low, high = one.bounds
    if one.value is None or one.quantity == SUMMARY_QUANTITY or (low is None and high is None):
        return None
    ends = [one.value, *(one.spread or ()), *(one.interval or ())]
    ends = [end + sign * (one.uncertainty or 0.0) for end in ends for sign in (-1, 1)]
    if one.outcome == DOES_NOT_CONFORM:
        ends = [one.value]
    room = min(
        [*(min(ends) - low for _ in (0,) if low is not None), *(high - max(ends) for _ in (0,) if high is not None)]
    )
    if one.outcome == CONFORMS and room >= 0:
        return say("cell.spare", value=show(room, one.unit, 2))
    return say("cell.short", value=show(-room, one.unit, 2)) if one.outcome == DOES_NOT_CONFORM and room < 0 else None


def value_cell(one: Finding | None, say: Words, digits: int, row: str | None = None) -> Cell:
    """Return the value with all that qualifies it, and its outcome where that is not the `row`'s."""
    if one is None:
        return Cell(small=(say("cell.none"),))
    value = show(one.value, one.unit, digits)
    main = say("cell.none") if value == NO_VALUE else say("cell.about", value=value) if one.estimate else value
    small = [
        None if one.uncertainty is None else f"{say('cell.plus', value=show(one.uncertainty, one.unit, 2))} (k = 2)",
        to_spare(one, say),
        None if one.spread is None else say("cell.worst", span=_span(one.spread, one.unit, digits, say)),
        None if one.interval is None else say("cell.builds", span=_span(one.interval, one.unit, digits, say)),
        None if one.yield_ is None else say("cell.share", share=share(one.yield_)),
    ]
    outcome = None if row is None or one.outcome in (row, NOT_APPLICABLE) else one.outcome
    return Cell(main, tuple(text for text in small if text), outcome)


def limit_cell(one: Finding, say: Words, digits: int, sources: Sources) -> Cell:
    """Return the limits with the number of their source, and a word when that source was not read."""
    key = doubt(one)
    known = (say("cell.doubt", known=say.known(f"known.{key}", KNOWN_BY[key])),) if key else ()
    return Cell("", (f"{limits_text(one, say, digits)} {sources.number(one)}".strip(), *known))


def family(one: Finding) -> tuple[str, str, str, str, str]:
    """Return what makes findings share a row: event, severity, quantity, place and rule."""
    return (one.event or "", one.severity or "", one.quantity, one.where or "", one.rule)
