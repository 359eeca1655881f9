"""The reader: a netlist text into one checked `Subcircuit`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from guardcheck.model import Element, Model, Subcircuit
from guardcheck.netlist import checks
from guardcheck.netlist.dotcards import (
    Header,
    card_fields,
    read_constants,
    read_function,
    read_header,
    read_parameters,
    refused,
)
from guardcheck.netlist.elements import read_element
from guardcheck.netlist.expression import Expr
from guardcheck.netlist.grammar import Known
from guardcheck.netlist.models import USAGE, read_model
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.text import Statement, statements


@dataclass
class _Sheet:
    """What the first pass finds: cards sorted by kind, subcircuits with their lines still unread."""

    known: Known = field(default_factory=Known)
    models: dict[str, Model] = field(default_factory=dict)
    bodies: dict[str, tuple[Header, list[Statement]]] = field(default_factory=dict)
    open: str | None = None
    terms: int = 0


def parse(text: str | bytes, *, file: str) -> Subcircuit:
    """Return the part a netlist describes: its first `.subckt`, with its helpers and models.

    The text may hold comments, `.subckt`/`.ends` (the first is the part, the others are helpers it calls with X
    elements), `.model`, `.param`, `.func` and a last `.end`. There is no title line. Inside a subcircuit node 0 is the
    ground of everything, and so is `gnd` unless it is a port.

    Parameters
    ----------
    text
        the whole file; bytes are decoded as UTF-8
    file
        name used in messages

    Raises
    ------
    CircuitError
        one sentence with file, line, card, what was found and what is accepted

    """
    place = Place(file)
    sheet = _Sheet()
    lines = statements(text, place)
    for index, statement in enumerate(lines):
        _sort(sheet, statement, place.at(statement.line), last=index == len(lines) - 1)
    if sheet.open is not None:
        header = sheet.bodies[sheet.open][0]
        raise place.at(header.line).error(f"the subcircuit {quoted(header.name)} has no .ends")
    if not sheet.bodies:
        raise place.error("there is no .subckt; write .subckt NAME PORT ... [PARAMETER=DEFAULT ...], elements, .ends")
    circuits = {name: _subcircuit(sheet, header, body, place) for name, (header, body) in sheet.bodies.items()}
    first, *helpers = circuits.values()
    part = replace(first, models=sheet.models, inner={helper.name: helper for helper in helpers})
    checks.whole(part, {name: header.line for name, (header, _) in sheet.bodies.items()})
    return part


def parse_models(text: str | bytes, *, file: str) -> tuple[Model, ...]:
    """Return the models of a file that holds `.model` cards and comments only; raises CircuitError like `parse`."""
    place = Place(file)
    found: dict[str, Model] = {}
    for statement in statements(text, place):
        here = place.at(statement.line)
        card = statement.text.split(maxsplit=1)[0].lower()
        if card == ".end":
            continue
        if card != ".model":
            raise here.error(f"{quoted(card)} is not accepted in a file of models; write {USAGE}")
        _add_model(found, statement, here, Known())
    if not found:
        raise place.error(f"there is no .model card; write {USAGE}")
    return tuple(found.values())


def _sort(sheet: _Sheet, statement: Statement, place: Place, *, last: bool) -> None:
    card = statement.text.split(maxsplit=1)[0].lower()
    if not card.startswith("."):
        if sheet.open is None:
            raise place.error(
                f"{quoted(card)} stands outside a .subckt; elements stand between .subckt and .ends "
                "(there is no title line, and a comment begins with '*')"
            )
        sheet.bodies[sheet.open][1].append(statement)
        return
    place = place.at(key=card) if card in _CARDS else place
    if card == ".end" and not last:
        raise place.error("something follows it; .end is the last line or is left out")
    if card not in _CARDS:
        raise refused(card, place)
    _CARDS[card](sheet, statement, place)


def _open(sheet: _Sheet, statement: Statement, place: Place) -> None:
    if sheet.open is not None:
        raise place.error(f"it stands inside {quoted(sheet.open)}; define helpers one after the other and call them")
    header = read_header(statement, place, sheet.known)
    if header.name in sheet.bodies:
        raise place.error(f"the subcircuit {quoted(header.name)} is defined twice")
    sheet.bodies[header.name] = (header, [])
    sheet.open = header.name


def _close(sheet: _Sheet, statement: Statement, place: Place) -> None:
    fields = card_fields(statement, place, sheet.known, ".ends [NAME]")
    if sheet.open is None:
        raise place.error("there is no .subckt open")
    if fields.left and (name := fields.word("a name").lower()) != sheet.open:
        raise place.error(f"{quoted(name)} is closed, but {quoted(sheet.open)} is open")
    fields.end()
    sheet.open = None


def _model(sheet: _Sheet, statement: Statement, place: Place) -> None:
    _add_model(sheet.models, statement, place, sheet.known)


def _add_model(found: dict[str, Model], statement: Statement, place: Place, known: Known) -> None:
    model = read_model(card_fields(statement, place, known, USAGE))
    if model.name in found:
        raise place.at(key=model.name).error("the model is defined twice")
    found[model.name] = model


def _param(sheet: _Sheet, statement: Statement, place: Place) -> None:
    if sheet.open is not None:
        sheet.bodies[sheet.open][1].append(statement)
        return
    known = sheet.known
    constants = {**known.constants, **read_constants(statement, place, known)}
    sheet.known = replace(known, constants=constants)


def _func(sheet: _Sheet, statement: Statement, place: Place) -> None:
    name, function = read_function(statement, place, sheet.known)
    sheet.known = replace(sheet.known, functions={**sheet.known.functions, name: function})


def _end(sheet: _Sheet, statement: Statement, place: Place) -> None:
    card_fields(statement, place, sheet.known, ".end").end()


_CARDS = {
    ".subckt": _open,
    ".ends": _close,
    ".model": _model,
    ".param": _param,
    ".func": _func,
    ".end": _end,
}


def _subcircuit(sheet: _Sheet, header: Header, body: list[Statement], place: Place) -> Subcircuit:
    fields = header.fields
    fields.known = sheet.known
    parameters = read_parameters(fields, frozenset(sheet.known.constants))
    derived = _derived(sheet, parameters, body, place)
    names = frozenset(parameters) | frozenset(derived)
    known = replace(sheet.known, names=names)
    elements: list[Element] = []
    for statement in body:
        if not statement.text.startswith("."):
            elements.append(_grounded(read_element(statement, place, known), header.ports))
            sheet.terms += checks.terms_of(elements[-1])
            if sheet.terms > checks.MAX_TERMS:
                raise place.at(statement.line, elements[-1].name).error(checks.TOO_MANY_TERMS)
    circuit = Subcircuit(header.name, header.ports, parameters, tuple(elements), {}, {}, place.file, derived)
    checks.one(circuit, place.at(header.line))
    return circuit


def _derived(sheet: _Sheet, parameters: Mapping[str, Expr], body: list[Statement], place: Place) -> dict[str, Expr]:
    derived: dict[str, Expr] = {}
    for statement in body:
        if statement.text.startswith("."):
            names = frozenset(parameters) | frozenset(derived)
            known = replace(sheet.known, names=names)
            fields = card_fields(statement, place.at(statement.line, ".param"), known, ".param NAME=VALUE ...")
            if not fields.left:
                raise fields.missing("NAME=VALUE")
            derived |= read_parameters(fields, names | frozenset(known.constants))
    return derived


def _grounded(element: Element, ports: tuple[str, ...]) -> Element:
    """Let `gnd` mean node 0, as SPICE does, unless the subcircuit has a port of that name."""
    if "gnd" in ports:
        return element
    return replace(element, nodes=tuple("0" if node == "gnd" else node for node in element.nodes))
