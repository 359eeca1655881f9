"""The edges of the bench rules by hand: on a limit, just beyond it, and what is said there.

A uniform half-width a counts as U = 2 a / sqrt(3) (JCGM 100:2008, k = 2). What a charged capacitor may keep: table 5 of
IEC 62368-1 (ES1), straight lines between its rows: 60 V from 300 nF on, 100 V at 91 nF, 75 V at 170 nF.
"""

from __future__ import annotations

import re
from math import exp
from typing import Any

import pytest

from guardcheck.model import (
    BETTER,
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    SAME,
    STRIKE,
    WORSE,
    Fact,
    Facts,
    Finding,
    Quantity,
    Value,
)
from guardcheck.rules import judge_all
from guardcheck.rules.srv01_service_checks import asks


def exact(value: float, unit: str) -> Value:
    return Value.exact(value, unit, text=f"{value:g} {unit}")


def only(facts: Facts, rule: str) -> dict[str, Finding]:
    return {one.id: one for one in judge_all(facts) if one.rule == rule}


# --- insulation and touch check --------------------------------------------------------------------------------------


def insulation(ohms: float | None, volts: float | None = 500.0, *, place: str = "supply", **told: Any) -> Finding:
    """Return the finding of a reading of 0.1 % (None: over a range of 2 Mohm)."""
    reading: dict[str, Any] = {"value": "over range" if ohms is None else exact(ohms, "ohm"), "accuracy": "0.1%"}
    reading |= {"resolution": exact(1e3, "ohm"), **told.pop("reading", {})}
    reading |= {} if volts is None else {"test_voltage": exact(volts, "V")}
    facts = Facts(**{place: {**told, "insulation_reading": reading}})
    (found,) = only(facts, "SRV01").values()
    return found


@pytest.mark.parametrize(
    ("place", "told", "least"),
    [
        ("display", {"earthed": True}, 1e6),
        ("display", {"earthed": False}, 2e6),
        ("display", {"earthed": "unknown"}, 2e6),
        ("display", {}, 2e6),
        ("supply", {"protection_class": "I"}, 1e6),
        ("supply", {"protection_class": "II"}, 2e6),
        ("supply", {"protection_class": "unknown"}, 2e6),
        ("supply", {}, 2e6),
    ],
)
def test_insulation_is_held_to_class_two_unless_earth_is_said(place: str, told: dict[str, Any], least: float) -> None:
    found = insulation(1.5e6, place=place, **told)
    assert found.low == least
    assert found.outcome == (CONFORMS if least == 1e6 else DOES_NOT_CONFORM)


@pytest.mark.parametrize(
    ("volts", "outcome", "words"),
    [
        (250.0, CONFORMS, ""),
        (249.0, NOT_PROVEN, "it was tested at 249 V only; insulation is proven from 250 V up"),
        (None, NOT_PROVEN, "it was tested at a voltage nobody declared"),
    ],
)
def test_insulation_is_proven_from_250_volts_up(volts: float | None, outcome: str, words: str) -> None:
    found = insulation(50e6, volts)
    assert found.outcome == outcome
    assert words in found.why


@pytest.mark.parametrize(
    ("span", "outcome", "words"),
    [
        (2e6, CONFORMS, "Over range proves more than 2 Mohm; at least 2 Mohm is wanted."),
        (1.9e6, NOT_PROVEN, "Not proven: Over range proves more than 1.9 Mohm"),
        (None, NOT_PROVEN, "the end of the meter's range is not declared"),
    ],
)
def test_over_range_proves_the_end_of_the_range(span: float | None, outcome: str, words: str) -> None:
    found = insulation(None, reading={} if span is None else {"meter_range": exact(span, "ohm")})
    assert found.outcome == outcome
    assert words in found.why


