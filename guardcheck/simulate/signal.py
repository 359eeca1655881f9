"""The wanted signal of many lines at once: levels, responses, headroom and, where they are drawn, curves."""

from __future__ import annotations

from collections.abc import Sequence

from guardcheck.engine import Engine
from guardcheck.simulate.batch import run_once
from guardcheck.simulate.clipping import headrooms
from guardcheck.simulate.comparison import Solved
from guardcheck.simulate.curves import curves_of, drawing_decks
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.levels import level_quantities, solve
from guardcheck.simulate.response import studies_of
from guardcheck.simulate.rest import rest_decks, unrest, unsettled


def solve_signals(engine: Engine, experiments: Sequence[Experiment], *, drawn: bool = True) -> tuple[Solved, ...]:
    """Return everything the standards of these lines ask of the wanted signal; `drawn` asks for curves as well."""
    groups = solve(engine, experiments)
    studies = [studies_of(one, group) for one, group in zip(experiments, groups, strict=True)]
    drawings = [drawing_decks(one) if drawn else () for one in experiments]
    decks = [deck for made in studies for study in made for deck in study.decks]
    decks += [deck for drawing in drawings for deck in drawing]
    rests = [rest_decks(one, group[0]) for one, group in zip(experiments, groups, strict=True)]
    decks += [deck for pushed in rests for deck in pushed]
    traces = iter(run_once(engine, decks))
    read = [[found for study in made for found in study.read([next(traces) for _ in study.decks])] for made in studies]
    curves = [
        curves_of(one, group[0], (next(traces), next(traces))) if drawn else ()
        for one, group in zip(experiments, groups, strict=True)
    ]
    why = [unrest(pushed, [next(traces) for _ in pushed]) for pushed in rests]
    room = headrooms(engine, groups)
    return tuple(
        Solved(
            one,
            group,
            unsettled((*level_quantities(group), *found, *((left,) if left is not None else ())), leaves),
            lines,
            leaves,
        )
        for one, group, found, left, lines, leaves in zip(experiments, groups, read, room, curves, why, strict=True)
    )
