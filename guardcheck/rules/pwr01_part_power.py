"""PWR01: dissipation of the parts, in normal use.

Hazard
    A resistor that runs above its rating chars, drifts and burns what is near it.
What is read
    The power each rated part turns into heat, in the worst steady state of the signal, from the job's own netlist.
Limit and source
    The rating in the part's own metadata; its reference is shown.
Not covered
    Temperature inside the case: a rating holds for free air at 70 degC or below.
What to do at the bench
    Fit a part of the next size, or move it where air reaches it.
"""

from __future__ import annotations

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    SIGNAL,
    WITHSTAND,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import hold

RULE = Rule(code="PWR01", title="Dissipation of parts", klass=SIGNAL, quantities=("part.power",), kind=WITHSTAND)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every part's dissipation against its rating."""
    return hold(RULE, facts)


_RATING = Limit("part.power", None, 0.25, None, "a quarter-watt film resistor", "practice")
CASES = (
    # Circuit law: 0.7 V across 75 ohm is 6.53 mW
    Case("a termination at white", Facts((Quantity("part.power", "red", False, 6.53e-3, limit=_RATING),)), CONFORMS),
    # Circuit law: 5 V across 75 ohm is 0.333 W, over a quarter watt
    Case("logic straight in", Facts((Quantity("part.power", "sync", False, 0.333, limit=_RATING),)), DOES_NOT_CONFORM),
    Case(
        "not simulated",
        Facts((Quantity("part.power", "red", False, None, failure="no convergence", limit=_RATING),)),
        NOT_PROVEN,
    ),
)
