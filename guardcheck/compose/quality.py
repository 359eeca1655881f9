"""Decks for how well a chain carries a picture: transfer curve, tilt and edges."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose.chain import EMF, Chain, chain_cards
from guardcheck.compose.decks import AT_DISPLAY, deck_of, hold_capacitors
from guardcheck.compose.lines import as_ladders
from guardcheck.compose.variants import Builds
from guardcheck.model import Card, Deck, Operating, Sweep, Transient
from guardcheck.netlist import card

Array = NDArray[np.float64]

FLAT_FROM, FLAT_TO = 0.02, 0.98
"""Part of a flat half over which tilt is read: the corners are left out, as ITU-R BT.1439 leaves out 1 µs of a bar."""
FLAT_SHARE = FLAT_TO - FLAT_FROM - 1.0 / 200
"""Share of a half between the middles of its two windows, each one two-hundredth of a half wide."""
PERIODS = 8
EDGE_POINTS = 25
"""Corners of a test step's edge."""
GAIN_AT = 1e3
"""Where small-signal gain is taken [Hz]: low enough that what does not hold its charge is open."""


def gain_deck(chain: Chain, emf: Array, builds: Builds, held: Mapping[str, Array]) -> Deck:
    """Return the small-signal gain from the source's EMF to the display at operating points of its own.

    Parameters
    ----------
    emf : the levels of every build, shape ``(n_rows, n_points)`` [V]; variants run build by build
    held : voltage on each coupling capacitor [V]; the first entry, that of the nominal build, holds for all

    """
    rows, points = emf.shape
    cards, models = chain_cards(chain, builds, points)
    fixed = {name: np.full(rows * points, float(volts[0])) for name, volts in held.items()}
    flat, _ = hold_capacitors(cards, fixed, rows * points)
    drive = card("vemf", (EMF, "0"), emf.ravel(), "ac 1.0")
    return deck_of(
        f"gain of {chain.line}", (*flat, drive), models, Sweep(GAIN_AT, GAIN_AT, 1), AT_DISPLAY, family=chain.line
    )


def square_deck(chain: Chain, low: float, high: float, *, rate: float, builds: Builds) -> Deck:
    """Return a square wave between two EMFs [V] at a rate [Hz], started in its own steady state.

    The operating point is at the mean; the wave begins in the middle of its first half, so a coupling capacitor finds
    itself where it would be after many periods. Windows: both ends of the last four flat halves, for the tilt of either
    polarity and to see that it repeats.

    Parameters
    ----------
    chain : the line from its source's EMF to its display, bare or guarded
    low, high : the two EMFs [V]
    rate : of the wave [Hz]
    builds : rows of varying values

    """
    period, edge = 1.0 / rate, 1e-4 / rate
    mean = (low + high) / 2
    points: list[tuple[float, float]] = [(0.0, mean), (edge, high)]
    time = period / 4
    level, other = high, low
    while time < PERIODS * period:
        points += [(time, level), (time + edge, other)]
        level, other = other, level
        time += period / 2
    points.append((PERIODS * period + edge, level))
    windows: list[tuple[float, float]] = []
    half = period / 2
    width = half / 200
    for start in (period * (PERIODS - back) for back in (2.25, 1.75, 1.25, 0.75)):
        first, last = start + edge + FLAT_FROM * half, start + FLAT_TO * half
        windows += [(first, first + width), (last - width, last)]
    cards, models = chain_cards(chain, builds, 1)
    text = " ".join(f"{when!r} {volts!r}" for when, volts in points)
    source = card("vemf", (EMF, "0"), None, f"pwl({text})")
    stop = PERIODS * period
    return deck_of(
        f"square wave of {chain.line}",
        (*as_ladders(cards, rise_time=period), source),
        models,
        Transient(step=period / 100, stop=stop, max_step=period / 100),
        AT_DISPLAY,
        windows=tuple(windows),
        family=chain.line,
    )


def step_deck(chain: Chain, low: float, high: float, *, rise_time: float, builds: Builds) -> Deck:
    """Return one step between two EMFs [V] with a 10-90 % rise time [s], fine enough to see its overshoot.

    The edge is half a cosine (the sine-squared edge of video test signals), because the corners of a ramp hold more
    than a ladder can carry: its own ringing would pass for the circuit's.

    Parameters
    ----------
    chain : the line from its source's EMF to its display, bare or guarded
    low, high : EMF before and after [V]
    rise_time : 10 to 90 % [s]
    builds : rows of varying values

    """
    ramp = rise_time / (2.0 * math.asin(0.8) / math.pi)
    start = 4 * ramp
    stop = start + 30 * ramp
    cards, models = chain_cards(chain, builds, 1)
    share = np.linspace(0.0, 1.0, EDGE_POINTS)
    edge = low + (high - low) * np.sin(np.pi * share / 2.0) ** 2
    corners = [(0.0, low), *zip((start + ramp * share).tolist(), edge.tolist(), strict=True), (stop, high)]
    points = " ".join(f"{when!r} {volts!r}" for when, volts in corners)
    source = card("vemf", (EMF, "0"), None, f"pwl({points})")
    flat = as_ladders(cards, rise_time=rise_time, coupled=True)
    analysis = Transient(step=ramp / 10, stop=stop, max_step=ramp / 100)
    return deck_of(f"step of {chain.line}", (*flat, source), models, analysis, AT_DISPLAY, family=chain.line)


def power_deck(
    chain: Chain, emf: Array, builds: Builds, held: Mapping[str, Array], rated: Sequence[str]
) -> tuple[Deck, Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]]:
    """Return the operating points of every build and state with ammeters in the rated parts.

    Parameters
    ----------
    emf : source EMF, shape ``(n_rows, n_states)`` [V]
    rated : names of the cards whose dissipation is wanted, as ``element_role``

    Returns
    -------
    The deck, and for each card the vectors of its terminal voltages and of the currents into all but its last terminal.

    """
    rows, states = emf.shape
    cards, models = chain_cards(chain, builds, states)
    volts = {name: np.repeat(values[:rows], states) for name, values in held.items()}
    flat, _ = hold_capacitors(cards, volts, rows * states)
    out: list[Card] = []
    meters: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {}
    for one in flat:
        if one.name not in rated:
            out.append(one)
            continue
        names = [f"vm{index}_{one.name}" for index in range(len(one.nodes) - 1)]
        inner = [f"m{index}_{one.name}" for index in range(len(one.nodes) - 1)]
        out.append(replace(one, nodes=(*inner, one.nodes[-1])))
        out += [card(name, (node, to), 0.0) for name, node, to in zip(names, one.nodes, inner, strict=False)]
        meters[one.name] = (tuple(f"v({node})" for node in one.nodes), tuple(f"i({name})" for name in names))
    saved = {vector for pair in meters.values() for group in pair for vector in group} - {"v(0)"}
    source = card("vemf", (EMF, "0"), emf.ravel())
    return deck_of(
        f"power in {chain.line}", (*out, source), models, Operating(), tuple(sorted(saved)), family=chain.line
    ), meters
