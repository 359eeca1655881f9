"""What the bench rules must refuse, flag or tell apart; jobs as a technician writes them, run through ngspice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import hypot, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.metrology import LEADS, expanded, interpolate, low_ohms, two_point_factor
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_APPLICABLE,
    NOT_PROVEN,
    OUTCOMES,
    Fact,
    Facts,
    Finding,
    Value,
)
from guardcheck.rules import asks_of, judge_all
from guardcheck.rules.bar01_barriers import material_of
from guardcheck.simulate.probes import answer
from tests.rules.meters import half_width

quiet = settings(derandomize=True, deadline=None, database=None, max_examples=80)

JOB = """
format = 1
{top}
[unit]
label = "DEMO-01"
kind = "16-bit home console (invented)"
[supply]
rail = "5 V"
mains = "230 V"
mains_frequency = "50 Hz"
protection_class = "II"
y_capacitance = "{y}"
y_coupling = "{coupling}"
[display]
input = "terminated"
earthed = {earthed}
y_capacitance = "{y}"
y_coupling = "{coupling}"
{tables}
"""

SHIELD = """
[[bond]]
from = "board shield"
to = "connector shell (unit 0 V)"
purpose = "shield"
[bond.reading]
value = "0.12 ohm"
method = "two-wire"
leads = "0.10 ohm"
accuracy = "1.0% + 2 counts"
resolution = "0.01 ohm"
"""
BAG = """
[[barrier]]
where = "under the add-on board"
material = "metallised shielding bag"
working_voltage = "12 V"
[[barrier.readings]]
face = "inner"
value = "over range"
meter_range = "60 Mohm"
probe_spacing = "1 mm"
test_voltage = "1 V"
"""


def job(tables: str = SHIELD, *, standard: str | None = None, y: str = "4.7 nF", **words: str) -> Facts:
    """Return the facts of a job as the pipeline hands them to the rules."""
    top = "" if standard is None else f'touch_standard = "{standard}"'
    text = JOB.format(top=top, tables=tables, y=y, **{"coupling": "single", "earthed": "false", **words})
    read = parse_job(text)
    return Facts(declared=read.facts, supply=read.supply, display=read.display_facts, settings=read.settings)


def judged(facts: Facts, engine: Engine) -> Mapping[str, Finding]:
    """Return every finding by id, after the probes were run."""
    return {one.id: one for one in judge_all(replace(facts, answers=answer(engine, Library.load(), asks_of(facts))))}


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


# --- bonds -----------------------------------------------------------------------------------------------------------


def test_the_shield_of_the_example_job(engine: Engine) -> None:
    found = judged(job(), engine)
    bond = found["BND01/bond.resistance/board shield to connector shell (unit 0 V)"]
    assert bond.value == pytest.approx(0.02)
    assert bond.outcome == CONFORMS
    assert bond.uncertainty == pytest.approx(expanded(0.0212, 0.021))
    assert "common practice, no published source" in (bond.reference or "")
    assert found["BND01/declared.fact/second bond of board shield"].outcome == NOT_PROVEN
    hum = found["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(169.8e-6 * 0.02, rel=5e-3)
    assert (hum.outcome, hum.needed) == (NOT_APPLICABLE, False)


def test_hum_of_an_open_shield(engine: Engine) -> None:
    """170 uA back through 150 ohm: 25.5 mV rms, 72 mV peak to peak, half of it in 0.7 V. Worked by hand."""
    tables = '[[bond]]\nfrom = "shield"\nto = "shell"\npurpose = "shield"\nstate = "not fitted"\n'
    found = judged(job(tables), engine)
    assert found["HUM01/bond.hum/shield to shell"].value == pytest.approx(25.5e-3, rel=5e-3)
    assert "72 mV peak to peak" in found["HUM01/bond.hum/shield to shell"].why
    assert found["BND01/bond.resistance/shield to shell"].outcome == DOES_NOT_CONFORM


# 2 pi 50 Hz x 2.2 nF x 230 V = 159 uA: all of a single-sided capacitor flows into an earthed unit, whichever way plugs
# are turned; over 10.02 ohm less 20 mohm of leads beside the 150-ohm loop that is 159 uA x 9.375 ohm = 1.49 mV
HUM_OHMS = SHIELD.replace('"0.12 ohm"', '"10.10 ohm"')


@pytest.mark.parametrize(
    ("klass", "amps"), [("I", 158.96e-6), ("II", 79.5e-6), ("unknown", 158.96e-6)], ids=["I", "II", "unknown"]
)
def test_hum_knows_an_earthed_unit_and_the_loop_beside_the_bond(klass: str, amps: float, engine: Engine) -> None:
    """Class II: two capacitors in series, opposed plugs: half of it. R beside 150 ohm: 10 x 150 / 160 = 9.375 ohm."""
    facts = job(HUM_OHMS, y="2.2 nF")
    facts = replace(facts, supply={**facts.supply, "protection_class": klass})
    hum = judged(facts, engine)["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(amps * 9.375, rel=5e-3)


def test_symmetric_supplies_on_one_phase_hum_little(engine: Engine) -> None:
    found = judged(job(coupling="symmetric"), engine)
    hum = found["HUM01/bond.hum/board shield to connector shell (unit 0 V)"]
    assert hum.value == pytest.approx(0.0, abs=1e-8)


def bond(**entries: object) -> Finding:
    """Return the resistance finding of one bond."""
    facts = Facts(declared=(Fact("bond", 0, "x", {"from": "a", "to": "b", "purpose": "shield", **entries}),))
    return next(one for one in judge_all(facts) if one.quantity == "bond.resistance")


def reading(value: float, leads: float | None = None, **more: object) -> dict[str, object]:
    found: dict[str, object] = {
        "value": Value.exact(value, "ohm"),
        "method": "two-wire",
        "accuracy": "1.0% + 2 counts",
        "resolution": Value.exact(0.01, "ohm"),
    }
    return found | ({} if leads is None else {"leads": Value.exact(leads, "ohm")}) | more


@pytest.mark.parametrize(
    ("purpose", "read", "outcome"),
    [
        ("protective-earth", reading(0.35), NOT_PROVEN),  # leads not read: the bond may be anything below
        ("protective-earth", reading(0.05), CONFORMS),  # even with its leads it is below
        ("protective-earth", reading(0.75), DOES_NOT_CONFORM),  # whatever its leads are
        ("protective-earth", reading(0.35, 0.30, resolution=Value.exact(0.1, "ohm")), NOT_PROVEN),
        ("shield", reading(0.10, 0.30), NOT_PROVEN),  # the leads alone cannot read more
        ("shield", {"value": Value.exact(0.2, "ohm"), "leads": Value.exact(0.1, "ohm")}, NOT_PROVEN),  # no accuracy
        ("shield", {"value": Value.exact(40.0, "ohm"), "leads": Value.exact(0.1, "ohm")}, DOES_NOT_CONFORM),
        ("functional-earth", reading(0.5, 0.1), CONFORMS),
    ],
)
def test_bond_readings(purpose: str, read: Mapping[str, object], outcome: str) -> None:
    assert bond(purpose=purpose, reading=read).outcome == outcome


@pytest.mark.parametrize("told", ["chassis, screw over paint", "ground plane under solder mask", "Anodised panel"])
def test_a_screw_on_paint_is_not_proven_by_a_good_reading(told: str) -> None:
    found = bond(to=told, reading=reading(0.12, 0.10))
    assert found.outcome == NOT_PROVEN
    assert found.remedy is not None


def test_nothing_ever_suggests_earthing_a_class_two_unit() -> None:
    entries = {"from": "chassis", "to": "earth pin", "purpose": "protective-earth"}
    for more in ({"reading": reading(0.12, 0.10)}, {"state": "not fitted"}):
        facts = Facts(declared=(Fact("bond", 0, "x", {**entries, **more}),), supply={"protection_class": "II"})
        found = [one for one in judge_all(facts) if one.rule == "BND01"]
        assert [one.quantity for one in found] == ["bond.resistance"]
        assert found[0].outcome != CONFORMS
        assert "must not be given one" in found[0].why
        assert "fit" not in (found[0].remedy or "")


# --- barriers --------------------------------------------------------------------------------------------------------


def test_the_bag_of_the_example_job_is_a_short(engine: Engine) -> None:
    found = judged(job(BAG), engine)
    assert found["BAR01/barrier.resistance/under the add-on board"].outcome == DOES_NOT_CONFORM
    leak = found["BAR01/barrier.leakage/under the add-on board"]
    assert leak.outcome == DOES_NOT_CONFORM
    assert leak.estimate
    assert leak.value == pytest.approx(12.0 / 9.5, rel=1e-3)
    assert "polyimide" in (leak.remedy or "")
    assert "solder tail" in leak.why


def test_over_range_on_a_sheet_proves_the_range_end_and_no_insulation(engine: Engine) -> None:
    found = judged(job(BAG.replace("metallised shielding bag", "polyimide film")), engine)
    resistance = found["BAR01/barrier.resistance/under the add-on board"]
    assert resistance.value == pytest.approx(60e6)
    assert resistance.outcome == NOT_PROVEN
    assert "3.2 decades" in resistance.why
    leak = found["BAR01/barrier.leakage/under the add-on board"]
    assert leak.value == pytest.approx(12.0 / 6e6, rel=1e-3)


@pytest.mark.parametrize(
    ("told", "layers"),
    [
        ("metallised shielding bag", "metal"),
        ("Aluminium foil tape", "metal"),
        ("black conductive foam", "metal"),
        ("silver ESD bag", "metal"),
        ("pink poly bag", "film"),
        ("antistatic bag", "unknown"),
        ("cardboard", "unknown"),
        ("Polyimide film, 0.1 mm", "sheet"),
        ("non-conductive polyimide tape", "sheet"),
        ("pink poly with aluminium layer", "metal"),
        ("polyester mirror film", "metal"),
        ("reflective polyester sheet", "metal"),
        ("chrome polyester film", "metal"),
        ("silvered polyester film", "metal"),
        ("vapour-coated polyester", "metal"),
        ("Vapor coated PET film", "metal"),
        ("polyester holographic film", "unknown"),
        ("non-reflective polyimide film", "sheet"),
        ("amber polyimide tape, 0.05 mm thick, two layers", "sheet"),
    ],
)
def test_materials(told: str, layers: str) -> None:
    assert material_of(told).layers == layers


def barrier(material: str, faces: tuple[str, ...], **more: object) -> dict[str, Finding]:
    one = {
        "value": "over range",
        "meter_range": Value.exact(60e6, "ohm"),
        "probe_spacing": Value.exact(1e-3, "m"),
        "test_voltage": Value.exact(1.0, "V"),
    } | more
    entries = {
        "where": "x",
        "material": material,
        "working_voltage": Value.exact(12.0, "V"),
        "node_resistance": Value.exact(75.0, "ohm"),
        "readings": tuple({**one, "face": face} for face in faces),
    }
    facts = Facts(declared=(Fact("barrier", 0, "x", entries),), answers={"BAR01/x": -2e-6})
    return {found.quantity: found for found in judge_all(facts) if found.rule == "BAR01"}


TESTER = {"meter_range": Value.exact(2e12, "ohm"), "test_voltage": Value.exact(100.0, "V")}


def test_a_sheet_of_unknown_kind_needs_its_makers_designation() -> None:
    faces = ("upper", "lower", "edge")
    mirror = barrier("polyester mirror film", faces, **TESTER)
    assert {one.outcome for one in mirror.values()} == {DOES_NOT_CONFORM}
    nameless = barrier("polyester holographic film", faces, **TESTER)["barrier.resistance"]
    assert (nameless.outcome, nameless.codes) == (NOT_PROVEN, ("barrier-layers",))
    assert "'holographic'" in nameless.why
    assert "`designation`" in nameless.why
    assert barrier("polyester film", faces, **TESTER)["barrier.resistance"].outcome == CONFORMS


@pytest.mark.parametrize(
    ("material", "designation", "layers"),
    [
        ("polyester holographic film", "PX-125 (invented)", "sheet"),
        ("some blue sheet", "PX-125 (invented)", "sheet"),
        ("some blue sheet", "", "unknown"),
        ("some blue sheet", "PX-125 aluminised", "metal"),
        ("antistatic bag", "PX-125 (invented)", "unknown"),
    ],
)
def test_a_designation_settles_a_kind_but_no_bag_and_no_metal(material: str, designation: str, layers: str) -> None:
    assert material_of(material, designation).layers == layers


def test_what_readings_leave_open_has_codes() -> None:
    found = barrier("polyimide film", ("upper",), probe_spacing=Value.exact(0.1, "m"))
    wanted = ("barrier-faces", "barrier-edge", "barrier-spacing", "barrier-voltage", "barrier-open-below")
    assert found["barrier.resistance"].codes == wanted
    film = barrier("pink poly film", ("inner", "edge"))["barrier.leakage"]
    assert film.codes == ("barrier-faces",)


def test_a_film_takes_the_leak_route_only_when_read_all_over() -> None:
    whole = barrier("pink poly film", ("inner", "outer", "edge"))
    assert whole["barrier.leakage"].outcome == CONFORMS
    assert not whole["barrier.resistance"].needed
    assert barrier("pink poly film", ("inner", "outer"))["barrier.leakage"].outcome == NOT_PROVEN
    assert barrier("pink poly film", ("inner", "edge"))["barrier.leakage"].outcome == NOT_PROVEN
    far = barrier("pink poly film", ("inner", "outer", "edge"), probe_spacing=Value.exact(0.1, "m"))
    assert far["barrier.leakage"].outcome == NOT_PROVEN


def test_a_film_that_conducts_is_no_film() -> None:
    found = barrier("pink poly film", ("inner", "outer", "edge"), value=Value.exact(5e3, "ohm"))
    assert found["barrier.resistance"].outcome == DOES_NOT_CONFORM
    assert found["barrier.resistance"].needed


def test_a_bag_is_never_insulation_by_any_meter() -> None:
    tester = {"meter_range": Value.exact(2e12, "ohm"), "test_voltage": Value.exact(100.0, "V")}
    found = barrier("antistatic bag", ("inner", "outer", "edge"), **tester)
    assert found["barrier.resistance"].outcome == NOT_PROVEN
    assert found["barrier.leakage"].outcome == NOT_PROVEN


@given(st.text(max_size=60))
@quiet
def test_any_name_of_a_material_is_read_and_never_conforms_by_name(told: str) -> None:
    assert material_of(told).layers in ("metal", "film", "unknown", "sheet")
    assert barrier(told, ())["barrier.leakage"].outcome != CONFORMS
    assert barrier(told, ())["barrier.resistance"].outcome != CONFORMS


# --- stored charge, hazards, links -----------------------------------------------------------------------------------


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


# --- arithmetic ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "reading_", "resolution", "full", "expected"),
    [
        ("1.0% + 2 counts", 10.0, 0.1, None, 0.3),
        ("\u00b1(1.5% of reading + 3 digits)", 10.0, 0.1, None, 0.45),
        ("0.5% of range", 10.0, None, 200.0, 1.0),
        ("0.5% of full scale", 10.0, None, 200.0, 1.0),
        ("100 ppm", 10.0, None, None, 1e-3),
        ("5 mV", 10.0, None, None, 5e-3),
        ("2 counts", 10.0, None, None, None),
        ("1% of range", 10.0, None, None, None),
        ("about right", 10.0, 0.1, None, None),
        ("3 ohm", 10.0, 0.1, None, None),
    ],
)
def test_half_widths(
    text: str, reading_: float, resolution: float | None, full: float | None, expected: float | None
) -> None:
    found = half_width(text, reading_, unit="V", resolution=resolution, full_scale=full)
    assert found == (None if expected is None else pytest.approx(expected))


@given(st.floats(0, 100), st.floats(0.01, 10), st.integers(1, 50))
@quiet
def test_half_width_grows_with_every_term(shown: float, percent: float, counts: int) -> None:
    text = f"{percent:.2f}% + {counts} counts"
    width = half_width(text, shown, unit="ohm", resolution=0.01)
    assert width is not None
    assert width >= counts * 0.01
    assert width == pytest.approx(float(f"{percent:.2f}") / 100 * shown + counts * 0.01)


@given(st.text(max_size=40))
@quiet
def test_no_accuracy_text_crashes(text: str) -> None:
    found = half_width(text, 1.0, unit="V", resolution=0.1)
    assert found is None or found >= 0


@given(st.lists(st.floats(0, 10), min_size=1, max_size=5))
@quiet
def test_expanded_uncertainty_is_root_sum_square(widths: list[float]) -> None:
    assert expanded(*widths) == pytest.approx(2 / sqrt(3) * sqrt(sum(width**2 for width in widths)))
    assert expanded(*widths) <= 2 / sqrt(3) * sum(widths) + 1e-12


@given(st.floats(-10, 20))
@quiet
def test_interpolation_stays_between_neighbours(at: float) -> None:
    table = ((0.0, 5.0), (4.0, 1.0), (10.0, 9.0))
    assert 1.0 <= interpolate(table, at) <= 9.0


@given(st.floats(1e-5, 0.1), st.floats(1e-5, 2e-3))
@quiet
def test_two_point_factor_is_positive_for_any_tips(spacing: float, radius: float) -> None:
    assert two_point_factor(spacing, radius) > 0


@given(st.floats(0, 50), st.floats(0, 1))
@quiet
def test_a_shield_conforms_only_with_room_for_its_uncertainty(shown: float, leads: float) -> None:
    found = bond(reading=reading(shown, leads))
    read = low_ohms(reading(shown, leads))
    assert read is not None
    assert read.uncertainty is not None
    assert found.outcome in OUTCOMES
    assert (found.outcome == CONFORMS) == (-read.uncertainty <= read.value <= 1.0 - read.uncertainty)


@given(st.floats(0, 5))
@quiet
def test_unread_leads_never_make_a_bond_better(shown: float) -> None:
    without, most = bond(reading=reading(shown)), bond(reading=reading(shown, LEADS[1]))
    if without.outcome == DOES_NOT_CONFORM:
        assert most.outcome == DOES_NOT_CONFORM
