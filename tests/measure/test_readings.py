"""Typed readings: strict reading, scaling to 100 % white into 75 ohm, and budgets against worked examples.

Sources: GUM (JCGM 100:2008): uniform half-width a gives a / sqrt(3), a step q gives q / sqrt(12), root sum of squares,
k = 2. Meter form +/-(1 % + 2 counts) of 100.0 V = 98.8 to 101.2 V: printed in a multimeter's specification. Circuit law
for loads. Colour-bar levels from the ITU-R BT.470 equations.
"""

from __future__ import annotations

import math
import os
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.errors import JobError, UnitError
from guardcheck.measure.readings import (
    READABLE,
    Circumstances,
    Contribution,
    Evaluation,
    Reading,
    evaluate,
    new_readings_text,
    parse_accuracy,
    parse_readings,
    presumed,
    read_readings,
    unknown_lines,
)
from guardcheck.metrology import Budget, expanded, from_step, width_of
from guardcheck.model import KNOWN_BY, Value
from guardcheck.units import format_si

DEEP = os.environ.get("GUARDCHECK_FUZZ") == "deep"
FUZZ = settings(max_examples=5000 if DEEP else 300, derandomize=True, deadline=None, database=None)
MATCHED = Circumstances(75.0)
CONTROL = Circumstances(75.0, signal="control")


def text(**keys: str) -> str:
    rows = {"line": "red", "quantity": "level.white", **keys}
    return "[[reading]]\n" + "".join(f'{name} = "{value}"\n' for name, value in rows.items())


def one(**keys: str) -> Reading:
    (reading,) = parse_readings(text(**keys))
    return reading


def proved(case: Circumstances = MATCHED, **keys: str) -> Evaluation:
    return evaluate(one(**{"picture": "white", "load": "terminated", "place": "connector", **keys}), case)


# Worked examples of the uncertainty of a reading [V].
SCOPE = {"value": "0.700 V", "accuracy": "3%", "resolution": "6.25 mV", "termination": "1%"}


def test_scope_with_a_one_percent_terminator() -> None:
    # 3 % gain uniform 12.12 mV, 8-bit step at 200 mV/div over 8 div 1.804 mV, 1 % terminator at sensitivity 1/2
    # 2.021 mV; combined, k = 2: 24.85 mV, 3.55 % of 0.7 V.
    found = proved(**SCOPE)
    rows = {row.name: row.standard for row in found.budget.contributions}
    assert rows["accuracy"] == pytest.approx(12.12e-3, rel=1e-3)
    assert rows["reading"] == pytest.approx(1.804e-3, rel=1e-3)
    assert rows["75 ohm load"] == pytest.approx(2.021e-3, rel=1e-3)
    assert found.quantity.uncertainty == pytest.approx(24.85e-3, rel=1e-3)
    assert found.quantity.uncertainty / 0.7 == pytest.approx(0.0355, rel=2e-3)


def test_scope_with_one_percent_on_both_resistors() -> None:
    budget = proved(**SCOPE).budget
    source = Contribution("source resistor", 0.01 * 0.7, sensitivity=0.5)
    assert Budget("level.white", "V", (*budget.contributions, source)).expanded == pytest.approx(25.17e-3, rel=1e-3)


def test_a_three_percent_scope_proves_five_percent_but_never_three() -> None:
    # Acceptance zone with w = U (ILAC-G8:09/2019): 0.035 - 0.02485 V leaves 10.15 mV each side, 0.021 V leaves none.
    expanded = proved(**SCOPE).quantity.uncertainty
    assert 0.05 * 0.7 - expanded == pytest.approx(10.15e-3, rel=5e-3)
    assert 0.03 * 0.7 - expanded == pytest.approx(-3.85e-3, rel=1e-2)


@pytest.mark.parametrize(
    ("value", "accuracy", "resolution", "half"),
    [
        ("100.0 V", "1% + 2 counts", "0.1 V", 1.2),  # 98.8 to 101.2 V, printed
        ("5.000 V", "0.5% + 2 counts", "1 mV", 0.027),
        ("0.700 V", "0.5 % + 2 counts", "1 mV", 0.0055),
        ("3.3 V", "0.02% + 15 digits", "0.1 mV", 0.00216),  # 3.3 * 1.0002 + 0.0015 = 3.3022 V
    ],
)
def test_meter_accuracy_as_printed(value: str, accuracy: str, resolution: str, half: float) -> None:
    found = proved(CONTROL, quantity="level.blank", value=value, accuracy=accuracy, resolution=resolution)
    rows = [row for row in found.budget.contributions if row.name.startswith("accuracy")]
    assert sum(row.half_width for row in rows) == pytest.approx(half, rel=1e-4)
    assert found.reading.instrument == "meter"


