"""What lasts and what a supply may do: dead rails, tolerances, coupled outputs, what the chassis voltage rests on."""

from __future__ import annotations

import math

import pytest

from guardcheck.engine import Engine
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Finding
from guardcheck.simulate.stress.bench import bench_of, chassis_of
from tests.events.jobs import DISPLAY, SUPPLY, findings, groups, job_text, plan_of, read

SYMMETRIC, SINGLE = 'y_coupling = "symmetric"\n', 'y_coupling = "single"\n'
MARGIN = "red/guarded/event.margin/hot-plug"


def lone(engine: Engine, text: str, event: str, quantity: str, severity: str, state: str = "bare") -> Finding:
    """Return one finding of the red line."""
    return findings(engine, text, event)[f"red/{state}/event.{quantity}/{event}/{severity}"]


class TestDeadRail:
    def test_a_diode_that_charges_a_dead_rail_is_judged_by_its_surge(self, engine: Engine) -> None:
        """6.6 A for 0.6 ms into 100 uF: 1N4148 data sheets allow 2 A for 1 us, 0.5 A for 1 s; steady it is 75 mA."""
        text = job_text(guard="silicon-pair", guard_values='place = "connector"')
        row = lone(engine, text, "misplug", "part_margin", "5 V", "guarded")
        assert row.outcome == DOES_NOT_CONFORM
        assert row.value is not None
        assert row.value < -20.0
        assert "against 500 mA for 1 s" in row.why
        assert "above 2 A it would be harm" in row.why

    @pytest.mark.parametrize(("load", "outcome"), [("1 A", CONFORMS), ("20 mA", NOT_PROVEN), ("1 mA", NOT_PROVEN)])
    def test_a_dead_rail_has_to_stay_dead(self, engine: Engine, load: str, outcome: str) -> None:
        """5 V through 1 kohm: 4.4 mA lift 5 ohm by 22 mV, 250 ohm by 0.9 V, 5 kohm to 3.6 V (less than 5.5 V)."""
        text = job_text(
            supply=SUPPLY.replace("100 mA", load) + SINGLE,
            stage_values='series = "1 kohm"',
            pin='{ family = "hc-logic" }',
        )
        row = lone(engine, text, "back-power", "margin", "logic 5 V")
        assert row.outcome == outcome
        if outcome == NOT_PROVEN:
            assert "run half-powered" in row.why
            assert "300 mV" in row.why
            assert "common practice, no published source" in row.why

    def test_a_dead_rail_above_the_highest_supply_does_not_conform(self, engine: Engine) -> None:
        text = job_text(
            supply=SUPPLY.replace("100 mA", "1 mA") + SINGLE,
            stage_values='series = "1 kohm"',
            pin='{ family = "hc-logic" }',
        )
        row = lone(engine, text, "misplug", "margin", "12 V")
        assert row.outcome == DOES_NOT_CONFORM


class TestEnds:
    def test_the_rail_stands_at_the_stressing_end_of_its_tolerances(self) -> None:
        supply = SUPPLY.replace('"100 uF"', '"2 uF 90%"').replace('"100 mA"', '"100 mA 20%"')
        supply = supply.replace('"0.1 ohm"', '"0.1 ohm 50%"').replace('"5.5 V"', '"5.5 V 2%"').replace("5 V", "5 V", 1)
        bench = bench_of(read(job_text(supply=supply + SINGLE)), plan_of(read(job_text())).rail)
        assert bench.rail.capacitance == pytest.approx(0.2e-6)
        assert bench.rail.load == pytest.approx(5.0 / 0.08)
        assert bench.rail.esr == pytest.approx(0.15)
        assert bench.rail_max == pytest.approx((5.39, 5.39))
        assert bench.dead_rails[0].capacitance == pytest.approx(3.8e-6)

    def test_mains_and_y_capacitance_stand_at_their_high_end(self) -> None:
        supply = SUPPLY.replace('"230 V"', '"230 V 10%"').replace('"4.7 nF"', '"4.7 nF 20%"')
        found = chassis_of(read(job_text(supply=supply + SINGLE)))
        assert found.volts == pytest.approx(253.0 * math.sqrt(2.0), rel=1e-3)
        assert found.capacitance == pytest.approx(1.0 / (1.0 / 5.64e-9 + 1.0 / 4.7e-9), rel=1e-3)
        assert len(found.ends) == 2

    def test_the_lift_is_that_of_the_smallest_capacitance_and_says_so(self, engine: Engine) -> None:
        def lifted(capacitance: str) -> Finding:
            text = job_text(
                supply=SUPPLY.replace('"100 uF"', f'"{capacitance}"') + SINGLE,
                guard="silicon-pair",
                guard_values='place = "connector"',
            )
            found = findings(engine, text, "hot-plug")
            assert ("rail capacitance at 200 nF" in found[f"{MARGIN}/first contact"].why) == ("%" in capacitance)
            return found["red/guarded/event.rail/hot-plug/first contact"]

        assert lifted("2 uF 90%").value == pytest.approx(lifted("0.2 uF").value, rel=1e-3)

    def test_both_ends_of_the_rail_are_tried(self, engine: Engine) -> None:
        """100 mA of load at 5 V hold 4.75 to 5.25 V before anything is lifted."""
        supply = SUPPLY.replace('"5 V"', '"5 V 5%"') + SINGLE
        found = findings(engine, job_text(supply=supply, stage_values='series = "1 kohm"'), "short-to-ground")
        rail = found["red/bare/event.rail/short-to-ground/continuous"]
        assert rail.value == pytest.approx(5.0, abs=1e-3)
        assert rail.spread == pytest.approx((5.0, 5.25), abs=1e-3)
        row = found["red/bare/event.margin/short-to-ground/continuous"]
        assert "rail at 4.75 V and at 5.25 V as well" in row.why

    def test_a_rail_that_stands_at_its_highest_is_not_lifted_by_a_short(self, engine: Engine) -> None:
        supply = SUPPLY.replace('"5 V"', '"5 V 10%"') + SINGLE
        row = lone(
            engine,
            job_text(supply=supply, stage_values='series = "1 kohm"'),
            "short-to-ground",
            "margin",
            "continuous",
        )
        assert row.outcome == CONFORMS


