"""SRC01: whether the source the job names is the one on the bench.

Hazard
    A current output described as a linear one gives a plan that is wrong by a third: too bright, too dark, or the wrong
    resistor added.
What is read
    Readings of one level at the pin with nothing connected and with known resistors, against the named source solved in
    ngspice with the same loads; the kinds of output that fit them by weighted least squares.
Limit and source
    The deviation over the expanded uncertainty of each reading (normalised error, ISO/IEC 17043) is at most 1. Two
    readings fit a linear output and a current output alike: then nothing is proven.
Not covered
    Levels that were not read; what the output does at other frequencies than that of the picture.
What to do at the bench
    Show a white picture. Read the pin open, with 150 ohm to 0 V, and with 75 ohm to 0 V; never load a logic pin so.
"""

from __future__ import annotations

from dataclasses import replace

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, SIGNAL, Case, Facts, Finding, Limit, Quantity, Rule
from guardcheck.verdict.outcome import hold

RULE = Rule(code="SRC01", title="Source as read", klass=SIGNAL, quantities=("source.fit",))


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold the worst deviation of the named source from its readings against their uncertainty."""
    return tuple(
        _said(one, quantity) for one, quantity in zip(hold(RULE, facts), facts.named(RULE.quantities), strict=True)
    )


def _said(one: Finding, quantity: Quantity) -> Finding:
    """Return a finding in the words of the bench: a ratio of uncertainties says little."""
    told = " ".join(quantity.notes)
    if one.value is None or one.outcome not in (CONFORMS, DOES_NOT_CONFORM):
        return one
    if one.outcome == CONFORMS:
        return replace(one, why=f"The source as named gives what was read, within the readings' uncertainty. {told}")
    times = f"{one.value:.1f} times the readings' uncertainty"
    return replace(one, why=f"The source as named does not give what was read: it is off by {times}. {told}")


_EN = Limit("source.fit", None, 1.0, 0.0, "normalised error of ISO/IEC 17043", "read")
CASES = (
    Case("within its readings", Facts((Quantity("source.fit", "red", None, 0.3, limit=_EN),)), CONFORMS),
    Case(
        "a linear source where a current flows: 30 % of 3 %",
        Facts((Quantity("source.fit", "red", None, 8.7, limit=_EN),)),
        DOES_NOT_CONFORM,
    ),
    Case(
        "two readings only",
        Facts((Quantity("source.fit", "red", None, 0.0, limit=_EN, failure="more than one kind of output fits"),)),
        NOT_PROVEN,
    ),
)
