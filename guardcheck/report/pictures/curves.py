"""Curves made fit to keep and to draw: few enough points, few enough digits, the same ones in both places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from guardcheck.model import QUANTITIES, Curve
from guardcheck.report.arrange.words import STATE_WORDS

MOST_POINTS = 1000
"""More points than any screen column or printer dot can show in one picture."""

_DIGITS = 7
_ENDLESS = 1e18
"""No physical value in SI units is larger; drawn, it would only overflow."""

MEASURED, TEMPLATE = "measured", "template"
"""Words in a curve's label that say what it is: what a scope saw, and what the standard wants."""

SAMPLES = "samples"
"""The picture kind whose `x` are samples, not an axis: they are never thinned, a histogram needs them all."""


@dataclass(frozen=True)
class Panel:
    """The curves that share one pair of axes: same line, same picture kind, same subject."""

    line: str
    picture: str
    subject: str
    curves: tuple[Curve, ...]


def tidy(curve: Curve) -> Curve:
    """Return the curve with at most `MOST_POINTS` points and 7 significant digits; doing it twice changes nothing.

    Thinning keeps the lowest and the highest point of each stretch, so a spike one sample wide survives it.
    """
    x, y = np.asarray(curve.x, dtype=float), np.asarray(curve.y, dtype=float)
    if curve.picture != SAMPLES and len(x) > MOST_POINTS:
        keep = _extremes(y, MOST_POINTS)
        x, y = x[keep], y[keep]
    if curve.picture != SAMPLES and len(y) != len(x):
        y = np.full(len(x), np.nan)
    band = None if curve.band is None else (_end(curve.band[0]), _end(curve.band[1]))
    marks = {name: place for name, place in curve.marks.items() if _end(place) is not None}
    return replace(curve, x=_rounded(x), y=_rounded(y), band=band, marks=marks)


def _end(value: float | None) -> float | None:
    return value if value is not None and abs(value) < _ENDLESS else None


def _extremes(y: NDArray[np.float64], most: int) -> NDArray[np.intp]:
    edges = np.linspace(0, len(y), most // 2).astype(int)
    keep = {0, len(y) - 1}
    for start, stop in pairwise(edges):
        stretch = y[start:stop]
        if np.isfinite(stretch).any():
            keep |= {start + int(np.nanargmin(stretch)), start + int(np.nanargmax(stretch))}
    return np.array(sorted(keep), dtype=np.intp)


def _rounded(values: NDArray[np.float64]) -> NDArray[np.float64]:
    kept = (value if abs(value) < _ENDLESS else np.nan for value in values)
    return np.array([float(f"{value:.{_DIGITS - 1}e}") for value in kept], dtype=float)


def panels(curves: Sequence[Curve]) -> tuple[Panel, ...]:
    """Return the curves gathered into pictures, in order of first appearance.

    Curves of one line, one picture kind and one label share axes; `guarded` tells them apart, never the label.
    """
    families: dict[tuple[str, str, str], list[Curve]] = {}
    for curve in curves:
        families.setdefault((curve.line, curve.picture, _subject(curve.label)), []).append(tidy(curve))
    return tuple(
        Panel(line, picture, subject, tuple(sorted(found, key=lambda c: (c.guarded is not None, bool(c.guarded)))))
        for (line, picture, subject), found in families.items()
    )


def role(curve: Curve) -> str:
    """Return what a curve is called beside the others of its picture: measured, template, bare or guarded."""
    words = curve.label.split()
    return next((word for word in (TEMPLATE, MEASURED) if word in words), STATE_WORDS[curve.guarded])


def _subject(label: str) -> str:
    if label in QUANTITIES:
        return QUANTITIES[label].title
    roles = ("bare", "guarded", MEASURED, TEMPLATE, "")
    words = [word for word in label.split() if word.strip("(),:;-").casefold() not in roles]
    return " ".join(words).strip(" ,:;-")
