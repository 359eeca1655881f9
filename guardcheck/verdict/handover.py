"""What is known of a unit at hand-over: the check of the plan joined with the readings taken after the work.

A plan that conforms says nothing of the solder joints, so a line without a measurement keeps the sheet from reading as
conforming. A measurement settles what the simulation of the same quantity left open, and never what it showed to fail.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from guardcheck.errors import InputError
from guardcheck.formatting import line_rank, quantity_rank
from guardcheck.measure.readings import READABLE
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    Finding,
    Result,
)
from guardcheck.verdict.outcome import worst

PLAN_ONLY = "plan_only"
"""A headline of its own: every needed check conforms, but not every line of the finished unit was measured."""


READY, CONDITIONS, NOT_READY = "ready", "conditions", "not_ready"
"""How a unit changes hands: as it is, under rules of use that keep away what it would not stand, or not at all."""


@dataclass(frozen=True)
class Evidence:
    """Both results as one: `findings` without doubles, and what the readings settled, contradict or leave unmeasured.

    `outcome` is that of the sheet, `verdict` the key of its headline. `settled` and `contradicted` hold the findings of
    the plan; those settled count no more, those contradicted count as they were simulated. `unmeasured` names each line
    with the levels nobody measured on the finished unit; none named means no measurement of that line at all.
    """

    check: Result
    readings: Result | None
    findings: tuple[Finding, ...]
    settled: tuple[Finding, ...]
    contradicted: tuple[Finding, ...]
    lines: tuple[str, ...]
    unmeasured: tuple[tuple[str, tuple[str, ...]], ...]
    outcome: str
    verdict: str

    @property
    def state(self) -> str:
        """How the unit may change hands: only with everything needed shown, under conditions where there are any."""
        if self.outcome != CONFORMS:
            return NOT_READY
        return CONDITIONS if self.check.conditions else READY

    @property
    def counting(self) -> tuple[Finding, ...]:
        """The findings that decide: needed, and not settled by a measurement."""
        return tuple(one for one in self.findings if one.needed and one not in self.settled)

    @property
    def joined(self) -> Result:
        """One result with the findings that are still open or decided, for what arranges findings."""
        kept = tuple(one for one in self.findings if one not in self.settled)
        return replace(self.check, findings=kept, outcome=self.outcome)


def evidence(check: Result, readings: Result | None = None) -> Evidence:
    """Join a result of `check` with the result of `verify` for the same job.

    Raises `InputError` when one is of another command or bears no version, or the two are of different units, job files
    or parts: readings of another job prove nothing here.
    """
    _made_by(check, "check")
    if readings is not None:
        _made_by(readings, "verify")
        _same_job(check, readings)
    known = set(check.findings)
    measured = [] if readings is None else [one for one in readings.findings if one not in known]
    findings = (*check.findings, *measured)
    settled, contradicted = _against(check.findings, measured)
    lines = _lines(check, findings)
    unmeasured = _unmeasured(lines, findings)
    outcome = worst(one.outcome for one in findings if one.needed and one not in settled)
    if outcome == NOT_APPLICABLE and check.outcome != CONFORMS:
        outcome = check.outcome
    verdict = outcome
    if outcome == CONFORMS and unmeasured:
        outcome, verdict = NOT_PROVEN, PLAN_ONLY
    return Evidence(check, readings, findings, settled, contradicted, lines, unmeasured, outcome, verdict)


def _unmeasured(lines: Iterable[str], findings: Sequence[Finding]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return each line of which a needed level, or everything, is known by simulation only."""
    decided = {
        (one.line, one.quantity)
        for one in findings
        if one.needed and one.origin == MEASURED and one.outcome in (CONFORMS, DOES_NOT_CONFORM)
    }
    measured = {line for line, _ in decided}
    wanted = {
        (one.line, one.quantity)
        for one in findings
        if one.needed and one.quantity in READABLE and one.quantity.startswith("level.")
    }
    open_: list[tuple[str, tuple[str, ...]]] = []
    for line in lines:
        if line not in measured:
            open_.append((line, ()))
        elif gaps := tuple(sorted((q for at, q in wanted - decided if at == line), key=quantity_rank)):
            open_.append((line, gaps))
    return tuple(open_)


def _made_by(one: Result, command: str) -> None:
    """Refuse a result of another command: readings prove nothing of a plan, and a plan is no reading.

    A result that names no version was saved in the first format, without a digest: a row could be gone from it.
    """
    if one.command != command:
        problem = f"is a result of '{one.command[:20]}'; a result of '{command}' is wanted here"
        raise InputError(problem, key=command)
    if not one.guardcheck:
        problem = f"was saved without a digest, so nothing shows that it is whole; run '{command}' again"
        raise InputError(problem, key=command)


def _same_job(check: Result, readings: Result) -> None:
    if check.unit != readings.unit or check.job_sha256 != readings.job_sha256:
        raise InputError(
            "the readings were judged against another job file than the check; run both on the same job",
            key="readings",
        )
    before, now = ({(one.kind, one.name): one.sha256 for one in made.circuits} for made in (check, readings))
    if changed := sorted(name for (kind, name), content in now.items() if before.get((kind, name), content) != content):
        problem = f"'{changed[0]}' was changed between the check and the readings; run both on the same parts"
        raise InputError(problem, key="readings")


def _against(planned: Iterable[Finding], measured: Iterable[Finding]) -> tuple[tuple[Finding, ...], ...]:
    """Return the planned findings a reading settles, and those it contradicts."""
    proofs = {_subject(one): one for one in measured if one.origin == MEASURED and one.outcome == CONFORMS}
    settled, contradicted = [], []
    for one in planned:
        if one.needed and one.line is not None and one.origin != MEASURED:
            proof = proofs.get(_subject(one))
            if proof is not None and proof.guarded in (None, one.guarded):
                if one.outcome == NOT_PROVEN:
                    settled.append(one)
                elif one.outcome == DOES_NOT_CONFORM:
                    contradicted.append(one)
    return tuple(settled), tuple(contradicted)


def _subject(one: Finding) -> tuple[str | None, ...]:
    return (one.line, one.quantity, one.event, one.severity, one.where)


def _lines(check: Result, findings: Iterable[Finding]) -> tuple[str, ...]:
    named = {line for line, _, _ in check.plan if line} | {one.line for one in findings if one.line is not None}
    return tuple(sorted(named, key=line_rank))
