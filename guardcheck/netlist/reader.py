"""The reader: a netlist text into one checked `Subcircuit`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from guardcheck.errors import CircuitError, nearest
from guardcheck.model import Element, Model, Subcircuit
from guardcheck.netlist import checks
from guardcheck.netlist.elements import read_element
from guardcheck.netlist.evaluate import evaluate
from guardcheck.netlist.expression import Expr, ExpressionError, Function, Known, parse_behaviour
from guardcheck.netlist.fields import Fields, Token, free_name, node_name, plain_name, tokens
from guardcheck.netlist.models import USAGE, read_model
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.text import Statement, statements

ACCEPTED = (".subckt", ".ends", ".model", ".param", ".func", ".end")
MAX_PARAMETERS = 100
MAX_FUNCTIONS = 50
_COMMANDS = "runs commands; a netlist may only describe a circuit"
_READS = "reads another file; put everything the part needs into this one"
_ANALYSIS = "starts an analysis; which ones are run is decided elsewhere"
_OUTPUT = "asks for output; what is saved is decided elsewhere"
_SETTING = "changes the simulator's settings; they are decided elsewhere"
_START = "sets starting values; write ic= on the capacitor or inductor"
_CHOICE = "chooses between circuits; write one netlist for each"
_WHY: Mapping[str, str] = {
    ".control": _COMMANDS,
    ".endc": _COMMANDS,
    ".csparam": _COMMANDS,
    ".inc": _READS,
    ".lib": _READS,
    ".endl": _READS,
    ".load": _READS,
    ".opt": _SETTING,
    ".temp": _SETTING,
    ".global": "makes nodes global; connect them through ports",
    ".ic": _START,
    ".nodeset": _START,
    ".if": _CHOICE,
    ".else": _CHOICE,
    **dict.fromkeys(
        (".tran", ".ac", ".dc", ".op", ".noise", ".tf", ".sens", ".pz", ".disto", ".four", ".sp"), _ANALYSIS
    ),
    **dict.fromkeys((".print", ".plot", ".probe", ".save", ".meas", ".width", ".title"), _OUTPUT),
}


@dataclass(frozen=True, slots=True)
class Header:
    """A `.subckt` line: name, ports, parameters with their unread default tokens."""

    name: str
    ports: tuple[str, ...]
    fields: Fields
    line: int


def refused(name: str, place: Place) -> CircuitError:
    """Return the error for a dot card that is not accepted, with the reason."""
    why = next((reason for start, reason in _WHY.items() if name.startswith(start)), None)
    if why is not None:
        return place.error(f"{quoted(name)} is not accepted: it {why}")
    return place.error(f"{quoted(name)} is not accepted{nearest(name, ACCEPTED)}; accepted: {', '.join(ACCEPTED)}")


def card_fields(statement: Statement, place: Place, known: Known, usage: str) -> Fields:
    """Return the fields of a dot card behind its first word."""
    fields = Fields(tokens(statement.text, place), place, known, usage)
    fields.word("the card")
    return fields


def read_header(statement: Statement, place: Place, known: Known) -> Header:
    """Return a `.subckt` line; its defaults are read later, when all constants are known."""
    fields = card_fields(statement, place, known, ".subckt NAME PORT ... [PARAMETER=DEFAULT ...]")
    name = plain_name(fields.word("the subcircuit's name"), "the name of a subcircuit", place)
    ports: list[str] = []
    while (token := fields.peek()) is not None and not _begins_parameters(fields, token):
        port = node_name(fields.word("a port"), place)
        if port in ports:
            raise place.error(f"the port {quoted(port)} stands twice")
        if port == "0":
            raise place.error("node 0 is the ground of everything and cannot be a port; leave it out or name it gnd")
        ports.append(port)
    fields.accept("params:")
    if not ports:
        raise fields.missing("a port")
    return Header(name, tuple(ports), fields, statement.line)


def _begins_parameters(fields: Fields, token: Token) -> bool:
    after = fields.peek(1)
    return token.expression or token.text.lower() == "params:" or (after is not None and after.text == "=")


def read_parameters(fields: Fields, taken: frozenset[str]) -> dict[str, Expr]:
    """Take `NAME=DEFAULT` pairs; a default may use constants and the parameters before it.

    `taken` are names already given to something else; raises CircuitError for a second use.
    """
    found: dict[str, Expr] = {}
    outer = fields.known
    while fields.left:
        name = free_name(fields.word("a parameter"), "a parameter", fields.place)
        if name in taken or name in found:
            raise fields.place.error(f"the parameter {quoted(name)} is defined twice")
        if len(found) + len(taken) >= MAX_PARAMETERS:
            raise fields.place.error(f"a netlist may have {MAX_PARAMETERS} parameters and constants")
        fields.expect("=")
        fields.known = Known(outer.names | frozenset(found), outer.constants, outer.functions)
        found[name] = fields.value(f"the value of {name}")
    return found


def read_constants(statement: Statement, place: Place, known: Known) -> dict[str, float]:
    """Return the constants of a `.param` card outside any subcircuit."""
    fields = card_fields(statement, place, known, ".param NAME=VALUE ...")
    if not fields.left:
        raise fields.missing("NAME=VALUE")
    found: dict[str, float] = {}
    for name, expr in read_parameters(fields, frozenset(known.constants)).items():
        try:
            found[name] = float(evaluate(expr, found))
        except ExpressionError as error:
            raise place.error(f"{name}: {error}") from None
    return found


def read_function(statement: Statement, place: Place, known: Known) -> tuple[str, Function]:
    """Return a `.func NAME(ARGUMENT, ...) {EXPRESSION}` card; it may call the functions defined before it."""
    text = statement.text[len(".func") :].strip()
    head, bracket, rest = text.partition("(")
    inside, closed, body = rest.partition(")")
    body = body.strip().removeprefix("=").strip()
    if not (bracket and closed and len(body) > 2 and body[0] + body[-1] in ("{}", "''")):
        raise place.error("the card is not complete; write .func NAME(ARGUMENT, ...) {EXPRESSION}")
    name = free_name(head.strip(), "a function", place)
    if name in known.functions:
        raise place.error(f"the function {quoted(name)} is defined twice")
    if len(known.functions) >= MAX_FUNCTIONS:
        raise place.error(f"a netlist may have {MAX_FUNCTIONS} functions")
    arguments = tuple(free_name(item.strip(), "an argument", place) for item in inside.split(","))
    if len(set(arguments)) < len(arguments):
        raise place.error(f"an argument of {quoted(name)} stands twice")
    try:
        inner = {key: value for key, value in known.constants.items() if key not in arguments}
        return name, Function(
            arguments, parse_behaviour(body[1:-1], Known(frozenset(arguments), inner, known.functions))
        )
    except ExpressionError as error:
        raise place.at(key=name).error(str(error)) from None


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
