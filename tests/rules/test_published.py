"""Worked examples of electrical safety, each with the source its numbers come from.

Sources were read second-hand: IEC texts as quoted in translations, report forms, service manuals and makers' pages.
Each row names what was read. "worked by hand" marks arithmetic on such numbers that no source prints.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import acosh, exp, log10, pi, sqrt
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.library import Library
from guardcheck.metrology import (
    RING_FACTOR,
    discharge_time,
    expanded,
    low_ohms,
    ring_equivalent,
    stored_energy,
    two_point_factor,
)
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Ask, Fact, Facts, Finding, Limit, Value
from guardcheck.rules import all_rules
from guardcheck.rules.bar01_barriers import classify
from guardcheck.rules.haz01_hazards import class_1_limit
from guardcheck.rules.sto01_stored_charge import harmless_voltage
from guardcheck.toml_tables import read_table
from guardcheck.verdict.outcome import judge_measured
from tests.rules.meters import half_width

DATA = Path(__file__).parents[2] / "guardcheck" / "rules" / "data"
RULES = {one.rule.code: one for one in all_rules()}


def exact(value: float, unit: str) -> Value:
    return Value.exact(value, unit)


# --- touch current and leakage, in ngspice -------------------------------------------------------------------------

NETWORK = "IEC 60990 weighted network, parts as printed in a service manual; worked by hand"
LEAKAGE = "I = 2 pi f C V; worked by hand"
MAKERS = "IEC 60950-1 limits as two power-supply makers quote them"
TRANSLATED = "IEC 62368-1 table 4 as quoted in two translations"


@dataclass(frozen=True)
class Row:
    """One example: what is asked of which probe, the answer expected, its relative tolerance, and the source."""

    what: str
    values: Mapping[str, float]
    read: str
    expected: float
    within: float
    source: str
    frequency: float = 50.0
    probe: str = "touch-current"


def mains(volts: float, live: float, neutral: float = 1e-15) -> dict[str, float]:
    return {"mains": volts, "y_live": live, "y_neutral": neutral}


def between(volts: float, live: float, other: float, bond: float = 0.05) -> dict[str, float]:
    """Return a unit with its capacitor to live and a display with its own to neutral, joined by a bond."""
    return {**mains(volts, live), "display_live": 1e-15, "display_neutral": other, "bond": bond}


def alone(live: float, neutral: float) -> dict[str, float]:
    """Return a unit nothing is joined to: its 0 V floats where its capacitors put it."""
    return {**mains(230, live, neutral), "display_live": 1e-15, "display_neutral": 1e-15, "bond": 1e9, "earth": 1e12}


SEEN = "service pages: 70 V to 120 V between cases; worked by hand"
AMPS, U2 = "i(vmains)", "v(weighted)"
TOUCH = [
    Row("4.7 nF, 230 V, 50 Hz", mains(230, 4.7e-9), AMPS, 0.3396e-3, 1e-3, LEAKAGE),
    Row("2.2 nF, 230 V, 50 Hz", mains(230, 2.2e-9), AMPS, 0.1590e-3, 1e-3, LEAKAGE),
    Row("4.7 nF, 120 V, 60 Hz", mains(120, 4.7e-9), AMPS, 0.2126e-3, 1e-3, LEAKAGE, 60.0),
    Row("4.7 nF, 264 V, 60 Hz: worst universal input", mains(264, 4.7e-9), AMPS, 0.4678e-3, 1e-3, LEAKAGE, 60.0),
    Row("3.460 nF gives 0.25 mA at 230 V, 50 Hz", mains(230, 3.460e-9), AMPS, 0.25e-3, 1e-3, MAKERS),
    Row("2.512 nF gives 0.25 mA at 264 V, 60 Hz", mains(264, 2.512e-9), AMPS, 0.25e-3, 1e-3, MAKERS, 60.0),
    Row("5.024 nF gives 0.5 mA at 264 V, 60 Hz", mains(264, 5.024e-9), AMPS, 0.5e-3, 1e-3, TRANSLATED, 60.0),
    # the row's own arithmetic leaves out the 2 kohm of the body, 0.3 % at this current
    Row("48.44 nF gives 3.5 mA at 230 V, 50 Hz", mains(230, 48.44e-9), AMPS, 3.5e-3, 3e-3, MAKERS),
    Row("2.2 nF to live and to neutral: one counts", mains(230, 2.2e-9, 2.2e-9), U2, 79.5e-3 * 0.9974, 1e-3, NETWORK),
    Row("U2 of 4.7 nF at 230 V", mains(230, 4.7e-9), U2, 0.1693, 2e-3, NETWORK),
    Row("weighted current of 4.7 nF at 230 V", mains(230, 4.7e-9), U2, 0.3386e-3 * 500, 2e-3, NETWORK),
    Row("equal Y pair: half mains", alone(2.2e-9, 2.2e-9), "v(unit)", 115.0, 5e-3, SEEN, probe="bond-hum"),
    Row("2.2 nF to live, 1 nF to neutral", alone(2.2e-9, 1e-9), "v(unit)", 158.1, 5e-3, LEAKAGE, probe="bond-hum"),
    Row(
        "4.4 nF each: 2.2 nF between",
        between(230, 4.4e-9, 4.4e-9),
        "i(vsense)",
        0.159e-3,
        2e-3,
        LEAKAGE,
        probe="bond-hum",
    ),
    Row("4.7 nF, opposed plugs", between(230, 4.7e-9, 4.7e-9), "i(vsense)", 169.8e-6, 2e-3, LEAKAGE, probe="bond-hum"),
    Row("120 V, 60 Hz", between(120, 4.7e-9, 4.7e-9), "i(vsense)", 106.3e-6, 2e-3, LEAKAGE, 60.0, probe="bond-hum"),
]


@pytest.fixture(scope="module")
def answered(engine: Engine) -> Mapping[str, float | None]:
    """Every row run in one go."""
    from guardcheck.simulate.probes import answer

    asks = [Ask(row.what, row.probe, row.values, row.read, row.frequency) for row in TOUCH]
    asks += [
        Ask(f"{read} {frequency}", "touch-current", mains(230, 4.7e-9), read, frequency)
        for frequency in (0.1, 50.0, 1e3, 1e4)
        for read in ("v(chassis)", U2, AMPS)
    ]
    return answer(engine, Library.load(), asks)


@pytest.mark.parametrize("row", TOUCH, ids=lambda row: row.what)
def test_leakage(row: Row, answered: Mapping[str, float | None]) -> None:
    found = answered[row.what]
    assert found is not None
    assert found == pytest.approx(row.expected, rel=row.within), row.source


@pytest.mark.parametrize(
    ("frequency", "ohms", "within", "source"),
    [
        (0.1, 2000.0, 1e-4, "IEC 62368-1 table 4 note c as translated: 2 000 ohm may be used for dc and sine"),
        (50.0, 1990.0, 5e-4, NETWORK),
    ],
)
def test_impedance_of_the_body_network(
    frequency: float, ohms: float, within: float, source: str, answered: Mapping[str, float | None]
) -> None:
    volts, amps = answered[f"v(chassis) {frequency}"], answered[f"i(vmains) {frequency}"]
    assert volts is not None
    assert amps is not None
    assert volts / amps == pytest.approx(ohms, rel=within), source


@pytest.mark.parametrize(("frequency", "weight"), [(50.0, 0.9974), (1e3, 0.5674), (1e4, 0.0687)])
def test_weighting_of_the_body_network(frequency: float, weight: float, answered: Mapping[str, float | None]) -> None:
    """U2 / (500 ohm x I): 50 Hz, 1 kHz, 10 kHz. Source: the network of IEC 60990, worked by hand."""
    volts, amps = answered[f"v(weighted) {frequency}"], answered[f"i(vmains) {frequency}"]
    assert volts is not None
    assert amps is not None
    assert volts / 500.0 / amps == pytest.approx(weight, abs=1e-3)


def test_u2_stays_below_the_peak_limit_of_the_service_manual(answered: Mapping[str, float | None]) -> None:
    """IEC 60065 as a television service manual has it: 0.35 V peak across the network; 4.7 nF gives 0.239 V peak."""
    volts = answered["U2 of 4.7 nF at 230 V"]
    assert volts is not None
    assert volts * sqrt(2) == pytest.approx(0.239, abs=1e-3)
    assert volts * sqrt(2) <= 0.35


def touch_limits() -> dict[tuple[str, str], float]:
    top, _ = read_table(DATA / "touch.toml", error=InputError)
    return {
        (row.text("name"), one.text("class")): one.real("current", "A")
        for row in top.tables("standard")
        for one in row.tables("limit")
    }


@pytest.mark.parametrize(
    ("standard", "klass", "amps", "source"),
    [
        ("iec-60950-1", "II", 0.25e-3, MAKERS),
        ("iec-60950-1", "I", 3.5e-3, MAKERS),
        ("iec-62368-1", "II", 0.5e-3, TRANSLATED),
        ("iec-62368-1", "II", 0.707e-3 / sqrt(2), "IEC 62368-1 table 4 as translated: 0.707 mA peak up to 1 kHz"),
        ("iec-62368-1", "I", 5e-3, "IEC 62368-1 ES2 as translated: 5 mA rms, 7.07 mA peak"),
        ("iec-60065", "II", 0.35 / 500 / sqrt(2), "television service manual: 0.35 V peak on 500 ohm = 0.7 mA peak"),
        ("iec-60335-1", "II", 0.25e-3, "IS 302-1, the text of IEC 60335-1"),
        ("iec-60335-1", "I", 0.75e-3, "IS 302-1, the text of IEC 60335-1"),
    ],
)
def test_touch_limits(standard: str, klass: str, amps: float, source: str) -> None:
    assert touch_limits()[standard, klass] == pytest.approx(amps, rel=1e-3), source


# --- bonds -----------------------------------------------------------------------------------------------------------


def bond(purpose: str, reading: Mapping[str, object], **more: object) -> tuple[Finding, ...]:
    entries = {"from": "a", "to": "b", "purpose": purpose, "reading": reading, **more}
    return RULES["BND01"].judge(Facts(declared=(Fact("bond", 0, "a to b", entries),)))


def of(findings: tuple[Finding, ...], quantity: str) -> Finding:
    return next(one for one in findings if one.quantity == quantity)


HAND_METER = {
    "method": "two-wire",
    "value": exact(0.35, "ohm"),
    "leads": exact(0.30, "ohm"),
    "accuracy": "0.8% + 2 dgt",
    "resolution": exact(0.1, "ohm"),
}


def test_leads_come_off_a_two_wire_reading() -> None:
    """0.35 ohm with leads of 0.30 ohm is 0.05 ohm. Source: a multimeter manual's note on lead resistance."""
    read = low_ohms(HAND_METER)
    assert read is not None
    assert read.value == pytest.approx(0.05)


