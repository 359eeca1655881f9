"""What counts as shown at hand-over: never a plan alone, never a missing reading, never half a line."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.errors import InputError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, MEASURED, NOT_APPLICABLE, NOT_PROVEN, OUTCOMES, SIMULATED
from guardcheck.report import to_json
from guardcheck.report.handover import evidence, record, result_hash, sheet_of
from tests.checklist.conftest import WHITE, result, row


def test_a_plan_alone_never_conforms_at_hand_over(conforming):
    check, _ = conforming
    found = evidence(check)
    assert check.outcome == CONFORMS
    assert (found.outcome, found.verdict) == (NOT_PROVEN, "plan_only")
    assert [line for line, _ in found.unmeasured] == ["red", "green", "blue", "sync"]


def test_a_plan_with_every_level_measured_conforms(conforming):
    found = evidence(*conforming)
    assert (found.outcome, found.unmeasured) == (CONFORMS, ())


def test_one_level_left_unread_keeps_the_line_open(conforming):
    check, readings = conforming
    fewer = tuple(one for one in readings.findings if (one.line, one.quantity) != ("green", "level.blank"))
    found = evidence(check, replace(readings, findings=fewer))
    assert (found.outcome, found.unmeasured) == (NOT_PROVEN, (("green", ("level.blank",)),))


def test_an_unread_reading_is_no_measurement(conforming, altered):
    check, readings = conforming
    unread = altered(readings, "level.sync", value=None, outcome=NOT_PROVEN, why="it has not been read yet")
    found = evidence(check, unread)
    assert found.outcome == NOT_PROVEN
    assert ("sync", ()) in found.unmeasured


def test_a_reading_settles_what_the_simulation_left_open(conforming, altered):
    check, readings = conforming
    unsure = altered(check, "level.sync", outcome=NOT_PROVEN, why="Not proven: 8 % of builds would fail")
    found = evidence(unsure, readings)
    assert found.outcome == CONFORMS
    assert [one.quantity for one in found.settled] == ["level.sync"]
    assert evidence(unsure).outcome == NOT_PROVEN


def test_a_reading_never_overrules_a_simulated_failure(conforming, altered):
    check, readings = conforming
    bad = altered(check, "level.sync", outcome=DOES_NOT_CONFORM, why="far too strong")
    found = evidence(bad, readings)
    assert found.outcome == DOES_NOT_CONFORM
    assert [one.quantity for one in found.contradicted] == ["level.sync"]


def test_a_reading_of_the_bare_line_settles_nothing_of_the_guarded_one(conforming, altered):
    check, readings = conforming
    unsure = altered(check, "level.white", "red", outcome=NOT_PROVEN)
    bare = altered(readings, "level.white", "red", guarded=False)
    assert not [one for one in evidence(unsure, bare).settled if one.guarded]


def test_a_measured_failure_fails_the_sheet(conforming, altered):
    check, readings = conforming
    bad = altered(readings, "level.white", "blue", value=1.3, outcome=DOES_NOT_CONFORM, why="1.3 V lies above")
    assert evidence(check, bad).outcome == DOES_NOT_CONFORM


@pytest.mark.parametrize("key", ["unit", "job_sha256"])
def test_readings_of_another_job_are_refused(conforming, key):
    check, readings = conforming
    with pytest.raises(InputError, match="another job file"):
        evidence(check, replace(readings, **{key: "other"}))


def test_the_hash_is_that_of_the_saved_file(conforming, tmp_path):
    check, _ = conforming
    saved = tmp_path / "result.json"
    saved.write_text(to_json(check), encoding="utf-8")
    assert result_hash(check) == json.loads(saved.read_text(encoding="utf-8"))["digest"]
    assert result_hash(check).startswith(record(check).hash.replace(" ", ""))


def test_nothing_judged_is_nothing_shown():
    idle = result((row("level.pp", "red", True, 0.7, outcome=NOT_APPLICABLE, needed=False),))
    sheet = record(idle)
    assert sheet.outcome == NOT_APPLICABLE
    assert "nothing" in sheet.headline.casefold()


ROWS = st.lists(
    st.builds(
        row,
        st.sampled_from(["level.white", "level.blank", "level.sync", "response.bandwidth", "event.margin"]),
        st.sampled_from(["red", "sync", None]),
        st.sampled_from([True, False, None]),
        st.sampled_from([None, 0.7]),
        limit=st.just(WHITE),
        outcome=st.sampled_from(OUTCOMES),
        needed=st.booleans(),
        origin=st.sampled_from([SIMULATED, MEASURED]),
        why=st.just("a reason"),
    ),
    max_size=8,
)


@settings(derandomize=True, deadline=None, database=None, max_examples=150)
@given(ROWS, ROWS)
def test_a_sheet_conforms_only_when_every_needed_row_does_and_every_line_was_measured(check, readings):
    """No mixture of rows may read better than its worst needed row that no reading settled."""
    before = result(tuple(check), outcome=NOT_PROVEN, plan=())
    after = result(tuple(readings), command="verify", plan=())
    found = evidence(before, after)
    sheet = record(before, after)
    assert sheet.outcome == found.outcome
    needed = [one for one in (*check, *readings) if one.needed]
    if any(one.outcome == DOES_NOT_CONFORM for one in needed):
        assert found.outcome == DOES_NOT_CONFORM
    if found.outcome == CONFORMS:
        proven = {(o.line, o.quantity) for o in readings + check if o.origin == MEASURED and o.outcome == CONFORMS}
        assert all(one.outcome == CONFORMS or (one.line, one.quantity) in proven for one in needed
                   if one.outcome != NOT_APPLICABLE)  # fmt: skip
        lines = {one.line for one in (*check, *readings)} - {None}
        assert lines <= {line for line, _ in proven}
    assert (sheet_of(before, after).state == "not_ready") == (found.outcome != CONFORMS)
