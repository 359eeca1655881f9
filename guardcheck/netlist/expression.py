"""Expressions: what they are made of, and the parser for them.

Parameter expressions hold numbers, names, arithmetic and functions. Behavioural expressions (B sources) may also hold
voltages, currents, `time`, comparisons, logic and `c ? a : b`. Nothing here is ever handed to Python's own evaluator.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from guardcheck.errors import nearest
from guardcheck.netlist.numbers import NumberError, number
from guardcheck.netlist.place import choices, quoted

MAX_NESTING = 30
MAX_HEIGHT = 200
MAX_SIZE = 2_000
TOO_LARGE = f"the expression has more than {MAX_SIZE} terms once its functions are written out"

FUNCTIONS: Mapping[str, int] = {
    "sqrt": 1,
    "exp": 1,
    "ln": 1,
    "log": 1,
    "log10": 1,
    "abs": 1,
    "min": 2,
    "max": 2,
    "sin": 1,
    "cos": 1,
    "tan": 1,
    "atan": 1,
    "pow": 2,
    "sgn": 1,
}
"""Name and number of arguments. `log` is the natural logarithm, as in ngspice; write `ln` or `log10` to be plain."""


@dataclass(frozen=True, slots=True)
class Num:
    """A plain number."""

    value: float


@dataclass(frozen=True, slots=True)
class Name:
    """A parameter."""

    name: str


@dataclass(frozen=True, slots=True)
class Volt:
    """The voltage of a node, or between two."""

    plus: str
    minus: str | None = None


@dataclass(frozen=True, slots=True)
class Amps:
    """The current through a voltage source of the same subcircuit."""

    source: str


@dataclass(frozen=True, slots=True)
class Time:
    """Simulated time."""


@dataclass(frozen=True, slots=True)
class Op:
    """An operator or function applied to its arguments.

    `size` counts the nodes and `height` the levels below and including this one; they bound what a stranger's text
    can make us walk through.
    """

    op: str
    args: tuple[Expr, ...]
    size: int = field(compare=False, default=0)
    height: int = field(compare=False, default=0)


Expr = Num | Name | Volt | Amps | Time | Op


class ExpressionError(ValueError):
    """An expression cannot be used; the message is the problem in words, without the place."""


@dataclass(frozen=True, slots=True)
class Function:
    """A `.func`: its argument names and its body."""

    arguments: tuple[str, ...]
    body: Expr


def size(expr: Expr) -> int:
    """Return the number of nodes."""
    return expr.size if isinstance(expr, Op) else 1


def height(expr: Expr) -> int:
    """Return the number of levels."""
    return expr.height if isinstance(expr, Op) else 1


def apply(op: str, *args: Expr) -> Op:
    """Return an operation, refusing one that has grown beyond bounds."""
    whole = Op(op, args, 1 + sum(map(size, args)), 1 + max(map(height, args)))
    if whole.size > MAX_SIZE:
        raise ExpressionError(TOO_LARGE)
    if whole.height > MAX_HEIGHT:
        raise ExpressionError(f"the expression is a chain of more than {MAX_HEIGHT} operations; split it with .param")
    return whole


def walk(expr: Expr) -> Iterator[Expr]:
    """Yield every node, the outermost first."""
    todo = [expr]
    while todo:
        item = todo.pop()
        yield item
        if isinstance(item, Op):
            todo.extend(reversed(item.args))


def is_behavioural(expr: Expr) -> bool:
    """Return whether the value depends on what the circuit does."""
    logic = ("?", "!", "<", ">", "<=", ">=", "==", "!=", "&&", "||")
    return any(
        isinstance(item, Volt | Amps | Time) or (isinstance(item, Op) and item.op in logic) for item in walk(expr)
    )


def call(function: Function, args: tuple[Expr, ...]) -> Expr:
    """Return the body of `function` with its arguments filled in (all at once, so no name is caught by another)."""
    given = dict(zip(function.arguments, args, strict=True))
    grown = size(function.body)
    for item in walk(function.body):
        if isinstance(item, Name) and item.name in given:
            grown += size(given[item.name]) - 1
    if grown > MAX_SIZE:
        raise ExpressionError(TOO_LARGE)
    return _filled(function.body, given)


def _filled(expr: Expr, given: Mapping[str, Expr]) -> Expr:
    if isinstance(expr, Name):
        return given.get(expr.name, expr)
    if isinstance(expr, Op):
        return apply(expr.op, *(_filled(item, given) for item in expr.args))
    return expr


MAX_TEXT = 1_000
RESERVED = frozenset(FUNCTIONS) | {"v", "i", "time", "temper", "hertz", "limit", "table"}
_TOKEN = re.compile(
    r"\s*((?:\d+\.?\d*|\.\d+)[eE][+-]?\d+[A-Za-z0-9_.]*|[A-Za-z0-9_.µμ]+|\*\*|<=|>=|==|!=|&&|\|\||[-+*/^()<>?:!,{}])",
    re.ASCII,
)
_ELSEWHERE = {
    "limit": "limit() silently gives 0 in some simulators; write min(max(x, low), high)",
    "table": "table() is not accepted; write nested 'c ? a : b'",
    "temper": "'temper' is not accepted: the temperature is set elsewhere",
    "hertz": "'hertz' is not accepted",
    "ddt": "ddt() is not accepted; build it with a capacitor or an inductor",
    "idt": "idt() is not accepted; build it with a capacitor",
}
_COMPARISONS = ("<", ">", "<=", ">=", "==", "!=")


@dataclass(frozen=True, slots=True)
class Known:
    """What an expression may refer to: parameter names, constants already worked out, and `.func` definitions."""

    names: frozenset[str] = frozenset()
    constants: Mapping[str, float] = field(default_factory=dict)
    functions: Mapping[str, Function] = field(default_factory=dict)


def parse_value(text: str, known: Known) -> Expr:
    """Return the parameter expression in `text` (no braces around it): numbers, names, arithmetic, functions.

    Raises
    ------
    ExpressionError
        for a syntax error, an unknown name, a malformed number, or anything only a B source may hold

    """
    expr = _parse(text, known)
    if is_behavioural(expr):
        raise ExpressionError("voltages, currents, time, comparisons and 'c ? a : b' are accepted in a B source only")
    return expr


def parse_behaviour(text: str, known: Known) -> Expr:
    """Return the behavioural expression of a B source; raises ExpressionError like `parse_value`."""
    return _parse(text, known)


def _parse(text: str, known: Known) -> Expr:
    if len(text) > MAX_TEXT:
        raise ExpressionError(f"the expression is longer than {MAX_TEXT} characters")
    parser = _Parser(_tokens(text), known)
    expr = parser.ternary()
    if parser.peek() is not None:
        raise ExpressionError(f"{quoted(parser.peek() or '')} is not expected here in the expression {quoted(text)}")
    return expr


def _tokens(text: str) -> tuple[str, ...]:
    found: list[str] = []
    index, end = 0, len(text.rstrip())
    while index < end:
        match = _TOKEN.match(text, index)
        if match is None:
            char = text[index:].strip()[0]
            raise ExpressionError(f"the character {quoted(char)} is not accepted in an expression")
        found.append(match[1])
        index = match.end()
    return tuple(found)


class _Parser:
    """One pass over the tokens; its only state is the position, the nesting and the terms calls have grown to."""

    def __init__(self, tokens: tuple[str, ...], known: Known) -> None:
        self._tokens, self._known = tokens, known
        self._at = self._nesting = self._written_out = 0

    def peek(self) -> str | None:
        return self._tokens[self._at] if self._at < len(self._tokens) else None

    def _take(self) -> str:
        token = self.peek()
        if token is None:
            raise ExpressionError("the expression ends too early")
        self._at += 1
        return token

    def _accept(self, *tokens: str) -> str | None:
        return self._take() if self.peek() in tokens else None

    def _expect(self, token: str) -> None:
        found = self.peek()
        if found != token:
            raise ExpressionError(f"'{token}' is missing" + (f" before {quoted(found)}" if found is not None else ""))
        self._at += 1

    def ternary(self) -> Expr:
        self._nesting += 1
        if self._nesting > MAX_NESTING:
            raise ExpressionError(f"the expression is nested deeper than {MAX_NESTING} levels")
        expr = self._chain(self._both, "||")
        if self._accept("?"):
            yes = self.ternary()
            self._expect(":")
            expr = apply("?", expr, yes, self.ternary())
        self._nesting -= 1
        return expr

    def _chain(self, operand: Callable[[], Expr], *operators: str) -> Expr:
        expr = operand()
        while (operator := self._accept(*operators)) is not None:
            expr = apply(operator, expr, operand())
        return expr

    def _both(self) -> Expr:
        return self._chain(self._comparison, "&&")

    def _comparison(self) -> Expr:
        expr = self._sum()
        operator = self._accept(*_COMPARISONS)
        if operator is None:
            return expr
        expr = apply(operator, expr, self._sum())
        if self.peek() in _COMPARISONS:
            raise ExpressionError("a chain of comparisons has no agreed meaning; join two of them with &&")
        return expr

    def _sum(self) -> Expr:
        return self._chain(self._product, "+", "-")

    def _product(self) -> Expr:
        return self._chain(self._signed, "*", "/")

    def _signed(self) -> Expr:
        sign = self._accept("-", "+", "!")
        if sign is None:
            return self._power()
        self._nesting += 1
        if self._nesting > MAX_NESTING:
            raise ExpressionError(f"the expression is nested deeper than {MAX_NESTING} levels")
        expr = self._signed()
        self._nesting -= 1
        return expr if sign == "+" else apply("neg" if sign == "-" else "!", expr)

    def _power(self) -> Expr:
        base = self._atom()
        if self._accept("^", "**") is None:
            return base
        sign = self._accept("-", "+")
        exponent = self._atom()
        if self.peek() in ("^", "**"):
            raise ExpressionError("a^b^c is read differently by different programs; write (a^b)^c or a^(b^c)")
        return apply("^", base, apply("neg", exponent) if sign == "-" else exponent)

    def _atom(self) -> Expr:
        token = self._take()
        if token in ("(", "{"):
            expr = self.ternary()
            self._expect(")" if token == "(" else "}")
            return expr
        if token[0].isdigit() or token[0] == ".":
            try:
                return Num(number(token))
            except NumberError as error:
                raise ExpressionError(str(error)) from None
        if not (token[0].isalpha() or token[0] == "_"):
            raise ExpressionError(f"{quoted(token)} is not expected here in the expression")
        name = token.lower()
        return self._call(name) if self.peek() == "(" else self._named(name)

    def _named(self, name: str) -> Expr:
        if name == "time":
            return Time()
        if name in self._known.constants:
            return Num(self._known.constants[name])
        if name in self._known.names:
            return Name(name)
        if name in _ELSEWHERE:
            raise ExpressionError(_ELSEWHERE[name])
        names = (*self._known.names, *self._known.constants)
        choice = f"; defined here: {choices(names)}" if names else "; no parameter is defined here"
        raise ExpressionError(f"{quoted(name)} is not defined{nearest(name, names)}{choice}")

    def _call(self, name: str) -> Expr:
        if name in ("v", "i"):
            return self._probe(name)
        if name in _ELSEWHERE:
            raise ExpressionError(_ELSEWHERE[name])
        self._take()
        args = [self.ternary()]
        while self._accept(","):
            args.append(self.ternary())
        self._expect(")")
        own = self._known.functions.get(name)
        wanted = len(own.arguments) if own is not None else FUNCTIONS.get(name)
        if wanted is None:
            known = (*FUNCTIONS, *self._known.functions)
            raise ExpressionError(
                f"there is no function {quoted(name)}{nearest(name, known)}; accepted: {choices(known)}"
            )
        if len(args) != wanted:
            raise ExpressionError(f"{name}() takes {wanted} argument{'s' if wanted > 1 else ''}, not {len(args)}")
        if own is not None:
            expr = call(own, tuple(args))
            self._written_out += size(expr)
            if self._written_out > 2 * MAX_SIZE:
                raise ExpressionError(TOO_LARGE)
            return expr
        return _builtin(name, args)

    def _probe(self, kind: str) -> Expr:
        self._take()
        first = self._take().lower()
        second = self._take().lower() if self._accept(",") else None
        self._expect(")")
        for node in (first, second):
            if node is not None and not re.fullmatch(r"[a-z0-9_]+", node):
                raise ExpressionError(f"{kind}() holds a name, not {quoted(node)}")
        if kind == "v":
            return Volt(first, second)
        if second is not None:
            raise ExpressionError("i() takes the name of one voltage source")
        return Amps(first)


def _builtin(name: str, args: list[Expr]) -> Expr:
    """Return the call with spellings that differ between programs made one."""
    if name == "pow":
        return apply("^", *args)
    return apply("ln" if name == "log" else name, *args)