def test_hand_meter_half_width() -> None:
    """±(0.8 % + 2 digits of 0.1 ohm) on 0.35 ohm: 0.203 ohm. Source: a multimeter's printed specification."""
    assert half_width("0.8% + 2 dgt", 0.35, unit="ohm", resolution=0.1) == pytest.approx(0.2028, abs=1e-4)


def test_a_tenth_of_an_ohm_is_not_provable_with_that_meter() -> None:
    """0.05 ohm ± 0.2 ohm against 0.1 ohm. Sources: IEC 60950-1 limit and that meter's specification."""
    assert of(bond("protective-earth", HAND_METER), "bond.resistance").outcome == NOT_PROVEN


@pytest.mark.parametrize(
    ("rating", "amps", "seconds", "source"),
    [
        (None, 25.0, 60.0, "IEC 60065 as UL/CSA quote it: 25 A for 1 min"),
        (13.0, 26.0, 120.0, "IEC 60950-1 second edition as quoted: 200 % of 13 A for 120 s"),
        (10.0, 20.0, 120.0, "IEC 62368-1 report form: 20 A for 2 min"),
    ],
)
def test_test_current_of_a_protective_earth(rating: float | None, amps: float, seconds: float, source: str) -> None:
    more = {} if rating is None else {"protective_rating": exact(rating, "A")}
    tester = {
        "value": exact(0.012, "ohm"),
        "method": "four-wire",
        "accuracy": "1% + 2 counts",
        "resolution": exact(1e-3, "ohm"),
        "test_time": exact(seconds, "s"),
    }
    enough = bond("protective-earth", {**tester, "test_current": exact(amps, "A")}, **more)
    short = bond("protective-earth", {**tester, "test_current": exact(0.99 * amps, "A")}, **more)
    assert of(enough, "bond.current_proof").low == pytest.approx(amps), source
    assert of(enough, "bond.current_proof").outcome == CONFORMS
    assert of(enough, "bond.resistance").outcome == CONFORMS
    assert of(short, "bond.current_proof").outcome == NOT_PROVEN


