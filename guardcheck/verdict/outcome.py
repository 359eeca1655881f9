"""Outcome arithmetic: from numbers and limits to one of the four outcomes, and from many outcomes to one.

The rule everywhere is *no evidence, no pass*. A simulated quantity conforms only if its whole spread lies inside the
limits; a measured one only inside limits moved in by its expanded uncertainty (decision margin w = U, k = 2:
ILAC-G8:09/2019, JCGM 106:2012); an event only with 1.5 dB to spare.
"""

from __future__ import annotations

import math
from collections.abc import Container, Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.formatting import limits, line_rank, reading, share, show, span
from guardcheck.model import (
    ASSUMED,
    COMPUTED,
    CONFORMS,
    DAILY,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    FORBIDDEN,
    MEASURED,
    MISTAKE,
    NOT_APPLICABLE,
    NOT_PROVEN,
    QUANTITIES,
    SIMULATED,
    WITHSTAND,
    WORKMANSHIP,
    Condition,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
    unknown_codes,
)
from guardcheck.model.quantities import unit_of_quantity
from guardcheck.units import settled

EVENT_MARGIN_DB = 1.5
"""Margin an event needs to conform, and lacks to fail: chip models are uncertain by that much (design rule)."""

ASSUMED_FACTOR = 2.0
"""How far below a rating that nobody declared a stress must stay to conform (design rule)."""

AT_LEAST = "at_least"
"""`Quantity.bound` of a reading the true value lies above; the other bound is ``at_most``."""

BOUNDED_BY = "picture"
"""The unknown that turns a reading into a bound: what it still proves is the bound's to say."""

_UNSURE = 1e-9
"""No measurement makes a probability of nothing or of all."""
_SLACK = 1e-9
"""Share of a limit by which a sample may pass it and still lie on it: the noise of the last bits."""

_SEVERITY = (NOT_APPLICABLE, CONFORMS, NOT_PROVEN, DOES_NOT_CONFORM)


@dataclass(frozen=True, slots=True)
class Judgement:
    """An outcome with the sentence that explains it, and what the samples say."""

    outcome: str
    why: str
    interval: tuple[float, float] | None = None
    yield_: float | None = None


def worst(outcomes: Iterable[str]) -> str:
    """Return the worst outcome: does_not_conform, then not_proven, then conforms; not_applicable for none."""
    return max(outcomes, key=_SEVERITY.index, default=NOT_APPLICABLE)


def overall(findings: Iterable[Finding]) -> str:
    """Return the outcome of a whole result: the worst of the needed findings.

    Without one needed finding there is no evidence at all, and the result is not proven. What a condition of use keeps
    away is not needed, so conditions alone leave the outcome as it is.
    """
    needed = [finding.outcome for finding in findings if finding.needed and finding.outcome != NOT_APPLICABLE]
    return worst(needed) if needed else NOT_PROVEN


def misses(one: Finding) -> bool:
    """Tell whether a remedy is worth looking for: it does not conform, or lies outside the workshop's own target."""
    if one.kind != WORKMANSHIP:
        return one.needed and one.outcome == DOES_NOT_CONFORM
    return one.value is not None and one.limit is not None and not inside(one.value, one.limit)


FORBIDDEN_WORDS = "The workshop forbids it: see the label at the socket"


def as_claim(one: Finding, rule: Rule, forbids: Container[str] = ()) -> Finding:
    """Return a finding as the claim it makes: its kind filled in, and what that kind may decide.

    The finding's own kind comes first, then its limit's, then the rule's. Workmanship decides nothing: what misses a
    target that only practice knows is not proven. Of the unit's own strength (withstand), a mistake that is not shown
    to be survived, and an event the workshop `forbids` by label, becomes a condition of use and decides nothing.

    Parameters
    ----------
    one : the finding as its rule made it
    rule : that rule, whose kind of claim is the last resort
    forbids : labels of events the workshop forbids

    """
    kind = one.kind or ("" if one.limit is None else one.limit.kind) or rule.kind
    if kind == WORKMANSHIP:
        missed = one.outcome == DOES_NOT_CONFORM
        why = f"Outside the workshop's target, which is no published limit: {one.why}" if missed else one.why
        return replace(
            one, kind=kind, needed=False, outcome=NOT_PROVEN if missed else one.outcome, why=why, condition=None
        )
    condition: str | None = None
    if kind == WITHSTAND and one.needed and one.outcome in (DOES_NOT_CONFORM, NOT_PROVEN):
        if one.event in forbids:
            condition = one.condition or FORBIDDEN_WORDS
        elif one.use == MISTAKE:
            condition = one.condition
    return replace(one, kind=kind, needed=one.needed and condition is None, condition=condition)


