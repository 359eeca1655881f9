"""What a diagnosis says: one sentence for the finding, one thing to measure next, one record for other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from string import ascii_lowercase
from typing import Any

from guardcheck.model import QUANTITIES
from guardcheck.units import format_si
from guardcheck.verification.choice import Outcome, Step
from guardcheck.verification.diagnosis import PLANNED, Cause, Explanation, Observation

MOST = 8
"""Causes named in a sentence; the record holds them all."""
AS_PLANNED = "the mod exactly as the job plans it"


PROBES: Mapping[float, str] = {
    10.0: "look at the probe's x1/x10 switch and at the channel's probe setting before you look at the board",
    0.1: "the probe stands on x10 and the scope is set to x1, or the scale was read one step off",
    100.0: "look at the probe's attenuation and at the channel's probe setting before you look at the board",
    0.01: "the probe stands on x100 and the scope is set to x1",
}
"""What a reading that many times the plan asks to be looked at first."""
NEAR = 0.08
"""How close to a power of ten a reading must lie to be taken for the probe's."""


def slips(found: Explanation) -> tuple[str, ...]:
    """Return what is to be looked at before the board: a probe's switch, a reading no such stage can make, a bypass."""
    return tuple(dict.fromkeys(slip for one in found.observations for slip in _slips(found, one)))


def doubted(found: Explanation, quantity: str) -> bool:
    """Tell whether a level looks misread: no fault of this circuit gives the readings, and a slip would give this one.

    Such a reading proves nothing, even inside the limits: behind a x10 probe 2.8 V look like the 0.28 V that are right.
    """
    about = [one for one in found.observations if one.quantity == quantity]
    return not found.causes and any(slip for one in about for slip in _slips(found, one))


def _slips(found: Explanation, one: Observation) -> Iterator[str]:
    """Yield what is to be looked at before the board for one reading."""
    if not one.quantity.startswith("level."):
        return
    seen, planned = abs(one.value), abs(one.planned or 0.0)
    written = format_si(one.value, "V")
    for factor, look in PROBES.items():
        if planned > FEW_VOLTS and abs(seen / (planned * factor) - 1.0) < NEAR:
            yield f"{written} is {factor:g} x the plan: {look}"
    if seen > 1.05 * found.rail + one.uncertainty:
        reach = format_si(found.rail, "V")
        yield f"{written} is above the {reach} this stage has to give: it cannot make it, it was misread"
    elif found.drive and planned < BYPASSED * found.drive and abs(seen / found.drive - 1.0) < NEAR:
        yield (
            f"{written} is what the chip gives with nothing in its way: the stage is not in the path. Unplug the "
            "display now, then look for the wire"
        )


BYPASSED = 0.35
"""A stage that passes less than this share of its source attenuates it; matched ones pass a half."""
FEW_VOLTS = 0.01
"""A plan below this [V] has no factor to be off by."""


def causes_sentence(found: Explanation) -> str:
    """Return what gives the readings, best first, or that none of the simulated faults does; slips of reading first."""
    return " ".join([*(f"{one}." for one in slips(found)), _causes(found)])


def _causes(found: Explanation) -> str:
    if not found.causes:
        return f"None of the {found.simulated} faults simulated in this job's own netlist gives this reading."
    named = "; ".join(f"({letter(place)}) {_cause(found, one)}" for place, one in enumerate(found.causes[:MOST]))
    more = len(found.causes) - MOST
    rest = f"; and {more} more" if more > 0 else ""
    head = "This gives the reading" if len(found.causes) == 1 else "Each of these gives the reading, best first"
    return f"{head} (simulated in this job's own netlist): {named}{rest}."


def next_step(found: Explanation) -> str:
    """Return what to measure next, with what each cause would make it read; slips of reading are looked at first."""
    first = slips(found)
    return "; then ".join((*(one[0].lower() + one[1:] for one in first), _next_step(found)))


def _next_step(found: Explanation) -> str:
    if not found.causes:
        return (
            "read the level again, both with the line open and into its load, and check picture, probe and scale: what "
            "was read fits no single fault of this circuit"
        )
    if found.next is None:
        return (
            "no reading of a level or a resistance tells these apart: look at the parts, their values and joints, and "
            "test the guard's diodes with the power off"
        )
    expect = "; ".join(_expected(found.next, one, len(found.causes)) for one in found.next.outcomes)
    return f"measure {_spoken(found.next.what)}: {expect}"


def _expected(step: Step, one: Outcome, causes: int) -> str:
    shown = format_si(one.value, step.unit) if one.value < 1e6 or step.unit != "ohm" else "over range"
    named = [f"({mark})" for mark in _marks(one, causes)]
    if not named:
        return f"{shown} is the plan"
    then = "" if one.then is None else f", told apart by {_spoken(one.then.what)}"
    return f"{shown} points to {named[0] if len(named) == 1 else ', '.join(named[:-1]) + ' or ' + named[-1]}{then}"


def _marks(one: Outcome, causes: int) -> list[str]:
    """Return the marks of the causes a reading points to; the plan, behind them in the list, has none."""
    return [letter(place) for place in one.rivals if place < causes]


def _spoken(what: str) -> str:
    name, _, rest = what.partition(" ")
    return f"the {QUANTITIES[name].title} {rest}" if name in QUANTITIES else what


def letter(place: int) -> str:
    """Return ``a``, ``b`` … ``z``, ``aa`` … for a cause's place in the list."""
    first, last = divmod(place, len(ascii_lowercase))
    return (ascii_lowercase[first - 1] if first else "") + ascii_lowercase[last]


def _what(one: Cause) -> str:
    return AS_PLANNED if one.fault.id == PLANNED else one.fault.what


def _cause(found: Explanation, one: Cause) -> str:
    values = [format_si(value, QUANTITIES[seen.quantity].unit) for seen, value in _pairs(found, one)]
    return f"{_what(one)} ({', '.join(values)})"


def _pairs(found: Explanation, one: Cause) -> list[tuple[Any, float]]:
    return list(zip(found.observations, one.values, strict=True))


def record(found: Explanation) -> Mapping[str, Any]:
    """Return the whole explanation in JSON's own types, for `Result.extra`."""
    return {
        "line": found.line,
        "guarded": found.guarded,
        "simulated": found.simulated,
        "readings": [
            {
                "quantity": one.quantity,
                "value": one.value,
                "uncertainty": one.uncertainty,
                "bench": one.bench,
                "planned": one.planned,
            }
            for one in found.observations
        ],
        "causes": [
            {"id": one.fault.id, "mark": letter(place), "what": _what(one), "values": list(one.values)}
            for place, one in enumerate(found.causes)
        ],
        "next": None if found.next is None else _step(found.next, len(found.causes)),
        "slips": list(slips(found)),
        "text": causes_sentence(found),
        "do": next_step(found),
    }


def _step(step: Step, causes: int) -> Mapping[str, Any]:
    return {
        "key": step.key,
        "measure": _spoken(step.what),
        "unit": step.unit,
        "expect": [
            {
                "value": one.value,
                "causes": _marks(one, causes),
                "then": None if one.then is None else _step(one.then, causes),
            }
            for one in step.outcomes
        ],
    }
