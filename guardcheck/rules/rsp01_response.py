"""RSP01: impedance and response of the output.

Hazard
    A source that is not 75 ohm rings on the cable; a coupling capacitor or a cable that is too long bends the picture.
What is read
    Output impedance at the unit's connector, return loss, bandwidth, tilt and overshoot, from the job's own netlist.
Limit and source
    The line's standard (guardcheck/standards). Most bounds of this kind are practice rather than published limits; each
    finding says so.
Not covered
    Response of the display behind its input; group delay.
What to do at the bench
    Fit the 75-ohm series resistor close to the connector; use 470 uF or more to couple a field into 150 ohm.
"""

from __future__ import annotations

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, SIGNAL, Case, Facts, Finding, Limit, Quantity, Rule
from guardcheck.verdict.outcome import hold

RULE = Rule(
    code="RSP01",
    title="Impedance and response",
    klass=SIGNAL,
    quantities=(
        "response.impedance",
        "response.return_loss",
        "response.bandwidth",
        "response.field_tilt",
        "response.line_tilt",
        "response.overshoot",
    ),
)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every response quantity against the limit of its line's standard."""
    return hold(RULE, facts)


_Z = Limit("response.impedance", 61.4, 91.7, 75.0, "20 dB return loss against 75 ohm", "practice")
_LIMITS = {"red": {"response.impedance": _Z}}
CASES = (
    Case("75 ohm", Facts((Quantity("response.impedance", "red", False, 75.0),), _LIMITS), CONFORMS),
    Case("back-match missing", Facts((Quantity("response.impedance", "red", False, 10.0),), _LIMITS), DOES_NOT_CONFORM),
    Case(
        "not simulated",
        Facts((Quantity("response.impedance", "red", False, None, failure="timed out"),), _LIMITS),
        NOT_PROVEN,
    ),
)
