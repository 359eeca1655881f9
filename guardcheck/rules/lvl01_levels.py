"""LVL01: signal levels at the display input.

Hazard
    A level too high saturates or damages the display's input; one too low gives a dark picture or no lock.
What is read
    White, black, blanking, sync and peak-to-peak levels of each line at the display input, with cable and termination,
    from the job's own netlist; the worst ratio between the lines of one picture. Of logic signals the high and the low
    level, each against what the receiving input still takes for it: so either polarity is judged, and a low that is
    not low is not saved by a swing that is large.
Limit and source
    The line's standard (guardcheck/standards); each finding names reference and how the value is known.
Not covered
    What the display does behind its input, and ageing of parts.
What to do at the bench
    Check the 75-ohm termination first (levels double when it is missing, fall to two thirds when it is doubled), then
    the series and shunt resistors with the unit switched off.
"""

from __future__ import annotations

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, SIGNAL, Case, Facts, Finding, Limit, Quantity, Rule
from guardcheck.verdict.outcome import hold

RULE = Rule(
    code="LVL01",
    title="Levels at the display",
    klass=SIGNAL,
    quantities=(
        "level.white",
        "level.black",
        "level.blank",
        "level.sync",
        "level.pp",
        "level.high",
        "level.low",
        "level.mismatch",
        "level.headroom",
    ),
)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every level against the limit of its line's standard."""
    return hold(RULE, facts)


_WHITE = Limit("level.white", 0.496, 0.989, 0.7, "21-pin connector, 0.7 V ±3 dB into 75 ohm", "computed")
_LIMITS = {"red": {"level.white": _WHITE}}
CASES = (
    Case(
        "0.7 V into 75 ohm",
        Facts((Quantity("level.white", "red", False, 0.7, spread=(0.69, 0.71)),), _LIMITS),
        CONFORMS,
    ),
    Case(
        "termination missing: twice the level",
        Facts((Quantity("level.white", "red", False, 1.4, spread=(1.38, 1.42)),), _LIMITS),
        DOES_NOT_CONFORM,
    ),
    Case(
        "simulation failed",
        Facts((Quantity("level.white", "red", False, None, failure="no convergence"),), _LIMITS),
        NOT_PROVEN,
    ),
)
