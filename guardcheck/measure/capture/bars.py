"""Whether the steps of declared colour bars are those of the line they were captured on, and if not, whose they are.

Eight bars of equal width in the order white, yellow, cyan, green, magenta, red, blue, black (ITU-R BT.471 names their
amplitudes; the order is that of falling luma). Red, green and blue, luma and the colour differences each make another
row of steps of them, so bars tell swapped, joined and inverted lines apart.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.picture import Folded
from guardcheck.signals.bars import RGB

Floats = NDArray[np.float64]

FITS = 0.08
"""Steps fit when they lie this close to those wanted, rms over their whole swing: luma and green differ by 0.26."""
FULL_WHITE = 1.0 / 0.75
"""White bar of 100 % before bars of 75 %."""
_STARTS = np.arange(8.5e-6, 14.1e-6, 0.25e-6)
_WIDTHS = np.arange(5.0e-6, 6.9e-6, 0.1e-6)
"""Where the first bar begins and how wide bars are [s], at 15 kHz."""
_INSIDE = (0.25, 0.5, 0.75)
_LEAST_PART = 0.2


@dataclass(frozen=True)
class Steps:
    """How the captured steps compare: `own` is the rms distance from the line's own, as a share of their swing.

    `whose` names what they fit better, None when they fit nothing: words for a reader.
    """

    own: float
    whose: str | None


@cache
def _components() -> Mapping[str, tuple[tuple[str, ...], Floats]]:
    text = (Path(__file__).parent / "components.toml").read_text(encoding="utf-8")
    return {name: (tuple(row["names"]), RGB @ np.array(row["shares"])) for name, row in tomllib.loads(text).items()}


def component_of(line: str) -> str | None:
    """Return what a line carries by its name (``red``, ``luma``, ``pb`` …), None when the name does not tell."""
    whole = line.strip().casefold()
    for words in ((whole,), tuple(word for word in re.split(r"[^a-z0-9]+", whole) if word)):
        found = {name for name, (names, _) in _components().items() if set(words) & set(names)}
        if len(found) == 1:
            return found.pop()
    return None


def steps_of(fold: Folded, blank: float, period: float, own: str, least: float) -> Steps | None:
    """Return how the steps of the average line compare with those of `own`; None when nothing but blanking is there.

    Parameters
    ----------
    fold
        the average line
    blank
        its blanking level [V]
    period
        line period [s]
    own
        a name `component_of` gives
    least
        a smaller swing is none [V]

    """
    rows = _sampled(fold, blank, period)
    if not len(rows) or float(np.ptp(rows)) <= least:
        return None
    mine = min(_distance(rows, [pattern]) for pattern in _variants(own))
    if mine <= FITS:
        return Steps(mine, own)
    others = [(min(_distance(rows, [p], sign) for p in _variants(name)), words) for name, sign, words in _single(own)]
    joined = [(_joined(rows, a, b), f"{one} and {other} joined") for one, other, a, b in _pairs(own)]
    for group in (others, joined):  # a mixture may imitate a plain line, never the other way round
        best, words = min(group)
        if best <= FITS:
            return Steps(mine, words)
    return Steps(mine, None)


def _variants(name: str) -> tuple[Floats, ...]:
    pattern = _components()[name][1]
    full = pattern.copy()
    full[0] *= FULL_WHITE
    return pattern, full


def _single(own: str) -> Iterator[tuple[str, int, str]]:
    for name in _components():
        yield name, -1, f"{name} upside down"
        if name != own:
            yield name, 1, name


def _pairs(own: str) -> Iterator[tuple[str, str, Floats, Floats]]:
    known = _components()
    group = next(one for one in (("red", "green", "blue"), ("luma", "pb", "pr")) if own in one)
    for one, other in combinations(group, 2):
        yield one, other, known[one][1], known[other][1]


def _sampled(fold: Folded, blank: float, period: float) -> Floats:
    """Return the line at three points of each of eight bars for every start and width tried, shape ``(n, 24)`` [V]."""
    places = [
        [fold.scale * (start + width * (bar + share)) for bar in range(8) for share in _INSIDE]
        for start in _STARTS
        for width in _WIDTHS
        if start + 8 * width < period / fold.scale - 0.4e-6
    ]
    found: Floats = np.interp(np.array(places), fold.x, fold.smooth) - blank
    return found


def _distance(rows: Floats, patterns: list[Floats], sign: int = 1) -> float:
    """Return the least rms distance of any row from gain x pattern + offset, over the swing; gain of the sign asked."""
    error, gains = _fit(rows, patterns)
    swing = np.abs(gains[:, 0]) * float(np.ptp(patterns[0]))
    right = gains[:, 0] * sign > 0
    return float(np.min(error[right] / swing[right], initial=np.inf))


def _joined(rows: Floats, one: Floats, other: Floats) -> float:
    """Return the least distance of any row from a mixture of two patterns, where both take part."""
    error, gains = _fit(rows, [one, other])
    small, large = np.sort(np.abs(gains), axis=1).T
    both = (gains > 0).all(axis=1) & (small > _LEAST_PART * large)
    mixed = gains @ np.stack([one, other])
    return float(np.min(error[both] / np.ptp(mixed[both], axis=1), initial=np.inf)) if both.any() else np.inf


def _fit(rows: Floats, patterns: list[Floats]) -> tuple[Floats, Floats]:
    """Fit each row by the patterns and a constant: rms of what is left, and the gains, shape ``(n, n_patterns)``."""
    basis = np.stack([*(np.repeat(p, len(_INSIDE)) for p in patterns), np.ones(rows.shape[1])], axis=1)
    solved = np.linalg.lstsq(basis, rows.T, rcond=None)[0]
    left = rows.T - basis @ solved
    error: Floats = np.asarray(np.sqrt(np.mean(left**2, axis=0)), dtype=np.float64)
    gains: Floats = np.asarray(solved[:-1].T, dtype=np.float64)
    return error, gains
