"""The evaluator against Python's own arithmetic, and the text of B sources against ngspice."""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from guardcheck.model import Deck, Model, Operating
from guardcheck.netlist import card, flatten, parse, split_variants
from guardcheck.netlist.evaluate import evaluate
from guardcheck.netlist.expression import ExpressionError, Known, parse_behaviour, parse_value
from guardcheck.netlist.models import PARAMETERS

DEEP = os.environ.get("GUARDCHECK_FUZZ") == "deep"


def fuzz(examples: int) -> settings:
    return settings(
        max_examples=examples * (100 if DEEP else 1),
        derandomize=not DEEP,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )


NAMES = {"a": 2.5, "b": -0.75, "long_name_1": 1e-9, "r2": 4700.0}


@dataclass(frozen=True)
class Tree:
    """A random expression: its text, and its value worked out by Python's math module (None: no finite value)."""

    text: str
    value: float | None


def _worked(function: Callable[..., float], *trees: Tree) -> float | None:
    if any(tree.value is None for tree in trees):
        return None
    try:
        result = function(*(tree.value for tree in trees))
    except (ArithmeticError, ValueError):
        return None
    return result if isinstance(result, float) and math.isfinite(result) else None


UNARY: dict[str, Callable[..., float]] = {
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "log": math.log,
    "log10": math.log10,
    "abs": abs,
    "sin": math.sin,
    "cos": math.cos,
    "tan": math.tan,
    "atan": math.atan,
    "sgn": lambda x: float((x > 0) - (x < 0)),
}
BINARY: dict[str, tuple[str, Callable[..., float]]] = {
    "+": ("({} + {})", lambda x, y: x + y),
    "-": ("({} - {})", lambda x, y: x - y),
    "*": ("({}*{})", lambda x, y: x * y),
    "/": ("({}/{})", lambda x, y: x / y),
    "**": ("(({})**({}))", lambda x, y: x**y),
    "^": ("(({})^({}))", lambda x, y: x**y),
    "min": ("min({}, {})", min),
    "max": ("MAX({},{})", max),
    "pow": ("pow({},{})", lambda x, y: x**y),
}


def _unary(tree: Tree, name: str) -> Tree:
    return Tree(f"{name}({tree.text})", _worked(UNARY[name], tree))


def _binary(first: Tree, second: Tree, name: str) -> Tree:
    pattern, function = BINARY[name]
    return Tree(pattern.format(first.text, second.text), _worked(function, first, second))


LEAVES = st.one_of(
    st.sampled_from([Tree(name, value) for name, value in NAMES.items()]),
    st.floats(min_value=1e-12, max_value=1e9).map(lambda x: Tree(repr(x), x)),
    st.integers(0, 999).map(lambda x: Tree(f"{x}k", x * 1000.0)),
    st.integers(0, 99).map(lambda x: Tree(str(x), float(x))),
)
TREES = st.recursive(
    LEAVES,
    lambda below: st.one_of(
        st.builds(_unary, below, st.sampled_from(sorted(UNARY))),
        st.builds(_binary, below, below, st.sampled_from(sorted(BINARY))),
        below.map(lambda tree: Tree(f"(-{tree.text})", None if tree.value is None else -tree.value)),
    ),
    max_leaves=12,
)


@fuzz(1200)
@given(TREES)
def test_random_expressions_agree_with_python(tree: Tree) -> None:
    assume(len(tree.text) < 900)
    expr = parse_value(tree.text, Known(frozenset(NAMES)))
    if tree.value is None:
        with pytest.raises(ExpressionError):
            evaluate(expr, NAMES)
        return
    assert evaluate(expr, NAMES) == pytest.approx(tree.value, rel=1e-9, abs=1e-300)


@fuzz(300)
@given(TREES, st.lists(st.floats(0.5, 2.0), min_size=1, max_size=4))
def test_random_arrays_give_what_their_numbers_give(tree: Tree, factors: list[float]) -> None:
    assume(len(tree.text) < 900)
    expr = parse_value(tree.text, Known(frozenset(NAMES)))
    many = {name: value * np.array(factors) for name, value in NAMES.items()}
    try:
        single = [evaluate(expr, {name: value * factor for name, value in NAMES.items()}) for factor in factors]
    except ExpressionError:
        with pytest.raises(ExpressionError):
            evaluate(expr, many)
        return
    assert np.broadcast_to(evaluate(expr, many), len(factors)) == pytest.approx(np.array(single), rel=1e-9, abs=1e-300)


