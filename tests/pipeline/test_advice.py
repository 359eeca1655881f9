"""What is advised where nothing is proven: what to find out and where, or why nothing that could be found out helps."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guardcheck.model import (
    ASKS,
    ASSUMED,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    PART_NOT_RATED,
    RATING_NOT_STATED,
    UNKNOWN_OF,
    Finding,
    Limit,
)
from guardcheck.pipeline.sentences import advice
from guardcheck.proposal.remedies import NOTHING, _none

OPEN = Finding("EVT01", "event.margin", "red", True, -3.0, "dB", NOT_PROVEN, "x", event="hot-plug", severity="first")


def told(finding: Finding) -> str:
    text = advice(finding, {})
    assert text is not None
    return text


@pytest.mark.parametrize(
    ("code", "value", "where"),
    [
        (f"{ASKS}pin.short_circuit", "driver give way on red?", "its data sheet"),
        (f"{ASKS}supply.rail_esr", "series resistance have the rail's capacitors?", "ESR meter"),
        (f"{ASKS}display.earthed", "display's 0 V at mains earth?", "meter from its connector shell"),
        (f"{UNKNOWN_OF}source", "unknown values of the source on red?", "read it at the part"),
        (PART_NOT_RATED, "parts of your own netlist take on red?", "* rating NAME"),
        (RATING_NOT_STATED, "what the chip on red may take", "in its data sheet"),
    ],
)
def test_a_stress_that_hangs_on_an_unknown_says_which_and_where_to_find_it(code: str, value: str, where: str) -> None:
    """Nothing was tried against it, and nothing need be: the answer decides. Until then nothing is plugged in live."""
    text = told(replace(OPEN, codes=(code,)))
    assert NOTHING not in text
    assert value in text
    assert where in text


def test_until_the_answer_is_known_nothing_is_plugged_in_live() -> None:
    text = told(replace(OPEN, codes=(f"{ASKS}pin.short_circuit",)))
    assert text.endswith("until then connect and disconnect only with everything unplugged")


@pytest.mark.parametrize(
    ("finding", "why"),
    [
        (OPEN, "no data sheet settles it"),
        (replace(OPEN, estimate=True), "no data sheet settles it"),
        (replace(OPEN, value=None), "the simulation gave no figure to judge"),
    ],
)
def test_where_no_answer_would_decide_it_says_why(finding: Finding, why: str) -> None:
    text = told(finding)
    assert text.startswith(f"{why}; guardcheck propose JOB --line red searches for a build that holds; until then")
    assert NOTHING not in text
    assert told(replace(finding, outcome=DOES_NOT_CONFORM)).startswith(NOTHING)


def test_a_signal_left_open_by_an_unknown_says_so_where_no_change_cured_it() -> None:
    heat = Finding("PWR01", "part.power", "red", False, 0.2, "W", NOT_PROVEN, "x", where="stage series")
    rated = Limit("part.power", None, 0.25, None, "a quarter-watt film", ASSUMED)
    assumed = _none(replace(heat, limit=rated), 5)
    assert "nobody states what the stage series of red may take" in assumed
    assert "5 changes were simulated as well" in assumed
    drive = _none(replace(heat, limit=replace(rated, known_by="read"), codes=(f"{ASKS}pin.short_circuit",)), 5)
    assert "driver give way on red?" in drive
    assert NOTHING not in assumed + drive
    for plain in (replace(heat, limit=replace(rated, known_by="read")), replace(heat, outcome=DOES_NOT_CONFORM)):
        assert _none(plain, 5).startswith(f"{NOTHING}: 5 changes were simulated")
