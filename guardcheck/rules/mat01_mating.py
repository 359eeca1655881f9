"""MAT01: a plug in a socket, contact by contact.

Hazard
    Plugs of one shape are wired in more than one way. A supply or logic level on a picture input, two outputs against
    each other, an output on ground: a driver or an input burns, and one right colour makes people try again.
What is read
    The wiring systems of the unit's plug and of the display's socket (`socket.wiring`, `display.wiring`), the lead
    between them with the parts in its hoods; every contact solved as two Thevenin ports with one common return.
Limit and source
    What each contact is made for and what its driver stands, in circuits/roles.toml with their references; the contact
    tables in circuits/wirings.
Not covered
    A lead that is not built as its kind says: beep it through before power. What a display does with a wrong signal
    that harms nothing.
What to do at the bench
    Unplugged, beep every wire of the lead against the plan; only then connect, and put the label on the socket.
"""

from __future__ import annotations

from dataclasses import replace

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    INTERFACE,
    NOT_PROVEN,
    SAFETY,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import finding

RULE = Rule(
    code="MAT01",
    title="Contacts of plug and socket",
    klass=SAFETY,
    quantities=("mating.voltage", "mating.current", "mating.power"),
    kind=INTERFACE,
)
MISFIT = "misfit"
_REMEDY = "do not connect these two: use a lead or an adapter made for both wiring systems, beeped through before power"


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every contact against what it is made for; one that joins what does not belong together never conforms."""
    return tuple(_judged(facts, quantity) for quantity in facts.named(RULE.quantities))


def _judged(facts: Facts, quantity: Quantity) -> Finding:
    made = finding(RULE.code, quantity, facts.limit(quantity), needed=quantity.needed)
    if quantity.limit is None and quantity.failure is not None:
        why = f"Not proven: {quantity.failure}, so no contact was worked out."
        return replace(made, outcome=NOT_PROVEN, why=why, needed=True, remedy="write it: guardcheck list wirings")
    if MISFIT not in quantity.codes or quantity.value is None:
        return made
    told = quantity.notes[0] if quantity.notes else "These two do not belong together."
    hurts = made.outcome == DOES_NOT_CONFORM
    why = made.why if hurts else f"Does not conform: the wrong signal arrives, though within what it stands. {told}"
    return replace(made, outcome=DOES_NOT_CONFORM, why=why, remedy=_REMEDY)


_BLUE = Limit("mating.voltage", None, 2.7, None, "0.7 V on at most 2 V of direct voltage", "recalled")
_FITS = Limit("mating.voltage", 0.496, 0.989, None, "IEC 60933-1: 0.7 V plus or minus 3 dB", "computed")
_DRIVER = Limit("mating.current", None, 0.05, None, "what a 5 V control is made for", "practice")


def _case(value: float | None, limit: Limit, *, misfit: bool) -> Facts:
    codes = (MISFIT,) if misfit else ()
    failure = "no convergence" if value is None else None
    one = Quantity(
        limit.quantity, "", None, value, where="contact 20", limit=limit, codes=codes, needed=misfit, failure=failure
    )
    return Facts((one,))


CASES = (
    Case("0.7 V of blue on a blue input", _case(0.7, _FITS, misfit=False), CONFORMS),
    Case("5 V sync behind 50 ohm on a blue input", _case(3.0, _BLUE, misfit=True), DOES_NOT_CONFORM),
    Case("green on a blue input harms nothing and is wrong", _case(0.7, _BLUE, misfit=True), DOES_NOT_CONFORM),
    Case("5 V straight into 75 ohm", _case(0.0666, _DRIVER, misfit=True), DOES_NOT_CONFORM),
    Case("not solved", _case(None, _BLUE, misfit=True), NOT_PROVEN),
)
