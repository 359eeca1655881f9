"""Instantiating a part: a `Subcircuit` with values becomes flat cards with plain numbers."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

import numpy as np

from guardcheck.errors import CircuitError, accepted, nearest
from guardcheck.model import Card, Element, Model, Number, Subcircuit
from guardcheck.netlist.checks import unknown_parameter
from guardcheck.netlist.evaluate import emitted, evaluate, settled
from guardcheck.netlist.expression import Expr, ExpressionError, Name, walk
from guardcheck.netlist.fields import plain_name
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.records import Behaviour, Call, Controlled, Coupling, Delay, Device, Passive, Source
from guardcheck.netlist.sources import WAVES, unrising
from guardcheck.netlist.writer import MAX_NAME, card, check_node, number_text

_Models = Mapping[str, str]


def cards_of(element: Element, instance: Instance, models: _Models) -> tuple[Card, ...]:
    """Return the flat cards of an element that is not a call.

    `models` maps the part's own models to their flat names. Raises ExpressionError or CircuitError without a place; the
    caller knows it.
    """
    body = element.fields[0]
    return (_SHAPES[type(body)](element, body, instance, models),)


def _nodes(element: Element, instance: Instance) -> tuple[str, ...]:
    return tuple(map(instance.node, element.nodes))


def _open(nodes: tuple[str, ...]) -> tuple[str, ...]:
    """Return the nodes of something that forces a voltage, refusing one that would force it across nothing."""
    if nodes[0] == nodes[1]:
        raise ExpressionError(f"both ends are the same node ({nodes[0]}), which no source or inductor can have")
    return nodes


def _passive(element: Element, body: Passive, instance: Instance, models: _Models) -> Card:
    tail = ""
    if body.initial is not None:
        tail = f"ic={number_text(instance.fixed(body.initial, 'an initial value'))}"
    nodes = _nodes(element, instance)
    nodes = _open(nodes) if element.name[0] == "l" else nodes
    return card(instance.element(element.name), nodes, instance.value(body.value), tail)


def _coupling(element: Element, body: Coupling, instance: Instance, models: _Models) -> Card:
    if body.first == body.second:
        raise ExpressionError("an inductor cannot be coupled to itself")
    coupled = (instance.element(body.first), instance.element(body.second))
    return card(instance.element(element.name), coupled, instance.fixed(body.value, "a coupling"))


def _source(element: Element, body: Source, instance: Instance, models: _Models) -> Card:
    nodes = _nodes(element, instance)
    nodes = _open(nodes) if element.name[0] == "v" else nodes
    words: list[str] = []
    if body.small_signal:
        words += ["ac", *(number_text(instance.fixed(item, "a small-signal value")) for item in body.small_signal)]
    if body.wave:
        numbers = [instance.fixed(item, f"a number of {body.wave}(...)") for item in body.numbers]
        _check_wave(body.wave, numbers)
        words.append(f"{body.wave}({' '.join(map(number_text, numbers))})")
    value = None if body.value is None else instance.value(body.value)
    if value is None and not body.wave:
        value = 0.0
    return card(instance.element(element.name), nodes, value, " ".join(words))


def _check_wave(name: str, numbers: list[float]) -> None:
    if name == "pwl":
        problem = unrising(numbers[::2])
        if problem is not None:
            raise ExpressionError(problem)
        return
    for key, value in zip(WAVES[name].numbers, numbers, strict=False):
        if key in WAVES[name].positive and value <= 0.0:
            raise ExpressionError(
                f"{key} of {name}(...) must be greater than 0, or a simulator puts in a time of its own"
            )


def _controlled(element: Element, body: Controlled, instance: Instance, models: _Models) -> Card:
    nodes = _nodes(element, instance)
    if element.name[0] in "eh":
        _open(nodes)
    if body.control is not None:
        nodes += (instance.element(body.control),)
    return card(instance.element(element.name), nodes, instance.value(body.gain))


def _behaviour(element: Element, body: Behaviour, instance: Instance, models: _Models) -> Card:
    nodes = _nodes(element, instance)
    nodes = _open(nodes) if body.drives == "v" else nodes
    letter = flat_name(element).removesuffix(element.name)
    return card(instance.element(element.name, letter), nodes, None, f"{body.drives}={instance.behaviour(body.expr)}")


def _device(element: Element, body: Device, instance: Instance, models: _Models) -> Card:
    assert element.model is not None
    nodes = _nodes(element, instance)
    words = [models.get(element.model, element.model)]
    for key, expr in body.numbers:
        value = instance.fixed(expr, f"the {key} of a device")
        if value <= 0.0:
            raise ExpressionError(f"{key} must be greater than 0, not {value:g}")
        words.append(number_text(value) if key == "area" else f"{key}={number_text(value)}")
    return card(instance.element(element.name), nodes, None, " ".join([*words, *([body.word] if body.word else [])]))


def _delay(element: Element, body: Delay, instance: Instance, models: _Models) -> Card:
    words = []
    for key, expr in (("z0", body.impedance), ("td", body.delay)):
        value = instance.fixed(expr, f"the {key} of a line")
        if value <= 0.0:
            raise ExpressionError(f"{key} must be greater than 0, not {value:g}")
        words.append(f"{key}={number_text(value)}")
    return card(instance.element(element.name), _nodes(element, instance), None, " ".join(words))


_SHAPES: Mapping[type, Callable[[Element, Any, Instance, _Models], Card]] = {
    Passive: _passive,
    Coupling: _coupling,
    Source: _source,
    Controlled: _controlled,
    Behaviour: _behaviour,
    Device: _device,
    Delay: _delay,
}


_KEPT = 44


class Names:
    """Hands out flat names. Names given twice get a running number, long ones a digest of what was cut off."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        self._taken = set(taken)

    def unique(self, wanted: str) -> str:
        """Return `wanted`, or the nearest to it that is free and at most 60 characters long."""
        short = wanted
        if len(wanted) > MAX_NAME - 5:
            short = f"{wanted[:_KEPT]}_{hashlib.sha256(wanted.encode()).hexdigest()[:10]}"
        name, count = short, 1
        while name in self._taken:
            count += 1
            name = f"{short}_{count}"
        self._taken.add(name)
        return name


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


def flatten(
    circuit: Subcircuit,
    *,
    name: str,
    ports: Mapping[str, str],
    values: Mapping[str, Number],
    prefix: str = "",
) -> tuple[Card, ...]:
    """Return the flat cards of one instance of a part.

    Element ``rs`` of instance ``stage`` becomes card ``rs_stage``, inner node ``n1`` becomes ``stage_n1``; inside a
    call ``x1`` they become ``rs_x1_stage`` and ``x1_stage_n1``, so that a name always ends in whose it is. A parameter
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


def calls_of(element: Element) -> str | None:
    """Return the subcircuit an element calls, None for every other element."""
    body = element.fields[0]
    return body.subcircuit if isinstance(body, Call) else None


def flat_name(element: Element) -> str:
    """Return an element's name as its card has it, before whose it is: an E source by expression is written as B."""
    written = isinstance(element.fields[0], Behaviour) and element.name[0] != "b"
    return f"b{element.name}" if written else element.name


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
        self.build(called, f"{element.name}_{instance.name}", ports, given)
