"""Where a signal clips, and what a guard bends: small-signal gains solved where they matter.

The gain at a level is the small-signal solution at that operating point, coupling capacitors held at their voltage; no
difference quotient, so no grid decides. The clip point is narrowed down by the solver; what a guard does to the gain is
read at the signal's own ends and wherever between them it is worst.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import Builds, gain_deck
from guardcheck.engine import Engine
from guardcheck.measure import CLIPPED, clip_bracket, worst_bend
from guardcheck.model import Deck, Quantity, Trace
from guardcheck.simulate.batch import run_once
from guardcheck.simulate.experiment import Experiment, Plateaus, at_display, emf_of, extremes, summary

Array = NDArray[np.float64]

COARSE, FINE = 31, 9
"""Points of the first look, on either side of mid signal, and of each narrowing."""
INNER, NO_GAIN = 41, 1e-3
"""Points over the signal at which it is looked for where it passes, and the gain from which on it does."""
ROUNDS = 4
"""Narrowings: (3 V + half the signal) / 31 / 10**4 is far below a millivolt."""
BENDS = 41
"""Points over the signal at which a guard's gain is first compared, its ends among them."""
BEND_ROUNDS = 2
_NO_NOTES: tuple[str, ...] = ()


@dataclass(frozen=True)
class Run:
    """One chain at one picture level: what is held on its coupling capacitors stands in `plateaus`."""

    one: Experiment
    builds: Builds
    plateaus: Plateaus

    def deck(self, emf: Array) -> Deck:
        """Return the deck of the gain at EMFs of shape ``(n_rows, n_points)`` [V]."""
        return gain_deck(self.one.chain, emf, self.builds, self.plateaus.held)


def gains(engine: Engine, runs: Sequence[tuple[Run, Array]]) -> list[tuple[Array, str | None]]:
    """Return the magnitude of the gain of each run at its EMFs, same shape, and why it failed if it did."""
    traces = run_once(engine, [run.deck(emf) for run, emf in runs])
    return [(_gain(trace, emf), trace.failure) for (_, emf), trace in zip(runs, traces, strict=True)]


def _gain(trace: Trace, emf: Array) -> Array:
    if trace.failure is not None:
        return np.full(emf.shape, np.nan)
    return np.abs(at_display(trace)).reshape(emf.shape)


@dataclass
class _Clip:
    """The search for the two clip points of one run: brackets of EMF, shape ``(n_rows, 2)`` [V], NaN where none is."""

    run: Run
    ends: Array
    centre: Array
    gain: Array
    up: Array
    down: Array
    failure: str | None = None
    inner: Array = field(default_factory=lambda: np.zeros((0, 0)))


def headrooms(engine: Engine, groups: Sequence[Sequence[Plateaus]]) -> list[Quantity | None]:
    """Return `level.headroom` of every solved line whose standard lists it, else None; one group of pictures a line.

    The distance from the signal's ends to where the gain falls below half of that at mid signal (or where it is
    greatest, if mid signal itself is cut), in volts at the display; the least over the pictures. Negative: so much of
    the signal itself is clipped.
    """
    searches = [_searches(group) for group in groups]
    active = [search for mine in searches for search in mine]
    _look(engine, active)
    for _ in range(ROUNDS):
        _narrow(engine, [search for search in active if search.failure is None])
    return [_headroom(mine) if mine else None for mine in searches]


def _searches(group: Sequence[Plateaus]) -> list[_Clip]:
    one = group[0].experiment
    if "level.headroom" not in one.standard.quantities:
        return []
    builds = one.builds.one_at_a_time()
    ends = np.array([extremes(one, builds.single(row)) for row in range(builds.n_rows)])
    none = np.full((builds.n_rows, 2), np.nan)
    centre = ends.mean(axis=1)
    made = [_Clip(Run(one, builds, plateaus), ends, centre, centre, none.copy(), none.copy()) for plateaus in group]
    for search, plateaus in zip(made, group, strict=True):
        search.failure = plateaus.failure
    return made


