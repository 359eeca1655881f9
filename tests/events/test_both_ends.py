"""What nobody knows is judged at both ends: where both fail it fails; only where they differ an answer is owed.

Usual: Y capacitors 0.1 to 4.7 nF, mains 100 to 240 V, windings 50 pF to 1 nF (common practice, no published source).
"""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from guardcheck.model import ASKS, CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, SHORT_CIRCUIT
from guardcheck.simulate.stress.bench import chassis_of
from guardcheck.verdict.asks import asks_of
from tests.events.jobs import DISPLAY, SUPPLY, findings, groups, job_text, read

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


DRIVER = '{{ over_voltage = "0.5 V", under_voltage = "0.5 V", clamp_current = "20 mA", output_current = "50 mA"{} }}'
STIFF = {"source_values": 'white = "4 V", impedance = "10 ohm"', "stage": "pass-through", "stage_values": ""}
HELD = "red/bare/event.margin/short-to-ground/continuous"


class TestDriver:
    """A driver shorted to 0 V gives its short-circuit current: 20 to 100 mA where nobody states it (LS-TTL sheets)."""

    @pytest.mark.parametrize(
        ("stated", "outcome", "decibels"),
        [
            ("", NOT_PROVEN, -6.02),  # 50 mA against 100 mA; against 20 mA there are 8 dB to spare
            (', short_circuit = "30 mA"', CONFORMS, 4.44),
            (', short_circuit = "80 mA"', DOES_NOT_CONFORM, -4.08),
        ],
    )
    def test_its_limit_decides_and_is_asked_for(
        self, engine: Engine, stated: str, outcome: str, decibels: float
    ) -> None:
        found = findings(engine, job_text(**STIFF, pin=DRIVER.format(stated)), "short-to-ground")[HELD]
        assert found.outcome == outcome
        assert found.value == pytest.approx(decibels, abs=0.05)
        assert (SHORT_CIRCUIT in found.codes) == (not stated)
        asked = [one.key for one in asks_of([found])]
        assert asked == ([] if stated else ["red.pin.short_circuit"])

    def test_both_ends_are_said(self, engine: Engine) -> None:
        found = findings(engine, job_text(**STIFF, pin=DRIVER.format("")), "short-to-ground")[HELD]
        assert "20 mA or 100 mA decide it: 7.9 dB and -6.0 dB" in found.why

    def test_where_both_ends_fail_it_fails_and_nothing_is_asked(self, engine: Engine) -> None:
        """10 mA rated: 20 mA are 6 dB above it, 100 mA 20 dB."""
        pin = DRIVER.format("").replace("50 mA", "10 mA")
        found = findings(engine, job_text(**STIFF, pin=pin), "short-to-ground")[HELD]
        assert (found.outcome, SHORT_CIRCUIT in found.codes) == (DOES_NOT_CONFORM, False)
        assert found.value == pytest.approx(-20.0, abs=0.05)

    def test_a_weak_driver_leaves_more_to_the_diodes(self, engine: Engine) -> None:
        """12 V through 220 ohm onto a low driver: 54 mA hold it near 0 V; 20 mA let it rise to the rail's diode.

        There (12 V - 5.8 V) / 220 ohm = 28 mA are forced into the pin, which no margin of its driver speaks of.
        """
        chip = {"source_values": 'white = "0 V", impedance = "1 ohm"', "stage_values": 'series = "220 ohm"'}
        text = job_text(**chip, pin=DRIVER.format("").replace("50 mA", "200 mA"))
        found = [one for one in groups(engine, read(text), ["misplug"]) if one.severity == "12 V"]
        strong, weak = (
            [one.pins[0].stress for one in runs if one.case.unit == "on"] for runs in (found[0].good, found[0].weak)
        )
        assert max(one.injected for one in strong) == 0.0
        assert max(one.delivered for one in strong) == pytest.approx(54e-3, rel=0.03)
        assert max(one.injected for one in weak) == pytest.approx(28e-3, rel=0.05)

    def test_a_driver_that_never_carries_so_much_is_run_once(self, engine: Engine) -> None:
        """1 V behind 10 ohm and 75 ohm into a short are 12 mA."""
        text = job_text(source_values='white = "1 V", impedance = "10 ohm"', pin=DRIVER.format(""))
        found = [one for one in groups(engine, read(text), ["short-to-ground"]) if one.event.name == "short-to-ground"]
        assert all(one.weak == [] for one in found)


def test_latch_up_asks_only_for_what_could_settle_it(engine: Engine) -> None:
    """65 V behind 2.35 nF through 85 ohm are some 0.7 A: neither end keeps to a test of 20 mA, one of 2 A both do."""
    pin = '{ clamp_current = "5 mA", over_voltage_if_current_kept = true, hbm = "2 kV", latch_up = "%s" }'

    def codes(latch_up: str) -> tuple[str, tuple[str, ...]]:
        text = job_text(supply=SUPPLY + OPEN, display=DISPLAY + OPEN, pin=pin % latch_up)
        row = findings(engine, text, "hot-plug")["red/bare/event.latch_up/hot-plug/first contact"]
        return row.outcome, tuple(one for one in row.codes if one.startswith(ASKS))

    assert codes("20 mA") == (NOT_PROVEN, ())
    outcome, asked = codes("1 A")
    assert outcome == NOT_PROVEN
    assert f"{ASKS}supply.y_coupling" in asked
    assert codes("5 A") == (CONFORMS, ())


def test_beside_amperes_the_driver_is_not_run_again(engine: Engine) -> None:
    """325 V through 85 ohm are some 3 A in the diode; 80 mA more or less of driver are 3 % of it."""
    text = job_text(source_values='white = "4 V", impedance = "10 ohm"', pin=DRIVER.format(""))
    found = [one for one in groups(engine, read(text), ["hot-plug"]) if one.event.name == "hot-plug"]
    live = [one for group in found for one in group.good if one.case.unit == "on"]
    assert max(one.drive for one in live) > 0.1 * 0.99
    assert max(one.pins[0].stress.diode_current for one in live) > 1.6
    assert all(one.weak == [] for one in found)
