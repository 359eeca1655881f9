"""Instantiation: names, values, variants, and what cannot vary."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from guardcheck.errors import CircuitError
from guardcheck.model import Card
from guardcheck.netlist import defaults, flatten, models_of, parse, split_variants
from guardcheck.netlist.writer import MAX_NAME

PARTS = """
.subckt part a b ohms=75 gain=2 farads=1n time_s=1n
rs a n {ohms}
cs n b {farads} ic={ohms/75}
ls n b {ohms*1u}
vs n m {gain}
is n m {gain*1m}
es n m a b {gain}
gs n m a b {gain}
fs n m vs {gain}
hs o 0 vs {gain}
rm m o 1k
bs n m i={gain*v(a)}
ts a 0 b 0 z0=75 td={time_s}
ds a b dx {ohms/75}
vp p 0 pulse(0 5 0 {time_s} 1n)
rp p 0 1k
.model dx d(rs=1)
.ends
"""
CIRCUIT = parse(PARTS, file="mine.cir")
ENDS = {"a": "in", "b": "out"}


def flat(**values: object) -> dict[str, Card]:
    cards = flatten(CIRCUIT, name="stage", ports=ENDS, values=values)  # type: ignore[arg-type]
    assert len({card.name for card in cards}) == len(cards)
    return {card.name: card for card in cards}


def test_names_are_element_then_instance() -> None:
    cards = flat()
    assert cards["rs_stage"] == Card("rs_stage", ("in", "stage_n"), 75.0)
    assert cards["fs_stage"].nodes == ("stage_n", "stage_m", "vs_stage")
    assert cards["ds_stage"] == Card("ds_stage", ("in", "out"), None, "dx 1.0")


def test_flattening_twice_gives_the_same() -> None:
    assert flat() == flat()


@pytest.mark.parametrize("name", ["rs", "ls", "cs"])
def test_a_varying_parameter_makes_the_value_vary(name: str) -> None:
    ohms, farads = np.array([70.0, 75.0, 80.0]), np.array([1e-9, 2e-9, 3e-9])
    parameters = {"rs": {"ohms": ohms}, "ls": {"ohms": ohms}, "cs": {"farads": farads}}[name]
    circuit = parse(PARTS.replace("ic={ohms/75}", "").replace("dx {ohms/75}", "dx"), file="mine.cir")
    cards = {card.name: card for card in flatten(circuit, name="x", ports=ENDS, values=parameters)}
    wanted = {"rs": ohms, "ls": ohms * 1e-6, "cs": farads}[name]
    assert_array_equal(np.asarray(cards[f"{name}_x"].value), wanted)


def test_gains_and_sources_vary_and_a_b_source_gets_a_carrier() -> None:
    gain = np.array([1.0, 2.0])
    cards = flat(gain=gain)
    for name in ("vs", "es", "gs", "fs", "hs"):
        assert_array_equal(np.asarray(cards[f"{name}_stage"].value), gain)
    assert_array_equal(np.asarray(cards["is_stage"].value), gain * 1e-3)
    assert cards["bs_stage"].tail == "i=(v(stage__gain)*v(in))"
    assert cards["v_stage_gain"].nodes == ("stage__gain", "0")
    assert_array_equal(np.asarray(cards["v_stage_gain"].value), gain)


@pytest.mark.parametrize(
    ("parameter", "line", "what"),
    [
        ("ohms", 4, "an initial value"),
        ("time_s", 14, "the td of a line"),
    ],
)
def test_what_cannot_vary_says_so(parameter: str, line: int, what: str) -> None:
    with pytest.raises(CircuitError) as caught:
        flat(**{parameter: np.array([75.0, 76.0])})
    assert f"mine.cir:{line}:" in str(caught.value)
    assert f"the parameter {parameter} cannot carry a tolerance here: {what} cannot change" in str(caught.value)


@pytest.mark.parametrize(
    ("card", "what"),
    [
        ("vx a b pulse(0 5 0 {p} 1n)", "a number of pulse(...)"),
        ("vx a b ac {p}", "a small-signal value"),
        ("dx a b dx {p}", "the area of a device"),
        ("mx a b 0 0 mm w={p}", "the w of a device"),
        ("l1 a b 1\nl2 a b 1\nkx l1 l2 {p/2}", "a coupling"),
    ],
)
def test_other_places_that_cannot_vary(card: str, what: str) -> None:
    circuit = parse(f".subckt part a b p=1\nr0 a b {{p}}\n{card}\n.ends\n", file="mine.cir")
    assert flatten(circuit, name="x", ports=ENDS, values={"p": 0.5})
    with pytest.raises(CircuitError, match=f"the parameter p cannot carry a tolerance here: {re.escape(what)}"):
        flatten(circuit, name="x", ports=ENDS, values={"p": np.array([0.5, 0.6])})


def test_a_carrier_is_shared_within_an_instance_and_not_between_them() -> None:
    text = """
