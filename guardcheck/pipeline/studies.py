"""Studies of a chain beyond its plateaus: each names its decks and how its traces become quantities.

A new study is one function here and its name in `STUDIES`; the pipeline runs all decks of all lines in one batch.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import (
    AT_DISPLAY,
    FLAT_SHARE,
    NEAR,
    Builds,
    distinct,
    emf_levels,
    impedance_deck,
    power_deck,
    response_deck,
    square_deck,
    step_deck,
    transfer_deck,
)
from guardcheck.measure import (
    RETURN_LOSS_CAP,
    dissipation,
    gain_change,
    headroom,
    overshoot,
    return_loss,
    summarise,
    tilt,
    upper_corner,
    worst_impedance,
)
from guardcheck.model import Deck, Limit, Quantity, Trace
from guardcheck.pipeline.levels import Experiment, Plateaus

Array = NDArray[np.float64]

IMPEDANCE_AT = (100e3, 100e3)
"""Where the output impedance is stated [Hz] (contract: 100 kHz)."""
LOAD = 75.0
"""Nominal impedance of every video connection [ohm]."""
REFLECTION_POINTS = 9
SWEEP = (1e3, 200e6, 161)
"""Frequency response: start, stop [Hz], points."""
GRID = 61
BEYOND = 3.0
"""Transfer curve: points, and how far beyond the signal's extremes it runs [V of EMF]."""
REPEATS = 0.02
"""Largest change of tilt from one period to the next that still counts as a steady state (share of the step)."""


_NO_NOTES: tuple[str, ...] = ()


@dataclass(frozen=True)
class Study:
    """Decks to run, and the quantities their traces give."""

    decks: tuple[Deck, ...]
    read: Callable[[Sequence[Trace]], tuple[Quantity, ...]]


def at_display(trace: Trace) -> NDArray[np.complex128]:
    """Return the signal at the display input, shape as the trace's vectors."""
    inner, outer = (np.asarray(trace.vectors[name]) for name in AT_DISPLAY)
    return np.asarray(inner - outer)


def studies_of(one: Experiment, group: Sequence[Plateaus]) -> tuple[Study, ...]:
    """Return the studies whose quantities the line's standard lists."""
    made = (study(one, group) for study in STUDIES)
    return tuple(study for study in made if study is not None)


def _wanted(one: Experiment, *names: str) -> bool:
    return any(name in one.standard.quantities for name in names)


def _summary(
    one: Experiment, name: str, rows: Array, builds: Builds, failure: str | None, notes: tuple[str, ...] = ()
) -> Quantity:
    return summarise(
        name,
        rows,
        line=one.chain.line,
        guarded=one.chain.guarded,
        corners=builds.corners,
        samples=builds.samples,
        summed=builds.summed,
        unknowns=one.chain.unknowns,
        notes=notes,
        failure=failure,
    )


def _emf(one: Experiment, builds: Builds) -> Array:
    return emf_levels(one.chain, one.mapping, one.states, builds)


def _different(one: Experiment, builds: Builds) -> Array:
    """Return the EMFs of the states that differ, shape ``(n_rows, n_different)`` [V]: enough for the worst of all."""
    return distinct(_emf(one, builds))[0]


def _extremes(one: Experiment) -> tuple[float, float]:
    """Return lowest and highest EMF of the nominal signal [V]."""
    levels = _emf(one, one.builds.nominal())[0]
    return float(levels.min()), float(levels.max())


def _swing(one: Experiment) -> tuple[float, float]:
    """Return the EMFs a test step runs between [V]: blanking and white, or blanking and sync tip."""
    levels = dict(zip(one.states, _emf(one, one.builds.nominal())[0], strict=True))
    return float(levels["blank"]), float(levels.get("white", levels.get("sync", levels["blank"])))


def _impedance(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "response.impedance"):
        return None
    builds = one.builds.without_samples()
    emf = _different(one, builds)

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        if traces[0].failure is None:
            magnitude = np.abs(traces[0].vectors[f"v({NEAR})"][:, 0]).reshape(emf.shape)
            rows = worst_impedance(magnitude, LOAD)
        return (_summary(one, "response.impedance", rows, builds, traces[0].failure),)

    return Study((impedance_deck(one.chain, emf, builds, band=IMPEDANCE_AT),), read)


def _reflection(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "response.return_loss"):
        return None
    builds = one.builds.one_at_a_time()
    emf = _different(one, builds)
    band = one.standard.extra["band"]

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        if traces[0].failure is None:
            impedance = np.asarray(traces[0].vectors[f"v({NEAR})"]).reshape(*emf.shape, -1)
            rows = return_loss(impedance.astype(np.complex128), LOAD).min(axis=(1, 2))
        found = _summary(one, "response.return_loss", rows, builds, traces[0].failure)
        if found.spread is not None:
            found = replace(found, spread=(found.spread[0], min(found.spread[1], RETURN_LOSS_CAP)))
        return (found,)

    deck = impedance_deck(one.chain, emf, builds, band=band, points=REFLECTION_POINTS)
    return Study((deck,), read)


def _bandwidth(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "response.bandwidth"):
        return None
    builds = one.builds.one_at_a_time()
    start, stop, points = SWEEP
    middle = sum(_extremes(one)) / 2

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        trace = traces[0]
        rows, notes = np.full(builds.n_rows, np.nan), _NO_NOTES
        if trace.failure is None and trace.axis is not None:
            response = at_display(trace).reshape(builds.n_rows, -1)
            rows, reached = upper_corner(trace.axis, response, reference=IMPEDANCE_AT[0])
            if not reached[0]:
                notes = ("No -3 dB point below the end of the sweep: the value is a lower bound.",)
        return (_summary(one, "response.bandwidth", rows, builds, trace.failure, notes),)

    return Study((response_deck(one.chain, middle, start=start, stop=stop, points=points, builds=builds),), read)


