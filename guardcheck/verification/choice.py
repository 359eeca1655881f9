"""Which reading tells rival causes apart best: the one expected to say most about which of them it is.

What a reading says is the mutual information between the cause and the value read with its uncertainty (D. MacKay,
"Information-based objective functions for active data selection", Neural Computation 4, 1992). Readings that say
nearly as much are equal, and the easier one, which stands first, is taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TELLS, TELLS_LEAST = 0.05, 0.01
"""Two levels tell faults apart when they differ by this share and this voltage: what a hand scope resolves, k = 2."""
TELLS_OHMS, TELLS_LEAST_OHMS = 0.02, 0.5
"""The same for two resistances read by a hand meter."""
OVER = 40e6
"""Above this a meter shows over range [ohm]: whatever lies beyond it reads alike."""
AS_GOOD = 0.95
"""A reading that says this share of the most is as good as the best."""
NODES = 16
STEPS = 4
"""How many readings ahead are laid out."""


@dataclass(frozen=True)
class Candidate:
    """A reading that might be taken: its name for a program, its words, its unit, and what each rival makes it read."""

    key: str
    what: str
    unit: str
    reads: tuple[float, ...]


@dataclass(frozen=True)
class Outcome:
    """What may be read: the value, the rivals it points to (by their places), and what to read then, if need be."""

    value: float
    rivals: tuple[int, ...]
    then: Step | None = None


@dataclass(frozen=True)
class Step:
    """One reading to take, and what it may show."""

    key: str
    what: str
    unit: str
    outcomes: tuple[Outcome, ...]


def uncertainty(value: float, unit: str) -> float:
    """Return the standard uncertainty of a usual hand instrument at a reading, both in `unit` [V or ohm]."""
    share, least = (TELLS, TELLS_LEAST) if unit == "V" else (TELLS_OHMS, TELLS_LEAST_OHMS)
    return (share * abs(value) + least) / 2.0


def information(reads: Sequence[float], sigmas: Sequence[float], weights: Sequence[float] | None = None) -> float:
    """Return how much a reading is expected to say about which rival it is [nat]: 0 for nothing.

    The entropy of the rivals less the expected entropy once it was read; the error of the reading is Gaussian, the
    expectation a Gauss-Hermite sum over it.

    Parameters
    ----------
    reads : what each rival makes it read, shape ``(n_rivals,)``
    sigmas : standard uncertainty of the reading at each, in its unit, shape ``(n_rivals,)``
    weights : how likely each rival is, shape ``(n_rivals,)``, adding up to 1; all alike when None

    """
    mean, sigma = np.asarray(reads, dtype=float), np.asarray(sigmas, dtype=float)
    share = np.full(len(mean), 1.0 / len(mean)) if weights is None else np.asarray(weights, dtype=float)
    nodes, masses = np.polynomial.hermite.hermgauss(NODES)
    seen = mean[:, None] + math.sqrt(2.0) * sigma[:, None] * nodes
    away = (seen[:, :, None] - mean) / sigma
    log = -0.5 * away**2 - np.log(sigma)
    with np.errstate(divide="ignore"):
        joint = log + np.log(share)
    top = joint.max(axis=2)
    mixed = top + np.log(np.exp(joint - top[:, :, None]).sum(axis=2))
    own = np.einsum("iki->ik", log)
    return max(0.0, float(share @ ((own - mixed) @ masses)) / math.sqrt(math.pi))


def best(candidates: Sequence[Candidate]) -> Candidate | None:
    """Return the candidate that says most, the first of those as good; None when none tells any two rivals apart."""
    telling = [one for one in candidates if _tells(one)]
    if not telling:
        return None
    said = [information(_shown(one), [uncertainty(value, one.unit) for value in _shown(one)]) for one in telling]
    return next(one for one, nats in zip(telling, said, strict=True) if nats >= AS_GOOD * max(said))


def laid_out(candidates: Sequence[Candidate], rivals: Sequence[int], steps: int = STEPS) -> Step | None:
    """Return the reading to take and, for each thing it may show, the next, until the rivals are told apart.

    Parameters
    ----------
    candidates : every reading there is, each with a value for every rival
    rivals : places of the rivals still in question
    steps : how many readings ahead

    """
    if len(rivals) < 2 or not steps:
        return None
    narrowed = [
        Candidate(one.key, one.what, one.unit, tuple(one.reads[place] for place in rivals)) for one in candidates
    ]
    chosen = best(narrowed)
    if chosen is None:
        return None
    rest = [one for one in candidates if one.key != chosen.key]
    outcomes = []
    for value, places in _grouped(chosen):
        group = tuple(sorted(rivals[place] for place in places))
        outcomes.append(Outcome(value, group, laid_out(rest, group, steps - 1)))
    return Step(chosen.key, chosen.what, chosen.unit, tuple(outcomes))


def apart(one: float, other: float, unit: str) -> bool:
    """Tell whether a usual hand instrument tells two readings apart [V or ohm]."""
    share, least = (TELLS, TELLS_LEAST) if unit == "V" else (TELLS_OHMS, TELLS_LEAST_OHMS)
    return abs(one - other) > math.hypot(share * one, share * other) + least


def _shown(one: Candidate) -> tuple[float, ...]:
    return tuple(min(value, OVER) for value in one.reads) if one.unit == "ohm" else one.reads


def _tells(one: Candidate) -> bool:
    """Tell whether the outermost readings differ; where they do not, no two between them do."""
    shown = _shown(one)
    return all(math.isfinite(value) for value in shown) and apart(min(shown), max(shown), one.unit)


def _grouped(one: Candidate) -> list[tuple[float, list[int]]]:
    """Return what may be read, highest first: rivals no instrument tells apart together, with their mean."""
    shown = _shown(one)
    groups: list[list[int]] = []
    for place in sorted(range(len(shown)), key=lambda place: -shown[place]):
        if groups and not apart(shown[groups[-1][-1]], shown[place], one.unit):
            groups[-1].append(place)
        else:
            groups.append([place])
    return [(sum(one.reads[place] for place in group) / len(group), group) for group in groups]
