"""Decks for the wanted signal: levels, output impedance, frequency response, and one scan line to look at."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose.chain import EMF, FAR, FAR_GND, NEAR, Chain, chain_cards
from guardcheck.compose.lines import as_ladders
from guardcheck.compose.variants import Builds
from guardcheck.model import Analysis, Card, Deck, Model, Operating, Sweep, Transient
from guardcheck.netlist import card

AT_DISPLAY = (f"v({FAR})", f"v({FAR_GND})")
"""Vectors whose difference is the signal at the display input."""

HOLDS_CHARGE = 10e-9
"""Capacitors from this size up [F] hold their charge over a scan line: coupling and clamp capacitors do, cable and
diode capacitances do not. In a level deck they are voltage sources, so that one operating point per signal state
gives the same plateau as a transient of many fields (tests/pipeline/test_plateaus.py)."""

CHOKE = 1e6
"""Inductance [H] that carries the display's bias current to the connector and is open at 100 kHz."""


def deck_of(
    name: str,
    cards: Iterable[Card],
    models: tuple[Model, ...],
    analysis: Analysis,
    save: tuple[str, ...],
    *,
    options: Mapping[str, float | str] | None = None,
    windows: tuple[tuple[float, float], ...] = (),
    family: str = "",
) -> Deck:
    """Return a deck: cards whose value is an array become alterable, one variant per array element.

    `family` is the line it is about: when one of its decks gets no answer in time, the rest is not tried.

    Parameters
    ----------
    name : of the deck, for messages
    cards : flat cards; an array as value has shape ``(n_variants,)`` [SI]
    models : those the cards name
    analysis : what is run
    save : vectors to keep, such as ``v(out)``
    options : of the simulator, beside the engine's own
    windows : start and end of each mean to keep [s], transients only
    family : the line it is about

    """
    flat: list[Card] = []
    alter: list[str] = []
    columns: list[NDArray[np.float64]] = []
    for one in cards:
        if isinstance(one.value, np.ndarray):
            alter.append(one.name)
            columns.append(one.value)
            flat.append(replace(one, value=float(one.value[0])))
        else:
            flat.append(one)
    variants = np.column_stack(columns) if columns else None
    return Deck(name, tuple(flat), models, analysis, save, options or {}, tuple(alter), variants, windows, family)


def emf_levels(chain: Chain, states: Mapping[str, str], names: Sequence[str], builds: Builds) -> NDArray[np.float64]:
    """Return the source's EMF for each build and signal state, shape ``(n_rows, n_states)`` [V].

    Parameters
    ----------
    chain : whose source it is
    states : source parameter of each signal state
    names : the states wanted, in order, ``n_states`` of them
    builds : rows of varying values, ``n_rows`` of them

    """
    columns = [
        np.broadcast_to(np.asarray(chain.number("source", states[name], builds, 1)), (builds.n_rows,)) for name in names
    ]
    return np.stack(columns, axis=1)


