"""The pictures of a report. A new kind is one drawing function and its entry in `_KINDS`."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardcheck.formatting import limits, line_rank, show
from guardcheck.model import KNOWN_BY, Curve, Result
from guardcheck.report.arrange.view import unique_slugs
from guardcheck.report.arrange.words import STATE_WORDS, clean, doubt
from guardcheck.report.pictures import axes as axes_
from guardcheck.report.pictures import svg
from guardcheck.report.pictures.curves import SAMPLES, Panel, panels, role

_LEAST_HZ = 1e-6
_BARS, _MOST_BARS = 14, 240


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture: the line it belongs to, a name fit for a file, its caption, and the SVG element."""

    line: str
    slug: str
    caption: str
    svg: str
    kind: str = ""
    subject: str = ""


def drawings(result: Result) -> dict[str, str]:
    """Return every picture of the result as a self-contained SVG file: file name -> text."""
    head = '<?xml version="1.0" encoding="utf-8"?>\n'
    return {f"{picture.slug}.svg": f"{head}{picture.svg}\n" for picture in drawn(result)}


def drawn(result: Result, wanted: Callable[[Panel], bool] = lambda panel: True) -> tuple[Picture, ...]:
    """Return the pictures of the result that are wanted, in bench order of the lines."""
    found = sorted(panels(result.curves), key=lambda panel: line_rank(panel.line))
    slugs = unique_slugs(f"{panel.line}-{panel.picture}" for panel in found)
    pairs = zip(found, slugs, strict=True)
    return tuple(_picture(panel, slug, result) for panel, slug in pairs if wanted(panel))


def _picture(panel: Panel, slug: str, result: Result) -> Picture:
    kind = _KINDS.get(panel.picture, _PLAIN)
    subject = clean(panel.subject)
    caption = kind.caption if not subject else f"{kind.caption}: {subject}"
    return Picture(
        line=panel.line,
        slug=slug,
        kind=panel.picture,
        subject=subject,
        caption=f"{caption}.{_doubtful_band(panel, result)}",
        svg=svg.draw(
            lambda axes: kind.paint(axes, panel, kind.y_name),
            title=f"{clean(panel.line)}: {caption}",
            description=_in_words(panel),
            prefix=slug,
        ),
    )


def _doubtful_band(panel: Panel, result: Result) -> str:
    """Return the remark a band must carry when its limit has no published source that was read."""
    bands = {curve.band for curve in panel.curves if curve.band is not None}
    named = {word for curve in panel.curves if curve.band is not None for word in curve.band_label.split()}
    known = {
        doubt(f)
        for f in result.findings
        if f.line == panel.line and (f.bounds in bands or f.quantity.rpartition(".")[2] in named)
    }
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
            parts.append(f"{role(curve)} from {low} to {high}")
        if curve.band is not None:
            parts.append(f"{clean(curve.band_label) or 'limit'}: {limits(*curve.band, unit)}")
    return "; ".join(dict.fromkeys(parts)) or "no points"


def _event(axes: Any, panel: Panel, y_name: str) -> None:
    """Draw what a pin sees over time; its marks are ratings, and lie across."""
    _against_time(axes, panel, y_name, marks_lie=True)


def _against_time(axes: Any, panel: Panel, y_name: str, *, marks_lie: bool = False) -> None:
    """Draw values against a linear axis, the band lying across; marks stand on the x axis, or lie at values of y."""
    x_divide, x_unit = axes_.scale(panel.curves[0].x_unit, [curve.x for curve in panel.curves])
    low, high = axes_.y_range(panel, with_levels=marks_lie)
    y_divide, y_unit = axes_.scale(panel.curves[0].y_unit, [np.array([low, high])])
    drawn_x = np.concatenate([curve.x[np.isfinite(curve.x)] for curve in panel.curves] + [np.zeros(0)]) / x_divide
    left, right = (float(drawn_x.min()), float(drawn_x.max())) if len(drawn_x) else (0.0, 1.0)
    if right - left <= 1e-9 * max(abs(left), abs(right)):
        left, right = axes_.widened(left, right, 0.0)
    axes.set_xlim(left, right)
    axes.set_ylim(low / y_divide, high / y_divide)
    axes_.ticks(axes.xaxis, left, right)
    axes_.ticks(axes.yaxis, low / y_divide, high / y_divide)
    axes_.band(axes, panel, y_divide, low / y_divide, high / y_divide)
    for curve in panel.curves:
        axes.plot(curve.x / x_divide, curve.y / y_divide, **axes_.line_style(curve))
    if marks_lie:
        axes_.levels(axes, panel, y_divide)
        axes_.peaks(axes, panel, x_divide, y_divide)
    else:
        axes_.marks(axes, panel, x_divide)
    axes_.legend(axes, panel.curves)
    axis = "time" if panel.curves[0].x_unit == "s" else "value"
    axes_.label(axes, f"{axis} in {x_unit}", f"{y_name} in {y_unit}")