def conditions_of(findings: Iterable[Finding], forbids: Container[str] = ()) -> tuple[Condition, ...]:
    """Return the conditions of use, each once with the lines it is for, what the workshop forbids first.

    What a label forbids is said by the rule for its daily use alone: that of its mistakes is contained in it.
    """
    kept = [one for one in findings if one.condition is not None and one.event is not None]
    daily = {one.event for one in kept if one.use == DAILY and one.event in forbids}
    lines: dict[tuple[str, str], set[str]] = {}
    for one in kept:
        if one.event is not None and one.condition is not None and not (one.event in daily and one.use == MISTAKE):
            lines.setdefault((one.event, one.condition), set())
    for one in kept:
        for event, text in lines:
            if event == one.event and (text == one.condition or one.event in daily):
                lines[event, text].update(() if one.line is None else (one.line,))
    return tuple(
        Condition(event, text, tuple(sorted(named, key=line_rank)), FORBIDDEN if event in forbids else MISTAKE)
        for (event, text), named in sorted(lines.items(), key=lambda pair: (pair[0][0] not in forbids, pair[0]))
    )


def sample_interval(samples: NDArray[np.float64] | None) -> tuple[float, float] | None:
    """Return the 2.5 % and 97.5 % points of samples, shape ``(n,)``; failed samples (NaN) are left out."""
    if samples is None or not np.isfinite(samples).any():
        return None
    low, high = np.nanquantile(samples, [0.025, 0.975])
    return float(low), float(high)


def sample_yield(samples: NDArray[np.float64] | None, limit: Limit) -> float | None:
    """Return the fraction of samples inside the limit; a sample that failed counts as outside."""
    if samples is None or samples.size == 0:
        return None
    low = -math.inf if limit.low is None else limit.low - _SLACK * abs(limit.low)
    high = math.inf if limit.high is None else limit.high + _SLACK * abs(limit.high)
    with np.errstate(invalid="ignore"):
        return float(np.mean((samples >= low) & (samples <= high)))


def _unsolved(samples: NDArray[np.float64] | None) -> str:
    """Return how many of the samples gave no number, in words; empty when each gave one."""
    lost = 0 if samples is None else int(np.count_nonzero(~np.isfinite(samples)))
    return "" if samples is None or not lost else f"{lost} of {samples.size} samples"


def inside(value: float, limit: Limit) -> bool:
    """Tell whether value lies inside the closed limit, both as they are written: a last bit decides nothing."""
    unit = QUANTITIES[limit.quantity].unit if limit.quantity in QUANTITIES else ""
    value = settled(value, unit)
    above = limit.low is None or value >= settled(limit.low, unit)
    return above and (limit.high is None or value <= settled(limit.high, unit))


def _as_written(quantity: Quantity) -> Quantity:
    """Return a quantity with its numbers as they will be saved and shown, so that the judgement is of those."""
    unit = unit_of_quantity(quantity.name)

    def ends(pair: tuple[float, float] | None) -> tuple[float, float] | None:
        return None if pair is None else (settled(pair[0], unit), settled(pair[1], unit))

    return replace(
        quantity,
        value=None if quantity.value is None else settled(quantity.value, unit),
        uncertainty=None if quantity.uncertainty is None else settled(quantity.uncertainty, unit),
        spread=ends(quantity.spread),
        pictures=ends(quantity.pictures),
    )


