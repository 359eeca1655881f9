"""What the reader must act on or must not overlook: remedies, what is not proven, and where each limit comes from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from guardcheck.formatting import limits, line_rank, quantity_rank
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    KNOWN_BY,
    NOT_APPLICABLE,
    NOT_PROVEN,
    Finding,
    Result,
)
from guardcheck.report.arrange.view import subject
from guardcheck.report.arrange.words import (
    OUTCOME_WORDS,
    WHOLE_UNIT,
    WORST_FIRST,
    clean,
    doubt,
    quantity_title,
    sentence,
)
from guardcheck.verdict.claims import leads_of, tally

_BAD = WORST_FIRST[:2]
NO_REASON = "No reason was given."
NO_REMEDY = "No ready remedy is known; the reasons stand beside each value."
NOTHING_TO_DO = "No needed check asks for a change."


@dataclass(frozen=True, slots=True)
class Advice:
    """One thing to do, and what it is for."""

    text: str
    outcome: str
    subjects: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Open:
    """One reason why something is not proven, and everything it leaves open."""

    reason: str
    needed: bool
    subjects: tuple[str, ...]
    count: int


@dataclass(frozen=True, slots=True)
class Citation:
    """One limit with its origin, and the lines it was used for."""

    quantity: str
    limits: str
    lines: str
    reference: str
    known: str
    doubtful: bool
    note: str | None


def to_do(result: Result) -> tuple[Advice, ...]:
    """Return the remedies of needed findings that do not conform or are not proven, each once, the worst first."""
    families: dict[str, list[Finding]] = {}
    for finding in _in_order(result.findings):
        if finding.needed and finding.remedy and finding.outcome in _BAD:
            families.setdefault(sentence(finding.remedy), []).append(finding)
    advice = [
        Advice(text, min((f.outcome for f in found), key=WORST_FIRST.index), _subjects(found))
        for text, found in families.items()
    ]
    return tuple(sorted(advice, key=lambda item: WORST_FIRST.index(item.outcome)))


def not_proven(result: Result) -> tuple[Open, ...]:
    """Return every reason why a finding is not proven, with what it leaves open; needed findings first."""
    families: dict[tuple[bool, str], list[Finding]] = {}
    for finding in _in_order(result.findings):
        if finding.outcome == NOT_PROVEN:
            families.setdefault((finding.needed, _reason(finding.why)), []).append(finding)
    found = [Open(reason, needed, _subjects(group), len(group)) for (needed, reason), group in families.items()]
    return tuple(sorted(found, key=lambda item: not item.needed))


def _reason(why: str) -> str:
    """Return the reason without the words the heading above it says already."""
    return sentence(clean(why).removeprefix("Not proven: ")) or NO_REASON


def sources(result: Result) -> tuple[Citation, ...]:
    """Return every limit a finding was held against, with its origin, once per limit and origin."""
    families: dict[tuple[str, str, str, str, bool, str | None], list[Finding]] = {}
    for finding in result.findings:
        low, high = finding.bounds
        numberless = low is None and high is None
        if numberless and finding.outcome == NOT_APPLICABLE:
            continue
        text = "no number" if numberless else limits(low, high, finding.unit)
        limit = finding.limit
        if limit is None:
            continue
        cited = limit.reference if limit.clause is None else f"{limit.reference}, {limit.clause}"
        known, note = KNOWN_BY.get(limit.known_by, clean(limit.known_by)), limit.note
        key_ = (finding.quantity, text, clean(cited), known, doubt(finding) is not None, note and clean(note))
        families.setdefault(key_, []).append(finding)
    ordered = sorted(families, key=lambda key: (quantity_rank(key[0]), key[1], key[2], key[3], key[5] or ""))
    return tuple(
        Citation(quantity_title(k[0]), k[1], _lines(families[k]), k[2], k[3], doubtful=k[4], note=k[5]) for k in ordered
    )


def counts(result: Result) -> dict[str, int]:
    """Return how many claims that decide have each outcome, worst first; one fault is counted once."""
    return dict(tally(result.findings, leads_of(result.schematics)))


def meaning(result: Result) -> str:
    """Return in one or two sentences what the overall outcome means and what it does not."""
    found = counts(result)
    bad, unknown = found[DOES_NOT_CONFORM], found[NOT_PROVEN]
    judged = sum(count for outcome, count in found.items() if outcome != NOT_APPLICABLE)
    if result.outcome == DOES_NOT_CONFORM:
        rest = f" A further {unknown} could not be proven either way." if unknown else ""
        return f"{bad} of {judged} needed checks {_do(bad)} not conform.{rest} Do not go on as planned."
    if result.outcome == NOT_PROVEN:
        if not judged:
            return "No needed check has an answer. Not proven is not a pass."
        return f"Nothing needed fails, but {unknown} of {judged} needed checks cannot be proven. {NOT_A_PASS}"
    if result.outcome == CONFORMS:
        return f"All needed checks conform ({judged}). What was not examined is no part of this statement."
    return "Nothing here was held against a limit, so nothing was shown to be right."


NOT_A_PASS = "Not proven is not a pass."


def _do(count: int) -> str:
    return "does" if count == 1 else "do"


def headline(result: Result) -> str:
    """Return the overall outcome in words, with how many conditions of use it holds under."""
    word, count = OUTCOME_WORDS[result.outcome], len(result.conditions)
    if result.outcome != CONFORMS or not count:
        return word
    return f"{word} under {count} condition{'' if count == 1 else 's'}"


def computed_with(result: Result) -> str:
    """Return by what the numbers were made, in one sentence."""
    if result.engine is None:
        return "No simulator took part."
    engine = f"{clean(result.engine.name)} {clean(result.engine.version)}".strip()
    return f"Computed in {engine}, {result.n_samples} samples, seed {result.seed}."


def _in_order(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda f: (line_rank(f.line), quantity_rank(f.quantity), f.id))


def _subjects(findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return ``red: guarded white level, guarded headroom`` for each line, in bench order."""
    by_line: dict[str | None, list[str]] = {}
    for finding in findings:
        by_line.setdefault(finding.line, []).append(subject(finding))
    return tuple(
        f"{WHOLE_UNIT if line is None else clean(line)}: {', '.join(dict.fromkeys(by_line[line]))}"
        for line in sorted(by_line, key=line_rank)
    )


def _lines(findings: Sequence[Finding]) -> str:
    lines = sorted({finding.line for finding in findings}, key=line_rank)
    return ", ".join("unit" if line is None else clean(line) for line in lines)
