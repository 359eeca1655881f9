"""What every picture's axes have in common: scales, ticks, keys, bands and marks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardcheck.formatting import show
from guardcheck.model import Curve
from guardcheck.report.arrange.words import clean
from guardcheck.report.pictures import svg
from guardcheck.report.pictures.curves import TEMPLATE, Panel, role

_CLOSE, _FLOOR = 0.2, 0.055
"""Marks nearer than this share of the axis would write over each other; how much higher the next name then stands."""
_NEAR, _NAMED_AT, _NAME = 0.06, 0.8, 0.22
"""Levels nearer than this share of the axis would write over each other; where names of levels end, and how much
further left each next one then does."""

_MILLI = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


def scale(unit: str, values: Sequence[NDArray[np.float64]]) -> tuple[float, str]:
    """Return the factor that divides an axis, and the unit with its prefix."""
    if unit in ("1", "dB"):
        return (0.01, "%") if unit == "1" else (1.0, "dB")
    peak = max((float(np.nanmax(np.abs(v))) for v in values if np.isfinite(v).any()), default=0.0)
    power = 0 if peak == 0 else min(9, max(-12, 3 * math.floor(math.log10(peak) / 3 + 1e-9)))
    return 10.0**power, f"{_MILLI[power]}{unit}"


def label(axes: Any, x: str, y: str) -> None:
    """Label both axes at their ends, where the eye finds them without turning the head."""
    axes.text(0.0, 1.035, y, transform=axes.transAxes, ha="left", va="bottom", color=svg.SOFT)
    axes.text(1.0, -0.125, x, transform=axes.transAxes, ha="right", va="top", color=svg.SOFT)


def ticks(axis: Any, low: float, high: float) -> None:
    """Write at most six round numbers, and no small strokes between them."""
    from matplotlib.ticker import FixedLocator, MaxNLocator, NullLocator

    found = MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    axis.set_major_locator(FixedLocator([t for t in found if low - 1e-12 * abs(low) <= t <= high]))
    axis.set_minor_locator(NullLocator())


def decades(axes: Any, low: float, high: float, unit: str) -> None:
    """Write the decades of a logarithmic axis as a bench says them: 1 kHz, 10 kHz."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    axes.set_xscale("log")
    axes.set_xlim(low, high)
    powers = range(math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9) + 1)
    axes.xaxis.set_major_locator(FixedLocator([10.0**power for power in powers]))
    axes.xaxis.set_major_formatter(FixedFormatter([show(10.0**power, unit, 1) for power in powers]))
    axes.xaxis.set_minor_locator(NullLocator())


def line_style(curve: Curve) -> dict[str, Any]:
    """Return how a curve is drawn: bare or template broken and on top, the other solid, so that both show."""
    if curve.guarded is False or role(curve) == TEMPLATE:
        return {"color": svg.BARE, "linewidth": 1.2, "linestyle": (0, (4, 2)), "zorder": 4}
    return {"color": svg.GUARDED, "linewidth": 1.7, "linestyle": "solid", "zorder": 3}


def places(curves: Sequence[Curve]) -> list[tuple[Curve, float]]:
    """Return where the key of each curve starts, above the axes and flush right; a lone unnamed curve needs none."""
    named = [curve for curve in curves if len(curves) > 1 or curve.guarded is not None]
    return [(curve, 1.0 - 0.22 * (len(named) - place)) for place, curve in enumerate(named)]


def legend(axes: Any, curves: Sequence[Curve]) -> None:
    """Write the key above the axes: a stroke in the curve's own style, and its word."""
    for curve, left in places(curves):
        span = [left, left + 0.065]
        axes.plot(span, [1.07, 1.07], transform=axes.transAxes, clip_on=False, **line_style(curve))
        axes.text(left + 0.078, 1.035, role(curve), transform=axes.transAxes, va="bottom")


def band(axes: Any, panel: Panel, divide: float, low: float, high: float) -> None:
    """Draw each band hatched between two solid edges, with its name inside."""
    for band, name in dict.fromkeys((c.band, clean(c.band_label)) for c in panel.curves if c.band is not None):
        bottom = low if band[0] is None else band[0] / divide
        top = high if band[1] is None else band[1] / divide
        axes.axhspan(bottom, top, facecolor=svg.BAND, edgecolor="#b4c4b6", hatch="////", linewidth=0, zorder=1)
        for end, edge in zip(band, (bottom, top), strict=True):
            if end is not None:
                axes.axhline(edge, color=svg.SOFT, linewidth=0.9, linestyle=(0, (1, 1.2)), zorder=2)
        if name:
            axes.annotate(
                name, (0.99, top), xycoords=axes.get_yaxis_transform(), xytext=(0, -3), textcoords="offset points",
                ha="right", va="top", fontsize=7.5, zorder=6,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1},
            )  # fmt: skip


