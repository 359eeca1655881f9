"""What declared Y capacitances mean for leakage, by hand."""

from __future__ import annotations

from math import pi, sqrt
from typing import Any

import pytest

from guardcheck.leakage import (
    PAIR_SPREAD,
    STRAY,
    Known,
    apparatus,
    display_earthed,
    halves,
    known,
    pair_spread,
    service_check,
    unit_earthed,
)
from guardcheck.model import Fact, Facts, Value


def test_a_declared_value_keeps_its_tolerance_and_is_certain() -> None:
    entries = {"y_capacitance": Value(2.2e-9, "F", 1.76e-9, 2.64e-9), "mains": "unknown"}
    found = known(entries, "y_capacitance")
    assert found == Known(2.2e-9, 2.2e-9, 1.76e-9, 2.64e-9)
    assert found.unknown is False
    assert known(entries, "mains_frequency") is None
    assert known({"rail": "unknown"}, "rail") is None


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("y_capacitance", 0.1e-9, 4.7e-9), ("mains", 100.0, 240.0), ("mains_frequency", 50.0, 60.0)],
)
def test_an_unknown_value_is_taken_at_the_worst_of_what_is_usual(name: str, low: float, high: float) -> None:
    """Common practice, no published source."""
    assert known({name: "unknown"}, name) == Known(high, low, low, high, unknown=True)


@pytest.mark.parametrize(
    ("entries", "windings"),
    [
        ({"y_capacitance": Value.exact(0.0, "F")}, True),
        ({"y_capacitance": Value.exact(5e-12, "F"), "protection_class": "II"}, True),
        ({"y_coupling": "transformer"}, True),
        ({"y_coupling": "transformer", "y_capacitance": "unknown"}, True),
        ({"y_coupling": "transformer", "y_capacitance": Value.exact(0.3e-9, "F")}, False),
        ({"y_capacitance": Value.exact(0.0, "F"), "protection_class": "III"}, False),
        ({"y_capacitance": Value.exact(20e-12, "F")}, False),
        ({"y_coupling": "symmetric"}, False),
    ],
)
def test_a_supply_without_y_capacitors_leaks_through_its_transformer(entries: dict[str, Any], windings: bool) -> None:
    """50 pF to 1 nF between the windings: 1 nF at 230 V and 50 Hz is 2 pi 50 x 1 nF x 230 V = 72 uA, not nothing."""
    found = known(entries, "y_capacitance")
    assert (found == Known(1e-9, 50e-12, 50e-12, 1e-9, unknown=True, windings=True)) == windings


def test_only_a_symmetric_coupling_halves() -> None:
    assert halves({"y_coupling": "symmetric"}, 4.7e-9) == (2.35e-9, 2.35e-9)
    for coupling in ({"y_coupling": "single"}, {"y_coupling": "unknown"}, {}):
        assert halves(coupling, 4.7e-9) == (4.7e-9, STRAY)
    assert halves({}, 0.0) == (2e-15, 1e-15)
    assert halves({"y_coupling": "symmetric"}, 0.0) == (1e-15, 1e-15)


def test_linked_apparatus_counts_where_it_declares_a_capacitance() -> None:
    farads = Value.exact(1e-9, "F")
    facts = Facts(
        declared=(
            Fact("link", 0, "amplifier", {"y_capacitance": farads}),
            Fact("link", 1, "board", {"drive": Value.exact(5.0, "V")}),
        ),
        supply={"mains": "unknown"},
        display={"earthed": True},
    )
    assert [(name, dict(entries)) for name, entries in apparatus(facts)] == [
        ("unit", {"mains": "unknown"}),
        ("display", {"earthed": True}),
        ("link to amplifier", {"y_capacitance": farads}),
    ]


def service(**more: Any) -> dict[str, Any]:
    return {"service_reading": {"value": Value.exact(0.3, "V"), **more}}


