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
from guardcheck.signals import colour_bars
from guardcheck.simulate.levels import Experiment, Plateaus

Array = NDArray[np.float64]

IMPEDANCE_AT = (100e3, 100e3)
"""Where the output impedance is stated [Hz] (contract: 100 kHz)."""
LOAD = 75.0
"""Nominal impedance of every video connection [ohm]."""
REFLECTION_POINTS = 9
SWEEP = (100e3, 200e6, 321)
"""Bandwidth: start, stop [Hz], points; close enough to see the dips an echo in a lead of some metres makes."""
GRID = 61
BEYOND = 3.0
"""Transfer curve: points, and how far beyond the signal's extremes it runs [V of EMF; a current: that over `LOAD`]."""
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


def per_build(values: NDArray[np.complex128], builds: Builds) -> NDArray[np.complex128]:
    """Return one row per build: a deck that none of the varying values is part of was run once for all of them."""
    rows = values.reshape(-1, values.shape[-1])
    return np.asarray(np.broadcast_to(rows, (builds.n_rows, rows.shape[1])) if len(rows) == 1 else rows)


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


def _extremes(one: Experiment, builds: Builds | None = None) -> tuple[float, float]:
    """Return lowest and highest EMF of a build's signal [V], the nominal one's if none is given; colour included."""
    one_build = builds or one.builds.nominal()
    levels = dict(zip(one.states, _emf(one, one_build)[0], strict=True))
    bars, chroma = colour_bars(), colour_emf(one, "chroma", one_build)
    low = min(levels.values())
    high = max(levels.values())
    if chroma > 0.0:
        # the declared chroma is that of the bars: it carries them beyond white and below black in their own proportion
        greatest = float(bars.chroma.max())
        low = min(low, levels.get("black", levels["blank"]) + chroma * bars.lowest / greatest)
        high = max(high, levels.get("white", levels["blank"]) + chroma * (bars.highest - 1.0) / greatest)
    return float(low), float(high)


def colour_emf(one: Experiment, name: str, builds: Builds) -> float:
    """Return the source's burst or chroma EMF, peak to peak [V]; 0 for a source that has none."""
    parameter = one.chain.source.part.extra.get("colour", {}).get(name)
    if parameter is None or parameter not in one.chain.source.values:
        return 0.0
    return float(np.ravel(one.chain.number("source", parameter, builds, 1))[0])


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
    builds = one.builds.without_samples()
    emf = _different(one, builds)

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        if traces[0].failure is None:
            impedance = np.asarray(traces[0].vectors[f"v({NEAR})"]).reshape(*emf.shape, -1)
            rows = return_loss(impedance.astype(np.complex128), LOAD).min(axis=(1, 2))
        # a return loss has a peak between its corners: deviations must not be summed
        return (_summary(one, "response.return_loss", rows, replace(builds, summed=False), traces[0].failure),)

    deck = impedance_deck(one.chain, emf, builds, band=one.standard.extra["band"], points=REFLECTION_POINTS)
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
            response = per_build(at_display(trace), builds)
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
                rows, change = tilt(np.real(per_build(at_display(trace), builds)), share=FLAT_SHARE)
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


def transfer_grid(one: Experiment, builds: Builds) -> Array:
    """Return the EMFs of the transfer curve of one build, shape ``(n_points,)`` [V]."""
    lowest, highest = _extremes(one, builds)
    beyond = BEYOND if _unit(one) == "V" else BEYOND / LOAD
    return np.linspace(lowest - beyond, highest + beyond, GRID)


def _unit(one: Experiment) -> str:
    """Return the unit of the source's levels: volts, or amperes where it is a current that is driven."""
    return one.chain.source.part.parameters[one.mapping["blank"]].unit


def transfer_decks(one: Experiment, group: Sequence[Plateaus]) -> tuple[Deck, ...]:
    """Return the transfer-curve decks: nominal build, then one value at a time, each at every picture level."""
    builds = one.builds.one_at_a_time()
    return tuple(
        transfer_deck(one.chain, transfer_grid(one, build), build, plateaus.held)
        for build in (builds.single(row) for row in range(builds.n_rows))
        for plateaus in group
    )


def distortion(one: Experiment, bare: Sequence[Trace], guarded: Sequence[Trace], levels: tuple[int, int]) -> Quantity:
    """Return `guard.distortion` from the transfer curves of the bare and the guarded chain.

    `levels` are the numbers of picture levels either was solved for; the judged one comes first.
    """
    builds = one.builds.one_at_a_time()
    failure = next((trace.failure for trace in (*bare, *guarded) if trace.failure), None)
    rows = np.full(builds.n_rows, np.nan)
    for row in range(builds.n_rows if failure is None else 0):
        build = builds.single(row)
        lowest, highest = _extremes(one, build)
        rows[row] = gain_change(
            np.real(at_display(bare[row * levels[0]])).reshape(-1),
            np.real(at_display(guarded[row * levels[1]])).reshape(-1),
            transfer_grid(one, build),
            lowest=lowest,
            highest=highest,
            reference=float(_emf(one, build)[0, one.states.index("blank")]),
        )
    return _summary(one, "guard.distortion", rows, builds, failure)


def _headroom(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "level.headroom"):
        return None
    builds, levels = one.builds.one_at_a_time(), len(group)

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        failure = next((trace.failure for trace in traces if trace.failure), None)
        rows, notes = np.full(builds.n_rows, np.nan), _NO_NOTES
        for row in range(builds.n_rows if failure is None else 0):
            build = builds.single(row)
            grid, ends = transfer_grid(one, build), _extremes(one, build)
            curves = traces[row * levels : (row + 1) * levels]
            distance, clips = min(headroom(grid, np.real(at_display(curve)).reshape(-1), *ends) for curve in curves)
            rows[row] = distance
            if row == 0 and not clips:
                notes = ("Nothing clips as far as was looked beyond the signal: the value is a lower bound.",)
        return (_summary(one, "level.headroom", rows, replace(builds, summed=False), failure, notes),)

    return Study(transfer_decks(one, group), read)


def _burst(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    """Follow the declared burst to the display: its EMF times the chain's gain at the subcarrier."""
    builds = one.builds.one_at_a_time()
    colour = one.standard.extra.get("colour", {})
    if "burst.amplitude" not in one.standard.limits or "subcarrier" not in colour:
        return None
    emf = np.array([colour_emf(one, "burst", builds.single(row)) for row in range(builds.n_rows)])
    if emf[0] <= 0.0:
        return None
    carrier = float(colour["subcarrier"])
    blank = float(_emf(one, one.builds.nominal())[0, one.states.index("blank")])

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        if traces[0].failure is None:
            rows = emf * np.abs(per_build(at_display(traces[0]), builds)[:, 0])
        return (_summary(one, "burst.amplitude", rows, builds, traces[0].failure),)

    return Study((response_deck(one.chain, blank, start=carrier, stop=carrier, points=1, builds=builds),), read)


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


STUDIES = (_impedance, _reflection, _bandwidth, _tilts, _overshoot, _headroom, _burst, _power)
