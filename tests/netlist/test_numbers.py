"""SPICE numbers against the published table of scale factors and against Python's decimal arithmetic."""

from __future__ import annotations

import math
import os
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.netlist.numbers import SCALE, NumberError, number

DEEP = os.environ.get("GUARDCHECK_FUZZ") == "deep"
FUZZ = settings(max_examples=50_000 if DEEP else 600, derandomize=not DEEP, deadline=None, database=None)

# ngspice manual, "Some naming conventions", table 2.2 "Ngspice scale factors" (mil = 25.4e-6 is refused by design)
MANUAL = {
    "T": "1e12",
    "G": "1e9",
    "Meg": "1e6",
    "K": "1e3",
    "m": "1e-3",
    "u": "1e-6",
    "n": "1e-9",
    "p": "1e-12",
    "f": "1e-15",
}


@pytest.mark.parametrize(("suffix", "factor"), MANUAL.items())
def test_scale_factors_are_those_of_the_manual(suffix: str, factor: str) -> None:
    assert number(f"3.3{suffix}") == float(Decimal("3.3") * Decimal(factor))
    assert number(f"-1{suffix.lower()}") == -float(factor)


def test_no_other_scale_factor_is_known() -> None:
    assert {key.lower() for key in MANUAL} == set(SCALE)


@pytest.mark.parametrize("same", ["1000", "1000.0", "1e3", "1.0e3", "1k", "1E3", "+1K", "1000.", "1e+3", "1e03"])
def test_spellings_the_manual_calls_the_same(same: str) -> None:
    # ngspice manual, same section: "1000, 1000.0, 1000Hz, 1e3, 1.0e3, 1kHz, and 1k all represent the same number";
    # the two with a unit are refused here
    assert number(same) == 1000.0


@pytest.mark.parametrize("upper", ["1M", "1F", "1MIL", "1Mm"])
def test_what_changes_meaning_with_case_is_refused(upper: str) -> None:
    with pytest.raises(NumberError, match="not a SPICE number"):
        number(upper)


@pytest.mark.parametrize(
    ("written", "advice"),
    [
        ("4k7", "write 4.7k"),
        ("0R47", "write 0.47"),
        ("4u7", "write 4.7u"),
        ("1n5", "write 1.5n"),
        ("2meg2", "write 2.2meg"),
        ("1M5", "write 1.5meg"),
        ("100nF", "write 100n:"),
        ("10MHz", "write 10meg:"),
        ("75ohm", "write 75:"),
        ("75ohms", "write 75:"),
        ("3.3kOhm", "write 3.3k:"),
        ("5mA", "write 5m:"),
        ("12,345", "write 12345 for thousands or 12.345"),
        ("0,5", "write 0.5:"),
        ("1_000_000", "write 1000000"),
        ("0b11", "numbers are decimal"),
        ("1.5D-6", "write 1.5e-6"),
        ("-inf", "finite"),
        ("(1+2)", "{(1+2)}"),
        ("gain", "{gain}"),
        ("", "accepted are digits"),
        (".", "accepted are digits"),
        ("1.2.3", "accepted are digits"),
        ("--1", "accepted are digits"),
    ],
)
def test_advice(written: str, advice: str) -> None:
    with pytest.raises(NumberError) as caught:
        number(written)
    assert advice in str(caught.value)


@FUZZ
@given(st.decimals(min_value=0, max_value=10**9, allow_nan=False, places=6), st.sampled_from(["", *SCALE]))
def test_random_numbers_are_correctly_rounded(value: Decimal, suffix: str) -> None:
    exact = value * Decimal(10) ** SCALE.get(suffix, 0)
    assert number(f"{value}{suffix}") == float(exact)


@FUZZ
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_random_floats_survive_repr(value: float) -> None:
    assert number(repr(value)) == value


@FUZZ
@given(st.text(alphabet="0123456789.eE+-_,kKmMgGuUfFxXrR%µΩ {}()*/", max_size=12))
def test_random_text_is_a_finite_number_or_refused(text: str) -> None:
    try:
        value = number(text)
    except NumberError as error:
        sentence = str(error)
    else:
        sentence = repr(value)
        assert math.isfinite(value)
        assert text.strip() == text
    assert sentence.isprintable()