def _beyond(value: float, limit: Limit) -> str:
    """Return ``is above 0.5 dB``: the end that a value breaks, the whole range behind it where there are two."""
    unit = unit_of_quantity(limit.quantity)
    low = limit.low is not None and value < limit.low
    side, end = ("below", limit.low) if low else ("above", limit.high)
    both = f" ({limits(limit.low, limit.high, unit)})" if None not in (limit.low, limit.high) else ""
    return f"is {side} {show(end, unit)}{both}"


def _missing(quantity: Quantity) -> Judgement:
    reason = quantity.failure or "no value was obtained"
    return Judgement(NOT_PROVEN, f"Not proven: {reason}.")


def judge_simulated(quantity: Quantity, limit: Limit) -> Judgement:
    """Judge a simulated quantity by its nominal, its worst-case spread and its samples [SI].

    A build that could not be solved is one nobody has looked at: with one such sample, nothing conforms.
    """
    if quantity.value is None or not math.isfinite(quantity.value):
        return _missing(quantity)
    unit = unit_of_quantity(quantity.name)
    interval, within = sample_interval(quantity.samples), sample_yield(quantity.samples, limit)
    value, allowed = show(quantity.value, unit), limits(limit.low, limit.high, unit)
    ends = [end for pair in (quantity.spread, interval, quantity.pictures) if pair is not None for end in pair]
    if not inside(quantity.value, limit) and not (quantity.unknowns and _may_be_inside(ends, limit)):
        noun = "limits" if None not in (limit.low, limit.high) else "limit"
        side = "below" if limit.low is not None and quantity.value < limit.low else "above"
        return Judgement(DOES_NOT_CONFORM, f"{value} lies {side} the {noun} ({allowed}).", interval, within)
    if quantity.failure is not None:
        return Judgement(NOT_PROVEN, f"Not proven: {quantity.failure}.", interval, within)
    if not all(math.isfinite(end) for end in ends):
        return Judgement(
            NOT_PROVEN, "Not proven: not every corner of the tolerances could be solved.", interval, within
        )
    lost = _unsolved(quantity.samples)
    each, kinds = ("build", "builds") if quantity.pictures is None else ("build and picture", "builds and pictures")
    over = f" over the usual range of {', '.join(quantity.unknowns)} (unknown)" if quantity.unknowns else ""
    if not all(inside(end, limit) for end in (*ends, quantity.value)):
        low, high = min([*ends, quantity.value]), max([*ends, quantity.value])
        or_not = f" or did not solve ({lost})" if lost else ""
        failing = "" if within is None else f"; {100 * (1 - within):.0f} % of builds would fail{or_not}"
        here = f"{value} is inside" if inside(quantity.value, limit) else f"The middle of the range gives {value}"
        return Judgement(
            NOT_PROVEN,
            f"{here}, but {kinds} from {span((low, high), unit)}{over} cross the limits ({allowed}){failing}.",
            interval,
            within,
        )
    if lost:
        return Judgement(NOT_PROVEN, f"Not proven: {lost} did not solve.", interval, within)
    if limit.known_by == ASSUMED and not all(inside(ASSUMED_FACTOR * end, limit) for end in (quantity.value, *ends)):
        return Judgement(
            NOT_PROVEN,
            f"Not proven: {value} is within {allowed}, but that rating is assumed, and an assumed one proves only what "
            f"keeps to half of it.",
            interval,
            within,
        )
    is_, are = ("lies within", "does") if None not in (limit.low, limit.high) else ("is", "is")
    builds = ""
    if ends and show(min(ends), unit) != show(max(ends), unit):
        builds = f", and so {are} every {each} from {span((min(ends), max(ends)), unit)}{over}"
    return Judgement(CONFORMS, f"{value} {is_} {allowed}{builds}.", interval, within)


def _may_be_inside(ends: list[float], limit: Limit) -> bool:
    """Tell whether a range of unknown values reaches into the limits: then a nominal outside proves nothing."""
    low = -math.inf if limit.low is None else limit.low
    high = math.inf if limit.high is None else limit.high
    return not ends or not all(math.isfinite(end) for end in ends) or (min(ends) <= high and max(ends) >= low)


