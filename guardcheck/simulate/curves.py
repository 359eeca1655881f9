"""Curves for the report: one scan line at the display, the frequency response, the samples of the wanted level."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import emf_levels, response_deck, waveform_deck
from guardcheck.measure import magnitude_db
from guardcheck.model import Curve, Deck, Limit, Quantity, Trace
from guardcheck.signals import Timing, scan_line
from guardcheck.simulate.experiment import Experiment, Plateaus, at_display

SWEEP = (1e3, 200e6, 161)
"""Response picture: start, stop [Hz], points."""


def drawing_decks(one: Experiment) -> tuple[Deck, Deck]:
    """Return the decks of the scan line and of the response of the nominal build."""
    nominal = one.builds.nominal()
    levels = dict(zip(one.states, map(float, emf_levels(one.chain, one.mapping, one.states, nominal)[0]), strict=True))
    timing = timing_of(one)
    start, stop, points = SWEEP
    middle = (max(levels.values()) + min(levels.values())) / 2
    return (
        waveform_deck(
            one.chain,
            scan_line(levels, timing),
            stop=timing.period,
            rise_time=timing.edge,
            builds=nominal,
        ),
        response_deck(one.chain, middle, start=start, stop=stop, points=points, builds=nominal),
    )


def timing_of(one: Experiment) -> Timing:
    """Return the scan-line timing of the experiment's standard [s]."""
    timing = one.standard.timing
    return Timing(
        period=timing.line_period,
        sync_width=timing.sync_width,
        back_porch=timing.back_porch,
        front_porch=timing.front_porch,
        edge=timing.edge,
    )


def curves_of(one: Experiment, plateaus: Plateaus, traces: Sequence[Trace]) -> tuple[Curve, ...]:
    """Return the drawn lines of one experiment; a deck that failed is left out."""
    waveform, response = traces
    line, guarded = one.chain.line, one.chain.guarded
    label = "guarded" if guarded else "bare"
    curves: list[Curve] = []
    if waveform.failure is None and waveform.axis is not None:
        band, band_label = level_band(one.standard.limits, plateaus, one.states)
        volts = np.real(at_display(waveform)).reshape(-1)
        curves.append(
            Curve(line, guarded, "waveform", label, _drawn(waveform.axis), _drawn(volts), "s", "V", band, band_label)
        )
    if response.failure is None and response.axis is not None:
        level = magnitude_db(at_display(response).reshape(-1))
        curves.append(Curve(line, guarded, "response", label, _drawn(response.axis), _drawn(level), "Hz", "dB"))
    return tuple(curves)


DIGITS = 6
"""Significant digits of drawn points: finer than any picture, and a third of the file."""


def _drawn(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the values to the digits a picture needs."""
    with np.errstate(divide="ignore"):
        scale = 10.0 ** (
            DIGITS - 1 - np.floor(np.log10(np.abs(values), where=values != 0.0, out=np.zeros_like(values)))
        )
    return np.asarray(np.round(values * scale) / scale)


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
        _drawn(drawn),
        np.zeros(0),
        unit,
        "builds",
        band,
        "limits",
    )
