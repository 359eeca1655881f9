"""Studies of a chain beyond its plateaus: each names its decks and how its traces become quantities.

A new study is one function here and its name in `STUDIES`; the pipeline runs all decks of all lines in one batch.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import (
    FLAT_SHARE,
    NEAR,
    Builds,
    distinct,
    impedance_deck,
    power_deck,
    response_deck,
    square_deck,
    step_deck,
)
from guardcheck.measure import (
    dissipation,
    overshoot,
    return_loss,
    tilt,
    upper_corner,
    worst_impedance,
)
from guardcheck.model import Deck, Limit, Quantity, Trace
from guardcheck.simulate.experiment import (
    Experiment,
    Plateaus,
    at_display,
    colour_emf,
    emf_of,
    extremes,
    per_build,
    summary,
)
from guardcheck.simulate.grey import grey

Array = NDArray[np.float64]

IMPEDANCE_AT = (100e3, 100e3)
"""Where the output impedance is stated [Hz] (contract: 100 kHz)."""
LOAD = 75.0
"""Nominal impedance of every video connection [ohm]."""
REFLECTION_POINTS = 9
SWEEP = (100e3, 200e6, 321)
"""Bandwidth: start, stop [Hz], points; close enough to see the dips an echo in a lead of some metres makes."""
REPEATS = 0.02
"""Largest change of tilt from one period to the next that still counts as a steady state (share of the step)."""


_NO_NOTES: tuple[str, ...] = ()


@dataclass(frozen=True)
class Study:
    """Decks to run, and the quantities their traces give."""

    decks: tuple[Deck, ...]
    read: Callable[[Sequence[Trace]], tuple[Quantity, ...]]


def studies_of(one: Experiment, group: Sequence[Plateaus]) -> tuple[Study, ...]:
    """Return the studies whose quantities the line's standard lists."""
    made = (study(one, group) for study in STUDIES)
    return tuple(study for study in made if study is not None)


def _wanted(one: Experiment, *names: str) -> bool:
    return any(name in one.standard.quantities for name in names)


def _different(one: Experiment, builds: Builds) -> Array:
    """Return the EMFs of the states that differ, shape ``(n_rows, n_different)`` [V]: enough for the worst of all."""
    return distinct(emf_of(one, builds))[0]


def _swing(one: Experiment) -> tuple[float, float]:
    """Return the EMFs a test step runs between [V]: blanking and white, or blanking and sync tip."""
    levels = dict(zip(one.states, emf_of(one, one.builds.nominal())[0], strict=True))
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
        return (summary(one, "response.impedance", rows, builds, traces[0].failure),)

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
        return (summary(one, "response.return_loss", rows, replace(builds, summed=False), traces[0].failure),)

    deck = impedance_deck(one.chain, emf, builds, band=one.standard.band, points=REFLECTION_POINTS)
    return Study((deck,), read)


def _bandwidth(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "response.bandwidth"):
        return None
    builds = one.builds.one_at_a_time()
    start, stop, points = SWEEP
    middle = sum(extremes(one)) / 2

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        trace = traces[0]
        rows, notes = np.full(builds.n_rows, np.nan), _NO_NOTES
        if trace.failure is None and trace.axis is not None:
            response = per_build(at_display(trace), builds)
            rows, reached = upper_corner(trace.axis, response, reference=IMPEDANCE_AT[0])
            if not reached[0]:
                notes = ("No -3 dB point below the end of the sweep: the value is a lower bound.",)
        return (summary(one, "response.bandwidth", rows, builds, trace.failure, notes),)

    return Study((response_deck(one.chain, middle, start=start, stop=stop, points=points, builds=builds),), read)


def _tilts(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    rates = {
        "response.field_tilt": one.standard.field_rate,
        "response.line_tilt": one.standard.line_rate,
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
            found.append(summary(one, name, rows, builds, failure, _presumed(one, name) if coupled else ()))
        return tuple(found)

    decks = tuple(square_deck(one.chain, low, high, rate=rate, builds=builds) for rate in wanted.values())
    return Study(decks, read)


def _presumed(one: Experiment, name: str) -> tuple[str, ...]:
    """Return what is said of a field rate nobody declared: the slowest a set takes, which tilts most."""
    if name != "response.field_tilt" or one.standard.field_rate_declared:
        return ()
    return (f"Field rate not declared: taken at {one.standard.field_rate:.4g} Hz; say it under [picture] field_rate.",)


def _overshoot(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    if not _wanted(one, "response.overshoot"):
        return None
    builds = one.builds.one_at_a_time()
    low, high = _swing(one)
    rise = one.standard.rise_time

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        for index, trace in enumerate(traces):
            if trace.failure is None and trace.axis is not None:
                rows[index] = overshoot(trace.axis, np.real(at_display(trace)).reshape(-1))
        return (summary(one, "response.overshoot", rows, builds, traces[0].failure),)

    rows = range(builds.n_rows)
    return Study(
        tuple(step_deck(one.chain, low, high, rise_time=rise, builds=builds.single(row)) for row in rows), read
    )


def _burst(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    """Follow the declared burst to the display: its EMF times the chain's gain at the subcarrier."""
    builds = one.builds.one_at_a_time()
    carrier = one.standard.colour.subcarrier
    if "burst.amplitude" not in one.standard.limits or carrier is None:
        return None
    emf = np.array([colour_emf(one, "burst", builds.single(row)) for row in range(builds.n_rows)])
    if emf[0] <= 0.0:
        return None
    blank = float(emf_of(one, one.builds.nominal())[0, one.states.index("blank")])

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        rows = np.full(builds.n_rows, np.nan)
        if traces[0].failure is None:
            rows = emf * np.abs(per_build(at_display(traces[0]), builds)[:, 0])
        return (summary(one, "burst.amplitude", rows, builds, traces[0].failure),)

    driven = one.chain.source.part.colour.get("element")
    deck = response_deck(one.chain, blank, start=carrier, stop=carrier, points=1, builds=builds, element=driven)
    return Study((deck,), read)


def _grey(one: Experiment, group: Sequence[Plateaus]) -> Study | None:
    made = grey(one, group)
    return None if made is None else Study(*made)


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
            quantity = summary(one, "part.power", rows, builds, trace.failure)
            limit = Limit("part.power", None, used["power"], None, used["reference"], used["known_by"])
            found.append(_placed(quantity, f"{role} {used['name']}", limit))
        return tuple(found)

    return Study((deck,), read)


def _placed(quantity: Quantity, where: str, limit: Limit) -> Quantity:
    return replace(quantity, where=where, limit=limit)


STUDIES = (_impedance, _reflection, _bandwidth, _tilts, _overshoot, _burst, _grey, _power)