def test_limit_times_test_current_is_the_drop_of_the_standard() -> None:
    """25 A x 0.1 ohm = 2.5 V, the drop IEC 60950-1 allows above 16 A, as quoted."""
    findings = bond("protective-earth", HAND_METER)
    amps, ohms = of(findings, "bond.current_proof").low, of(findings, "bond.resistance").high
    assert amps is not None
    assert ohms is not None
    assert amps * ohms == pytest.approx(2.5)


def test_four_wire_milliohms() -> None:
    """1.00 A and 4.2 mV: 4.2 mohm, above the 2.5 mohm of aviation bonding, far below 0.1 ohm. Worked by hand."""
    reading = {"value": exact(4.2e-3, "ohm"), "method": "four-wire", "accuracy": "1%", "leads": exact(0.3, "ohm")}
    read = low_ohms(reading)
    assert read is not None
    assert read.value == pytest.approx(4.2e-3)
    assert of(bond("protective-earth", reading), "bond.resistance").outcome == CONFORMS


# --- barriers --------------------------------------------------------------------------------------------------------

SHEET = "two tips on a large thin sheet, R = (Rs / pi) acosh(d / 2a); worked by hand"
RING = "STM11.12 electrode: 30.48 mm disk, 57.15 mm ring; the published factor is 10"


