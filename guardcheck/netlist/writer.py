"""The writer: flat cards and models into canonical simulator lines.

It is the last gate before the simulator: whatever built a card, only checked names, plain numbers and a short list of
characters leave here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.errors import CircuitError
from guardcheck.model import Card, Model, Number
from guardcheck.netlist.place import quoted

MAX_NAME = 60
VALUED = "rclviegfh"
"""Letters whose value a simulator can alter between variants."""

_LETTERS = "rclkvidqjmegfhbst"
_NAME = re.compile(rf"[{_LETTERS}][a-z0-9_]{{0,{MAX_NAME - 1}}}", re.ASCII)
_NODE = re.compile(rf"[a-z0-9_]{{1,{MAX_NAME}}}", re.ASCII)
_TAIL = re.compile(r"[a-z0-9_ .,=+\-*/()<>!&|?:]*", re.ASCII)
_LINE = re.compile(r"[.a-z][a-z0-9_ .,=+\-*/()<>!&|?:]*", re.ASCII)
_NEEDS_VALUE = "rclkegfh"
_ABOVE_ZERO = "rcl"
_LEAST_OHMS = 1e-3
_LARGEST = 1e15


def card(name: str, nodes: Sequence[str], value: Number | None = None, tail: str = "") -> Card:
    """Return a checked card.

    Parameters
    ----------
    name
        element name, lower case, its first letter being the SPICE letter
    nodes
        flat node names, ``0`` for ground; for K, F and H the trailing entries are element names
    value
        principal number [SI]; an array of shape ``(n_variants,)`` for R, C, L, V, I and gains only
    tail
        everything behind the value, in plain numbers

    Raises
    ------
    CircuitError
        for a name, node, value or tail that may not stand in a deck

    """
    if not _NAME.fullmatch(name):
        raise CircuitError(f"{quoted(name)} cannot be the name of a card; accepted first letters: {' '.join(_LETTERS)}")
    for node in nodes:
        check_node(node, name)
    if not _TAIL.fullmatch(tail):
        raise CircuitError(f"{quoted(tail)} cannot stand in a deck", key=name)
    if value is None:
        if name[0] in _NEEDS_VALUE:
            raise CircuitError("the value is missing", key=name)
        return Card(name, tuple(nodes), None, tail)
    return Card(name, tuple(nodes), checked_value(name, value), tail)


def check_node(node: str, name: str | None = None) -> None:
    """Refuse a node name that may not stand in a deck; `name` is the card, for the message."""
    if not _NODE.fullmatch(node) or node == "gnd":
        hint = "; write 0 for ground" if node == "gnd" else ""
        raise CircuitError(f"{quoted(node)} cannot be a node in a deck{hint}", key=name)


def checked_value(name: str, value: Number) -> Number:
    """Return the value as float or float64 array, or raise CircuitError saying why no such part exists."""
    if isinstance(value, float):  # nearly all are, and numpy takes its time over a single number
        _check_range(name, value, value)
        return float(value)
    array = np.asarray(value, dtype=np.float64)
    if array.ndim > 1 or (array.ndim == 1 and name[0] not in VALUED):
        raise CircuitError("the value cannot differ between variants here", key=name)
    if not array.size:
        raise CircuitError("there are no variants", key=name)
    _check_range(name, float(array.min()), float(array.max()))
    return float(array) if array.ndim == 0 else array


def _check_range(name: str, low: float, high: float) -> None:
    """Refuse an element whose values, from `low` to `high`, no part can have; one that is no number makes both so."""
    if not (math.isfinite(low) and math.isfinite(high)):
        raise CircuitError("the value is not finite", key=name)
    if name[0] in _ABOVE_ZERO and (low <= 0.0 or (name[0] == "r" and low < _LEAST_OHMS)):
        raise CircuitError(_too_small(name[0], low), key=name)
    if name[0] == "k" and not (low > 0.0 and high <= 1.0):
        raise CircuitError("a coupling is greater than 0 and at most 1", key=name)
    largest = max(abs(low), abs(high))
    if largest >= _LARGEST:
        raise CircuitError(f"{largest:g} is too large; values stay below {_LARGEST:g}", key=name)


def _too_small(letter: str, value: float) -> str:
    if letter != "r":
        unit, word = {"c": ("F", "a capacitor"), "l": ("H", "an inductor")}[letter]
        return f"{value:g} {unit} is not {word}; leave the element out, or write a small value"
    if value < 0.0:
        return f"{value:g} ohm is not a resistor; a negative one is a G source"
    return f"{value:g} ohm is a short, for which some simulators silently put in a value of their own; write 1e-3"


def deck_lines(cards: Sequence[Card], models: Sequence[Model]) -> tuple[str, ...]:
    """Return canonical SPICE lines: element lines in order, then `.model` lines.

    Numbers are written by `repr`, so they come back bit for bit; no scale factors, parameters, braces, comments or
    subcircuits occur. Two models of one name must be the same.

    Raises
    ------
    CircuitError
        for a card that could not have been built by `card`, a value that is still an array, or clashing models

    """
    lines = [_card_line(item) for item in cards]
    seen: dict[str, Model] = {}
    for model in models:
        if seen.setdefault(model.name, model) != model:
            raise CircuitError(f"two models are called {quoted(model.name)}")
    lines += [_model_line(model) for model in seen.values()]
    for line in lines:
        if not _LINE.fullmatch(line):
            raise CircuitError(f"{quoted(line)} cannot stand in a deck")
    return tuple(lines)


def _card_line(item: Card) -> str:
    if isinstance(item.value, np.ndarray):
        raise CircuitError("the value is an array; choose a variant first", key=item.name)
    if not _NAME.fullmatch(item.name) or not all(_NODE.fullmatch(node) for node in item.nodes):
        raise CircuitError(f"{quoted(item.name)} has a name or node that cannot stand in a deck")
    parts = [item.name, *item.nodes]
    if item.value is not None:
        parts += ["dc"] if item.name[0] in "vi" else []
        parts.append(number_text(item.value))
    return " ".join([*parts, item.tail]) if item.tail else " ".join(parts)


def _model_line(model: Model) -> str:
    if not (_NODE.fullmatch(model.name) and model.type.isalpha()):
        raise CircuitError(f"{quoted(model.name)} cannot be the name of a model in a deck")
    pairs = " ".join(f"{key}={number_text(value)}" for key, value in model.parameters.items())
    return f".model {model.name} {model.type}({pairs})"


def number_text(value: float) -> str:
    """Return a plain number with an exponent where needed; raises CircuitError unless it is finite."""
    if not math.isfinite(value):
        raise CircuitError(f"{value} cannot stand in a deck")
    return repr(float(value))


def split_variants(
    cards: Sequence[Card],
) -> tuple[tuple[Card, ...], tuple[str, ...], NDArray[np.float64] | None]:
    """Return cards with the first variant's values, the names that vary, and the matrix of their values.

    The matrix has shape ``(n_variants, len(names))`` and is None when nothing varies; these are a Deck's `cards`,
    `alter` and `variants`. Raises CircuitError when the arrays differ in length.
    """
    varying = [item for item in cards if isinstance(item.value, np.ndarray)]
    if not varying:
        return tuple(cards), (), None
    lengths = {len(item.value) for item in varying if isinstance(item.value, np.ndarray)}
    if len(lengths) != 1:
        raise CircuitError(f"the variants differ in number: {', '.join(map(str, sorted(lengths)))}")
    scalar = tuple(
        Card(item.name, item.nodes, float(item.value[0]), item.tail) if isinstance(item.value, np.ndarray) else item
        for item in cards
    )
    matrix = np.column_stack([np.asarray(item.value, dtype=np.float64) for item in varying])
    return scalar, tuple(item.name for item in varying), matrix
