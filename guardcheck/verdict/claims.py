"""How many claims findings make: one fault is counted once, however many lines, levels or quantities repeat it.

Counting only: every finding stays a row of the result. Lines that are the same circuit share what is simulated of them,
what was measured is each line's own. Levels of one event in volts are one claim, its hardest level that holds; an
output impedance and the return loss it implies are one as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache

from guardcheck.errors import GuardcheckError
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    SIMULATED,
    Finding,
    Schematic,
)
from guardcheck.units import parse
from guardcheck.verdict.outcome import worst

SAME_FAULT: Mapping[str, str] = {"response.return_loss": "response.impedance"}
"""Quantities that say again what another one says: a window of impedance is a return loss."""
Claim = tuple[Finding, ...]


def leads_of(schematics: Iterable[Schematic]) -> Mapping[str, str]:
    """Return for each line drawn the first of those that are the same circuit."""
    return {line: one.lines[0] for one in schematics for line in one.lines}


def claims_of(findings: Iterable[Finding], leads: Mapping[str, str]) -> tuple[Claim, ...]:
    """Return the findings, those that are one claim together, in the order of their first.

    Parameters
    ----------
    findings : those to be counted
    leads : for a line, the one that stands for all that are the same circuit; see `leads_of`

    """
    found: dict[tuple[object, ...], list[Finding]] = {}
    for one in findings:
        shared = one.line is not None and one.origin == SIMULATED
        found.setdefault(
            (
                one.rule,
                leads.get(one.line, one.line) if shared and one.line is not None else one.line,
                one.guarded,
                SAME_FAULT.get(one.quantity, one.quantity),
                one.event,
                one.use,
                None if one.event is not None and _is_level(one.severity) else one.severity,
                one.where,
                one.origin,
            ),
            [],
        ).append(one)
    return tuple(tuple(alike) for alike in found.values())


def outcomes_of(findings: Iterable[Finding], leads: Mapping[str, str]) -> Sequence[str]:
    """Return the outcome of each claim that decides: the worst of its findings."""
    needed = (one for one in findings if one.needed)
    return [worst(one.outcome for one in claim) for claim in claims_of(needed, leads)]


def tally(findings: Iterable[Finding], leads: Mapping[str, str]) -> Mapping[str, int]:
    """Return how many claims that decide have each outcome, worst first: the one count every page shows.

    Parameters
    ----------
    findings : those to be counted
    leads : for a line, the one that stands for all that are the same circuit; see `leads_of`

    """
    outcomes = outcomes_of(findings, leads)
    return {one: outcomes.count(one) for one in (DOES_NOT_CONFORM, NOT_PROVEN, CONFORMS, NOT_APPLICABLE)}


@lru_cache(maxsize=256)  # a job has a handful of words, and a word that is no voltage is explained at length
def _is_level(severity: str | None) -> bool:
    """Tell whether a severity is a voltage, so that a harder one includes the softer."""
    if severity is None:
        return False
    try:
        parse(severity, "V")
    except GuardcheckError:
        return False
    return True