@pytest.mark.parametrize(
    ("found", "expected", "within", "source"),
    [
        (RING_FACTOR, 9.995, 5e-4, RING),
        (RING_FACTOR, 10.0, 1e-3, "carrier-tape note: ten times resistance gives resistivity"),
        (two_point_factor(10e-3, 0.5e-3), 0.9528, 1e-3, SHEET),
        (two_point_factor(50e-3, 0.5e-3), 1.4658, 1e-3, SHEET),
        (two_point_factor(10e-3, 0.5e-3), 0.9536, 1.5e-3, "far-field form ln(d/a) / pi; worked by hand"),
        (two_point_factor(5e-3, 0.5e-3), 0.7297, 1e-3, "d/a = 10, also by a grid solver: 0.749 with its edges"),
        (60e6 / two_point_factor(10e-3) / 1e6, 62.97, 1e-3, "60 Mohm multimeter range; " + SHEET),
        (40e6 / two_point_factor(10e-3) / 1e6, 41.98, 1e-3, "40 Mohm multimeter range; " + SHEET),
        (ring_equivalent(60e6, 10e-3) / 1e6, 6.30, 2e-3, RING),
        (log10(1e11 / 60e6), 3.22, 5e-3, "class edges of ANSI/ESD S541 as a maker quotes them"),
        (two_point_factor(1e-3, 0.5e-3), acosh(2.0) / pi, 1e-9, "a gap of 1 mm between tips of 0.5 mm; worked by hand"),
    ],
)
def test_two_point_readings(found: float, expected: float, within: float, source: str) -> None:
    assert found == pytest.approx(expected, rel=within), source


@pytest.mark.parametrize(
    ("ohms", "kind"),
    [(5e3, "conductive"), (1e4, "dissipative"), (9.9e10, "dissipative"), (1e11, "insulative"), (2e11, "insulative")],
)
def test_classes_of_resistance(ohms: float, kind: str) -> None:
    """ANSI/ESD S541 as a maker of ESD goods quotes it: below 1e4, to below 1e11, from 1e11 ohm."""
    assert classify(ohms) == kind


def test_sheets_withstand_strength_times_thickness() -> None:
    """25.4 um of polyimide at 236 kV/mm: 5.99 kV, 1 199 times 5 V. Source: polyimide data sheet, least AC strength."""
    top, _ = read_table(DATA / "barriers.toml", error=InputError)
    rows = top.tables("sheet")
    for row in rows:
        strength = float(row.text("strength").split()[0]) * 1e6
        volts = strength * row.real("thickness", "m")
        assert row.real("withstands", "V") <= volts
        assert row.real("withstands", "V") == pytest.approx(volts, rel=0.01)
    thin = next(row for row in rows if row.real("thickness", "m") == pytest.approx(25.4e-6))
    assert thin.real("withstands", "V") / 5.0 == pytest.approx(1199, rel=2e-3)


@pytest.mark.parametrize(
    ("working", "ohms", "amps", "source"),
    [
        (5.0, 1e3, 5e-3, "metal layer below 1 kohm in a maker's layer description; worked by hand"),
        (3.0, 1e4, 3e-4, "coin cell of 225 mAh on 10 kohm: 31 days; cells found flat in bags"),
        (12.0, 6e6, 2e-6, "a tenth of a 60 Mohm range at 12 V; worked by hand"),
    ],
)
def test_leaks(working: float, ohms: float, amps: float, source: str, engine: Engine) -> None:
    from guardcheck.simulate.probes import answer

    ask = Ask("leak", "barrier-leak", {"working": working, "leak": ohms, "load": 1e-3}, "i(vworking)")
    found = answer(engine, Library.load(), [ask])["leak"]
    assert found == pytest.approx(-amps, rel=1e-3), source


