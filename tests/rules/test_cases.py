"""Every rule's page and cases, and what holds for all of them: a missing reading never conforms."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import pytest

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    OUTCOMES,
    QUANTITIES,
    UNKNOWN_WORD,
    Case,
    Fact,
    Facts,
    Value,
)
from guardcheck.rules import Loaded, all_rules, judge_all
from guardcheck.verdict.outcome import worst

PAGE = ("Hazard", "What is read", "Limit and source", "Not covered", "What to do at the bench")
READINGS = ("reading", "readings", "touch_reading", "service_reading", "insulation_reading", "after")
SHOWS_ONLY = {"HUM01"}
"""Rules without a limit: their quantity is shown and decides nothing."""

CASES = [(one, case) for one in all_rules() for case in one.cases]
IDS = [f"{one.rule.code} {case.name}" for one, case in CASES]


@pytest.mark.parametrize(("one", "case"), CASES, ids=IDS)
def test_case_gives_its_outcome(one: Loaded, case: Case) -> None:
    findings = one.judge(case.facts)
    assert worst(finding.outcome for finding in findings) == case.outcome
    for finding in findings:
        assert finding.rule == one.rule.code
        assert finding.outcome in OUTCOMES
        assert finding.why
        assert finding.quantity in QUANTITIES
    ids = [finding.id for finding in findings]
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize("one", all_rules(), ids=lambda one: one.rule.code)
class TestEveryRule:
    def test_page_has_its_parts_in_order(self, one: Loaded) -> None:
        places = [one.page.find(f"\n{part}\n") for part in PAGE]
        assert -1 not in places
        assert places == sorted(places)
        assert one.page.startswith(f"{one.rule.code}: ")

    def test_has_a_case_that_conforms_one_that_does_not_one_not_proven(self, one: Loaded) -> None:
        found = {case.outcome for case in one.cases}
        if one.rule.code in SHOWS_ONLY:
            assert CONFORMS not in found
        elif one.rule.code == "HAZ01":  # nothing declared about a hazard can prove it safe
            assert found >= {DOES_NOT_CONFORM, NOT_PROVEN}
        else:
            assert found >= {CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN}

    def test_says_something_about_an_empty_job(self, one: Loaded) -> None:
        for finding in one.judge(Facts()):
            assert not finding.needed or finding.outcome == NOT_PROVEN
            assert finding.outcome not in (CONFORMS, DOES_NOT_CONFORM)


def without_readings(facts: Facts) -> Facts:
    """Return the facts with every reading, every simulated answer and every value taken out."""

    def bare(entries: Mapping[str, Any]) -> dict[str, Any]:
        return {key: value for key, value in entries.items() if key not in READINGS}

    return replace(
        facts,
        quantities=tuple(replace(one, value=None, spread=None, samples=None) for one in facts.quantities),
        declared=tuple(replace(fact, entries=bare(fact.entries)) for fact in facts.declared),
        supply=bare(facts.supply),
        display=bare(facts.display),
        answers={},
    )


@pytest.mark.parametrize(("one", "case"), CASES, ids=IDS)
def test_a_missing_reading_never_conforms(one: Loaded, case: Case) -> None:
    outcomes = [finding.outcome for finding in one.judge(without_readings(case.facts))]
    assert CONFORMS not in outcomes


def with_one_unknown(entries: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield the entries with one physical value after another declared unknown, inside their readings too."""
    for key, value in entries.items():
        if isinstance(value, Value):
            yield {**entries, key: UNKNOWN_WORD}
        elif isinstance(value, Mapping):
            yield from ({**entries, key: inner} for inner in with_one_unknown(value))
        elif isinstance(value, tuple):
            for place, one in enumerate(value):
                for inner in with_one_unknown(one):
                    yield {**entries, key: (*value[:place], inner, *value[place + 1 :])}


@pytest.mark.parametrize(("one", "case"), CASES, ids=IDS)
def test_an_unknown_never_turns_another_outcome_into_conforms(one: Loaded, case: Case) -> None:
    for index, fact in enumerate(case.facts.declared):
        for entries in with_one_unknown(fact.entries):
            declared = list(case.facts.declared)
            declared[index] = replace(fact, entries=entries)
            findings = one.judge(replace(case.facts, declared=tuple(declared)))
            if case.outcome != CONFORMS:
                assert worst(finding.outcome for finding in findings) != CONFORMS


def test_all_rules_together_agree_on_no_id_twice() -> None:
    facts = Facts(declared=tuple(fact for _, case in CASES for fact in case.facts.declared)[:12])
    ids = [finding.id for finding in judge_all(facts)]
    assert ids == sorted(ids)
    assert len(set(ids)) == len(ids)


def test_two_facts_of_one_name_stay_apart() -> None:
    facts = Facts(declared=(Fact("bond", 0, "a to b", {}), Fact("bond", 1, "a to b", {})))
    assert [label for label, _ in facts.table("bond")] == ["a to b", "a to b (bond 2)"]
