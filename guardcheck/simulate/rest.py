"""Whether a line rests where its operating points were found: pushed, it has to come back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import distinct, nudge_decks
from guardcheck.model import Deck, Quantity, Trace
from guardcheck.simulate.experiment import Experiment, Plateaus, emf_of

HELD = 1e-9
"""Resistance [ohm] below which a node is held by a source: no push moves it."""
LEAVES = (
    "the circuit does not stay at the operating point that was found: the smallest push drives it elsewhere, as a "
    "latch at its balance, so nothing computed there holds"
)
LOST = "whether the circuit stays at its operating point could not be simulated"
TOO_MANY = "the circuit has too many active nodes to show that it stays at its operating point"
MOST = 60
"""Most nodes that are pushed: one deck each."""


def rest_decks(one: Experiment, plateaus: Plateaus) -> tuple[Deck, ...]:
    """Return the decks that push one line in each of its signal states: none for a circuit that has to rest."""
    nominal = one.builds.nominal()
    if plateaus.failure is not None:
        return ()
    held = {name: volts[:1] for name, volts in plateaus.held.items()}
    decks = nudge_decks(one.chain, distinct(emf_of(one, nominal))[0], nominal, held)
    return decks if len(decks) <= MOST else decks[:MOST]


def unrest(decks: Sequence[Deck], traces: Sequence[Trace]) -> str | None:
    """Return why a line's operating points do not hold, None when it comes back to each."""
    if not decks:
        return None
    if len(decks) < len(decks[0].save):
        return TOO_MANY
    if any(trace.failure is not None or not bool(np.all(trace.solved)) for trace in traces):
        return LOST
    columns = [[np.real(trace.vectors[name][:, 0]) for name in decks[0].save] for trace in traces]
    return LEAVES if any(leaves(ohms) for ohms in np.moveaxis(np.array(columns), 2, 0)) else None


def leaves(ohms: NDArray[np.float64]) -> bool:
    """Tell whether a circuit leaves its operating point.

    Parameters
    ----------
    ohms : resistances, shape ``(n_nodes, n_nodes)`` [ohm]: voltage of each node by the node that is pushed

    """
    free = np.abs(np.diag(ohms)) > HELD
    inner = ohms[np.ix_(free, free)]
    own = np.diag(inner)
    if bool(np.any(own < 0.0)):
        return True
    scale = np.sqrt(own)
    return bool(len(own)) and float(np.linalg.slogdet(inner / np.outer(scale, scale))[0]) < 0.0


def unsettled(quantities: Iterable[Quantity], why: str | None) -> tuple[Quantity, ...]:
    """Return the quantities of a line that does not rest: seen, and proving nothing."""
    return tuple(one if why is None else replace(one, failure=one.failure or why) for one in quantities)
