"""Which decks the engine refuses, because ngspice would hang, explode, or answer wrongly without a word.

The bounds were measured on ngspice 39, 44 and 47; each says what happened beyond it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from guardcheck.errors import DeckRefused, accepted, nearest
from guardcheck.model import Card, Deck, Sweep, Transient

_VOLTAGE_B = re.compile(r"\bv\s*=", re.IGNORECASE)


def nodes_of(card: Card) -> tuple[str, ...]:
    """Return the circuit nodes of a card: couplings and current-controlled sources also list element names."""
    return () if card.name[0] == "k" else card.nodes[:2] if card.name[0] in "fh" else card.nodes


class _Groups:
    """Sets of nodes joined so far."""

    def __init__(self) -> None:
        self._parent: dict[str, str] = {}

    def root(self, node: str) -> str:
        while (above := self._parent.get(node, node)) != node:
            self._parent[node] = self._parent.get(above, above)
            node = above
        return node

    def join(self, one: str, other: str) -> bool:
        """Join two nodes; False when they already were."""
        a, b = self.root(one), self.root(other)
        self._parent[a] = b
        return a != b


def check_loops(cards: Sequence[Card], *, initial: bool) -> Iterator[str]:
    """Yield a sentence for each loop of ideal voltages or coils, and each direct current that has nowhere to go.

    `initial` means the run starts from stated initial conditions: no operating point is solved, so coils may close a
    loop and a current may charge a capacitor.
    """
    groups = _Groups()
    for card in cards:
        if len(card.nodes) >= 2 and _fixes_voltage(card, initial) and not groups.join(*card.nodes[:2]):
            yield f"'{card.name}' closes a loop of ideal sources or coils, which has no answer"
    if initial:
        return
    conducting = _Groups()
    for card in cards:
        for one, other in _conducts(card):
            conducting.join(one, other)
    ground = conducting.root("0")
    for card in cards:
        if card.name[0] == "i" and card.value is not None and card.value != 0.0 and len(card.nodes) == 2:
            for node in card.nodes:
                if conducting.root(node) != ground:
                    yield f"the direct current of '{card.name}' has no way from node '{node}' to node 0"
                    return


def _fixes_voltage(card: Card, initial: bool) -> bool:
    letter = card.name[0]
    return letter in "veh" or (letter == "l" and not initial) or (letter == "b" and bool(_VOLTAGE_B.match(card.tail)))


def _conducts(card: Card) -> Iterable[tuple[str, str]]:
    letter, nodes = card.name[0], card.nodes
    if letter in "rlvdehs" and len(nodes) >= 2:
        return ((nodes[0], nodes[1]),)
    if letter == "b" and len(nodes) >= 2 and _VOLTAGE_B.match(card.tail):
        return ((nodes[0], nodes[1]),)
    if letter in "qj" and len(nodes) >= 3:
        return ((nodes[0], nodes[1]), (nodes[1], nodes[2]))
    if letter == "m" and len(nodes) >= 4:
        return ((nodes[0], nodes[2]), (nodes[0], nodes[3]), (nodes[2], nodes[3]))
    if letter == "t" and len(nodes) >= 4:
        return ((nodes[0], nodes[2]), (nodes[1], nodes[3]))
    return ()


MOST_CARDS = 2000
MOST_PWL_POINTS = 700  # cost grows with the square of the number of points
MOST_STEPS = 1_000_000
MOST_FREQUENCIES = 20_000
_LONGEST = 500  # characters of a refusal: a stranger's name may be of any length
SMALLEST_RESISTANCE = 1e-3  # ngspice 39 silently raises anything less to this
LETTERS = frozenset("rclkvidqjmegfhbst")
ALTERABLE = {"r": "", "c": "", "l": "", "v": " dc", "i": " dc", "e": " gain", "g": " gain", "f": " gain", "h": " gain"}
NUMERIC_OPTIONS = frozenset(
    ("reltol", "abstol", "vntol", "trtol", "gmin", "rshunt", "temp", "tnom", "itl1", "itl4", "chgtol")
)
METHODS = ("gear", "trap")

_NAME = re.compile(r"[a-z0-9_.]{1,200}\Z")
_SAVED = re.compile(r"([vi])\(([a-z0-9_.]{1,200})\)\Z")
_PWL = re.compile(r"pwl\s*\(?([^)]*)", re.IGNORECASE)
_LIMIT = re.compile(r"\blimit\s*\(")
_READ = re.compile(r"\b([vi])\(([^()]*)\)")
_DELAY = re.compile(r"\btd\s*=\s*([0-9.eE+-]+)", re.IGNORECASE)
_SILENT = re.compile(r"\brel=1e6 abs=1e6\Z")
"""A line that sets no breakpoints of its own does not hang beside transistors (measured over 100 delays)."""
_JUNCTIONS, _TRANSISTORS, _LINES = frozenset("d"), frozenset("qjm"), frozenset("t")


def check_deck(deck: Deck) -> None:
    """Raise `DeckRefused`, in one sentence, when ngspice must not be given this deck.

    Raises
    ------
    DeckRefused : names the deck, the element and what would be accepted

    """
    for objection in _objections(deck):
        sentence = f"deck '{deck.name}' is refused: {objection}"
        raise DeckRefused("".join(char if char.isprintable() else "?" for char in sentence)[:_LONGEST])


def _objections(deck: Deck) -> Iterator[str]:
    yield from _cards(deck)
    yield from _analysis(deck)
    yield from _options(deck)
    yield from _save(deck)
    yield from _variants(deck)
    yield from check_loops(deck.cards, initial=isinstance(deck.analysis, Transient) and deck.analysis.uic)
    if isinstance(deck.analysis, Transient):
        yield from _lossless_lines(deck.cards, deck.analysis)


def _cards(deck: Deck) -> Iterator[str]:
    if not deck.cards:
        yield "it has no elements"
    if len(deck.cards) > MOST_CARDS:
        yield f"it has {len(deck.cards)} elements; at most {MOST_CARDS} are simulated"
    names: set[str] = set()
    for card in deck.cards:
        if not _NAME.match(card.name) or card.name[0] not in LETTERS:
            yield f"'{card.name}' is not an element the engine runs; accepted first letters: {accepted(LETTERS)}"
        if card.name in names:
            yield f"the element '{card.name}' appears twice"
        names.add(card.name)
        yield from _one_card(card)
    if not any("0" in nodes_of(card) for card in deck.cards):
        yield "nothing is connected to node 0"
    nodes = {node for card in deck.cards for node in nodes_of(card)}
    for card in deck.cards:
        yield from _references(card, nodes, names)


def _one_card(card: Card) -> Iterator[str]:
    for node in card.nodes:
        if not _NAME.match(node):
            yield f"'{card.name}' has the node '{node}'; node names are lower-case letters, digits, _ and ."
    if isinstance(card.value, float):
        yield from _values(card.name, (card.value,))
    elif card.value is not None:
        if np.ndim(card.value) != 0:
            yield f"'{card.name}' has an array for a value; variants belong in the deck's matrix"
        yield from _values(card.name, [float(np.ravel(card.value)[0])] if np.size(card.value) else [math.nan])
    for points in _PWL.findall(card.tail) if card.tail else ():
        n = len(points.replace(",", " ").split()) // 2
        if n >= MOST_PWL_POINTS:
            yield f"'{card.name}' has {n} PWL points; fewer than {MOST_PWL_POINTS} are accepted, corners are enough"


def _references(card: Card, nodes: set[str], names: set[str]) -> Iterator[str]:
    """Find what a card reads and the deck lacks: ngspice takes an unknown node of a B source as a new one at 0 V."""
    if card.name[0] in "kfh":
        for name in card.nodes if card.name[0] == "k" else card.nodes[2:]:
            if name not in names:
                yield f"'{card.name}' refers to '{name}', which the deck does not have{nearest(name, names)}"
    if card.name[0] == "b":
        if _LIMIT.search(card.tail):
            yield f"'{card.name}' uses limit(), which ngspice computes wrongly; write min(max(x, low), high)"
        for kind, inner in _READ.findall(card.tail):
            known = nodes if kind == "v" else names
            for name in (part.strip() for part in inner.split(",")):
                if name != "0" and name not in known:
                    yield f"'{card.name}' reads '{kind}({name})', which the deck does not have{nearest(name, known)}"


def _values(name: str, values: Iterable[float]) -> Iterator[str]:
    for value in values:
        if not math.isfinite(value):
            yield f"'{name}' has the value {value}, which is not finite"
        elif name[0] == "r" and value < SMALLEST_RESISTANCE:
            yield f"'{name}' has {value!r} ohm; at least {SMALLEST_RESISTANCE} ohm is needed, ngspice changes less"
        elif name[0] in "cl" and value <= 0.0:
            yield f"'{name}' has the value {value!r}; it must be above zero"


def _analysis(deck: Deck) -> Iterator[str]:
    analysis = deck.analysis
    if isinstance(analysis, Sweep):
        ends = 0.0 < analysis.start <= analysis.stop < math.inf
        if not ends or (analysis.start == analysis.stop and analysis.points != 1):
            yield f"a sweep from {analysis.start!r} Hz to {analysis.stop!r} Hz is empty or endless"
        if not 1 <= analysis.points <= MOST_FREQUENCIES:
            yield f"a sweep of {analysis.points} points; 1 to {MOST_FREQUENCIES} are accepted"
    if isinstance(analysis, Transient):
        times = (analysis.step, analysis.stop, analysis.max_step)
        if not all(0.0 < t < math.inf for t in times):
            yield f"the transient times {times} must all be above zero and finite"
        elif analysis.stop / min(analysis.max_step, analysis.stop) > MOST_STEPS:
            yield f"{analysis.stop!r} s in steps of {analysis.max_step!r} s is more than {MOST_STEPS} steps"
        for start, end in deck.windows:
            if not 0.0 <= start < end <= analysis.stop * (1.0 + 1e-12):
                yield f"the time window {start!r} to {end!r} s does not lie inside 0 to {analysis.stop!r} s"
        if deck.n_variants > 1 and not deck.windows:
            yield "a transient with several variants needs time windows, for every variant has its own time axis"
    elif deck.windows:
        yield "time windows are for transients only"


def _options(deck: Deck) -> Iterator[str]:
    for name, value in deck.options.items():
        if name == "method":
            if value not in METHODS:
                yield f"option method = {value!r}; accepted: {accepted(METHODS)}"
        elif name not in NUMERIC_OPTIONS:
            known = {*NUMERIC_OPTIONS, "method"}
            yield f"option '{name}' is not sent to ngspice; accepted: {accepted(known)}{nearest(name, known)}"
        elif isinstance(value, str) or not math.isfinite(value):
            yield f"option {name} = {value!r} is not a finite number"


def _save(deck: Deck) -> Iterator[str]:
    if not deck.save:
        yield "it asks for no vector"
    nodes = {node for card in deck.cards for node in nodes_of(card)}
    sources = {card.name for card in deck.cards if card.name[0] in "vleh"}
    for wanted in deck.save:
        found = _SAVED.match(wanted)
        known = nodes if found and found[1] == "v" else sources
        if not found:
            yield f"'{wanted}' cannot be read; accepted: v(node) and i(source)"
        elif found[2] not in known or found[2] == "0":
            yield f"'{wanted}' asks for '{found[2]}', which the deck does not have{nearest(found[2], known)}"


def _variants(deck: Deck) -> Iterator[str]:
    if deck.variants is None:
        if deck.alter:
            yield "it names elements to alter and gives no variants"
        return
    if deck.variants.ndim != 2 or deck.variants.shape[1] != len(deck.alter) or not len(deck.variants):
        yield f"its variants have the shape {deck.variants.shape}; (n, {len(deck.alter)}) with n above 0 is accepted"
        return
    values = {card.name: card.value for card in deck.cards}
    for column, name in enumerate(deck.alter):
        if name not in values:
            yield f"it alters '{name}', which it does not have{nearest(name, values)}"
        elif name[0] not in ALTERABLE or values[name] is None:
            yield f"it alters '{name}', which has no principal value"
        else:
            yield from _values(name, (float(deck.variants[:, column].min()), float(deck.variants[:, column].max())))


def _lossless_lines(cards: tuple[Card, ...], analysis: Transient) -> Iterator[str]:
    """Refuse lossless lines that would hang beside junctions, or be silently wrong because a step exceeds the delay."""
    lines = [card for card in cards if card.name[0] in _LINES]
    if not lines:
        return
    delays = []
    for card in lines:
        found = _DELAY.search(card.tail)
        try:
            delay = float(found[1]) if found else math.nan
        except ValueError:
            delay = math.nan
        if not (delay > 0.0 and math.isfinite(delay)):
            yield f"the line '{card.name}' states no delay td= above zero"
            return
        delays.append(delay)
    low, high = max(delays) / 400.0, min(delays) / 5.0
    slack = 1.0 + 1e-9
    if analysis.max_step > high * slack or analysis.max_step * slack < low:
        yield (
            f"beside the lossless line '{lines[0].name}' the largest step must lie between {low:.3g} and {high:.3g} s "
            f"(1/400 and 1/5 of the delay); it is {analysis.max_step!r} s; use a ladder of coils and capacitors instead"
        )
    letters = {card.name[0] for card in cards}
    silent = all(_SILENT.search(card.tail) for card in lines)
    if letters & _TRANSISTORS and not silent:
        yield f"the lossless line '{lines[0].name}' beside transistors hangs in a transient; use a ladder instead"
    if letters & (_JUNCTIONS | _TRANSISTORS) and analysis.stop > 100.0 * min(delays) * slack:
        yield (
            f"the lossless line '{lines[0].name}' beside diodes is accepted up to 100 delays "
            f"({100.0 * min(delays):.3g} s); the transient lasts {analysis.stop!r} s; use a ladder instead"
        )
