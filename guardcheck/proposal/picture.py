"""The lines of one picture beside each other: builds that are right one by one may still give a wrong colour."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from guardcheck.engine import Engine
from guardcheck.formatting import show
from guardcheck.measure import decibels, level_rows
from guardcheck.model import LineProposals
from guardcheck.simulate.levels import solve
from guardcheck.simulate.planning import JobPlan, LinePlan

MISMATCH, WHITE = "level.mismatch", "level.white"


def beside(engine: Engine, plan: JobPlan, found: Sequence[LineProposals]) -> tuple[LineProposals, ...]:
    """Return the proposals, each with a note where its best white is too far from that of another line of the picture.

    Lines without a proposal count as they are planned.

    Parameters
    ----------
    engine : a running engine
    plan : the job as planned
    found : the proposals of its lines

    """
    best = {line: one.builds[0].white for one in found if one.builds for line in one.lines}
    whites = {line: white.value for line, white in best.items() if white is not None}
    groups: dict[str, list[LinePlan]] = {}
    for each in plan.lines:
        if each.standard.group is not None and MISMATCH in each.standard.limits:
            groups.setdefault(each.standard.group, []).append(each)
    touched = [each for members in groups.values() if any(one.name in whites for one in members) for each in members]
    known = _planned(engine, [each for each in touched if each.name not in best]) | whites
    notes = {one.name: note for members in groups.values() for note in (_apart(members, known),) for one in members}
    return tuple(
        replace(one, notes=(*one.notes, notes[one.line])) if one.builds and notes.get(one.line) else one
        for one in found
    )


def _planned(engine: Engine, lines: Iterable[LinePlan]) -> dict[str, float]:
    """Return the nominal white of lines as they are planned [V]; those that cannot be solved are left out."""
    ready = [one for one in lines if not one.as_built.missing]
    experiments = [replace(one.experiment(one.as_built), builds=one.builds.nominal()) for one in ready]
    rows = [level_rows(group[0].experiment.states, group[0].volts) for group in solve(engine, experiments)]
    whites = {one.name: float(row[WHITE][0]) for one, row in zip(ready, rows, strict=True) if WHITE in row}
    return {name: white for name, white in whites.items() if white > 0.0}


def _apart(members: Sequence[LinePlan], whites: Mapping[str, float]) -> str:
    """Say how far the whites of one picture lie apart; nothing where that is allowed."""
    mine = sorted((whites[one.name], one.name) for one in members if one.name in whites)
    allowed = members[0].standard.limits[MISMATCH].high
    if len(mine) < 2 or allowed is None or mine[0][0] <= 0.0:
        return ""
    (low, darkest), (high, brightest) = mine[0], mine[-1]
    apart = decibels(high / low)
    if apart <= allowed:
        return ""
    return (
        f"White would be {show(low, 'V')} on {darkest} and {show(high, 'V')} on {brightest}, {apart:.1f} dB apart; at "
        f"most {allowed:g} dB keeps the colours: look for builds of these lines that give the same white."
    )
