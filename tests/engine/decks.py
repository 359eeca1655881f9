"""Small decks the engine tests share, and raw scripts for decks the netlist writer would never let through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine.script import Answer, Attempt, Script
from guardcheck.model import Analysis, Card, Deck, Model, Operating, Sweep, Transient

DIODE = Model("dsi", "d", {"is": 2.52e-9, "n": 1.752, "rs": 0.568, "cjo": 4e-12, "tt": 4e-9, "bv": 100.0, "ibv": 1e-6})
LINE_TIME = Transient(1e-7, 128e-6, 2.56e-6)
PICTURE = "pulse(0.0 2.0 1e-05 1e-07 1e-07 5e-05 6.4e-05)"


def deck(
    cards: Sequence[Card],
    analysis: Analysis | None = None,
    save: Sequence[str] = ("v(out)",),
    *,
    models: Sequence[Model] = (),
    options: Mapping[str, float | str] | None = None,
    alter: Sequence[str] = (),
    variants: NDArray[np.float64] | None = None,
    windows: Sequence[tuple[float, float]] = (),
    name: str = "test",
) -> Deck:
    """Return a deck with sensible blanks filled in."""
    return Deck(
        name,
        tuple(cards),
        tuple(models),
        analysis or Operating(),
        tuple(save),
        options or {},
        tuple(alter),
        variants,
        tuple(windows),
    )


def divider(top: float = 1e3, bottom: float = 2e3, volts: float = 3.0) -> tuple[Card, ...]:
    """Return a loaded source: 3 V over 1 kohm and 2 kohm give 2 V."""
    return (Card("v1", ("in", "0"), volts), Card("r1", ("in", "out"), top), Card("r2", ("out", "0"), bottom))


def guarded(drive: Card) -> tuple[Card, ...]:
    """Return a guarded red line: 10-ohm source, pad 100/240 ohm, silicon pair, 75-ohm load."""
    return (
        Card("vdd", ("vdd", "0"), 5.0),
        drive,
        Card("rs", ("emf", "pin"), 10.0),
        Card("r1", ("pin", "out"), 100.0),
        Card("r2", ("out", "0"), 240.0),
        Card("d1", ("out", "vdd"), None, "dsi"),
        Card("d2", ("0", "out"), None, "dsi"),
        Card("c1", ("out", "0"), 2e-11),
        Card("rl", ("out", "0"), 75.0),
    )


def builds(n: int, seed: int = 1) -> NDArray[np.float64]:
    """Return resistor values of `n` builds, 5 % tolerance, shape ``(n, 3)`` [ohm], for rs, r1, r2."""
    spread = 1.0 + 0.05 * np.random.default_rng(seed).uniform(-1.0, 1.0, (n, 3))
    return np.array([10.0, 100.0, 240.0]) * spread


def sampled(kind: str, n: int) -> Deck:
    """Return `n` builds of the guarded red line as an operating point, a sweep or a transient with two windows."""
    common = {"models": (DIODE,), "alter": ("rs", "r1", "r2"), "variants": builds(n), "name": f"sampled {kind}"}
    if kind == "op":
        return deck(guarded(Card("vs", ("emf", "0"), 2.0)), save=("v(out)", "i(vs)"), **common)
    if kind == "ac":
        return deck(guarded(Card("vs", ("emf", "0"), 0.0, "ac 1.0")), Sweep(1e4, 1e7, 31), **common)
    windows = ((1e-6, 9e-6), (2e-5, 5.5e-5))
    return deck(guarded(Card("vs", ("emf", "0"), None, PICTURE)), LINE_TIME, windows=windows, **common)


OPTIONS = ".options noinit noacct method=gear reltol=1e-4 abstol=1e-9 rshunt=1e12"
NO_SHUNT = ".options noinit noacct"


def raw(
    *lines: str,
    kind: str = "op",
    card: str = ".op",
    final: float = 0.0,
    options: str = OPTIONS,
    save: str = "out",
) -> Script:
    """Return a script of raw lines, past every check that stands before the engine."""
    return Script("raw", kind, lines, (Attempt("", options, card),), ((f"v({save})", save),), final=final)


GOOD = raw("v1 in 0 3", "r1 in out 1e3", "r2 out 0 2e3")
HANGS = raw(
    "v1 in 0 pulse(0 5 1e-6 1e-9 1e-9 50e-6 100e-6)",
    "r1 in a 75",
    "t1 a 0 out 0 z0=75 td=9e-9",
    "d1 out 0 dd",
    "d2 0 out dd",
    "r2 out 0 75",
    ".model dd d (is=2.52e-9 n=1.752 rs=0.568 cjo=4e-12 tt=4e-9)",
    kind="tran",
    card=".tran 1e-7 128e-6 0 2.56e-6",
    final=128e-6,
)
GROWS = raw("v1 out 0 sin(0 1 1e9)", "r1 out 0 1", kind="tran", card=".tran 1e-12 1 0 1e-12", final=1.0)


def run_raw(engine: object, *scripts: Script) -> list[Answer]:
    """Run raw scripts in order on one engine."""
    return engine._run_scripts(scripts, [None] * len(scripts))  # type: ignore[attr-defined]


def is_good(answer: Answer) -> bool:
    """Tell whether `GOOD` gave its own 2 V and nothing of a deck before it."""
    return answer.table is not None and bool(abs(answer.table[0, 0] - 2.0) < 1e-8)