def _against_frequency(axes: Any, panel: Panel, y_name: str) -> None:
    """Draw a response against a logarithmic frequency axis."""
    positive = np.concatenate([curve.x[curve.x > _LEAST_HZ] for curve in panel.curves] + [np.zeros(0)])
    if not len(positive) or positive.min() == positive.max():
        _against_time(axes, panel, y_name)
        return
    low, high = axes_.y_range(panel)
    divide, unit = axes_.scale(panel.curves[0].y_unit, [np.array([low, high])])
    axes_.decades(axes, float(positive.min()), float(positive.max()), panel.curves[0].x_unit)
    axes.set_ylim(low / divide, high / divide)
    axes_.ticks(axes.yaxis, low / divide, high / divide)
    axes.grid(True, color=svg.GRID, linewidth=0.6)
    axes_.band(axes, panel, divide, low / divide, high / divide)
    for curve in panel.curves:
        axes.plot(curve.x, curve.y / divide, **axes_.line_style(curve))
    axes_.marks(axes, panel, 1.0)
    axes_.legend(axes, panel.curves)
    axes_.label(axes, "frequency", f"{y_name} in {unit}")


def _histogram(axes: Any, panel: Panel, y_name: str) -> None:
    """Draw how the samples fall, with the limits as walls."""
    groups = [curve.x[np.isfinite(curve.x)] for curve in panel.curves]
    band = [end for curve in panel.curves for end in curve.band or () if end is not None]
    every = np.concatenate([*groups, np.array(band, dtype=float)])
    if not len(every):
        every = np.array([0.0, 1.0])
    divide, unit = axes_.scale(panel.curves[0].x_unit, [every])
    left, right = (end / divide for end in axes_.widened(float(every.min()), float(every.max()), 0.06))
    width = max((float(np.ptp(group)) for group in groups if len(group)), default=0.0) / divide
    step = max(width / _BARS, (right - left) / _MOST_BARS)
    edges = left + step * np.arange(math.ceil((right - left) / step) + 1)
    tallest = max((_bars(axes, c, s / divide, edges) for c, s in zip(panel.curves, groups, strict=True)), default=0)
    axes.set_xlim(left, right)
    axes.set_ylim(0, 1.25 * max(tallest, 1))
    axes_.ticks(axes.xaxis, left, right)
    axes_.ticks(axes.yaxis, 0, 1.25 * max(tallest, 1))
    _walls(axes, panel, divide, left, right)
    axes_.marks(axes, panel, divide)
    axes_.label(axes, f"value in {unit}", f"{y_name} per bar")
    _bar_legend(axes, panel.curves)


def _bars(axes: Any, curve: Curve, samples: NDArray[np.float64], edges: NDArray[Any]) -> int:
    heights, _ = np.histogram(samples, bins=edges)
    axes.stairs(heights, edges, **_bar_style(curve))
    return int(heights.max(initial=0))


def _bar_style(curve: Curve) -> dict[str, Any]:
    if curve.guarded is False:
        return {
            "fill": True,
            "facecolor": "none",
            "edgecolor": svg.BARE,
            "hatch": "\\\\\\\\\\",
            "linewidth": 1.0,
            "zorder": 4,
        }
    return {"fill": True, "facecolor": "#a9c6d3", "edgecolor": svg.GUARDED, "linewidth": 1.0, "zorder": 3}


def _bar_legend(axes: Any, curves: Sequence[Curve]) -> None:
    from matplotlib.patches import Rectangle

    for curve, left in axes_.places(curves):
        style = _bar_style(curve)
        axes.add_patch(Rectangle((left, 1.04), 0.065, 0.055, transform=axes.transAxes, clip_on=False, **style))
        axes.text(left + 0.078, 1.035, STATE_WORDS[curve.guarded], transform=axes.transAxes, va="bottom")


def _walls(axes: Any, panel: Panel, divide: float, left: float, right: float) -> None:
    """Hatch what a limit forbids and write the limit at the wall."""
    unit = panel.curves[0].x_unit
    for low, high in dict.fromkeys(curve.band for curve in panel.curves if curve.band is not None):
        if low is not None:
            _wall(axes, low / divide, left, f"at least {show(low, unit)}")
        if high is not None:
            _wall(axes, high / divide, right, f"at most {show(high, unit)}")


def _wall(axes: Any, wall: float, far: float, words: str) -> None:
    inward = 1 if far <= wall else -1
    axes.axvspan(wall, far, facecolor="#f1f2f3", edgecolor="#c3c9cd", hatch="xxxx", linewidth=0, zorder=1)
    axes.axvline(wall, color=svg.INK, linewidth=1.1, zorder=5)
    axes.annotate(
        words, (wall, 0.985), xycoords=axes.get_xaxis_transform(), xytext=(4 * inward, 0), textcoords="offset points",
        ha="left" if inward > 0 else "right", va="top", fontsize=7.5, zorder=6,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Kind:
    caption: str
    paint: Callable[[Any, Panel, str], None]
    y_name: str = "value"


_PLAIN = _Kind("Values", _against_time)
_KINDS: Mapping[str, _Kind] = {
    "waveform": _Kind("One scan line at the display", _against_time, "level"),
    "response": _Kind("Frequency response at the display", _against_frequency, "gain"),
    SAMPLES: _Kind("How the samples fall within the declared tolerances", _histogram, "samples"),
    "event": _Kind("At the pin during the event", _event),
}
