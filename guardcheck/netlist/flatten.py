"""Instantiating a part: a `Subcircuit` with values becomes flat cards with plain numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from guardcheck.errors import CircuitError, accepted, nearest
from guardcheck.model import Card, Element, Model, Number, Subcircuit
from guardcheck.netlist.checks import unknown_parameter
from guardcheck.netlist.evaluate import evaluate
from guardcheck.netlist.expression import ExpressionError
from guardcheck.netlist.fields import plain_name
from guardcheck.netlist.instance import Instance
from guardcheck.netlist.names import Names
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.records import Call
from guardcheck.netlist.shapes import cards_of
from guardcheck.netlist.writer import check_node


def flatten(
    circuit: Subcircuit,
    *,
    name: str,
    ports: Mapping[str, str],
    values: Mapping[str, Number],
    prefix: str = "",
) -> tuple[Card, ...]:
    """Return the flat cards of one instance of a part.

    Element ``rs`` of instance ``stage`` becomes card ``rs_stage``, inner node ``n1`` becomes ``stage_n1``. A parameter
    given as an array makes the value of an R, C, L, V or I card, or a gain, an array; where it stands in a B source it
    is carried by a hidden source ``v_stage_<parameter>``, so that every variation is the value of some card.

    Parameters
    ----------
    circuit
        the part as read
    name
        instance name: lower case letters, digits and ``_``
    ports
        the global node for every port; ``0`` is ground
    values
        parameters [SI], floats or arrays of shape ``(n_variants,)``; the others keep their defaults
    prefix
        put before the names of the circuit's own models; give `models_of` the same

    Raises
    ------
    CircuitError
        for unknown ports or parameters, values no part can have, and a varying parameter where it cannot vary

    """
    place = Place(circuit.file)
    name = plain_name(name, "the name of an instance", place)
    given = _checked_values(circuit, values)
    _check_ports(circuit, ports, place)
    builder = _Builder(circuit, prefix, Names({"0", "gnd", *ports.values()}))
    builder.build(circuit, name, dict(ports), given)
    return tuple(builder.cards)


def defaults(circuit: Subcircuit) -> dict[str, float]:
    """Return the default of every parameter [SI]; raises CircuitError when one has no finite value."""
    return {key: float(value) for key, value in _environment(circuit, {}).items() if key in circuit.parameters}


def models_of(circuit: Subcircuit, prefix: str = "") -> tuple[Model, ...]:
    """Return the part's own models, `prefix` put before each name."""
    return tuple(Model(prefix + model.name, model.type, model.parameters) for model in circuit.models.values())


def _checked_values(circuit: Subcircuit, values: Mapping[str, Number]) -> dict[str, Number]:
    place = Place(circuit.file)
    checked: dict[str, Number] = {}
    lengths: set[int] = set()
    for key, value in values.items():
        if key not in circuit.parameters:
            raise place.error(unknown_parameter(circuit, key))
        if isinstance(value, float) and math.isfinite(value):
            checked[key] = float(value)
            continue
        array = np.asarray(value, dtype=np.float64)
        if array.ndim > 1 or array.size == 0 or not np.all(np.isfinite(array)):
            raise place.at(key=key).error("the value must be finite: one number, or one per variant")
        checked[key] = float(array) if array.ndim == 0 else array
        lengths |= {len(array)} if array.ndim else set()
    if len(lengths) > 1:
        raise place.error(f"the variants differ in number: {', '.join(map(str, sorted(lengths)))}")
    return checked


def _check_ports(circuit: Subcircuit, ports: Mapping[str, str], place: Place) -> None:
    for port in circuit.ports:
        if port not in ports:
            raise place.error(f"the port {quoted(port)} of {quoted(circuit.name)} is not connected")
    for port, node in ports.items():
        if port not in circuit.ports:
            choice = accepted(circuit.ports)
            raise place.error(
                f"{quoted(circuit.name)} has no port {quoted(port)}{nearest(port, circuit.ports)}; it has: {choice}"
            )
        check_node(node)


def _environment(circuit: Subcircuit, given: Mapping[str, Number]) -> dict[str, Number]:
    """Return every parameter and derived name with its value, in order of definition."""
    found: dict[str, Number] = {}
    for key, expr in (*circuit.parameters.items(), *circuit.derived.items()):
        try:
            found[key] = given[key] if key in given else evaluate(expr, found)
        except ExpressionError as error:
            raise Place(circuit.file, key=f"{circuit.name}.{key}").error(str(error)) from None
    return found


class _Builder:
    """Collects the cards of one instantiation, helper calls included."""

    def __init__(self, part: Subcircuit, prefix: str, nodes: Names) -> None:
        self._part, self._prefix = part, prefix
        self._nodes, self._names = nodes, Names()
        self.cards: list[Card] = []

    def build(self, circuit: Subcircuit, name: str, ports: Mapping[str, str], given: Mapping[str, Number]) -> None:
        values = _environment(circuit, given)
        instance = Instance(name, ports, values, self._nodes, self._names)
        models = {model: self._prefix + model for model in self._part.models}
        for element in circuit.elements:
            place = Place(self._part.file, element.line, element.name)
            try:
                self._add(element, instance, models)
            except ExpressionError as error:
                raise place.error(str(error)) from None
            except CircuitError as error:
                if error.file is not None:
                    raise
                raise place.error(error.problem) from None
        self.cards.extend(instance.carriers())

    def _add(self, element: Element, instance: Instance, models: Mapping[str, str]) -> None:
        body = element.fields[0]
        if not isinstance(body, Call):
            self.cards.extend(cards_of(element, instance, models))
            return
        called = self._part.inner[body.subcircuit]
        ports = dict(zip(called.ports, map(instance.node, element.nodes), strict=True))
        given = {key: evaluate(expr, instance.values) for key, expr in body.values}
        self.build(called, f"{instance.name}_{element.name}", ports, given)
