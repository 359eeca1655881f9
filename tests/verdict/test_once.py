"""One fault is counted once: alike lines, levels of one event, an impedance and its return loss."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guardcheck.model import ASKS, CONFORMS, DOES_NOT_CONFORM, MEASURED, NOT_PROVEN, STRIKE, Finding, Schematic
from guardcheck.verdict.asks import asks_of
from guardcheck.verdict.claims import claims_of, leads_of, outcomes_of

LEADS = leads_of([Schematic(("red", "green", "blue"), True, (), (), ()), Schematic(("sync",), True, (), (), ())])


def row(line: str = "red", quantity: str = "event.margin", outcome: str = NOT_PROVEN, **more: object) -> Finding:
    return replace(Finding("EVT01", quantity, line, True, 1.0, "dB", outcome, ""), **more)  # type: ignore[arg-type]


def test_the_first_of_alike_lines_stands_for_all() -> None:
    assert LEADS == {"red": "red", "green": "red", "blue": "red", "sync": "sync"}


def test_alike_lines_are_one_claim_and_every_other_line_its_own() -> None:
    rows = [row(line) for line in ("red", "green", "blue", "sync", "audio")]
    assert [len(claim) for claim in claims_of(rows, LEADS)] == [3, 1, 1]
    assert len(claims_of(rows, {})) == 5


def test_what_was_measured_is_each_lines_own() -> None:
    assert len(claims_of([row(line, origin=MEASURED) for line in ("red", "green")], LEADS)) == 2


@pytest.mark.parametrize(
    "other",
    [
        {"guarded": False}, {"event": "misplug"}, {"use": STRIKE}, {"where": "stage series"}, {"rule": "LVL01"},
        {"quantity": "event.latch_up"},
    ],
)  # fmt: skip
def test_another_fault_is_another_claim(other: dict[str, object]) -> None:
    first = row(event="hot-plug", use="daily")
    assert len(claims_of([first, replace(first, **other)], LEADS)) == 2  # type: ignore[arg-type]


def test_levels_of_one_event_are_one_claim_its_worst() -> None:
    levels = {"2 kV": CONFORMS, "4 kV": NOT_PROVEN, "6 kV": DOES_NOT_CONFORM}
    rows = [row(event="esd-contact", severity=level, outcome=outcome) for level, outcome in levels.items()]
    assert outcomes_of(rows[:2], LEADS) == [NOT_PROVEN]
    assert outcomes_of(rows, LEADS) == [DOES_NOT_CONFORM]


def test_moments_of_an_event_are_no_levels() -> None:
    rows = [row(event="hot-plug", severity=moment) for moment in ("first contact", "re-contact")]
    assert len(claims_of(rows, LEADS)) == 2


def test_an_impedance_and_its_return_loss_are_one_claim() -> None:
    pair = [row(quantity="response.impedance", outcome=CONFORMS), row(quantity="response.return_loss")]
    assert outcomes_of(pair, LEADS) == [NOT_PROVEN]
    assert len(claims_of([*pair, row(quantity="response.bandwidth")], LEADS)) == 2


def test_what_decides_nothing_is_not_counted() -> None:
    assert outcomes_of([row(needed=False)], LEADS) == []


def test_an_answer_decides_claims_and_names_every_finding() -> None:
    rows = [row(line, codes=(f"{ASKS}supply.mains",)) for line in ("red", "green", "blue", "sync")]
    (found,) = asks_of(rows, LEADS)
    assert (found.decides, len(found.findings)) == (2, 4)
