"""Which reading to take next: the one that settles most of what is open, or tells the likeliest causes apart.

Every open finding of `verify` is one reading away from a decision, or several. A reading counts for what it decides:
its own finding, and what needs it beside others (the match between the lines of one picture needs the last white). Of
readings that decide alike the one comes first that is likelier to decide at all: the share of simulated builds whose
level a usual instrument could tell from the limits.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from guardcheck.formatting import line_rank, quantity_rank
from guardcheck.model import CONFORMS, NOT_PROVEN, QUANTITIES, Limit, Question
from guardcheck.pipeline.judgement import MISMATCH, READ_IT, READ_SO, Row
from guardcheck.verification.diagnosis import Explanation
from guardcheck.verification.plan import Plan
from guardcheck.verification.sentences import next_step

USUAL, USUAL_LEAST = 0.045, 5e-3
"""Expanded uncertainty of a hand scope's level: 3 % of gain, a tenth of a division at both ends (GUM, k = 2), and its
floor [V]."""


def readings_to_take(
    plans: Mapping[str, Plan], rows: Mapping[str, Sequence[Row]], explained: Mapping[str, Explanation]
) -> tuple[Question, ...]:
    """Return what to read next, that which decides most first; nothing that is settled is asked again.

    Parameters
    ----------
    plans : the lines as built, by name
    rows : what was measured of each line and what is owed, with its findings
    explained : what explains wrong readings, by line name

    """
    ranked = [_of_causes(found, rows[name]) for name, found in explained.items()]
    ranked += [one for name, found in rows.items() for one in _owed(plans, rows, name, found)]
    order = sorted(ranked, key=lambda one: (-one[0].decides, -one[1], *one[2]))
    return tuple(question for question, _, _ in order)


_Ranked = tuple[Question, float, tuple[object, ...]]


def _of_causes(found: Explanation, rows: Sequence[Row]) -> _Ranked:
    """Return the reading that tells the causes of a wrong line apart: it decides all that is wrong with the line."""
    ids = tuple(sorted(row.finding.id for row in rows if row.troubled))
    what = "resistance" if found.next is not None and found.next.unit == "ohm" else "level"
    question = Question(f"reading:{found.line}/{what}", f"Why is {found.line} wrong?", next_step(found), len(ids), ids)
    return question, 1.0, (line_rank(found.line), (-1, ""))


def _owed(
    plans: Mapping[str, Plan], rows: Mapping[str, Sequence[Row]], line: str, found: Iterable[Row]
) -> list[_Ranked]:
    out: list[_Ranked] = []
    for row in found:
        one = row.finding
        if not one.needed or one.outcome != NOT_PROVEN:
            continue
        ids = [one.id, *_needs_it_too(plans, rows, line, one.quantity)]
        title = QUANTITIES[one.quantity].title
        question = Question(
            f"reading:{line}/{one.quantity}",
            f"What is the {title} of {line}?",
            one.remedy or READ_SO.get(one.quantity, READ_IT),
            len(ids),
            tuple(sorted(ids)),
        )
        chance = _decided(plans[line], one.quantity, one.limit)
        out.append((question, chance, (line_rank(line), quantity_rank(one.quantity))))
    return out


def _needs_it_too(plans: Mapping[str, Plan], rows: Mapping[str, Sequence[Row]], line: str, quantity: str) -> list[str]:
    """Return the match of a picture's lines, where this white is the last one it waits for."""
    group = plans[line].standard.group
    if quantity != "level.white" or group is None or MISMATCH not in plans[line].standard.quantities:
        return []
    members = [name for name, plan in plans.items() if plan.standard.group == group]
    waiting = [name for name in members if not any(_white(row) for row in rows[name])]
    if len(members) < 2 or waiting != [line]:
        return []
    state = {True: "guarded", False: "bare"}
    return [f"LVL01/{name}/{state[plans[name].guarded]}/{MISMATCH}" for name in members]


def _white(row: Row) -> bool:
    return row.finding.quantity == "level.white" and row.measured.usable and row.finding.outcome == CONFORMS


def _decided(plan: Plan, quantity: str, limit: Limit | None) -> float:
    """Return the share of simulated builds whose level a usual instrument would tell from the limits."""
    found = plan.quantities.get(quantity)
    if found is None or found.value is None or limit is None:
        return 0.0
    samples = found.samples if found.samples is not None else np.array([found.value, *(found.spread or ())])
    levels = samples[np.isfinite(samples)]
    if not len(levels):
        return 0.0
    width = np.maximum(USUAL * np.abs(levels), USUAL_LEAST)
    near = np.zeros(len(levels), dtype=bool)
    for end in (limit.low, limit.high):
        if end is not None:
            near |= np.abs(levels - end) < width
    return float(np.mean(~near))