def test_counts_use_the_last_digit_written() -> None:
    found = proved(CONTROL, quantity="level.blank", value="100.0 V", accuracy="1% + 2 counts")
    assert sum(r.half_width for r in found.budget.contributions if "accuracy" in r.name) == pytest.approx(1.2)
    small = proved(CONTROL, quantity="level.blank", value="250.0 mV", accuracy="1% + 2 counts")
    (row,) = [row for row in small.budget.contributions if row.name == "accuracy"]
    assert row.half_width == pytest.approx(2.5e-3 + 0.2e-3)


def test_one_statement_has_one_uncertainty_for_readings_and_for_bench_facts() -> None:
    """1.0% + 2 counts at 1.00 V is one bound of 10 + 20 mV; uniform, k = 2: 2 x 30 / sqrt(3) = 34.64 mV (GUM)."""
    steady = Circumstances(0.0, signal="control")
    typed = proved(steady, quantity="level.blank", value="1.00 V", accuracy="1.0% + 2 counts")
    fact = {"accuracy": "1.0% + 2 counts", "resolution": Value.exact(0.01, "V")}
    width = width_of(fact, 1.0, "V")
    assert width is not None
    assert typed.quantity.uncertainty == pytest.approx(34.641e-3, rel=1e-4)
    assert expanded(width) == pytest.approx(34.641e-3, rel=1e-4)


@pytest.mark.parametrize(
    ("stated", "half"),
    [("3% + 5 mV", 26e-3), ("3% + 0.1 div", 41e-3), ("3% + 2 counts", 23e-3), ("1% of full scale + 5 mV", 21e-3)],
)
def test_the_statement_of_a_scope_is_one_bound_too(stated: str, half: float) -> None:
    """0.700 V at 200 mV/div over 8 divisions: 21 mV of gain, 20 mV a tenth of a division, 1 mV the last digit."""
    found = proved(value="0.700 V", accuracy=stated, scale="200 mV/div")
    (row,) = [row for row in found.budget.contributions if row.name == "accuracy"]
    assert row.half_width == pytest.approx(half, rel=1e-6)


def test_a_statement_without_counts_leaves_rounding_beside_it() -> None:
    """1 % of 1.00 V and a step of 10 mV: 2 x sqrt(10^2 + 5^2) / sqrt(3) = 12.91 mV (GUM, uniform both)."""
    width = width_of({"accuracy": "1%", "resolution": Value.exact(0.01, "V")}, 1.0, "V")
    assert width is not None
    assert expanded(width) == pytest.approx(12.910e-3, rel=1e-4)


def test_accuracy_of_full_scale() -> None:
    # 3 % of 8 divisions of 0.1 V: 24 mV.
    found = proved(value="7.0 div", scale="100 mV/div", accuracy="3% of full scale")
    (row,) = [row for row in found.budget.contributions if row.name.startswith("accuracy")]
    assert row.half_width == pytest.approx(0.024)


def test_uniform_and_step_contributions() -> None:
    assert Contribution("gain", 0.03 * 0.7).standard == pytest.approx(12.124e-3, rel=1e-4)
    assert from_step("step", 6.25e-3, "").standard == pytest.approx(1.804e-3, rel=1e-3)
    assert from_step("step", 1.6 / 256, "").half_width == pytest.approx(3.125e-3)
    assert Contribution("scatter", 2e-3, "normal").standard == pytest.approx(2e-3)


@pytest.mark.parametrize(
    ("picture", "seen", "white"),
    [
        ("white", "700 mV", 0.700),
        ("bars-100", "700 mV", 0.700),
        ("bars-75", "525 mV", 0.700),  # a 75 % bar of 700 mV white is 525 mV
        ("bars-75", "800 mV", 1.0667),  # 800 mV on 75 % bars is 1.07 V at white
    ],
)
def test_levels_are_scaled_to_full_white(picture: str, seen: str, white: float) -> None:
    found = proved(value=seen, picture=picture)
    assert found.quantity.value == pytest.approx(white, abs=1e-4)
    assert found.quantity.bound is None
    plain = proved(value=seen).quantity.uncertainty
    assert found.quantity.uncertainty / plain == pytest.approx(found.quantity.value / float(seen[:3]) * 1e3)


