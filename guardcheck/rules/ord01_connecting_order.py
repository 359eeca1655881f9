"""ORD01: in which order this unit is connected.

Hazard
    Phono plugs and 3.5 mm jacks join the signal before the 0 V: the Y capacitors of two units without earth discharge
    through the signal pin. The touch-current limit protects people, not chips.
What is read
    Margins of the simulated hot-plug events, bare and guarded; whether the display is earthed.
Limit and source
    An event needs 1.5 dB to spare (design rule of this tool). The order itself is common practice: signal connectors
    only with both units unplugged from the mains, the lead pushed fully home in both sockets.
Not covered
    Connectors that bounce, apparatus that is not declared, lightning.
What to do at the bench
    Join all leads, then plug in; to take apart, unplug from the mains first. Print the order on the hand-over sheet.
"""

from __future__ import annotations

from dataclasses import replace

from guardcheck.leakage import display_earthed, unit_earthed
from guardcheck.model import (
    ADVICE,
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    SIMULATED,
    WITHSTAND,
    Case,
    Facts,
    Finding,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import finding, judge_margin, worst

FACT, MARGIN = "declared.fact", "event.margin"
BESIDE = ("event.latch_up", "event.part_margin")
"""What else of an event must hold before it leaves a unit unharmed; short of it nothing is known to be harm."""
RULE = Rule(code="ORD01", title="Connecting order", klass=ADVICE, quantities=(), kind=WITHSTAND)
HOT_PLUG = "hot-plug"
"""How the names of the events begin that join two units live."""
WHERE = "connecting order"


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Say in which order to connect, and what the hot-plug events say of doing it live; it decides nothing."""
    if not facts.quantities:
        return (_row(NOT_APPLICABLE, "Not applicable: the job declares no line that is connected."),)
    events = [
        one
        for one in facts.named((MARGIN, *BESIDE))
        if one.event is not None and one.event.startswith(HOT_PLUG) and facts.decides(one)
    ]
    if not events:
        why = f"Not proven: no hot-plug event was run, so nothing is known about joining it live. {_order(facts)}"
        return (_row(NOT_PROVEN, why),)
    margins = [one.value for one in events]
    outcome = worst(_outcome(one) for one in events)
    known = [margin for margin in margins if margin is not None]
    told = {
        CONFORMS: "The simulated hot-plug events leave it unharmed; the order still costs nothing.",
        DOES_NOT_CONFORM: "A simulated hot-plug event goes beyond the pin's ratings: joining it live can kill it.",
        NOT_PROVEN: "The hot-plug events are too close to the ratings, or not everything about them is known.",
    }[outcome]
    least = f" Least margin {min(known):.1f} dB." if known else ""
    row = _row(outcome, f"{told}{least} {_order(facts)}")
    return (replace(row, origin=SIMULATED),)


def _outcome(one: Quantity) -> str:
    if one.value is None or one.failure is not None:
        return NOT_PROVEN
    judged = judge_margin(one.value)
    return NOT_PROVEN if one.name in BESIDE and judged == DOES_NOT_CONFORM else judged


def _earths(facts: Facts) -> str:
    """Return how the two 0 V stand to each other, as far as it is declared; another lead may earth a display."""
    display, unit = display_earthed(facts.display), unit_earthed(facts.supply)
    if display is None and facts.display.get("earthed") is False:
        return (
            "The display is not earthed by itself, but another lead may earth it: treat it as earthed and as floating."
        )
    if display is None:
        return "Whether the display is earthed is not known: treat it as earthed and as floating."
    if unit is None:
        stands = "earthed: its 0 V stands at earth" if display else "not earthed: it floats"
        return (
            f"The display is {stands}. Whether the unit is earthed is not known: treat it as earthed and as floating."
        )
    if unit:
        other = "so does the display's" if display else "the display floats against it until the lead joins them"
        return f"The unit is earthed: its 0 V stands at earth, and {other}."
    if display:
        return (
            "The display is earthed: its 0 V stands at earth, and the unit floats against it until the lead joins them."
        )
    return "Neither the unit nor the display is earthed: both float until the lead joins them."


def _order(facts: Facts) -> str:
    earth = _earths(facts)
    return (
        "Order: 1. unplug unit and display from the mains; 2. push the lead fully home in both sockets, and join all "
        f"other leads; 3. plug in the display, then the unit. Take apart in reverse, mains first. {earth}"
    )


def _row(outcome: str, why: str) -> Finding:
    quantity = Quantity(FACT, "", None, None, origin=DECLARED_ORIGIN, where=WHERE)
    return replace(finding(RULE.code, quantity, None, needed=False), outcome=outcome, why=why)


def _margin(value: float | None) -> Facts:
    quantity = Quantity(MARGIN, "red", False, value, event=HOT_PLUG, severity="first contact")
    return Facts((quantity,), display={"earthed": False})


CASES = (
    Case("12 dB to spare", _margin(12.0), CONFORMS),
    Case("20 dB beyond the rating", _margin(-20.0), DOES_NOT_CONFORM),
    Case("event not solved", _margin(None), NOT_PROVEN),
    Case("no event run", Facts((Quantity("level.white", "red", False, 0.7),)), NOT_PROVEN),
    Case("no line declared", Facts(), NOT_APPLICABLE),
)