def distinct(emf: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Return the different columns of EMF levels, and for each signal state the column that is its own.

    Black, blanking and sync are often one level: a state that repeats another needs no run of its own.
    """
    columns, inverse = np.unique(emf, axis=1, return_inverse=True)
    return columns, np.asarray(inverse).reshape(-1)


def level_deck(
    chain: Chain, emf: NDArray[np.float64], builds: Builds, held: Mapping[str, NDArray[np.float64]] | None = None
) -> tuple[Deck, tuple[str, ...]]:
    """Return the operating-point deck of every build in every signal state, and the names of its held capacitors.

    Parameters
    ----------
    emf : source EMF, shape ``(n_rows, n_states)`` [V]; variants run build by build, state by state
    held : voltage on each held capacitor, shape ``(n_rows,)`` [V], the same in every state; missing means 0

    """
    rows, states = emf.shape
    cards, models = chain_cards(chain, builds, states)
    volts = {} if held is None else {name: np.repeat(values, states) for name, values in held.items()}
    flat, holding = hold_capacitors(cards, volts, rows * states)
    flat.append(card("vemf", (EMF, "0"), emf.ravel()))
    save = (*AT_DISPLAY, *(f"i(v{name})" for name in holding))
    return deck_of(f"levels of {chain.line}", flat, models, Operating(), save, family=chain.line), holding


def hold_capacitors(
    cards: Iterable[Card], volts: Mapping[str, NDArray[np.float64]], n_variants: int
) -> tuple[list[Card], tuple[str, ...]]:
    """Replace every capacitor that holds its charge by a voltage source; return the cards and those capacitors' names.

    `volts` gives the voltage of each by name, shape ``(n_variants,)`` [V]; one that is not named holds 0 V.

    Parameters
    ----------
    cards : flat cards of one circuit, values [SI], shape ``(n_variants,)`` or one number
    volts : voltage of each capacitor by name, shape ``(n_variants,)`` [V]
    n_variants : how many variants the deck has

    """
    flat: list[Card] = []
    holding: list[str] = []
    for one in cards:
        if one.name[0] == "c" and one.value is not None and np.min(one.value) >= HOLDS_CHARGE:
            holding.append(one.name)
            flat.append(card(f"v{one.name}", one.nodes, volts.get(one.name, np.zeros(n_variants))))
        else:
            flat.append(one)
    return flat, tuple(holding)


def impedance_deck(
    chain: Chain, emf: NDArray[np.float64], builds: Builds, *, band: tuple[float, float], points: int = 1
) -> Deck:
    """Return the deck that drives 1 A into the connector over a `band` [Hz], biased as the display loads it.

    The display and cable stay behind a choke: their direct current flows, their impedance is not seen. ``v(near)``
    is the output impedance [ohm], one variant per build and state.

    Parameters
    ----------
    chain : the line from its source's EMF to its display, bare or guarded
    emf : EMF of each build and state, shape ``(n_rows, n_states)`` [V]
    builds : rows of varying values [SI], the nominal build first
    band : lowest and highest frequency [Hz]
    points : how many frequencies, spaced logarithmically

    """
    states = emf.shape[1]
    unit, models = chain_cards(chain, builds, states, roles=("source", "guard", "stage"))
    load, more = chain_cards(chain, builds, states, roles=("cable", "display"))
    behind = [
        replace(one, nodes=tuple("behind" if node == NEAR else node for node in one.nodes))
        for one in load
        if one.name != "vrail"
    ]
    cards = (
        *unit,
        *behind,
        card("lchoke", (NEAR, "behind"), CHOKE),
        card("vemf", (EMF, "0"), emf.ravel()),
        card("iprobe", ("0", NEAR), 0.0, "ac 1.0"),
    )
    used = tuple({model.name: model for model in (*models, *more)}.values())
    return deck_of(
        f"output impedance of {chain.line}", cards, used, Sweep(*band, points), (f"v({NEAR})",), family=chain.line
    )


def response_deck(
    chain: Chain, emf: float, *, start: float, stop: float, points: int, builds: Builds, element: str | None = None
) -> Deck:
    """Return the small-signal sweep from the source's EMF, biased at `emf` [V], to the display input.

    With `element` the small signal comes from that element of the source instead: colour on a pin of its own.

    Parameters
    ----------
    chain : the line from its source's EMF to its display, bare or guarded
    emf : bias of the source [V]
    start, stop : ends of the sweep [Hz]
    points : how many frequencies, spaced logarithmically
    builds : rows of varying values [SI], the nominal build first
    element : the source's element the small signal comes from, its EMF unless given

    """
    cards, models = chain_cards(chain, builds, 1)
    driven = "vemf" if element is None else f"{element}_source"
    every = (*cards, card("vemf", (EMF, "0"), emf))
    flat = tuple(replace(one, tail="ac 1.0") if one.name == driven else one for one in every)
    return deck_of(f"response of {chain.line}", flat, models, Sweep(start, stop, points), AT_DISPLAY, family=chain.line)


def waveform_deck(
    chain: Chain, corners: Sequence[tuple[float, float]], *, stop: float, rise_time: float, builds: Builds
) -> Deck:
    """Return the transient of one stimulus given by its corners ``(time [s], EMF [V])``, from its operating point.

    It is drawn over its whole length, where no eye sees a cable's echo: a lossless line is one section here.

    Parameters
    ----------
    chain : the line from its source's EMF to its display, bare or guarded
    corners : time [s] and EMF [V] of each corner of the stimulus
    stop : length of the run [s]
    rise_time : of its fastest edge, 10 to 90 % [s]
    builds : rows of varying values [SI], the nominal build first

    """
    cards, models = chain_cards(chain, builds, 1)
    points = " ".join(f"{time!r} {volts!r}" for time, volts in corners)
    source = card("vemf", (EMF, "0"), None, f"pwl({points})")
    flat = (*as_ladders(cards, rise_time=stop), source)
    analysis = Transient(step=rise_time / 2, stop=stop, max_step=stop / 50)
    return deck_of(f"scan line of {chain.line}", flat, models, analysis, AT_DISPLAY, family=chain.line)
