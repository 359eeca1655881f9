"""Logic sync: the high and the low level, each against what the receiving input takes for it, in either polarity."""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM
from tests.pipeline.jobs import finding, line, run, text


def job(blank: str, pulse: str, series: str = "47 ohm", guard: str = "none") -> str:
    return text(
        line(
            "sync",
            standard="logic-sync",
            source="logic-pin",
            source_values=f'high = "{blank}", low = "{pulse}", impedance = "50 ohm"',
            stage_values=f'series = "{series}"',
            guard=guard,
        ),
        display="logic-input",
    )


# Monitor service manuals: low up to 0.8 V, high from 2.0 V. The input pulls up to 5 V through 3 kohm, with 100 kohm
# across it, so a source at V behind R stands at (V/R + 5/3000) / (1/R + 1/3000 + 1/1e5)
def at_input(volts: float, ohms: float) -> float:
    return (volts / ohms + 5.0 / 3e3) / (1.0 / ohms + 1.0 / 3e3 + 1.0 / 1e5)


@pytest.mark.parametrize("turned", [False, True], ids=["negative", "positive"])
@pytest.mark.parametrize(
    ("high", "low", "high_outcome", "low_outcome"),
    [
        (5.0, 0.0, CONFORMS, CONFORMS),
        (5.0, 2.8, CONFORMS, DOES_NOT_CONFORM),
        (1.6, 0.0, DOES_NOT_CONFORM, CONFORMS),
        (5.0, 0.7, CONFORMS, DOES_NOT_CONFORM),  # 0.7 V at the pin is 0.832 V at the input that pulls it up
    ],
)
def test_low_and_high_are_judged_apart(
    engine: Engine, high: float, low: float, high_outcome: str, low_outcome: str, turned: bool
) -> None:
    blank, pulse = (low, high) if turned else (high, low)
    result = run(engine, job(f"{blank} V", f"{pulse} V"))
    found = {name: finding(result, f"level.{name}", "sync") for name in ("high", "low")}
    assert found["high"].value == pytest.approx(at_input(high, 97.0), abs=2e-3)
    assert found["low"].value == pytest.approx(at_input(low, 97.0), abs=2e-3)
    assert (found["high"].outcome, found["low"].outcome) == (high_outcome, low_outcome)
    assert found["high"].needed
    assert found["low"].needed


def test_what_a_guard_takes_from_a_logic_signal_is_still_judged(engine: Engine) -> None:
    """A guard's error is read from the swing: a logic signal has no amplitude limit of its own."""
    found = finding(run(engine, job("5 V", "0 V", guard="silicon-pair")), "guard.level_error", "sync", guarded=True)
    assert found.outcome == CONFORMS
    assert found.value == pytest.approx(0.0, abs=1e-3)
