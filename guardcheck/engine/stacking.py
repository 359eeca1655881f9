"""Many copies of one circuit side by side in one deck.

Most of the time of a small run goes into what the simulator does once per time point or per deck, whatever the size
of the circuit. Copies share that, and the four-fold saving is the largest there is. The copies touch nothing but ideal
sources to ground, so each is solved as if alone; only the time steps are common, which moves a plateau by less than
the solver's own tolerance.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine.script import MARK, Stack

if TYPE_CHECKING:  # a worker uses half of this module and must start fast
    from guardcheck.model import Card, Deck

COPIES: Mapping[str, int] = {"op": 100, "ac": 50, "tran": 25}
"""Copies per deck and kind of analysis: more gain nothing, as measured on the guarded 75-ohm stage."""

_SUFFIX = "_q"
_TAKEN = re.compile(rf"{_SUFFIX}\d+\Z")
_READ = re.compile(r"\b([vi])\(([^()]*)\)")


def stack_of(deck: Deck, kind: str, lines: tuple[str, ...]) -> Stack | None:
    """Return the template for copies of a deck, or None when it must run one variant at a time.

    Parameters
    ----------
    deck
        the deck the lines were written from
    kind
        ``op``, ``ac`` or ``tran``
    lines
        one line per card, each starting with name, nodes and value, then the models

    """
    if deck.n_variants < 2:
        return None
    names = {name for card in deck.cards for name in (card.name, *card.nodes)}
    if any(_TAKEN.search(name) for name in names):
        return None
    by_name = {line.split(" ", 1)[0]: line for line in lines if not line.startswith(".")}
    if by_name.keys() != {card.name for card in deck.cards}:
        return None
    common = _common_sources(deck)
    kept = {"0", *common, *(node for node in common.values())}
    columns = {name: column for column, name in enumerate(deck.alter)}
    pieces: list[str | int] = [""]
    left_out = {*common, *(_idle(deck.cards) if kind == "op" else ())}
    for card in deck.cards:
        if card.name in left_out:
            continue
        if not _append(pieces, card, by_name[card.name].split(), kept, columns):
            return None
    models = tuple(line for line in lines if line.startswith("."))
    return Stack((*(by_name[name] for name in common), *models), tuple(pieces), COPIES[kind])


def stacked_lines(stack: Stack, rows: NDArray[np.float64]) -> list[str]:
    """Return the lines of one deck that holds a copy of the circuit for each row of values."""
    lines = list(stack.shared)
    for k, row in enumerate(rows.tolist()):
        text = "".join(piece if isinstance(piece, str) else repr(row[piece]) for piece in stack.pieces)
        lines += text.replace(MARK, f"{_SUFFIX}{k}").split("\n")[:-1]
    return lines


def copy_of(vector: str, k: int) -> str:
    """Return the name a vector has in copy `k`."""
    name, mark, branch = vector.partition("#")
    return f"{name}{_SUFFIX}{k}{mark}{branch}"


def _common_sources(deck: Deck) -> dict[str, str]:
    """Return the ideal sources to ground that neither vary nor are read, with their nodes: one serves all copies."""
    read = {wanted[2:-1] for wanted in deck.save}
    for card in deck.cards:
        if card.name[0] in "fhk":
            read.update(card.nodes)
        elif card.name[0] == "b":
            read.update(inner.strip() for kind, inner in _READ.findall(card.tail) if kind == "i")
    common: dict[str, str] = {}
    for card in deck.cards:
        sole = card.name[0] == "v" and card.nodes[1:] == ("0",) and card.name not in deck.alter
        if sole and not read & {card.name, card.nodes[0]}:
            common[card.name] = card.nodes[0]
    return common


def _idle(cards: tuple[Card, ...]) -> frozenset[str]:
    """Return the capacitors between nodes that other elements hold: open at rest, they only cost reading time."""
    held = {"0", *(node for card in cards if card.name[0] != "c" for node in card.nodes)}
    return frozenset(card.name for card in cards if card.name[0] == "c" and held.issuperset(card.nodes))


def _append(pieces: list[str | int], card: Card, tokens: list[str], kept: set[str], columns: Mapping[str, int]) -> bool:
    """Append one element line to the template; False when the line is not written as expected."""
    n = len(card.nodes)
    if tokens[: n + 1] != [card.name, *card.nodes]:
        return False
    head = " ".join([f"{card.name}{MARK}", *(_copied(node, kept) for node in card.nodes)])
    tail = tokens[n + 1 :]
    if card.name in columns:
        if tail[:1] == ["dc"]:
            head, tail = f"{head} dc", tail[1:]
        if not tail or not _is(tail[0], card.value):
            return False
        pieces[-1] = f"{pieces[-1]}{head} "
        pieces += [columns[card.name], ""]
        head, tail = "", tail[1:]
    rest = " ".join(tail)
    if card.name[0] == "b":
        rest = _READ.sub(lambda read: _renamed(read, kept), rest)
    pieces[-1] = f"{pieces[-1]}{head}{' ' if rest else ''}{rest}\n"
    return True


def _renamed(read: re.Match[str], kept: set[str]) -> str:
    names = ",".join(_copied(name.strip(), kept) for name in read[2].split(","))
    return f"{read[1]}({names})"


def _copied(name: str, kept: set[str]) -> str:
    return name if name in kept else f"{name}{MARK}"


def _is(token: str, value: object) -> bool:
    try:
        return float(token) == value
    except ValueError:
        return False
