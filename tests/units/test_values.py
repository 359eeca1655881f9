"""Spellings of the bench, against the letter code of IEC 60062 and the prefixes of the SI brochure (9th edition)."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest

from guardcheck.errors import UnitError
from guardcheck.model import Range
from guardcheck.units import describe, format_si, held, last_place, noun, parse, parse_any, shown, unit_of

# Letter code of IEC 60062, marking codes for resistance and capacitance values (values from memory, unverified;
# the code itself is printed on every resistor). ohm and farad.
LETTER_CODE = [
    ("R47", "ohm", 0.47),
    ("1R0", "ohm", 1.0),
    ("2R2", "ohm", 2.2),
    ("59R04", "ohm", 59.04),
    ("75R", "ohm", 75.0),
    ("590R", "ohm", 590.0),
    ("1K0", "ohm", 1e3),
    ("4k7", "ohm", 4.7e3),
    ("5K9", "ohm", 5.9e3),
    ("100K", "ohm", 1e5),
    ("1M5", "ohm", 1.5e6),
    ("10M", "ohm", 1e7),
    ("3G32", "ohm", 3.32e9),
    ("1T", "ohm", 1e12),
    ("p47", "F", 0.47e-12),
    ("4p7", "F", 4.7e-12),
    ("332p", "F", 332e-12),
    ("1n5", "F", 1.5e-9),
    ("100n", "F", 100e-9),
    ("4u7", "F", 4.7e-6),
    ("4\u00b57", "F", 4.7e-6),
    ("33u2", "F", 33.2e-6),
]
BENCH = [  # common practice, no published source
    ("75 ohm", "ohm", 75.0),
    ("75ohm", "ohm", 75.0),
    ("75 ohms", "ohm", 75.0),
    ("75 Ohm", "ohm", 75.0),
    ("75 \u03a9", "ohm", 75.0),
    ("75 \u2126", "ohm", 75.0),
    ("4.7 k\u03a9", "ohm", 4700.0),
    ("4.7 kohm", "ohm", 4700.0),
    ("4.7 Kohm", "ohm", 4700.0),
    ("2.2k", "ohm", 2200.0),
    ("10 Mohm", "ohm", 1e7),
    ("10 megohm", "ohm", 1e7),
    ("2 kilohms", "ohm", 2e3),
    ("10 mohm", "ohm", 0.01),
    ("2.2 nF", "F", 2.2e-9),
    ("100 \u00b5F", "F", 1e-4),
    ("100 \u03bcF", "F", 1e-4),
    ("100 uF", "F", 1e-4),
    ("1 Vpp", "V", 1.0),
    ("1Vpp", "V", 1.0),
    ("700 mVpp", "V", 0.7),
    ("3V3", "V", 3.3),
    ("5V", "V", 5.0),
    ("-0.5 V", "V", -0.5),
    ("\u22120.5 V", "V", -0.5),
    (".5 V", "V", 0.5),
    ("20 mA", "A", 0.02),
    ("50 Hz", "Hz", 50.0),
    ("4.43361875 MHz", "Hz", 4433618.75),
    ("64 us", "s", 64e-6),
    ("1.8 m", "m", 1.8),
    ("18 cm", "m", 0.18),
    ("1 mm", "m", 1e-3),
    ("1e-9 F", "F", 1e-9),
    ("4u7", "H", 4.7e-6),
    ("5 %", "1", 0.05),
    ("2.0", "1", 2.0),
    ("2 V/V", "1", 2.0),
    ("6 dB", "dB", 6.0),
    ("25 degC", "degC", 25.0),
    ("-40 \u00b0C", "degC", -40.0),
    ("67 pF/m", "F/m", 67e-12),
    ("50 mohm/m", "ohm/m", 0.05),
    ("300 V/us", "V/s", 3e8),
    ("5 ns/m", "s/m", 5e-9),
    ("2e8 m/s", "m/s", 2e8),
    ("3 kiloohm", "ohm", 3e3),
    ("2 microfarads", "F", 2e-6),
    ("5 minutes", "s", 300.0),
    ("1 inch", "m", 0.0254),  # exact since the international yard and pound agreement of 1959
    ("6 ft", "m", 1.8288),
]


@pytest.mark.parametrize(("text", "unit", "expected"), LETTER_CODE + BENCH)
def test_spellings(text: str, unit: str, expected: float) -> None:
    value, warning = parse(text, unit)
    assert value.nominal == pytest.approx(expected, rel=1e-15, abs=0)
    assert (value.low, value.high, value.unit, value.text, warning) == (value.nominal, value.nominal, unit, text, None)


# The SI brochure, 9th edition, prefixes (the rows a bench meets).
SI_PREFIXES = {"f": -15, "p": -12, "n": -9, "\u00b5": -6, "m": -3, "k": 3, "M": 6, "G": 9, "T": 12}


@pytest.mark.parametrize("unit", ["V", "A", "ohm", "F", "H", "s", "Hz", "W", "J", "C", "m"])
@pytest.mark.parametrize(("prefix", "power"), SI_PREFIXES.items())
def test_prefixes_of_the_si_brochure_are_exact(prefix: str, power: int, unit: str) -> None:
    value, _ = parse(f"4.7 {prefix}{unit}", unit)
    assert value.nominal == float(f"4.7e{power}")


TOLERANCES = [
    ("100 ohm 1%", "ohm", 99.0, 101.0),
    ("100 ohm \u00b11 %", "ohm", 99.0, 101.0),
    ("100 ohm +/- 1%", "ohm", 99.0, 101.0),
    ("100 ohm +-1%", "ohm", 99.0, 101.0),
    ("4k7 5%", "ohm", 4465.0, 4935.0),
    ("4k7 \u00b1 5%", "ohm", 4465.0, 4935.0),
    ("100 uF -20/+80 %", "F", 80e-6, 180e-6),
    ("100 uF +80/-20%", "F", 80e-6, 180e-6),
    ("100 uF +80% -20%", "F", 80e-6, 180e-6),
    ("5 V +/- 0.25 V", "V", 4.75, 5.25),
    ("5 V \u00b1 250 mV", "V", 4.75, 5.25),
    ("-2 V 10%", "V", -2.2, -1.8),
    ("2.0 1%", "1", 1.98, 2.02),
    ("6 dB \u00b1 0.5 dB", "dB", 5.5, 6.5),
    ("0 V 5%", "V", 0.0, 0.0),
    ("100 ohm 0%", "ohm", 100.0, 100.0),
]


@pytest.mark.parametrize(("text", "unit", "low", "high"), TOLERANCES)
def test_tolerances(text: str, unit: str, low: float, high: float) -> None:
    value, _ = parse(text, unit)
    assert (value.low, value.high) == pytest.approx((low, high), rel=1e-12)
    assert value.varies == (low != high)


REFUSED = [
    ("75", "ohm", "'75' has no unit; write a resistance such as '75 ohm'"),
    ("100", "ohm", "write a resistance such as '100 ohm'"),
    ("10 M", "ohm", "write '10 Mohm'"),  # pint: molar
    ("4.7 k", "ohm", "write '4.7 kohm'"),  # pint: the Boltzmann constant
    ("1 R", "ohm", "write '1 ohm'"),  # pint: the gas constant
    ("1 u", "F", "write '1 uF'"),  # pint: the atomic mass unit
    ("10 meg", "ohm", "write '10 Mohm'"),
    ("10m", "ohm", "write '10 mohm' or '10 Mohm'"),
    ("10 m", "ohm", "write '10 mohm' or '10 Mohm'"),
    ("100n", "ohm", "write '100 nohm'"),
    ("10 M", "A", "means something else; write '10 mA'"),  # nobody draws megaamperes
    ("10 m", "Hz", "means something else; write '10 MHz'"),
    ("10 m", "A", "means something else; write '10 mA'"),
    ("10 k", "A", "means something else; write a current such as '20 mA'"),
    ("0 dBu", "V", "two meanings"),
    ("0 dBV", "V", "is a level"),
    ("0 dBm", "W", "is a level"),
    ("100 IRE", "V", "depends on the video standard"),
    ("1 Vrms", "V", "plain volts"),
    ("3.3 v", "V", "did you mean '3.3 V'?"),
    ("50 hz", "Hz", "did you mean '50 Hz'?"),
    ("5 Mhz", "Hz", "did you mean '5 MHz'?"),
    ("100 nF", "ohm", "is a capacitance, but a resistance is wanted"),
    ("5 V", "A", "is a voltage, but a current is wanted; write a current such as '20 mA'"),
    ("6 dB", "1", "is a level ratio, but a plain ratio is wanted"),
    ("5 V/us", "V", "is a slew rate, but a voltage is wanted"),
    ("4,7 kohm", "ohm", "a comma in its number"),
    ("1,000 ohm", "ohm", "a comma in its number"),
    ("1 000 ohm", "ohm", "a gap in its number"),
    ("1_000 ohm", "ohm", "a gap in its number"),
    ("nan ohm", "ohm", "not a finite number"),
    ("inf", "ohm", "not a finite number"),
    ("-inf V", "V", "not a finite number"),
    ("0x10 ohm", "ohm", "not a decimal number"),
    ("1e999 V", "V", "too large"),
    ("1e99999999999 V", "V", "not a value with a unit"),
    ("1e308 kV", "V", "too large"),
    ("1e308 V 90%", "V", "too large"),
    ("1e-999 V", "V", "too small"),
    ("100 ohm -5%", "ohm", "negative tolerance"),
    ("100 ohm +5/--5%", "ohm", "negative tolerance"),
    ("100 ohm 150%", "ohm", "tolerance above 100 %"),
    ("6 dB 5%", "dB", "means nothing in dB"),
    ("5 V \u00b1 3 ohm", "V", "same unit, or in percent"),
    ("5 V \u00b1 -3 V", "V", "positive value in the same unit"),
    ("5 V \u00b1", "V", "not a value with a unit"),
    ("5 V 5", "V", "not a value with a unit"),
    ("5 V 5 V", "V", "not a value with a unit"),
    ("", "V", "write a voltage such as '5 V'"),
    ("  ", "V", "write a voltage such as '5 V'"),
    ("ohm", "ohm", "not a value with a unit"),
    ("V", "V", "not a value with a unit"),
    ("five volts", "V", "not a value with a unit"),
    ("5 kg", "V", "'kg' is not a unit known here"),
    ("3000 rpm", "Hz", "'rpm' is not a unit known here"),  # pint: 314 rad/s, the same dimension as hertz
    ("5 rad/s", "Hz", "not a unit known here"),
    ("1 S", "s", "did you mean '1 s'?"),
    ("5 V/V/V", "V", "not a unit known here"),
    ("5 V**2", "V", "not a value with a unit"),
    ("9**9**9 V", "V", "not a value with a unit"),
    ("__import__('os')", "V", "not a value with a unit"),
    ("5 V\x1b[31m", "V", "\\u001b"),
    ("1" * 200 + " V", "V", "too long"),
    ("\u0661\u0662 V", "V", "not a value with a unit"),  # Arabic digits
    ("\uff15 V", "V", "not a value with a unit"),  # full-width five
]


@pytest.mark.parametrize(("text", "unit", "says"), REFUSED)
def test_refusals_say_what_to_write(text: str, unit: str, says: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, unit, key="supply.rail", file="demo.toml", line=7)
    assert says in str(caught.value)
    assert str(caught.value).startswith("demo.toml:7: supply.rail: ")
    assert str(caught.value).isprintable()


INSULATION = {"usual": Range(1e5, 1e13), "possible": Range(1.0, 1e14), "what": "an insulation reading"}


def test_an_impossible_size_asks_for_the_prefix_that_fits() -> None:
    with pytest.raises(UnitError, match="'10 mohm' is not possible for an insulation reading") as caught:
        parse("10 mohm", "ohm", **INSULATION)
    assert "did you mean '10 Mohm'?" in str(caught.value)
    with pytest.raises(UnitError, match=r"did you mean '2\.2 nF'\?"):
        parse("2.2 mF", "F", usual=Range(10e-12, 10e-9), possible=Range(0.0, 100e-9))


def test_an_unusual_size_is_read_with_a_warning() -> None:
    value, warning = parse("10 kohm", "ohm", **INSULATION)
    assert value.nominal == 1e4
    assert warning is not None
    assert "'10 kohm' is unusual for an insulation reading (usually 100 kohm to 10 Tohm)" in warning
    assert parse("10 Mohm", "ohm", **INSULATION)[1] is None


def test_no_prefix_is_offered_where_none_fits() -> None:
    with pytest.raises(UnitError, match=r"not possible here \(1 V to 2 V\)$"):
        parse("7 V", "V", possible=Range(1.0, 2.0))


@pytest.mark.parametrize(
    ("text", "unit", "nominal"),
    [("100 ohm 1%", "ohm", 100.0), ("2.0", "1", 2.0), ("6 dB", "dB", 6.0), ("4k7", "ohm", 4700.0), ("3V3", "V", 3.3),
     ("100n", "F", 100e-9), ("300 V/us", "V/s", 3e8)],
)  # fmt: skip
def test_values_of_a_dimension_not_known_yet(text: str, unit: str, nominal: float) -> None:
    value = parse_any(text)
    assert (value.unit, value.text) == (unit, text)
    assert value.nominal == pytest.approx(nominal, rel=1e-15)
    assert unit_of(text) == unit


def test_a_value_is_held_against_its_place() -> None:
    value = parse_any("470 ohm")
    assert held(value, "ohm", usual=Range(1.0, 1e3)) is None
    assert held(value, "ohm", usual=Range(1.0, 469.0), what="a series resistor") == (
        "'470 ohm' is unusual for a series resistor (usually 1 ohm to 469 ohm); check the value and its prefix"
    )
    with pytest.raises(UnitError, match=r"^demo:7: x: '470 ohm' is a resistance, but a voltage is wanted"):
        held(value, "V", key="x", file="demo", line=7)
    with pytest.raises(UnitError, match="is not possible"):
        held(value, "ohm", possible=Range(471.0, 1e3))


def test_what_is_no_value_is_refused_whatever_its_dimension() -> None:
    with pytest.raises(UnitError, match="demo: a: 'chip' is not a value"):
        parse_any("chip", file="demo", key="a")
    assert unit_of("chip") is None


FORMATTED = [
    (0.703, "V", 3, "703 mV"),
    (4.43361875e6, "Hz", 3, "4.43 MHz"),
    (75.4, "ohm", 3, "75.4 ohm"),
    (0.012, "A", 3, "12 mA"),
    (None, "V", 3, "-"),
    (math.nan, "V", 3, "-"),
    (0.9996, "V", 3, "1 V"),
    (0.99949, "V", 3, "999 mV"),
    (999.9e3, "Hz", 3, "1 MHz"),
    (-0.0005, "V", 3, "-500 uV"),
    (-0.0, "V", 3, "0 V"),
    (2.2e-9, "F", 3, "2.2 nF"),
    (1e-18, "F", 3, "0.001 fF"),
    (1e-25, "F", 3, "1e-25 F"),
    (123456.0, "ohm", 3, "123 kohm"),
    (123456.0, "ohm", 5, "123.46 kohm"),
    (1e12, "ohm", 3, "1 Tohm"),
    (1e14, "ohm", 3, "100 Tohm"),
    (1e15, "ohm", 3, "1e15 ohm"),
    (0.0708, "1", 3, "0.0708"),
    (1.0, "1", 3, "1"),
    (1e-9, "1", 3, "1e-9"),
    (12.34, "dB", 3, "12.3 dB"),
    (-3.0103, "dB", 3, "-3.01 dB"),
    (67e-12, "F/m", 3, "67 pF/m"),
    (3e8, "V/s", 3, "300 MV/s"),
    (1.98e8, "m/s", 3, "198000000 m/s"),
    (25.0, "degC", 3, "25 degC"),
    (0.05, "V", 1, "50 mV"),
    (703.0, "V", 1, "700 V"),
]


@pytest.mark.parametrize(("value", "unit", "digits", "expected"), FORMATTED)
def test_values_for_people(value: float | None, unit: str, digits: int, expected: str) -> None:
    assert format_si(value, unit, digits) == expected


@pytest.mark.parametrize(
    ("text", "unit", "place"),
    [
        ("5.00 V", "V", 0.01),
        ("703.5mV", "V", 1e-4),
        ("3V3", "V", 0.1),
        ("4k70", "ohm", 10.0),
        ("75 ohm", "ohm", 1.0),
        ("0.0 mV", "V", 1e-4),
        ("4.433 MHz", "Hz", 1e3),
        ("1.50e-3 V", "V", 1e-5),
        ("12.5 %", "1", 1e-3),
        ("-.5 V", "V", 0.1),
    ],
)
def test_the_place_of_the_last_digit_written(text: str, unit: str, place: float) -> None:
    assert last_place(text, unit) == pytest.approx(place, rel=1e-12)


def test_what_is_no_value_has_no_last_digit() -> None:
    with pytest.raises(UnitError, match="decimal point"):
        last_place("0,7 V", "V")


def test_words_for_messages() -> None:
    assert describe("ohm") == "a resistance such as '75 ohm'"
    assert describe("lm") == "a value in lm such as '1 lm'"
    assert noun("ohm/m") == "a resistance per length"
    assert shown("a\x1b[2Jb\u202e") == "a\\u001b[2Jb\\u202e"
    assert len(shown("x" * 1000)) == 60


def test_everyday_spellings_do_not_load_pint() -> None:
    script = (
        "import sys; from guardcheck.units import parse;"
        "[parse(t, u) for t, u in [('75 ohm', 'ohm'), ('100 uF', 'F'), ('5 V', 'V'), ('1.8 m', 'm'), ('20 mA', 'A'),"
        "('4k7 5%', 'ohm'), ('67 pF/m', 'F/m'), ('2.0', '1'), ('6 dB', 'dB')]];"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", script], check=False, timeout=60).returncode == 0
