"""The pictures of a report. A new kind is one drawing function and its entry in `_KINDS`."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardcheck.model import KNOWN_BY, Curve, Result
from guardcheck.report import svg
from guardcheck.report.curves import SAMPLES, Panel, panels
from guardcheck.report.numbers import limits, show
from guardcheck.report.view import bounds, unique_slugs
from guardcheck.report.words import STATE_WORDS, clean, doubt, line_rank

_MILLI = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
_BARS, _MOST_BARS = 24, 240


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: the line it belongs to, a name fit for a file, its caption, and the SVG element."""

    line: str
    slug: str
    caption: str
    svg: str


def pictures(result: Result) -> dict[str, str]:
    """Return every picture of the result as a self-contained SVG file: file name -> text."""
    head = '<?xml version="1.0" encoding="utf-8"?>\n'
    return {f"{picture.slug}.svg": f"{head}{picture.svg}\n" for picture in drawn(result)}


def drawn(result: Result) -> tuple[Picture, ...]:
    """Return every picture of the result, in bench order of the lines."""
    found = sorted(panels(result.curves), key=lambda panel: line_rank(panel.line))
    slugs = unique_slugs(f"{panel.line}-{panel.picture}" for panel in found)
    return tuple(_picture(panel, slug, result) for panel, slug in zip(found, slugs, strict=True))


def _picture(panel: Panel, slug: str, result: Result) -> Picture:
    kind = _KINDS.get(panel.picture, _PLAIN)
    subject = clean(panel.subject)
    caption = kind.caption if not subject else f"{kind.caption}: {subject}"
    return Picture(
        line=panel.line,
        slug=slug,
        caption=f"{caption}.{_doubtful_band(panel, result)}",
        svg=svg.draw(
            lambda axes: kind.paint(axes, panel),
            title=f"{clean(panel.line)}: {caption}",
            description=_in_words(panel),
            prefix=slug,
        ),
    )


def _doubtful_band(panel: Panel, result: Result) -> str:
    """Return the remark a band must carry when its limit has no published source that was read."""
    bands = {curve.band for curve in panel.curves if curve.band is not None}
    known = {doubt(f) for f in result.findings if f.line == panel.line and bounds(f) in bands}
    words = sorted(KNOWN_BY[key] for key in known if key is not None)
    return f" Limit: {'; '.join(words)}." if words else ""


def _in_words(panel: Panel) -> str:
    """Return what a sighted reader takes from the picture: the range of each curve, and the band."""
    parts = []
    for curve in panel.curves:
        values, unit = (curve.x, curve.x_unit) if panel.picture == SAMPLES else (curve.y, curve.y_unit)
        finite = values[np.isfinite(values)]
        if len(finite):
            low, high = show(float(finite.min()), unit), show(float(finite.max()), unit)
            parts.append(f"{STATE_WORDS[curve.guarded]} from {low} to {high}")
        if curve.band is not None:
            parts.append(f"{clean(curve.band_label) or 'limit'}: {limits(*curve.band, unit)}")
    return "; ".join(dict.fromkeys(parts)) or "no points"


# --- axes -------------------------------------------------------------------------------------------------------------


def _scale(unit: str, values: Sequence[NDArray[np.float64]]) -> tuple[float, str]:
    """Return the factor that divides an axis, and the unit with its prefix."""
    if unit in ("1", "dB"):
        return (0.01, "%") if unit == "1" else (1.0, "dB")
    peak = max((float(np.nanmax(np.abs(v))) for v in values if np.isfinite(v).any()), default=0.0)
    power = 0 if peak == 0 else min(9, max(-12, 3 * math.floor(math.log10(peak) / 3 + 1e-9)))
    return 10.0**power, f"{_MILLI[power]}{unit}"


def _label(axes: Any, x: str, y: str) -> None:
    """Label both axes at their ends, where the eye finds them without turning the head."""
    axes.text(0.0, 1.035, y, transform=axes.transAxes, ha="left", va="bottom", color=svg.SOFT)
    axes.text(1.0, -0.125, x, transform=axes.transAxes, ha="right", va="top", color=svg.SOFT)


