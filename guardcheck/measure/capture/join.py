"""Whether two captures may be used as one, both with the same signal on the sync channel, or are one saved twice.

Each capture is cut at its own copy of sync, so that the lines of both lie on each other to a part of a sample. What is
left to tell is whether that copy is the same: line rate, time base, polarity, width, height and direct voltage.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.errors import InputError
from guardcheck.measure.capture.lines import Edges, find_edges
from guardcheck.measure.capture.records import Capture
from guardcheck.measure.capture.slicer import find_pulses
from guardcheck.measure.capture.systems import nearest_system

RATE = 5e-4
"""Line periods that differ by more than this share are two signals: crystals and time bases hold 1e-4 each."""
HEIGHT = 0.1
"""Heights of the common channel may differ by this share: two readings of one scope at 3 %, with room."""
LEVEL = 0.25
"""Direct voltages of the common channel may differ by this share of its height: hum moves them."""
LEAST_COMMON = 0.5
"""Share of the shorter capture that must lie in both before their samples tell whether one was copied."""
WIDTH = 0.1e-6
"""Widths of sync may differ by this [s] at 15 kHz, beyond what the samples tell."""


@dataclass(frozen=True)
class _Common:
    """What one capture shows of the common channel: sync edges, polarity, level between the pulses and height [V]."""

    edges: Edges
    sign: int
    level: float
    height: float


def differs(first: Capture, second: Capture, common: str) -> str | None:
    """Say why two captures cannot be used as one, None when they can.

    Parameters
    ----------
    first, second : captures of one scope
    common : the name of the channel with sync both hold, in whatever case

    Raises
    ------
    InputError
        one of them has no such channel

    """
    names = [_named(one, common) for one in (first, second)]
    if abs(second.time_step / first.time_step - 1.0) > 1e-6:
        rates = f"{1e-6 / second.time_step:.4g} MHz here, {1e-6 / first.time_step:.4g} MHz in the other"
        return f"cannot be joined: the captures were sampled at different rates ({rates}); take both alike"
    found = []
    for one, name in zip((first, second), names, strict=True):
        seen = _look(one, name)
        if isinstance(seen, str):
            where = "here" if one is second else "in the other capture"
            return f"cannot be joined: {seen} on the common channel '{common}' {where}"
        found.append(seen)
    return _compared(found[0], found[1], common)


def is_copy(first: Capture, one: str, second: Capture, other: str) -> bool:
    """Tell whether two traces are one acquisition: alike wherever both were kept, but for the digits of one.

    Two lines of one picture differ by their noise in every other sample; what agrees in all of them was saved twice,
    perhaps a part of it only, or with fewer digits.

    Parameters
    ----------
    first, second : the captures
    one, other : the channel of each

    """
    if abs(second.time_step / first.time_step - 1.0) > 1e-6:
        return False
    later = round((second.start - first.start) / first.time_step)
    a, b = first.volts[one][max(0, later) :], second.volts[other][max(0, -later) :]
    length = min(len(a), len(b))
    if length < LEAST_COMMON * min(first.n_points, second.n_points):
        return False
    fine, coarse = sorted((first.resolution[one], second.resolution[other]))
    digits = 0.5 * coarse if fine < 0.99 * coarse else 0.0
    return bool(np.all(np.abs(a[:length].astype(np.float64) - b[:length]) <= digits * (1.0 + 1e-3)))


def _compared(a: _Common, b: _Common, common: str) -> str | None:
    """Say what of the common channel is not alike, None when all is."""
    said = f"cannot be joined: on the common channel '{common}'"
    period = b.edges.period / a.edges.period
    allowed = RATE + 3.0 * (a.edges.period_error + b.edges.period_error) / a.edges.period
    if abs(period - 1.0) > allowed:
        seen = f"{1e6 * b.edges.period:.5g} us here, {1e6 * a.edges.period:.5g} us in the other"
        known = [nearest_system(one.edges.period, one.edges.width) for one in (a, b)]
        cause = "two line rates" if None not in known else "a wrong time base, or another signal"
        return f"{said} a line lasts {seen}: {cause}"
    if a.sign != b.sign:
        return f"{said} sync goes the other way"
    if abs(b.edges.width - a.edges.width) > WIDTH * a.edges.rate.scale + a.edges.together + b.edges.together:
        return f"{said} sync is {1e6 * b.edges.width:.3g} us wide here, {1e6 * a.edges.width:.3g} us in the other"
    if abs(b.height / a.height - 1.0) > HEIGHT:
        return f"{said} sync is {1e3 * b.height:.3g} mV high here, {1e3 * a.height:.3g} mV in the other"
    if abs(b.level - a.level) > LEVEL * a.height:
        return f"{said} the level between the pulses is {b.level:.3g} V here, {a.level:.3g} V in the other"
    return None


def _named(capture: Capture, common: str) -> str:
    """Return a channel's own name for one in whatever case; InputError where there is none."""
    for name in capture.volts:
        if name.casefold() == common.casefold():
            return name
    raise InputError(f"cannot be joined: it has no channel '{common}' in common", file=capture.file)


def _look(capture: Capture, name: str) -> _Common | str:
    """Return the sync of a channel and its levels, or why it has none."""
    volts, step = capture.volts[name], capture.time_step
    pulses = find_pulses(volts, step)
    edges = None if pulses is None else find_edges(pulses.sign * volts, step, pulses)
    if pulses is None or edges is None:
        return "there is no line sync"
    level = _median(volts, step, edges.trail + edges.rate.porch[0], edges.rate.porch[1] - edges.rate.porch[0])
    tip = _median(volts, step, edges.lead + 0.25 * edges.width, 0.5 * edges.width)
    return _Common(edges, pulses.sign, level, abs(level - tip))


def _median(volts: NDArray[np.float32], step: float, starts: NDArray[np.float64], length: float) -> float:
    """Return the median over lines of the mean of a part of each [V]."""
    index = (starts / step).astype(np.int64)[:, None] + np.arange(max(1, int(length / step)))
    return float(np.median(volts[np.clip(index, 0, len(volts) - 1)].mean(axis=1, dtype=np.float64)))
