"""Dot cards: which are read, and why the others are not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from guardcheck.errors import CircuitError, nearest
from guardcheck.netlist.evaluate import evaluate
from guardcheck.netlist.expression import Expr, ExpressionError, Function
from guardcheck.netlist.fields import Fields, Token, free_name, node_name, plain_name, tokens
from guardcheck.netlist.grammar import Known, parse_behaviour
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.text import Statement

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
