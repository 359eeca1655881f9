"""One scan line as a stimulus: sync, porches, a bar and a staircase."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

Corner = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Timing:
    """Timing of one scan line [s]: period, sync width, back porch, front porch, edge (10-90 %)."""

    period: float
    sync_width: float
    back_porch: float
    front_porch: float
    edge: float


STAIRS = 5


def scan_line(levels: Mapping[str, float], timing: Timing) -> tuple[Corner, ...]:
    """Return the corners of one scan line that starts 1 µs before its sync edge.

    The picture is a bar at white over the first third, black, then a five-step staircase from black to white. A
    signal without white (a sync line) has no picture. Levels are volts by state; a missing sync is at blanking.
    """
    blank = levels["blank"]
    lead = 1e-6
    corners: list[Corner] = [(0.0, blank)]

    def to(time: float, level: float) -> None:
        if level != corners[-1][1]:
            corners.extend([(time - timing.edge / 2, corners[-1][1]), (time + timing.edge / 2, level)])

    to(lead, levels.get("sync", blank))
    to(lead + timing.sync_width, blank)
    start = lead + timing.sync_width + timing.back_porch
    active = timing.period - timing.sync_width - timing.back_porch - timing.front_porch
    if "white" in levels:
        white, black = levels["white"], levels.get("black", blank)
        to(start, white)
        to(start + active / 3, black)
        for step in range(1, STAIRS + 1):
            level = black + (white - black) * step / STAIRS
            to(start + active * (0.4 + 0.6 * (step - 1) / STAIRS), level)
        to(start + active, blank)
    corners.append((timing.period + lead, corners[-1][1]))
    return tuple(corners)
