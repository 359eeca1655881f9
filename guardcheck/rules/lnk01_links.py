"""LNK01: links and spare outputs between boards.

Hazard
    An indicator or activity wire between two boards feeds the one that is off through its input protection: chips run
    half powered, latch up, or burn a pin.
What is read
    What drives the link, its series resistance, the supply and load of the receiving board and the rating of its pin;
    current and lifted rail are simulated with the receiving board on and off. A link to other apparatus that only
    carries a signal counts in the joined touch current.
Limit and source
    The clamp current the data sheet of the receiving pin prints (it varies from 1 mA to 20 mA: there is no safe
    default). A rail that is off may be lifted by 0.3 V (microcontroller data sheets: VDD + 0.3 V with VDD = 0).
Not covered
    Inductive loads, hot plugging of the link, ground shift between the boards.
What to do at the bench
    Put the resistor at the driving end, or use a part that is open when it is not supplied; measure the rail that is
    off.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from guardcheck.model import (
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    SAFETY,
    SIMULATED,
    WITHSTAND,
    Ask,
    Case,
    Fact,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
    Value,
)
from guardcheck.verdict.outcome import finding

CURRENT, RAIL, FACT = "link.current", "link.rail", "declared.fact"
RULE = Rule(
    code="LNK01",
    title="Links between boards",
    klass=SAFETY,
    quantities=(CURRENT, RAIL),
    tables=("link",),
    kind=WITHSTAND,
)

SIGNALS = ("audio", "video", "aerial", "ground")
"""What a link may carry without driving the other side."""
ON, OFF = 0.01, 1e9
"""Resistance [ohm] between a board's supply and its rail, on and off: a regulator feeds and does not sink."""
NO_LOAD = 1e6
"""Load [ohm] of a board that is off when none was declared: the rail is lifted highest."""
LIFT = Limit(RAIL, None, 0.3, None, "microcontroller data sheets: at most VDD + 0.3 V at a pin, here VDD = 0", "read")
_REMEDY = "raise the series resistance at the driving end, or use a part that is open when it is not supplied"


def _number(fact: Fact, name: str) -> float | None:
    given = fact.entries.get(name)
    return given.nominal if isinstance(given, Value) else None


def _circuit(fact: Fact) -> dict[str, float] | None:
    """Return the probe's values, None when the link does not declare what drives it, through what, into what."""
    drive, series, supply = (_number(fact, name) for name in ("drive", "series", "supply"))
    if drive is None or series is None or supply is None:
        return None
    return {"drive": drive, "series": max(series, 1e-3), "supply": supply, "load": _load(fact, supply)}


def _load(fact: Fact, supply: float) -> float:
    given = fact.entries.get("load")
    if not isinstance(given, Value) or given.nominal <= 0:
        return NO_LOAD
    return supply / given.nominal if given.unit == "A" else given.nominal


def asks(facts: Facts) -> tuple[Ask, ...]:
    """Return the simulations wanted: current with the receiving board on and off, and its rail when off."""
    found = []
    for where, fact in facts.table("link"):
        values = _circuit(fact)
        if values is not None:
            on, off = {**values, "on_resistance": ON}, {**values, "supply": 0.0, "on_resistance": OFF}
            found += [
                Ask(f"LNK01/{where}/on", "board-link", on, "i(vdrive)"),
                Ask(f"LNK01/{where}/off", "board-link", off, "i(vdrive)"),
                Ask(f"LNK01/{where}/rail", "board-link", off, "v(rail)"),
            ]
    return tuple(found)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every declared link: current into the other board, rail it lifts when that board is off."""
    findings = [one for where, fact in facts.table("link") for one in _link(facts, where, fact)]
    if findings:
        return tuple(findings)
    why = "Not applicable: the job declares no link."
    return (_row(Quantity(FACT, "", None, None, where="none declared"), None, NOT_APPLICABLE, why, needed=False),)


def _link(facts: Facts, where: str, fact: Fact) -> Iterator[Finding]:
    if _circuit(fact) is None:
        yield _undriven(where, fact)
        return
    on, off, rail = (facts.answers.get(f"LNK01/{where}/{state}") for state in ("on", "off", "rail"))
    rating = _number(fact, "clamp_current")
    current = None if on is None or off is None else max(abs(on), abs(off))
    quantity = Quantity(CURRENT, "", None, current, origin=SIMULATED, where=where)
    if rating is None:
        why = "Not proven: the clamp current of the receiving pin is not declared, and there is no safe default."
        yield _row(quantity, None, NOT_PROVEN, why, remedy="look it up in the data sheet (`clamp_current`)")
    else:
        limit = Limit(CURRENT, None, rating, None, "clamp current of the pin as the job declares it", "read")
        yield _judged(quantity, limit)
    yield _judged(Quantity(RAIL, "", None, rail, origin=SIMULATED, where=where), LIFT)


def _judged(quantity: Quantity, limit: Limit) -> Finding:
    made = finding(RULE.code, quantity, limit, needed=True)
    return made if made.outcome == CONFORMS else replace(made, remedy=_REMEDY)


def _undriven(where: str, fact: Fact) -> Finding:
    quantity = Quantity(FACT, "", None, None, where=where)
    if fact.entries.get("carries") in SIGNALS and "y_capacitance" in fact.entries:
        why = "Not applicable: it drives nothing here; its leakage is counted in the joined touch current."
        return _row(quantity, None, NOT_APPLICABLE, why, needed=False)
    why = (
        "Not proven: what drives this link, its series resistance and the supply of the other board are not declared, "
        "so reverse feeding was not simulated."
    )
    return _row(quantity, None, NOT_PROVEN, why, remedy="declare `drive`, `series`, `supply`, `load`, `clamp_current`")


def _row(
    quantity: Quantity,
    limit: Limit | None,
    outcome: str,
    why: str,
    *,
    needed: bool = True,
    remedy: str | None = None,
) -> Finding:
    origin = DECLARED_ORIGIN if quantity.value is None else quantity.origin
    made = finding(RULE.code, replace(quantity, origin=origin), limit, needed=needed)
    return replace(made, outcome=outcome, why=why, needed=needed, remedy=remedy)


def _case(on: float | None, off: float | None, rail: float | None, **more: Any) -> Facts:
    entries = {
        "to": "disc board",
        "drive": Value.exact(5.0, "V"),
        "series": Value.exact(4.7e3, "ohm"),
        "supply": Value.exact(5.0, "V"),
        "clamp_current": Value.exact(2e-3, "A"),
        **more,
    }
    answers = {"LNK01/disc board/on": on, "LNK01/disc board/off": off, "LNK01/disc board/rail": rail}
    return Facts(declared=(Fact("link", 0, "disc board", entries),), answers=answers)


CASES = (
    Case("0.9 mA, rail lifted by 90 mV", _case(0.0, -0.9e-3, 0.09), CONFORMS),
    Case("rail lifted to 4 V", _case(0.0, -0.4e-3, 4.0), DOES_NOT_CONFORM),
    Case("not simulated", _case(None, None, None), NOT_PROVEN),
    Case("pin rating not declared", _case(0.0, -0.9e-3, 0.09, clamp_current="unknown"), NOT_PROVEN),
    Case("no link declared", Facts(), NOT_APPLICABLE),
)
