"""Variants: exact against single runs, the same for every worker count, and whole when one of them fails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.engine import Engine, pool
from guardcheck.engine.blocks import join
from guardcheck.engine.deckrules import check_deck
from guardcheck.engine.script import Script, unsolved
from guardcheck.engine.stacking import stacked_lines
from guardcheck.engine.text import script_for
from guardcheck.model import Card, Deck, Transient
from tests.engine.decks import DIODE, PICTURE, builds, deck, divider, guarded, sampled

KINDS = ("op", "ac", "tran")


def alone(wanted: Deck) -> list[Deck]:
    """Return one deck per variant, its values written into the cards."""
    assert wanted.variants is not None
    decks = []
    for row in wanted.variants.tolist():
        values = dict(zip(wanted.alter, row, strict=True))
        cards = tuple(replace(card, value=values.get(card.name, card.value)) for card in wanted.cards)
        decks.append(replace(wanted, cards=cards, alter=(), variants=None))
    return decks


def answers(engine: Engine, wanted: Deck, *, stack: bool) -> np.ndarray:
    script = script_for(wanted)
    assert script.stack is not None
    (answer,) = engine._run_scripts([script if stack else replace(script, stack=None)], [wanted.variants])
    assert answer.table is not None
    return answer.table


@pytest.mark.parametrize("kind", KINDS)
def test_altered_variants_equal_fresh_loads(engine: Engine, kind: str) -> None:
    """Values are sent in full; ngspice reads a number in a deck and one in a command to within the last bit."""
    wanted = sampled(kind, 12)
    altered = answers(engine, wanted, stack=False)
    for row, trace in zip(altered, engine.run(alone(wanted)), strict=True):
        assert np.abs(row[0] - trace.vectors["v(out)"][0]).max() < 1e-14


@pytest.mark.parametrize("kind", KINDS)
def test_altered_variants_remember_nothing(engine: Engine, kind: str) -> None:
    """The same variants in another order, in other company: the same bits."""
    wanted = sampled(kind, 12)
    assert wanted.variants is not None
    forward = answers(engine, wanted, stack=False)
    backward = answers(engine, replace(wanted, variants=wanted.variants[::-1]), stack=False)
    few = answers(engine, replace(wanted, variants=wanted.variants[5:7]), stack=False)
    assert backward[::-1].tobytes() == forward.tobytes()
    assert few.tobytes() == forward[5:7].tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_stacked_copies_equal_variants_run_alone(engine: Engine, kind: str) -> None:
    """Copies share time steps, no more: plateaus agree to a microvolt, direct and small-signal results to rounding."""
    wanted = sampled(kind, 60)
    stacked = answers(engine, wanted, stack=True)
    altered = answers(engine, wanted, stack=False)
    assert stacked.shape == altered.shape
    assert np.abs(stacked - altered).max() < (1e-6 if kind == "tran" else 1e-12)


def test_stacked_copies_of_unlike_builds(engine: Engine) -> None:
    """A transient whose copies want quite different steps still agrees with each run alone."""
    spread = np.array([[1e2, 1e-10], [1e4, 1e-8], [1e3, 1e-9], [3e4, 1e-10], [75.0, 1e-7]])
    cards = (
        Card("v1", ("in", "0"), None, PICTURE),
        Card("r1", ("in", "out"), 1e3),
        Card("c1", ("out", "0"), 1e-9),
    )
    wanted = deck(
        cards, Transient(1e-7, 128e-6, 5e-7), alter=("r1", "c1"), variants=spread, windows=((4e-5, 5.5e-5), (0.0, 1e-4))
    )
    stacked = answers(engine, wanted, stack=True)
    altered = answers(engine, wanted, stack=False)
    assert np.abs(stacked - altered).max() < 2e-4


BUFFER = (
    Card("vs", ("emf", "0"), 1.0),
    Card("rs", ("emf", "a"), 10.0),
    Card("r9", ("a", "0"), 1e5),
    Card("vm", ("a", "b"), 0.0),
    Card("b1", ("c", "0"), None, "v=min(max(2.0*v(b),0.05),v(vdd)-1.0)+0.0*i(vm)"),
    Card("vdd", ("vdd", "0"), 5.0),
    Card("rb", ("b", "0"), 1e4),
    Card("f1", ("0", "d", "vm"), 10.0),
    Card("rd", ("d", "0"), 50.0),
    Card("e1", ("e", "0", "d", "0"), 3.0),
    Card("re", ("e", "0"), 1e3),
    Card("l1", ("c", "f"), 1e-6),
    Card("l2", ("e", "g"), 4e-6),
    Card("k1", ("l1", "l2"), 0.5),
    Card("rg", ("g", "0"), 1e3),
    Card("t1", ("f", "0", "h", "0"), None, "z0=75.0 td=5e-09"),
    Card("s1", ("h", "out", "vdd", "0"), None, "sw1"),
    Card("rl", ("out", "0"), 75.0),
)


def test_references_inside_a_circuit_follow_its_copies(engine: Engine) -> None:
    """B, F, K, T and S elements name other elements or nodes; each copy must name its own."""
    from guardcheck.model import Model

    switch = Model("sw1", "sw", {"vt": 1.0, "ron": 1.0, "roff": 1e6})
    spread = np.column_stack([np.linspace(5.0, 500.0, 9), np.linspace(0.0, 3.0, 9), np.linspace(1.0, 20.0, 9)])
    wanted = deck(
        BUFFER,
        save=("v(out)", "v(d)", "v(e)", "i(vm)"),
        models=(switch,),
        alter=("rs", "vs", "f1"),
        variants=spread,
    )
    check_deck(wanted)
    stacked = answers(engine, wanted, stack=True)
    assert np.abs(stacked - answers(engine, wanted, stack=False)).max() < 1e-12
    for row, trace in zip(stacked, engine.run(alone(wanted)), strict=True):
        assert [trace.vectors[name][0] for name in wanted.save] == pytest.approx(row.tolist(), abs=1e-12)
    rise = np.diff(stacked[:, 0])
    assert (rise > 0.0).any()


@pytest.mark.parametrize("name", ["r1", "v1", "c1", "l1", "i1", "e1", "g1", "f1", "h1"])
def test_every_alterable_element_alters_its_principal_value(engine: Engine, name: str) -> None:
    """What `alter` sets must be what the card's value is: compared with a fresh load of the new value."""
    cards = {
        "v1": Card("v1", ("in", "0"), 1.0, "ac 1.0"),
        "r1": Card("r1", ("in", "out"), 1e3),
        "c1": Card("c1", ("out", "0"), 1e-9),
        "l1": Card("l1", ("out", "m"), 1e-3),
        "vx": Card("vx", ("m", "n"), 0.0),
        "r2": Card("r2", ("n", "0"), 1e3),
        "i1": Card("i1", ("0", "out"), 1e-3),
        "e1": Card("e1", ("p", "0", "out", "0"), 2.0),
        "r3": Card("r3", ("p", "out"), 1e3),
        "g1": Card("g1", ("out", "0", "n", "0"), 1e-3),
        "f1": Card("f1", ("out", "0", "vx"), 0.5),
        "h1": Card("h1", ("q", "0", "vx"), 10.0),
        "r4": Card("r4", ("q", "out"), 1e3),
        "d1": Card("d1", ("out", "0"), None, "dsi"),
    }
    from guardcheck.model import Sweep

    old = float(cards[name].value or 0.0)
    for analysis in (None, Sweep(1e5, 1e5, 1)):
        wanted = deck(
            tuple(cards.values()),
            analysis,
            models=(DIODE,),
            alter=(name,),
            variants=np.array([[old], [old * 1.7]]),
        )
        altered = answers(engine, wanted, stack=False)
        fresh = [trace.vectors["v(out)"] for trace in engine.run(alone(wanted))]
        assert altered[0].tobytes() != altered[1].tobytes() or (analysis is None and name in ("c1", "l1"))
        for row, vector in zip(altered, fresh, strict=True):
            assert np.abs(np.ravel(row) - np.ravel(vector)).max() < 1e-13