def test_setup_stands_apart_from_the_scaling() -> None:
    # 525 lines: 7.5 + 0.75 * 92.5 = 76.875 IRE of 75 % bars stands for 100 IRE.
    found = evaluate(one(value="549.1 mV", picture="bars-75", load="terminated"), Circumstances(75.0, setup=0.075))
    assert found.quantity.value == pytest.approx(0.71427, abs=2e-4)


@pytest.mark.parametrize("picture", [None, "other"])
@pytest.mark.parametrize("quantity", ["level.white", "level.pp"])
def test_an_unknown_picture_can_fail_high_never_conform(picture: str | None, quantity: str) -> None:
    keys = {} if picture is None else {"picture": picture}
    found = evaluate(one(quantity=quantity, value="700 mV", load="terminated", **keys), MATCHED)
    assert found.quantity.bound == "at_least"
    assert "picture" in found.quantity.unknowns
    assert found.quantity.value == pytest.approx(0.7)


def test_a_sync_line_has_no_picture_to_know() -> None:
    case = Circumstances(75.0, signal="sync")
    for quantity in ("level.sync", "level.pp"):
        assert evaluate(one(quantity=quantity, value="300 mV", load="terminated"), case).quantity.bound is None


@pytest.mark.parametrize(
    ("picture", "chroma", "bound"),
    [
        ("white", True, None),
        ("bars-75", True, None),  # luma of 75 % yellow and its chroma reach 700 mV: BT.470 equations
        ("bars-100", True, "at_most"),  # 100 % bars go to 933 mV
        ("bars-100", False, None),
        ("bars-75", False, "at_least"),
    ],
)
def test_peak_to_peak_of_bars(picture: str, chroma: bool, bound: str | None) -> None:
    case = Circumstances(75.0, has_sync=True, has_chroma=chroma)
    found = evaluate(one(quantity="level.pp", value="1.0 V", picture=picture, load="terminated"), case)
    assert found.quantity.bound == bound
    assert found.quantity.value == pytest.approx(1.0)


def test_divisions_behind_a_probe_need_to_know_where_the_scale_is() -> None:
    keys = {"value": "4.0 div", "scale": "200 mV/div", "probe": "x10"}
    open_question = proved(**keys)
    assert open_question.quantity.value is None
    assert "800 mV" in str(open_question.quantity.failure)
    assert "8 V" in str(open_question.quantity.failure)
    assert proved(**keys, scale_at="tip").quantity.value == pytest.approx(0.8)
    assert proved(**keys, scale_at="input").quantity.value == pytest.approx(8.0)
    assert proved(**{**keys, "probe": "x1"}).quantity.value == pytest.approx(0.8)


def test_a_tenth_of_a_division_at_both_ends() -> None:
    found = proved(value="4.0 div", scale="200 mV/div")
    ends = [row for row in found.budget.contributions if row.name.startswith("reading")]
    assert [row.standard for row in ends] == [pytest.approx(0.02 / math.sqrt(12))] * 2
    assert all("common practice" in row.source for row in ends)


@pytest.mark.parametrize(
    ("impedance", "seen", "loaded"),
    [
        (75.0, "1.400 V", 0.700),  # double termination halves
        (10.0, "0.700 V", 0.6176),
        (37.5, "0.700 V", 0.4667),
        (470.0, "5.000 V", 0.6881),  # 5 * 75 / 545
        (1200.0, "5.000 V", 0.2941),
    ],
)
def test_an_open_reading_is_converted_by_the_output_impedance(impedance: float, seen: str, loaded: float) -> None:
    found = proved(Circumstances(impedance), value=seen, load="open")
    assert found.quantity.value == pytest.approx(loaded, abs=1e-4)
    assert any(f"raw {format_si(float(seen[:5]), 'V', 4)} with an open line" in step for step in found.steps)


def test_an_open_reading_without_output_impedance_proves_nothing() -> None:
    found = proved(Circumstances(), value="1.4 V", load="open")
    assert found.quantity.value is None
    assert "output impedance" in str(found.quantity.failure)


