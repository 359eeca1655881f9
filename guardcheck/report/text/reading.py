"""The short answer of `verify`: what was read beside what was planned, why it is wrong, and what to read next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardcheck.formatting import limits, line_rank, quantity_rank, show
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, Finding, Result
from guardcheck.report.arrange.explanations import ExplanationView, captures, explanations
from guardcheck.report.arrange.words import clean, quantity_title, sentence
from guardcheck.report.text.answer import WIDE, brief, fit, head_lines
from guardcheck.report.text.grid import columns, indent, pad

MOST_LINES = 40
_ROWS, _CAUSES, _CAUSES_ALONE, _THEN = 12, 4, 8, 3
_WIDTHS = (12, 15, 10, 9, 9, 17)
_LEVELS = 26
"""Widest list of levels beside a cause."""
_MISMATCH = "level.mismatch"


def to_short_reading(result: Result, *, job: str = "") -> str:
    """Return the short answer of a verification as text that ends in a newline; `job` is the job file as typed."""
    read = [one for one in result.findings if one.value is not None and one.quantity != _MISMATCH and one.line]
    read.sort(key=lambda one: (_order(one), line_rank(one.line), quantity_rank(one.quantity)))
    lines = [
        *head_lines(result, "finished unit, read"),
        *indent(_verdict(result, read), WIDE),
        "",
        _row(("", "", "read", "+/-", "planned", "allowed"), ""),
        *(_finding(one) for one in read[:_ROWS]),
    ]
    if len(read) > _ROWS:
        lines.append(f" {len(read) - _ROWS} more readings: --all")
    lines += [f" {one.line}, {one.file}: {fit(' '.join(one.seen), WIDE - 30)}" for one in captures(result)[:3]]
    ending = [*_mismatch(result), *_left(result), "", *_foot(result, job or result.job_file or "JOB")]
    found = explanations(result)
    room = MOST_LINES - len(lines) - len(ending)
    for one in found:
        share = max(3, room // max(1, len(found) - found.index(one)))
        told = list(_explained(one, _CAUSES if len(found) > 1 else _CAUSES_ALONE))
        told = told if len(told) <= share else [*told[: share - 2], "   more: --all", told[-1]]
        if len(told) > room:
            break
        lines += told
        room -= len(told)
    return "\n".join([*lines, *ending]) + "\n"


_TELLING = 9.995
"""Share of the plan from which on it is not told: beside next to nothing it says nothing."""
SCOPE = "Clip of a mains-powered scope = mains earth: to 0 V only, never to the mains side."
"""Told under every answer that may ask for another live reading."""


def _order(one: Finding) -> int:
    return 1 if one.outcome == CONFORMS else 0


def _verdict(result: Result, read: Sequence[Finding]) -> str:
    lines = sorted({one.line for one in result.findings if one.line is not None}, key=line_rank)
    wrong = sorted(
        {one.line or "" for one in read if one.outcome == DOES_NOT_CONFORM and one.quantity != _MISMATCH}, key=line_rank
    )
    unread = [line for line in lines if not any(one.line == line for one in read)]
    open_ = [one for one in result.findings if one.needed and one.value is None]
    parts = []
    if wrong:
        parts.append(f"{len(wrong)} OF {len(lines)} LINES {'IS' if len(wrong) == 1 else 'ARE'} WRONG: {_names(wrong)}.")
    elif result.outcome == CONFORMS:
        parts.append("CONFORMS: everything that was owed was read, and it is right.")
    elif result.outcome == DOES_NOT_CONFORM:
        parts.append("DOES NOT CONFORM.")
    else:
        parts.append("NOT PROVEN YET: nothing that was read is wrong.")
    if unread:
        parts.append(f"Not read: {_names(unread)}.")
    elif open_:
        parts.append(f"{len(open_)} reading{'' if len(open_) == 1 else 's'} still missing.")
    return " ".join(parts)


def _names(lines: Iterable[str]) -> str:
    return ", ".join(clean(line) for line in lines)


def _row(cells: Sequence[str], end: str) -> str:
    texts = [pad(fit(cell, width), width) for cell, width in zip(cells, _WIDTHS, strict=True)]
    return f" {''.join(texts)}{end}".rstrip()[:WIDE]


def _finding(one: Finding) -> str:
    low, high = one.bounds
    words = {CONFORMS: "", DOES_NOT_CONFORM: "x"}.get(one.outcome, "?")
    allowed = "" if low is None and high is None else limits(low, high, one.unit).replace(" to ", " - ")
    if one.outcome != CONFORMS and one.value is not None and one.planned and one.unit == "V":
        share = one.value / one.planned
        words = f"{100.0 * share:.0f} % {words}" if 0.0 <= share < _TELLING else words
    plain = quantity_title(one.quantity).removesuffix(" level").removesuffix(" amplitude")
    cells = (
        clean(one.line or ""),
        plain,
        show(one.value, one.unit),
        show(one.uncertainty, one.unit, 2),
        show(one.planned, one.unit),
        allowed,
    )
    return _row(cells, words)


def whole_values(values: Sequence[str], width: int) -> str:
    """Return as many of the values as fit, whole, and the first at any width: half a number is another number."""
    kept = list(values)
    while len(kept) > 1 and columns(", ".join(kept)) > width:
        kept.pop()
    return ", ".join(kept)


def _explained(one: ExplanationView, most: int) -> Iterable[str]:
    yield f"{one.line}, most likely first" if one.causes else f"{one.line}: none of {one.simulated} faults gives this"
    causes = one.causes[:most]
    levels = [whole_values(cause.levels, _LEVELS) for cause in causes]
    room = WIDE - 7 - max([9, *(columns(each) for each in levels)])
    for cause, told in zip(causes, levels, strict=True):
        yield f"  ({cause.mark}) {pad(fit(cause.what.rstrip('.'), room), room)} {told}".rstrip()
    if one.measure:
        expect = "   ".join(f"{value} -> {marks}" for value, marks in one.expect)
        yield from indent(f"{brief(one.measure, 120)}. {expect}", WIDE, "  NEXT READING: ")
        for then in one.then[:_THEN] if most == _CAUSES_ALONE else ():
            expect = "   ".join(f"{value} -> {marks}" for value, marks in then.expect)
            yield from indent(f"{brief(then.measure, 120)}. {expect}", WIDE, f"    at {then.after}: ")
    elif one.do:
        yield from indent(brief(one.do, 140), WIDE, "  DO: ")


def _mismatch(result: Result) -> Iterable[str]:
    found = [one for one in result.findings if one.quantity == _MISMATCH and one.outcome == DOES_NOT_CONFORM]
    wrong = {
        one.line
        for one in result.findings
        if one.quantity != _MISMATCH and one.value is not None and one.outcome != CONFORMS
    }
    innocent = sorted({one.line for one in found if one.line and one.line not in wrong}, key=line_rank)
    if innocent:
        are = "is" if len(innocent) == 1 else "are"
        yield f"{_names(innocent)} {are} not at fault for the mismatch: the others are."


def _left(result: Result) -> Iterable[str]:
    """Return what is still to be read, quantities together with the lines they miss on."""
    missing: dict[str, list[str]] = {}
    for one in result.findings:
        if one.needed and one.value is None and one.line is not None:
            missing.setdefault(quantity_title(one.quantity), []).append(one.line)
    parts = [f"{title} of {_names(sorted(lines, key=line_rank))}" for title, lines in missing.items()]
    if parts:
        yield from indent(sentence("; ".join(parts)), WIDE, "STILL TO READ  ")


def _foot(result: Result, job: str) -> Iterable[str]:
    yield from indent(SCOPE, WIDE)
    yield fit(f"Uncertainty k = 2. Budgets, reasons: guardcheck verify {clean(job)} ... --all", WIDE)
