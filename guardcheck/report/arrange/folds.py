"""The page's folds: alike lines in one, the worst of them in each row, the answer in the heading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, STRIKE, Finding, Result
from guardcheck.report.arrange.answer import line_groups
from guardcheck.report.arrange.line import event_words
from guardcheck.report.arrange.view import Group, Section, Table, event_title, sections
from guardcheck.report.arrange.words import WORST_FIRST, clean
from guardcheck.verdict.claims import leads_of, tally

_COUNTED = {DOES_NOT_CONFORM: "do not conform", NOT_PROVEN: "not proven", CONFORMS: "conform"}
_SAID = {DOES_NOT_CONFORM: "does not conform", NOT_PROVEN: "not proven", CONFORMS: "conforms", NOT_APPLICABLE: ""}
SIGNAL = ("waveform", "response", "samples")
"""Kinds of curves that stand beside the levels."""


@dataclass(frozen=True, slots=True)
class Fold:
    """One table behind its heading; `said` is the answer, `key` names its curves (an event, or ``signal``)."""

    title: str
    said: str
    outcome: str
    table: Table
    curves: tuple[str, ...]
    paper: bool
    rule: bool = False


@dataclass(frozen=True, slots=True)
class LineFolds:
    """All folds of lines that are alike, or of the unit (`line` None)."""

    section: Section
    lines: tuple[str, ...]
    folds: tuple[Fold, ...]


def line_folds(result: Result) -> tuple[LineFolds, ...]:
    """Return the folds of every group of alike lines, the unit as a whole last."""
    groups = {names[0]: names for names in line_groups(result)}
    merged = replace(result, findings=_merged(result, groups), curves=())
    strikes = {event_title(one.event or "", one.severity or "") for one in result.findings if one.use == STRIKE}
    said = {
        event_title(one.event, one.severity or ""): event_words(result, one) for one in merged.findings if one.event
    }
    leads = leads_of(result.schematics)
    found = []
    for section in sections(merged):
        ruled: dict[str, str] = {}
        for one in merged.findings:
            if one.line == section.line and one.condition is not None and one.event:
                title = event_title(one.event, one.severity or "")
                ruled[title] = min(ruled.get(title, one.outcome), one.outcome, key=WORST_FIRST.index)
        names = groups.get(section.line or "", ())
        mine = [one for one in result.findings if one.line in names or (section.line is None and one.line is None)]
        paper = section.line == next(iter(groups), "")
        told, counted = _Events(said, ruled), _Counted(mine, leads)
        found.append(_of_section(section, names, strikes, told, counted, paper=paper))
    return tuple(found)


@dataclass(frozen=True)
class _Events:
    """What events are called at the bench, and the worst outcome of those a rule of use keeps away."""

    said: Mapping[str, str]
    ruled: Mapping[str, str]


@dataclass(frozen=True)
class _Counted:
    """The findings of alike lines, each its own, and what makes lines alike: what a heading counts."""

    findings: Sequence[Finding]
    leads: Mapping[str, str]

    def of(self, table: Table) -> Mapping[str, int]:
        """Return how many claims of a table that is no event's have each outcome."""
        single = table.states == (None,)
        return tally(
            [one for one in self.findings if one.event is None and (one.guarded is None) == single], self.leads
        )


def _merged(result: Result, groups: dict[str, tuple[str, ...]]) -> tuple[Finding, ...]:
    """Return the findings with those of alike lines as one: the worst, the one in its first line's name."""
    lead = {line: first for first, names in groups.items() for line in names}
    found: dict[str, list[Finding]] = {}
    for one in result.findings:
        moved = one if one.line is None else replace(one, line=lead.get(one.line, one.line))
        found.setdefault(moved.id, []).append(moved)

    def rank(one: Finding) -> tuple[bool, int]:
        return not (one.needed or one.condition), WORST_FIRST.index(one.outcome)

    return tuple(min(alike, key=rank) for alike in found.values())


def _of_section(
    section: Section, names: tuple[str, ...], strikes: set[str], events: _Events, counted: _Counted, *, paper: bool
) -> LineFolds:
    title = ", ".join(clean(name) for name in names) if names else section.title
    section = replace(section, title=title)
    folds: list[Fold] = []
    for table in section.tables:
        if not table.events:
            curves = () if folds else SIGNAL
            folds.append(_fold(table.title, table, curves, counted.of(table), paper=paper and not folds))
            continue
        counting = [group for group in table.groups if group.title not in strikes]
        others = [group for group in table.groups if group.title in strikes]
        made = [_event_fold(table, group, events) for group in counting]
        folds += sorted(made, key=lambda fold: (fold.rule, WORST_FIRST.index(fold.outcome)))
        if others:
            kept = replace(table, title="Strikes and charged leads, for information", groups=_judged(others))
            folds.append(_fold(kept.title, kept, (), None, paper=False))
    return LineFolds(section, names, tuple(folds))


def _judged(groups: Sequence[Group]) -> tuple[Group, ...]:
    """Return the groups without the rows that were held against nothing: the full record has those."""
    kept = (replace(group, rows=tuple(row for row in group.rows if row.judged)) for group in groups)
    return tuple(group for group in kept if group.rows)


def _event_fold(table: Table, group: Group, events: _Events) -> Fold:
    title = group.title or table.title
    one = replace(table, title=events.said.get(title, title), groups=_judged([replace(group, title=None)]))
    fold = _fold(one.title, one, (f"event:{title}",), None, paper=False)
    if title not in events.ruled:
        return fold
    return replace(fold, said="a mistake, kept away by a rule of use", outcome=events.ruled[title], rule=True)


def _fold(title: str, table: Table, curves: tuple[str, ...], counted: Mapping[str, int] | None, *, paper: bool) -> Fold:
    """Return a fold; its heading counts claims, or says one word of an event: its levels are one claim together."""
    rows = [row for group in table.groups for row in group.rows if row.judged]
    needed = [row for row in rows if row.needed]
    outcome = min((row.outcome for row in needed or rows), key=WORST_FIRST.index, default="not_applicable")
    if not rows:
        said = "shown for information"
    elif not needed:
        said = "decides nothing"
    elif counted is None:
        said = _SAID[outcome]
    else:
        said = ", ".join(f"{counted[one]} {word}" for one, word in _COUNTED.items() if counted[one])
    return Fold(title, said, outcome, table, curves, paper)
