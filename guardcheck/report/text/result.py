"""The result as text for a terminal: 80 columns, ASCII of our own, words before colour."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, KNOWN_BY, NOT_APPLICABLE, NOT_PROVEN, Result
from guardcheck.report.arrange.advice import (
    NO_REMEDY,
    NOTHING_TO_DO,
    computed_with,
    counts,
    headline,
    meaning,
    not_proven,
    to_do,
)
from guardcheck.report.arrange.explanations import captures
from guardcheck.report.arrange.view import Cell, Group, Row, Section, Table, outcome_word, sections
from guardcheck.report.arrange.words import COMMAND_TITLES, MARKS, STATE_WORDS, WORST_FIRST, clean
from guardcheck.report.text.grid import Paint, columns, indent, pad, row

NARROWEST, WIDEST = 72, 120
_GAP = 2
_OUTCOME = len("does not conform")
_WIDEST_VALUE = (0, 20, 14, 11)
"""By number of value columns: what still leaves room for quantity and limits at 80 columns."""
_DOUBT_MARKS = {"recalled": "[m]", "practice": "[p]"}
_COLOURS = {CONFORMS: "32", DOES_NOT_CONFORM: "1;31", NOT_PROVEN: "33", NOT_APPLICABLE: "2"}


def to_terminal(result: Result, *, width: int = 80, colour: bool = False) -> str:
    """Return the whole result as lines of at most `width` columns (72 to 120), ending in a newline.

    Colour, where wanted, only repeats what a word already says.
    """
    wide = min(WIDEST, max(NARROWEST, width))
    found = sections(result)
    lines = [
        *_head(result, wide, colour),
        *(line for section in found for line in _section(section, wide, colour)),
        *_legend(found, wide),
        *_advice(result, wide),
        *_open(result, wide),
        *_notes(
            "What the captures show",
            [f"{one.line}, {one.file}: {' '.join(one.seen)}" for one in captures(result)],
            wide,
        ),
        *_notes("Not examined", result.not_examined, wide),
        *_notes("Values outside their usual range", result.warnings, wide),
        *_notes("Cautions", result.cautions, wide),
        *_ending(result, wide, colour),
    ]
    return "\n".join(lines) + "\n"


def to_outcome(result: Result, *, width: int = 80, colour: bool = False) -> str:
    """Return the unit, the outcome and what it means, and nothing else."""
    wide = min(WIDEST, max(NARROWEST, width))
    return "\n".join([*indent(clean(result.unit), wide), *_verdict(result, wide, colour)]) + "\n"


def _paint(outcome: str, colour: bool) -> Paint | None:
    return (lambda text: f"\x1b[{_COLOURS[outcome]}m{text}\x1b[0m") if colour else None


def _head(result: Result, wide: int, colour: bool) -> Iterable[str]:
    kind = f", {clean(result.unit_kind)}" if result.unit_kind else ""
    title = COMMAND_TITLES.get(result.command, clean(result.command))
    yield from indent(f"{title}: {clean(result.unit)}{kind}", wide)
    yield "=" * wide
    yield from _verdict(result, wide, colour)


def _verdict(result: Result, wide: int, colour: bool) -> list[str]:
    word = headline(result).upper()
    lines = indent(meaning(result), wide, f"{word}: ", "  ")
    paint = _paint(result.outcome, colour)
    return lines if paint is None else [lines[0].replace(word, paint(word), 1), *lines[1:]]


def _section(section: Section, wide: int, colour: bool) -> Iterable[str]:
    tally = in_words(section.counts)
    for table in section.tables:
        yield ""
        yield from indent(f"{section.title}: {table.title[0].lower()}{table.title[1:]}", wide)
        yield from _table(table, wide, colour)
    yield from indent(f"{section.title}: {tally or 'nothing here is needed for the outcome'}.", wide)


def in_words(counts_: Mapping[str, int]) -> str:
    """Return ``does not conform 1, conforms 5``, leaving out what did not occur and what was not judged."""
    return ", ".join(f"{outcome_word(o)} {n}" for o, n in counts_.items() if n and o != NOT_APPLICABLE)


def _widths(table: Table, wide: int) -> list[int]:
    """Return the column widths: outcome fixed, values equal, the rest shared by quantity and limits."""
    rows = [entry for group in table.groups for entry in _shown(group)]
    value = max([9, *(columns(part) for r in rows for c in r.cells.values() for part in _cell(c, r.outcome))])
    value = min(value, _WIDEST_VALUE[len(table.states)])
    rest = wide - _OUTCOME - len(table.states) * (value + _GAP) - 2 * _GAP
    limit = min(max([12, *(columns(_limits(entry)) for entry in rows)]), 20, rest // 2)
    return [rest - limit, limit, *(value for _ in table.states), _OUTCOME]


def _table(table: Table, wide: int, colour: bool) -> Iterable[str]:
    widths = _widths(table, wide)
    heads = ["quantity", "limits", *(STATE_WORDS[state] for state in table.states), "outcome"]
    yield "-" * wide
    yield from row([[head] for head in heads], widths)
    yield "-" * wide
    for group in table.groups:
        if group.title is not None:
            yield from indent(group.title, wide)
        for entry in _shown(group):
            yield from _row(entry, table.states, widths, wide, colour)
    yield "-" * wide


def _shown(group: Group) -> Sequence[Row]:
    """Return the rows worth a terminal line: an event's margin speaks for its conforming and unjudged quantities."""
    if group.summary is None:
        return group.rows
    return [r for r in group.rows if r is group.summary or any(c.outcome in WORST_FIRST[:2] for c in r.cells.values())]


