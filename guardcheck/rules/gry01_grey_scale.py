"""GRY01: the grey scale a resistor ladder makes.

Hazard
    Unequal steps crush or tear apart shades; a step that falls where it should rise turns a shaded picture into bands.
What is read
    For every code of a ladder the level at the display as a share of white, and the smallest rise from one code to the
    next, with the tolerances of the legs and of what the drivers add to them; each code solved in the job's own chain.
Limit and source
    Even steps, within 6 % of white (application note AN-945, liberal limit of a visible amplitude error); every step
    brighter than the last. Common practice: no standard limits a console's grey scale.
Not covered
    Drivers whose high and low resistances differ, glitches between codes, a monitor that makes dark yellow brown.
What to do at the bench
    Show a grey staircase, read every step against black, and compare the legs with the colour code, unit off.
"""

from __future__ import annotations

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    SIGNAL,
    WORKMANSHIP,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import hold

RULE = Rule(code="GRY01", title="Grey scale", klass=SIGNAL, quantities=("grey.step", "grey.rise"), kind=WORKMANSHIP)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every step against its even place, and the least rise against zero; no standard asks for either."""
    return hold(RULE, facts)


_THIRD = Limit("grey.step", 1 / 3 - 0.06, 1 / 3 + 0.06, 1 / 3, "even steps, 6 % of white", "practice")
_RISE = Limit("grey.rise", 0.0, None, 1.0, "every step brighter than the last", "practice")
CASES = (
    Case(
        "a third where a third belongs",
        Facts((Quantity("grey.step", "red", None, 1 / 3, where="step 1 of 3", limit=_THIRD),)),
        CONFORMS,
    ),
    Case(
        "equal legs: the first step stands at a half",
        Facts((Quantity("grey.step", "red", None, 0.5, where="step 1 of 3", limit=_THIRD),)),
        DOES_NOT_CONFORM,
    ),
    Case(
        "a step that falls",
        Facts((Quantity("grey.rise", "red", None, -0.2, limit=_RISE),)),
        DOES_NOT_CONFORM,
    ),
    Case(
        "not solved",
        Facts((Quantity("grey.rise", "red", None, None, failure="no convergence", limit=_RISE),)),
        NOT_PROVEN,
    ),
)