def marks(axes: Any, panel: Panel, divide: float) -> None:
    """Draw named places on the x axis; names of places that stand close are put one above the other."""
    marks = {(clean(name), place) for curve in panel.curves for name, place in curve.marks.items()}
    left, right = axes.get_xlim()
    floor = before = -math.inf
    for name, place in sorted(marks, key=lambda mark: (mark[1], mark[0])):
        at = place / divide
        floor = floor + _FLOOR if at - before < _CLOSE * (right - left) else 0.02
        before = at
        axes.axvline(at, color=svg.SOFT, linewidth=0.8, linestyle=(0, (5, 1.5, 1, 1.5)), zorder=2)
        axes.annotate(
            name, (at, floor), xycoords=axes.get_xaxis_transform(), xytext=(4, 0),
            textcoords="offset points", ha="left", va="bottom", fontsize=7.5, zorder=6,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
        )  # fmt: skip


def levels(axes: Any, panel: Panel, divide: float) -> None:
    """Draw named levels across the picture, the upper ones named above their line, the lower ones below it.

    The names stand left of a band's own name, so that both can be read where the band is a mere stroke.
    """
    found = {(clean(name), level / divide) for curve in panel.curves for name, level in curve.marks.items()}
    middle = sum(level for _, level in found) / max(len(found), 1)
    taken: list[float] = []
    low, high = axes.get_ylim()
    for name, level in sorted(found, key=lambda mark: (-mark[1], mark[0])):
        beside = sum(
            abs(level - other) < _NEAR * (high - low) and (other > middle) == (level > middle) for other in taken
        )
        taken.append(level)
        upper = level > middle
        axes.axhline(level, color=svg.SOFT, linewidth=0.8, linestyle=(0, (5, 1.5, 1, 1.5)), zorder=2)
        axes.annotate(
            name, (_NAMED_AT - _NAME * beside, level), xycoords=axes.get_yaxis_transform(),
            xytext=(0, 2 if upper else -2), textcoords="offset points", ha="right",
            va="bottom" if upper else "top", fontsize=7.5, zorder=6,
            bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5},
        )  # fmt: skip


def y_range(panel: Panel, *, with_levels: bool = False) -> tuple[float, float]:
    """Return the range that holds every curve, every band end and, if they are levels, every mark, with some room."""
    ends = [curve.y[np.isfinite(curve.y)] for curve in panel.curves]
    ends += [np.array([end for end in curve.band or () if end is not None]) for curve in panel.curves]
    if with_levels:
        ends += [np.array(list(curve.marks.values()), dtype=float) for curve in panel.curves]
    every = np.concatenate([*ends, np.zeros(0)])
    if not len(every):
        return 0.0, 1.0
    low, high = float(every.min()), float(every.max())
    return widened(low, high, 0.08)


def widened(low: float, high: float, share: float) -> tuple[float, float]:
    """Return the range with room at both ends, and never an empty one."""
    room = max(share * (high - low), 1e-6 * max(abs(low), abs(high))) or 1.0
    return low - room, high + room


def peaks(axes: Any, panel: Panel, x_divide: float, y_divide: float) -> None:
    """Name the largest value of each curve, and shade the time it spends beyond the outermost levels."""
    marked = [level / y_divide for curve in panel.curves for level in curve.marks.values()]
    for curve in panel.curves:
        known = np.isfinite(curve.x) & np.isfinite(curve.y)
        if not known.any():
            continue
        x, y = curve.x[known] / x_divide, curve.y[known] / y_divide
        top = int(np.argmax(np.abs(y)))
        colour = line_style(curve)["color"]
        axes.annotate(
            show(float(y[top] * y_divide), curve.y_unit), (x[top], y[top]), xytext=(4, 3),
            textcoords="offset points", ha="left", va="bottom", fontsize=7.5, color=colour, zorder=6,
        )  # fmt: skip
        if marked:
            for edge, beyond in ((max(marked), y > max(marked)), (min(marked), y < min(marked))):
                axes.fill_between(x, y, edge, where=beyond, color=colour, alpha=0.12, linewidth=0, zorder=1)
