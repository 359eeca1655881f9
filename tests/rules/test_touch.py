"""Touch current, the touch check of service manuals, insulation, and what linked apparatus adds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import hypot, sqrt

import pytest

from guardcheck.engine import Engine
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, Fact, Facts, Finding, Value
from guardcheck.rules import judge_all, tch01_touch_current
from tests.rules.jobs import job, judged


@pytest.mark.parametrize(
    ("standard", "limit", "outcome"),
    [("iec-60950-1", 0.25e-3, DOES_NOT_CONFORM), ("iec-62368-1", 0.5e-3, NOT_PROVEN)],
)
def test_the_named_standard_flips_the_verdict(standard: str, limit: float, outcome: str, engine: Engine) -> None:
    """4.7 nF at 230 V, 0.339 mA: over IEC 60950-1, within IEC 62368-1; declared, so never proven."""
    found = judged(job(standard=standard), engine)["TCH01/touch.current/unit"]
    assert found.value == pytest.approx(0.3386e-3, rel=2e-3)
    assert (found.high, found.outcome, found.needed) == (limit, outcome, True)
    assert "IEC 62368-1" in found.why + (found.reference or "")
    assert "IEC 60950-1" in found.why + (found.reference or "")


def test_joining_adds(engine: Engine) -> None:
    found = judged(job(standard="iec-62368-1"), engine)
    assert found["TCH01/touch.current/joined"].value == pytest.approx(0.677e-3, rel=2e-3)
    assert found["TCH01/touch.current/joined"].outcome == DOES_NOT_CONFORM
    assert found["TCH01/touch.current/unit"].outcome == NOT_PROVEN


def test_symmetric_pair_halves_and_unknown_is_taken_at_the_worst(engine: Engine) -> None:
    values = {
        coupling: judged(job(coupling=coupling), engine)["TCH01/touch.current/unit"]
        for coupling in ("symmetric", "single", "unknown")
    }
    assert values["symmetric"].value == pytest.approx((values["single"].value or 0.0) / 2, rel=1e-3)
    assert values["unknown"].value == values["single"].value
    assert "not declared, worst usual value used: coupling of unit" in values["unknown"].why


def test_decided_at_eleven_tenths_of_the_mains(engine: Engine) -> None:
    """3.3 nF draws 0.238 mA at 230 V, within 0.25 mA; at 253 V it does not."""
    found = judged(job(standard="iec-60950-1", y="3.3 nF"), engine)["TCH01/touch.current/unit"]
    assert found.value is not None
    assert found.value < 0.25e-3
    assert found.outcome == DOES_NOT_CONFORM


def test_an_unknown_capacitance_is_shown_at_its_worst_and_fails_nothing(engine: Engine) -> None:
    found = judged(job(standard="iec-60950-1", y="unknown"), engine)["TCH01/touch.current/unit"]
    assert found.value == pytest.approx(0.3386e-3, rel=2e-3)
    assert found.outcome == NOT_PROVEN
    assert found.spread is not None
    assert found.spread[0] < 0.25e-3


def test_a_standard_nobody_knows_is_named_with_its_nearest(engine: Engine) -> None:
    found = judged(job(standard="iec-62368"), engine)["TCH01/touch.current/unit"]
    assert found.outcome == NOT_PROVEN
    assert "did you mean 'iec-62368-1'?" in found.why


def test_class_three_or_unknown_is_held_to_the_stricter_class() -> None:
    facts = job(standard="iec-60950-1")
    for word in ("II", "III", "unknown"):
        supply = {**facts.supply, "protection_class": word}
        (found,) = (one for one in judge_all(replace(facts, supply=supply)) if one.id == "TCH01/touch.current/unit")
        assert found.high == 0.25e-3
    supply = {**facts.supply, "protection_class": "I"}
    (found,) = (one for one in judge_all(replace(facts, supply=supply)) if one.id == "TCH01/touch.current/unit")
    assert found.high == 3.5e-3


def touch_reading(milliamps: float) -> dict[str, object]:
    return {
        "value": Value.exact(milliamps * 1e-3, "A"),
        "accuracy": "2% + 5 counts",
        "resolution": Value.exact(1e-6, "A"),
    }


@pytest.mark.parametrize(
    ("milliamps", "outcome"), [(0.10, CONFORMS), (0.215, CONFORMS), (0.23, NOT_PROVEN), (0.30, DOES_NOT_CONFORM)]
)
def test_a_measured_touch_current_can_prove_it(milliamps: float, outcome: str) -> None:
    """Judged at 1.1 x: 0.215 mA becomes 0.2365 mA ± 12 uA, within 0.25 mA; 0.23 mA becomes 0.253 mA: too close."""
    facts = Facts(supply={"touch_reading": touch_reading(milliamps)}, settings={"touch_standard": "iec-60950-1"})
    found = {one.id: one for one in judge_all(facts)}["TCH01/touch.current/unit"]
    assert found.outcome == outcome
    assert found.value == pytest.approx(milliamps * 1e-3)


def test_two_measured_currents_prove_the_joined_one_unless_more_is_linked() -> None:
    reading = touch_reading(0.05)
    facts = Facts(supply={"touch_reading": reading}, display={"touch_reading": reading})
    found = {one.id: one for one in judge_all(facts)}["TCH01/touch.current/joined"]
    assert (found.value, found.outcome) == (pytest.approx(0.1e-3), CONFORMS)
    linked = replace(facts, declared=(Fact("link", 0, "amplifier", {"to": "amplifier", "carries": "audio"}),))
    again = {one.id: one for one in judge_all(linked)}["TCH01/touch.current/joined"]
    assert again.outcome == NOT_PROVEN


# Service manuals: 1.5 kohm parallel 0.15 uF, at most 0.75 V rms. By Ohm's law at 50 Hz |Z| is
# 1500 / sqrt(1 + 0.0707^2) = 1496.3 ohm, so 0.21 V is 140.4 uA; 2.2 nF from 230 V drives 159 uA = 0.2378 V.
def service(volts: float, **more: object) -> dict[str, object]:
    meter = {"accuracy": "1.5% + 5 counts", "resolution": Value.exact(1e-3, "V")}
    ways = {"both_plug_ways": True, "isolating_transformer": False}
    return {"value": Value.exact(volts, "V"), **ways, **meter, **more}


def with_service(volts: float, engine: Engine, **more: object) -> Mapping[str, Finding]:
    facts = job(y="2.2 nF", standard="en-50678")
    return judged(replace(facts, supply={**facts.supply, "service_reading": service(volts, **more)}), engine)


def test_the_touch_check_of_service_manuals_is_judged_and_simulated_for_the_unit(engine: Engine) -> None:
    found = with_service(0.21, engine)
    check, current = found["SRV01/touch.voltage/unit"], found["TCH01/touch.current/unit"]
    assert (check.outcome, check.high, check.kind) == (CONFORMS, 0.75, "person")
    assert "The declared Y capacitance alone makes 238 mV." in check.why
    assert current.value == pytest.approx(140.4e-6, rel=1e-3)
    assert (current.outcome, current.high) == (CONFORMS, 0.5e-3)
    assert "second-hand" in (current.reference or "")
    # 1.5 % + 5 mV of the meter as one bound, 5 % of the network beside it: uniform, k = 2 (JCGM 100)
    assert check.uncertainty == pytest.approx(2.0 * hypot(0.015 * 0.21 + 5e-3, 0.05 * 0.21) / sqrt(3.0), rel=1e-3)


@pytest.mark.parametrize(
    ("volts", "more", "outcome"),
    [
        (0.90, {}, DOES_NOT_CONFORM),
        (0.90, {"isolating_transformer": True}, DOES_NOT_CONFORM),
        (0.74, {}, NOT_PROVEN),
        (0.21, {"isolating_transformer": True}, NOT_PROVEN),
        (0.21, {"isolating_transformer": "unknown"}, NOT_PROVEN),
        (0.21, {"both_plug_ways": False}, NOT_PROVEN),
    ],
)
def test_a_touch_check_done_otherwise_can_fail_and_never_conform(
    volts: float, more: dict[str, object], outcome: str, engine: Engine
) -> None:
    found = with_service(volts, engine, **more)
    assert found["SRV01/touch.voltage/unit"].outcome == outcome
    if more:
        assert found["TCH01/touch.current/unit"].outcome != CONFORMS


@pytest.mark.parametrize(
    ("span", "volts", "outcome"),
    [(200e6, 500.0, CONFORMS), (60e6, 1.0, NOT_PROVEN), (None, 500.0, NOT_PROVEN), (1.5e6, 500.0, NOT_PROVEN)],
)
def test_insulation_over_range_proves_the_range_end_at_the_testers_voltage(
    span: float | None, volts: float, outcome: str
) -> None:
    """2 Mohm is wanted of class II, 1 Mohm of class I (EN 50678, second-hand): 1.5 Mohm suits the second alone."""
    reading = {"value": "over range", "test_voltage": Value.exact(volts, "V")}
    if span is not None:
        reading["meter_range"] = Value.exact(span, "ohm")
    for klass, low in (("II", 2e6), ("I", 1e6)):
        facts = Facts(supply={"protection_class": klass, "insulation_reading": reading})
        (found,) = (one for one in judge_all(facts) if one.quantity == "insulation.resistance")
        assert found.low == low
        assert found.outcome == (CONFORMS if (klass, span) == ("I", 1.5e6) else outcome)


def test_links_add_to_the_joined_current(engine: Engine) -> None:
    link = '[[link]]\nto = "amplifier"\ncarries = "audio"\ny_capacitance = "2.2 nF"\ny_coupling = "single"\n'
    found = judged(job(link, standard="iec-62368-1"), engine)
    assert found["TCH01/touch.current/joined"].value == pytest.approx(0.8354e-3, rel=5e-3)
    assert found["LNK01/declared.fact/amplifier"].outcome == NOT_APPLICABLE


def test_another_standard_s_limit_from_memory_says_so() -> None:
    """0.1 V across 500 ohm are 0.2 mA, within 5 mA; that limit of IEC 62368-1 for class I was never read."""
    facts = job(standard="iec-60335-1")
    known = replace(facts, supply={**facts.supply, "protection_class": "I"}, answers={"TCH01/unit": 0.1})
    (found,) = (one for one in judge_all(known) if one.id == "TCH01/touch.current/unit")
    assert "IEC 62368-1 5 mA (within, from memory, unverified)" in found.why
    shown = (one.strip() for one in found.why.partition("Other standards' limits: ")[2].split("),"))
    assert [one for one in shown if one.startswith("IEC 60950-1")] == ["IEC 60950-1 3.5 mA (within"]  # read: no doubt


@pytest.mark.parametrize("missing", ["mains", "mains_frequency"])
def test_without_mains_and_its_frequency_no_current_is_asked_for(missing: str) -> None:
    facts = job(standard="iec-62368-1")
    assert tch01_touch_current.asks(facts)
    supply = {key: value for key, value in facts.supply.items() if key != missing}
    assert tch01_touch_current.asks(replace(facts, supply=supply)) == ()


def test_a_current_on_the_limit_is_within_it() -> None:
    facts = job(standard="iec-62368-1")
    limit = 0.25e-3  # IEC 60950-1, class II, the other limit that is told
    said = [tch01_touch_current._others(facts, "unit", limit * share) for share in (1.0, 1.0 + 1e-9)]
    assert "IEC 60950-1 250 uA (within" in said[0]
    assert "IEC 60950-1 250 uA (over" in said[1]