def _ticks(axis: Any, low: float, high: float) -> None:
    from matplotlib.ticker import FixedLocator, MaxNLocator, NullLocator

    found = MaxNLocator(nbins=5, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    axis.set_major_locator(FixedLocator([t for t in found if low - 1e-12 * abs(low) <= t <= high]))
    axis.set_minor_locator(NullLocator())


def _decades(axes: Any, low: float, high: float, unit: str) -> None:
    """Write the decades of a logarithmic axis as a bench says them: 1 kHz, 10 kHz."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

    axes.set_xscale("log")
    axes.set_xlim(low, high)
    powers = range(math.ceil(math.log10(low) - 1e-9), math.floor(math.log10(high) + 1e-9) + 1)
    axes.xaxis.set_major_locator(FixedLocator([10.0**power for power in powers]))
    axes.xaxis.set_major_formatter(FixedFormatter([show(10.0**power, unit, 1) for power in powers]))
    axes.xaxis.set_minor_locator(NullLocator())


def _line_style(curve: Curve) -> dict[str, Any]:
    if curve.guarded is False:
        return {"color": svg.BARE, "linewidth": 1.2, "linestyle": (0, (4, 2)), "zorder": 4}
    return {"color": svg.GUARDED, "linewidth": 1.7, "linestyle": "solid", "zorder": 3}


def _legend(axes: Any, curves: Sequence[Curve]) -> None:
    """Write the key above the axes: a stroke in the curve's own style, and its word."""
    right = 1.0
    for curve in reversed(curves):
        word = STATE_WORDS[curve.guarded] if len(curves) > 1 or curve.guarded is not None else ""
        if not word:
            continue
        axes.text(right, 1.035, word, transform=axes.transAxes, ha="right", va="bottom")
        end = right - 0.0195 * len(word) - 0.012
        axes.plot([end - 0.06, end], [1.065, 1.065], transform=axes.transAxes, clip_on=False, **_line_style(curve))
        right = end - 0.09


def _band(axes: Any, panel: Panel, divide: float, low: float, high: float) -> None:
    """Draw each band hatched between two solid edges, with its name inside."""
    for band, name in dict.fromkeys((c.band, clean(c.band_label)) for c in panel.curves if c.band is not None):
        bottom = low if band[0] is None else band[0] / divide
        top = high if band[1] is None else band[1] / divide
        axes.axhspan(bottom, top, facecolor=svg.BAND, edgecolor="#b4c4b6", hatch="////", linewidth=0, zorder=1)
        for end, edge in zip(band, (bottom, top), strict=True):
            if end is not None:
                axes.axhline(edge, color=svg.SOFT, linewidth=0.9, linestyle=(0, (1, 1.2)), zorder=2)
        if name:
            axes.text(
                0.99, top, name, transform=axes.get_yaxis_transform(), ha="right", va="top", fontsize=7.5, zorder=6,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.2},
            )  # fmt: skip


def _marks(axes: Any, panel: Panel, divide: float) -> None:
    """Draw named places on the x axis."""
    marks = {(clean(name), place) for curve in panel.curves for name, place in curve.marks.items()}
    for name, place in sorted(marks, key=lambda mark: (mark[1], mark[0])):
        axes.axvline(place / divide, color=svg.SOFT, linewidth=0.8, linestyle=(0, (5, 1.5, 1, 1.5)), zorder=2)
        axes.text(
            place / divide, 0.02, f" {name}", transform=axes.get_xaxis_transform(), ha="left", va="bottom", fontsize=7.5,
            zorder=6,
        )  # fmt: skip


def _y_range(panel: Panel) -> tuple[float, float]:
    ends = [curve.y[np.isfinite(curve.y)] for curve in panel.curves]
    ends += [np.array([end for end in curve.band or () if end is not None]) for curve in panel.curves]
    every = np.concatenate([*ends, np.zeros(0)])
    if not len(every):
        return 0.0, 1.0
    low, high = float(every.min()), float(every.max())
    room = 0.08 * (high - low) or abs(high) * 0.1 or 1.0
    return low - room, high + room


# --- one function per kind --------------------------------------------------------------------------------------------


def _against_time(axes: Any, panel: Panel) -> None:
    """Draw values against a linear axis, the band lying across."""
    x_divide, x_unit = _scale(panel.curves[0].x_unit, [curve.x for curve in panel.curves])
    low, high = _y_range(panel)
    y_divide, y_unit = _scale(panel.curves[0].y_unit, [np.array([low, high])])
    drawn_x = np.concatenate([curve.x[np.isfinite(curve.x)] for curve in panel.curves] + [np.zeros(0)]) / x_divide
    left, right = (float(drawn_x.min()), float(drawn_x.max())) if len(drawn_x) else (0.0, 1.0)
    right = right if right > left else left + 1.0
    axes.set_xlim(left, right)
    axes.set_ylim(low / y_divide, high / y_divide)
    _ticks(axes.xaxis, left, right)
    _ticks(axes.yaxis, low / y_divide, high / y_divide)
    _band(axes, panel, y_divide, low / y_divide, high / y_divide)
    for curve in panel.curves:
        axes.plot(curve.x / x_divide, curve.y / y_divide, **_line_style(curve))
    _marks(axes, panel, x_divide)
    _legend(axes, panel.curves)
    axis = "time" if panel.curves[0].x_unit == "s" else "value"
    _label(axes, f"{axis} in {x_unit}", y_unit)


