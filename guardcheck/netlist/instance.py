"""One instance of a subcircuit while it is being flattened: its values and the flat names of what is inside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from guardcheck.model import Card, Number
from guardcheck.netlist.evaluate import emitted, evaluate, settled
from guardcheck.netlist.expression import Expr, ExpressionError, Name, walk
from guardcheck.netlist.names import Names
from guardcheck.netlist.writer import card


class Instance:
    """Values, node names and element names of one instance.

    Parameters
    ----------
    name : flat name of the instance
    ports : flat node of every port
    values : every parameter and derived name [SI]
    nodes, names : the flat names already handed out in this instantiation

    """

    def __init__(
        self, name: str, ports: Mapping[str, str], values: Mapping[str, Number], nodes: Names, names: Names
    ) -> None:
        self.name, self.values = name, values
        self._ports, self._nodes, self._names = ports, nodes, names
        self._inner: dict[str, str] = {"0": "0"} if "gnd" in ports else {"0": "0", "gnd": "0"}
        self._elements: dict[str, str] = {}
        self._carriers: dict[str, str] = {}

    def node(self, node: str) -> str:
        """Return the flat name of a node."""
        if node in self._ports:
            return self._ports[node]
        if node not in self._inner:
            self._inner[node] = self._nodes.unique(f"{self.name}_{node}")
        return self._inner[node]

    def element(self, element: str, letter: str = "") -> str:
        """Return the flat name of an element; `letter` goes in front when it is written as another kind."""
        if element not in self._elements:
            self._elements[element] = self._names.unique(f"{letter}{element}_{self.name}")
        return self._elements[element]

    def value(self, expr: Expr) -> Number:
        """Return the value of an expression, an array when a parameter in it varies."""
        return evaluate(expr, self.values)

    def fixed(self, expr: Expr, what: str) -> float:
        """Return a value that must not vary; `what` names it in the message."""
        value = self.value(expr)
        if isinstance(value, np.ndarray):
            varying = sorted(self._varying(expr))
            raise ExpressionError(
                f"the parameter {', '.join(varying)} cannot carry a tolerance here: {what} cannot change from sample "
                "to sample; the value of an R, C, L, V or I element, a gain, and the terms of a B source can"
            )
        return value

    def _varying(self, expr: Expr) -> set[str]:
        names = {item.name for item in walk(expr) if isinstance(item, Name)}
        return {name for name in names if isinstance(self.values[name], np.ndarray)}

    def behaviour(self, expr: Expr) -> str:
        """Return the text of a behavioural expression with flat names; parameters that vary come in as voltages."""
        return emitted(settled(expr, self.values, self._hoist), self.node, self.element)

    def _hoist(self, parameter: str) -> str:
        """Return the (inner) node that carries a varying parameter."""
        inner = f"__{parameter}"
        if parameter not in self._carriers:
            self._carriers[parameter] = self._names.unique(f"v_{self.name}_{parameter}")
            self._inner[inner] = self._nodes.unique(f"{self.name}__{parameter}")
        return inner

    def carriers(self) -> Iterator[Card]:
        """Yield the hidden sources that carry varying parameters."""
        for parameter, name in self._carriers.items():
            yield card(name, (self._inner[f"__{parameter}"], "0"), self.values[parameter])