def test_a_touch_check_is_simulated_where_mains_and_frequency_are_known() -> None:
    read = {"service_reading": {"value": exact(0.2, "V")}, "y_capacitance": exact(2.2e-9, "F"), "y_coupling": "single"}
    mains, frequency = {"mains": exact(230.0, "V")}, {"mains_frequency": exact(50.0, "Hz")}
    (asked,) = asks(Facts(supply={**read, **mains, **frequency}))
    assert (asked.key, asked.values["mains"], asked.values["y_live"]) == ("SRV01/unit", 230.0, 2.2e-9)
    for told in (mains, frequency, {}):
        assert asks(Facts(supply={**read, **told})) == ()
    assert asks(Facts(supply={**mains, **frequency, "y_capacitance": exact(2.2e-9, "F")})) == ()
    assert asks(Facts(supply={**mains, **frequency, "service_reading": read["service_reading"]})) == ()


# --- touch current ---------------------------------------------------------------------------------------------------


def joined(amps: float) -> Finding:
    """Return the joined current of a unit of unknown capacitance and a display of 2.2 nF 20 %, mains unknown.

    What is simulated is the voltage across the weighted network of IEC 60990: its 500 ohm turn it into the current.
    """
    supply = {
        "y_capacitance": "unknown",
        "y_coupling": "single",
        "mains": "unknown",
        "mains_frequency": exact(50, "Hz"),
    }
    display = {"y_capacitance": Value(2.2e-9, "F", 1.76e-9, 2.64e-9), "y_coupling": "single"}
    answers = {f"TCH01/{where}": 500.0 * amps for where in ("unit", "display", "joined")}
    facts = Facts(supply=supply, display=display, answers=answers, settings={"touch_standard": "iec-60950-1"})
    return only(facts, "TCH01")["TCH01/touch.current/joined"]


def test_the_doubt_of_a_joined_current_is_that_of_its_sums() -> None:
    """4.7 + 2.2 nF at 240 V are taken; at least 0.1 + 1.76 nF at 100 V, at most 4.7 + 2.64 nF at 240 V."""
    found = joined(1e-3)
    assert "Y capacitance of unit, mains)" in found.why
    assert found.spread == pytest.approx((1e-3 * 1.86 / 6.9 * 100 / 240, 1e-3 * 7.34 / 6.9))


@pytest.mark.parametrize(("amps", "outcome"), [(1.66e-3, DOES_NOT_CONFORM), (1.61e-3, NOT_PROVEN)])
def test_a_joined_current_fails_by_what_is_certain(amps: float, outcome: str) -> None:
    """Certain are 0.1 + 2.2 of 6.9 nF and 100 of 240 V: 0.1389; 1.1 times that passes 0.25 mA from 1.636 mA on."""
    assert joined(amps).outcome == outcome


@pytest.mark.parametrize(("amps", "outcome"), [(1.20e-3, DOES_NOT_CONFORM), (1.15e-3, NOT_PROVEN)])
def test_a_declared_capacitance_is_certain_at_its_nominal(amps: float, outcome: str) -> None:
    """1 nF 20 % and an unknown one: 1.0 + 0.1 of 5.7 nF are certain; 1.1 times that passes 0.25 mA from 1.178 mA on."""
    supply = {"y_capacitance": Value(1e-9, "F", 0.8e-9, 1.2e-9), "mains": exact(230, "V")}
    supply |= {"mains_frequency": exact(50, "Hz"), "y_coupling": "single"}
    display = {"y_capacitance": "unknown", "y_coupling": "single"}
    answers = {f"TCH01/{where}": 500.0 * amps for where in ("unit", "display", "joined")}
    facts = Facts(supply=supply, display=display, answers=answers, settings={"touch_standard": "iec-60950-1"})
    assert only(facts, "TCH01")["TCH01/touch.current/joined"].outcome == outcome


def test_a_measured_touch_current_without_accuracy_is_still_wanted() -> None:
    reading = {"value": exact(1e-4, "A")}
    found = only(Facts(supply={"touch_reading": reading}), "TCH01")["TCH01/touch.current/unit"]
    assert (found.outcome, found.needed) == (NOT_PROVEN, True)


