"""From everything that may be fitted to a shortlist: closed forms first, operating points where there is none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import NEAR, Builds, Chain, distinct, emf_levels, impedance_deck
from guardcheck.engine import Engine
from guardcheck.measure import level_rows, return_loss, worst_impedance
from guardcheck.model import Limit, Standard
from guardcheck.proposal.linear import Key, closed_form
from guardcheck.proposal.space import Candidate, Drawer, GuardChoice, StageChoice, chain_of, coarser, thinned
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.levels import solve
from guardcheck.simulate.planning import LinePlan
from guardcheck.simulate.response import IMPEDANCE_AT, LOAD

Array = NDArray[np.float64]

DIFFERENCES = ("level.white", "level.black", "level.sync", "level.pp")
"""Levels a coupling capacitor leaves as they are."""
PICKS = 4
"""Builds kept of one stage with one kind of guard: each is the best in another respect."""
MOST_VALUES = 400
"""Most combinations of values tried of a stage that has no closed form: each costs an operating point."""
MOST_SPLITS, MOST_SPLIT_VALUES = 3, 24
"""Of a guard with resistors of its own on such a stage: most sets of its resistors, and most combinations in all."""


@dataclass
class Tally:
    """How many builds were looked at, and how many failed by one quantity alone."""

    searched: int = 0
    passing: int = 0
    alone: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Looked:
    """Builds of one stage with one kind of guard, as far as a closed form or an operating point shows them.

    `values` are by role and parameter, `rows` the quantities, each of shape ``(n,)`` [SI]; `passing` says which rows
    keep every limit, `error` how far the amplitude is from its nominal, relative.
    """

    stage: StageChoice
    guard: GuardChoice
    values: Mapping[Key, Array]
    rows: Mapping[str, Array]
    passing: NDArray[np.bool_]
    error: Array
    coupled: bool


def look(
    engine: Engine,
    one: LinePlan,
    stages: Iterable[StageChoice],
    guards: Sequence[GuardChoice],
    tally: Tally,
    dropped: frozenset[str],
) -> list[Looked]:
    """Return every build of the line at its nominal values, by stage and kind of guard.

    Parameters
    ----------
    engine : for stages that have no closed form
    one : the line as planned, whose source, display and limits stay
    stages, guards : what may be fitted
    tally : counts what was looked at
    dropped : quantities whose limits are left out, to see what they cost

    """
    kinds: dict[tuple[str, str | None], list[GuardChoice]] = {}
    for guard in guards:
        if guard.resistors or guard.use is None:
            kinds.setdefault((guard.name, guard.place), []).append(guard)
    found: list[Looked] = []
    for stage in stages:
        for same in kinds.values():
            chain = chain_of(one, stage, same[0])
            values = _mesh(stage, same)
            made = _linear(one, chain, values)
            if made is None:
                values = _few(stage, same)
                made = _solved(engine, one, chain, values)
            rows, coupled = made
            found.append(_held(one.standard, stage, same[0], values, rows, coupled, tally, dropped))
    return found


def _few(stage: StageChoice, guards: Sequence[GuardChoice]) -> dict[Key, Array]:
    """Return so few combinations that each can be solved by itself: a guard's own resistors leave fewer of a stage."""
    if guards[0].use is None:
        return _mesh(coarser(stage, MOST_VALUES), guards)
    some = thinned(guards, MOST_SPLITS)
    return _mesh(coarser(stage, MOST_SPLIT_VALUES // len(some)), some)


def _mesh(stage: StageChoice, guards: Sequence[GuardChoice]) -> dict[Key, Array]:
    """Return every combination of stage values and guard resistors, arrays of shape ``(n,)`` [SI]."""
    keys: list[Key] = [("stage", name) for name in stage.moves] + [("guard", name) for name in guards[0].resistors]
    own = [tuple(guard.resistors.values()) for guard in guards]
    table = [(*values, *extra) for values in product(*stage.moves.values()) for extra in own]
    mesh = np.array(table, dtype=float).reshape(len(table), len(keys))
    return {key: mesh[:, index] for index, key in enumerate(keys)}


def _emf(one: LinePlan) -> Array:
    mapping = one.bare.source.part.states[one.standard.signal]
    return np.asarray(emf_levels(one.bare, mapping, one.states, one.builds.nominal())[0])


def _linear(one: LinePlan, chain: Chain, values: Mapping[Key, Array]) -> tuple[dict[str, Array], bool] | None:
    found = closed_form(chain, values)
    if found is None:
        return None
    volts = found.gain[:, None] * _emf(one)[None, :] + found.offset[:, None]
    rows = dict(level_rows(one.states, volts))
    if found.coupled:
        rows = {name: row for name, row in rows.items() if name in DIFFERENCES}
    rows["response.impedance"] = found.impedance
    rows["response.return_loss"] = return_loss(found.impedance.astype(np.complex128), LOAD)
    return rows, found.coupled


def _solved(engine: Engine, one: LinePlan, chain: Chain, values: Mapping[Key, Array]) -> tuple[dict[str, Array], bool]:
    """Solve the operating points of every combination: they are the corners of one experiment."""
    keys = tuple(values)
    table = np.stack([values[key] for key in keys], axis=1) if keys else np.zeros((1, 0))
    builds = Builds(keys, table, len(table) - 1, False)
    experiment = Experiment(chain, one.standard, one.states, builds)
    plateaus = solve(engine, [experiment])[0]
    rows = dict(level_rows(one.states, plateaus[0].volts))
    emf, _ = distinct(np.broadcast_to(_emf(one), (len(table), len(one.states))))
    trace = engine.run([impedance_deck(chain, emf, builds, band=IMPEDANCE_AT)])[0]
    ohms = np.full(len(table), np.nan)
    if trace.failure is None:
        ohms = worst_impedance(np.abs(trace.vectors[f"v({NEAR})"][:, 0]).reshape(emf.shape), LOAD)
    rows["response.impedance"] = ohms
    rows["response.return_loss"] = return_loss(ohms.astype(np.complex128), LOAD)
    return rows, bool(plateaus[0].held)


def _held(
    standard: Standard,
    stage: StageChoice,
    guard: GuardChoice,
    values: Mapping[Key, Array],
    rows: Mapping[str, Array],
    coupled: bool,
    tally: Tally,
    dropped: frozenset[str],
) -> Looked:
    n = len(next(iter(rows.values())))
    limits = {name: one for name, one in standard.limits.items() if name in rows and name not in dropped}
    kept = {name: _inside(rows[name], one) for name, one in limits.items()}
    failing = np.sum([~one for one in kept.values()], axis=0) if kept else np.zeros(n, dtype=int)
    passing = np.asarray(failing == 0)
    tally.searched += n
    tally.passing += int(passing.sum())
    for name, one in kept.items():
        lonely = int(np.sum(~one & (failing == 1)))
        if lonely:
            tally.alone[name] = tally.alone.get(name, 0) + lonely
    return Looked(stage, guard, values, rows, passing, level_error(rows, standard), coupled)


def _inside(row: Array, limit: Limit) -> NDArray[np.bool_]:
    low = -np.inf if limit.low is None else limit.low
    high = np.inf if limit.high is None else limit.high
    with np.errstate(invalid="ignore"):
        return np.asarray((row >= low) & (row <= high))


def nominal_of(limit: Limit) -> float:
    """Return what a quantity should be: its nominal, else the middle of its limits [SI]."""
    ends = [end for end in (limit.low, limit.high) if end is not None]
    return limit.nominal if limit.nominal is not None else sum(ends) / len(ends)


def level_error(rows: Mapping[str, Array], standard: Standard) -> Array:
    """Return how far the amplitudes are from their nominal, relative, the worst of them; shape ``(n,)``."""
    names = [name for name in ("level.white", "level.sync") if name in standard.limits and name in rows]
    names = names or [name for name in ("level.blank", "level.pp") if name in standard.limits and name in rows]
    error = np.zeros(len(next(iter(rows.values()))))
    for name in names:
        middle = nominal_of(standard.limits[name])
        if middle:
            error = np.maximum(error, np.abs(rows[name] / middle - 1.0))
    return error


def shortlist(
    looked: Sequence[Looked], one: LinePlan, guards: Sequence[GuardChoice], drawer: Drawer
) -> list[Candidate]:
    """Return a diverse choice of builds that pass: of each stage those best in level, in match and in resistance.

    Guards without resistors of their own leave the closed form as it is: each is put on every build picked of a stage.
    """
    plain = [guard for guard in guards if not guard.resistors and guard.use is not None]
    found: list[Candidate] = []
    for each in looked:
        for row in _picks(each):
            values = {name: float(each.values[role, name][row]) for role, name in each.values if role == "stage"}
            values |= _capacitors(each, one, row)
            own = {name: float(each.values[role, name][row]) for role, name in each.values if role == "guard"}
            guard = replace(each.guard, resistors=own)
            found.append(Candidate(each.stage, guard, values))
            if each.guard.use is None:
                found += [Candidate(each.stage, other, values) for other in plain]
    return found


def _picks(looked: Looked) -> list[int]:
    rows = np.flatnonzero(looked.passing & np.isfinite(looked.error))
    if not rows.size:
        return []
    ohms = looked.rows["response.impedance"][rows]
    total = sum((values[rows] for values in looked.values.values()), np.zeros(rows.shape))
    own = sum((values[rows] for key, values in looked.values.items() if key[0] == "guard"), np.zeros(rows.shape))
    orders = (looked.error[rows], np.abs(ohms - LOAD), -own if own.any() else -total, -total)
    firsts = [int(rows[np.argmin(order)]) for order in orders]
    return list(dict.fromkeys(firsts))[:PICKS]


def _capacitors(looked: Looked, one: LinePlan, row: int) -> dict[str, float]:
    """Return the smallest coupling capacitors whose tilt at field rate stays inside its limit, tolerance included.

    A square wave through C into source and load tilts by tanh(1 / (4 f (Z + R) C)).
    """
    limit = one.standard.limits.get("response.field_tilt")
    sizes: dict[str, float] = {}
    ohms = float(looked.rows["response.impedance"][row]) + LOAD
    for name, choices in looked.stage.capacitors.items():
        sizes[name] = choices[-1]
        if limit is None or limit.high is None:
            sizes[name] = looked.stage.fitted.values[name].nominal
            continue
        for size in choices:
            rate = one.standard.field_rate
            if np.tanh(1.0 / (4.0 * rate * ohms * 0.8 * size)) <= limit.high:
                sizes[name] = size
                break
    return sizes
