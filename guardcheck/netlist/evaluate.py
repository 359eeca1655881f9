"""Working expressions out: to numbers (or arrays, one number per variant), and to the text of a B source."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from guardcheck.model import Number
from guardcheck.netlist.expression import Amps, Expr, ExpressionError, Name, Num, Op, Time, Volt, apply

MAX_EMITTED = 20_000

_WORK: Mapping[str, Callable[..., Any]] = {
    "+": np.add,
    "-": np.subtract,
    "*": np.multiply,
    "/": np.divide,
    "^": np.power,
    "neg": np.negative,
    "sqrt": np.sqrt,
    "exp": np.exp,
    "ln": np.log,
    "log10": np.log10,
    "abs": np.abs,
    "min": np.minimum,
    "max": np.maximum,
    "sin": np.sin,
    "cos": np.cos,
    "tan": np.tan,
    "atan": np.arctan,
    "sgn": np.sign,
    "<": np.less,
    ">": np.greater,
    "<=": np.less_equal,
    ">=": np.greater_equal,
    "==": np.equal,
    "!=": np.not_equal,
    "&&": np.logical_and,
    "||": np.logical_or,
    "!": np.logical_not,
}
_NO_RESULT = {
    "/": "divides by zero",
    "sqrt": "takes the square root of a negative number",
    "ln": "takes the logarithm of a number that is not positive",
    "log10": "takes the logarithm of a number that is not positive",
    "^": "raises to a power that has no finite real result",
}


def evaluate(expr: Expr, values: Mapping[str, Number]) -> Number:
    """Return the value of a parameter expression.

    Parameters
    ----------
    expr
        the expression
    values
        every parameter by name, SI floats or arrays of shape ``(n_variants,)``

    Raises
    ------
    ExpressionError
        when any step has no finite result, so that nothing infinite can cancel out on the way

    """
    if isinstance(expr, Num):
        return expr.value
    if isinstance(expr, Name):
        return values[expr.name]
    if isinstance(expr, Op):
        return _worked(expr.op, *(evaluate(item, values) for item in expr.args))
    raise ExpressionError("voltages, currents and time have no value before the circuit runs")


def _worked(op: str, *args: Number) -> Number:
    with np.errstate(all="ignore"):
        result = np.asarray(_WORK[op](*(np.asarray(item, dtype=np.float64) for item in args)), dtype=np.float64)
    if not np.all(np.isfinite(result)):
        raise ExpressionError(f"the expression {_NO_RESULT.get(op, 'is larger than any number')}")
    return float(result) if result.ndim == 0 else result


def settled(expr: Expr, values: Mapping[str, Number], hoist: Callable[[str], str]) -> Expr:
    """Return a behavioural expression with its parameters filled in and its constant parts worked out.

    A parameter that is an array cannot stand in the text; `hoist` is called with its name and returns a node that
    will carry its value, so that the variant can be chosen by altering one source.
    """
    if isinstance(expr, Name):
        value = values[expr.name]
        return Volt(hoist(expr.name)) if isinstance(value, np.ndarray) else Num(value)
    if not isinstance(expr, Op):
        return expr
    if expr.op == "?":
        return _choice(expr, values, hoist)
    args = tuple(settled(item, values, hoist) for item in expr.args)
    if all(isinstance(item, Num) for item in args):
        return Num(float(_worked(expr.op, *(item.value for item in args if isinstance(item, Num)))))
    return apply(expr.op, *args)


def _choice(expr: Op, values: Mapping[str, Number], hoist: Callable[[str], str]) -> Expr:
    """Settle `c ? a : b`; a constant condition drops the branch not taken, which may have no value at all."""
    condition = settled(expr.args[0], values, hoist)
    if isinstance(condition, Num):
        return settled(expr.args[1] if condition.value else expr.args[2], values, hoist)
    return apply("?", condition, *(settled(item, values, hoist) for item in expr.args[1:]))


def emitted(expr: Expr, node: Callable[[str], str], source: Callable[[str], str]) -> str:
    """Return the B-source text of a settled expression, fully bracketed, numbers as plain exponents.

    `node` and `source` give the flat names. Raises ExpressionError where ngspice would compute something else than is
    written (a power whose exponent is not a whole number; the base may turn negative).
    """
    text = _emitted(expr, node, source)
    if len(text) > MAX_EMITTED:
        raise ExpressionError(f"the expression is longer than {MAX_EMITTED} characters once written out")
    return text


def _emitted(expr: Expr, node: Callable[[str], str], source: Callable[[str], str]) -> str:
    if isinstance(expr, Num):
        return repr(expr.value) if math.copysign(1.0, expr.value) > 0 else f"({expr.value!r})"
    if isinstance(expr, Volt):
        return f"v({node(expr.plus)})" if expr.minus is None else f"v({node(expr.plus)},{node(expr.minus)})"
    if isinstance(expr, Amps):
        return f"i({source(expr.source)})"
    if isinstance(expr, Time):
        return "time"
    if isinstance(expr, Name):
        raise ExpressionError(f"the parameter {expr.name!r} has no value")
    if expr.op == "^":
        return _power(expr, node, source)
    args = [_emitted(item, node, source) for item in expr.args]
    match expr.op:
        case "neg":
            return f"(-{args[0]})"
        case "!":
            return f"(!{args[0]})"
        case "?":
            return f"({args[0]}?{args[1]}:{args[2]})"
        case op if op.isalnum():
            return f"{op}({','.join(args)})"
        case op:
            return f"({args[0]}{op}{args[1]})"


def _power(expr: Op, node: Callable[[str], str], source: Callable[[str], str]) -> str:
    """Write a whole power so that its sign is right.

    ngspice's own `^` and `pow` drop the sign of the base: (-2)^3 is 8 there. `pow` is right for even powers and `pwr`,
    which keeps the sign, for odd ones.
    """
    base, exponent = expr.args
    if not (isinstance(exponent, Num) and exponent.value.is_integer() and abs(exponent.value) <= 64):
        raise ExpressionError(
            "a power in a B source needs a constant whole exponent, because simulators drop the sign of the base; "
            "write sqrt(x) or exp(y*ln(x))"
        )
    power = int(exponent.value)
    if power == 0:
        return "1.0"
    text = f"{'pwr' if power % 2 else 'pow'}({_emitted(base, node, source)},{abs(float(power))!r})"
    return text if power > 0 else f"(1.0/{text})"