# --- stress at the pin -----------------------------------------------------------------------------------------------


def strikes(mod: tuple[float, float], original: tuple[float, float]) -> Finding:
    """Return how a build stands to the original, each with its margins at 2 and 4 kV [dB]."""
    margins = tuple(
        Quantity(
            "event.margin", "red", False, mine, spread=(mine, mine), event="strike", severity=level, use=STRIKE,
            against_original=SAME, original=theirs, original_spread=(theirs, theirs),
        )
        for level, mine, theirs in zip(("2 kV", "4 kV"), mod, original, strict=True)
    )  # fmt: skip
    return next(one for one in judge_all(Facts(margins)) if one.quantity == "event.withstands")


@pytest.mark.parametrize(
    ("mod", "original", "words", "against"),
    [
        ((9.0, 3.0), (9.0, -9.0), "Withstands 4 kV; better than the original build, which withstands 2 kV.", BETTER),
        ((9.0, -9.0), (9.0, 9.0), "; worse than the original build, which withstands 4 kV.", WORSE),
        ((9.0, -9.0), (9.0, 1.0), "; the same as the original build, which withstands 2 kV.", SAME),
        ((9.0, 9.0), (1.0, 9.0), "; better than the original build, which withstands not even 2 kV.", BETTER),
    ],
)
def test_kilovolts_beside_the_original(
    mod: tuple[float, float], original: tuple[float, float], words: str, against: str
) -> None:
    found = strikes(mod, original)
    assert found.why.endswith(words)
    assert found.against_original == against


def test_a_margin_that_was_not_simulated_says_why_if_anybody_knows() -> None:
    for failure, words in ((None, "Not proven: no margin was obtained."), ("no convergence", "no convergence.")):
        (found,) = only(Facts((Quantity("event.margin", "red", False, None, failure=failure),)), "EVT01").values()
        assert found.outcome == NOT_PROVEN
        assert found.why.endswith(words)


# --- lasers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("metres", "doubted"), [(700e-9, True), (701e-9, False)])
def test_the_limit_of_visible_light_ends_at_700_nanometres(metres: float, doubted: bool) -> None:
    declared = {"others": False, "laser": True, "laser_wavelength": exact(metres, "m")}
    facts = Facts(declared=(Fact("hazards", 0, "hazards", declared),))
    told = next(one.why for one in judge_all(facts) if one.quantity == "laser.power")
    assert (re.search(r"class 3R at \S+ \S+ \(from memory", told) is not None) == doubted


# --- set-points ------------------------------------------------------------------------------------------------------


def setpoint(shown: float, accuracy: str | None = None, **told: Any) -> Finding:
    entries = {
        "quantity": "video level",
        "before": exact(0.66, "V"),
        "target": Value(0.70, "V", 0.665, 0.735, text="0.70 V 5%"),
        "after": exact(shown, "V"),
        **({} if accuracy is None else {"accuracy": accuracy}),
        **told,
    }
    facts = Facts(declared=(Fact("setpoint", 0, "VR1", {k: v for k, v in entries.items() if v is not None}),))
    (found,) = only(facts, "SET01").values()
    return found


@pytest.mark.parametrize(
    ("after", "outcome"),
    [  # U = 2 x 1 mV / sqrt(3) = 1.155 mV
        (0.7338, CONFORMS),
        (0.7340, NOT_PROVEN),
        (0.7360, NOT_PROVEN),
        (0.7363, DOES_NOT_CONFORM),
        (0.6662, CONFORMS),
        (0.6660, NOT_PROVEN),
        (0.6637, DOES_NOT_CONFORM),
    ],
)
def test_a_set_point_conforms_with_room_for_its_uncertainty(after: float, outcome: str) -> None:
    found = setpoint(after, "0.001 V")
    assert found.outcome == outcome
    assert found.uncertainty == pytest.approx(1.1547e-3, rel=1e-4)
    assert "It read 0.66 V before." in found.why


