"""EVT01: what live plugging, a strike, a misplug or a dead rail does to the chip's pin.

Hazard
    A current forced into a pin beyond its ratings kills the chip, latches it up, or wounds it so that it dies later; a
    clamp that dumps into the rail can lift the rail, and with it every chip on it.
What is read
    Every stress event simulated with the job's own netlist, bare and guarded: voltage beyond the rails, current forced
    into the pin, charge and energy in its own diodes, what its driver carries, the rail; as margins of rating over
    stress. The surge ratings of the guard's own parts likewise.
Limit and source
    The pin's ratings from the job, the part's data sheet or a family of chips; a missing rating is judged against the
    strictest and the loosest seen in data sheets. What stays is held against the steady ratings. A pulse holds below
    them, or where it is no harder in peak, charge and energy than the human-body pulse the pin is rated for; it is harm
    beyond three times that rating carried over to its width; a powered pin also owes its latch-up test. At least
    +1.5 dB conforms, at most -1.5 dB does not; between the two, and beyond a device's data sheet, nothing is proven.
Not covered
    Arcs and contact bounce, several lines struck at once, damage that needs many hits, temperature.
What to do at the bench
    Put the clamp at the connector and a resistor between clamp and chip; connect everything before the mains is on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import takewhile

from guardcheck.model import (
    BETTER,
    CONFORMS,
    DAILY,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    SAFETY,
    SAME,
    STRIKE,
    WITHSTAND,
    WORSE,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.units import parse
from guardcheck.verdict.outcome import EVENT_MARGIN_DB, finding, judge_margin, worst

MARGINS = ("event.margin", "event.latch_up", "event.part_margin")
SHOWN = (
    "event.pin_over",
    "event.pin_under",
    "event.pin_current",
    "event.pin_charge",
    "event.pin_energy",
    "event.time_over",
    "event.rail",
)
GRADE = "event.withstands"
WORDS = {CONFORMS: "holds", NOT_PROVEN: "not proven", DOES_NOT_CONFORM: "exceeded", NOT_APPLICABLE: "not applicable"}
NO_BOUND = 100.0
"""Margin [dB] that only a bound nobody knows leaves."""
RULE = Rule(code="EVT01", title="Stress at the pin", klass=SAFETY, quantities=(*MARGINS, GRADE, *SHOWN), kind=WITHSTAND)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every margin and show every other quantity of the stress events."""
    judged = [_margin(facts, one) for one in facts.named(MARGINS)]
    judged += _grades(judged)
    shown = [finding(RULE.code, one, None, needed=False) for one in facts.named(SHOWN)]
    return (*judged, *shown)


def _grades(judged: Sequence[Finding]) -> list[Finding]:
    """Return one row for every strike on every line: the hardest of its levels up to which all of them hold."""
    levels: dict[tuple[str | None, bool | None, str], dict[str, list[str]]] = {}
    for one in judged:
        if one.use == STRIKE and one.event is not None and one.severity is not None:
            by_level = levels.setdefault((one.line, one.guarded, one.event), {})
            by_level.setdefault(one.severity, []).append(one.outcome)
    return [_grade(key, found) for key, found in levels.items()]


def _grade(key: tuple[str | None, bool | None, str], levels: Mapping[str, Sequence[str]]) -> Finding:
    line, guarded, event = key
    outcomes = [(level, worst(found)) for level, found in levels.items()]
    held = list(takewhile(lambda pair: pair[1] == CONFORMS, outcomes))
    rest = [f"{level} {WORDS[outcome]}" for level, outcome in outcomes[len(held) :]]
    told = [f"withstands {held[-1][0]}"] if held else []
    why = "; ".join((*told, *rest))
    value = parse(held[-1][0], "V")[0].nominal if held else None
    quantity = Quantity(GRADE, line or "", guarded, value, event=event, use=STRIKE)
    made = finding(RULE.code, quantity, None, needed=False)
    return replace(made, outcome=CONFORMS if held else outcomes[0][1], why=f"{why[0].upper()}{why[1:]}.")


def _margin(facts: Facts, one: Quantity) -> Finding:
    limit = one.limit or Limit(one.name, EVENT_MARGIN_DB, None, None, "no rating is known", "practice")
    outcome, why = _outcome(one)
    row = finding(RULE.code, one, limit, needed=facts.decides(one) and one.needed)
    told = _beside_original(one)
    if one.against_original == WORSE and one.use == DAILY:
        outcome, why = DOES_NOT_CONFORM, f"{told} A mod must not take daily use worse than the unit did. {why}"
        told = ""
    return replace(row, outcome=outcome, why=" ".join(part for part in (why, told, *one.notes) if part))


def _beside_original(one: Quantity) -> str:
    """Return how a margin stands to that of the maker's build, in words; nothing where there is none to compare."""
    if one.against_original is None or one.value is None or one.original is None:
        return ""
    if one.against_original == SAME:
        return f"The same as the original build ({one.original:.1f} dB)."
    word = "Better" if one.against_original == BETTER else "Worse"
    return (
        f"{word} than the original build by {abs(one.value - one.original):.1f} dB ({one.value:.1f} dB against "
        f"{one.original:.1f} dB)."
    )


def _outcome(one: Quantity) -> tuple[str, str]:
    """Return the outcome of a margin: `spread` is its least (strictest rating, hard corner) and its most."""
    if one.value is None:
        return NOT_PROVEN, f"Not proven: {one.failure or 'no margin was obtained'}."
    least, most = one.spread or (one.value, one.value)
    if one.failure is not None:
        return NOT_PROVEN, f"Not proven: {one.failure}."
    if judge_margin(most) == DOES_NOT_CONFORM:
        return DOES_NOT_CONFORM, f"The rating is exceeded by {abs(one.value):.1f} dB."
    if judge_margin(least) == CONFORMS:
        return CONFORMS, f"At least {least:.1f} dB to spare."
    if most - least > 2.0 * EVENT_MARGIN_DB:
        harm = "nothing known counts as harm" if most >= NO_BOUND else f"{most:.1f} dB against what would be harm"
        return NOT_PROVEN, f"Not proven: {least:.1f} dB against what a rating proves, {harm}."
    return NOT_PROVEN, (
        f"Not proven: a margin of {one.value:.1f} dB is too small to decide; chip models are uncertain by "
        f"{EVENT_MARGIN_DB:g} dB."
    )


def _row(value: float | None, **more: object) -> Facts:
    fields = {"spread": None if value is None else (value, value), "event": "hot-plug", "severity": "first contact"}
    return Facts((replace(Quantity("event.margin", "red", False, value), **{**fields, **more}),))  # type: ignore[arg-type]


CASES = (
    Case("12 mA against 20 mA", _row(4.4), CONFORMS),
    # 20 log10(0.02 / 3.5) = -44.9 dB
    Case("3.5 A against 20 mA", _row(-44.9), DOES_NOT_CONFORM),
    Case("1 dB to spare: the models are uncertain by more", _row(1.0), NOT_PROVEN),
    Case("rating unknown: the strictest breaks, the loosest holds", _row(-6.0, spread=(-6.0, 20.0)), NOT_PROVEN),
    Case("rating unknown: even the loosest breaks", _row(-30.0, spread=(-30.0, -4.0)), DOES_NOT_CONFORM),
    Case(
        "ample, but beyond the data sheet of the clamp",
        _row(9.0, failure="beyond the data sheet of BAT54S at 2 A", estimate=True),
        NOT_PROVEN,
    ),
    Case("not simulated", _row(None, failure="no convergence"), NOT_PROVEN),
)