def judge_measured(value: float, expanded: float, limit: Limit, unit: str) -> Judgement:
    """Judge a measured value with expanded uncertainty `expanded` (k = 2) by the decision margin w = U.

    Conforms inside limit - U, does not conform outside limit + U, not proven between (ILAC-G8:09/2019).

    Parameters
    ----------
    value : the reading, corrected [`unit`]
    expanded : its expanded uncertainty, k = 2 [`unit`]
    limit : bounds [`unit`]
    unit : SI unit of all three

    """
    value, expanded = settled(value, unit), settled(expanded, unit)
    seen = reading(value, expanded, unit)
    allowed = limits(limit.low, limit.high, unit)
    low = -math.inf if limit.low is None else limit.low
    high = math.inf if limit.high is None else limit.high
    low, high = settled(low, unit), settled(high, unit)
    chance = probability_inside(value, expanded / 2.0, limit)
    likely = f"probability of conformity {share(min(max(chance, _UNSURE), 1.0 - _UNSURE))}"
    if low + expanded <= value <= high - expanded:
        return Judgement(CONFORMS, f"{seen} lies within {allowed} by more than its uncertainty ({likely}).")
    if value < low - expanded or value > high + expanded:
        return Judgement(DOES_NOT_CONFORM, f"{seen} {_beyond(value, limit)} by more than its uncertainty ({likely}).")
    return Judgement(NOT_PROVEN, f"{seen} is too close to the limits ({allowed}) for its uncertainty ({likely}).")


def judge_reading(quantity: Quantity, limit: Limit) -> Judgement:
    """Judge a measured quantity; one that is only a bound, or whose circumstances are not known, never conforms.

    A reading that is at least the true value's lower bound can fail high, one that is an upper bound can fail low. A
    value that comes with a failure was seen but proves nothing.
    """
    if quantity.value is None or quantity.failure is not None:
        return _missing(quantity)
    unit = unit_of_quantity(quantity.name)
    if quantity.uncertainty is None:
        return Judgement(NOT_PROVEN, "Not proven: the uncertainty of this reading is not known.")
    judged = judge_measured(quantity.value, quantity.uncertainty, limit, unit)
    unknowns = [word for word in quantity.unknowns if quantity.bound is None or word != BOUNDED_BY]
    if unknowns:
        why = f"{show(quantity.value, unit)} as seen, but the {', '.join(unknowns)} was not declared"
        return Judgement(NOT_PROVEN, f"Not proven: {why}.")
    high = limit.high is not None and quantity.value > limit.high
    if quantity.bound is None or (judged.outcome == DOES_NOT_CONFORM and high == (quantity.bound == AT_LEAST)):
        return judged
    words = "at least" if quantity.bound == AT_LEAST else "at most"
    return Judgement(NOT_PROVEN, f"Not proven: the reading only says {words} {show(quantity.value, unit)}.")


def judge_declared(quantity: Quantity, limit: Limit) -> Judgement:
    """Judge a quantity known only by declaration, or computed from one: it can fail, it never conforms."""
    if quantity.value is None:
        return _missing(quantity)
    unit = unit_of_quantity(quantity.name)
    value, allowed = show(quantity.value, unit), limits(limit.low, limit.high, unit)
    if not inside(quantity.value, limit):
        return Judgement(DOES_NOT_CONFORM, f"{value}, from what was declared, {_beyond(quantity.value, limit)}.")
    return Judgement(NOT_PROVEN, f"{value} lies within {allowed}, but a declaration is not a measurement.")


def probability_inside(value: float, standard_uncertainty: float, limit: Limit) -> float:
    """Return the probability that the true value lies inside the limit, for a normal distribution (JCGM 106).

    Parameters
    ----------
    value : the best estimate [unit of the limit]
    standard_uncertainty : one standard deviation [same unit]
    limit : bounds; an open end is never passed

    """
    if standard_uncertainty <= 0:
        return 1.0 if inside(value, limit) else 0.0

    def below(bound: float) -> float:
        return 0.5 * math.erfc((value - bound) / (standard_uncertainty * math.sqrt(2.0)))

    upper = 1.0 if limit.high is None else below(limit.high)
    lower = 0.0 if limit.low is None else below(limit.low)
    return upper - lower


NO_BOUND = 100.0
"""Margin [dB] from which on a bound is one that nobody knows."""


