"""Stored charge, hazards and links: what is left, how long to wait, what a board that is off is fed."""

from __future__ import annotations

import pytest

from guardcheck.engine import Engine
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, Fact, Facts, Finding, Value
from guardcheck.rules import judge_all
from tests.rules.jobs import judged


def capacitor(**entries: object) -> dict[str, Finding]:
    facts = Facts(declared=(Fact("capacitor", 0, "C1", entries),))
    return {one.quantity: one for one in judge_all(facts) if one.rule == "STO01"}


BULK = {"capacitance": Value.exact(220e-6, "F"), "voltage": Value.exact(325.0, "V")}
BLEEDER = Value.exact(100e3, "ohm")
VOLTMETER = {"accuracy": "0.5% + 2 counts", "resolution": Value.exact(0.1, "V")}


def test_bleeder_gives_a_time_and_no_proof() -> None:
    found = capacitor(**BULK, bleeder=Value.exact(100e3, "ohm"), connected="internal")
    assert found["stored.wait"].value == pytest.approx(37.2, rel=2e-3)
    assert found["stored.energy"].value == pytest.approx(11.62, rel=1e-3)
    assert found["stored.voltage"].high == 60.0
    assert found["stored.voltage"].outcome == NOT_PROVEN


def test_a_late_reading_does_not_prove_the_plug() -> None:
    read = {"value": Value.exact(5.0, "V"), **VOLTMETER}
    late, soon = (
        capacitor(**BULK, bleeder=bleeder, connected="plug", reading={**read, "after": Value.exact(seconds, "s")})
        for seconds, bleeder in ((30.0, Value.exact(33e3, "ohm")), (1.5, Value.exact(1.5e3, "ohm")))
    )
    assert late["stored.voltage"].outcome == NOT_PROVEN
    assert soon["stored.voltage"].outcome == CONFORMS
    inside = capacitor(**BULK, bleeder=BLEEDER, reading={**read, "after": Value.exact(120.0, "s")})
    assert inside["stored.voltage"].outcome == CONFORMS


def test_a_reading_the_declared_decay_rules_out_proves_nothing() -> None:
    """By hand: 325 V, 220 uF, 100 kohm, tau 22 s: exp(-10/22) leaves 206 V after 10 s, and 1 V was read."""
    read = {"value": Value.exact(1.0, "V"), "after": Value.exact(10.0, "s"), **VOLTMETER}
    found = capacitor(**BULK, bleeder=BLEEDER, reading=read)["stored.voltage"]
    assert found.outcome == NOT_PROVEN
    assert "the declared values leave 206 V" in found.why
    assert "known voltage" in (found.remedy or "")


@pytest.mark.parametrize("left_out", ["voltage", "capacitance", "bleeder"])
def test_leaving_a_declaration_out_does_not_make_a_doubtful_reading_good(left_out: str) -> None:
    entries = {**BULK, "bleeder": BLEEDER}
    entries.pop(left_out)
    read = {"value": Value.exact(1.0, "V"), "after": Value.exact(10.0, "s"), **VOLTMETER}
    assert capacitor(**entries, reading=read)["stored.voltage"].outcome == NOT_PROVEN


def test_a_reading_needs_its_time() -> None:
    read = {"value": Value.exact(12.0, "V"), **VOLTMETER}
    found = capacitor(**BULK, bleeder=BLEEDER, reading=read)["stored.voltage"]
    assert found.outcome == NOT_PROVEN
    assert "how long after unplugging" in found.why
    high = capacitor(**BULK, bleeder=BLEEDER, reading={**read, "value": Value.exact(200.0, "V")})["stored.voltage"]
    assert high.outcome == DOES_NOT_CONFORM  # a dangerous reading needs no time


def test_a_low_voltage_capacitor_needs_no_bleeder() -> None:
    read = {"value": Value.exact(0.3, "V"), "after": Value.exact(60.0, "s"), **VOLTMETER}
    found = capacitor(capacitance=Value.exact(1e-3, "F"), voltage=Value.exact(12.0, "V"), reading=read)
    assert found["stored.voltage"].outcome == CONFORMS