# --- stored charge ---------------------------------------------------------------------------------------------------

TABLE5 = "IEC 62368-1 table 5 (ES1) as quoted in two translations, linear interpolation allowed"


@pytest.mark.parametrize(
    ("nanofarads", "volts"),
    [
        (1000, 60), (300, 60), (220, 69.23), (170, 75), (100, 97.15), (91, 100), (61, 125), (47, 142.5), (41, 150),
        (28, 200), (18, 250), (12, 350), (8, 500), (4.7, 912.5), (4, 1000), (1.6, 2500), (0.8, 5000), (0.4, 10000),
        (0.2, 20000), (0.133, 25000), (0.01, 25000),
    ],
)  # fmt: skip
def test_harmless_voltage(nanofarads: float, volts: float) -> None:
    assert harmless_voltage(nanofarads * 1e-9) == pytest.approx(volts, rel=1e-3), TABLE5


def test_table_5_keeps_its_charge() -> None:
    """Check of the copied table: from 8 nF down to 0.2 nF the table's charge is 4.0 uC throughout."""
    for nanofarads in (8, 4, 1.6, 0.8, 0.4, 0.2):
        assert harmless_voltage(nanofarads * 1e-9) * nanofarads * 1e-9 == pytest.approx(4.0e-6, rel=1e-6)


def test_es2_is_twice_es1() -> None:
    """ES2 = 2 x ES1: 400 V at 28 nF. Source: table 5 as translated."""
    assert 2 * harmless_voltage(28e-9) == pytest.approx(400)


@pytest.mark.parametrize(
    ("found", "expected", "source"),
    [
        (stored_energy(220e-6, 325.0), 11.62, "220 uF reservoir capacitor, service page; worked by hand"),
        (discharge_time(2200.0, 220e-6, 325.0, 60.0), 0.818, "2.2 kohm, 10 W resistor, service page; worked by hand"),
        (discharge_time(100e3, 220e-6, 325.0, 60.0), 37.2, "100 kohm bleeder; worked by hand"),
        (discharge_time(1e6, 100e-6, 325.0, 60.0), 168.9, "self-discharge through 1 Mohm; worked by hand"),
        (discharge_time(1.0, 1.0, 340.0, 340.0 * exp(-1)), 1.0, "IEC 60950-1 2.1.1.7 as quoted: 37 % after one tau"),
        (discharge_time(3.315e6, 330e-9, 264 * sqrt(2), 60.0), 2.0, "IEC 62368-1 5.5.2.2 report form: 2 s"),
        (stored_energy(2e-9, 25e3), 0.625, "picture tube, 25 kV and 2 nF (capacitance from memory, unverified)"),
        (discharge_time(1e3, 1e-6, 50.0, 60.0), 0.0, "already below"),
    ],
)
def test_discharge(found: float, expected: float, source: str) -> None:
    assert found == pytest.approx(expected, rel=2e-3), source


def capacitor(**entries: object) -> tuple[Finding, ...]:
    return RULES["STO01"].judge(Facts(declared=(Fact("capacitor", 0, "C1", entries),)))


def test_bleed_resistor_starts_with_48_watts() -> None:
    """325 V on 2.2 kohm: 48 W at first, so a 10 W part is pulse-stressed. Source: service page; worked by hand."""
    found = of(capacitor(capacitance=exact(220e-6, "F"), voltage=exact(325.0, "V")), "stored.voltage")
    assert found.outcome == DOES_NOT_CONFORM
    assert found.remedy is not None
    assert "48 W at first" in found.remedy
    assert "11.6 J" in found.remedy
    assert "measure again" in found.remedy


@pytest.mark.parametrize(("megohms", "outcome"), [(3.2, NOT_PROVEN), (3.4, DOES_NOT_CONFORM)])
def test_largest_bleeder_of_a_330_nf_x_capacitor(megohms: float, outcome: str) -> None:
    """At most 3.315 Mohm brings 264 V rms to 60 V in 2 s. Source: IEC 62368-1 5.5.2.2 and table 5, as quoted."""
    findings = capacitor(
        capacitance=exact(330e-9, "F"),
        voltage=exact(264 * sqrt(2), "V"),
        bleeder=exact(megohms * 1e6, "ohm"),
        connected="plug",
    )
    assert of(findings, "stored.wait").outcome == outcome
    assert of(findings, "stored.voltage").outcome == outcome


