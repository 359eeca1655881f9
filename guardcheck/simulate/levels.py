"""Plateaus of the wanted signal at the display, for every build of every line: one operating point per signal state.

Coupling capacitors hold a voltage that makes their mean current over a field zero; it is found here by Broyden's
method, engine and measure taking turns, for a picture that is one tenth, half and nine tenths white.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import AT_DISPLAY, Builds, distinct, level_deck
from guardcheck.engine import Engine
from guardcheck.measure import as_held, duties, level_rows, mean_current, newton_step, summarise
from guardcheck.model import Deck, Quantity, Standard, Trace
from guardcheck.simulate.batch import content_of, run_once
from guardcheck.simulate.experiment import Experiment, Plateaus, emf_of

Array = NDArray[np.float64]

PICTURE_LEVELS = (0.5, 0.1, 0.9)
"""Average picture levels judged where the signal is AC coupled; the first gives the nominal value."""
MAX_ITERATIONS = 30
SETTLED = 2e-5
"""Change of a coupling capacitor's voltage [V] below which it is taken as found: far below any limit's resolution."""
MATTERS = 1e-3
"""Relative loss of amplitude with the picture from which the worst picture is judged."""
PROBE = 1e-2
"""Voltage step of the first finite-difference Jacobian [V]."""


@dataclass
class _Search:
    """State of the search for the capacitor voltages of one experiment at one picture level.

    `emf` holds the different levels only, `own` the column of each signal state.
    """

    experiment: Experiment
    builds: Builds
    emf: Array
    own: NDArray[np.intp]
    picture_level: float
    names: tuple[str, ...] = ()
    volts: Array = field(default_factory=lambda: np.zeros((1, 0)))
    jacobian: Array = field(default_factory=lambda: np.zeros((1, 0, 0)))
    residual: Array = field(default_factory=lambda: np.zeros((1, 0)))
    trace: Trace | None = None
    settled: bool = False

    def deck(self, volts: Array) -> Deck:
        return level_deck(self.experiment.chain, self.emf, self.builds, as_held(self.names, volts))[0]

    def content(self) -> object:
        """Return what two searches share that find the same voltages, hashable."""
        deck = content_of(self.deck(self.volts if self.volts.size else np.zeros((self.builds.n_rows, len(self.names)))))
        shares = tuple(_shares(self.experiment.standard).values())
        return deck, self.own.tobytes(), self.experiment.states, shares, self.picture_level, self.jacobian.tobytes()

    def mean(self, trace: Trace) -> Array:
        rows, states = self.emf.shape
        currents = np.stack(
            [np.real(trace.vectors[f"i(v{name})"]).reshape(rows, states) for name in self.names], axis=2
        )
        share = duties(self.experiment.states, picture_level=self.picture_level, **_shares(self.experiment.standard))
        return mean_current(currents[:, self.own], share)


def _shares(standard: Standard) -> dict[str, float]:
    timing = standard.timing
    period = timing.line_period
    return {"blanking": timing.line_blanking / period, "sync": timing.sync_width / period}


def solve(
    engine: Engine, experiments: Sequence[Experiment], pictures: Sequence[float] = PICTURE_LEVELS
) -> tuple[tuple[Plateaus, ...], ...]:
    """Return the plateaus of every experiment, the judged ones first.

    A DC-coupled signal does not depend on the picture: one entry, samples included. An AC-coupled one is solved for
    every picture level without samples; the level that keeps least of the amplitude is then solved again with the
    samples and comes first, the others follow. `pictures` are the average picture levels that are tried.
    """
    direct = [_Search(one, one.builds, *distinct(emf_of(one, one.builds)), PICTURE_LEVELS[0]) for one in experiments]
    for search in direct:
        search.names = level_deck(search.experiment.chain, search.emf, search.builds)[1]
    explored = [[_at_level(search, level) for level in pictures] if search.names else [] for search in direct]
    _solve_once(engine, [search for searches in explored for search in searches])
    judged = [_judged(search, searches) for search, searches in zip(direct, explored, strict=True)]
    _solve_once(engine, judged, started=True)
    return tuple(
        (
            _plateaus(first),
            *(_plateaus(other) for other in searches if other.picture_level != first.picture_level),
        )
        for first, searches in zip(judged, explored, strict=True)
    )


def _at_level(search: _Search, picture_level: float) -> _Search:
    corners = search.builds.without_samples()
    return replace(search, builds=corners, emf=search.emf[: corners.n_rows], picture_level=picture_level)


def _judged(search: _Search, explored: Sequence[_Search]) -> _Search:
    """Return the search that is to be judged: at the picture level that keeps least of the amplitude."""
    if not explored:
        return search
    kept = _kept([_plateaus(one) for one in explored])
    worst = int(np.argmin(kept)) if np.min(kept) < 1.0 - MATTERS else 0
    found = explored[worst]
    rows = search.builds.n_rows
    return replace(
        search,
        picture_level=found.picture_level,
        volts=np.repeat(found.volts[:1], rows, axis=0),
        jacobian=np.repeat(found.jacobian[:1], rows, axis=0),
    )


def _kept(explored: Sequence[Plateaus]) -> Array:
    """Return the share of the amplitude each picture level keeps: the worse of white and sync, 0 where unsolved."""
    shares = np.ones(len(explored))
    for name in ("level.white", "level.sync"):
        rows = [level_rows(one.experiment.states, one.volts) for one in explored]
        values = np.abs([float(row[name][0]) if name in row else 0.0 for row in rows])
        largest = np.max(np.nan_to_num(values))
        if largest > SETTLED:
            shares = np.minimum(shares, np.nan_to_num(values / largest))
    return shares


def _solve_once(engine: Engine, searches: Sequence[_Search], *, started: bool = False) -> None:
    """Find the voltages and run every search; of those that are the same circuit in the same picture only one.

    Only coupled searches are compared here, because it takes a deck: decks that are equal are run once anyway.
    """
    firsts: dict[object, _Search] = {}
    twins = [(one, firsts.setdefault(one.content(), one)) for one in searches if one.names]
    _find_voltages(engine, list(firsts.values()), started=started)
    for search, first in twins:
        search.volts, search.settled = first.volts, first.settled
        search.jacobian, search.residual = first.jacobian, first.residual
    for search, trace in zip(searches, run_once(engine, [one.deck(one.volts) for one in searches]), strict=True):
        search.trace = trace


def _find_voltages(engine: Engine, searches: Sequence[_Search], *, started: bool = False) -> None:
    """Fill in `volts` and `settled` of every search; `started` says that volts and Jacobians hold a good guess."""
    if not started:
        for search in searches:
            rows, count = search.builds.n_rows, len(search.names)
            search.volts, search.jacobian = np.zeros((rows, count)), np.zeros((rows, count, count))
    _residuals(engine, searches)
    for index in range(max((len(search.names) for search in searches), default=0) if not started else 0):
        _probe(engine, [search for search in searches if index < len(search.names)], index)
    for _ in range(MAX_ITERATIONS):
        active = [search for search in searches if not search.settled]
        if not active:
            return
        before = [(search.volts, search.residual) for search in active]
        for search in active:
            # a row that could not be solved keeps its voltage: what failed is told by its trace, never by a bad deck
            search.volts = newton_step(search.volts, np.nan_to_num(search.residual), search.jacobian)
        _residuals(engine, active)
        for search, (volts, residual) in zip(active, before, strict=True):
            _broyden(search, volts, residual)


def _residuals(engine: Engine, searches: Iterable[_Search]) -> None:
    active = list(searches)
    for search, trace in zip(active, engine.run([one.deck(one.volts) for one in active]), strict=True):
        rows, count = search.builds.n_rows, len(search.names)
        search.residual = np.full((rows, count), np.nan) if trace.failure else search.mean(trace)


def _probe(engine: Engine, searches: Sequence[_Search], index: int) -> None:
    """Fill column `index` of the Jacobians by a small step of that capacitor's voltage."""
    decks = []
    for search in searches:
        step = np.zeros_like(search.volts)
        step[:, index] = PROBE
        decks.append(search.deck(search.volts + step))
    for search, trace in zip(searches, engine.run(decks), strict=True):
        if trace.failure is None:
            search.jacobian[:, :, index] = np.nan_to_num((search.mean(trace) - search.residual) / PROBE)


