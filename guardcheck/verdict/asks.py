"""What an answer is still owed: the facts nobody declared, sorted by how many findings each would decide."""

from __future__ import annotations

from collections.abc import Iterable

from guardcheck.model import NOT_PROVEN, Finding, Quantity, Question

Subject = tuple[str, str | None, bool | None, str | None, str | None, str | None]


def asks_of(findings: Iterable[Finding], quantities: Iterable[Quantity]) -> tuple[Question, ...]:
    """Return one question for every unknown that leaves a needed finding not proven, that which decides most first."""
    unknowns: dict[Subject, tuple[str, ...]] = {
        (one.name, one.line or None, one.guarded, one.event, one.severity, one.where): one.unknowns
        for one in quantities
        if one.unknowns
    }
    found: dict[str, list[str]] = {}
    for one in findings:
        if one.needed and one.outcome == NOT_PROVEN:
            subject = (one.quantity, one.line, one.guarded, one.event, one.severity, one.where)
            for name in unknowns.get(subject, ()):
                found.setdefault(f"{one.line}.{name}" if one.line else name, []).append(one.id)
    questions = [
        Question(
            key=key,
            question=f"What is {key.rpartition('.')[2]}{f' of {line}' if (line := key.partition('.')[0]) else ''}?",
            where="read it at the part, or measure it, and write it into the job file",
            decides=len(ids),
            findings=tuple(sorted(ids)),
        )
        for key, ids in found.items()
    ]
    return tuple(sorted(questions, key=lambda one: (-one.decides, one.key)))
