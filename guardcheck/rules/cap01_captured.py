"""CAP01: timing, burst and noise as a scope shows them.

Hazard
    Sync too narrow or at the wrong rate rolls the picture; a burst of the wrong size or frequency takes its colour.
What is read
    Line period, sync width, porches, edges, burst and noise of each line, from a scope capture or a typed reading.
Limit and source
    The line's standard (guardcheck/standards); each finding names reference and how the value is known.
Not covered
    Field sync and interlace: what the unit sends there is its own, and sets forgive it.
What to do at the bench
    Timing comes from the unit, not from the mod: when it is off, look at the sync path, a missing sync amplifier or a
    capacitor across it, before the unit itself.
"""

from __future__ import annotations

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_PROVEN,
    SIGNAL,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import hold

RULE = Rule(
    code="CAP01",
    title="Timing, burst and noise",
    klass=SIGNAL,
    quantities=(
        "timing.line_period",
        "timing.sync_width",
        "timing.front_porch",
        "timing.back_porch",
        "timing.sync_fall",
        "timing.sync_rise",
        "timing.picture_rise",
        "timing.burst_start",
        "burst.amplitude",
        "burst.frequency",
        "noise.rms",
        "noise.hum",
        "picture.bars",
    ),
)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold every captured quantity against the limit of its line's standard."""
    return hold(RULE, facts)


_WIDTH = Limit("timing.sync_width", 4.5e-6, 4.9e-6, 4.7e-6, "ITU-R BT.470 system B/G: 4.7 us ± 0.2 us", "read")
_LIMITS = {"composite": {"timing.sync_width": _WIDTH}}


def _case(value: float | None, uncertainty: float | None) -> Facts:
    one = Quantity("timing.sync_width", "composite", False, value, origin=MEASURED, uncertainty=uncertainty)
    return Facts((one,), _LIMITS)


CASES = (
    Case("4.7 us, read to 20 ns", _case(4.7e-6, 20e-9), CONFORMS),
    Case("4.0 us, read to 20 ns", _case(4.0e-6, 20e-9), DOES_NOT_CONFORM),
    Case("4.85 us, read to 0.1 us", _case(4.85e-6, 0.1e-6), NOT_PROVEN),
    Case("not captured", _case(None, None), NOT_PROVEN),
)