def test_the_spread_of_the_output_impedance_counts() -> None:
    # d/dZ of V * 75 / (75 + Z) at 1.4 V and 75 ohm: -4.667 mV per ohm.
    found = proved(Circumstances(75.0, impedance_half_width=3.0), value="1.4 V", load="open")
    (row,) = [row for row in found.budget.contributions if row.name == "output impedance"]
    assert row.standard == pytest.approx(1.4 * 75 / 150**2 * 3.0 / math.sqrt(3))


def test_the_direct_voltage_of_an_open_line_proves_nothing() -> None:
    assert proved(quantity="level.blank", value="1 V", load="open").quantity.value is None


def test_an_undeclared_load_stays_as_seen_and_is_named() -> None:
    found = evaluate(one(value="1.4 V", picture="white"), MATCHED)
    assert found.quantity.value == pytest.approx(1.4)
    assert found.quantity.unknowns == ("load",)


def test_a_reading_at_the_pin_does_not_tell_the_level_at_the_display() -> None:
    found = proved(value="2.0 V", place="pin")
    assert found.quantity.value is None
    assert "chip's pin" in str(found.quantity.failure)


def test_a_meter_cannot_read_a_picture() -> None:
    found = proved(value="0.35 V", instrument="meter")
    assert found.quantity.value is None
    assert "mean of the whole signal" in str(found.quantity.failure)
    steady = evaluate(one(value="10.9 V", instrument="meter"), Circumstances(signal="control"))
    assert steady.quantity.value == pytest.approx(10.9)


@pytest.mark.parametrize("signal", ["picture", "sync"])
def test_a_meter_never_proves_the_direct_voltage_of_a_live_line(signal: str) -> None:
    """Colour bars of 0.7 V average to some 0.25 V while their blanking stands at 0 V: the mean is no level."""
    told = {"quantity": "level.blank", "value": "0.25 V", "instrument": "meter"}
    assert proved(Circumstances(75.0, signal=signal), **told).quantity.value is None
    (still,) = parse_readings(text(**told, load="terminated") + "steady = true\n")
    assert evaluate(still, Circumstances(75.0, signal=signal)).quantity.value == pytest.approx(0.25)


def test_a_direct_voltage_on_a_scope_needs_direct_coupling() -> None:
    """An AC-coupled scope shows every line at its own mean, whatever direct voltage the line carries."""
    told = {"quantity": "level.blank", "value": "0 mV", "scale": "100 mV/div"}
    assert proved(**told).quantity.unknowns == ("coupling",)
    assert proved(**told, coupling="dc").quantity.unknowns == ()
    hidden = proved(**told, coupling="ac").quantity
    assert hidden.value is None
    assert "AC coupling" in str(hidden.failure)
    body = '[scope]\ncoupling = "dc"\n' + text(value="0.7 V", quantity="level.blank", load="terminated")
    assert evaluate(parse_readings(body)[0], MATCHED).quantity.unknowns == ()


def test_display_inputs_are_five_percent_and_bench_terminators_one() -> None:
    at_display, at_bench = (
        {row.name: row.half_width for row in proved(value="0.7 V", place=place).budget.contributions}["75 ohm load"]
        for place in ("display", "connector")
    )
    assert at_display == pytest.approx(0.05 * 0.7)
    assert at_bench == pytest.approx(0.01 * 0.7)


def test_an_unknown_output_impedance_counts_the_load_in_full() -> None:
    known, unknown = (
        next(row for row in proved(case, value="0.7 V").budget.contributions if row.name == "75 ohm load")
        for case in (MATCHED, Circumstances())
    )
    assert unknown.standard == pytest.approx(2 * known.standard)


def test_offset_counts_only_for_a_level_against_zero() -> None:
    for quantity, counts in (("level.blank", True), ("level.white", False)):
        names = {row.name for row in proved(quantity=quantity, value="0.5 V").budget.contributions}
        assert ("offset" in names) == counts


def test_times_are_read_in_divisions_too() -> None:
    found = proved(quantity="timing.sync_width", value="4.7 div", scale="1 us/div")
    assert found.quantity.value == pytest.approx(4.7e-6)
    assert found.quantity.uncertainty == pytest.approx(2 * math.sqrt(2) * 0.1e-6 / math.sqrt(12), rel=0.01)


def test_a_ratio_without_accuracy_has_no_uncertainty() -> None:
    assert proved(quantity="response.overshoot", value="3%").quantity.uncertainty is None


