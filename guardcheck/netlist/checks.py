"""What must hold across the cards of a netlist before it may be flattened."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from guardcheck.errors import nearest
from guardcheck.model import Element, Subcircuit
from guardcheck.netlist.expression import Amps, Volt, size, walk
from guardcheck.netlist.models import MODELS_FOR
from guardcheck.netlist.place import Place, choices, quoted
from guardcheck.netlist.records import Behaviour, Call, Controlled, Coupling, expressions

MAX_ELEMENTS = 2_000
MAX_DEPTH = 8
MAX_TERMS = 50_000
GROUNDS = ("0", "gnd")


TOO_MANY_TERMS = f"the part's expressions have more than {MAX_TERMS} terms once they are written out"
_TOO_DEEP = f"subcircuits call each other deeper than {MAX_DEPTH} levels"


@dataclass(frozen=True, slots=True)
class _Extent:
    """What a subcircuit flattens to: elements, terms of their expressions, levels of calls."""

    elements: int
    terms: int
    levels: int


def one(circuit: Subcircuit, place: Place) -> None:
    """Check one subcircuit on its own: names used once, everything referred to is there, no node used only once.

    Raises
    ------
    CircuitError
        naming the element

    """
    if not circuit.elements:
        raise place.error(f"the subcircuit {quoted(circuit.name)} has no elements")
    seen: set[str] = set()
    for element in circuit.elements:
        if element.name in seen:
            raise _at(place, element).error("the name is used twice")
        seen.add(element.name)
    uses = Counter(node for element in circuit.elements for node in element.nodes)
    known = {
        "node": {*uses, *circuit.ports, *GROUNDS},
        "voltage source": {name for name in seen if name[0] == "v"},
        "inductor": {name for name in seen if name[0] == "l"},
    }
    for element in circuit.elements:
        for kind, name in _references(element):
            if name not in known[kind]:
                raise _at(place, element).error(_not_there(kind, name, known[kind]))
            if kind == "node":
                uses[name] += 1
    _lonely(circuit, uses, place)


def _at(place: Place, element: Element) -> Place:
    return place.at(element.line, element.name)


def _not_there(kind: str, name: str, known: Collection[str]) -> str:
    if kind == "node":
        return f"v() names the node {quoted(name)}, to which nothing connects{nearest(name, known)}"
    choice = f"accepted: {choices(known)}" if known else "it has none"
    return f"{quoted(name)} is no {kind} of this subcircuit{nearest(name, known)}; {choice}"


def _references(element: Element) -> Iterator[tuple[str, str]]:
    """Yield the kind and name of what an element refers to besides its own nodes."""
    body = element.fields[0]
    if isinstance(body, Behaviour):
        for item in walk(body.expr):
            if isinstance(item, Volt):
                yield from (("node", node) for node in (item.plus, item.minus) if node is not None)
            elif isinstance(item, Amps):
                yield "voltage source", item.source
    elif isinstance(body, Coupling):
        yield from (("inductor", body.first), ("inductor", body.second))
    elif isinstance(body, Controlled) and body.control is not None:
        yield "voltage source", body.control


def _lonely(circuit: Subcircuit, uses: Mapping[str, int], place: Place) -> None:
    for element in circuit.elements:
        for node in element.nodes:
            if uses[node] == 1 and node not in (*circuit.ports, *GROUNDS):
                others = [name for name in (*uses, *circuit.ports) if name != node]
                raise _at(place, element).error(
                    f"nothing else connects to the node {quoted(node)}{nearest(node, others)}"
                )


def terms_of(element: Element) -> int:
    """Return how many terms the expressions of an element have."""
    return sum(map(size, expressions(element.fields[0])))


def whole(part: Subcircuit, lines: Mapping[str, int]) -> None:
    """Check a part with its helpers: calls, recursion, size after flattening, kinds of the local models.

    `lines` says where each subcircuit begins. Raises CircuitError.
    """
    place = Place(part.file)
    family = {part.name: part, **part.inner}
    for circuit in family.values():
        for element in circuit.elements:
            _check_call(family, element, _at(place, element))
            _check_model(part, element, _at(place, element))
    sizes: dict[str, _Extent] = {}
    _measure(part.name, family, sizes, (), place)
    for name in family:
        if name not in sizes:
            raise place.at(lines[name]).error(
                f"the subcircuit {quoted(name)} is never called: the first .subckt is the part, the others its helpers"
            )


def _check_call(family: Mapping[str, Subcircuit], element: Element, place: Place) -> None:
    body = element.fields[0]
    if not isinstance(body, Call):
        return
    if body.subcircuit not in family:
        raise place.error(
            f"there is no subcircuit {quoted(body.subcircuit)} in this file{nearest(body.subcircuit, family)}"
        )
    called = family[body.subcircuit]
    if len(called.ports) != len(element.nodes):
        raise place.error(
            f"{quoted(called.name)} has {len(called.ports)} ports ({' '.join(called.ports)}), "
            f"but {len(element.nodes)} nodes are given"
        )
    for name, _ in body.values:
        if name not in called.parameters:
            raise place.error(unknown_parameter(called, name))


def unknown_parameter(circuit: Subcircuit, name: str) -> str:
    """Return the sentence for a parameter a subcircuit does not have."""
    if name in circuit.derived:
        return f"{quoted(name)} is worked out inside {quoted(circuit.name)} and cannot be given"
    known = circuit.parameters
    choice = f"accepted: {choices(known)}" if known else "it has none"
    return f"{quoted(circuit.name)} has no parameter {quoted(name)}{nearest(name, known)}; {choice}"


def _check_model(part: Subcircuit, element: Element, place: Place) -> None:
    model = part.models.get(element.model) if element.model is not None else None
    kinds = MODELS_FOR.get(element.name[0], ())
    if model is not None and model.type not in kinds:
        raise place.error(f"the model {quoted(model.name)} is of kind {model.type}; accepted here: {choices(kinds)}")


def _measure(
    name: str, family: Mapping[str, Subcircuit], known: dict[str, _Extent], path: tuple[str, ...], place: Place
) -> _Extent:
    """Return what a subcircuit flattens to; each subcircuit is measured once, so calls cannot explode."""
    if name in known:
        return known[name]
    elements, levels = 0, 1
    terms = sum(map(size, (*family[name].parameters.values(), *family[name].derived.values())))
    for element in family[name].elements:
        body, here = element.fields[0], _at(place, element)
        terms += terms_of(element)
        if isinstance(body, Call):
            if body.subcircuit in (*path, name):
                raise here.error(f"{quoted(name)} ends up calling itself through {quoted(body.subcircuit)}")
            below = _measure_below(body.subcircuit, family, known, (*path, name), here)
            elements, terms, levels = elements + below.elements, terms + below.terms, max(levels, 1 + below.levels)
        else:
            elements += 1
        if levels > MAX_DEPTH:
            raise here.error(_TOO_DEEP)
        if elements > MAX_ELEMENTS:
            raise here.error(f"the part has more than {MAX_ELEMENTS} elements once its subcircuits are written out")
        if terms > MAX_TERMS:
            raise here.error(TOO_MANY_TERMS)
    known[name] = _Extent(elements, terms, levels)
    return known[name]


def _measure_below(
    name: str, family: Mapping[str, Subcircuit], known: dict[str, _Extent], path: tuple[str, ...], here: Place
) -> _Extent:
    if len(path) >= MAX_DEPTH:
        raise here.error(_TOO_DEEP)
    return _measure(name, family, known, path, here)
