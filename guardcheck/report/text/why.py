"""`--line` and `--why`: the rows of one line, and everything known of one finding."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.formatting import limits, show, span
from guardcheck.model import KNOWN_BY, SAME, Finding, Result
from guardcheck.report.arrange.answer import line_groups
from guardcheck.report.arrange.line import event_words
from guardcheck.report.arrange.view import outcome_word, subject
from guardcheck.report.arrange.words import WORST_FIRST, clean, sentence
from guardcheck.report.text.grid import indent

_WIDE = 80
_MOST = 12


def chosen(result: Result, words: str) -> tuple[Finding, ...]:
    """Return the findings whose id holds every one of these words, an exact id alone, the worst and needed first.

    Raises `InputError` when there is none.
    """
    exact = [one for one in result.findings if one.id == words]
    if exact:
        return tuple(exact)
    parts = words.casefold().split()
    found = [one for one in result.findings if all(part in one.id.casefold() for part in parts)]
    if not found:
        raise InputError(f"no finding has '{clean(words)}' in its id; --all and --json show the ids", key="--why")
    return tuple(sorted(found, key=lambda one: (not one.needed, WORST_FIRST.index(one.outcome), one.id)))


def to_why(result: Result, words: str) -> str:
    """Return everything known of one finding; where the words fit several, of the first, and the ids of the others."""
    first, *others = chosen(result, words)
    lines = list(_told(result, first))
    if others:
        lines += ["", f"{len(others)} more with these words, such as:"]
        ids = [f"{one.id} ({outcome_word(one.outcome)})" for one in others[:_MOST]]
        lines += [line for text in ids for line in indent(text, _WIDE, "  ")]
    return "\n".join(lines) + "\n"


def _told(result: Result, one: Finding) -> Iterable[str]:
    yield from indent(clean(one.id), _WIDE)
    yield "=" * _WIDE
    whose = f"{clean(one.line)}, " if one.line else ""
    yield from indent(sentence(f"{whose}{subject(one)}: {outcome_word(one.outcome)}"), _WIDE)
    low, high = one.bounds
    rows = [("value", show(one.value, one.unit)), ("limits", limits(low, high, one.unit))]
    rows += [("worst case", span(one.spread, one.unit))] if one.spread else []
    rows += [("95 % of builds", span(one.interval, one.unit))] if one.interval else []
    rows += [("uncertainty", f"{show(one.uncertainty, one.unit, 2)} (k = 2)")] if one.uncertainty is not None else []
    rows += [("planned", show(one.planned, one.unit))] if one.planned is not None else []
    rows += [("event", event_words(result, one))] if one.event else []
    if one.against_original:
        than = "as" if one.against_original == SAME else "than"
        told = f"{clean(one.against_original)} {than} the original ({show(one.original, one.unit)})"
        rows.append(("original", told))
    rows.append(("counts", "yes" if one.needed else "no: a rule of use or for information"))
    for name, text in rows:
        yield from indent(text, _WIDE, f"  {name:<15}")
    yield ""
    yield from indent(sentence(one.why), _WIDE)
    if one.condition:
        yield from indent(sentence(one.condition), _WIDE, "Rule of use: ")
    if one.remedy:
        yield from indent(sentence(one.remedy), _WIDE, "Do: ")
    if one.limit is not None:
        known = KNOWN_BY.get(one.limit.known_by, clean(one.limit.known_by))
        yield from indent(f"{clean(one.limit.cited())} ({known})", _WIDE, "Source: ")
    elif one.reference:
        yield from indent(clean(one.reference), _WIDE, "Source: ")


def only_line(result: Result, name: str) -> Result:
    """Return the result with the findings, curves and pictures of one line, or of the unit (``unit``).

    Raises `InputError` for a line the result has not, with the nearest one.
    """
    names = [line for group in line_groups(result) for line in group]
    if name not in (*names, "unit"):
        known = accepted([*names, "unit"])
        raise InputError(f"no line '{clean(name)}'; accepted: {known}{nearest(name, names)}", key="--line")
    line = None if name == "unit" else name
    return replace(
        result,
        findings=tuple(one for one in result.findings if one.line == line),
        curves=tuple(one for one in result.curves if one.line == line),
        schematics=tuple(one for one in result.schematics if line in one.lines),
    )
