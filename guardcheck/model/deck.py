"""What goes into the engine and what comes out of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from guardcheck.model.circuit import Card, Model


@dataclass(frozen=True, slots=True)
class Operating:
    """A DC operating point."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """A small-signal sweep, `points` logarithmically spaced frequencies from `start` to `stop` [Hz]."""

    start: float
    stop: float
    points: int


@dataclass(frozen=True, slots=True)
class Transient:
    """A transient: print step, end, largest internal step [s]; `uic` starts from the stated initial conditions."""

    step: float
    stop: float
    max_step: float
    uic: bool = False


Analysis = Operating | Sweep | Transient


@dataclass(frozen=True)
class Deck:
    """One circuit, one analysis, and the variants to run it with.

    Parameters
    ----------
    name : what this deck is for, used in messages
    cards : flat elements with scalar values: the first variant
    models : the `.model` cards they need
    analysis : what to run
    save : vectors to bring back: node names as ``v(node)``, source currents as ``i(vname)``
    options : simulator options by name, from the engine's own list
    alter : names of the cards whose principal value differs between variants
    variants : shape ``(n_variants, len(alter))`` [SI]; None means one variant, the cards as they are
    windows : transient only: time windows ``(t0, t1)`` [s]; the trace then holds time averages, one per window
    family : what it shares with other decks, such as a line: once one of them gets no answer, the others are not tried

    """

    name: str
    cards: tuple[Card, ...]
    models: tuple[Model, ...]
    analysis: Analysis
    save: tuple[str, ...]
    options: Mapping[str, float | str] = field(default_factory=dict)
    alter: tuple[str, ...] = ()
    variants: NDArray[np.float64] | None = None
    windows: tuple[tuple[float, float], ...] = ()
    family: str = ""

    @property
    def n_variants(self) -> int:
        """Number of runs this deck stands for."""
        return 1 if self.variants is None else len(self.variants)


@dataclass(frozen=True)
class Trace:
    """What one deck gave.

    `vectors` maps each saved name to an array: shape ``(n_variants,)`` for an operating point,
    ``(n_variants, n_axis)`` for a sweep (complex) or a transient; ``(n_variants, n_windows)`` when windows were asked.
    A variant that failed holds NaN in every vector and False in `solved`. `failure` is set when nothing can be
    trusted; it quotes ngspice's own words. `help_used` lists the convergence help that was needed, in order.
    `axis` is frequency [Hz] or time [s] of the (only) variant; None for operating points and windows.
    """

    deck: str
    vectors: Mapping[str, NDArray[np.float64] | NDArray[np.complex128]]
    solved: NDArray[np.bool_]
    axis: NDArray[np.float64] | None = None
    failure: str | None = None
    help_used: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EngineInfo:
    """Which simulator answered."""

    name: str
    version: str
