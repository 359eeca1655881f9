"""Every way ngspice was seen to answer wrongly, each followed by a good deck in the same process.

Each was observed on ngspice 39; the words expected are its own.
"""

from __future__ import annotations

import tempfile

import pytest

from guardcheck.engine import Engine
from guardcheck.engine.script import Script
from tests.engine.decks import GOOD, NO_SHUNT, is_good, raw, run_raw

TRAN = {"kind": "tran", "card": ".tran 1e-7 1e-5 0 1e-7", "final": 1e-5}
DEAD = ("v1 out 0 1", "r1 out 0 1")

KEEPS_THE_PREVIOUS_CIRCUIT = {
    "missing subcircuit": (raw("v1 out 0 1", "x1 out 0 nosuch", "r1 out 0 1"), "unknown subckt"),
    "recursive subcircuit": (raw(".subckt a p q", "x1 p q a", "r1 p q 1", ".ends", *DEAD, "x1 out 0 a"), "subckt"),
    "missing include": (raw(".include /nonexistent/file.inc", *DEAD), "include file"),
    "no cards": (raw(), "lacks v(out)"),
}
KEEPS_THE_PREVIOUS_PLOT = {
    "missing model": (raw("v1 out 0 1", "d1 out 0 nomodel"), "can't find model 'nomodel'"),
    "word for a value": (raw("v1 out 0 1", "r1 out 0 abc"), "abc"),
    "unknown dot card": (raw(*DEAD, ".frobnicate"), "unimplemented"),
    "duplicate element": (raw(*DEAD, "r1 out 0 2"), "already exists"),
    "no analysis": (raw(*DEAD, card="* none"), "No job"),
    "bad transient card": (raw(*DEAD, kind="tran", card=".tran 0 0", final=1e-5), "TSTEP is invalid"),
    "another analysis than asked": (raw(*DEAD, card=".tran 1e-7 1e-6"), "no result of its own"),
    "saved node missing": (raw("v1 in 0 1", "r1 in 0 1"), "no data saved"),
    "unknown function": (raw("v1 in 0 1", "b1 out 0 v=frob(v(in))", "r1 out 0 1"), "no such function"),
}
SILENTLY_WRONG = {
    "missing node and value": (raw(*DEAD, "r2 1"), "set to 1 mOhm|not a valid resistor"),
    "unknown model parameter": (raw("v1 out 0 1", "d1 out 0 dd", ".model dd d (is=1e-14 frob=3)"), "frob"),
    "infinite": (raw("v1 in 0 0", "r1 in 0 1", "b1 out 0 v=1/v(in)", "r2 out 0 1"), "no such circuit"),
    "current into a capacitor": (raw("i1 0 out 1", "c1 out 0 1e-9", "v1 a 0 1", "r1 a 0 1"), "no such circuit"),
    "stops early": (raw(*DEAD, kind="tran", card=".tran 1e-7 1e-6", final=1e-5), "stopped at 1e-06"),
}
ISLAND = ("v1 in 0 1", "c1 in out 1e-9", "c2 out 0 1e-9")
FICTION_OF_GMIN_STEPPING = {
    "floating island": (raw(*ISLAND, options=NO_SHUNT), "singular matrix"),
    "floating pair": (raw(*ISLAND[:1], "r9 in 0 1", "r1 a out 1", "r2 out a 2", options=NO_SHUNT), "singular matrix"),
    "source and coil in a loop": (raw(*DEAD, "l1 out 0 1e-6"), "singular matrix"),
    "two sources in a loop": (raw(*DEAD, "v2 out 0 2"), "singular matrix"),
    "current into nothing": (
        raw("i1 0 out 1", "c1 out 0 1e-9", "v1 a 0 1", "r1 a 0 1", options=NO_SHUNT),
        "singular matrix",
    ),
}
CONTRADICTION = ("b1 x 0 v=v(out)>0.5 ? 0 : 1", "r1 x out 1e3", "r2 out 0 1e9")
NO_CONVERGENCE = {
    "no operating point": (raw(*CONTRADICTION), "Timestep too small"),
    "fails midway": (
        raw("b1 x 0 v=(time>5e-7) ? (v(out)>0.5 ? 0 : 1) : 0", *CONTRADICTION[1:], "v1 in 0 1", "r3 in 0 1", **TRAN),
        "time = 5e-07",
    ),
}
ENDS_THE_SIMULATOR = {
    "undefined parameter": (raw("v1 out 0 1", "r1 out 0 {foo}"), "Undefined parameter [foo]"),
    "open brace": (raw("v1 out 0 1", "r1 out 0 {1+"), 'Closing "}" not found'),
    "open subcircuit": (raw(".subckt a p q", "r1 p q 1", "v1 out 0 1"), "Mismatch of .subckt"),
    "quit": (raw(*DEAD, ".control", "quit", ".endc"), "ngspice"),
}
CRASHES = {"recursive function": (raw(".func f(x) {f(x)+1}", "v1 out 0 {f(1)}", "r1 out 0 1"), "broke down twice")}