@pytest.mark.parametrize(
    ("after", "side"), [(0.665, "inside"), (0.735, "inside"), (0.6649, "outside"), (0.7351, "outside")]
)
def test_without_accuracy_a_set_point_lies_somewhere_and_proves_nothing(after: float, side: str) -> None:
    found = setpoint(after)
    assert (found.outcome, found.uncertainty) == (NOT_PROVEN, None)
    assert f"lies {side} 0.70 V 5%" in found.why


@pytest.mark.parametrize(
    ("width", "after", "remedy"),
    [  # 35 mV either way: U is 34.64 mV of 30 mV, 35.22 mV of 30.5 mV
        ("30 mV", 0.90, "set it again and measure"),
        ("30.5 mV", 0.90, "set it again, and measure it with a better meter"),
        ("30.5 mV", 0.735, "measure it with a better meter"),
        ("30.5 mV", 0.665, "measure it with a better meter"),
        ("30.5 mV", 0.664, "set it again, and measure it with a better meter"),
    ],
)
def test_turning_helps_where_a_meter_could_show_it(width: str, after: float, remedy: str) -> None:
    assert (setpoint(after, width).remedy or "").startswith(remedy)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"before": None}, "no value of video level was noted before it was touched"),
        ({"after": None}, "video level read 0.66 V before; no value after is noted"),
        ({"target": None}, "no wanted value says why"),
        ({"target": exact(0.7, "V")}, "has no tolerance"),
        ({"before": exact(1.0, "ohm")}, "in different units (V, ohm)"),
    ],
)
def test_a_set_point_needs_all_three_values(told: dict[str, Any], words: str) -> None:
    found = setpoint(0.7, "0.001 V", **told)
    assert found.outcome == NOT_PROVEN
    assert words in found.why


# --- stored charge ---------------------------------------------------------------------------------------------------

METER = {"accuracy": "0.5% + 2 counts", "resolution": exact(0.1, "V")}
BULK = {"capacitance": exact(220e-6, "F"), "voltage": exact(325.0, "V")}


def stored(
    read: float | None = None, after: float | None = None, *, meter: bool = True, **told: Any
) -> dict[str, Finding]:
    entries = dict(told)
    if read is not None:
        when = {} if after is None else {"after": exact(after, "s")}
        entries["reading"] = {"value": exact(read, "V"), **(METER if meter else {}), **when}
    facts = Facts(declared=(Fact("capacitor", 0, "C1", entries),))
    return {one.quantity: one for one in only(facts, "STO01").values()}


def test_a_plug_is_read_within_two_seconds() -> None:
    """100 nF and 1 Mohm: 0.1 s; 100 nF may keep 100 - 25 x 9 / 79 = 97.15 V."""
    plug = {"capacitance": exact(100e-9, "F"), "voltage": exact(325.0, "V"), "bleeder": exact(1e6, "ohm")}
    for place, after, outcome in (("plug", 2.0, CONFORMS), ("plug", 2.1, NOT_PROVEN), ("internal", 2.1, CONFORMS)):
        found = stored(1.0, after, **plug, connected=place)["stored.voltage"]
        assert (found.outcome, found.high) == (outcome, pytest.approx(97.152, abs=1e-3))


def test_a_reading_may_be_half_of_what_twice_the_bleeding_leaves_and_no_less() -> None:
    """220 uF x 100 kohm = 22 s: half of 325 V x exp(-2 x 20 / 22) is 26.4 V; of 300 V it is 24.3 V."""
    assert 0.5 * 325 * exp(-40 / 22) == pytest.approx(26.4, abs=0.05)
    bleeder = exact(100e3, "ohm")
    assert stored(27.0, 20.0, **BULK, bleeder=bleeder)["stored.voltage"].outcome == CONFORMS
    assert stored(25.0, 20.0, **BULK, bleeder=bleeder)["stored.voltage"].outcome == NOT_PROVEN
    low = {**BULK, "voltage": Value(325.0, "V", 300.0, 350.0)}
    assert stored(25.0, 20.0, **low, bleeder=bleeder)["stored.voltage"].outcome == CONFORMS
    quick = {**BULK, "bleeder": Value(100e3, "ohm", 90e3, 110e3)}  # 19.8 s: 21.6 V
    assert stored(22.0, 20.0, **quick)["stored.voltage"].outcome == CONFORMS
    assert stored(21.0, 20.0, **quick)["stored.voltage"].outcome == NOT_PROVEN


