"""The fast reader against pint, an independent general-purpose units library."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.errors import UnitError
from guardcheck.units import DIMENSIONS, PREFIXES, format_si, parse, parse_any, registry

FIXED = settings(derandomize=True, deadline=None, database=None, max_examples=400)
SYMBOLS = ["V", "A", "ohm", "F", "H", "s", "Hz", "W", "J", "C", "m"]
numbers = st.from_regex(r"-?(0|[1-9][0-9]{0,5})(\.[0-9]{1,6})?(e-?[0-9]{1,2})?", fullmatch=True)


@FIXED
@given(numbers, st.sampled_from(sorted(PREFIXES)), st.sampled_from(SYMBOLS), st.sampled_from(["", " "]))
def test_the_fast_reader_agrees_with_pint(number: str, prefix: str, unit: str, gap: str) -> None:
    text = f"{number}{gap}{prefix}{unit}"
    expected = registry().Quantity(float(number), f"{prefix}{unit}").to(unit).magnitude
    value, _ = parse(text, unit)
    assert value.nominal == pytest.approx(expected, rel=4e-16, abs=0)


@FIXED
@given(numbers, st.sampled_from(["pF/m", "mohm/m", "V/us", "ns/m", "kV/ms", "m/s", "uH/m"]))
def test_quotients_agree_with_pint(number: str, unit: str) -> None:
    expected = registry().Quantity(float(number), unit).to_base_units().magnitude
    value = parse_any(f"{number} {unit}")
    assert registry().Quantity(value.nominal, value.unit).to_base_units().magnitude == pytest.approx(
        expected, rel=1e-15
    )


@FIXED
@given(st.floats(1e-14, 1e14), st.sampled_from(SYMBOLS), st.integers(3, 9), st.sampled_from([1.0, -1.0]))
def test_formatting_and_reading_agree(size: float, unit: str, digits: int, sign: float) -> None:
    text = format_si(sign * size, unit, digits)
    value, _ = parse(text, unit)
    assert value.nominal == pytest.approx(sign * size, rel=0.51 * 10.0 ** (1 - digits))
    assert 1 <= abs(float(text.split()[0])) < 1000 or size < 1e-15


@FIXED
@given(st.floats(allow_nan=True, allow_infinity=True), st.sampled_from(sorted(DIMENSIONS)), st.integers(1, 12))
def test_formatting_never_fails(value: float, unit: str, digits: int) -> None:
    text = format_si(value, unit, digits)
    assert text
    assert text.isprintable()
    assert not text.startswith("1000 ") or unit in ("m/s", "dB", "degC")


pieces = st.sampled_from(
    ["1", "4", "7", ".", ",", "e", "-", "+", " ", "k", "M", "m", "R", "u", "n", "V", "ohm", "F", "%", "/", "\u00b1",
     "+/-", "Vpp", "dB", "\u00b0C", "\u00b5", "meg", "inf", "nan", "**", "(", "hour", "pt", "\x00", "\u202e"]
)  # fmt: skip
texts = st.one_of(st.lists(pieces, max_size=12).map("".join), st.text(max_size=40))


@settings(FIXED, max_examples=2000)
@given(texts, st.sampled_from([*DIMENSIONS, None]))
def test_any_text_is_a_finite_value_or_one_sentence(text: str, unit: str | None) -> None:
    try:
        value = parse_any(text) if unit is None else parse(text, unit)[0]
    except UnitError as error:
        sentence = str(error)
    else:
        sentence = format_si(value.nominal, value.unit)
        assert all(map(math.isfinite, (value.low, value.nominal, value.high)))
        assert value.low <= value.nominal <= value.high
        assert value.unit in DIMENSIONS
    assert sentence.isprintable()