def _row(entry: Row, states: Sequence[bool | None], widths: Sequence[int], wide: int, colour: bool) -> Iterable[str]:
    cells = [[entry.title], [_limits(entry)]]
    cells += [_cell(entry.cells[state], entry.outcome) if state in entry.cells else ["-"] for state in states]
    cells.append([outcome_word(entry.outcome)] + (["for information"] if entry.judged and not entry.needed else []))
    paints = [None] * (len(cells) - 1) + [_paint(entry.outcome, colour)]
    yield from row(cells, widths, paints)
    if entry.judged:
        for reason in entry.why:
            yield from indent(reason, wide, "    ")
        if entry.remedy and entry.outcome in WORST_FIRST[:2]:
            yield from indent(entry.remedy, wide, "    Do: ")


def _limits(entry: Row) -> str:
    return f"{entry.limits} {_DOUBT_MARKS[entry.doubt]}" if entry.doubt else entry.limits


def _cell(cell: Cell, outcome: str) -> list[str]:
    """Return a value with all that qualifies it, and a word where its outcome is not that of the row."""
    parts = [cell.value if cell.outcome == outcome else f"{cell.value} {MARKS[cell.outcome]}"]
    if cell.uncertainty is not None:
        parts.append(f"+/- {cell.uncertainty}")
    if cell.planned is not None:
        parts.append(f"planned {cell.planned}")
    return parts


def _legend(found: Sequence[Section], wide: int) -> Iterable[str]:
    rows = [entry for s in found for t in s.tables for g in t.groups for entry in _shown(g)]
    if not rows:
        return
    used = {cell.outcome for entry in rows for cell in entry.cells.values() if cell.outcome != entry.outcome}
    parts = [f"{MARKS[outcome]} {outcome_word(outcome)}" for outcome in WORST_FIRST if outcome in used]
    parts += [
        f"{mark} limit {KNOWN_BY[key]}" for key, mark in _DOUBT_MARKS.items() if any(r.doubt == key for r in rows)
    ]
    if any(cell.uncertainty for entry in rows for cell in entry.cells.values()):
        parts.append("+/- expanded uncertainty, k = 2")
    if parts:
        yield ""
        yield from indent("; ".join(parts), wide, "Marks: ")


def _advice(result: Result, wide: int) -> Iterable[str]:
    yield from _title("What to do")
    found = to_do(result)
    if not found:
        bad = result.outcome in WORST_FIRST[:2]
        yield from indent(NO_REMEDY if bad else NOTHING_TO_DO, wide, "  ")
    for number, item in enumerate(found, 1):
        lead = pad(f"{number:>2}.", 4)
        yield from indent(item.text, wide, lead)
        yield from indent(f"{'; '.join(item.subjects)} ({outcome_word(item.outcome)})", wide, "    ")


def _open(result: Result, wide: int) -> Iterable[str]:
    yield from _title("Not proven")
    found = not_proven(result)
    if not found:
        yield "  No check was left open."
    for item in found:
        yield from indent(item.reason + ("" if item.needed else " (for information)"), wide, "  - ")
        yield from indent("; ".join(item.subjects), wide, "    ")


def _notes(title: str, notes: Sequence[str], wide: int) -> Iterable[str]:
    if notes:
        yield from _title(title)
        for note in notes:
            yield from indent(clean(note), wide, "  - ")


def _title(text: str) -> Iterable[str]:
    yield ""
    yield text
    yield "-" * len(text)


def _ending(result: Result, wide: int, colour: bool) -> Iterable[str]:
    tally = in_words(counts(result))
    yield ""
    yield "=" * wide
    yield from _verdict(result, wide, colour)
    yield from indent(f"Needed checks: {tally or 'none'}. {computed_with(result)}", wide, "  ")