def test_every_presumed_figure_says_where_it_comes_from() -> None:
    for figures in presumed().values():
        for figure in figures.values():
            assert figure.reference
            assert figure.known_by in KNOWN_BY
            assert figure.known_by == "read" or KNOWN_BY[figure.known_by] in figure.cited()


def test_every_row_of_every_budget_says_where_it_comes_from() -> None:
    for quantity in ("level.white", "level.blank", "level.sync", "burst.amplitude", "noise.rms"):
        found = proved(quantity=quantity, value="0.7 V", probe="x10", scale_at="tip")
        assert all(row.source for row in found.budget.contributions)


def test_general_figures_of_an_instrument_hold_for_its_readings() -> None:
    body = '[scope]\naccuracy = "1%"\n' + text(value="0.700 V", resolution="1 mV", load="terminated", picture="white")
    (reading,) = parse_readings(body)
    rows = {row.name: row for row in evaluate(reading, MATCHED).budget.contributions}
    assert rows["accuracy"].half_width == pytest.approx(0.007)
    assert rows["accuracy"].source == "stated in the readings file"


def test_a_new_file_is_read_and_every_value_stays_not_proven() -> None:
    body = new_readings_text([("red", ["level.white", "level.blank", "level.mismatch"]), ("sync", ["level.sync"])])
    readings = parse_readings(body)
    assert [(r.line, r.quantity) for r in readings] == [
        ("red", "level.white"),
        ("red", "level.blank"),
        ("sync", "level.sync"),
    ]
    assert all(evaluate(r, MATCHED).quantity.value is None for r in readings)
    assert all("not been read yet" in str(evaluate(r).quantity.failure) for r in readings)


def test_every_commented_line_of_a_new_file_works_when_filled_in() -> None:
    body = new_readings_text([("red", ["level.white"])]).replace('value = "unknown"', 'value = "4.0 div"')
    head, _, table = body.partition("[[reading]]")
    (reading,) = parse_readings(head + "[[reading]]" + re.sub(r"(?m)^# ", "", table), file="x")
    assert evaluate(reading, MATCHED).quantity.value == pytest.approx(0.8 / 0.75)


ACCURACIES = {
    "3%": (0.03, 0, 0, 0, 0),
    "± 3 %": (0.03, 0, 0, 0, 0),
    "±(1.0% + 2 counts)": (0.01, 0, 2, 0, 0),
    "0.5 % rdg + 5 dgt": (0.005, 0, 5, 0, 0),
    "3 % of full scale + 0.1 div + 1 mV": (0, 0.03, 0, 0.1, 1e-3),
    "100 ppm": (1e-4, 0, 0, 0, 0),
    "2 mV": (0, 0, 0, 0, 2e-3),
}


@pytest.mark.parametrize("written", list(ACCURACIES))
def test_accuracy_statements(written: str) -> None:
    found = parse_accuracy(written, "V")
    sizes = (found.of_reading, found.of_range, found.counts, found.divisions, found.absolute)
    assert sizes == pytest.approx(ACCURACIES[written])


@pytest.mark.parametrize(
    "written",
    ["0%", "0 % + 0 counts", "", "good", "3", "3% +", "-3%", "2 ohm", "200%", "1% of luck", "3% + + 2 counts"],
)
def test_statements_that_are_none(written: str) -> None:
    with pytest.raises(UnitError, match="accuracy"):
        parse_accuracy(written, "V")