.subckt part a b k=1
b1 a b v={k*v(b)}
b2 a b i={k*v(a)+k}
x1 a b helper k={2*k}
.ends
.subckt helper a b k=1
b1 a b i={k*v(a)}
.ends
"""
    circuit = parse(text, file="mine.cir")
    cards, alter, matrix = split_variants(
        flatten(circuit, name="p", ports={"a": "n1", "b": "n2"}, values={"k": np.array([1.0, 3.0])})
    )
    assert alter == ("v_x1_p_k", "v_p_k")
    assert matrix is not None
    assert matrix.tolist() == [[2.0, 1.0], [6.0, 3.0]]
    assert [card.tail for card in cards if card.name[0] == "b"] == [
        "v=(v(p__k)*v(n2))",
        "i=((v(p__k)*v(n1))+v(p__k))",
        "i=(v(x1_p__k)*v(n1))",
    ]


def test_flat_names_never_collide() -> None:
    text = """
.subckt part a b
r1 a x1_n 1
r2 x1_n b 1
x1 a b helper
r_x1 a b 1
.ends
.subckt helper a b
r1 a n 1
r a n 1
r2 n b 1
.ends
"""
    cards = flatten(parse(text, file="mine.cir"), name="p", ports={"a": "p_x1_n", "b": "0"}, values={})
    names = [card.name for card in cards]
    assert len(set(names)) == len(names) == 6
    outer, inner = cards[0].nodes[1], cards[2].nodes[1]
    assert len({"p_x1_n", outer, inner}) == 3


def test_long_names_are_cut_and_stay_distinct() -> None:
    deep = "x" * 32
    helper = f".subckt part a b\n{deep} a b s1\n.ends\n.subckt s1 a b\n{deep} a b s2\n.ends\n"
    helper += ".subckt s2 a b\nr1 a nodenodenodenodenodenodenodenod1 1\nr2 nodenodenodenodenodenodenodenod1 b 1\n"
    helper += "r3 a nodenodenodenodenodenodenodenod2 1\nr4 nodenodenodenodenodenodenodenod2 b 1\n.ends\n"
    circuit = parse(helper, file="mine.cir")
    cards = flatten(circuit, name="a" * 30, ports={"a": "n1", "b": "n2"}, values={})
    assert cards == flatten(circuit, name="a" * 30, ports={"a": "n1", "b": "n2"}, values={})
    words = {card.name for card in cards} | {node for card in cards for node in card.nodes}
    assert len(words) == 4 + 4
    assert max(map(len, words)) <= MAX_NAME


def test_own_models_take_the_prefix_and_foreign_ones_do_not() -> None:
    circuit = parse(".subckt part a b\nd1 a b dx\nd2 a b dy\n.model dx d(rs=1)\n.ends\n", file="mine.cir")
    cards = flatten(circuit, name="x", ports=ENDS, values={}, prefix="own_")
    assert [card.tail for card in cards] == ["own_dx", "dy"]
    assert [model.name for model in models_of(circuit, "own_")] == ["own_dx"]


def test_ground_goes_through_ports() -> None:
    circuit = parse(".subckt part in gnd\nr1 in gnd 75\n.ends\n", file="mine.cir")
    assert flatten(circuit, name="x", ports={"in": "a", "gnd": "0"}, values={}) == (Card("r1_x", ("a", "0"), 75.0),)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"values": {"ohm": 1.0}}, "'part' has no parameter 'ohm'; did you mean 'ohms'?"),
        ({"values": {"ohms": float("nan")}}, "ohms: the value must be finite"),
        ({"values": {"ohms": np.array([1.0, np.inf])}}, "ohms: the value must be finite"),
        ({"values": {"ohms": np.array([])}}, "ohms: the value must be finite"),
        ({"values": {"ohms": np.ones((2, 2))}}, "ohms: the value must be finite"),
        ({"values": {"ohms": 0.0}}, "mine.cir:3: rs: 0 ohm is a short"),
        ({"values": {"ohms": -1.0}}, "mine.cir:3: rs: -1 ohm is not a resistor"),
        ({"values": {"ohms": 1e15}}, "mine.cir:3: rs: 1e+15 is too large"),
        ({"values": {"farads": 0.0}}, "mine.cir:4: cs: 0 F is not a capacitor"),
        ({"values": {"farads": np.array([1e-9, 0.0])}}, "mine.cir:4: cs: 0 F is not a capacitor"),
        ({"values": {"time_s": 0.0}}, "mine.cir:14: ts: td must be greater than 0"),
        ({"values": {"gain": np.ones(2), "farads": np.ones(3)}}, "the variants differ in number: 2, 3"),
        ({"ports": {"a": "n1"}}, "the port 'b' of 'part' is not connected"),
        ({"ports": {**ENDS, "c": "n1"}}, "'part' has no port 'c'"),
        ({"ports": {"a": "n1", "b": "gnd"}}, "'gnd' cannot be a node in a deck; write 0"),
        ({"ports": {"a": "n1", "b": "n 2"}}, "'n 2' cannot be a node in a deck"),
        ({"ports": {"a": "n1", "b": "n2\n.control"}}, "cannot be a node in a deck"),
        ({"name": "two-resistor"}, "'two-resistor' cannot be the name of an instance"),
    ],
)
def test_what_is_refused(change: dict[str, object], says: str) -> None:
    asked = {"name": "stage", "ports": ENDS, "values": {}} | change
    with pytest.raises(CircuitError) as caught:
        flatten(CIRCUIT, **asked)  # type: ignore[arg-type]
    assert says in str(caught.value)


@pytest.mark.parametrize("card", ["v1 a b 5", "l1 a b 1u", "e1 a b a 0 2", "b1 a b v=v(a)"])
def test_a_voltage_cannot_be_forced_across_one_node(card: str) -> None:
    circuit = parse(f".subckt part a b\n{card}\n.ends\n", file="mine.cir")
    assert flatten(circuit, name="x", ports=ENDS, values={})
    with pytest.raises(CircuitError, match=r"mine\.cir:2: .1: both ends are the same node"):
        flatten(circuit, name="x", ports={"a": "n1", "b": "n1"}, values={})


def test_a_default_without_a_value_is_reported_with_its_name() -> None:
    circuit = parse(".subckt part a b n=0 r={1/n}\nr1 a b {r}\n.ends\n", file="mine.cir")
    with pytest.raises(CircuitError, match=r"mine\.cir: part\.r: the expression divides by zero"):
        defaults(circuit)
    assert flatten(circuit, name="x", ports=ENDS, values={"n": 0.5})[0].value == 2.0


def test_whole_numbers_are_taken_as_numbers() -> None:
    assert flat(ohms=150)["rs_stage"].value == 150.0
    assert_array_equal(np.asarray(flat(gain=np.array([1, 2]))["vs_stage"].value), [1.0, 2.0])
