"""What nobody knows is judged at both ends: where both fail it fails; only where they differ an answer is owed.

Usual: Y capacitors 0.1 to 4.7 nF, mains 100 to 240 V, windings 50 pF to 1 nF (common practice, no published source).
"""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from guardcheck.model import ASKS, DOES_NOT_CONFORM, NOT_PROVEN
from guardcheck.simulate.stress.bench import chassis_of
from tests.events.jobs import DISPLAY, SUPPLY, findings, job_text, read

OPEN, SINGLE, SYMMETRIC = (f'y_coupling = "{word}"\n' for word in ("unknown", "single", "symmetric"))
EARTHED = "earthed = true\n"
PIN = '{{ over_voltage = "0.5 V", under_voltage = "0.5 V", clamp_current = "20 mA", hbm = "{}" }}'


@pytest.mark.parametrize(
    ("supply", "display", "volts", "farads"),
    [
        # a symmetric pair of 20 % parts, turned the worse way: 0.6 of 325.27 V
        (SUPPLY + OPEN, EARTHED, 195.16, 4.7e-9),
        # 0.6 against 0.4; the two capacitors in series
        (SUPPLY + OPEN, DISPLAY + OPEN, 65.05, 2.35e-9),
        # a plug may be turned, and that is no fact to ask for
        (SUPPLY + SINGLE, DISPLAY + SINGLE, 325.27, 2.35e-9),
        (SUPPLY.replace('"230 V"', '"unknown"') + SINGLE, EARTHED, 141.42, 4.7e-9),
        (SUPPLY.replace('"4.7 nF"', '"unknown"') + SINGLE, EARTHED, 325.27, 0.1e-9),
        # nothing known of the unit's filter: it may be the windings of a transformer
        (SUPPLY.replace('"4.7 nF"', '"unknown"') + OPEN, EARTHED, 195.16, 50e-12),
        # one phase for both, at best
        (SUPPLY + SYMMETRIC + 'phases = "unknown"\n', DISPLAY + SYMMETRIC, 65.05, 2.35e-9),
        (SUPPLY.replace('"II"', '"unknown"') + SINGLE, EARTHED, 0.0, 1e-15),
    ],
)
def test_the_kindest_answers(supply: str, display: str, volts: float, farads: float) -> None:
    found = chassis_of(read(job_text(supply=supply, display=display)))
    assert found.least == pytest.approx(volts, rel=1e-3, abs=1e-9)
    assert found.least_capacitance == pytest.approx(farads, rel=1e-3)


def test_only_what_the_answer_can_change_is_asked(engine: Engine) -> None:
    """195 V and 4.7 nF leave 0.92 uC in a pin that a 200 V human body (20 nC) may strike: an answer changes nothing."""
    text = job_text(supply=SUPPLY + OPEN, display=EARTHED, pin=PIN.format("200 V"))
    fails = findings(engine, text, "hot-plug")["red/bare/event.margin/hot-plug/first contact"]
    assert fails.outcome == DOES_NOT_CONFORM
    assert not [code for code in fails.codes if code.startswith(ASKS)]
    assert "it fails at 195 V behind 4.7 nF as well" in fails.why


def test_where_the_ends_differ_the_answer_is_owed(engine: Engine) -> None:
    """65 V behind 2.35 nF are 0.15 uC, less than the 0.2 uC of the rated 2 kV pulse; 325 V are five times as much."""
    text = job_text(supply=SUPPLY + OPEN, display=DISPLAY + OPEN, pin=PIN.format("2 kV"))
    owed = findings(engine, text, "hot-plug")["red/bare/event.margin/hot-plug/re-contact"]
    assert owed.outcome == NOT_PROVEN
    assert f"{ASKS}supply.y_coupling" in owed.codes
    assert "may stand 65.1 V to 325 V apart" in owed.why
