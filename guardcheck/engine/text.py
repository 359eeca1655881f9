"""Turn a deck into the text a worker hands to ngspice, convergence help included."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from guardcheck.engine.deckrules import ALTERABLE
from guardcheck.engine.script import Attempt, Script
from guardcheck.engine.stacking import stack_of
from guardcheck.errors import DeckRefused
from guardcheck.model import Deck, Operating, Sweep, Transient

LEVEL: Mapping[str, float | str] = {"method": "gear", "reltol": 1e-4, "abstol": 1e-9, "rshunt": 1e12}
_ALWAYS = "noinit noacct"  # in every deck, because ngspice keeps them for the decks that follow
_ALLOWED = re.compile(r"[a-z0-9_ .+\-*/()=,<>?:&|!]*\Z")
_FORBIDDEN_CARD = re.compile(r"\.(?!model )")


def script_for(deck: Deck) -> Script:
    """Return what a worker needs for a deck that `check_deck` accepted.

    Raises
    ------
    DeckRefused : the netlist writer produced a line ngspice must not see

    """
    from guardcheck.netlist import deck_lines

    lines = tuple(line.lower() for line in deck_lines(deck.cards, deck.models))
    for line in lines:
        if not _ALLOWED.match(line) or _FORBIDDEN_CARD.match(line) or line[:1] in (" ", "+", "*", ""):
            raise DeckRefused(f"deck '{deck.name}' is refused: the line {line!r} may not be sent to ngspice")
    kind, _, final = _analysis(deck, 1.0)
    return Script(
        name=deck.name,
        kind=kind,
        lines=lines,
        attempts=_attempts(deck),
        save=tuple((wanted, _vector(wanted)) for wanted in deck.save),
        alter=tuple(f"alter {name}{ALTERABLE[name[0]]} =" for name in deck.alter),
        windows=deck.windows,
        final=final,
        stack=stack_of(deck, kind, lines),
    )


def _vector(wanted: str) -> str:
    inner = wanted[2:-1]
    return inner if wanted.startswith("v") else f"{inner}#branch"


def _analysis(deck: Deck, finer: float) -> tuple[str, str, float]:
    analysis = deck.analysis
    if isinstance(analysis, Operating):
        return "op", ".op", 0.0
    if isinstance(analysis, Sweep):
        if analysis.points == 1:
            return "ac", f".ac lin 1 {_number(analysis.start)} {_number(analysis.start)}", analysis.start
        decades = math.log10(analysis.stop / analysis.start)
        density = max(1, math.ceil((analysis.points - 1) / decades - 1e-9))
        density += density * decades < 1.0 + 1e-6  # ngspice rounds that down to a whole number and never ends on zero
        return "ac", f".ac dec {density} {_number(analysis.start)} {_number(analysis.stop)}", analysis.stop
    uic = " uic" if analysis.uic else ""
    times = " ".join(map(_number, (analysis.step, analysis.stop, 0.0, analysis.max_step / finer)))
    card = f".tran {times}{uic}"
    return "tran", card, analysis.stop


def _number(value: float) -> str:
    """Return a plain number in full; numpy's own floats would print their type."""
    return repr(float(value))


def _attempts(deck: Deck) -> tuple[Attempt, ...]:
    """Return the plain way first, then the convergence help in its fixed order; each step keeps the ones before it."""
    options: dict[str, float | str] = {**LEVEL, **deck.options}
    finer = 1.0
    steps: list[tuple[str, dict[str, float | str], float]] = []
    if isinstance(deck.analysis, Transient):
        steps.append(("looser tolerances", {"reltol": 1e-3, "abstol": 1e-9, "method": "gear"}, 1.0))
        if not any(card.name[0] == "t" for card in deck.cards):
            steps.append(("quarter time step", {}, 4.0))
    steps.append(("more iterations", {"itl1": 1000.0, "itl4": 200.0}, finer))
    steps.append(("larger gmin", {"gmin": 1e-10}, finer))
    attempts = [Attempt("", _options(options), _analysis(deck, finer)[1])]
    for help_, changes, divisor in steps:
        options |= changes
        finer = max(finer, divisor)
        attempts.append(Attempt(help_, _options(options), _analysis(deck, finer)[1]))
    return tuple(attempts)


def _options(options: Mapping[str, float | str]) -> str:
    parts = [_ALWAYS]
    for name in sorted(options):
        value = options[name]
        if name == "rshunt" and not isinstance(value, str) and value <= 0.0:
            continue  # 0 means none
        if name.startswith("itl"):
            value = f"{float(value):.0f}"
        parts.append(f"{name}={value if isinstance(value, str) else _number(value)}")
    return f".options {' '.join(parts)}"