def _look(engine: Engine, searches: Sequence[_Clip]) -> None:
    """Take the gain where the signal surely passes, and find between which two points it is lost on either side.

    That is mid signal, unless more than half of the signal is cut: then it is where its gain is greatest.
    """
    wanted = [search for search in searches if search.failure is None]
    inner = [np.linspace(search.ends[:, 0], search.ends[:, 1], INNER, axis=1) for search in wanted]
    _bracket(engine, wanted, inner)
    moved = [
        search
        for search, points in zip(wanted, inner, strict=True)
        if search.failure is None and _moved(search, points)
    ]
    _bracket(engine, moved, [search.centre[:, None] for search in moved])


def _bracket(engine: Engine, searches: Sequence[_Clip], more: Sequence[Array]) -> None:
    """Bracket both clip points from each search's centre, and take the gains at `more` points in the same run."""
    grids = [_grid(search) for search in searches]
    runs = [np.concatenate([grid, points], axis=1) for grid, points in zip(grids, more, strict=True)]
    found = gains(engine, [(search.run, points) for search, points in zip(searches, runs, strict=True)])
    for search, grid, (every, failure) in zip(searches, grids, found, strict=True):
        search.failure = failure
        width, middle = grid.shape[1], grid.shape[1] // 2
        gain, search.inner = every[:, :width], every[:, width:]
        search.gain = np.where(gain[:, middle] > NO_GAIN, gain[:, middle], np.nan)
        search.up = clip_bracket(grid[:, middle:], gain[:, middle:], search.gain)
        search.down = clip_bracket(grid[:, middle::-1], gain[:, middle::-1], search.gain)


def _moved(search: _Clip, points: Array) -> bool:
    """Move the centre to where the signal's gain is greatest, where mid signal is cut itself; tell whether it was."""
    rows, best = np.arange(len(points)), np.argmax(np.nan_to_num(search.inner), axis=1)
    cut = np.nan_to_num(search.gain) < CLIPPED * np.nan_to_num(search.inner)[rows, best]
    search.centre = np.where(cut, points[rows, best], search.centre)
    return bool(cut.any())


def _grid(search: _Clip) -> Array:
    low, high = search.ends[:, 0] - search.run.one.beyond, search.ends[:, 1] + search.run.one.beyond
    share = np.linspace(0.0, 1.0, COARSE)
    up = search.centre[:, None] + np.outer(high - search.centre, share)
    down = search.centre[:, None] + np.outer(low - search.centre, share)
    return np.concatenate([down[:, :0:-1], up], axis=1)


def _narrow(engine: Engine, searches: Sequence[_Clip]) -> None:
    share = np.linspace(0.0, 1.0, FINE + 2)
    sides = [(search, name) for search in searches for name in ("up", "down")]
    sides = [(search, name) for search, name in sides if np.isfinite(getattr(search, name)).any()]
    grids = [_between(getattr(search, name), search.centre, share) for search, name in sides]
    found = gains(engine, [(search.run, grid) for (search, _), grid in zip(sides, grids, strict=True)])
    for (search, name), grid, (gain, failure) in zip(sides, grids, found, strict=True):
        search.failure = search.failure or failure
        lost = np.isnan(getattr(search, name)).any(axis=1)
        bracket = clip_bracket(grid, gain, search.gain)
        setattr(search, name, np.where(lost[:, None], np.nan, bracket))


def _between(bracket: Array, centre: Array, share: Array) -> Array:
    known = np.where(np.isfinite(bracket), bracket, centre[:, None])
    return np.asarray(known[:, :1] + np.outer(np.ones(len(known)), share) * (known[:, 1:] - known[:, :1]))


def _headroom(searches: Sequence[_Clip]) -> Quantity:
    one, builds = searches[0].run.one, searches[0].run.builds
    failure = next((search.failure for search in searches if search.failure), None)
    rows, notes = np.full(builds.n_rows, np.nan), _NO_NOTES
    if failure is None:
        found = [_distance(search) for search in searches]
        rows = np.min([distance for distance, _ in found], axis=0)
        if not any(clips[0] for _, clips in found):
            notes = ("Nothing clips as far beyond the signal as was looked: the value is a lower bound.",)
    return summary(one, "level.headroom", rows, replace(builds, summed=False), failure, notes)