class TestWhatTheChassisRestsOn:
    def test_phases_nobody_declared_are_said(self, engine: Engine) -> None:
        text = job_text(supply=SUPPLY + SYMMETRIC, display=DISPLAY + SYMMETRIC)
        row = lone(engine, text, "hot-plug", "margin", "first contact")
        assert "both on one phase, not declared" in row.why
        assert "65.1 V crest between the two 0 V" in row.why  # pairs of 20 %, opposed

    def test_declared_phases_and_single_capacitors_need_no_such_words(self) -> None:
        supply = SUPPLY + SINGLE + 'phases = "same"\n'
        assert chassis_of(read(job_text(supply=supply))).notes == ()


class TestCoupledOutput:
    def test_a_shorted_coupled_output_delivers_the_swing_of_the_picture(self, engine: Engine) -> None:
        """2 V through 75 ohm: 26.7 mA (handbook arithmetic of a short behind the back-match), less 1 mohm."""
        text = job_text(
            source_values='white = "2 V", impedance = "1 mohm"',
            stage="ac-coupled",
            stage_values='capacitor = "220 uF", series = "75 ohm"',
        )
        found = findings(engine, text, "short-to-ground")
        current = found["red/bare/event.pin_current/short-to-ground/continuous"]
        assert current.value == pytest.approx(2.0 / 75.0, rel=0.01)
        row = found["red/bare/event.margin/short-to-ground/continuous"]
        # nobody states what this output may deliver: 20 to 100 mA are the bounds seen
        assert row.outcome == NOT_PROVEN
        assert row.value == pytest.approx(20.0 * math.log10(20.0 / 26.67), abs=0.1)
        assert "the coupling capacitor charged for its lowest" in row.why

    def test_a_picture_through_a_short_heats_the_resistor(self, engine: Engine) -> None:
        """A square wave of 2 V between its extremes has 1 V rms: 1/75 W."""
        job = read(
            job_text(
                source_values='white = "2 V", impedance = "1 mohm"',
                stage="ac-coupled",
                stage_values='capacitor = "220 uF", series = "75 ohm"',
            )
        )
        found = groups(engine, job, ["short-to-ground"])
        powers = [
            power
            for group in found
            if group.event.name == "short-to-ground"
            for one in group.good
            for power in one.powers
        ]
        assert max(one.watts for one in powers) == pytest.approx(1.0 / 75.0, rel=0.02)


def test_silence_about_the_protection_class_is_unknown_and_said() -> None:
    """Equal symmetric pairs float at half the mains; an earthed unit stands at 0: 115 V rms, 162.6 V crest, between."""
    pair = 'y_coupling = "symmetric"\n'
    floating, silent, unknown = (
        chassis_of(read(job_text(supply=supply + pair, display=DISPLAY + pair)))
        for supply in (
            SUPPLY,
            SUPPLY.replace('protection_class = "II"\n', ""),
            SUPPLY.replace('protection_class = "II"', 'protection_class = "unknown"'),
        )
    )
    assert silent.volts == pytest.approx(230.0 / 2.0 * math.sqrt(2.0), rel=0.25)
    assert floating.volts < 0.5 * silent.volts
    assert silent == unknown
    assert any("unit earthed or not, the worse" in one for one in silent.assumed)
    assert not any("unit earthed" in one for one in floating.assumed)
    assert "supply.protection_class" in silent.open
    assert "supply.protection_class" not in floating.open


@pytest.mark.parametrize("none", ['"0 F"', '"5 pF"'])
def test_a_supply_without_y_capacitors_still_couples_through_its_windings(none: str) -> None:
    """Nothing but a battery couples by nothing: 1 nF of windings in series with 4.7 nF is 825 pF, at up to 325 V."""
    bare = SUPPLY.replace('"4.7 nF"', none) + SYMMETRIC
    found = chassis_of(read(job_text(supply=bare, display=DISPLAY + SINGLE)))
    assert found.capacitance == pytest.approx(1.0 / (1.0 / 1e-9 + 1.0 / 4.7e-9), rel=1e-3)
    assert found.volts == pytest.approx(230.0 * math.sqrt(2.0), rel=1e-3)
    battery = bare.replace('protection_class = "II"', 'protection_class = "III"')
    assert chassis_of(read(job_text(supply=battery, display=DISPLAY + SINGLE))).capacitance < 10e-12
