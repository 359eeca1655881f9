"""Circuits as data: what the SPICE reader understands, and the flat cards a deck is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Number = float | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Model:
    """A `.model` card: name, type (``d``, ``npn`` …) and parameters as SI floats."""

    name: str
    type: str
    parameters: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Element:
    """One element of a subcircuit as read: `fields` are the reader's own records, opaque to others.

    `model` names the `.model` card a diode, transistor or switch refers to, else None.
    """

    name: str
    nodes: tuple[str, ...]
    fields: tuple[Any, ...]
    line: int = 0
    model: str | None = None


@dataclass(frozen=True, slots=True)
class Subcircuit:
    """One `.subckt`: ports in order, parameters with default expressions, elements, local models, inner subcircuits.

    `parameters` may be overridden by whoever instantiates; `derived` are `.param` lines inside, computed from them in
    order and never overridden.
    """

    name: str
    ports: tuple[str, ...]
    parameters: Mapping[str, Any]
    elements: tuple[Element, ...]
    models: Mapping[str, Model] = field(default_factory=dict)
    inner: Mapping[str, Subcircuit] = field(default_factory=dict)
    file: str = ""
    derived: Mapping[str, Any] = field(default_factory=dict)

    def __hash__(self) -> int:
        """Return the same for equal circuits, so that what is made of one can be looked up: tables have no hash."""
        return hash((self.name, self.file, self.ports))

    @property
    def model_names(self) -> frozenset[str]:
        """Names of models used but not defined here (the library supplies them)."""
        return frozenset(_missing_models(self))


def _missing_models(circuit: Subcircuit) -> set[str]:
    used = {element.model for element in circuit.elements if element.model is not None}
    for child in circuit.inner.values():
        used |= _missing_models(child)
    return used - set(circuit.models)


@dataclass(frozen=True, slots=True)
class Card:
    """One flat element line of a deck.

    `value` is the principal number (ohm, farad, henry, volt, ampere or gain). It is an array of shape
    ``(n_variants,)`` when the element varies from sample to sample. `tail` is everything after it, already in plain
    numbers; a `{value}`-less element (diode, transistor, B source) has `value` None and only a tail.
    """

    name: str
    nodes: tuple[str, ...]
    value: Number | None = None
    tail: str = ""
