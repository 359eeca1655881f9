"""GRD01: what the guard does to the wanted signal.

Hazard
    A clamp that conducts on the wanted signal lowers white, eats the sync tip or bends the greys.
What is read
    The change of white (or sync) and of small-signal gain between the bare and the guarded chain, both simulated.
Limit and source
    The line's standard names the largest error the eye accepts; each finding gives its reference.
Not covered
    Guard leakage at high temperature.
What to do at the bench
    Move the guard to the chip side of a coupling capacitor, or choose one that starts to conduct later.
"""

from __future__ import annotations

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, SIGNAL, Case, Facts, Finding, Limit, Quantity, Rule
from guardcheck.verdict.outcome import hold

RULE = Rule(
    code="GRD01",
    title="Side effects of the guard",
    klass=SIGNAL,
    quantities=("guard.level_error", "guard.distortion"),
)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every side effect of the guard against the limit of its line's standard."""
    return hold(RULE, facts)


_ERROR = Limit("guard.level_error", -0.06, 0.06, 0.0, "AN-945: 6 % is the liberal limit of a visible error", "read")
_LIMITS = {"red": {"guard.level_error": _ERROR}}
CASES = (
    Case("no effect", Facts((Quantity("guard.level_error", "red", True, -1e-5),), _LIMITS), CONFORMS),
    Case("half the sync eaten", Facts((Quantity("guard.level_error", "red", True, -0.48),), _LIMITS), DOES_NOT_CONFORM),
    Case(
        "guard not simulated",
        Facts((Quantity("guard.level_error", "red", True, None, failure="no convergence"),), _LIMITS),
        NOT_PROVEN,
    ),
)
