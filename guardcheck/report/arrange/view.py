"""Findings arranged for a reader: one section per line, bare beside guarded, events grouped by severity.

Terminal and page draw the same arrangement, so they can never disagree about what a result says.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, count

from guardcheck.formatting import limits, line_rank, quantity_rank, share, show, span, telling_digits
from guardcheck.model import NOT_APPLICABLE, SIMULATED, Finding, Result
from guardcheck.report.arrange.words import (
    ORIGIN_WORDS,
    OUTCOME_WORDS,
    STATE_WORDS,
    WHOLE_UNIT,
    WORST_FIRST,
    clean,
    doubt,
    rule_word,
    sentence,
    topic,
)
from guardcheck.verdict.claims import tally
from guardcheck.verdict.outcome import worst

SUMMARY_QUANTITY = "event.margin"
"""The one quantity that stands for a whole event, and so leads its rows."""

_BAD = WORST_FIRST[:2]


@dataclass(frozen=True, slots=True)
class Cell:
    """One finding as shown: the value and everything that qualifies it, already in words (None = nothing to say)."""

    value: str
    outcome: str
    needed: bool
    uncertainty: str | None = None
    spread: str | None = None
    interval: str | None = None
    share: str | None = None
    planned: str | None = None
    origin: str | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity against one limit, with a cell per state (False bare, True guarded, None neither)."""

    title: str
    quantity: str
    rule: str
    limits: str
    doubt: str | None
    cells: Mapping[bool | None, Cell]
    outcome: str
    needed: bool
    why: tuple[str, ...]
    remedy: str | None

    @property
    def judged(self) -> bool:
        """True when some state was held against a limit, or should have been."""
        return any(cell.outcome != NOT_APPLICABLE for cell in self.cells.values())


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that belong together: one severity of one event, or (title None) the plain quantities."""

    title: str | None
    rows: tuple[Row, ...]

    @property
    def summary(self) -> Row | None:
        """The row that stands for the group, if it has one."""
        return next((row for row in self.rows if row.quantity == SUMMARY_QUANTITY), None)

    def outcome(self, state: bool | None) -> str:
        """Return the worst outcome of one state over the group."""
        return worst(row.cells[state].outcome for row in self.rows if state in row.cells)


@dataclass(frozen=True, slots=True)
class Table:
    """Groups drawn with the same columns; `states` are the value columns, in order."""

    title: str
    states: tuple[bool | None, ...]
    groups: tuple[Group, ...]
    events: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """All tables of one line, or of the unit as a whole (`line` None)."""

    line: str | None
    title: str
    slug: str
    outcome: str
    counts: Mapping[str, int]
    tables: tuple[Table, ...]


def sections(result: Result) -> tuple[Section, ...]:
    """Return one section per line in bench order, the unit as a whole last."""
    lines = {finding.line for finding in result.findings} | {curve.line for curve in result.curves}
    ordered = sorted(lines, key=line_rank)
    slugs = unique_slugs(WHOLE_UNIT if line is None else line for line in ordered)
    return tuple(
        _section(line, slug, [f for f in result.findings if f.line == line])
        for line, slug in zip(ordered, slugs, strict=True)
    )


def _section(line: str | None, slug: str, findings: Sequence[Finding]) -> Section:
    needed = [finding.outcome for finding in findings if finding.needed]
    return Section(
        line=line,
        title=WHOLE_UNIT if line is None else clean(line),
        slug=slug,
        outcome=worst(needed),
        counts=tally(findings, {}),
        tables=tuple(_tables(findings)),
    )


def _tables(findings: Sequence[Finding]) -> Iterable[Table]:
    wanted = (
        ("Levels, response and guard", False, False),
        ("Readings and facts", False, True),
        ("Stress events", True, False),
        ("Stress events, without bare and guarded", True, True),
    )
    for title, events, single in wanted:
        chosen = [f for f in findings if (f.event is not None) == events and (f.guarded is None) == single]
        if chosen:
            states = tuple(state for state in (None, False, True) if any(f.guarded is state for f in chosen))
            yield Table(title, states, _groups(chosen, events), events)


def _groups(findings: Sequence[Finding], events: bool) -> tuple[Group, ...]:
    if not events:
        return (Group(None, _rows(findings)),)
    keys = sorted({(f.event or "", f.severity or "") for f in findings}, key=lambda key: (key[0], natural(key[1])))
    return tuple(
        Group(event_title(*key), _rows([f for f in findings if (f.event or "", f.severity or "") == key]))
        for key in keys
    )


def _rows(findings: Sequence[Finding]) -> tuple[Row, ...]:
    families: dict[tuple[str, str, str], list[Finding]] = {}
    for finding in sorted(findings, key=lambda f: f.id):
        families.setdefault((finding.quantity, finding.where or "", finding.rule), []).append(finding)
    ordered = sorted(families, key=lambda key: (key[0] != SUMMARY_QUANTITY, quantity_rank(key[0]), key[1:]))
    return tuple(_row(families[key]) for key in ordered)


def _row(findings: Sequence[Finding]) -> Row:
    lead = decisive(findings)
    low, high = lead.bounds
    ends = [end for f in findings for end in f.bounds]
    digits = telling_digits([f.value for f in findings], ends, lead.unit)
    return Row(
        title=topic(lead.quantity, lead.where),
        quantity=lead.quantity,
        rule=rule_word(lead.rule),
        limits=limits(low, high, lead.unit, digits),
        doubt=doubt(lead),
        cells={f.guarded: _cell(f, digits) for f in findings},
        outcome=lead.outcome,
        needed=lead.needed,
        why=_reasons(lead, findings),
        remedy=sentence(lead.remedy) if lead.remedy else None,
    )


def decisive(findings: Sequence[Finding]) -> Finding:
    """Return the finding that speaks for its row: the worst needed one, else the guarded one, else the bare one."""
    needed = [finding for finding in findings if finding.needed]
    return min(
        needed or findings,
        key=lambda f: (WORST_FIRST.index(f.outcome) if needed else 0, f.guarded is not True, f.id),
    )


def _reasons(lead: Finding, findings: Sequence[Finding]) -> tuple[str, ...]:
    first = sentence(lead.why)
    others = (
        f"{STATE_WORDS[f.guarded].capitalize()}: {sentence(f.why)}"
        for f in findings
        if f is not lead and f.outcome in _BAD and sentence(f.why) != first
    )
    return (first, *others)


def _cell(finding: Finding, digits: int) -> Cell:
    unit = finding.unit
    value = show(finding.value, unit, digits)
    return Cell(
        value=f"about {value}" if finding.estimate and finding.value is not None else value,
        outcome=finding.outcome,
        needed=finding.needed,
        uncertainty=None if finding.uncertainty is None else show(finding.uncertainty, unit, 2),
        spread=_unless(value, finding.spread, unit, digits),
        interval=_unless(value, finding.interval, unit, digits),
        share=None if finding.yield_ is None else share(finding.yield_),
        planned=None if finding.planned is None else show(finding.planned, unit, digits),
        origin=None if finding.origin == SIMULATED else ORIGIN_WORDS.get(finding.origin, clean(finding.origin)),
    )


def _unless(value: str, ends: tuple[float, float] | None, unit: str, digits: int) -> str | None:
    """Return the interval in words, or None when it would only repeat the value."""
    text = None if ends is None else span(ends, unit, digits)
    return None if text == value else text


def subject(finding: Finding) -> str:
    """Return what a finding is about, without its line: ``guarded white level``, ``bare margin in hot-plug, 8 kV``."""
    state = "" if finding.guarded is None else f"{STATE_WORDS[finding.guarded]} "
    event = f" in {event_title(finding.event, finding.severity or '')}" if finding.event else ""
    return f"{state}{topic(finding.quantity, finding.where)}{event}"


def event_title(event: str, severity: str) -> str:
    """Return ``hot-plug, first contact``."""
    return ", ".join(clean(part) for part in (event, severity) if part)


def natural(text: str) -> tuple[tuple[int, float, str], ...]:
    """Return a sort key that puts ``2 kV`` before ``15 kV``."""
    parts = re.split(r"(\d+(?:\.\d+)?)", text)
    return tuple((0, float(part), "") if index % 2 else (1, 0.0, part) for index, part in enumerate(parts) if part)


def unique_slugs(names: Iterable[str]) -> list[str]:
    """Return a name fit for a file or an anchor for each name, all different."""
    taken: set[str] = set()
    slugs = []
    for name in names:
        base = re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")[:40] or "line"
        slug = next(s for s in chain([base], (f"{base}-{n}" for n in count(2))) if s not in taken)
        taken.add(slug)
        slugs.append(slug)
    return slugs


def outcome_word(outcome: str) -> str:
    """Return the word for an outcome."""
    return OUTCOME_WORDS[outcome]
