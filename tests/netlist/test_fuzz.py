"""Random netlists: valid ones come back number for number, all others are refused in one sentence."""

from __future__ import annotations

import os
import re
from dataclasses import dataclass

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guardcheck.errors import CircuitError
from guardcheck.netlist import deck_lines, flatten, models_of, parse, parse_models
from guardcheck.netlist.numbers import SCALE

DEEP = os.environ.get("GUARDCHECK_FUZZ") == "deep"
ALLOWED = re.compile(r"[.a-z][a-z0-9_ .,=+\-*/()<>!&|?:]*")


def fuzz(examples: int) -> settings:
    return settings(
        max_examples=examples * (100 if DEEP else 1),
        derandomize=not DEEP,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


@dataclass(frozen=True)
class Spelled:
    """A number and one of its spellings."""

    text: str
    value: float


def _spelled(digits: int, power: int, form: str) -> Spelled:
    if form in SCALE:
        return Spelled(f"{digits}{form}", float(f"{digits}e{SCALE[form]}"))
    value = float(f"{digits}e{power}")
    return Spelled(repr(value) if form == "plain" else f"{digits}E{power:+d}", value)


POSITIVE = st.builds(
    _spelled, st.integers(1, 999), st.integers(-3, 9), st.sampled_from(["plain", "exponent", "k", "meg", "m", "g"])
)
NODE = st.sampled_from(["a", "b", "0", "n1", "n2", "gnd", "17", "long_node_name_1"])
BLANK = st.sampled_from([" ", "  ", "\t", " \n+ ", "\n* comment .control\n+\t"])
TAIL = st.sampled_from(["", " ; comment", " $ .control", "\n*# shell", "\n\n"])


@dataclass(frozen=True)
class Drawn:
    """One drawn element: card text and the deck line it must become (nodes `{0}` and `{1}` mapped)."""

    letter: str
    value: Spelled
    nodes: tuple[str, str]
    blank: str
    tail: str
    braced: bool
    upper: bool

    def text(self, index: int) -> str:
        value = f"{{{self.value.text}}}" if self.braced else self.value.text
        fields = [f"{self.letter}{index}", *self.nodes, *(["dc"] if self.letter == "v" else []), value]
        text = self.blank.join(fields)
        return (_shouted(text) if self.upper else text) + self.tail


def _shouted(text: str) -> str:
    """Return the card in capitals, but for the factor that means milli and would mean nothing as a capital."""
    return re.sub(r"(?<=\d)M\b", "m", text.upper())


ELEMENTS = st.lists(
    st.builds(
        Drawn,
        st.sampled_from("rclvi"),
        POSITIVE,
        st.tuples(NODE, NODE).filter(lambda pair: len({"0" if node == "gnd" else node for node in pair}) == 2),
        BLANK,
        TAIL,
        st.booleans(),
        st.booleans(),
    ),
    min_size=1,
    max_size=8,
)


def _flat(node: str) -> str:
    return {"a": "in", "b": "out", "0": "0", "gnd": "0"}.get(node, f"p_{node}")


@fuzz(1200)
@given(ELEMENTS)
def test_random_netlists_come_back_number_for_number(drawn: list[Drawn]) -> None:
    nodes = {node for one in drawn for node in one.nodes}
    bleeds = [f"rb{index} {node} 0 1meg" for index, node in enumerate(sorted(nodes - {"0", "gnd"}))]
    text = "\n".join([".subckt part a b", *(one.text(index) for index, one in enumerate(drawn)), *bleeds, ".ends"])
    circuit = parse(text, file="mine.cir")
    found = deck_lines(flatten(circuit, name="p", ports={"a": "in", "b": "out"}, values={}), models_of(circuit))
    for index, one in enumerate(drawn):
        first = [f"{one.letter}{index}_p", *map(_flat, one.nodes), *(["dc"] if one.letter in "vi" else [])]
        assert found[index].split()[:-1] == first
        assert float(found[index].split()[-1]) == one.value.value
    again = "\n".join([".subckt part in out", *found, ".ends"])
    ends = {"in": "in", "out": "out"}
    cards = flatten(parse(again, file="again.cir"), name="q", ports=ends, values={})
    assert [card.value for card in cards] == [float(line.split()[-1]) for line in found]


def _sentence_or_lines(text: str | bytes, *, models: bool) -> tuple[str, ...]:
    """Return the deck lines of a text, or the sentence it is refused with; any other exception escapes."""
    try:
        if models:
            return deck_lines((), parse_models(text, file="mine.cir"))
        circuit = parse(text, file="mine.cir")
        ports = {port: f"n{index}" for index, port in enumerate(circuit.ports)}
        return deck_lines(flatten(circuit, name="p", ports=ports, values={}), models_of(circuit))
    except CircuitError as error:
        return (f"refused {error}",)


def _survives(text: str | bytes) -> None:
    for models in (False, True):
        for line in _sentence_or_lines(text, models=models):
            assert line.isprintable()
            assert line.startswith("refused mine.cir") or ALLOWED.fullmatch(line)


@fuzz(500)
@given(st.binary(max_size=300))
def test_random_bytes_are_refused_in_one_sentence(data: bytes) -> None:
    _survives(data)


@fuzz(500)
@given(st.text(max_size=200))
def test_random_characters_are_refused_in_one_sentence(text: str) -> None:
    _survives(f".subckt part a b\nr1 a b 75\n{text}\n.ends\n")


CARD_WORDS = """
.subckt .ends .model .param .func .end .control .include r1 c1 l1 k1 v1 i1 d1 q1 j1 m1 e1 f1 g1 h1 b1 s1 t1 x1 a1
part a b 0 gnd n1 n2 dx d npn sw rs=1 ic= = ( ) { } ' , ; $ * + - dc ac pulse( sin( pwl( value= v= i= v(a) v(a,b) i(v1)
time 75 4k7 1M 1e400 -1 {2*3} {1/0} {x} x=1 f(x) z0=75 td=1n off on params: ? : && µ 1,000
"""
WORDS = [*CARD_WORDS.split(), "\u2028", "\r", "\x0b"]


@fuzz(1500)
@given(st.lists(st.lists(st.sampled_from(WORDS), min_size=1, max_size=9).map(" ".join), max_size=8))
def test_random_words_are_refused_in_one_sentence(cards: list[str]) -> None:
    _survives("\n".join([".subckt part a b", "r0 a b 75", *cards, ".ends"]))


GOOD = """.param base=50
.func half(x) {x/2}
.subckt part a b series=100 gain={2*base}
.param sum={series+half(gain)}
r1 a n {sum}
b1 n b v={min(max(gain*v(a,b), -1), 5)}
v1 m 0 dc 5 ac 1 pulse(0 5 1u 1n 1n 5u 10u)
x1 m n helper ohms={sum}
d1 n m dx 2
t1 a 0 b 0 z0=75 td=8n
.model dx d(is=2.5n rs=0.6 cjo=4p)
.ends
.subckt helper p q ohms=1k
q1 p q 0 qx
r1 p q {ohms}
.ends
"""


@fuzz(800)
@given(st.lists(st.tuples(st.integers(0, len(GOOD)), st.integers(0, 6), st.text(max_size=3)), min_size=1, max_size=4))
def test_random_damage_is_refused_in_one_sentence(cuts: list[tuple[int, int, str]]) -> None:
    text = GOOD
    for at, length, new in cuts:
        text = text[:at] + new + text[at + length :]
    _survives(text)


def test_the_netlist_to_be_damaged_is_good() -> None:
    assert len(flatten(parse(GOOD, file="good.cir"), name="p", ports={"a": "in", "b": "out"}, values={})) == 7


@pytest.mark.parametrize("cut", range(0, GOOD.rindex(".ends"), 7))
def test_a_file_cut_short_is_refused(cut: int) -> None:
    with pytest.raises(CircuitError, match=r"^good\.cir"):
        parse(GOOD[:cut], file="good.cir")
