"""Curves of stress events for the report: voltage and current of the pin at each event's hardest level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from guardcheck.model import REFERENCE, Curve
from guardcheck.pipeline.event_runs import PinSeen, Seen
from guardcheck.pipeline.event_study import Group

Array = NDArray[np.float64]

MOST_POINTS = 240
"""Points drawn of one waveform; extremes are kept."""
PICTURE = "event"


def curves_of(groups: Sequence[Group]) -> tuple[Curve, ...]:
    """Return the curves of one chain's events, at the last severity that was solved of each."""
    hardest: dict[str, Group] = {}
    for group in groups:
        if group.event.plan.role != REFERENCE and group.good:
            best = hardest.get(group.event.name)
            if best is None or _current(group) >= _current(best):
                hardest[group.event.name] = group
    return tuple(curve for group in hardest.values() for curve in _curves(group))


def _current(group: Group) -> float:
    return max(pin.stress.current for one in group.good for pin in one.pins)


def _curves(group: Group) -> tuple[Curve, ...]:
    """Return voltage and current at the pin that is stressed most, in the case that does it."""
    seen: Seen = max(group.good, key=lambda one: max(pin.stress.current for pin in one.pins))
    pin: PinSeen = max(seen.pins, key=lambda one: one.stress.current)
    ratings, rail = group.subject.ratings, group.subject.bench.rail.volts if seen.case.unit == "on" else 0.0
    over, under, clamp = (ratings.strict(name) for name in ("over_voltage", "under_voltage", "clamp_current"))
    guarded, line = group.subject.chain.guarded, group.subject.lines[0]
    others = f" (also {', '.join(group.subject.lines[1:])})" if len(group.subject.lines) > 1 else ""
    label = f"{group.event.name}, {group.severity}{others}"
    waves = pin.waves
    keep = _kept(waves.time, waves.volts, waves.amps)
    time = waves.time[keep]
    volts = _marks({"highest rated": rail + over, "lowest rated": -under})
    amps = _marks({"clamp rating": clamp, "clamp rating, out": -clamp})
    return (
        Curve(
            line,
            guarded,
            PICTURE,
            f"{label}: pin voltage",
            _drawn(time),
            _drawn(waves.volts[keep]),
            "s",
            "V",
            band=_band(-under, rail + over),
            band_label="rated voltage",
            marks=volts,
        ),
        Curve(
            line,
            guarded,
            PICTURE,
            f"{label}: pin current",
            _drawn(time),
            _drawn(waves.amps[keep]),
            "s",
            "A",
            band=_band(-clamp, clamp),
            band_label="rated current",
            marks=amps,
        ),
    )


def _marks(found: dict[str, float]) -> dict[str, float]:
    return {name: value for name, value in found.items() if math.isfinite(value)}


def _band(low: float, high: float) -> tuple[float | None, float | None]:
    return (low if math.isfinite(low) else None, high if math.isfinite(high) else None)


def _kept(time: Array, *waves: Array) -> NDArray[np.intp]:
    """Return the points to draw: extremes of every wave in equal shares of the points, so that no peak is lost."""
    if len(time) <= MOST_POINTS:
        return np.arange(len(time))
    edges = np.linspace(0, len(time), MOST_POINTS // (2 * len(waves)) + 1).astype(int)
    keep = {0, len(time) - 1}
    for start, stop in pairwise(edges):
        for wave in waves:
            keep |= {start + int(np.argmin(wave[start:stop])), start + int(np.argmax(wave[start:stop]))}
    return np.array(sorted(keep), dtype=np.intp)


def _drawn(values: Array) -> Array:
    """Return values to five digits: finer than any picture."""
    return np.array([float(f"{value:.4e}") for value in values])