BAD = {
    "no reading": ("format = 1\n", "no reading in this file"),
    "not toml": ("[[reading]\n", "is not TOML"),
    "format": ("format = 2\n" + text(value="1 V"), "write format = 1"),
    "unknown table": ("[[readings]]\n", "did you mean 'reading'"),
    "unknown key": (text(value="1 V", prob="x10"), "did you mean 'probe'"),
    "unknown quantity": (text(value="1 V", quantity="level.wite"), "did you mean 'level.white'"),
    "no value": ("[[reading]]\nline = 'red'\nquantity = 'level.white'\n", "value: is missing"),
    "bare number": ("[[reading]]\nline = 'red'\nquantity = 'level.white'\nvalue = 0.7\n", ":4: reading[0].value"),
    "no unit": (text(value="0.7"), "has no unit"),
    "wrong unit": (text(value="75 ohm"), "a voltage is wanted"),
    "impossible": (text(value="700 kV"), "not possible"),
    "tolerance": (text(value="700 mV 3%"), "carries a tolerance"),
    "divisions without scale": (text(value="4 div"), "add a scale"),
    "too many divisions": (text(value="40 div", scale="1 V/div"), "more than a screen"),
    "scale": (text(value="4 div", scale="200 mV"), "is not a scale"),
    "probe": (text(value="1 V", probe="x20"), "write one of"),
    "place": (text(value="1 V", place="cable"), "connector, display, pin"),
    "picture": (text(value="1 V", picture="bars"), "bars-100"),
    "accuracy": (text(value="1 V", accuracy="fine"), "is not an accuracy"),
    "divisions in accuracy": (text(value="1 V", accuracy="0.1 div"), "no scale was given"),
    "resolution": (text(value="1 V", resolution="0 V"), "not above zero"),
    "termination": (text(value="1 V", termination="1 ohm"), "termination: '1 ohm' is not an accuracy"),
    "meter with probe": (text(value="1 V", probe="x10", instrument="meter"), "neither divisions nor a probe"),
    "instrument": ("[scop]\n" + text(value="1 V"), "did you mean 'scope'"),
    "general figure": ('[scope]\nbits = "many"\n' + text(value="1 V"), "whole number"),
    "second reading": (text(value="1 V") + text(value="2 V", lode="open"), ":9: reading[1].lode"),
}


@pytest.mark.parametrize("name", list(BAD))
def test_mistakes_are_one_sentence_with_their_place(name: str) -> None:
    body, words = BAD[name]
    with pytest.raises(JobError) as caught:
        parse_readings(body, file="bench.toml")
    sentence = str(caught.value)
    assert words in sentence
    assert sentence.startswith("bench.toml")
    assert "\n" not in sentence


def test_a_line_the_job_does_not_have_is_refused() -> None:
    with pytest.raises(JobError, match="did you mean 'green'"):
        unknown_lines((one(value="1 V", line="gren"),), ("red", "green"))
    unknown_lines((one(value="1 V"),), ("red", "green"))


def test_files_that_cannot_be_read(tmp_path: object) -> None:
    folder = tmp_path
    with pytest.raises(JobError, match="cannot be read"):
        read_readings(folder / "none.toml")  # type: ignore[operator]
    large = folder / "large.toml"  # type: ignore[operator]
    large.write_text("# x\n" * 100_000)
    with pytest.raises(JobError, match="larger than"):
        read_readings(large)
    large.write_bytes(b"\xff\xfe")
    with pytest.raises(JobError, match="UTF-8"):
        read_readings(large)


@FUZZ
@given(body=st.text(max_size=300))
def test_fuzz_random_text_never_raises_anything_else(body: str) -> None:
    with pytest.raises(JobError):
        parse_readings(body)


WORDS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        [
            "0.7 V",
            "4.0 div",
            "200 mV/div",
            "x10",
            "tip",
            "open",
            "white",
            "3%",
            "1% + 2 counts",
            "unknown",
            "display",
            "1 s",
        ]
    ),
)


@FUZZ
@given(
    keys=st.dictionaries(
        st.sampled_from(
            [
                "value",
                "scale",
                "probe",
                "scale_at",
                "place",
                "load",
                "picture",
                "accuracy",
                "resolution",
                "range",
                "note",
            ]
        ),
        WORDS,
    ),
    quantity=st.sampled_from(READABLE),
)
def test_fuzz_random_readings_are_refused_or_evaluated(keys: dict[str, str], quantity: str) -> None:
    def quoted(value: str) -> str:
        return '"' + "".join(f"\\U{ord(c):08x}" if not 0xD800 <= ord(c) < 0xE000 else "?" for c in value) + '"'

    body = f'[[reading]]\nline = "red"\nquantity = "{quantity}"\n' + "".join(
        f"{name} = {quoted(value)}\n" for name, value in keys.items()
    )
    sentence, readings = "", ()
    try:
        readings = parse_readings(body)
    except JobError as error:
        sentence = str(error)
    assert "\n" not in sentence
    for reading in readings:
        found = evaluate(reading, MATCHED).quantity
        assert (found.value is None) == (found.failure is not None)
        assert found.uncertainty is None or (math.isfinite(found.uncertainty) and found.uncertainty >= 0)
