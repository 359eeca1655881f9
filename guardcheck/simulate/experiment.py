"""One chain to be solved, what its plateaus are, and the few things every study of it asks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import AT_DISPLAY, Builds, Chain, emf_levels
from guardcheck.measure import summarise
from guardcheck.model import Quantity, Standard, Trace
from guardcheck.signals import colour_bars

Array = NDArray[np.float64]

BEYOND, BEYOND_AMPS = 3.0, 0.04
"""How far beyond the signal's ends a clip is looked for: volts of EMF, and amperes of a source that drives a current
(3 V into 75 ohm)."""


@dataclass(frozen=True)
class Experiment:
    """One chain to be solved: its standard, the signal states it has, and the builds to run."""

    chain: Chain
    standard: Standard
    states: tuple[str, ...]
    builds: Builds

    @property
    def mapping(self) -> Mapping[str, str]:
        """Source parameter of each state."""
        return self.chain.source.part.states[self.standard.signal]

    @property
    def beyond(self) -> float:
        """How far beyond the signal's ends a clip is looked for, in the unit of the source's levels [V or A]."""
        driven = self.chain.source.part.parameters[self.mapping["blank"]].unit
        return BEYOND_AMPS if driven == "A" else BEYOND


@dataclass(frozen=True)
class Plateaus:
    """Solved plateaus of one experiment at one average picture level.

    `volts` has shape ``(n_rows, n_states)`` [V], NaN where a build failed; `held` the capacitor voltages by name.
    """

    experiment: Experiment
    builds: Builds
    volts: Array
    picture_level: float
    held: Mapping[str, Array]
    failure: str | None = None
    help_used: tuple[str, ...] = ()


def emf_of(one: Experiment, builds: Builds) -> Array:
    """Return the EMF of every build and signal state, shape ``(n_rows, n_states)`` [V]."""
    return emf_levels(one.chain, one.mapping, one.states, builds)


def extremes(one: Experiment, builds: Builds | None = None) -> tuple[float, float]:
    """Return lowest and highest EMF of a build's signal [V], the nominal one's if none is given; colour included."""
    one_build = builds or one.builds.nominal()
    levels = dict(zip(one.states, emf_of(one, one_build)[0], strict=True))
    bars = colour_bars()
    chroma = colour_emf(one, "chroma", one_build) * _colour_share(one, one_build)
    low = min(levels.values())
    high = max(levels.values())
    if chroma > 0.0:
        # the declared chroma is that of the bars: it carries them beyond white and below black in their own proportion
        greatest = float(bars.chroma.max())
        low = min(low, levels.get("black", levels["blank"]) + chroma * bars.lowest / greatest)
        high = max(high, levels.get("white", levels["blank"]) + chroma * (bars.highest - 1.0) / greatest)
    return float(low), float(high)


def _colour_share(one: Experiment, builds: Builds) -> float:
    """Return by what colour on a pin of its own counts on the EMF: the ratio of the legs, 1 where it rides on it."""
    names = one.chain.source.part.colour
    if "through" not in names or "beside" not in names:
        return 1.0
    legs = (np.ravel(one.chain.number("source", names[role], builds, 1))[0] for role in ("beside", "through"))
    return float(next(legs) / next(legs))


def colour_emf(one: Experiment, name: str, builds: Builds) -> float:
    """Return the source's burst or chroma EMF, peak to peak [V]; 0 for a source that has none."""
    parameter = one.chain.source.part.colour.get(name)
    if parameter is None or parameter not in one.chain.source.values:
        return 0.0
    return float(np.ravel(one.chain.number("source", parameter, builds, 1))[0])


def at_display(trace: Trace) -> NDArray[np.complex128]:
    """Return the signal at the display input, shape as the trace's vectors."""
    inner, outer = (np.asarray(trace.vectors[name]) for name in AT_DISPLAY)
    return np.asarray(inner - outer)


def per_build(values: NDArray[np.complex128], builds: Builds) -> NDArray[np.complex128]:
    """Return one row per build: a deck that none of the varying values is part of was run once for all of them."""
    rows = values.reshape(-1, values.shape[-1])
    return np.asarray(np.broadcast_to(rows, (builds.n_rows, rows.shape[1])) if len(rows) == 1 else rows)


def summary(
    one: Experiment, name: str, rows: Array, builds: Builds, failure: str | None, notes: tuple[str, ...] = ()
) -> Quantity:
    """Return a quantity of an experiment from its value in every build, shape ``(n_rows,)`` [SI]."""
    return summarise(
        name,
        rows,
        line=one.chain.line,
        guarded=one.chain.guarded,
        corners=builds.corners,
        samples=builds.samples,
        summed=builds.summed,
        unknowns=one.chain.unknowns,
        notes=notes,
        failure=failure,
    )
