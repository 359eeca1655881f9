"""A small push at each node that a gain touches, to see whether a circuit stays where its operating point was found.

An operating point is any solution of the circuit's equations, and a circuit that can latch has one it never rests at:
a pencil on its tip. Whether it falls does not depend on the capacitances that set how fast: it does when a push at a
node is answered by more than it was (a negative resistance there), or when the determinant of the conductances is
negative, for then ``det(G + s C)`` has a root at a positive, real `s` for any positive `C` (it is positive for large
`s`). Nodes without a gain are left out; what hangs on them is passive and cannot change the sign.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose.chain import EMF, RAIL, Chain, chain_cards
from guardcheck.compose.decks import deck_of, hold_capacitors
from guardcheck.compose.variants import Builds
from guardcheck.model import Deck, Sweep
from guardcheck.netlist import card

GAINS = frozenset("befghjmq")
"""Elements that can give more than they take: without one a circuit has one operating point and rests at it."""
SLOW = (1.0, 2.0)
"""Band of the push [Hz]: capacitors are open and what holds its charge over a scan line holds its voltage."""


def nudge_decks(
    chain: Chain, emf: NDArray[np.float64], builds: Builds, held: Mapping[str, NDArray[np.float64]]
) -> tuple[Deck, ...]:
    """Return one deck for each node a gain touches: 1 A into it in every signal state; none for a passive circuit.

    Each saves the voltages of all these nodes in their own order, so together they are the matrix of resistances.

    Parameters
    ----------
    emf : source EMF of one build, shape ``(1, n_states)`` [V]
    held : voltage of each capacitor that holds its charge, shape ``(1,)`` [V]

    """
    states = emf.shape[1]
    cards, models = chain_cards(chain, builds, states)
    volts = {name: np.repeat(values, states) for name, values in held.items()}
    flat = (*hold_capacitors(cards, volts, states)[0], card("vemf", (EMF, "0"), emf.ravel()))
    nodes = sorted({node for one in cards if one.name[0] in GAINS for node in one.nodes} - {"0", EMF, RAIL})
    save = tuple(f"v({node})" for node in nodes)
    pushed = ((*flat, card("inudge", ("0", node), None, "ac 1.0")) for node in nodes)
    return tuple(
        deck_of(f"rest of {chain.line}", one, models, Sweep(*SLOW, 1), save, family=chain.line) for one in pushed
    )
