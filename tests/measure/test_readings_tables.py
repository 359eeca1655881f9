"""Budgets of typed readings, worked by hand row by row.

A statement of limits is one bound and half the width of a uniform distribution, a step q leaves +/- q/2, and a row
counts with its sensitivity (GUM, JCGM 100:2008). What is presumed of an instrument is printed in instruments.toml: 3 %,
0.1 div + 1 mV of offset, 8 bits over 8 divisions, 2 % of a x10 probe, 1.0 % + 2 counts of a meter, 1 % (bench) and 5 %
(display) of 75 ohm. Loads by Ohm's law.
"""

from __future__ import annotations

from typing import Any

import pytest

from guardcheck.measure.readings import Circumstances, Evaluation, Figure, evaluate, parse_readings
from guardcheck.measure.readings.evaluate import bound_words, picture_share, to_load
from guardcheck.measure.readings.instruments import STATED, figures

MATCHED = Circumstances(75.0)
CONTROL = Circumstances(75.0, signal="control")
PLAIN = {"quantity": "level.white", "picture": "white", "load": "terminated", "place": "connector"}
STEADY = {"quantity": "level.high", "instrument": "meter", "load": "terminated", "place": "connector"}
OTHER = {"quantity": "response.overshoot"}


def proved(case: Circumstances, general: str = "", **keys: Any) -> Evaluation:
    rows = {"line": "red", **keys}
    body = "".join(f"{name} = {'true' if value is True else repr(value)}\n" for name, value in rows.items())
    (reading,) = parse_readings(f"{general}\n[[reading]]\n{body}")
    return evaluate(reading, case)


def widths(found: Evaluation) -> dict[str, float]:
    assert found.budget is not None
    return {row.name: abs(row.sensitivity) * row.half_width for row in found.budget.contributions}