def mixed() -> list[Deck]:
    hard = Card("b1", ("h", "0"), None, "i=1e-14*(exp(v(h)/0.025)-1.0)")
    needs_help = deck((*divider(), Card("rh", ("h", "hh"), 1.0), Card("vh", ("hh", "0"), 100.0), hard))
    odd = deck(divider(), options={"cshunt": 1e-12})
    return [*(sampled(kind, 130) for kind in KINDS), needs_help, odd, *(sampled(kind, 1) for kind in KINDS)]


def fingerprint(engine: Engine, decks: list[Deck]) -> list[object]:
    return [
        (
            {name: vector.tobytes() for name, vector in trace.vectors.items()},
            trace.solved.tobytes(),
            None if trace.axis is None else trace.axis.tobytes(),
            trace.failure,
            trace.help_used,
        )
        for trace in engine.run(decks)
    ]


def test_results_do_not_depend_on_workers_or_order(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    decks = mixed()
    once = fingerprint(engine, decks)
    assert fingerprint(engine, decks[::-1])[::-1] == once
    monkeypatch.setattr(pool, "_START_COST", 0.0)
    with Engine(workers=2) as two:
        assert fingerprint(two, decks) == once
        assert len(two._workers) == 2
        assert fingerprint(two, decks) == once


CONTRADICTION = Card("b1", ("x", "0"), None, "v=v(out)>2.9 ? 0.0-v(k) : v(k)")


def one_bad_build() -> Deck:
    """Return a circuit without an answer for any build whose `vk` is not 0 and whose output exceeds 2.9 V."""
    cards = (
        Card("v1", ("in", "0"), 3.0),
        Card("r1", ("in", "out"), 1e3),
        Card("r2", ("out", "0"), 2e3),
        Card("vk", ("k", "0"), 0.0),
        Card("b1", ("x", "0"), None, "v=v(y)>0.5 ? 0.0 : v(k)"),
        Card("rx", ("x", "y"), 1e3),
        Card("ry", ("y", "0"), 1e9),
    )
    spread = np.column_stack([np.linspace(900.0, 1100.0, 7), np.zeros(7)])
    spread[4, 1] = 1.0
    return deck(cards, alter=("r1", "vk"), variants=spread)


def test_a_variant_that_fails_alone_leaves_the_others(engine: Engine) -> None:
    wanted = one_bad_build()
    trace, after = engine.run([wanted, deck(divider())])
    assert trace.failure is None
    assert trace.solved.tolist() == [True] * 4 + [False] + [True] * 2
    assert wanted.variants is not None
    expected = 3.0 * 2e3 / (2e3 + wanted.variants[:, 0])
    assert np.isnan(trace.vectors["v(out)"][4])
    assert trace.vectors["v(out)"][trace.solved] == pytest.approx(expected[trace.solved], rel=1e-8)
    assert after.vectors["v(out)"][0] == pytest.approx(2.0, rel=1e-8)


def test_a_deck_whose_variants_all_fail_is_a_failure(engine: Engine) -> None:
    wanted = one_bad_build()
    assert wanted.variants is not None
    bad = np.column_stack([wanted.variants[:, 0], np.ones(7)])
    (trace,) = engine.run([replace(wanted, variants=bad)])
    assert trace.failure is not None
    assert "Timestep too small" in trace.failure
    assert not trace.solved.any()
    assert np.isnan(trace.vectors["v(out)"]).all()


def test_help_is_tried_in_its_order_and_recorded(engine: Engine) -> None:
    """A run that aborts at tight tolerances is repeated with looser ones, and the result says so."""
    drive = Card("v1", ("in", "0"), None, "pulse(0.0 5.0 1e-06 1e-12 1e-12 1.0 2.0)")
    cards = (drive, Card("r1", ("in", "out"), 1e3), Card("c1", ("out", "0"), 1e-12))
    options = {"reltol": 1e-14, "abstol": 1e-30, "vntol": 1e-30, "chgtol": 1e-40}
    wanted = deck(cards, Transient(1e-7, 1e-5, 1e-7), options=options)
    script = script_for(wanted)
    assert [attempt.help for attempt in script.attempts] == [
        "",
        "looser tolerances",
        "quarter time step",
        "more iterations",
        "larger gmin",
    ]
    assert "reltol=0.001" in script.attempts[1].options
    assert script.attempts[2].analysis == ".tran 1e-07 1e-05 0.0 2.5e-08"
    assert "itl4=200" in script.attempts[3].options
    assert "gmin=1e-10" in script.attempts[4].options
    broken = replace(script, attempts=(replace(script.attempts[0], analysis=".tran 1e-7 1e-6"), *script.attempts[1:]))
    (answer,) = engine._run_scripts([broken], [None])
    assert answer.solved.all()
    assert answer.help_used == ("looser tolerances",)


def test_a_line_is_never_helped_into_steps_it_cannot_take() -> None:
    line = Card("t1", ("in", "0", "out", "0"), None, "z0=75.0 td=9e-09")
    script = script_for(deck((*divider(), line), Transient(1e-9, 2e-7, 1e-9)))
    assert "quarter time step" not in [attempt.help for attempt in script.attempts]


def test_only_listed_options_are_sent() -> None:
    wanted = deck(divider(), options={"rshunt": 0.0, "method": "trap", "itl1": 300.0})
    assert script_for(wanted).attempts[0].options == (
        ".options noinit noacct abstol=1e-09 itl1=300 method=trap reltol=0.0001"
    )


def test_stacked_text() -> None:
    script = script_for(sampled("op", 3))
    assert script.stack is not None
    lines = stacked_lines(script.stack, builds(2))
    values = builds(2).tolist()
    assert lines[0] == "vdd vdd 0 dc 5.0"
    assert "vs_q0 emf_q0 0 dc 2.0" in lines, "its current is read, so every copy has its own"
    assert f"r1_q1 pin_q1 out_q1 {values[1][1]!r}" in lines
    assert "d1_q0 out_q0 vdd dsi" in lines
    assert len([line for line in lines if line.startswith(".model")]) == 1


def test_decks_that_cannot_be_stacked() -> None:
    assert script_for(sampled("op", 1)).stack is None
    clash = deck(
        (*divider(), Card("r9", ("out_q3", "0"), 1.0)), alter=("r1",), variants=np.ones((2, 1)), save=("v(out)",)
    )
    assert script_for(clash).stack is None


def test_progress_counts_every_run(engine: Engine) -> None:
    seen: list[tuple[int, int]] = []
    engine.run([sampled("op", 600), deck(divider())], progress=lambda done, total: seen.append((done, total)))
    assert seen[-1] == (601, 601)
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert len(seen) >= 3


def test_nothing_to_run(engine: Engine) -> None:
    assert engine.run([]) == ()


def test_joining_keeps_order_and_fills_gaps() -> None:
    from guardcheck.engine.script import Answer

    found = Answer(np.array([[1.0], [2.0]]), np.array([True, True]), help_used=("a",))
    whole = join([unsolved(1, "no"), found, unsolved(2, "later")])
    assert whole.table is not None
    assert np.isnan(whole.table[[0, 3, 4], 0]).all()
    assert whole.table[1:3, 0].tolist() == [1.0, 2.0]
    assert whole.solved.tolist() == [False, True, True, False, False]
    assert (whole.words, whole.help_used) == ("no", ("a",))


def test_scripts_hold_only_text_and_numbers() -> None:
    """A worker gets no records of other floors, so that it starts fast and trusts nothing."""
    script = script_for(sampled("tran", 3))
    assert isinstance(script, Script)
    assert all(isinstance(line, str) for line in script.lines)
    assert type(script.final) is float


def test_guarded_line_conducts_as_expected(engine: Engine) -> None:
    """2 V behind 10 + 100 ohm into 240 and 75 ohm, the pair's junctions idle: circuit law within 0.1 %."""
    (trace,) = engine.run([deck(guarded(Card("vs", ("emf", "0"), 2.0)), models=(DIODE,))])
    load = 1.0 / (1.0 / 240.0 + 1.0 / 75.0)
    assert trace.vectors["v(out)"][0] == pytest.approx(2.0 * load / (110.0 + load), rel=1e-3)
