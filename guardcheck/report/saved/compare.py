"""What changed between two results, the worst first: an answer that is gone counts like one that got worse."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from guardcheck.errors import InputError
from guardcheck.formatting import limits, line_rank, quantity_rank, show, span
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, Finding, Result
from guardcheck.report.arrange.advice import counts
from guardcheck.report.arrange.view import outcome_word, subject
from guardcheck.report.arrange.words import WHOLE_UNIT, WORST_FIRST, clean, rule_word, sentence
from guardcheck.report.text.grid import indent
from guardcheck.report.text.result import in_words
from guardcheck.verdict.outcome import worst

WORSE, GONE, OPEN_NEW, MOVED, NEW, BETTER, ASIDE = "worse", "gone", "open", "moved", "new", "better", "aside"
KINDS: Mapping[str, str] = {
    WORSE: "Got worse",
    GONE: "No longer examined, or no longer counted",
    OPEN_NEW: "New, and not conforming",
    MOVED: "Moved",
    NEW: "New",
    BETTER: "Got better",
    ASIDE: "Added or removed rows (information only)",
}
"""Kinds of change with their headings, the worst first."""

_MOST_DIGITS = 6


@dataclass(frozen=True, slots=True)
class Change:
    """One finding that differs: `before` or `after` is None where the other result alone has it."""

    kind: str
    before: Finding | None
    after: Finding | None

    @property
    def needed(self) -> bool:
        """Tell whether it counts towards an outcome, then or now."""
        return any(one.needed for one in (self.before, self.after) if one is not None)

    @property
    def one(self) -> Finding:
        """The finding as it is now, or as it was when it is gone."""
        found = self.after or self.before
        assert found is not None
        return found


@dataclass(frozen=True)
class Difference:
    """All changes between two results, worst first; `same` findings did not change as far as they are shown."""

    changes: tuple[Change, ...]
    same: int
    circumstances: tuple[str, ...]


def compare(before: Result, after: Result, *, width: int = 80) -> str:
    """Return what changed from one result to the next as lines of at most `width` columns, ending in a newline.

    Raises `InputError` when the results are of different units: their differences would mean nothing.
    """
    wide = min(120, max(72, width))
    found = difference(before, after)
    lines = indent(f"Compared: {clean(before.unit)}", wide)
    lines += ["=" * wide, *indent(_outcomes(before, after), wide, "", "  ")]
    for kind, heading in KINDS.items():
        chosen = [change for change in found.changes if change.kind == kind]
        if chosen:
            lines += ["", f"{heading} ({len(chosen)})", "-" * wide]
            for change in chosen:
                lines += _entry(change, wide)
    if found.circumstances:
        lines += ["", "What else differs", "-" * wide]
        lines += [line for text in found.circumstances for line in indent(text, wide, "  - ")]
    tally = f"{len(found.changes)} findings changed, {found.same} did not change as far as they are shown."
    lines += ["", "=" * wide, *indent(tally, wide)]
    return "\n".join(lines) + "\n"


def worsened(before: Result, after: Result) -> str:
    """Return what a change for the worse came to: does_not_conform, not_proven, or conforms when nothing got worse.

    Only findings that decide count, then or now; one that is gone is not proven any more.
    """
    bad = [one for one in difference(before, after).changes if one.needed and one.kind in (WORSE, GONE, OPEN_NEW)]
    return (
        worst(
            NOT_PROVEN if one.after is None or one.after.outcome != DOES_NOT_CONFORM else DOES_NOT_CONFORM
            for one in bad
        )
        if bad
        else CONFORMS
    )


def difference(before: Result, after: Result) -> Difference:
    """Return every change between two results of one unit, the worst first. Raises `InputError` for two units."""
    if before.unit != after.unit:
        raise InputError(f"the results are of two units, {clean(before.unit)} and {clean(after.unit)}", key="unit")
    old, new = _by_id(before), _by_id(after)
    changes, same = [], 0
    for key in sorted(set(old) | set(new)):
        kind = _kind(old.get(key), new.get(key))
        if kind is None:
            same += 1
        else:
            changes.append(Change(kind, old.get(key), new.get(key)))
    return Difference(tuple(sorted(changes, key=_rank)), same, tuple(_circumstances(before, after)))


def _by_id(result: Result) -> dict[tuple[str, int], Finding]:
    """Return findings by id; a second one of the same id and origin keeps a number of its own, so that none is lost."""
    found: dict[tuple[str, int], Finding] = {}
    for one in result.findings:
        number = next(n for n in range(len(result.findings) + 1) if (one.id, n) not in found)
        found[(one.id, number)] = one
    return found


def _kind(before: Finding | None, after: Finding | None) -> str | None:
    if before is None:
        assert after is not None
        return {CONFORMS: NEW, NOT_APPLICABLE: ASIDE}.get(after.outcome, OPEN_NEW)
    if after is None:
        return ASIDE if before.outcome == NOT_APPLICABLE and not before.needed else GONE
    if before.needed and not after.needed:
        return GONE
    was, now = _standing(before), _standing(after)
    if was != now:
        return WORSE if now < was else BETTER
    return MOVED if _shown(before) != _shown(after) else None


def _standing(one: Finding) -> tuple[int, int]:
    """Return how a finding stands, higher is better: not applicable says nothing, so it ranks beside not proven."""
    rank = WORST_FIRST.index(NOT_PROVEN if one.outcome == NOT_APPLICABLE else one.outcome)
    return (rank, 0 if one.outcome == NOT_APPLICABLE and one.needed else 1)


def _shown(one: Finding) -> tuple[object, ...]:
    """Return what a reader sees of a finding; what differs beyond six digits is noise of the last bits."""
    low, high = one.bounds
    ends = (one.value, low, high, one.uncertainty, one.planned, *(one.spread or ()), *(one.interval or ()))
    numbers = tuple(show(end, one.unit, _MOST_DIGITS) for end in ends)
    return (numbers, one.outcome, one.needed, one.origin, one.estimate, bool(one.spread), bool(one.interval))


def _rank(change: Change) -> tuple[object, ...]:
    one = change.one
    return (
        list(KINDS).index(change.kind),
        not change.needed,
        WORST_FIRST.index(one.outcome),
        line_rank(one.line),
        quantity_rank(one.quantity),
        one.id,
    )


def _outcomes(before: Result, after: Result) -> str:
    was, now = outcome_word(before.outcome).upper(), outcome_word(after.outcome).upper()
    tallies = [in_words(counts(one)) or "nothing needed" for one in (before, after)]
    if was == now:
        return f"Still {now}. Needed checks before: {tallies[0]}; after: {tallies[1]}."
    return f"From {was} to {now}. Needed checks before: {tallies[0]}; after: {tallies[1]}."


def _entry(change: Change, wide: int) -> Iterator[str]:
    one = change.one
    place = WHOLE_UNIT if one.line is None else clean(one.line)
    aside = "" if change.needed else " (for information)"
    yield from indent(f"{place}: {subject(one)}, {rule_word(one.rule)}{aside}", wide, "  ", "    ")
    yield from indent(f"{_told(change.before)} -> {_told(change.after)}", wide, "    ")
    for text in _details(change.before, change.after):
        yield from indent(text, wide, "    ")
    if change.after is not None and change.kind in (WORSE, OPEN_NEW):
        yield from indent(sentence(change.after.why), wide, "    ")


def _told(one: Finding | None) -> str:
    if one is None:
        return "absent"
    value = "no value" if one.value is None else show(one.value, one.unit, 4)
    return f"{value}, {outcome_word(one.outcome)}"


def _details(before: Finding | None, after: Finding | None) -> Iterable[str]:
    if before is None or after is None:
        return
    pairs = (
        ("limits", limits(*before.bounds, before.unit, 4), limits(*after.bounds, after.unit, 4)),
        ("worst case", span(before.spread, before.unit, 4), span(after.spread, after.unit, 4)),
        ("95 % of builds", span(before.interval, before.unit, 4), span(after.interval, after.unit, 4)),
        ("uncertainty", show(before.uncertainty, before.unit, 2), show(after.uncertainty, after.unit, 2)),
        ("origin", clean(before.origin), clean(after.origin)),
        ("needed", _yes(before.needed), _yes(after.needed)),
    )
    yield from (f"{name}: {was} -> {now}" for name, was, now in pairs if was != now)


def _yes(flag: bool) -> str:
    return "yes" if flag else "no"


def _circumstances(before: Result, after: Result) -> Iterator[str]:
    """Return what the two results were made from and with, where it differs."""
    engines = [f"{one.engine.name} {one.engine.version}" if one.engine else "no simulator" for one in (before, after)]
    pairs = (
        ("command", before.command, after.command),
        ("simulator", *engines),
        ("seed", str(before.seed), str(after.seed)),
        ("samples", str(before.n_samples), str(after.n_samples)),
        ("job file, SHA-256", before.job_sha256[:12], after.job_sha256[:12]),
    )
    yield from (f"{name}: {clean(was) or 'none'} -> {clean(now) or 'none'}" for name, was, now in pairs if was != now)
    old = {(one.kind, one.name): one.sha256 for one in before.circuits}
    new = {(one.kind, one.name): one.sha256 for one in after.circuits}
    for key in sorted(set(old) | set(new)):
        if old.get(key) != new.get(key):
            change = "now used" if key not in old else "no longer used" if key not in new else "changed"
            yield f"{clean(key[0])} {clean(key[1])}: {change}"
    yield from _plans(before, after)
    notes = (
        ("not examined", before.not_examined, after.not_examined),
        ("caution", before.cautions, after.cautions),
        ("warning", before.warnings, after.warnings),
    )
    for name, was, now in notes:
        yield from _notes(name, was, now)


def _plans(before: Result, after: Result) -> Iterator[str]:
    old = {(line, what): told for line, what, told in before.plan}
    new = {(line, what): told for line, what, told in after.plan}
    for key in sorted(set(old) | set(new)):
        if old.get(key) != new.get(key):
            place = f"{clean(key[0])}: " if key[0] else ""
            yield f"{place}{clean(key[1])}: {clean(old.get(key, 'absent'))} -> {clean(new.get(key, 'absent'))}"


def _notes(name: str, before: Sequence[str], after: Sequence[str]) -> Iterator[str]:
    yield from (f"no longer {name}: {clean(text)}" for text in before if text not in after)
    yield from (f"now {name}: {clean(text)}" for text in after if text not in before)
