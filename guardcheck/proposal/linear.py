"""Chains of resistors solved in closed form: Kirchhoff's current law for a hundred thousand builds at once.

Diodes are open (their effect is the operating point's to find), what holds its charge over a scan line is a short for
the signal, a matched lead is a wire. A chain with anything else that acts has no closed form.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import AT_DISPLAY, EMF, HOLDS_CHARGE, NEAR, Builds, Chain, chain_cards
from guardcheck.model import Card

Array = NDArray[np.float64]
Key = tuple[str, str]

OPEN, SHORT, RESISTOR, SOURCE, OTHER = "open", "short", "resistor", "source", "other"
LEAK = 1e-12
"""Conductance [S] from every node to 0 V, so that nothing floats."""
AT_ONCE = 20_000
"""Builds solved in one go: keeps the memory flat."""


@dataclass(frozen=True)
class Linear:
    """Closed forms of many builds, each shape ``(n,)``.

    `gain` is volts at the display per volt of EMF, `offset` what stands there without any EMF [V], `impedance` what is
    seen into the connector [ohm]. `coupled` tells that the direct voltage is not known by it.
    """

    gain: Array
    offset: Array
    impedance: Array
    coupled: bool


def closed_form(chain: Chain, values: Mapping[Key, Array]) -> Linear | None:
    """Return the closed forms of a chain over values of its parameters, or None when it has none.

    Parameters
    ----------
    chain : source, stage, guard, cable and display, joined
    values : by role and parameter, arrays of shape ``(n,)`` [SI]; all others stay nominal

    """
    keys = tuple(values)
    rows = np.stack([values[key] for key in keys], axis=1) if keys else np.zeros((1, 0))
    pieces: list[tuple[Array, Array, Array]] = []
    coupled = False
    for start in range(0, len(rows), AT_ONCE):
        builds = Builds(keys, rows[start : start + AT_ONCE], 0, False)
        whole = _network(chain_cards(chain, builds, 1)[0], builds.n_rows)
        unit = _network(chain_cards(chain, builds, 1, roles=("source", "guard", "stage"))[0], builds.n_rows)
        if whole is None or unit is None:
            return None
        near, far = (one[2:-1] for one in AT_DISPLAY)
        gain, offset = whole.transfer(near, far)
        pieces.append((gain, offset, unit.seen_at(NEAR)))
        coupled = coupled or whole.coupled
    gain, offset, impedance = (np.concatenate([piece[index] for piece in pieces]) for index in range(3))
    return Linear(gain, offset, impedance, coupled)


def _kind(one: Card) -> str:
    letter = one.name[0]
    if letter == "c":
        return SHORT if one.value is not None and np.min(one.value) >= HOLDS_CHARGE else OPEN
    kinds = {"d": OPEN, "l": SHORT, "t": SHORT, "r": RESISTOR, "v": SOURCE}
    return kinds.get(letter, OTHER)


@dataclass
class _Network:
    """Nodes merged by shorts, conductances between them, and nodes an ideal source holds."""

    n: int
    names: Mapping[str, str]
    unknown: Mapping[str, int]
    held: Mapping[str, float]
    resistors: tuple[tuple[str, str, Array], ...]
    coupled: bool

    def _matrix(self) -> Array:
        size = len(self.unknown)
        matrix = np.zeros((self.n, size, size))
        matrix[:, range(size), range(size)] = LEAK
        for one, other, conductance in self.resistors:
            for here, there in ((one, other), (other, one)):
                if here in self.unknown:
                    row = self.unknown[here]
                    matrix[:, row, row] += conductance
                    if there in self.unknown:
                        matrix[:, row, self.unknown[there]] -= conductance
        return matrix

    def _driven(self, held: Mapping[str, float]) -> Array:
        """Return the currents that held nodes drive into the others, shape ``(n, n_nodes)`` [A]."""
        currents = np.zeros((self.n, len(self.unknown)))
        for one, other, conductance in self.resistors:
            for here, there in ((one, other), (other, one)):
                if here in self.unknown and there in held:
                    currents[:, self.unknown[here]] += conductance * held[there]
        return currents

    def _volts(self, currents: Array) -> Array:
        return np.asarray(np.linalg.solve(self._matrix(), currents[..., None])[..., 0])

    def _at(self, volts: Array, node: str, held: Mapping[str, float]) -> Array:
        name = self.names.get(node, node)
        if name in self.unknown:
            return np.asarray(volts[:, self.unknown[name]])
        return np.full(self.n, held.get(name, 0.0))

    def transfer(self, near: str, far: str) -> tuple[Array, Array]:
        """Return volts between two nodes per volt of EMF, and without any EMF, each shape ``(n,)``."""
        emf = self.names.get(EMF, EMF)
        quiet = {**self.held, emf: 0.0}
        only = {**dict.fromkeys(self.held, 0.0), emf: 1.0}
        found = []
        for held in (only, quiet):
            volts = self._volts(self._driven(held))
            found.append(self._at(volts, near, held) - self._at(volts, far, held))
        return found[0], found[1]

    def seen_at(self, node: str) -> Array:
        """Return the resistance seen into a node with every source at rest, shape ``(n,)`` [ohm]."""
        name = self.names.get(node, node)
        if name not in self.unknown:
            return np.zeros(self.n)
        currents = np.zeros((self.n, len(self.unknown)))
        currents[:, self.unknown[name]] = 1.0
        return np.asarray(self._volts(currents)[:, self.unknown[name]])


def _network(cards: Iterable[Card], n: int) -> _Network | None:
    cards = tuple(cards)
    kinds = [_kind(one) for one in cards]
    if OTHER in kinds:
        return None
    shorts = [one for one, kind in zip(cards, kinds, strict=True) if kind == SHORT]
    names = _merged(pair for one in shorts for pair in _joined(one))
    held: dict[str, float] = {"0": 0.0}
    resistors: list[tuple[str, str, Array]] = []
    for one, kind in zip(cards, kinds, strict=True):
        ends = tuple(names.get(node, node) for node in one.nodes)
        if kind == SOURCE:
            grounded = [index for index, end in enumerate(ends[:2]) if end == "0"]
            if not grounded or one.value is None or np.ndim(one.value):
                return None
            held[ends[1 - grounded[0]]] = float(np.ravel(one.value)[0]) * (1.0 if grounded[0] == 1 else -1.0)
        elif kind == RESISTOR and ends[0] != ends[1]:
            resistors.append((ends[0], ends[1], 1.0 / np.broadcast_to(np.asarray(one.value, dtype=float), (n,))))
    emf = names.get(EMF, EMF)
    nodes = {end for one, other, _ in resistors for end in (one, other)} - {*held, emf}
    unknown = {node: index for index, node in enumerate(sorted(nodes))}
    held.pop(emf, None)
    return _Network(n, names, unknown, {**held, emf: 0.0}, tuple(resistors), any(one.name[0] == "c" for one in shorts))


def _joined(one: Card) -> tuple[tuple[str, str], ...]:
    if one.name[0] == "t":
        return ((one.nodes[0], one.nodes[2]), (one.nodes[1], one.nodes[3]))
    return ((one.nodes[0], one.nodes[1]),)


def _merged(pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return the name every shorted node goes by; 0 V keeps its own."""
    names: dict[str, str] = {}

    def root(node: str) -> str:
        while node in names:
            node = names[node]
        return node

    for pair in pairs:
        one, other = sorted((root(pair[0]), root(pair[1])), key=lambda node: (node != "0", node))
        if one != other:
            names[other] = one
    return {node: root(node) for node in names}