ALL = {
    **KEEPS_THE_PREVIOUS_CIRCUIT,
    **KEEPS_THE_PREVIOUS_PLOT,
    **SILENTLY_WRONG,
    **FICTION_OF_GMIN_STEPPING,
    **NO_CONVERGENCE,
    **ENDS_THE_SIMULATOR,
    **CRASHES,
}


@pytest.mark.parametrize(("script", "words"), ALL.values(), ids=ALL)
def test_bad_deck_is_a_failure_in_ngspices_words_and_the_next_deck_is_right(
    engine: Engine, script: Script, words: str
) -> None:
    before, bad, after = run_raw(engine, GOOD, script, GOOD)
    assert is_good(before)
    assert not bad.solved.any()
    assert bad.table is None
    assert any(word in (bad.words or "") for word in words.split("|"))
    assert is_good(after)


def test_words_are_clean(engine: Engine) -> None:
    scripts = [script for script, _ in ALL.values() if script is not CRASHES["recursive function"][0]]
    for answer in run_raw(engine, *scripts):
        words = answer.words or ""
        assert words
        assert len(words) <= 300
        assert words.isprintable()
        assert not words.startswith(("stdout", "stderr"))
        assert tempfile.gettempdir() not in words


HARMLESS = {
    "a note about a source without a value": raw("v1 in 0 ac 1", "v2 out 0 2", "r1 in out 1e3", "r2 out 0 2e3"),
    "a note about a pulsed source": raw("v1 in 0 pulse(3 1 1 1 1 1 9)", "r1 in out 1e3", "r2 out 0 2e3"),
    "gmin and source stepping": raw(
        "v1 in 0 3", "r1 in out 1e3", "r2 out 0 2e3", "v3 a 0 100", "r3 a b 1", "b1 b 0 i=1e-14*(exp(v(b)/0.025)-1)"
    ),
}


@pytest.mark.parametrize("script", HARMLESS.values(), ids=HARMLESS)
def test_false_alarms_are_not_failures(engine: Engine, script: Script) -> None:
    answer, after = run_raw(engine, script, GOOD)
    assert answer.words is None
    assert is_good(answer)
    assert is_good(after)


def test_ngspices_own_help_is_recorded(engine: Engine) -> None:
    (answer,) = run_raw(engine, HARMLESS["gmin and source stepping"])
    assert answer.help_used == ("gmin stepping", "source stepping")


def test_a_capacitor_into_an_open_jack_rests_at_zero(engine: Engine) -> None:
    """Without the shunt of 1e12 ohm ngspice gives such a node an arbitrary voltage."""
    (answer,) = run_raw(engine, raw(*ISLAND))
    assert answer.table is not None
    assert answer.table[0, 0] == 0.0