def test_a_picture_tube_is_above_es2() -> None:
    """25 kV on 2 nF is above twice the table's voltage. Source: table 5 as translated."""
    assert 2 * harmless_voltage(2e-9) < 25e3
    findings = capacitor(capacitance=exact(2e-9, "F"), voltage=exact(25e3, "V"))
    assert of(findings, "stored.voltage").outcome == DOES_NOT_CONFORM
    assert "trained" in (of(findings, "stored.voltage").remedy or "")


# --- lasers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("nanometres", "milliwatts", "source"),
    [
        (780, 0.5637, "class 1, 3.9e-4 x C4 W as four public programs have it"),
        (700, 0.39, "class 1 at 700 nm, C4 = 1"),
        (650, 0.39, "class 1 below 700 nm"),
        (850, 0.778, "class 1, C4 = 1.995"),
        (980, 1.416, "class 1; one public program prints 1.43 for the same C4, an arithmetic slip there"),
        (445, 0.039, "class 1 in the blue: 0.039 mW as a laser page quotes it"),
    ],
)
def test_class_1_limits(nanometres: float, milliwatts: float, source: str) -> None:
    limit = class_1_limit(nanometres * 1e-9)
    assert limit is not None
    assert limit.high is not None
    assert limit.high * 1e3 == pytest.approx(milliwatts, rel=1e-3), source


def test_c4_at_780_nm() -> None:
    """C4 = 10^(0.002 x 80) = 1.4454, and class 3R ends at 2.819 mW. Source: as above, and two optics makers."""
    limit = class_1_limit(780e-9)
    assert limit is not None
    assert limit.high is not None
    assert limit.high / 0.39e-3 == pytest.approx(1.4454, rel=1e-4)
    assert 5 * limit.high == pytest.approx(2.819e-3, rel=5e-4)


def test_no_limit_is_invented_where_none_was_read() -> None:
    assert class_1_limit(475e-9) is None
    assert class_1_limit(1550e-9) is None


# --- links: a pin that is not supplied -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ohms", "amps", "source"),
    [
        (220.0, 20e-3, "20 mA clamp limit of HC logic; R = (V - 0.6 V) / I of a microcontroller note"),
        (880.0, 5e-3, "5 mA injection limit of a microcontroller; the same formula"),
        (4400.0, 1e-3, "1 mA injection limit of a microcontroller; the same formula"),
    ],
)
def test_series_resistor_into_an_unpowered_pin(ohms: float, amps: float, source: str, engine: Engine) -> None:
    """The note takes 0.6 V for the diode; ours has 0.65 V to 0.83 V at these currents, so it stays up to 6 % lower."""
    from guardcheck.simulate.probes import answer

    values = {"drive": 5.0, "series": ohms, "supply": 0.0, "on_resistance": 1e-2, "load": 1e6}
    found = answer(engine, Library.load(), [Ask("link", "board-link", values, "i(vdrive)")])["link"]
    assert found is not None
    assert 0.94 * amps <= -found <= amps, source


# --- decisions and meters --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("found", "expected", "source"),
    [
        (half_width("1% + 2 counts", 100.0, unit="V", resolution=0.1), 1.2, "meter page: 98.8 V to 101.2 V"),
        (half_width("0.5% + 2 counts", 5.0, unit="V", resolution=1e-3), 0.027, "worked by hand"),
        (expanded(0.03 * 0.7) / 2, 12.12e-3, "GUM: 3 % gain limit, uniform"),
        (expanded(6.25e-3 / 2) / 2, 1.804e-3, "GUM: quantisation step / sqrt(12)"),
        (expanded(0.03 * 0.7, 6.25e-3 / 2, 0.5 * 0.01 * 0.7), 24.85e-3, "GUM: root sum of squares, k = 2"),
    ],
)
def test_meter_arithmetic(found: float | None, expected: float, source: str) -> None:
    assert found == pytest.approx(expected, rel=1e-3), source


@pytest.mark.parametrize(
    ("volts", "outcome"), [(0.714, CONFORMS), (0.725, NOT_PROVEN), (0.740, NOT_PROVEN), (0.756, DOES_NOT_CONFORM)]
)
def test_decision_margin(volts: float, outcome: str) -> None:
    """ILAC-G8:09/2019 4.2.3: limit 0.735 V, U = 0.020 V: accepted to 0.715 V, rejected from 0.755 V."""
    limit = Limit("level.white", None, 0.735, None, "test", "read")
    assert judge_measured(volts, 0.020, limit, "V").outcome == outcome