def _broyden(search: _Search, volts: Array, residual: Array) -> None:
    """Update the Jacobian by the last step (Broyden's rank-one formula) and see whether the search has settled."""
    step = search.volts - volts
    size = np.einsum("ri,ri->r", step, step)
    error = search.residual - residual - np.einsum("rij,rj->ri", search.jacobian, step)
    with np.errstate(divide="ignore", invalid="ignore"):
        update = np.einsum("ri,rj->rij", error, step) / size[:, None, None]
    search.jacobian = search.jacobian + np.nan_to_num(update, posinf=0.0, neginf=0.0)
    moved = np.abs(step)
    search.settled = bool(np.all((moved < SETTLED) | ~np.isfinite(search.residual)))
    search.residual = np.nan_to_num(search.residual)


def _plateaus(search: _Search) -> Plateaus:
    rows, states = search.emf.shape
    trace = search.trace
    assert trace is not None
    failure = trace.failure
    if failure is None and search.names and not search.settled:
        failure = "the voltage on the coupling capacitors did not settle"
    volts = np.full((rows, len(search.own)), np.nan)
    if failure is None:
        inner, outer = (np.real(trace.vectors[name]) for name in AT_DISPLAY)
        volts = (inner - outer).reshape(rows, states)[:, search.own]
    held = as_held(search.names, search.volts)
    return Plateaus(search.experiment, search.builds, volts, search.picture_level, held, failure, trace.help_used)


def level_quantities(group: Sequence[Plateaus]) -> tuple[Quantity, ...]:
    """Return the level quantities of one experiment, spread over builds and picture levels."""
    merged: dict[str, Quantity] = {}
    for plateaus in group:
        chain, builds = plateaus.experiment.chain, plateaus.builds
        for name, rows in level_rows(plateaus.experiment.states, plateaus.volts).items():
            if name not in plateaus.experiment.standard.quantities:
                continue
            one = summarise(
                name,
                rows,
                line=chain.line,
                guarded=chain.guarded,
                corners=builds.corners,
                samples=builds.samples,
                summed=builds.summed,
                unknowns=chain.unknowns,
                notes=_notes(plateaus),
                failure=plateaus.failure,
            )
            merged[name] = one if name not in merged else _widened(merged[name], one)
    return tuple(merged.values())


def _notes(plateaus: Plateaus) -> tuple[str, ...]:
    if not plateaus.held or plateaus.picture_level == PICTURE_LEVELS[0]:
        return ()
    return (f"Judged at the worst picture, {100 * plateaus.picture_level:.0f} % white.",)


def _widened(first: Quantity, other: Quantity) -> Quantity:
    """Return `first` with what another picture level gives counted in its range over pictures."""
    if other.value is None:
        return replace(first, failure=first.failure or other.failure)
    ends = [other.value, *(other.spread or ()), *(first.pictures or ())]
    ends += [] if first.value is None else [first.value]
    return replace(first, pictures=(min(ends), max(ends)))
