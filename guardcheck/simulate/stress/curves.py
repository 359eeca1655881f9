"""Curves of stress events for the report: voltage and current of the pin at each event's hardest level."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import EventCase
from guardcheck.measure import PinWaves
from guardcheck.model import REFERENCE, Curve
from guardcheck.simulate.stress.convergence import Group
from guardcheck.simulate.stress.runs import PinSeen, Seen
from guardcheck.units import steady

Array = NDArray[np.float64]

MOST_POINTS = 240
"""Points drawn of one waveform; extremes are kept."""
PICTURE = "event"


def curves_of(groups: Sequence[Group], built: Sequence[Group] = ()) -> tuple[Curve, ...]:
    """Return the curves of one chain's events, at the level of each that forces the most current.

    Bare and guarded are drawn of the same case, that which is hardest on the line as `built`, so that they compare.
    """
    cases = {name: _same(_hardest(group).case) for name, group in _levels(built).items()}
    return tuple(curve for name, group in _levels(groups).items() for curve in _curves(group, cases.get(name)))


def _levels(groups: Sequence[Group]) -> dict[str, Group]:
    """Return the level of each event that forces the most current, of those that were solved."""
    found: dict[str, Group] = {}
    for group in groups:
        if group.event.plan.role != REFERENCE and group.good:
            best = found.get(group.event.name)
            if best is None or _current(_hardest(group)) >= _current(_hardest(best)):
                found[group.event.name] = group
    return found


def _hardest(group: Group) -> Seen:
    return max(group.good, key=_current)


def _current(seen: Seen) -> float:
    return steady(max(pin.stress.current for pin in seen.pins))


def _same(case: EventCase) -> tuple[object, ...]:
    """Return what makes two cases the same on two chains."""
    return case.unit, case.mated, case.level, case.values.get("polarity")


def _curves(group: Group, wanted: tuple[object, ...] | None) -> tuple[Curve, ...]:
    """Return voltage and current at the pin that is stressed most, in the wanted case or the hardest."""
    alike = [one for one in group.good if _same(one.case) == wanted]
    seen = alike[0] if alike else _hardest(group)
    pin: PinSeen = max(seen.pins, key=lambda one: steady(one.stress.current))
    ratings, rail = group.subject.ratings, group.subject.bench.rail.volts if seen.case.unit == "on" else 0.0
    over, under, clamp = (ratings.strict(name) for name in ("over_voltage", "under_voltage", "clamp_current"))
    guarded, line = group.subject.chain.guarded, group.subject.lines[0]
    others = f" (also {', '.join(group.subject.lines[1:])})" if len(group.subject.lines) > 1 else ""
    label = f"{group.event.name}, {group.severity}{others}"
    waves = pin.waves if group.event.plan.lasting else pin.waves.until(_end(pin.waves))
    keep = _kept(waves.time, waves.volts, waves.amps)
    rows = (
        ("pin voltage", waves.volts, "V", "rated voltage", {"highest rated": rail + over, "lowest rated": -under}),
        ("pin current", waves.amps, "A", "rated current", {"clamp rating": clamp, "clamp rating, out": -clamp}),
    )
    return tuple(
        Curve(
            line,
            guarded,
            PICTURE,
            f"{label}: {what}",
            _drawn(waves.time[keep]),
            _drawn(values[keep]),
            "s",
            unit,
            band=_band(min(marks.values()), max(marks.values())),
            band_label=name,
            marks=_marks(marks),
        )
        for what, values, unit, name, marks in rows
    )


def _end(waves: PinWaves) -> float:
    """Return when nothing is left to be seen [s]: a third past the last instant at a fiftieth of either peak."""
    size, volts = np.abs(waves.amps), np.abs(waves.volts - waves.volts[-1])
    seen = (size > size.max(initial=0.0) / 50.0) | (volts > volts.max(initial=0.0) / 50.0)
    last = float(waves.time[seen][-1]) if seen.any() else float(waves.time[-1])
    return min(1.33 * last, float(waves.time[-1]))


def _marks(found: dict[str, float]) -> dict[str, float]:
    return {name: value for name, value in found.items() if math.isfinite(value)}


def _band(low: float, high: float) -> tuple[float | None, float | None]:
    return (low if math.isfinite(low) else None, high if math.isfinite(high) else None)


def _kept(time: Array, *waves: Array) -> NDArray[np.intp]:
    """Return the points to draw, so that no peak is lost.

    Half of them lie at equal times, for the slow part; half are extremes of equal shares of the points, which crowd
    where it is fast.
    """
    if len(time) <= MOST_POINTS:
        return np.arange(len(time))
    keep = {0, len(time) - 1}
    keep |= set(np.searchsorted(time, np.linspace(time[0], time[-1], MOST_POINTS // 2)).tolist())
    edges = np.linspace(0, len(time), MOST_POINTS // (4 * len(waves)) + 1).astype(int)
    for start, stop in pairwise(edges):
        for wave in waves:
            keep |= {start + int(np.argmin(wave[start:stop])), start + int(np.argmax(wave[start:stop]))}
    return np.array(sorted(keep), dtype=np.intp)


def _drawn(values: Array) -> Array:
    """Return values to five digits: finer than any picture."""
    return np.array([float(f"{value:.4e}") for value in values])