@pytest.mark.parametrize(
    ("after", "accuracy", "remedy"),
    [
        (0.70, "0.05 V", "measure it with a better meter"),
        (0.90, "0.05 V", "set it again, and measure it with a better meter"),
        (0.90, "0.001 V", "set it again and measure"),
        (0.70, None, "state the instrument's accuracy"),
    ],
)
def test_a_meter_too_coarse_for_the_tolerance_is_not_cured_by_turning(
    after: float, accuracy: str | None, remedy: str
) -> None:
    """Wanted 0.70 V 5 %, 35 mV either way; a half-width of 50 mV is U = 2 * 50 / sqrt(3) = 57.7 mV (JCGM 100)."""
    entries = {
        "quantity": "video level",
        "before": Value.exact(0.66, "V", text="0.66 V"),
        "target": Value(0.70, "V", 0.665, 0.735, text="0.70 V 5%"),
        "after": Value.exact(after, "V", text=f"{after} V"),
        "accuracy": accuracy,
    }
    facts = Facts(declared=(Fact("setpoint", 0, "VR1", entries),))
    found = next(one for one in judge_all(facts) if one.rule == "SET01")
    assert (found.remedy or "").startswith(remedy)


def test_small_capacitors_are_harmless_at_more_volts() -> None:
    found = capacitor(capacitance=Value.exact(4.7e-9, "F"), voltage=Value.exact(325.0, "V"))
    assert found["stored.voltage"].high == pytest.approx(912.5, rel=1e-3)
    assert found["stored.voltage"].outcome == NOT_PROVEN  # declared, not measured


def test_capacitance_counts_with_its_tolerance() -> None:
    plain = capacitor(capacitance=Value.exact(250e-9, "F"), voltage=Value.exact(64.0, "V"))
    wide = capacitor(capacitance=Value(250e-9, "F", 200e-9, 300e-9), voltage=Value.exact(64.0, "V"))
    assert plain["stored.voltage"].outcome == NOT_PROVEN
    assert wide["stored.voltage"].outcome == DOES_NOT_CONFORM


def hazards(**entries: object) -> list[Finding]:
    facts = Facts(declared=(Fact("hazards", 0, "hazards", {"others": False} | entries),))
    return [one for one in judge_all(facts) if one.rule == "HAZ01"]


def test_class_one_says_nothing_with_the_lid_switch_bridged() -> None:
    found = hazards(laser=True, laser_wavelength=Value.exact(780e-9, "m"), interlock_defeated=True)
    assert DOES_NOT_CONFORM in {one.outcome for one in found}
    assert any("label says nothing" in one.why for one in found)


@pytest.mark.parametrize("key", ["mains_inside", "crt", "battery", "interlock_defeated", "hot_air", "lithium_cell"])
def test_every_caution_ends_in_deference(key: str) -> None:
    (found,) = hazards(**{key: True})
    assert "ocal codes" in found.why or "licensed" in found.why
    (unknown,) = hazards(**{key: "unknown"})
    assert unknown.outcome == NOT_PROVEN


def test_a_primary_is_settled_by_its_capacitor() -> None:
    (alone,) = hazards(switch_mode_primary=True)
    assert alone.outcome == NOT_PROVEN
    opened = Fact("hazards", 0, "h", {"switch_mode_primary": True, "others": False})
    facts = Facts(declared=(opened, Fact("capacitor", 0, "C1", BULK)))
    (settled,) = (one for one in judge_all(facts) if one.rule == "HAZ01")
    assert settled.outcome == NOT_APPLICABLE


def link(engine: Engine, series: float, load: float | None) -> dict[str, Finding]:
    entries = {
        "to": "disc board",
        "drive": Value.exact(5.0, "V"),
        "series": Value.exact(series, "ohm"),
        "supply": Value.exact(5.0, "V"),
        "clamp_current": Value.exact(2e-3, "A"),
    } | ({} if load is None else {"load": Value.exact(load, "ohm")})
    facts = Facts(declared=(Fact("link", 0, "disc board", entries),))
    return {one.quantity: one for one in judged(facts, engine).values() if one.rule == "LNK01"}


def test_a_link_feeds_the_board_that_is_off(engine: Engine) -> None:
    """Back-powering: the rail stands about one diode below the driver. Source: two chip makers' notes."""
    unloaded = link(engine, 1e3, None)
    assert unloaded["link.rail"].value == pytest.approx(4.4, abs=0.2)
    assert unloaded["link.rail"].outcome == DOES_NOT_CONFORM
    direct = link(engine, 100.0, 100.0)
    assert direct["link.current"].outcome == DOES_NOT_CONFORM
    soft = link(engine, 4.7e3, 100.0)
    assert soft["link.current"].outcome == CONFORMS
    assert soft["link.rail"].outcome == CONFORMS
