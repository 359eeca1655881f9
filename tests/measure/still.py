"""Lines that stand still on the samples, and the pass over them: nothing is left to chance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from guardcheck.measure.capture.clipping import Screen
from guardcheck.measure.capture.found import Found, _Look, look
from guardcheck.measure.capture.lines import Edges, cut
from guardcheck.measure.capture.systems import Rate, System, rates, systems
from tests.measure.drawn import L15, Array, Corners, bar, in_order, pulse

LOW, HIGH = rates()
S625, S525, VGA, P525 = systems()
US = 1e-6
L31 = 31.775
"""1271 samples of 25 ns [us]."""
NONE = np.zeros(0)
PLAIN = pulse(4.7, 0.1, -0.2, 0.2) + bar(10.5, 62.5, 0.1, 0.8, 0.2)
"""A line of 625 lines on 0.1 V: 0.3 V of sync, 0.7 V of picture from 10.5 us on, 1.5 us of front porch."""
DARK = pulse(4.7, 0.1, -0.2, 0.2)
FAST = pulse(3.8, 0.1, -0.2, 0.1) + bar(5.7, 31.1, 0.1, 0.8, 0.1)
"""A line of 31 kHz on 0.1 V."""


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def still(rows: Sequence[Corners], period: float, *, step: float = 0.025, cut: float = 0.5) -> Array:
    """Return lines whose samples all stand half a step beside their sync edges, so that nothing is left to chance.

    One row of corners a line, a whole number of steps long [us]; each begins `cut` before its edge. The first edge
    stands half a sample before the sample at 5 us; 5 us of the first line's end go before, 5 us of sync follow.
    """
    before = round(5.0 / step)
    time = (np.arange(round(len(rows) * period / step) + 2 * before) - before + 0.5) * step
    line = np.clip(np.floor((time + cut) / period).astype(np.int64), 0, len(rows) - 1)
    volts = np.zeros(len(time))
    for number, corners in enumerate(rows):
        x, y = zip(*in_order(corners, period), strict=True)
        volts[line == number] = np.interp(time[line == number], x, y, period=period)
    return volts


def still_edges(
    count: int, period: float, width: float, rate: Rate, *, step: float = 0.025, together: float = 0.0
) -> Edges:
    """Return the sync edges of so many `still` lines, and the one behind them [us]."""
    lead = np.asarray((5.0 - step / 2 + period * np.arange(count + 1)) * 1e-6, dtype=np.float64)
    number = np.arange(count + 1)
    return Edges(lead, lead + width * 1e-6, number, period * 1e-6, 2e-9, 3e-9, lead, rate, together * 1e-6)


def chequered(volts: Array, noise: float, period: int) -> Array:
    """Return a trace with one sample up and the next down, and the next line the other way round."""
    at = np.arange(len(volts))
    return volts + noise * (-1.0) ** (at + (at - 200) // period)


def roomy(volts: Array, top: float = 1.0, low: float = -1.0) -> Array:
    """Return a trace whose ends stand before its first line, so that nothing else is at them."""
    volts = volts.copy()
    volts[:2] = top, low
    return volts


def seen(
    rows: Sequence[Corners],
    *,
    own: bool = True,
    sign: int = 1,
    noise: float = 0.0,
    width: float = 4.7,
    screen: Screen | None = None,
    component: str | None = None,
    fields: Array | None = None,
    top: float = 1.0,
    low: float = -1.0,
) -> Found | str:
    volts = sign * roomy(chequered(still(rows, L15), noise, 2560), top, low)
    edges = still_edges(len(rows), L15, width, LOW)
    return look(
        volts, 25e-9, edges, S625, sign=sign, own_sync=own, resolution=0.0, fields=fields, screen=screen,
        component=component,
    )  # fmt: skip


def plainly(rows: Sequence[Corners] = (PLAIN,) * 4, **given: object) -> Found:
    one = seen(rows, **given)  # type: ignore[arg-type]
    assert isinstance(one, Found), one
    return one


def at_work(
    rows: Sequence[Corners] = (PLAIN,) * 4,
    *,
    system: System = S625,
    sign: int = 1,
    own: bool = True,
    resolution: float = 0.0,
    step: float = 0.025,
    together: float = 0.0,
    screen: Screen | None = None,
    top: float = 1.0,
    low: float = -1.0,
) -> _Look:
    """Return the pass over still lines as it is before anything is noted."""
    slow = system in (S625, S525)
    period, width, rate = (L15, 4.7, LOW) if slow else (L31, 3.8, HIGH)
    volts = sign * roomy(still(rows, period, step=step), top, low)
    edges = still_edges(len(rows), period, width, rate, step=step, together=together)
    lines = cut(volts, step * US, edges, sign)
    assert lines is not None
    shown = np.ones(len(lines.rows), dtype=np.bool_)
    return _Look(lines, edges, system, sign, own, resolution, volts, shown, screen)
