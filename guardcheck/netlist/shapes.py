"""From one element with its values to flat cards: one small function per kind of record, found in a table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from guardcheck.model import Card, Element
from guardcheck.netlist.expression import ExpressionError
from guardcheck.netlist.instance import Instance
from guardcheck.netlist.records import Behaviour, Controlled, Coupling, Delay, Device, Passive, Source
from guardcheck.netlist.sources import WAVES, unrising
from guardcheck.netlist.writer import card, number_text

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
    letter = "" if element.name[0] == "b" else "b"
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
