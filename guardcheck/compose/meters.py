"""Decks of a hand meter on a unit without power: its test voltage behind its range resistor, and nothing else on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose.chain import EMF, RAIL, RAIL_CARD, Chain, chain_cards
from guardcheck.compose.changes import OPEN
from guardcheck.compose.decks import deck_of
from guardcheck.compose.variants import Builds
from guardcheck.model import Deck, Operating
from guardcheck.netlist import card

TIP = "tip"
AT_METER = (f"v({TIP})", "i(vmeter)")
"""Vectors of a meter deck: the voltage at its tip, and the current of its test source (into its plus)."""


def meter_deck(
    chain: Chain,
    builds: Builds,
    point: str,
    *,
    volts: NDArray[np.float64],
    ranges: NDArray[np.float64],
    rail_ohms: float,
    roles: Sequence[str] = ("source", "guard", "stage"),
) -> Deck:
    """Return the operating points of a meter between a point of the unswitched unit and its 0 V.

    The chip is off: its output drives nothing, its own diodes are there. The rail is what its load makes of it.

    Parameters
    ----------
    chain, builds : the circuit and the builds to run
    point : the node the red lead is on
    volts : open-circuit voltage of the meter in each test, negative with its leads swapped, shape ``(n_tests,)`` [V]
    ranges : resistance behind that voltage in each test, same shape [ohm]
    rail_ohms : what lies between the dead rail and 0 V [ohm]
    roles : the parts that are on the bench

    Returns
    -------
    one variant per build and test, build by build

    """
    n = len(volts)
    cards, models = chain_cards(chain, builds, n, roles=tuple(roles))
    flat = [card("rrail", (RAIL, "0"), rail_ohms) if one.name == RAIL_CARD else one for one in cards]
    flat += [
        card("roff", (EMF, "0"), OPEN),
        card("vmeter", (TIP + "_in", "0"), np.tile(volts, builds.n_rows)),
        card("rmeter", (TIP + "_in", TIP), np.tile(ranges, builds.n_rows)),
        card("rlead", (TIP, point), 1e-3),
    ]
    return deck_of(f"meter at {point} of {chain.line}", flat, models, Operating(), AT_METER)
