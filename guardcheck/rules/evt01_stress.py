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
from guardcheck.verdict.outcome import EVENT_MARGIN_DB, NO_BOUND, finding, judge_margin, worst

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
OF_PIN = ("event.margin", "event.latch_up")
"""The margins in which a mod may not be worse than the original in daily use; a part of its own can be replaced."""
GRADE = "event.withstands"
WORDS = {CONFORMS: "holds", NOT_PROVEN: "not proven", DOES_NOT_CONFORM: "exceeded", NOT_APPLICABLE: "not applicable"}
RULE = Rule(code="EVT01", title="Stress at the pin", klass=SAFETY, quantities=(*MARGINS, GRADE, *SHOWN), kind=WITHSTAND)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every margin and show every other quantity of the stress events."""
    named = tuple(facts.named(MARGINS))
    judged = [_margin(facts, one) for one in named]
    graded = _grades(named, judged)
    shown = [finding(RULE.code, one, None, needed=False) for one in facts.named(SHOWN)]
    return (*judged, *graded, *shown)


Strike = tuple[str | None, bool | None, str]
"""A line, bare or guarded, and an event."""


def _grades(named: Sequence[Quantity], judged: Sequence[Finding]) -> list[Finding]:
    """Return one row for every strike on every line: the hardest of its levels up to which all of them hold."""
    levels: dict[Strike, dict[str, list[str]]] = {}
    originals: dict[Strike, dict[str, list[str]]] = {}
    for quantity, one in zip(named, judged, strict=True):
        if one.use == STRIKE and one.event is not None and one.severity is not None:
            key = (one.line, one.guarded, one.event)
            levels.setdefault(key, {}).setdefault(one.severity, []).append(one.outcome)
            if quantity.against_original is not None:
                theirs = quantity.original_spread
                holds = theirs is not None and judge_margin(theirs[0]) == CONFORMS
                outcome = CONFORMS if holds else NOT_PROVEN
                originals.setdefault(key, {}).setdefault(one.severity, []).append(outcome)
    return [_grade(key, found, originals.get(key)) for key, found in levels.items()]


def _held(levels: Mapping[str, Sequence[str]]) -> str | None:
    """Return the hardest level up to which all hold, None where not even the mildest does."""
    held = list(takewhile(lambda pair: worst(pair[1]) == CONFORMS, levels.items()))
    return held[-1][0] if held else None


def _grade(key: Strike, levels: Mapping[str, Sequence[str]], originals: Mapping[str, Sequence[str]] | None) -> Finding:
    line, guarded, event = key
    held = _held(levels)
    over = [*levels].index(held) + 1 if held is not None else 0
    rest = [f"{level} {WORDS[worst(found)]}" for level, found in [*levels.items()][over:]]
    why = "; ".join((*([f"withstands {held}"] if held else []), *rest))
    value = parse(held, "V")[0].nominal if held else None
    quantity = Quantity(GRADE, line or "", guarded, value, event=event, use=STRIKE)
    if originals:
        theirs = _held(originals)
        volts = parse(theirs, "V")[0].nominal if theirs else 0.0
        against = SAME if (value or 0.0) == volts else BETTER if (value or 0.0) > volts else WORSE
        word = {SAME: "the same as", BETTER: "better than", WORSE: "worse than"}[against]
        why += f"; {word} the original build, which withstands {theirs or 'not even ' + next(iter(originals))}"
        quantity = replace(quantity, against_original=against, original=volts)
    made = finding(RULE.code, quantity, None, needed=False)
    outcome = CONFORMS if held else worst(next(iter(levels.values())))
    return replace(made, outcome=outcome, why=f"{why[0].upper()}{why[1:]}.")


def _margin(facts: Facts, one: Quantity) -> Finding:
    limit = one.limit or Limit(one.name, EVENT_MARGIN_DB, None, None, "no rating is known", "practice")
    outcome, why = _outcome(one)
    row = finding(RULE.code, one, limit, needed=facts.decides(one) and one.needed)
    told = _beside_original(one)
    if one.against_original == WORSE and one.use == DAILY and one.name in OF_PIN:
        outcome, why = DOES_NOT_CONFORM, f"{told} A mod must not take daily use worse than the unit did. {why}"
        told = ""
    return replace(row, outcome=outcome, why=" ".join(part for part in (why, told, *one.notes) if part))


def _beside_original(one: Quantity) -> str:
    """Return how a margin stands to that of the maker's build, in words; nothing where there is none to compare."""
    if one.against_original is None or one.value is None or one.original is None:
        return ""
    proven = f"{one.value:.1f} dB against {one.original:.1f} dB by what is proven"
    harms = [pair[1] for pair in (one.spread, one.original_spread) if pair is not None and pair[1] < NO_BOUND]
    harm = f", {harms[0]:.1f} dB against {harms[1]:.1f} dB by what would be harm" if len(harms) == 2 else ""
    word = {SAME: "The same as", BETTER: "Better than", WORSE: "Worse than"}[one.against_original]
    return f"{word} the original build: {proven}{harm}."


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
