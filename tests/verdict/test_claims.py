"""What each kind of claim may decide, and when a mistake becomes a condition of use (house rules, no source)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    FORBIDDEN,
    INTERFACE,
    MISTAKE,
    NOT_PROVEN,
    PERSON,
    SAFETY,
    WITHSTAND,
    WORKMANSHIP,
    Condition,
    Finding,
    Limit,
    Rule,
)
from guardcheck.verdict.outcome import as_claim, conditions_of, overall

STRESS = Rule("EVT01", "stress", SAFETY, ("event.margin",), kind=WITHSTAND)
LEVEL = Rule("LVL01", "levels", "signal", ("level.white",))


def row(outcome: str, line: str = "red", **more: object) -> Finding:
    first = Finding("EVT01", "event.margin", line, True, -9.0, "dB", outcome, "Too much.", event="misplug")
    return replace(first, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("outcome", [DOES_NOT_CONFORM, NOT_PROVEN])
def test_a_mistake_that_is_not_survived_is_a_condition_and_no_failure(outcome: str) -> None:
    found = as_claim(row(outcome, use=MISTAKE, condition="Only its own lead"), STRESS)
    assert (found.kind, found.outcome, found.needed, found.condition) == (
        WITHSTAND,
        outcome,
        False,
        "Only its own lead",
    )
    assert overall([found, row(CONFORMS)]) == CONFORMS
    assert conditions_of([found]) == (Condition("misplug", "Only its own lead", ("red",), MISTAKE),)


def test_a_mistake_that_is_survived_needs_no_condition() -> None:
    found = as_claim(row(CONFORMS, use=MISTAKE, condition="Only its own lead"), STRESS)
    assert (found.needed, found.condition) == (True, None)
    assert conditions_of([found]) == ()


def test_a_mistake_without_a_rule_of_use_decides() -> None:
    found = as_claim(row(DOES_NOT_CONFORM, use=MISTAKE), STRESS)
    assert overall([found]) == DOES_NOT_CONFORM


def test_daily_use_decides_unless_the_workshop_forbids_it() -> None:
    daily = row(DOES_NOT_CONFORM, use="daily", condition="Unplug first")
    assert overall([as_claim(daily, STRESS)]) == DOES_NOT_CONFORM
    found = as_claim(daily, STRESS, {"misplug"})
    assert not found.needed
    assert conditions_of([found], {"misplug"}) == (Condition("misplug", "Unplug first", ("red",), FORBIDDEN),)


@pytest.mark.parametrize("kind", [PERSON, INTERFACE])
def test_nobody_can_forbid_away_what_hurts_a_person_or_the_other_apparatus(kind: str) -> None:
    found = as_claim(row(DOES_NOT_CONFORM, kind=kind, use=MISTAKE, condition="Do not touch"), STRESS, {"misplug"})
    assert found.needed
    assert overall([found]) == DOES_NOT_CONFORM


def test_workmanship_never_fails_and_never_decides() -> None:
    limit = Limit("level.white", 0.6, 0.8, 0.7, "a bench habit", "practice", kind=WORKMANSHIP)
    one = Finding("LVL01", "level.white", "red", True, 0.9, "V", DOES_NOT_CONFORM, "0.9 V lies above.", limit=limit)
    found = as_claim(one, LEVEL)
    assert (found.outcome, found.needed) == (NOT_PROVEN, False)
    assert found.why.startswith("Outside the workshop's target")
    assert as_claim(replace(one, outcome=CONFORMS), LEVEL).outcome == CONFORMS


def test_the_finding_says_its_kind_before_its_limit_and_its_limit_before_the_rule() -> None:
    limit = Limit("level.white", 0.6, 0.8, 0.7, "a bench habit", "practice", kind=WORKMANSHIP)
    one = Finding("LVL01", "level.white", "red", True, 0.7, "V", CONFORMS, "", limit=limit)
    assert as_claim(replace(one, kind=PERSON), LEVEL).kind == PERSON
    assert as_claim(one, LEVEL).kind == WORKMANSHIP
    assert as_claim(replace(one, limit=None), LEVEL).kind == INTERFACE


def test_lines_of_one_condition_stand_together_in_bench_order() -> None:
    rows = [row(NOT_PROVEN, line, condition="Only its own lead") for line in ("blue", "red", "green")]
    assert conditions_of(rows)[0].lines == ("red", "green", "blue")