def _against_frequency(axes: Any, panel: Panel) -> None:
    """Draw a response against a logarithmic frequency axis."""
    positive = np.concatenate([curve.x[curve.x > 0] for curve in panel.curves] + [np.zeros(0)])
    if not len(positive) or positive.min() == positive.max():
        _against_time(axes, panel)
        return
    low, high = _y_range(panel)
    divide, unit = _scale(panel.curves[0].y_unit, [np.array([low, high])])
    _decades(axes, float(positive.min()), float(positive.max()), panel.curves[0].x_unit)
    axes.set_ylim(low / divide, high / divide)
    _ticks(axes.yaxis, low / divide, high / divide)
    axes.grid(True, color=svg.GRID, linewidth=0.6)
    _band(axes, panel, divide, low / divide, high / divide)
    for curve in panel.curves:
        axes.plot(curve.x, curve.y / divide, **_line_style(curve))
    _marks(axes, panel, 1.0)
    _legend(axes, panel.curves)
    _label(axes, "frequency", unit)


def _histogram(axes: Any, panel: Panel) -> None:
    """Draw how the samples fall, with the limits as walls."""
    groups = [curve.x[np.isfinite(curve.x)] for curve in panel.curves]
    band = [end for curve in panel.curves for end in curve.band or () if end is not None]
    every = np.concatenate([*groups, np.array(band, dtype=float)])
    if not len(every):
        every = np.array([0.0, 1.0])
    divide, unit = _scale(panel.curves[0].x_unit, [every])
    room = 0.06 * float(np.ptp(every)) or 0.05 * abs(float(every[0])) or 1.0
    left, right = (float(every.min()) - room) / divide, (float(every.max()) + room) / divide
    width = max((float(np.ptp(group)) for group in groups if len(group)), default=0.0) / divide
    step = max(width / _BARS, (right - left) / _MOST_BARS)
    edges = left + step * np.arange(math.ceil((right - left) / step) + 1)
    tallest = max((_bars(axes, c, s / divide, edges) for c, s in zip(panel.curves, groups, strict=True)), default=0)
    axes.set_xlim(left, right)
    axes.set_ylim(0, 1.25 * max(tallest, 1))
    _ticks(axes.xaxis, left, right)
    _ticks(axes.yaxis, 0, 1.25 * max(tallest, 1))
    _walls(axes, panel, divide, left, right)
    _marks(axes, panel, divide)
    _label(axes, f"value in {unit}", "samples per bar")
    _bar_legend(axes, panel.curves)


def _bars(axes: Any, curve: Curve, samples: NDArray[np.float64], edges: NDArray[np.float64]) -> int:
    heights, _ = np.histogram(samples, bins=edges)
    axes.stairs(heights, edges, **_bar_style(curve))
    return int(heights.max(initial=0))


def _bar_style(curve: Curve) -> dict[str, Any]:
    if curve.guarded is False:
        return {"fill": True, "facecolor": "none", "edgecolor": svg.BARE, "hatch": "\\\\\\\\\\", "linewidth": 1.0, "zorder": 4}
    return {"fill": True, "facecolor": "#a9c6d3", "edgecolor": svg.GUARDED, "linewidth": 1.0, "zorder": 3}


def _bar_legend(axes: Any, curves: Sequence[Curve]) -> None:
    from matplotlib.patches import Rectangle

    right = 1.0
    for curve in reversed(curves):
        if len(curves) == 1 and curve.guarded is None:
            continue
        word = STATE_WORDS[curve.guarded]
        axes.text(right, 1.035, word, transform=axes.transAxes, ha="right", va="bottom")
        end = right - 0.0195 * len(word) - 0.012
        axes.add_patch(
            Rectangle((end - 0.05, 1.04), 0.05, 0.05, transform=axes.transAxes, clip_on=False, **_bar_style(curve))
        )
        right = end - 0.08


def _walls(axes: Any, panel: Panel, divide: float, left: float, right: float) -> None:
    """Hatch what a limit forbids and write the limit at the wall."""
    for low, high in dict.fromkeys(curve.band for curve in panel.curves if curve.band is not None):
        for end, start, stop, side, word in ((low, left, None, "left", "low limit"), (high, None, right, "right", "high limit")):
            if end is None:
                continue
            wall = end / divide
            axes.axvspan(
                wall if start is None else start, wall if stop is None else stop, facecolor="#f1f2f3",
                edgecolor="#c3c9cd", hatch="xxxx", linewidth=0, zorder=1,
            )  # fmt: skip
            axes.axvline(wall, color=svg.INK, linewidth=1.1, zorder=5)
            axes.text(
                wall, 0.985, f" {word} " + show(end, panel.curves[0].x_unit) + " ", transform=axes.get_xaxis_transform(),
                ha=side, va="top", fontsize=7.5, zorder=6,
            )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Kind:
    caption: str
    paint: Callable[[Any, Panel], None]


_PLAIN = _Kind("Values", _against_time)
_KINDS: Mapping[str, _Kind] = {
    "waveform": _Kind("One scan line at the display", _against_time),
    "response": _Kind("Frequency response at the display", _against_frequency),
    SAMPLES: _Kind("How the samples fall within the declared tolerances", _histogram),
    "event": _Kind("At the pin during the event", _against_time),
}
