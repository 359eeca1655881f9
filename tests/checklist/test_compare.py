"""What changed between two results: the worst first, nothing lost, nothing flattered."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.errors import InputError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_APPLICABLE, NOT_PROVEN, OUTCOMES
from guardcheck.report.saved.compare import BETTER, GONE, KINDS, MOVED, NEW, OPEN_NEW, WORSE, compare, difference
from tests.checklist.conftest import SYNC, WHITE, planned, result, row


@pytest.fixture
def base():
    return result(planned())


def without(base, quantity, line):
    return replace(base, findings=tuple(o for o in base.findings if (o.quantity, o.line) != (quantity, line)))


def kinds(before, after):
    return [change.kind for change in difference(before, after).changes]


def test_nothing_changed_says_so(base):
    assert difference(base, base).changes == ()
    assert f"0 findings changed, {len(base.findings)} did not" in compare(base, base)


def test_worst_comes_first(base, altered):
    after = altered(base, "level.sync", outcome=DOES_NOT_CONFORM, value=1.3, why="1.3 V lies above the limits")
    after = altered(after, "level.white", "blue", value=0.75)
    after = altered(after, "level.blank", "green", outcome=NOT_PROVEN, why="Not proven: it did not converge")
    after = without(after, "level.white", "red")
    after = replace(after, findings=(*after.findings, row("response.bandwidth", "red", True, 1e7)))
    found = difference(base, after).changes
    told = [(change.kind, change.one.line, change.one.quantity) for change in found if change.needed]
    assert told == [
        (WORSE, "sync", "level.sync"),
        (WORSE, "green", "level.blank"),
        (GONE, "red", "level.white"),
        (MOVED, "blue", "level.white"),
        (NEW, "red", "response.bandwidth"),
    ]
    text = compare(base, after)
    places = [text.index(KINDS[kind]) for kind in (WORSE, GONE, MOVED, NEW)]
    assert places == sorted(places)
    assert "300 mV, conforms -> 1.3 V, does not conform" in text
    assert "1.3 V lies above the limits" in text


def test_a_failure_that_no_longer_counts_is_not_an_improvement(base, altered):
    bad = altered(base, "level.sync", outcome=DOES_NOT_CONFORM)
    assert kinds(bad, altered(bad, "level.sync", needed=False)) == [GONE]
    assert kinds(bad, altered(bad, "level.sync", needed=False, outcome=CONFORMS)) == [GONE]


def test_a_repair_is_an_improvement(base, altered):
    bad = altered(base, "level.sync", outcome=DOES_NOT_CONFORM)
    assert kinds(bad, base) == [BETTER]
    assert "From DOES NOT CONFORM to CONFORMS" in compare(replace(bad, outcome=DOES_NOT_CONFORM), base)


def test_a_new_open_point_is_shown_above_new_conforming_ones(base):
    after = replace(base, findings=(*base.findings, row("response.bandwidth", "red", True, None, outcome=NOT_PROVEN)))
    assert kinds(base, after) == [OPEN_NEW]


def test_a_moved_limit_is_told_even_when_the_outcome_stays(base, altered):
    after = altered(base, "level.sync", limit=replace(SYNC, low=0.1))
    assert "limits: 212 to 949 mV -> 100 to 949 mV" in compare(base, after)


def test_a_change_beyond_six_digits_is_no_change(base, altered):
    assert kinds(base, altered(base, "level.sync", value=0.3 * (1 + 1e-9))) == []
    assert kinds(base, altered(base, "level.sync", value=0.3 * (1 + 1e-4))) == [MOVED]


def test_circumstances_are_told(base):
    after = replace(base, seed=2, job_sha256="ef" * 32, not_examined=(), cautions=("Mind the tube.",), circuits=(),
                    plan=(("sync", "stage", "series-x: series 470 ohm"), *base.plan[1:7]))  # fmt: skip
    text = " ".join(compare(base, after).split())
    for told in ("seed: 1 -> 2", "job file, SHA-256: abababababab -> efefefefefef", "stage pad-x: no longer used",
                 "no longer not examined: Live plugging", "now caution: Mind the tube.",
                 "sync: stage: series-x: series 1.2 kohm -> series-x: series 470 ohm"):  # fmt: skip
        assert told in text


def test_two_units_are_refused(base):
    with pytest.raises(InputError, match="two units, DEMO-01 and DEMO-02"):
        compare(base, replace(base, unit="DEMO-02"))


FINDINGS = st.lists(
    st.builds(
        row,
        st.sampled_from(["level.white", "level.blank", "event.margin"]),
        st.sampled_from(["red", "sync", None, "li\x1b[31mne\u202e" + "x" * 90]),
        st.sampled_from([True, False, None]),
        st.sampled_from([None, 0.7, 0.8]),
        limit=st.just(WHITE),
        outcome=st.sampled_from(OUTCOMES),
        needed=st.booleans(),
        why=st.sampled_from(["a reason", "y" * 200, "\x1b[2J"]),
    ),
    max_size=6,
)


@settings(derandomize=True, deadline=None, database=None, max_examples=150)
@given(FINDINGS, FINDINGS)
def test_every_finding_is_counted_once_and_every_line_fits(before, after):
    old, new = result(tuple(before), outcome=NOT_APPLICABLE), result(tuple(after), outcome=NOT_APPLICABLE)
    there, back = difference(old, new), difference(new, old)
    assert len(there.changes) + there.same == len(back.changes) + back.same >= max(len(before), len(after))
    assert len(there.changes) == len(back.changes)
    text = compare(old, new)
    assert all(len(line) <= 80 and line.isprintable() for line in text.splitlines())
    order = [(list(KINDS).index(change.kind), not change.needed) for change in there.changes]
    assert order == sorted(order)