FOUR_DIV = {**PLAIN, "value": "4.0 div", "scale": "200 mV/div", "probe": "x10"}
BUDGETS: dict[str, tuple[Circumstances, str, dict[str, Any], float, dict[str, float]]] = {
    # 4 div of 200 mV are 0.8 V: 3 % is 24 mV, half a tenth of a division 10 mV, 1.6 V / 2^8 / 2 = 3.125 mV, 2 % is
    # 16 mV; 1 % of the load counts by Zout / (Zout + load) = 1/2: 4 mV
    "told of the probe": (
        MATCHED, "", {**FOUR_DIV, "scale_at": "tip"}, 0.8,
        {"accuracy": 0.024, "reading, one end": 0.01, "reading, other end": 0.01, "quantisation": 0.003125,
         "probe": 0.016, "75 ohm load": 0.004},
    ),
    # the same screen behind a probe that still divides by ten: every row ten times
    "not told of the probe": (
        MATCHED, "", {**FOUR_DIV, "scale_at": "input"}, 8.0,
        {"accuracy": 0.24, "reading, one end": 0.1, "reading, other end": 0.1, "quantisation": 0.03125,
         "probe": 0.16, "75 ohm load": 0.04},
    ),
    # bars of 75 %: everything by 0.75, so 0.6 V is 0.8 V; 0.018, 0.0025 + 0.0025, 0.00078125 V by 0.75
    "bars of 75 %": (
        MATCHED, "", {**PLAIN, "value": "12.0 div", "scale": "50 mV/div", "picture": "bars-75"}, 0.8,
        {"accuracy": 0.024, "reading, one end": 0.0025 / 0.75, "reading, other end": 0.0025 / 0.75,
         "quantisation": 0.00078125 / 0.75, "75 ohm load": 0.004},
    ),
    # no scale: at least 4 divisions, so one is 175 mV at most; 8 of them over 256 steps, half: 2.734 mV
    "a voltage without a scale": (
        MATCHED, "", {**PLAIN, "value": "0.700 V"}, 0.7,
        {"accuracy": 0.021, "reading": 0.00875, "quantisation": 0.002734375, "75 ohm load": 0.0035},
    ),
    # a full scale of 2 V over 8 divisions: 250 mV each; 3 % of full scale would be 60 mV
    "a full scale": (
        MATCHED, "", {**PLAIN, "value": "0.700 V", "range": "2 V"}, 0.7,
        {"accuracy": 0.021, "reading": 0.0125, "quantisation": 2 / 256 / 2, "75 ohm load": 0.0035},
    ),
    "of a full scale": (
        MATCHED, "", {**PLAIN, "value": "0.700 V", "range": "2 V", "accuracy": "3% of full scale"}, 0.7,
        {"accuracy": 0.06, "reading": 0.0125, "quantisation": 2 / 256 / 2, "75 ohm load": 0.0035},
    ),
    # a cursor that steps by 5 mV says how well it was read, and by then the converter's steps are in it
    "a stated step": (
        MATCHED, "", {**PLAIN, "value": "0.700 V", "scale": "200 mV/div", "resolution": "5 mV"}, 0.7,
        {"accuracy": 0.021, "reading": 0.0025, "75 ohm load": 0.0035},
    ),
    # divisions counted by eye to a fifth: the step is the eye's, the converter's comes beside it
    "a stated step by eye": (
        MATCHED, "", {**PLAIN, "value": "3.5 div", "scale": "200 mV/div", "resolution": "0.2 div"}, 0.7,
        {"accuracy": 0.021, "reading": 0.02, "quantisation": 0.003125, "75 ohm load": 0.0035},
    ),
    # counts on a screen are those of the last digit written: one of 3.50 div of 200 mV is 2 mV
    "counts by eye": (
        MATCHED, "", {**PLAIN, "value": "3.50 div", "scale": "200 mV/div", "accuracy": "3 counts"}, 0.7,
        {"accuracy": 0.006, "reading, one end": 0.01, "reading, other end": 0.01, "quantisation": 0.003125,
         "75 ohm load": 0.0035},
    ),
    "counts of a stated step": (
        MATCHED, "",
        {**PLAIN, "value": "0.70 V", "scale": "0.2 V/div", "accuracy": "3 counts", "resolution": "5 mV",
         "instrument": "scope"},
        0.7, {"accuracy": 0.015, "reading": 0.0025, "75 ohm load": 0.0035},
    ),
    # against 0 V the offset counts: a tenth of 200 mV and 1 mV
    "a level against zero": (
        MATCHED, "", {**PLAIN, "quantity": "level.blank", "value": "0.50 V", "scale": "200 mV/div", "coupling": "dc"},
        0.5, {"accuracy": 0.015, "offset": 0.021, "reading": 0.01, "quantisation": 0.003125, "75 ohm load": 0.0025},
    ),
    "its accuracy stated": (
        MATCHED, "", {**PLAIN, "quantity": "level.blank", "value": "0.50 V", "scale": "200 mV/div", "accuracy": "1%"},
        0.5, {"accuracy": 0.005, "reading": 0.01, "quantisation": 0.003125, "75 ohm load": 0.0025},
    ),
    # nothing on the screen still has the probe's factor: ten times 10 + 1 mV of offset
    "nothing behind a probe": (
        MATCHED, "",
        {**PLAIN, "quantity": "level.blank", "value": "0 V", "scale": "0.1 V/div", "probe": "x10", "scale_at": "input"},
        0.0, {"accuracy": 0.0, "offset": 0.11, "reading": 0.05, "quantisation": 0.015625, "probe": 0.0,
              "75 ohm load": 0.0},
    ),
    "nothing at the tip": (
        MATCHED, "",
        {**PLAIN, "quantity": "level.blank", "value": "0 V", "scale": "100 mV/div", "probe": "x10", "scale_at": "tip"},
        0.0, {"accuracy": 0.0, "offset": 0.011, "reading": 0.005, "quantisation": 0.0015625, "probe": 0.0,
              "75 ohm load": 0.0},
    ),
    "nothing, straight in": (
        MATCHED, "",
        {**PLAIN, "quantity": "level.blank", "value": "0 V", "scale": "100 mV/div", "scale_at": "input"},
        0.0, {"accuracy": 0.0, "offset": 0.011, "reading": 0.005, "quantisation": 0.0015625, "75 ohm load": 0.0},
    ),
    # offset 1 % of 0.5 V + 20 mV + 1 mV; step 1 % of 0.5 V + 20 mV + 2 mV; 10 divisions of 200 mV in 2^10 steps
    "an instrument of its own": (
        MATCHED,
        '[scope]\naccuracy = "1%"\noffset = "1% + 0.1 div + 1 mV"\nresolution = "1% + 0.1 div + 2 mV"\nbits = "10"\n'
        'divisions = "10"\n',
        {**PLAIN, "quantity": "level.blank", "value": "0.50 V", "scale": "200 mV/div"},
        0.5, {"accuracy": 0.005, "offset": 0.026, "reading": 0.0135, "quantisation": 2 / 1024 / 2,
              "75 ohm load": 0.0025},
    ),
    "a stated probe": (
        MATCHED, "", {**FOUR_DIV, "probe": "x1", "probe_tolerance": "1%", "termination": "75 ohm 3%"}, 0.8,
        {"accuracy": 0.024, "reading, one end": 0.01, "reading, other end": 0.01, "quantisation": 0.003125,
         "probe": 0.008, "75 ohm load": 0.012},
    ),
    "a direct lead told": (
        MATCHED, "", {**PLAIN, "value": "0.700 V", "resolution": "1 mV", "probe": "x1"}, 0.7,
        {"accuracy": 0.021, "reading": 0.0005, "75 ohm load": 0.0035},
    ),
    "a stated x100": (
        MATCHED, "", {**FOUR_DIV, "probe": "x100", "probe_tolerance": "1%", "scale_at": "input"}, 80.0,
        {"accuracy": 2.4, "reading, one end": 1.0, "reading, other end": 1.0, "quantisation": 0.3125,
         "probe": 0.8, "75 ohm load": 0.4},
    ),
    "a display": (
        MATCHED, "", {**PLAIN, "value": "0.700 V", "resolution": "1 mV", "place": "display"}, 0.7,
        {"accuracy": 0.021, "reading": 0.0005, "75 ohm load": 0.05 * 0.7 / 2},
    ),
    # 25 ohm behind the line: 25 / 100 of the load's tolerance; nothing known of it: all of it
    "a low output impedance": (
        Circumstances(25.0), "", {**PLAIN, "value": "-0.700 V", "quantity": "level.black", "resolution": "1 mV"}, -0.7,
        {"accuracy": 0.021, "reading": 0.0005, "75 ohm load": 0.007 / 4},
    ),
    "no output impedance": (
        Circumstances(), "", {**PLAIN, "value": "0.700 V", "resolution": "1 mV"}, 0.7,
        {"accuracy": 0.021, "reading": 0.0005, "75 ohm load": 0.007},
    ),
    # open: times 75 / (75 + 50) = 0.6; d/dZ is -V 75 / 125^2 = -6 mV per ohm at 1.25 V, so 2 ohm are 12 mV
    "an open line": (
        Circumstances(50.0, 2.0), "", {**PLAIN, "value": "1.25 V", "resolution": "10 mV", "load": "open"}, 0.75,
        {"accuracy": 0.0225, "reading": 0.003, "output impedance": 0.012},
    ),
    # 1 % of 10.9 V and two counts of 0.1 V
    "a meter": (
        CONTROL, "", {**STEADY, "value": "10.9 V"}, 10.9, {"accuracy": 0.309, "75 ohm load": 0.109 / 2},
    ),
    "a meter on its own input": (
        CONTROL, "", {**STEADY, "value": "10.9 V", "resolution": "10 mV"}, 10.9,
        {"accuracy": 0.129, "75 ohm load": 0.109 / 2},
    ),
    "a meter of range": (
        CONTROL, "", {**STEADY, "value": "10.9 V", "range": "20 V", "accuracy": "1% + 0.5% of range"}, 10.9,
        {"accuracy": 0.209, "reading": 0.05, "75 ohm load": 0.109 / 2},
    ),
    "a meter whose range is not told": (
        CONTROL, "", {**STEADY, "value": "-10.0 V", "accuracy": "1% + 0.5% of range"}, -10.0,
        {"accuracy": 0.15, "reading": 0.05, "75 ohm load": 0.05},
    ),
    # 100 ppm of 4.7 us, and half a tenth of 1 us at both ends
    "a time in divisions": (
        MATCHED, "", {"quantity": "timing.sync_width", "value": "4.7 div", "scale": "1 us/div"}, 4.7e-6,
        {"accuracy": 4.7e-10, "reading, one end": 5e-8, "reading, other end": 5e-8},
    ),
    # 8 us over 4 divisions at least: 2 us each
    "a time": (
        MATCHED, "", {"quantity": "timing.back_porch", "value": "8.00 us"}, 8e-6,
        {"accuracy": 8e-10, "reading": 1e-7},
    ),
    "a frequency": (
        MATCHED, "", {"quantity": "burst.frequency", "value": "4.4336 MHz"}, 4.4336e6,
        {"accuracy": 443.36, "reading": 50.0},
    ),
    "a share of the value": (MATCHED, "", {**OTHER, "value": "3%", "accuracy": "1%"}, 0.03, {"accuracy": 3e-4}),
    "a share of a scale nobody told": (
        MATCHED, "", {**OTHER, "value": "3%", "accuracy": "10% of full scale"}, 0.03, {"accuracy": 3e-3},
    ),
    "a share of a scale": (
        MATCHED, "", {**OTHER, "value": "3%", "accuracy": "10% of full scale", "range": "20%"}, 0.03,
        {"accuracy": 0.02},
    ),
    "a count of a percentage": (
        MATCHED, "", {**OTHER, "value": "3.0%", "accuracy": "2 counts", "instrument": "scope"}, 0.03,
        {"accuracy": 2e-3},
    ),
    "noise behind a probe": (
        MATCHED, "",
        {**PLAIN, "quantity": "noise.rms", "value": "2 mV", "scale": "2 mV/div", "probe": "x10", "scale_at": "tip",
         "resolution": "0.1 mV"},
        0.002, {"accuracy": 6e-5, "reading": 5e-5, "probe": 4e-5, "75 ohm load": 1e-5},
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", list(BUDGETS))
def test_every_row_of_a_budget_by_hand(name: str) -> None:
    case, general, keys, value, rows = BUDGETS[name]
    found = proved(case, general, **keys)
    assert found.quantity.value == pytest.approx(value, rel=1e-9, abs=1e-15)
    assert widths(found) == pytest.approx(rows, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize(
    ("written", "digit"),
    [
        ("5.00 V", 0.01),
        ("5.00V", 0.01),
        ("0.0 mV", 1e-4),
        ("703.5mV", 1e-4),
        ("5.00e-1 V", 1e-3),
        ("3V3", 0.1),
        ("7 V", 1.0),
        ("-.25 V", 0.01),
    ],
)
def test_a_count_is_one_of_the_last_digit_however_it_is_spelled(written: str, digit: float) -> None:
    found = proved(CONTROL, **STEADY, value=written, accuracy="2 counts")
    assert widths(found)["accuracy"] == pytest.approx(2 * digit)


def test_the_conversion_of_an_open_line_falls_with_its_impedance() -> None:
    """V 75 / (75 + Z) at 1.25 V and 50 ohm: 0.75 V, -6 mV per ohm."""
    loaded = to_load("level.white", 1.25, "open", Circumstances(50.0, 2.0))
    assert not isinstance(loaded, str)
    value, factor, (row,) = loaded
    assert (value, factor) == pytest.approx((0.75, 0.6))
    assert (row.sensitivity, row.half_width) == pytest.approx((-0.006, 2.0))
    assert to_load("level.white", 1.25, "terminated", Circumstances()) == (1.25, 1.0, [])
    for quantity in ("level.blank", "level.high", "level.low"):
        assert "direct voltage" in str(to_load(quantity, 1.25, "open", Circumstances(50.0)))


def test_nothing_is_known_of_a_line_unless_it_is_told() -> None:
    """No spread of the impedance, no sync (so 75 % bars are 75 % of the peak), no chroma, no setup, 75 ohm."""
    found = proved(MATCHED, **{**PLAIN, "quantity": "level.pp", "value": "0.600 V", "picture": "bars-75"})
    assert found.quantity.value == pytest.approx(0.8)
    opened = proved(MATCHED, **{**PLAIN, "value": "1.400 V", "load": "open"})
    assert widths(opened)["output impedance"] == 0.0
    assert opened.quantity.value == pytest.approx(0.7)
    alone = evaluate(parse_readings("[[reading]]\nline='red'\nquantity='level.white'\nvalue='1.4 V'\nload='open'\n")[0])
    assert "output impedance of the stage is not known" in str(alone.quantity.failure)


SHARES = {
    # bars of 75 % reach 75 % of white; with 7.5 % of setup under them 0.075 + 0.75 x 0.925 = 0.76875 of it
    ("level.white", "white"): (None, 1.0),
    ("level.white", "bars-100"): (None, 1.0),
    ("level.white", "bars-75"): (None, 0.76875),
    ("level.white", "other"): ("at_least", 1.0),
    ("level.white", None): ("at_least", 1.0),
    ("level.pp", "bars-75"): (None, 0.76875),
    ("level.pp", None): ("at_least", 1.0),
    ("level.black", None): (None, 1.0),
    ("level.sync", "bars-75"): (None, 1.0),
    ("burst.amplitude", "other"): (None, 1.0),
}


@pytest.mark.parametrize(("quantity", "picture"), list(SHARES))
def test_the_share_of_white_a_picture_shows(quantity: str, picture: str | None) -> None:
    bound, share = picture_share(quantity, picture, Circumstances(setup=0.075))
    assert bound == SHARES[quantity, picture][0]
    assert share == pytest.approx(SHARES[quantity, picture][1], rel=1e-12)
    assert picture_share(quantity, picture, Circumstances(signal="sync", setup=0.075)) == (None, 1.0)


@pytest.mark.parametrize(
    ("picture", "chroma", "bound"),
    [
        ("white", False, None),
        ("white", True, None),
        ("bars-100", False, None),
        ("bars-100", True, "at_most"),
        ("bars-75", False, "at_least"),
        ("bars-75", True, None),
    ],
)
def test_peak_to_peak_of_a_line_with_sync_is_never_scaled(picture: str, chroma: bool, bound: str | None) -> None:
    """Luma of 75 % yellow and its chroma reach white, 100 % bars go beyond it (ITU-R BT.470 equations)."""
    case = Circumstances(has_sync=True, has_chroma=chroma)
    assert picture_share("level.pp", picture, case) == (bound, 1.0)
    white = picture_share("level.white", picture, case)
    assert white == (None, 0.75 if picture == "bars-75" else 1.0)


def test_a_bound_says_which_side_it_proves() -> None:
    assert bound_words(None, "at_least") == (
        "the picture is not declared, so 100 % white is no lower than this: such a reading can show a level too high,"
        " never that it conforms"
    )
    assert bound_words("bars-100", "at_most") == (
        "the picture is 'bars-100', so 100 % white is no higher than this: such a reading can show a level too low,"
        " never that it conforms"
    )


STEPS = {
    "plain": ({**PLAIN, "value": "0.700 V", "probe": "x1"}, ("read '0.700 V' at the unit's connector, into 75 ohm",)),
    "nothing told": (
        {"quantity": "level.black", "value": "12.3456 mV"},
        (
            "read '12.3456 mV' at a place not declared, load not declared",
            "no probe declared: taken as a direct connection",
            "the load is not declared: the value stays as seen",
        ),
    ),
    "probe": (
        {**PLAIN, "value": "123.456 mV", "probe": "x10", "scale_at": "input"},
        ("read '123.456 mV' at the unit's connector, into 75 ohm", "times 10 for the probe: 1.235 V"),
    ),
    "open": (
        {**PLAIN, "value": "2.46913 V", "probe": "x1", "load": "open"},
        (
            "read '2.46913 V' at the unit's connector, with nothing but the instrument connected",
            "raw 2.469 V with an open line is 1.235 V into 75 ohm behind 75 ohm"
            " (simulated from this job's own netlist)",
        ),
    ),
    "bars": (
        {**PLAIN, "value": "123.456 mV", "probe": "x1", "picture": "bars-75"},
        (
            "read '123.456 mV' at the unit's connector, into 75 ohm",
            "scaled from 75 % to 100 % white: 164.6 mV (if the white bar itself stands at 100 %, declare bars-100)",
        ),
    ),
    "coupling": (
        {**PLAIN, "quantity": "level.blank", "value": "0.1 V", "probe": "x1"},
        (
            "read '0.1 V' at the unit's connector, into 75 ohm",
            "the scope's coupling is not declared: on AC it hides the direct voltage",
        ),
    ),
}


@pytest.mark.parametrize("name", list(STEPS))
def test_every_step_is_told_in_order(name: str) -> None:
    keys, steps = STEPS[name]
    found = proved(MATCHED, **keys)
    assert found.steps == steps
    assert found.quantity.notes == tuple(f"{step[0].upper()}{step[1:]}." for step in steps)


def test_a_reading_that_proves_nothing_keeps_its_steps() -> None:
    found = proved(MATCHED, **PLAIN, value="unknown", probe="x1")
    assert found.steps == ("no reading yet",)
    assert found.quantity.notes == ("No reading yet.",)
    assert found.quantity.failure == "it has not been read yet"
    assert (found.quantity.value, found.budget) == (None, None)


USELESS = {
    "a picture on a meter": (MATCHED, {**PLAIN, "value": "0.3 V", "instrument": "meter"}, "mean of the whole signal"),
    "a still white on a meter": (
        MATCHED,
        {**PLAIN, "value": "0.3 V", "instrument": "meter", "steady": True},
        "mean of the whole signal",
    ),
    "a still line on a meter": (
        MATCHED,
        {**PLAIN, "quantity": "level.blank", "value": "0.3 V", "instrument": "meter", "steady": True},
        None,
    ),
    "a live line on a meter": (
        MATCHED,
        {**PLAIN, "quantity": "level.blank", "value": "0.3 V", "instrument": "meter"},
        "mean of the whole signal",
    ),
    "a control line on a meter": (CONTROL, {**STEADY, "value": "0.3 V"}, None),
    "a ratio on a meter": (MATCHED, {**OTHER, "value": "3%", "instrument": "meter"}, None),
    "a picture on a scope": (MATCHED, {**PLAIN, "value": "0.3 V"}, None),
    "blanking on AC": (MATCHED, {**PLAIN, "quantity": "level.blank", "value": "0 V", "coupling": "ac"}, "AC coupling"),
    "a high level on AC": (
        MATCHED,
        {**PLAIN, "quantity": "level.high", "value": "5 V", "coupling": "ac"},
        "AC coupling",
    ),
    "a low level on AC": (MATCHED, {**PLAIN, "quantity": "level.low", "value": "0 V", "coupling": "ac"}, "AC coupling"),
    "a high level on DC": (MATCHED, {**PLAIN, "quantity": "level.high", "value": "5 V", "coupling": "dc"}, None),
    "blanking on DC": (MATCHED, {**PLAIN, "quantity": "level.blank", "value": "0 V", "coupling": "dc"}, None),
    "white on AC": (MATCHED, {**PLAIN, "value": "0.7 V", "coupling": "ac"}, None),
    "white at the pin": (MATCHED, {**PLAIN, "value": "2 V", "place": "pin"}, "at the chip's pin (2 V)"),
    "a time at the pin": (MATCHED, {"quantity": "timing.sync_width", "value": "4.7 us", "place": "pin"}, None),
    "hum at the pin": (MATCHED, {**PLAIN, "quantity": "noise.hum", "value": "4 mV", "place": "pin"}, None),
    "two scales": (
        MATCHED,
        {**PLAIN, "value": "123.456 mV", "probe": "x10"},
        "it is 123.5 mV if the scale is already that at the probe's tip, 1.235 V if it is that at the instrument's",
    ),
    "a time behind a probe": (MATCHED, {"quantity": "timing.sync_width", "value": "4.7 us", "probe": "x10"}, None),
}


@pytest.mark.parametrize("name", list(USELESS))
def test_which_readings_prove_nothing(name: str) -> None:
    case, keys, words = USELESS[name]
    found = proved(case, **keys).quantity
    assert (found.value is None) == (words is not None)
    assert (words or "None") in str(found.failure)


@pytest.mark.parametrize("quantity", ["level.blank", "level.high", "level.low"])
def test_a_level_against_0_v_needs_the_coupling_of_the_scope(quantity: str) -> None:
    keys = {**PLAIN, "quantity": quantity, "value": "0.5 V"}
    assert proved(MATCHED, **keys).quantity.unknowns == ("coupling",)
    assert proved(MATCHED, **keys, coupling="dc").quantity.unknowns == ()
    control = Circumstances(75.0, signal="control")
    assert proved(control, **{**STEADY, "quantity": quantity, "value": "0.3 V"}).quantity.unknowns == ()  # a meter


def test_only_voltages_that_scale_are_loaded() -> None:
    """Hum moves with the supply, not with the load; a time and a ratio do not change with it either."""
    for keys in (
        {"quantity": "noise.hum", "value": "4 mV"},
        {"quantity": "timing.sync_width", "value": "4.7 us"},
        {"quantity": "response.overshoot", "value": "3%"},
    ):
        found = proved(MATCHED, load="open", **keys)
        assert found.quantity.unknowns == ()
        assert "output impedance" not in widths(found)


def test_a_percentage_of_nothing_is_no_uncertainty() -> None:
    """1 % of 0 is 0: such a statement does not say how near to nothing it is, so nothing is known."""
    assert proved(MATCHED, **OTHER, value="0%", accuracy="1%").quantity.uncertainty is None
    assert proved(MATCHED, **OTHER, value="2%", accuracy="1%").quantity.uncertainty == pytest.approx(2 * 2e-4 / 3**0.5)
    assert proved(MATCHED, **OTHER, value="2%").quantity.uncertainty is None


def test_a_figure_says_how_it_is_known_unless_it_was_read_or_stated() -> None:
    assert Figure("3%", "a data sheet", "read").cited() == "presumed: a data sheet"
    assert Figure("3%", STATED).cited() == STATED
    assert Figure("3%", "a data sheet", "practice").cited().startswith("presumed: a data sheet (")
    own = figures("scope", {"accuracy": "1%"})
    assert own["accuracy"] == Figure("1%", STATED)
    assert own["bits"].text == "8"
    assert "title" not in figures("meter")
    assert set(figures("meter")) == {"accuracy"}


def test_sources_tell_stated_from_presumed() -> None:
    stated = proved(CONTROL, **STEADY, value="10.9 V", accuracy="1%", resolution="0.1 V", termination="1%")
    assert stated.budget is not None
    assert {row.name: row.source for row in stated.budget.contributions} == dict.fromkeys(
        ("accuracy", "reading", "75 ohm load"), STATED
    )
    presumed = proved(CONTROL, **{**STEADY, "place": "display"}, value="10.9 V")
    assert presumed.budget is not None
    assert all(row.source.startswith("presumed: ") for row in presumed.budget.contributions)
    digit = proved(CONTROL, **STEADY, value="10.9 V", accuracy="1%")
    assert digit.budget is not None
    assert [row.source for row in digit.budget.contributions if row.name == "reading"] == ["last digit written"]
