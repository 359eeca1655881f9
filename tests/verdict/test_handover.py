"""Plan and readings joined: what a reading settles, contradicts or leaves unmeasured, row by row (house rules)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guardcheck.errors import InputError
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    MISTAKE,
    NOT_APPLICABLE,
    NOT_PROVEN,
    SIMULATED,
    CircuitUsed,
    Condition,
    Finding,
    Result,
)
from guardcheck.verdict.handover import CONDITIONS, NOT_READY, PLAN_ONLY, READY, evidence

PLANNED = Finding("LVL01", "level.white", "red", False, 0.7, "V", CONFORMS, "Inside.", origin=SIMULATED)
READ = replace(PLANNED, guarded=None, origin=MEASURED, uncertainty=0.01)


def result(command: str, *findings: Finding, outcome: str = CONFORMS, **more: object) -> Result:
    made = Result(command, "unit", "console", outcome, 1, 0, None, findings, (), job_sha256="aa", guardcheck="0.1.0")
    return replace(made, **more)  # type: ignore[arg-type]


def check(*findings: Finding, **more: object) -> Result:
    return result("check", *findings, **more)  # type: ignore[arg-type]


def readings(*findings: Finding, **more: object) -> Result:
    return result("verify", *findings, **more)  # type: ignore[arg-type]


def test_a_plan_and_its_reading_are_ready_and_a_plan_alone_is_not() -> None:
    both = evidence(check(PLANNED), readings(READ))
    assert (both.outcome, both.verdict, both.state) == (CONFORMS, CONFORMS, READY)
    assert both.findings == (PLANNED, READ)
    alone = evidence(check(PLANNED))
    assert (alone.outcome, alone.verdict, alone.state) == (NOT_PROVEN, PLAN_ONLY, NOT_READY)
    assert alone.unmeasured == (("red", ()),)


def test_conditions_of_use_hand_over_under_conditions() -> None:
    rule = Condition("misplug", "Only its own lead", ("red",), MISTAKE)
    assert evidence(check(PLANNED, conditions=(rule,)), readings(READ)).state == CONDITIONS


@pytest.mark.parametrize(
    ("planned", "read", "settled", "contradicted"),
    [
        ({"outcome": NOT_PROVEN}, {}, True, False),
        ({"outcome": DOES_NOT_CONFORM}, {}, False, True),
        ({"outcome": CONFORMS}, {}, False, False),
        ({"outcome": NOT_PROVEN}, {"outcome": NOT_PROVEN}, False, False),
        ({"outcome": NOT_PROVEN}, {"outcome": DOES_NOT_CONFORM}, False, False),
        ({"outcome": NOT_PROVEN}, {"origin": SIMULATED}, False, False),
        ({"outcome": NOT_PROVEN, "needed": False}, {}, False, False),
        ({"outcome": NOT_PROVEN, "line": None}, {"line": None}, False, False),
        ({"outcome": NOT_PROVEN, "origin": MEASURED}, {}, False, False),
        ({"outcome": NOT_PROVEN}, {"line": "green"}, False, False),
        ({"outcome": NOT_PROVEN}, {"quantity": "level.pp"}, False, False),
        ({"outcome": NOT_PROVEN}, {"where": "pin"}, False, False),
        ({"outcome": NOT_PROVEN, "guarded": True}, {"guarded": True}, True, False),
        ({"outcome": NOT_PROVEN, "guarded": True}, {"guarded": False}, False, False),
    ],
)
def test_what_a_reading_settles_and_what_it_contradicts(
    planned: dict[str, object], read: dict[str, object], settled: bool, contradicted: bool
) -> None:
    plan, seen = replace(PLANNED, **planned), replace(READ, **read)  # type: ignore[arg-type]
    found = evidence(check(plan), readings(seen))
    assert found.settled == ((plan,) if settled else ())
    assert found.contradicted == ((plan,) if contradicted else ())


def test_what_is_settled_counts_no_more_and_what_is_contradicted_does() -> None:
    unsure, bad = replace(PLANNED, outcome=NOT_PROVEN), replace(PLANNED, outcome=DOES_NOT_CONFORM)
    found = evidence(check(unsure, outcome=NOT_PROVEN), readings(READ))
    assert found.outcome == CONFORMS
    assert found.counting == (READ,)
    assert found.joined.findings == (READ,)
    assert found.joined.outcome == CONFORMS
    spare = replace(PLANNED, needed=False, quantity="level.pp")
    assert evidence(check(PLANNED, spare), readings(READ)).counting == (PLANNED, READ)
    assert evidence(check(bad, outcome=DOES_NOT_CONFORM), readings(READ)).outcome == DOES_NOT_CONFORM


def test_with_nothing_that_decides_the_plan_keeps_its_own_outcome() -> None:
    shown = replace(PLANNED, needed=False)
    assert evidence(check(shown, outcome=NOT_PROVEN)).outcome == NOT_PROVEN
    nothing = evidence(check(outcome=CONFORMS))
    assert (nothing.outcome, nothing.lines) == (NOT_APPLICABLE, ())
    assert evidence(check(PLANNED, outcome=NOT_PROVEN), readings(READ)).outcome == CONFORMS


@pytest.mark.parametrize(
    ("read", "gaps"),
    [
        ((READ,), (("red", ("level.sync",)),)),
        ((READ, replace(READ, quantity="level.sync")), ()),
        ((READ, replace(READ, quantity="level.sync", outcome=DOES_NOT_CONFORM)), ()),
        ((READ, replace(READ, quantity="level.sync", outcome=NOT_PROVEN)), (("red", ("level.sync",)),)),
        ((READ, replace(READ, quantity="level.sync", needed=False)), (("red", ("level.sync",)),)),
        ((replace(READ, needed=False),), (("red", ()),)),
        ((replace(READ, line="green", quantity="level.pp"),), (("red", ()), ("green", ("level.white",)))),
    ],
)
def test_each_needed_level_of_each_line_wants_its_reading(
    read: tuple[Finding, ...], gaps: tuple[tuple[str, tuple[str, ...]], ...]
) -> None:
    plan = [PLANNED, replace(PLANNED, quantity="level.sync")]
    if read[0].line == "green":
        plan.append(replace(PLANNED, line="green"))
    assert evidence(check(*plan), readings(*read)).unmeasured == gaps


def test_only_levels_a_meter_can_read_are_wanted() -> None:
    more = [
        replace(PLANNED, quantity="level.mismatch"),  # computed from others
        replace(PLANNED, quantity="timing.line"),  # readable, but no level
        replace(PLANNED, quantity="level.sync", needed=False),
    ]
    assert evidence(check(PLANNED, *more), readings(READ)).unmeasured == ()


def test_lines_are_those_of_the_plan_and_of_the_findings_in_bench_order() -> None:
    unit = replace(PLANNED, line=None, quantity="hazard.present")
    found = evidence(check(PLANNED, unit, plan=(("blue", "stage", "x"), ("", "guard", "y"))), readings(READ))
    assert found.lines == ("red", "blue")
    assert found.unmeasured == (("blue", ()),)


def test_a_reading_saved_in_the_plan_is_counted_once() -> None:
    assert evidence(check(PLANNED, READ), readings(READ)).findings == (PLANNED, READ)


def test_results_of_another_command_or_job_prove_nothing() -> None:
    for first, second in (
        (readings(PLANNED), None),
        (check(PLANNED), check(READ)),
        (check(PLANNED), readings(READ, unit="other")),
        (check(PLANNED), readings(READ, job_sha256="bb")),
        (check(PLANNED, guardcheck=""), readings(READ)),
        (check(PLANNED), readings(READ, guardcheck="")),
    ):
        with pytest.raises(InputError):
            evidence(first, second)


def test_readings_of_a_part_that_was_changed_since_prove_nothing() -> None:
    first, second = CircuitUsed("mine", "stage", "mine.cir", "11"), CircuitUsed("mine", "stage", "mine.cir", "22")
    trace = CircuitUsed("red.csv", "capture", "red.csv", "33")
    namesake = CircuitUsed("mine", "guard", "guard.cir", "44")
    assert evidence(check(PLANNED, circuits=(first,)), readings(READ, circuits=(first, trace))).state == READY
    assert evidence(check(PLANNED, circuits=(first, namesake)), readings(READ, circuits=(first,))).state == READY
    with pytest.raises(InputError, match="'mine' was changed between the check and the readings"):
        evidence(check(PLANNED, circuits=(first,)), readings(READ, circuits=(second, trace)))
