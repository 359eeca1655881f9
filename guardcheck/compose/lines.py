"""Transmission lines in transients: a lossless line beside diodes hangs ngspice or lies, an LC ladder does not."""

from __future__ import annotations

import math
from collections.abc import Iterable

from guardcheck.model import Card
from guardcheck.netlist import card

MIN_SECTIONS = 6


COUPLING = 0.2
"""Coupling of the two half inductors of a section that makes its delay flat to the fourth order: with a mutual
inductance of a twelfth of the section's, cos(b) = 1 - x/2 / (1 + x/12) and b = sqrt(x) agree up to x squared, x being
(angular frequency x section delay) squared. Two halves of 5/12 coupled by 0.2 have it (m-derived section, Zobel)."""


def as_ladders(cards: Iterable[Card], *, rise_time: float, coupled: bool = False) -> tuple[Card, ...]:
    """Replace every lossless line by an LC ladder good for edges of `rise_time` [s].

    A line whose delay is below a thousandth of the edge is one section: no edge can tell. Otherwise ten sections per
    rise time of delay, at least six: the cut-off of the ladder then stays above what the edge holds. Series inductance
    z0·td, shunt capacitance td/z0, both spread evenly (textbook telegrapher's equations). `coupled` gives sections that
    delay all frequencies alike, for a test that must not see the ladder ring; it is for smooth edges only.

    Parameters
    ----------
    cards : flat cards of one circuit; all but lossless lines come back as they are
    rise_time : of the fastest edge, 10 to 90 % [s]
    coupled : sections that delay all frequencies alike

    """
    out: list[Card] = []
    for one in cards:
        out += _ladder(one, rise_time, coupled) if one.name[0] == "t" else [one]
    return tuple(out)


def _ladder(line: Card, rise_time: float, coupled: bool) -> list[Card]:
    numbers = dict(field.split("=") for field in line.tail.split())
    impedance, delay = float(numbers["z0"]), float(numbers["td"])
    sections = 1 if delay < rise_time / 1000.0 else max(MIN_SECTIONS, math.ceil(10.0 * delay / rise_time))
    inductance, capacitance = impedance * delay / sections, delay / impedance / sections
    half = inductance * (0.5 / (1.0 + COUPLING) if coupled else 0.5)
    near, near_return, far, far_return = line.nodes
    nodes = [near, *(f"{line.name}_{index}" for index in range(1, sections)), far]
    cards: list[Card] = []
    for index in range(sections):
        back = near_return if index < sections / 2 else far_return
        middle = f"{line.name}_m{index}"
        cards += [
            card(f"l{index}a_{line.name}", (nodes[index], middle), half),
            card(f"l{index}b_{line.name}", (middle, nodes[index + 1]), half),
            card(f"c{index}_{line.name}", (middle, back), capacitance),
        ]
        if coupled:
            cards.append(card(f"k{index}_{line.name}", (f"l{index}a_{line.name}", f"l{index}b_{line.name}"), COUPLING))
    return cards