def _tilts(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    rates = {
        "response.field_tilt": float(one.standard.extra["field_rate"]),
        "response.line_tilt": float(one.standard.extra["line_rate"]),
    }
    wanted = {name: rate for name, rate in rates.items() if _wanted(one, name)}
    if not wanted:
        return None
    coupled = bool(group[0].held)
    builds = one.builds.one_at_a_time() if coupled else one.builds.nominal()
    low, high = _swing(one)

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        found = []
        for name, trace in zip(wanted, traces, strict=True):
            rows, failure = np.full(builds.n_rows, np.nan), trace.failure
            if failure is None:
                rows, change = tilt(np.real(at_display(trace)).reshape(builds.n_rows, -1), share=FLAT_SHARE)
                if np.isfinite(rows[0]) and change[0] > REPEATS:
                    failure = "the square wave had not reached a steady state"
            found.append(_summary(one, name, rows, builds, failure))
        return tuple(found)

    decks = tuple(square_deck(one.chain, low, high, rate=rate, builds=builds) for rate in wanted.values())
    return Study(decks, read)


def _overshoot(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "response.overshoot"):
        return None
    builds = one.builds.one_at_a_time()
    low, high = _swing(one)
    rise = float(one.standard.extra["rise_time"])

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        for index, trace in enumerate(traces):
            if trace.failure is None and trace.axis is not None:
                rows[index] = overshoot(trace.axis, np.real(at_display(trace)).reshape(-1))
        return (_summary(one, "response.overshoot", rows, builds, traces[0].failure),)

    rows = range(builds.n_rows)
    return Study(
        tuple(step_deck(one.chain, low, high, rise_time=rise, builds=builds.single(row)) for row in rows), read
    )


def transfer_grid(one: Experiment) -> Array:
    """Return the EMFs of the transfer curve, shape ``(n_points,)`` [V]."""
    lowest, highest = _extremes(one)
    return np.linspace(lowest - BEYOND, highest + BEYOND, GRID)


def transfer_decks(one: Experiment, group: Sequence[Plateaus]) -> tuple[Deck, ...]:
    """Return the transfer-curve deck at every picture level."""
    grid = transfer_grid(one)
    return tuple(transfer_deck(one.chain, grid, one.builds, plateaus.held) for plateaus in group)


def distortion(one: Experiment, bare: Trace, guarded: Trace) -> Quantity:
    """Return `guard.distortion` from the transfer curves of the bare and the guarded chain."""
    builds = one.builds.nominal()
    failure = bare.failure or guarded.failure
    rows = np.full(1, np.nan)
    if failure is None:
        lowest, highest = _extremes(one)
        rows[0] = gain_change(
            np.real(at_display(bare)),
            np.real(at_display(guarded)),
            transfer_grid(one),
            lowest=lowest,
            highest=highest,
            reference=_swing(one)[0],
        )
    return _summary(one, "guard.distortion", rows, builds, failure)


def _headroom(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "level.headroom"):
        return None
    grid, (lowest, highest) = transfer_grid(one), _extremes(one)

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        failure = next((trace.failure for trace in traces if trace.failure), None)
        value, notes = np.full(1, np.nan), _NO_NOTES
        if failure is None:
            found = [headroom(grid, np.real(at_display(trace)), lowest, highest) for trace in traces]
            distance, clips = min(found)
            value = np.array([distance])
            if not clips:
                notes = (f"Nothing clips within {BEYOND:g} V beyond the signal: the value is a lower bound.",)
        return (_summary(one, "level.headroom", value, one.builds.nominal(), failure, notes),)

    return Study(transfer_decks(one, group), read)


def _power(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "part.power"):
        return None
    rated = {
        f"{used['element']}_{role}": (role, used)
        for role, fitted in one.chain.parts.items()
        for used in fitted.part.extra.get("parts", ())
        if "power" in used
    }
    if not rated:
        return None
    builds = one.builds.one_at_a_time()
    emf = _different(one, builds)
    held = {name: np.full(builds.n_rows, volts[0]) for name, volts in group[0].held.items()}
    deck, meters = power_deck(one.chain, emf, builds, held, tuple(rated))

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        trace = traces[0]
        zero = np.zeros(emf.size)
        found = []
        for name, (role, used) in rated.items():
            rows = np.full(builds.n_rows, np.nan)
            if trace.failure is None and name in meters:
                ends, amps = meters[name]
                heat = dissipation(
                    [zero if end == "v(0)" else np.real(trace.vectors[end]) for end in ends],
                    [np.real(trace.vectors[amp]) for amp in amps],
                )
                rows = heat.reshape(emf.shape).max(axis=1)
            quantity = _summary(one, "part.power", rows, builds, trace.failure)
            limit = Limit("part.power", None, used["power"], None, used["reference"], used.get("known_by", "practice"))
            found.append(_placed(quantity, f"{role} {used['name']}", limit))
        return tuple(found)

    return Study((deck,), read)


def _placed(quantity: Quantity, where: str, limit: Limit) -> Quantity:
    return replace(quantity, where=where, limit=limit)


STUDIES = (_impedance, _reflection, _bandwidth, _tilts, _overshoot, _headroom, _power)