@fuzz(600)
@given(st.text(alphabet="ab12.()+-*/^?:<>=!&|,{}eE vkmM'", max_size=40))
def test_random_text_is_an_expression_or_refused(text: str) -> None:
    try:
        parse_behaviour(text, Known(frozenset(NAMES)))
    except ExpressionError as error:
        sentence = str(error)
    else:
        sentence = "accepted"
    assert sentence.isprintable()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # measured with ngspice 39, which works parameters out the same way
        ("-2**2", -4.0),
        ("2*-3", -6.0),
        ("10-2-3", 5.0),
        ("8/2/2", 2.0),
        ("2**-1", 0.5),
        ("log(10)", math.log(10.0)),
        ("1+2*3", 7.0),
        ("2*3^2", 18.0),
        ("4.7k/2", 2350.0),
        ("1.5e-3*2", 3e-3),
        ("+5", 5.0),
    ],
)
def test_precedence(text: str, value: float) -> None:
    assert evaluate(parse_value(text, Known()), {}) == pytest.approx(value, rel=1e-15)


def test_long_chains_are_bounded() -> None:
    assert evaluate(parse_value("+".join(["1"] * 150), Known()), {}) == 150.0
    with pytest.raises(ExpressionError, match="more than 200 operations"):
        parse_value("+".join(["1"] * 300), Known())
    with pytest.raises(ExpressionError, match="longer than 1000 characters"):
        parse_value("+".join(["1"] * 600), Known())


# x is the voltage of node a, y that of node b; the last column says it in Python
BEHAVIOUR: list[tuple[str, Callable[[float, float], Any]]] = [
    ("2*v(a)-v(b)/4", lambda x, y: 2 * x - y / 4),
    ("v(a,b)", lambda x, y: x - y),
    ("-v(a)^2", lambda x, y: -(x**2)),
    ("v(a)**3", lambda x, y: x**3),
    ("pow(v(b),3)", lambda x, y: y**3),
    ("v(b)^-3", lambda x, y: 1 / y**3),
    ("v(b)^4", lambda x, y: y**4),
    ("(v(a)+v(b))^1", lambda x, y: x + y),
    ("v(a)^0", lambda x, y: 1.0),
    ("min(max(gain*v(a),low),v(b)+3)", lambda x, y: min(max(2.5 * x, -0.4), y + 3)),
    ("v(a)>v(b)?1:2", lambda x, y: 1 if x > y else 2),
    ("v(a)>0?(v(b)>0?1:2):(v(b)>0?3:4)", lambda x, y: 1 + (y <= 0) if x > 0 else 3 + (y <= 0)),
    ("v(a)>0 && v(b)>0 ? 5 : 6", lambda x, y: 5 if x > 0 and y > 0 else 6),
    ("v(a)>0 || v(b)>0 ? 5 : 6", lambda x, y: 5 if x > 0 or y > 0 else 6),
    ("!(v(a)>0) ? 5 : 6", lambda x, y: 5 if not x > 0 else 6),
    (
        "(v(a)>=1.5)+2*(v(b)<=-1.5)+4*(v(a)!=1.5)+8*(v(a)==1.5)",
        lambda x, y: (x >= 1.5) + 2 * (y <= -1.5) + 4 * (x != 1.5) + 8 * (x == 1.5),
    ),
    (
        "log(abs(v(a))+1)+ln(3)*log10(abs(v(b))+2)",
        lambda x, y: math.log(abs(x) + 1) + math.log(3) * math.log10(abs(y) + 2),
    ),
    ("sgn(v(b))*sqrt(abs(v(a)))", lambda x, y: math.copysign(1, y) * math.sqrt(abs(x))),
    (
        "exp(-v(a))+sin(v(a))*cos(v(b))+tan(v(a)/4)+atan(v(b))",
        lambda x, y: math.exp(-x) + math.sin(x) * math.cos(y) + math.tan(x / 4) + math.atan(y),
    ),
    ("1n*v(a)+-1e-9*v(b)", lambda x, y: 1e-9 * x - 1e-9 * y),
    ("1000*i(vsense)", lambda x, y: x),
    ("gain>2 ? v(a) : ln(-1)", lambda x, y: x),
    ("twice(v(a))+twice(1)", lambda x, y: 2 * x + 2),
    ("{gain}*v(a)", lambda x, y: 2.5 * x),
]