def test_the_touch_check_adds_its_network_to_the_meter() -> None:
    """1 % of 0.3 V and 5 % of it for the network: 2 x sqrt(3^2 + 15^2) / sqrt(3) mV = 17.66 mV (GUM, uniform both)."""
    found = service_check(service(accuracy="1%", isolating_transformer=False, both_plug_ways=True))
    assert found is not None
    assert (found.volts, found.gap) == (0.3, None)
    assert found.uncertainty == pytest.approx(2e-3 * sqrt((9 + 225) / 3))
    # 1 / 1500 ohm beside 2 pi 50 Hz x 0.15 uF = 47.12 uS: 668.3 uS
    assert found.admittance(50.0) == pytest.approx(sqrt((1 / 1500) ** 2 + (2 * pi * 50 * 0.15e-6) ** 2))
    assert found.admittance(50.0) == pytest.approx(668.33e-6, rel=1e-5)


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"isolating_transformer": True, "both_plug_ways": True}, "the reading shows nothing"),
        ({"both_plug_ways": True}, "nobody said that no isolating transformer"),
        ({"isolating_transformer": "unknown", "both_plug_ways": True}, "nobody said that no isolating transformer"),
        ({"isolating_transformer": False}, "plug both ways round"),
        ({"isolating_transformer": False, "both_plug_ways": False}, "plug both ways round"),
        ({"isolating_transformer": False, "both_plug_ways": True}, "None"),
    ],
)
def test_what_a_touch_check_leaves_open(told: dict[str, Any], words: str) -> None:
    found = service_check(service(**told))
    assert found is not None
    assert found.uncertainty is None
    assert words in str(found.gap)


def test_no_touch_check_was_declared() -> None:
    assert service_check({}) is None
    assert service_check({"service_reading": {"value": "unknown"}}) is None


@pytest.mark.parametrize(
    ("value", "spread"),
    [
        (None, PAIR_SPREAD),
        ("unknown", PAIR_SPREAD),
        (Value.exact(4.7e-9, "F"), PAIR_SPREAD),  # no tolerance was declared
        (Value(2e-9, "F", 1.9e-9, 2.1e-9), 0.05),
        (Value(2e-9, "F", 1.6e-9, 3e-9), 0.5),  # -20/+50 %: the farther end
        (Value(2e-9, "F", 1.4e-9, 2.2e-9), 0.3),  # -30/+10 %
        (Value(2e-9, "F", 1e-9, 5e-9), 1.0),  # +150 %: one of the two may as well be missing
        (Value(0.0, "F", -1e-12, 1e-12), PAIR_SPREAD),
    ],
)
def test_a_pair_is_apart_by_the_farther_end_of_its_tolerance(value: object, spread: float) -> None:
    assert pair_spread({"y_capacitance": value}) == pytest.approx(spread)


def test_capacitors_of_a_pair_are_twenty_percent_apart_unless_their_maker_says_less() -> None:
    """20 % is the usual tolerance (M) of class Y2 ceramic capacitors (data sheets; from memory, unverified)."""
    assert PAIR_SPREAD == 0.2


@pytest.mark.parametrize(
    ("supply", "earthed"),
    [("I", True), ("II", False), ("III", False), ("unknown", None), (None, None)],
)
def test_a_protection_class_tells_whether_the_unit_is_at_earth(supply: str | None, earthed: bool | None) -> None:
    assert unit_earthed({} if supply is None else {"protection_class": supply}) is earthed


@pytest.mark.parametrize(
    ("display", "earthed"),
    [
        ({}, None),
        ({"earthed": "unknown", "other_leads": False}, None),
        ({"earthed": True}, True),
        ({"earthed": True, "other_leads": False}, True),
        ({"earthed": False}, None),  # another lead may earth it
        ({"earthed": False, "other_leads": "unknown"}, None),
        ({"earthed": False, "other_leads": True}, None),
        ({"earthed": False, "other_leads": False}, False),
    ],
)
def test_a_display_floats_only_where_every_other_lead_is_ruled_out(
    display: dict[str, Any], earthed: bool | None
) -> None:
    assert display_earthed(display) is earthed
