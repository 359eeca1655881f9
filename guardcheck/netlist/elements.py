"""Element lines: one small reader per letter, found in a table."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from guardcheck.errors import accepted
from guardcheck.model import Element
from guardcheck.netlist.expression import Expr, ExpressionError, Known, parse_behaviour
from guardcheck.netlist.fields import Fields, Token, model_name, node_name, plain_name, tokens
from guardcheck.netlist.numbers import NumberError, number
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.records import Behaviour, Body, Call, Controlled, Coupling, Delay, Device, Passive
from guardcheck.netlist.sources import read_source
from guardcheck.netlist.text import Statement

GROUND = "0"
USAGE: Mapping[str, str] = {
    "r": "rNAME NODE NODE OHMS",
    "c": "cNAME NODE NODE FARADS [ic=VOLTS]",
    "l": "lNAME NODE NODE HENRIES [ic=AMPERES]",
    "k": "kNAME lNAME lNAME COUPLING",
    "v": "vNAME NODE NODE [dc VOLTS] [ac MAGNITUDE [PHASE]] [pulse(...) | sin(...) | exp(...) | pwl(...)]",
    "i": "iNAME NODE NODE [dc AMPERES] [ac MAGNITUDE [PHASE]] [pulse(...) | sin(...) | exp(...) | pwl(...)]",
    "d": "dNAME ANODE CATHODE MODEL [AREA] [off]",
    "q": "qNAME COLLECTOR BASE EMITTER [SUBSTRATE] MODEL [AREA] [off]",
    "j": "jNAME DRAIN GATE SOURCE MODEL [AREA] [off]",
    "m": "mNAME DRAIN GATE SOURCE BULK MODEL [w=METRES] [l=METRES] [off]",
    "e": "eNAME NODE NODE CONTROL CONTROL GAIN, or eNAME NODE NODE value={...}",
    "g": "gNAME NODE NODE CONTROL CONTROL SIEMENS, or gNAME NODE NODE value={...}",
    "f": "fNAME NODE NODE vNAME GAIN",
    "h": "hNAME NODE NODE vNAME OHMS",
    "b": "bNAME NODE NODE v=EXPRESSION, or i=EXPRESSION",
    "s": "sNAME NODE NODE CONTROL CONTROL MODEL [on | off]",
    "t": "tNAME NODE NODE NODE NODE z0=OHMS td=SECONDS",
    "x": "xNAME NODE ... SUBCIRCUIT [NAME=VALUE ...]",
}
_REFUSED: Mapping[str, str] = {
    "a": "code models are not accepted: they can read files",
    "n": "compiled device models are not accepted: they load code",
    "u": "uniform RC lines are not accepted; write the resistors and capacitors",
    "o": "lossy lines are not accepted; use a lossless line (T) with resistors",
    "w": "current-controlled switches are not accepted; sense the current with an H source and use a switch (S)",
    "p": "coupled lines are not accepted",
    "y": "lossy lines are not accepted; use a lossless line (T) with resistors",
    "z": "MESFETs are not accepted",
}
_MOSFET_KEYS = ("w", "l", "ad", "as", "pd", "ps", "nrd", "nrs")
_BEHAVIOUR = re.compile(r"(\S+)\s+(\S+)\s+(\S+)\s+([vi])\s*=\s*(.+)", re.ASCII | re.IGNORECASE)


def read_element(statement: Statement, place: Place, known: Known) -> Element:
    """Return the element of one logical line.

    Raises
    ------
    CircuitError
        naming file, line and element, with what is accepted

    """
    first = re.split(r"[ \t(]", statement.text, maxsplit=1)[0]
    place = Place(place.file, statement.line, first.lower() if re.fullmatch(r"\w{1,32}", first, re.ASCII) else None)
    letter = first[:1].lower()
    if letter in _REFUSED:
        raise place.error(_REFUSED[letter])
    if letter not in USAGE:
        raise place.error(
            f"{quoted(first)} begins no element; accepted first letters: {accepted(USAGE)} (a comment begins with '*', "
            "and there is no title line)"
        )
    name = plain_name(first, "the name of an element", place)
    place = place.at(key=name)
    if letter == "b":
        return _behavioural(name, statement, place, known)
    fields = Fields(tokens(statement.text, place), place, known, USAGE[letter])
    fields.word("the name")
    nodes, body, model = _READERS[letter](fields)
    fields.end()
    return Element(name, nodes, (body,), statement.line, model)


_Read = tuple[tuple[str, ...], Body, str | None]


def _passive(fields: Fields) -> _Read:
    nodes = fields.nodes(2)
    value = fields.value("the value")
    initial: Expr | None = None
    if fields.place.key is not None and fields.place.key[0] in "cl" and fields.accept("ic"):
        fields.expect("=")
        initial = fields.value("the initial value")
    return nodes, Passive(value, initial), None


def _coupling(fields: Fields) -> _Read:
    first, second = (plain_name(fields.word("an inductor"), "an inductor", fields.place) for _ in range(2))
    return (), Coupling(first, second, fields.value("the coupling")), None


def _source(fields: Fields) -> _Read:
    return fields.nodes(2), read_source(fields), None


def _voltage_controlled(fields: Fields) -> _Read:
    nodes = fields.nodes(2)
    if fields.accept("value"):
        fields.accept("=")
        return nodes, Behaviour("v" if fields.usage[0] == "e" else "i", _braced(fields)), None
    if fields.word_is("poly", "table", "laplace", "vol", "cur"):
        kind = fields.word("a node").lower()
        raise fields.place.error(f"{kind} is not accepted; write {fields.usage}")
    return nodes + fields.nodes(2), Controlled(fields.value("the gain")), None


def _braced(fields: Fields) -> Expr:
    token = fields.peek()
    if token is None or not token.expression:
        raise fields.missing("an expression in braces")
    fields.take()
    return _behaviour(token.text, fields.place, fields.known)


def _current_controlled(fields: Fields) -> _Read:
    nodes = fields.nodes(2)
    if fields.word_is("poly"):
        raise fields.place.error(f"poly is not accepted; write {fields.usage}")
    control = plain_name(fields.word("the voltage source"), "a voltage source", fields.place)
    return nodes, Controlled(fields.value("the gain"), control), None


def _device(count: int) -> Callable[[Fields], _Read]:
    def read(fields: Fields) -> _Read:
        nodes = fields.nodes(count)
        return nodes, *_modelled(fields)

    return read


def _modelled(fields: Fields) -> tuple[Device, str]:
    model = model_name(fields.word("the model"), fields.place)
    numbers: list[tuple[str, Expr]] = []
    if fields.left and not fields.word_is("off"):
        if fields.accept("area"):
            fields.expect("=")
        numbers.append(("area", fields.value("the area")))
    return Device(tuple(numbers), fields.accept("off") or ""), model


def _bipolar(fields: Fields) -> _Read:
    nodes = fields.nodes(3)
    after = fields.peek(1)
    if (
        after is not None
        and not after.expression
        and after.text.lower() not in ("off", "area", "=")
        and _is_model(after)
    ):
        nodes += fields.nodes(1)
    return nodes, *_modelled(fields)


def _is_model(token: Token) -> bool:
    """Return whether the word behind a possible model is itself the model, so that four nodes were given."""
    try:
        number(token.text)
    except NumberError:
        return re.fullmatch(r"\w*[a-z_]\w*", token.text, re.ASCII | re.IGNORECASE) is not None
    return False


def _mosfet(fields: Fields) -> _Read:
    nodes = fields.nodes(4)
    model = model_name(fields.word("the model"), fields.place)
    numbers: dict[str, Expr] = {}
    while fields.left and not fields.word_is("off"):
        key = fields.word("a parameter").lower()
        if key not in _MOSFET_KEYS or key in numbers:
            problem = "is given twice" if key in numbers else f"is not accepted; accepted: {accepted(_MOSFET_KEYS)}"
            raise fields.place.error(f"{quoted(key)} {problem}")
        fields.expect("=")
        numbers[key] = fields.value(key)
    return nodes, Device(tuple(numbers.items()), fields.accept("off") or ""), model


def _switch(fields: Fields) -> _Read:
    nodes = fields.nodes(4)
    model = model_name(fields.word("the model"), fields.place)
    return nodes, Device((), fields.accept("on", "off") or ""), model


def _line(fields: Fields) -> _Read:
    nodes = fields.nodes(4)
    given: dict[str, Expr] = {}
    while fields.left:
        key = fields.word("z0= and td=").lower()
        if key not in ("z0", "td") or key in given:
            problem = "is given twice" if key in given else "is not accepted"
            raise fields.place.error(f"{quoted(key)} {problem}; write {fields.usage}")
        fields.expect("=")
        given[key] = fields.value(key)
    for key in ("z0", "td"):
        if key not in given:
            raise fields.missing(f"{key}=")
    return nodes, Delay(given["z0"], given["td"]), None


def _call(fields: Fields) -> _Read:
    words: list[str] = []
    while (token := fields.peek()) is not None and not token.expression and token.text not in ("(", ")", "="):
        words.append(fields.word("a node"))
    if fields.accept("="):
        fields.back(2)
        words.pop()
    if words and words[-1].lower() == "params:":
        words.pop()
    if len(words) < 2:
        raise fields.place.error(f"nodes or the subcircuit's name are missing; write {fields.usage}")
    place = fields.place
    nodes = tuple(node_name(word, place) for word in words[:-1])
    return nodes, Call(plain_name(words[-1], "a subcircuit", place), read_assignments(fields)), None


def read_assignments(fields: Fields) -> tuple[tuple[str, Expr], ...]:
    """Take `NAME=VALUE` pairs up to the end of the card; a name may be given once."""
    given: dict[str, Expr] = {}
    while fields.left:
        name = plain_name(fields.word("a parameter"), "a parameter", fields.place)
        if name in given:
            raise fields.place.error(f"the parameter {quoted(name)} is given twice")
        fields.expect("=")
        given[name] = fields.value(f"the value of {name}")
    return tuple(given.items())


def _behavioural(name: str, statement: Statement, place: Place, known: Known) -> Element:
    match = _BEHAVIOUR.fullmatch(statement.text)
    if match is None:
        raise place.error(f"the card is not complete; write {USAGE['b']}")
    nodes = tuple(node_name(match[index], place) for index in (2, 3))
    text = match[5].strip()
    if len(text) > 1 and text[0] == text[-1] == "'":
        text = text[1:-1]
    return Element(name, nodes, (Behaviour(match[4].lower(), _behaviour(text, place, known)),), statement.line)


def _behaviour(text: str, place: Place, known: Known) -> Expr:
    try:
        return parse_behaviour(text, known)
    except ExpressionError as error:
        raise place.error(str(error)) from None


_READERS: Mapping[str, Callable[[Fields], _Read]] = {
    "r": _passive,
    "c": _passive,
    "l": _passive,
    "k": _coupling,
    "v": _source,
    "i": _source,
    "d": _device(2),
    "q": _bipolar,
    "j": _device(3),
    "m": _mosfet,
    "e": _voltage_controlled,
    "g": _voltage_controlled,
    "f": _current_controlled,
    "h": _current_controlled,
    "s": _switch,
    "t": _line,
    "x": _call,
}
