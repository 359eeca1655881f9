"""SCN01: whether the display takes the line rate it is given.

Hazard
    A monitor built for one line rate and fed another can overheat its line output stage and lose it; a set for
    15 kHz shows nothing useful of 31 kHz.
What is read
    The line rate of the standards the unit's lines are held to, and the rates the display is declared to take.
Limit and source
    The display's manual or type plate, as `display.line_rates` declares it: 15, 24 or 31 kHz. Rates within 7 % of these
    count as the same (common practice, no published source).
Not covered
    Field rates, interlace, what a set that locks makes of the picture.
What to do at the bench
    Read the rates in the display's manual before the lead is plugged in. Switch off at once at a whistle, a smell of
    heat or a torn picture; a picture tube holds a dangerous charge: leave the inside of a monitor to a trained person.
"""

from __future__ import annotations

from dataclasses import replace

from guardcheck.model import (
    COMPUTED,
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    SIGNAL,
    Case,
    Facts,
    Finding,
    Quantity,
    Rule,
)
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding

RULE = Rule(code="SCN01", title="Line rate of the display", klass=SIGNAL, quantities=("scan.line_rate",))
RATES = {"15 kHz": 15.7e3, "24 kHz": 24.8e3, "31 kHz": 31.5e3}
"""The line rates monitors are made for [Hz]: 15.625 to 15.75, 24.8 and 31.5 kHz (common practice)."""
NEAR = 0.07
HAZARD = "a monitor made for another line rate can overheat its line output stage; switch off if it whistles or tears"


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every line rate of the unit against the rates the display takes."""
    taken = facts.display.get("line_rates")
    return tuple(_rate(one, taken) for one in facts.named(RULE.quantities))


def _rate(one: Quantity, taken: tuple[str, ...] | None) -> Finding:
    if one.value is None:
        return finding(RULE.code, one, None, needed=one.needed or taken is not None)
    rate = format_si(one.value, "Hz")
    row = replace(finding(RULE.code, one, None, needed=True), where=rate)
    if taken is None:
        if not one.needed:
            why = f"Not applicable: {rate} is what every display of this kind takes; its rates are not declared."
            return replace(row, outcome=NOT_APPLICABLE, why=why, needed=False)
        why = (
            f"Not proven: the unit gives {rate} on a connector that carries other rates too, and nobody says what the "
            f"display takes; {HAZARD}."
        )
        return replace(row, outcome=NOT_PROVEN, why=why, needed=True, remedy="write display.line_rates from its manual")
    words = " and ".join(taken)
    if any(abs(one.value / RATES[name] - 1.0) <= NEAR for name in taken):
        return replace(row, outcome=CONFORMS, why=f"The unit gives {rate}; the display takes {words}.", needed=True)
    why = f"Does not conform: the unit gives {rate}, the display takes {words}; {HAZARD}."
    return replace(
        row,
        outcome=DOES_NOT_CONFORM,
        why=why,
        needed=True,
        remedy="use a display or a converter made for this line rate",
    )


def _case(rate: float | None, taken: tuple[str, ...] | None, *, needed: bool = False) -> Facts:
    display = {} if taken is None else {"line_rates": taken}
    return Facts((Quantity("scan.line_rate", "", None, rate, origin=COMPUTED, needed=needed),), display=display)


CASES = (
    Case("15.625 kHz into 15 kHz", _case(15625.0, ("15 kHz",)), CONFORMS),
    Case("31.47 kHz into 15 and 31 kHz", _case(31469.0, ("15 kHz", "31 kHz")), CONFORMS),
    Case("31.47 kHz into 15 kHz", _case(31469.0, ("15 kHz",)), DOES_NOT_CONFORM),
    Case("15.7 kHz into 31 kHz", _case(15734.0, ("31 kHz",)), DOES_NOT_CONFORM),
    Case("24.8 kHz into 15 and 31 kHz", _case(24830.0, ("15 kHz", "31 kHz")), DOES_NOT_CONFORM),
    Case("31.47 kHz on a shared connector, rates not declared", _case(31469.0, None, needed=True), NOT_PROVEN),
    Case("15.625 kHz, rates not declared", _case(15625.0, None), NOT_APPLICABLE),
    Case("no rate known, into 15 kHz", _case(None, ("15 kHz",)), NOT_PROVEN),
    Case("no rate known on a shared connector", _case(None, None, needed=True), NOT_PROVEN),
    Case("no rate known, and nobody asks", _case(None, None), NOT_APPLICABLE),
)
