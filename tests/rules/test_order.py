"""The connecting order: what is said of joining two units live, and of how their 0 V stand to each other."""

from __future__ import annotations

import pytest

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Facts, Finding, Quantity
from guardcheck.rules import judge_all


def told(*rows: Quantity, display: dict[str, object] | None = None, klass: str | None = None) -> Finding:
    supply = {} if klass is None else {"protection_class": klass}
    facts = Facts(rows or (margin("event.margin", 12.0),), display=display or {}, supply=supply)
    (found,) = (one for one in judge_all(facts) if one.rule == "ORD01")
    return found


def margin(name: str, decibels: float) -> Quantity:
    return Quantity(name, "red", False, decibels, event="hot-plug", severity="first contact")


@pytest.mark.parametrize("beside", ["event.latch_up", "event.part_margin"])
@pytest.mark.parametrize(("decibels", "outcome"), [(1.5, CONFORMS), (1.4, NOT_PROVEN), (-36.6, NOT_PROVEN)])
def test_nothing_is_unharmed_while_its_latch_up_or_its_parts_are_open(
    beside: str, decibels: float, outcome: str
) -> None:
    """The pin keeps 12 dB; short of what proves the rest nothing is known to be harm, and nothing to be unharmed."""
    found = told(margin("event.margin", 12.0), margin(beside, decibels))
    assert found.outcome == outcome
    assert ("leave it unharmed" in found.why) == (outcome == CONFORMS)


def test_what_goes_beyond_the_pin_s_ratings_is_said_to_kill() -> None:
    found = told(margin("event.margin", -9.0), margin("event.latch_up", 9.0))
    assert found.outcome == DOES_NOT_CONFORM
    assert "can kill it" in found.why


ALONE = {"earthed": False, "other_leads": False}


@pytest.mark.parametrize(
    ("display", "klass", "words"),
    [
        (ALONE, "II", "Neither the unit nor the display is earthed: both float"),
        (ALONE, "I", "The unit is earthed: its 0 V stands at earth, and the display floats against it"),
        (ALONE, None, "Whether the unit is earthed is not known"),
        ({"earthed": False}, "II", "another lead may earth it: treat it as earthed and as floating"),
        ({"earthed": False, "other_leads": True}, "II", "another lead may earth it"),
        ({"earthed": True}, "II", "The display is earthed: its 0 V stands at earth, and the unit floats against it"),
        ({"earthed": True}, "I", "its 0 V stands at earth, and so does the display's"),
        ({"earthed": True}, None, "Whether the unit is earthed is not known"),
        ({}, "I", "Whether the display is earthed is not known"),
    ],
)
def test_how_the_two_0_volts_stand_is_said_as_far_as_it_is_declared(
    display: dict[str, object], klass: str | None, words: str
) -> None:
    assert words in told(display=display, klass=klass).why