def _distance(search: _Clip) -> tuple[Array, NDArray[np.bool_]]:
    """Return the least distance to a clip point per build [V at the display], and whether there is one at all."""
    above = search.up[:, 0] - search.ends[:, 1]
    below = search.ends[:, 0] - search.down[:, 0]
    clips = np.isfinite(above) | np.isfinite(below)
    beyond = search.run.one.beyond
    nearest = np.minimum(np.nan_to_num(above, nan=beyond), np.nan_to_num(below, nan=beyond))
    return np.asarray(np.where(np.isfinite(search.gain), nearest * search.gain, np.nan)), clips


def distortions(
    engine: Engine, pairs: Sequence[tuple[Sequence[Plateaus], Sequence[Plateaus]]], *, nominal: bool = False
) -> list[Quantity]:
    """Return `guard.distortion` of every pair of a bare and a guarded line: the worst change of gain over the signal.

    The ratio of the guarded to the bare gain, against that ratio at blanking, as differential gain is defined; the
    worst of the pictures both were solved for. `nominal` leaves the tolerances out.
    """
    bends = [_bends(bare, guarded, nominal=nominal) for bare, guarded in pairs]
    every = [bend for mine in bends for bend in mine]
    for index in range(1 + BEND_ROUNDS):
        grids = [bend.grid(first=index == 0) for bend in every]
        runs = [(run, grid) for bend, grid in zip(every, grids, strict=True) for run in (bend.bare, bend.guarded)]
        found = iter(gains(engine, runs))
        for bend, grid in zip(every, grids, strict=True):
            bend.take(grid, next(found), next(found))
    return [_distortion(mine) for mine in bends]


@dataclass
class _Bend:
    """The comparison of a guarded chain's gain with the bare one's, at one picture level."""

    bare: Run
    guarded: Run
    ends: Array
    home: Array
    worst: Array
    around: Array
    at_home: Array
    failure: str | None = None

    def grid(self, *, first: bool) -> Array:
        """Return the EMFs to compare at, shape ``(n_rows, n_points)`` [V]; blanking comes first."""
        share = np.linspace(0.0, 1.0, BENDS if first else FINE + 2)
        return np.concatenate([self.home[:, None], self.around[:, :1] + np.diff(self.around) * share], axis=1)

    def take(self, grid: Array, bare: tuple[Array, str | None], guarded: tuple[Array, str | None]) -> None:
        """Take the gains at a grid, and look next around the worst point."""
        self.failure = self.failure or bare[1] or guarded[1]
        if self.failure is not None:
            return
        bend, index = worst_bend(bare[0], guarded[0])
        self.worst = np.fmax(self.worst, bend)
        rows = np.arange(len(grid))
        self.around = np.stack(
            [grid[rows, np.maximum(index - 1, 1)], grid[rows, np.minimum(index + 1, grid.shape[1] - 1)]], axis=1
        )


def _bends(bare: Sequence[Plateaus], guarded: Sequence[Plateaus], *, nominal: bool) -> list[_Bend]:
    one = guarded[0].experiment
    builds = one.builds.nominal() if nominal else one.builds.one_at_a_time()
    other = {plateaus.picture_level: plateaus for plateaus in bare}
    ends = np.array([extremes(one, builds.single(row)) for row in range(builds.n_rows)])
    home = emf_of(one, builds)[:, one.states.index("blank")]
    made = []
    for plateaus in guarded:
        beside = other.get(plateaus.picture_level, bare[0])
        runs = Run(beside.experiment, builds, beside), Run(one, builds, plateaus)
        nothing = np.full(builds.n_rows, np.nan)
        made.append(_Bend(*runs, ends, home, nothing, ends, nothing, beside.failure or plateaus.failure))
    return made


def _distortion(bends: Sequence[_Bend]) -> Quantity:
    one, builds = bends[0].guarded.one, bends[0].guarded.builds
    failure = next((bend.failure for bend in bends if bend.failure), None)
    rows = np.full(builds.n_rows, np.nan)
    if failure is None:
        rows = np.max([bend.worst for bend in bends], axis=0)
    return summary(one, "guard.distortion", rows, builds, failure)