def test_twice_the_limit_is_dangerous_by_any_meter() -> None:
    assert stored(121.0, 5.0, meter=False, **BULK)["stored.voltage"].outcome == DOES_NOT_CONFORM
    assert stored(120.0, 5.0, meter=False, **BULK)["stored.voltage"].outcome == NOT_PROVEN
    assert stored(-121.0, 5.0, meter=False, **BULK)["stored.voltage"].outcome == DOES_NOT_CONFORM


def test_what_is_left_on_a_plug_after_two_seconds() -> None:
    """110 nF at most and 10 Mohm: 325 V x exp(-2 / 1.1) = 52.75 V, below 100 - 25 x 19 / 79 = 93.99 V."""
    plug = {"capacitance": Value(100e-9, "F", 90e-9, 110e-9), "voltage": exact(325.0, "V"), "connected": "plug"}
    found = stored(**plug, bleeder=exact(10e6, "ohm"))
    assert found["stored.voltage"].value == pytest.approx(325 * exp(-2 / 1.1), rel=1e-6)
    assert found["stored.voltage"].outcome == NOT_PROVEN
    assert "2 s after unplugging would be within 94 V" in found["stored.voltage"].why
    assert found["stored.wait"].value == pytest.approx(1.365, abs=1e-3)  # 1.1 s x ln(325 / 93.99)
    slow = stored(**plug, bleeder=exact(20e6, "ohm"))  # 325 V x exp(-2 / 2.2) = 130.9 V
    assert slow["stored.voltage"].outcome == DOES_NOT_CONFORM
    assert slow["stored.wait"].outcome == DOES_NOT_CONFORM
    bare = stored(**plug)
    assert (bare["stored.voltage"].value, bare["stored.voltage"].outcome) == (325.0, DOES_NOT_CONFORM)


def test_on_the_limit_is_harmless() -> None:
    found = stored(capacitance=exact(220e-6, "F"), voltage=exact(60.0, "V"))
    assert found["stored.voltage"].outcome == NOT_PROVEN
    assert "60 V would be within 60 V" in found["stored.voltage"].why
    assert found["stored.wait"].value == 0.0
    read = stored(1.0, 5.0, capacitance=exact(220e-6, "F"), voltage=exact(60.0, "V"))
    assert read["stored.voltage"].outcome == CONFORMS  # harmless in use: it needs no decay to be read low
    over = stored(capacitance=exact(220e-6, "F"), voltage=exact(60.1, "V"))
    assert over["stored.voltage"].outcome == DOES_NOT_CONFORM
    assert over["stored.wait"].value is None


def test_how_to_bleed_is_worked_out_for_the_capacitor() -> None:
    """2.2 kohm x 220 uF x ln(325 / 60) = 0.818 s, twice that 1.64 s; 325^2 / 2200 = 48 W; 11.6 J."""
    remedy = stored(**BULK)["stored.voltage"].remedy or ""
    assert "bleed it for at least 1.64 s through 2.2 kohm, 10 W wire-wound" in remedy
    assert "rated for 325 V (it takes 48 W at first, 11.6 J in all)" in remedy
    small = stored(capacitance=exact(1e-6, "F"), voltage=exact(100.0, "V"))["stored.voltage"].remedy or ""
    assert "for at least 1 s through" in small
    for volts, words in ((450.0, "bleed it for at least"), (451.0, "somebody trained for high voltage")):
        told = stored(capacitance=exact(1e-6, "F"), voltage=exact(volts, "V"))["stored.voltage"].remedy or ""
        assert words in told
