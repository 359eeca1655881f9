"""Cards and deck lines: the last gate before the simulator."""

from __future__ import annotations

import math

import numpy as np
import pytest

from guardcheck.errors import CircuitError
from guardcheck.model import Card, Model
from guardcheck.netlist import card, deck_lines, split_variants


def test_numbers_are_written_so_that_they_come_back() -> None:
    cards = [card("r1", ("a", "0"), 74.98765432109876), card("c1", ("a", "0"), 1e-12), card("l1", ("a", "0"), 1e7 / 3)]
    assert deck_lines(cards, ()) == ("r1 a 0 74.98765432109876", "c1 a 0 1e-12", "l1 a 0 3333333.3333333335")


def test_a_source_says_dc_and_keeps_its_tail() -> None:
    cards = [card("v1", ("a", "0"), 5, "ac 1.0"), card("i1", ("a", "0"), None, "pulse(0.0 1.0 0.0 1e-09 1e-09)")]
    assert deck_lines(cards, ()) == ("v1 a 0 dc 5.0 ac 1.0", "i1 a 0 pulse(0.0 1.0 0.0 1e-09 1e-09)")


def test_models_come_last_and_equal_ones_once() -> None:
    diode = Model("dx", "d", {"rs": 1.0, "is": 1e-14})
    assert deck_lines([card("d1", ("a", "0"), None, "dx")], [diode, diode]) == (
        "d1 a 0 dx",
        ".model dx d(rs=1.0 is=1e-14)",
    )
    with pytest.raises(CircuitError, match="two models are called 'dx'"):
        deck_lines((), [diode, Model("dx", "d", {"rs": 2.0})])


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (("x1", ("a", "0"), None, "sub"), "'x1' cannot be the name of a card"),
        (("a1", ("a", "0")), "'a1' cannot be the name of a card"),
        ((".control", ()), "'.control' cannot be the name of a card"),
        (("R1", ("a", "0"), 1.0), "'R1' cannot be the name of a card"),
        (("r1\n.control", ("a", "0"), 1.0), "cannot be the name of a card"),
        (("r" * 61, ("a", "0"), 1.0), "cannot be the name of a card"),
        (("r1", ("a b", "0"), 1.0), "r1: 'a b' cannot be a node in a deck"),
        (("r1", ("a", "gnd"), 1.0), "write 0 for ground"),
        (("r1", ("a", "0")), "r1: the value is missing"),
        (("r1", ("a", "0"), 0.0), "r1: 0 ohm is a short"),
        (("r1", ("a", "0"), 5e-4), "r1: 0.0005 ohm is a short"),
        (("r1", ("a", "0"), math.nan), "r1: the value is not finite"),
        (("v1", ("a", "0"), math.inf), "v1: the value is not finite"),
        (("v1", ("a", "0"), -1e15), "v1: 1e+15 is too large"),
        (("c1", ("a", "0"), np.array([1e-9, -1e-9])), "c1: -1e-09 F is not a capacitor"),
        (("v1", ("a", "0"), np.array([])), "v1: there are no variants"),
        (("v1", ("a", "0"), np.ones((2, 2))), "v1: the value cannot differ"),
        (("k1", ("l1", "l2"), np.array([0.5, 0.6])), "k1: the value cannot differ"),
        (("b1", ("a", "0"), None, "v=1; shell"), "b1: 'v=1; shell' cannot stand in a deck"),
        (("b1", ("a", "0"), None, "v=`x`"), "cannot stand in a deck"),
        (("b1", ("a", "0"), None, "v=1\n.control"), "cannot stand in a deck"),
        (("b1", ("a", "0"), None, "v={x}"), "cannot stand in a deck"),
        (("b1", ("a", "0"), None, "v=1\u2028"), "cannot stand in a deck"),
    ],
)
def test_a_bad_card_is_refused(args: tuple[object, ...], says: str) -> None:
    with pytest.raises(CircuitError) as caught:
        card(*args)  # type: ignore[arg-type]
    assert says in str(caught.value)


@pytest.mark.parametrize(
    "bad",
    [
        Card("r1", ("a", "0\n.control"), 1.0),
        Card("r1 a 0 1\n.control", ("a", "0"), 1.0),
        Card("x1", ("a", "0"), None, "sub"),
        Card(".include", ("a",), None, "secret"),
        Card("r1", ("a", "0"), math.nan),
        Card("r1", ("a", "0"), np.array([1.0])),
        Card("b1", ("a", "0"), None, "v=1\n.control"),
        Card("b1", ("a", "0"), None, "v=`touch marker`"),
        Card("*#", ("shell",), None, "touch marker"),
    ],
)
def test_a_card_made_past_the_gate_does_not_leave(bad: Card) -> None:
    with pytest.raises(CircuitError):
        deck_lines([bad], ())


@pytest.mark.parametrize(
    "bad",
    [
        Model("dx\n.control", "d", {"rs": 1.0}),
        Model("dx", "d)\n.control", {"rs": 1.0}),
        Model("dx", "d", {"rs": math.inf}),
        Model("dx", "d", {"rs=1\n.control": 1.0}),
        Model("", "d", {"rs": 1.0}),
    ],
)
def test_a_bad_model_does_not_leave(bad: Model) -> None:
    with pytest.raises(CircuitError):
        deck_lines((), [bad])


def test_variants_become_a_matrix() -> None:
    cards = [
        card("r1", ("a", "0"), np.array([1.0, 2.0])),
        card("r2", ("a", "0"), 5.0),
        card("v1", ("a", "0"), np.array([3.0, 4.0]), "ac 1.0"),
    ]
    first, names, matrix = split_variants(cards)
    assert deck_lines(first, ()) == ("r1 a 0 1.0", "r2 a 0 5.0", "v1 a 0 dc 3.0 ac 1.0")
    assert names == ("r1", "v1")
    assert matrix is not None
    assert matrix.tolist() == [[1.0, 3.0], [2.0, 4.0]]


def test_without_variants_there_is_no_matrix() -> None:
    cards = (card("r2", ("a", "0"), 5.0),)
    assert split_variants(cards) == (cards, (), None)


def test_variants_of_different_number_are_refused() -> None:
    cards = [card("r1", ("a", "0"), np.array([1.0, 2.0])), card("r2", ("a", "0"), np.array([1.0, 2.0, 3.0]))]
    with pytest.raises(CircuitError, match="the variants differ in number: 2, 3"):
        split_variants(cards)
