"""The levels of a line's picture: volts at every node and current through every resistor, of the nominal build."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import Drawn, drawn, emf_levels, level_deck
from guardcheck.engine import Engine
from guardcheck.model import Deck, Schematic, SchematicNode, SchematicPart, Trace
from guardcheck.model.schematic import GROUND, RAILS, RESISTOR, SUPPLY
from guardcheck.simulate.batch import run_once
from guardcheck.simulate.comparison import Solved
from guardcheck.simulate.experiment import Experiment, Plateaus

SHOWN = (("white", "black"), ("blank", "sync"))
"""Signal states a picture shows: the first pair its signal has."""
DIGITS = 6
"""Significant digits kept: finer than any picture of a line prints."""


@dataclass(frozen=True)
class _Asked:
    experiment: Experiment
    drawn: Drawn
    states: tuple[str, ...]
    deck: Deck


def schematics(
    engine: Engine, solved: Sequence[Solved], circuits: Mapping[str, object] = MappingProxyType({})
) -> tuple[Schematic, ...]:
    """Return one picture for each different circuit as built, lines that are alike together, in the job's order.

    Parameters
    ----------
    solved : the chains with their plateaus, bare and guarded; of a line with both the guarded one is drawn
    circuits : what else of each line must be equal for lines to count as alike

    """
    built: dict[str, _Asked] = {}
    for one in solved:
        chain = one.experiment.chain
        if chain.line not in built or chain.guarded:
            built[chain.line] = _asked(one.experiment, one.plateaus[0])
    traces = run_once(engine, [asked.deck for asked in built.values()])
    found: dict[tuple[object, ...], list[Schematic]] = {}
    for asked, trace in zip(built.values(), traces, strict=True):
        picture = _read(asked, trace)
        seen = (picture.parts, picture.path, picture.states, picture.titles, picture.rail)
        found.setdefault((circuits.get(picture.lines[0]), *seen), []).append(picture)
    return tuple(replace(alike[0], lines=tuple(one.lines[0] for one in alike)) for alike in found.values())


def _asked(one: Experiment, plateaus: Plateaus) -> _Asked:
    nominal = one.builds.nominal()
    states = next((pair for pair in SHOWN if set(pair) <= set(one.states)), one.states[:2])
    emf = emf_levels(one.chain, one.mapping, states, nominal)
    held = {name: np.asarray(volts)[:1] for name, volts in plateaus.held.items()}
    deck, _ = level_deck(one.chain, emf, nominal, held)
    picture = drawn(one.chain, one.builds)
    nodes = dict.fromkeys((*picture.path, *(node for part in picture.parts for node in part.nodes)))
    save = tuple(f"v({node})" for node in nodes if node != GROUND)
    return _Asked(one, picture, tuple(states), replace(deck, name=f"picture of {one.chain.line}", save=save))


def _read(one: _Asked, trace: Trace) -> Schematic:
    volts = _volts(trace, len(one.states))
    chain = one.experiment.chain
    path = tuple(
        SchematicNode(node, f"M{number}", _kept(volts.get(node), len(one.states)))
        for number, node in enumerate(one.drawn.path, 1)
    )
    order = {node: place for place, node in enumerate(one.drawn.path)}
    return Schematic(
        lines=(chain.line,),
        guarded=chain.guarded,
        states=one.states,
        path=path,
        parts=tuple(_with_current(part, volts, order, len(one.states)) for part in one.drawn.parts),
        titles=tuple((role, fitted.part.title) for role, fitted in chain.parts.items()),
        rail=chain.rail.nominal,
    )


def _volts(trace: Trace, states: int) -> Mapping[str, NDArray[np.float64]]:
    """Return the voltage of each node in each state, shape ``(n_states,)`` [V]; nothing after a failed run."""
    if trace.failure is not None:
        return {}
    found = {
        name[2:-1]: np.real(values).reshape(-1)[:states]
        for name, values in trace.vectors.items()
        if name.startswith("v(")
    }
    return {GROUND: np.zeros(states), **found}


def _kept(values: NDArray[np.float64] | None, states: int) -> tuple[float | None, ...]:
    if values is None:
        return (None,) * states
    return tuple(float(f"{value:.{DIGITS - 1}e}") if np.isfinite(value) else None for value in values)


def _with_current(
    part: SchematicPart, volts: Mapping[str, NDArray[np.float64]], order: Mapping[str, int], states: int
) -> SchematicPart:
    """Return a resistor with its current, counted along the signal, from the supply to it, from it to 0 V [A]."""
    if part.symbol != RESISTOR or not part.value or any(node not in volts for node in part.nodes):
        return part
    first, last = sorted(part.nodes, key=lambda node: (node != SUPPLY, node in RAILS, order.get(node, len(order))))
    return replace(part, currents=_kept((volts[first] - volts[last]) / part.value, states))
