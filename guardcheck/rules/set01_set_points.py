"""SET01: adjustments, noted before they are touched.

Hazard
    A trimmer moved without its old position noted cannot be put back: a laser current or a supply voltage set by ear
    ages or kills what it feeds.
What is read
    For each trimmer: the value before, the value wanted and why, the value after, with the instrument's accuracy.
Limit and source
    The tolerance of the wanted value as the job declares it; nothing else is known of it (common practice).
Not covered
    Drift, interaction of adjustments, whether the wanted value is right.
What to do at the bench
    Measure and note the value before touching, mark the trimmer's position, turn it in one move, measure again.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from guardcheck.metrology import expanded, width_of
from guardcheck.model import (
    ADVICE,
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    Case,
    Fact,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
    Value,
)
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding, judge_measured

FACT = "declared.fact"
RULE = Rule(code="SET01", title="Set-points", klass=ADVICE, quantities=(), tables=("setpoint",))
SOURCE = "the wanted value and tolerance this job declares"


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every declared adjustment: was it noted before, and is it where it should be."""
    found = tuple(_setpoint(where, fact) for where, fact in facts.table("setpoint"))
    if found:
        return found
    return (_row("none declared", NOT_APPLICABLE, "Not applicable: the job declares no adjustment.", needed=False),)


def _setpoint(where: str, fact: Fact) -> Finding:
    before, target, after = (fact.entries.get(name) for name in ("before", "target", "after"))
    what = fact.entries.get("quantity", "this")
    if not isinstance(before, Value):
        why = f"Not proven: no value of {what} was noted before it was touched, so it cannot be put back."
        return _row(
            where,
            NOT_PROVEN,
            why,
            remedy=f"measure and note {what} of {where} before touching it; if it was moved, say so",
        )
    if not isinstance(after, Value):
        why = f"Not proven: {what} read {before.text or before.nominal} before; no value after is noted."
        return _row(where, NOT_PROVEN, why, remedy="measure it again and note the value")
    if not isinstance(target, Value):
        why = f"Not proven: {what} went from {before.text} to {after.text}, and no wanted value says why."
        return _row(where, NOT_PROVEN, why, remedy="note the wanted value with its tolerance and where it comes from")
    return _against_target(where, fact, before, target, after)


def _against_target(where: str, fact: Fact, before: Value, target: Value, after: Value) -> Finding:
    units = {before.unit, target.unit, after.unit}
    if len(units) > 1:
        why = f"Not proven: before, wanted and after are in different units ({', '.join(sorted(units))})."
        return _row(where, NOT_PROVEN, why, remedy="note all three in one unit")
    if not target.varies:
        why = f"Not proven: the wanted value {target.text} has no tolerance, so nothing can lie inside it."
        return _row(where, NOT_PROVEN, why, remedy="write the tolerance, such as '1.8 V 2%'")
    limit = Limit(FACT, target.low, target.high, target.nominal, SOURCE, "practice")
    width = width_of(fact.entries, after.nominal, after.unit)
    if width is None:
        side = "inside" if target.low <= after.nominal <= target.high else "outside"
        outcome = NOT_PROVEN
        why = f"Not proven: {after.text} lies {side} {target.text}; the instrument's accuracy is not declared."
    else:
        one = judge_measured(after.nominal, expanded(width), limit, after.unit)
        outcome, why = one.outcome, f"{one.why} It read {before.text or before.nominal} before."
    row = _row(where, outcome, why, remedy=None if outcome == CONFORMS else _remedy(target, after, width))
    return replace(
        row,
        value=after.nominal,
        unit=after.unit,
        limit=limit,
        uncertainty=None if width is None else expanded(width),
        origin=MEASURED,
    )


def _remedy(target: Value, after: Value, width: float | None) -> str:
    """Return what helps: turning it again, unless no setting could be shown to conform with this instrument."""
    room = (target.high - target.low) / 2.0
    if width is None:
        return "state the instrument's accuracy and resolution"
    if expanded(width) < room:
        return "set it again and measure"
    inside = target.low <= after.nominal <= target.high
    return (
        f"{'' if inside else 'set it again, and '}measure it with a better meter: this one's uncertainty is "
        f"{format_si(expanded(width), after.unit)}, and {format_si(room, after.unit)} either way is all that "
        f"{target.text} leaves, so no setting can be shown to conform with it"
    )


def _row(where: str, outcome: str, why: str, *, needed: bool = True, remedy: str | None = None) -> Finding:
    quantity = Quantity(FACT, "", None, None, origin=DECLARED_ORIGIN, where=where)
    made = finding(RULE.code, quantity, None, needed=needed)
    return replace(made, outcome=outcome, why=why, needed=needed, remedy=remedy)


def _case(after: float, **more: Any) -> Facts:
    entries = {
        "quantity": "video level",
        "before": Value.exact(0.66, "V", text="0.66 V"),
        "target": Value(0.70, "V", 0.665, 0.735, text="0.70 V 5%"),
        "after": Value.exact(after, "V", text=f"{after} V"),
        "accuracy": "1.0% + 2 counts",
        "resolution": Value.exact(1e-3, "V"),
        **more,
    }
    return Facts(declared=(Fact("setpoint", 0, "VR1", entries),))


CASES = (
    Case("0.70 V wanted, 0.70 V left", _case(0.70), CONFORMS),
    Case("0.90 V left", _case(0.90), DOES_NOT_CONFORM),
    Case("0.70 V left, read to 0.05 V", _case(0.70, accuracy="0.05 V"), NOT_PROVEN),
    Case("value before not noted", _case(0.70, before="unknown"), NOT_PROVEN),
    Case("no adjustment declared", Facts(), NOT_APPLICABLE),
)
