"""Expressions: what they are made of, and the parser for them.

Parameter expressions hold numbers, names, arithmetic and functions. Behavioural expressions (B sources) may also hold
voltages, currents, `time`, comparisons, logic and `c ? a : b`. Nothing here is ever handed to Python's own evaluator.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

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