@pytest.mark.parametrize(("x", "y"), [(1.5, -1.5), (-0.7, 2.0), (2.0, 0.25)])
def test_behaviour_means_to_ngspice_what_is_written(engine: Any, x: float, y: float) -> None:
    cards = "\n".join(f"b{i} out{i} 0 v={text}\nr{i} out{i} 0 1k" for i, (text, _) in enumerate(BEHAVIOUR))
    text = f"""
.func twice(q) {{2*q}}
.subckt part a b gain=2.5 low=-0.4
vsense a s dc 0
rs s 0 1k
rb b 0 1k
{cards}
.ends
"""
    circuit = parse(text, file="part.cir")
    flat = flatten(circuit, name="p", ports={"a": "a", "b": "b"}, values={})
    deck = Deck(
        "behaviour",
        (*flat, card("va", ("a", "0"), x), card("vb", ("b", "0"), y)),
        (),
        Operating(),
        tuple(f"v(p_out{i})" for i in range(len(BEHAVIOUR))),
    )
    (trace,) = engine.run([deck])
    assert trace.failure is None
    for i, (written, meant) in enumerate(BEHAVIOUR):
        found = float(trace.vectors[f"v(p_out{i})"].ravel()[0])
        assert found == pytest.approx(float(meant(x, y)), rel=1e-6, abs=1e-9), written


def test_hoisted_parameters_give_what_fixed_ones_give(engine: Any) -> None:
    text = """
.subckt part a out gain=2 high=3
.param cap_v={high-0.5}
b1 out 0 v={min(gain*v(a)+0.1*gain^2, cap_v)}
r1 out 0 1k
e1 e 0 a 0 {gain}
re e 0 {1k*high}
.ends
"""
    circuit = parse(text, file="part.cir")
    gains, highs = np.array([1.0, 2.0, 5.0]), np.array([3.0, 1.0, 2.0])
    ports = {"a": "a", "out": "out"}
    source = card("va", ("a", "0"), 0.7)
    save = ("v(out)", "v(p_e)")
    cards, alter, variants = split_variants(
        (*flatten(circuit, name="p", ports=ports, values={"gain": gains, "high": highs}), source)
    )
    decks = [Deck("varying", cards, (), Operating(), save, alter=alter, variants=variants)]
    for gain, high in zip(gains, highs, strict=True):
        flat = flatten(circuit, name="p", ports=ports, values={"gain": gain, "high": high})
        decks.append(Deck(f"fixed {gain}", (*flat, source), (), Operating(), save))
    varying, *fixed = engine.run(decks)
    assert varying.failure is None
    for vector in save:
        assert varying.vectors[vector] == pytest.approx(
            [float(one.vectors[vector].ravel()[0]) for one in fixed], rel=1e-9
        )
    expected = [min(g * 0.7 + 0.1 * g**2, h - 0.5) for g, h in zip(gains, highs, strict=True)]
    assert varying.vectors["v(out)"] == pytest.approx(expected, rel=1e-6)
    assert {"v_p_gain", "v_p_cap_v"} <= set(alter)


def test_every_model_parameter_listed_is_known_to_ngspice(engine: Any) -> None:
    """A name ngspice does not know is ignored there with a warning, which the engine treats as a failure."""
    devices = {"d": ("d1", ("a", "0")), "npn": ("q1", ("a", "b", "0")), "pnp": ("q1", ("a", "b", "0"))}
    devices |= dict.fromkeys(("njf", "pjf"), ("j1", ("a", "b", "0")))
    devices |= dict.fromkeys(("nmos", "pmos"), ("m1", ("a", "b", "0", "0")))
    devices |= {"sw": ("s1", ("a", "0", "b", "0"))}
    assert set(devices) == set(PARAMETERS) - {"csw"}
    sensible = "rs=1 level=1 tnom=27 fc=0.5 eg=1.1 is=1e-14 ld=0 tox=1e-7 nsub=1e15 nss=1e10 tpg=1 uo=600"
    values = dict(pair.split("=") for pair in sensible.split())
    decks = []
    for kind, (name, nodes) in devices.items():
        pairs = " ".join(f"{key}={values.get(key, '0.5')}" for key in sorted(PARAMETERS[kind]))
        text = f".subckt p a b\n{name} {' '.join(nodes)} mx\nr1 a 0 1k\nr2 b 0 1k\n.model mx {kind}({pairs})\n.ends\n"
        circuit = parse(text, file="p.cir")
        flat = flatten(circuit, name="p", ports={"a": "a", "b": "b"}, values={})
        cards = (*flat, card("va", ("a", "0"), 0.1), card("vb", ("b", "0"), 0.0))
        decks.append(Deck(kind, cards, tuple(circuit.models.values()), Operating(), ("v(a)",)))
    unheard = Model("mx", "d", {"rs": 1.0, "unheard": 0.5})
    decks.append(Deck("unheard", decks[0].cards, (unheard,), Operating(), ("v(a)",)))
    *known, odd = engine.run(decks)
    assert {trace.deck: trace.failure for trace in known} == dict.fromkeys(devices, None)
    assert "unheard" in (odd.failure or "")
