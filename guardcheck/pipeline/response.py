"""Impedance, frequency response and the picture of one scan line: everything that is not a plateau."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import AT_DISPLAY, NEAR, emf_levels, impedance_deck, response_deck, waveform_deck
from guardcheck.measure import magnitude_db, summarise, worst_impedance
from guardcheck.model import Curve, Deck, Limit, Quantity, Trace
from guardcheck.pipeline.levels import Experiment, Plateaus
from guardcheck.signals import Timing, scan_line

IMPEDANCE_FREQUENCY = 100e3
"""Frequency at which the output impedance is stated [Hz] (contract)."""
SWEEP = (100.0, 100e6, 181)
"""Response picture: start, stop [Hz], points."""
LOAD = 75.0
"""Nominal impedance of every video connection [ohm]."""


@dataclass(frozen=True)
class SignalDecks:
    """The decks of one experiment besides its plateaus, in the order they are run."""

    experiment: Experiment
    impedance: Deck
    response: Deck
    waveform: Deck


def decks_of(one: Experiment) -> SignalDecks:
    """Return the decks of one experiment: output impedance for every build, response and scan line for the nominal."""
    emf = emf_levels(one.chain, one.mapping, one.states, one.builds)
    levels = dict(zip(one.states, (float(volts) for volts in emf[0]), strict=True))
    timing = timing_of(one)
    nominal = one.builds.nominal()
    start, stop, points = SWEEP
    middle = (max(levels.values()) + min(levels.values())) / 2
    return SignalDecks(
        one,
        impedance_deck(one.chain, emf, one.builds, frequency=IMPEDANCE_FREQUENCY),
        response_deck(one.chain, middle, start=start, stop=stop, points=points, builds=nominal),
        waveform_deck(
            one.chain,
            scan_line(levels, timing),
            stop=timing.period,
            rise_time=timing.edge,
            builds=nominal,
        ),
    )


def timing_of(one: Experiment) -> Timing:
    """Return the scan-line timing of the experiment's standard [s]."""
    timing: Mapping[str, float] = one.standard.extra["timing"]
    return Timing(
        period=timing["line_period"],
        sync_width=timing["sync_width"],
        back_porch=timing["line_blanking"] - timing["front_porch"] - timing["sync_width"],
        front_porch=timing["front_porch"],
        edge=timing["edge"],
    )


def impedance_quantity(one: Experiment, trace: Trace) -> Quantity:
    """Return `response.impedance`: per build the state farthest from 75 ohm."""
    builds, states = one.builds, len(one.states)
    rows = np.full(builds.n_rows, np.nan)
    if trace.failure is None:
        magnitude = np.abs(trace.vectors[f"v({NEAR})"]).reshape(builds.n_rows, states)
        rows = worst_impedance(magnitude, LOAD)
    return summarise(
        "response.impedance",
        rows,
        line=one.chain.line,
        guarded=one.chain.guarded,
        corners=builds.corners,
        samples=builds.samples,
        summed=builds.summed,
        unknowns=one.chain.unknowns,
        failure=trace.failure,
    )


def _at_display(trace: Trace) -> NDArray[np.complex128]:
    inner, outer = (np.asarray(trace.vectors[name]) for name in AT_DISPLAY)
    return np.asarray((inner - outer).reshape(-1))


def curves_of(decks: SignalDecks, response: Trace, waveform: Trace, plateaus: Plateaus) -> tuple[Curve, ...]:
    """Return the drawn lines of one experiment; a deck that failed is left out."""
    one = decks.experiment
    chain, standard = one.chain, one.standard
    curves: list[Curve] = []
    label = "guarded" if chain.guarded else "bare"
    if waveform.failure is None and waveform.axis is not None:
        band, band_label = level_band(standard.limits, plateaus, one.states)
        curves.append(
            Curve(
                chain.line,
                chain.guarded,
                "waveform",
                label,
                waveform.axis,
                np.real(_at_display(waveform)),
                "s",
                "V",
                band,
                band_label,
            )
        )
    if response.failure is None and response.axis is not None:
        curves.append(
            Curve(
                chain.line,
                chain.guarded,
                "response",
                label,
                response.axis,
                magnitude_db(_at_display(response)),
                "Hz",
                "dB",
            )
        )
    return tuple(curves)


def level_band(
    limits: Mapping[str, Limit], plateaus: Plateaus, states: Sequence[str]
) -> tuple[tuple[float | None, float | None] | None, str]:
    """Return the band a level limit allows, in volts at the display, and what it is the band of."""
    blank = float(plateaus.volts[0, list(states).index("blank")])
    for quantity, sign, label in (("level.white", 1.0, "white allowed"), ("level.sync", -1.0, "sync tip allowed")):
        limit = limits.get(quantity)
        state = quantity.removeprefix("level.")
        if limit is not None and state in states and np.isfinite(blank):
            ends = [None if end is None else blank + sign * end for end in (limit.low, limit.high)]
            low, high = ends if sign > 0 else ends[::-1]
            return (low, high), label
    return None, ""


def sample_curve(quantity: Quantity, limit: Limit | None, unit: str) -> Curve | None:
    """Return the samples of a quantity as a drawn histogram, or None without samples."""
    if quantity.samples is None or not np.isfinite(quantity.samples).any():
        return None
    drawn = quantity.samples[np.isfinite(quantity.samples)]
    band = None if limit is None else (limit.low, limit.high)
    return Curve(
        quantity.line,
        quantity.guarded,
        "samples",
        quantity.name,
        drawn,
        np.zeros(0),
        unit,
        "builds",
        band,
        "limits",
    )
