"""Every step of a ladder's grey scale at the display: what each code gives, how much brighter than the last."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import Builds, level_deck
from guardcheck.formatting import show
from guardcheck.model import Deck, Limit, Quantity, Trace
from guardcheck.signals import code_levels
from guardcheck.simulate.experiment import Experiment, Plateaus, at_display, summary

Array = NDArray[np.float64]

VISIBLE = 0.06
"""How far a step may lie from its even place, as a share of white."""
LEAST_RISE = 0.01
"""Least rise from one step to the next, as a share of an even step: no rise at all is no step."""
PLACE_REFERENCE = (
    "even steps from black to white; 6 % (0.5 dB) is the liberal limit of a visible amplitude error in application "
    "note AN-945"
)
RISE_REFERENCE = "a step that is not brighter than the one before it is no step"

Made = tuple[tuple[Deck, ...], Callable[[Sequence[Trace]], tuple[Quantity, ...]]]


def grey(one: Experiment, group: Sequence[Plateaus]) -> Made | None:
    """Return the deck of every code of a ladder and how it is read; None for a source that is no ladder."""
    if one.chain.source.part.ladder is None or "white" not in one.states:
        return None
    builds = one.builds.one_at_a_time()
    emf = code_emf(one, builds)
    held = {name: np.full(builds.n_rows, volts[0]) for name, volts in group[0].held.items()}
    deck = replace(level_deck(one.chain, emf, builds, held)[0], name=f"grey steps of {one.chain.line}")

    def read(traces: Sequence[Trace]) -> tuple[Quantity, ...]:
        failure = group[0].failure or traces[0].failure
        volts = np.full(emf.shape, np.nan)
        if failure is None:
            volts = np.real(at_display(traces[0])).reshape(emf.shape)
        return grey_quantities(one, builds, volts, failure)

    return (deck,), read


def code_emf(one: Experiment, builds: Builds) -> Array:
    """Return the EMF of every code of the ladder in every build, shape ``(n_rows, n_codes)`` [V]."""
    ladder = one.chain.source.part.ladder
    assert ladder is not None

    def column(name: str) -> Array:
        return np.asarray(np.broadcast_to(one.chain.number("source", name, builds, 1), (builds.n_rows,)))

    legs = np.stack([column(leg) + column(ladder.driver) for leg in ladder.legs], axis=1)
    return code_levels(legs, column(ladder.low), column(ladder.high))


def grey_quantities(one: Experiment, builds: Builds, volts: Array, failure: str | None) -> tuple[Quantity, ...]:
    """Return place and least rise of the grey steps; `volts` at the display, shape ``(n_rows, n_codes)``."""
    top = volts.shape[1] - 1
    swing = volts[:, -1:] - volts[:, :1]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(np.abs(swing) > 0.0, (volts - volts[:, :1]) / swing, np.nan)
    found = []
    for code in range(1, top):
        place = code / top
        limit = Limit("grey.step", place - VISIBLE, place + VISIBLE, place, PLACE_REFERENCE, "practice")
        note = f"{show(volts[0, code] - volts[0, 0], 'V')} above black at the display." if failure is None else ""
        row = summary(one, "grey.step", share[:, code], builds, failure, (note,) if note else ())
        found.append(replace(row, where=f"step {code} of {top}", limit=limit))
    rise = summary(one, "grey.rise", np.diff(share, axis=1).min(axis=1) * top, replace(builds, summed=False), failure)
    limit = Limit("grey.rise", LEAST_RISE, None, 1.0, RISE_REFERENCE, "practice")
    return (*found, replace(rise, limit=limit))