def judge_margin(margin_db: float) -> str:
    """Return the outcome of an event margin [dB]: at least +1.5 conforms, at most -1.5 does not, between not proven."""
    margin_db = settled(margin_db, "dB")
    if not math.isfinite(margin_db):
        return NOT_PROVEN
    if margin_db >= EVENT_MARGIN_DB:
        return CONFORMS
    return DOES_NOT_CONFORM if margin_db <= -EVENT_MARGIN_DB else NOT_PROVEN


def finding(rule: str, quantity: Quantity, limit: Limit | None, *, needed: bool) -> Finding:
    """Hold one quantity against one limit (or none: then it is shown, and nothing is decided).

    A row that is needed and has neither limit nor value stays not proven; a row without limit is not applicable and
    never needed.

    Parameters
    ----------
    rule : code of the rule that asks
    quantity : what was simulated, measured or computed [SI]
    limit : what it is held against [same unit], None for nothing
    needed : whether it decides anything

    """
    unit = unit_of_quantity(quantity.name)
    written = _as_written(quantity)
    if limit is None and needed and quantity.value is None:
        judged = _missing(quantity)
    elif limit is None:
        why = "No limit applies; shown for information." if quantity.value is not None else _missing(quantity).why
        judged = Judgement(NOT_APPLICABLE, why, sample_interval(quantity.samples))
        needed = False
    elif quantity.origin == SIMULATED:
        judged = judge_simulated(written, limit)
    elif quantity.origin in (DECLARED_ORIGIN, COMPUTED):
        judged = judge_declared(written, limit)
    else:
        judged = judge_reading(written, limit)
    notes = " ".join((judged.why, *quantity.notes))
    return Finding(
        rule=rule,
        quantity=quantity.name,
        line=quantity.line or None,
        guarded=quantity.guarded,
        value=quantity.value,
        unit=unit,
        outcome=judged.outcome,
        why=notes,
        needed=needed,
        limit=limit,
        spread=_finite_pair(quantity.spread),
        interval=judged.interval,
        yield_=judged.yield_,
        uncertainty=quantity.uncertainty,
        origin=quantity.origin,
        estimate=quantity.estimate,
        event=quantity.event,
        severity=quantity.severity,
        where=quantity.where,
        use=quantity.use,
        condition=quantity.condition,
        against_original=quantity.against_original,
        original=quantity.original,
        codes=(*unknown_codes(quantity.unknowns), *quantity.codes),
        bearing=quantity.bearing,
    )


DECLARED_FACT = "declared.fact"
"""The one quantity that may conform without a number: what was declared is right or it is not."""


def flattered(one: Finding) -> str | None:
    """Return why a finding that is said to conform cannot, by its own numbers; None when they bear it out.

    A saved finding may come from anybody. It is held against its own limits once more, as it was when it was made:
    a measured value with its uncertainty, anything else with its whole spread.
    """
    if one.outcome != CONFORMS or (one.quantity == DECLARED_FACT and one.value is None):
        return None
    if one.value is None:
        return "without a value"
    limit = one.limit
    if limit is None or (limit.low is None and limit.high is None):
        return "without a limit"
    if one.origin == MEASURED and one.uncertainty is not None:
        judged = judge_measured(one.value, one.uncertainty, limit, one.unit)
        return None if judged.outcome == CONFORMS else f"with {reading(one.value, one.uncertainty, one.unit)}"
    ends = [one.value, *(one.spread or ()), *(one.interval or ())]
    outside = next((end for end in ends if not inside(end, limit)), None)
    return None if outside is None else f"with {show(outside, one.unit)} against {limits(*one.bounds, one.unit)}"


def hold(rule: Rule, facts: Facts) -> tuple[Finding, ...]:
    """Hold every quantity a rule names against the limit of its line's standard."""
    return tuple(
        finding(rule.code, one, facts.limit(one), needed=facts.decides(one)) for one in facts.named(rule.quantities)
    )


def _finite_pair(pair: tuple[float, float] | None) -> tuple[float, float] | None:
    return pair if pair is not None and all(math.isfinite(end) for end in pair) else None
