"""Decks that must not reach ngspice, judged without it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.engine import Engine, check_deck
from guardcheck.errors import DeckRefused
from guardcheck.model import Analysis, Card, Deck, Operating, Sweep, Transient
from tests.engine.decks import DIODE, LINE_TIME, deck, divider, guarded, sampled

TD = 9e-9
SHORT = Transient(1e-9, 2e-7, 1e-9)


def line(*more: Card, delay: str = "td=9e-09") -> tuple[Card, ...]:
    return (
        Card("v1", ("in", "0"), None, "pulse(0.0 1.0 1e-09 1e-10 1e-10 1.0 2.0)"),
        Card("rs", ("in", "near"), 75.0),
        Card("t1", ("near", "0", "out", "0"), None, f"z0=75.0 {delay}"),
        Card("rl", ("out", "0"), 75.0),
        *more,
    )


CLAMP = Card("d1", ("out", "0"), None, "dsi")
FOLLOWER = Card("q1", ("in", "near", "0"), None, "npn1")


@pytest.mark.parametrize(
    ("cards", "analysis"),
    [
        pytest.param(line(), SHORT, id="linear, short"),
        pytest.param(line(), Transient(1e-9, 128e-6, 1.8e-9), id="linear, long, steps within a fifth of the delay"),
        pytest.param(line(CLAMP), SHORT, id="diodes in a nanosecond window"),
        pytest.param(line(CLAMP, FOLLOWER), Operating(), id="anything in an operating point"),
        pytest.param(line(CLAMP, FOLLOWER), Sweep(1e3, 1e7, 31), id="anything in a sweep"),
    ],
)
def test_lossless_line_is_accepted(cards: tuple[Card, ...], analysis: Analysis) -> None:
    check_deck(deck(cards, analysis))


@pytest.mark.parametrize(
    ("cards", "analysis", "words"),
    [
        pytest.param(line(CLAMP), LINE_TIME, "1/400 and 1/5", id="hangs: diode, step beyond the delay"),
        pytest.param(line(), LINE_TIME, "1/400 and 1/5", id="wrong without a word: linear, step beyond the delay"),
        pytest.param(line(), Transient(1e-9, 2e-7, TD / 1000), "1/400 and 1/5", id="failed at a thousandth"),
        pytest.param(line(CLAMP), Transient(1e-9, 128e-6, 1e-9), "up to 100 delays", id="diode, long"),
        pytest.param(line(FOLLOWER), SHORT, "beside transistors", id="transistor"),
        pytest.param(line(delay=""), SHORT, "states no delay", id="no delay"),
        pytest.param(line(delay="td=0.0"), SHORT, "states no delay", id="zero delay"),
    ],
)
def test_lossless_line_is_refused(cards: tuple[Card, ...], analysis: Analysis, words: str) -> None:
    with pytest.raises(DeckRefused, match=words):
        check_deck(deck(cards, analysis, models=(DIODE,)))


def pwl(points: int) -> Card:
    corners = " ".join(f"{k * 1e-7!r} 0.0" for k in range(points))
    return Card("v1", ("in", "0"), None, f"pwl({corners})")


def swapped(name: str, card: Card) -> tuple[Card, ...]:
    return tuple(card if one.name == name else one for one in divider())


GAIN = Card("e1", ("out", "0", "in", "0"), 2.0)
ONE = np.ones((3, 1))
REFUSED = {
    "no elements": (deck(()), "no elements"),
    "too many elements": (deck([Card(f"r{k}", ("in", "0"), 1.0) for k in range(2001)]), "at most 2000"),
    "letter": (deck((*divider(), Card("a1", ("in", "out"), None, "x"))), "accepted first letters"),
    "capital": (deck((*divider(), Card("R9", ("in", "out"), 1.0))), "accepted first letters"),
    "twice": (deck((*divider(), *divider())), "appears twice"),
    "node": (deck((*divider(), Card("r9", ("in", "a;b"), 1.0))), "node names"),
    "no ground": (deck((Card("v1", ("a", "b"), 1.0), Card("r1", ("a", "b"), 1.0)), save=("v(a)",)), "node 0"),
    "array": (deck(swapped("r1", Card("r1", ("in", "out"), ONE[:, 0]))), "belong in the deck's matrix"),
    "nan": (deck(swapped("r1", Card("r1", ("in", "out"), float("nan")))), "not finite"),
    "short": (deck(swapped("r1", Card("r1", ("in", "out"), 0.0))), "at least 0.001 ohm"),
    "negative": (deck(swapped("r1", Card("c1", ("in", "out"), -1e-9))), "above zero"),
    "pwl": (deck((pwl(700), *divider()[1:])), "700 PWL points"),
    "limit": (deck((*divider(), Card("b1", ("x", "0"), None, "v=limit(v(in),0.0,1.0)"))), "min\\(max\\("),
    "unknown node": (deck((*divider(), Card("b1", ("x", "0"), None, "v=v(inn)"))), "did you mean 'in'"),
    "unknown source": (deck((*divider(), Card("f1", ("x", "0", "v9"), 1.0))), "refers to 'v9'"),
    "empty sweep": (deck(divider(), Sweep(1e6, 1e3, 31)), "empty or endless"),
    "long sweep": (deck(divider(), Sweep(1e3, 1e6, 10**6)), "1 to 20000"),
    "zero time": (deck(divider(), Transient(0.0, 1e-3, 1e-6)), "above zero"),
    "steps": (deck(divider(), Transient(1e-6, 1.0, 1e-9)), "more than 1000000 steps"),
    "window": (deck(divider(), LINE_TIME, windows=((1e-6, 1e-3),)), "does not lie inside"),
    "window backwards": (deck(divider(), LINE_TIME, windows=((2e-6, 1e-6),)), "does not lie inside"),
    "window of a sweep": (deck(divider(), Sweep(1e3, 1e6, 31), windows=((0.0, 1e-6),)), "transients only"),
    "no windows": (replace(sampled("tran", 3), windows=()), "needs time windows"),
    "leaking option": (deck(divider(), options={"cshunt": 1e-12}), "'cshunt' is not sent"),
    "interp": (deck(divider(), options={"interp": 1.0}), "'interp' is not sent"),
    "misspelt option": (deck(divider(), options={"retol": 1e-3}), "did you mean 'reltol'"),
    "method": (deck(divider(), options={"method": "euler"}), "gear, trap"),
    "option word": (deck(divider(), options={"reltol": "1e-3 cshunt=1"}), "finite number"),
    "no vectors": (deck(divider(), save=()), "no vector"),
    "vector": (deck(divider(), save=("v(in,out)",)), "cannot be read"),
    "vector missing": (deck(divider(), save=("v(oot)",)), "did you mean 'out'"),
    "current of a resistor": (deck(divider(), save=("i(r1)",)), "does not have"),
    "alter missing": (deck(divider(), alter=("r9",), variants=ONE), "does not have"),
    "alter a diode": (deck((*divider(), CLAMP), alter=("d1",), variants=ONE), "no principal value"),
    "alter without values": (deck(divider(), alter=("r1",)), "gives no variants"),
    "alter shape": (deck(divider(), alter=("r1", "r2"), variants=ONE), "shape"),
    "alter to zero": (deck(divider(), alter=("r1",), variants=np.array([[1.0], [0.0]])), "at least 0.001 ohm"),
    "alter to nan": (deck(divider(), alter=("r1",), variants=np.array([[1.0], [np.nan]])), "not finite"),
    "sources in a loop": (deck((*divider(), GAIN, Card("v2", ("out", "0"), 1.0))), "'v2' closes a loop"),
    "coil across a source": (deck((*divider(), Card("l1", ("in", "0"), 1e-6))), "'l1' closes a loop"),
    "current into a capacitor": (
        deck((*divider(), Card("i1", ("0", "x"), 1e-3), Card("c1", ("x", "0"), 1e-9))),
        "no way from node 'x'",
    ),
}


@pytest.mark.parametrize(("bad", "words"), REFUSED.values(), ids=REFUSED)
def test_refused_in_one_sentence(bad: Deck, words: str) -> None:
    with pytest.raises(DeckRefused, match=words) as caught:
        check_deck(bad)
    assert str(caught.value).startswith("deck '")
    assert "\n" not in str(caught.value)


ACCEPTED = {
    "699 points": deck((pwl(699), *divider()[1:])),
    "one frequency": deck(divider(), Sweep(1e5, 1e5, 1)),
    "coil across a source from initial conditions": deck(
        (*divider(), Card("l1", ("in", "0"), 1e-6, "ic=0.0")), Transient(1e-7, 1e-5, 1e-7, uic=True)
    ),
    "alternating current into a capacitor": deck(
        (*divider(), Card("i1", ("0", "x"), 0.0, "ac 1.0"), Card("c1", ("x", "0"), 1e-9)), Sweep(1e3, 1e6, 31)
    ),
    "coupled coils": deck(
        (*divider(), Card("l1", ("out", "0"), 1e-3), Card("l2", ("x", "0"), 1e-3), Card("k1", ("l1", "l2"), 0.9)),
        save=("v(out)", "i(l1)"),
    ),
    "sampled": sampled("tran", 3),
}


@pytest.mark.parametrize("good", ACCEPTED.values(), ids=ACCEPTED)
def test_accepted(good: Deck) -> None:
    check_deck(good)


def test_one_refused_deck_among_many_becomes_a_failure(engine: Engine) -> None:
    bad = deck(line(CLAMP), LINE_TIME, models=(DIODE,), name="hanging line")
    good, refused, again = engine.run([deck(divider()), bad, deck(divider())])
    assert refused.failure is not None
    assert "hanging line" in refused.failure
    assert not refused.solved.any()
    assert np.isnan(refused.vectors["v(out)"]).all()
    for trace in (good, again):
        assert trace.failure is None
        assert trace.vectors["v(out)"][0] == pytest.approx(2.0, abs=1e-8)


def test_netlist_that_cannot_be_written_becomes_a_failure(engine: Engine) -> None:
    bad = deck((*divider(), Card("r9", ("in", "0"), 1.0, "; shell touch x")))
    (trace,) = engine.run([bad])
    assert trace.failure is not None
    assert not trace.solved.any()


def test_guarded_line_has_no_loop_or_island() -> None:
    check_deck(deck(guarded(Card("vs", ("emf", "0"), 2.0)), models=(DIODE,)))
