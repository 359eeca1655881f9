"""Every command gives its simulations so much time: what is not reached is left undone, said, and proves nothing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from guardcheck.job import parse_job
from guardcheck.model import CONFORMS, NOT_PROVEN
from guardcheck.pipeline import Options, check, given, propose, rank_guards, verify
from guardcheck.pipeline.options import LINE_BUDGET, MOST_BUDGET, budget_of
from tests.pipeline.jobs import line, text
from tests.verify.bench import dark, reading

NONE = 1e-6
"""A budget [s] that no run fits in."""
QUICK = Options(samples=0, workers=1)


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Write one job and take all time from every command; return the job."""
    for module, name in (
        ("options", "LINE_BUDGET"),
        ("options", "MOST_BUDGET"),
        ("guards", "MOST_BUDGET"),
        ("propose", "SEARCH_BUDGET"),
    ):
        monkeypatch.setattr(sys.modules[f"guardcheck.pipeline.{module}"], name, NONE)
    file = tmp_path / "job.toml"
    file.write_text(text(line()), encoding="utf-8")
    return file


def test_a_check_without_time_proves_nothing_and_says_why(job: Path) -> None:
    result = check(job, QUICK)
    assert result.outcome == NOT_PROVEN
    simulated = [one for one in result.findings if one.line is not None]
    assert simulated
    assert CONFORMS not in {one.outcome for one in simulated}
    assert [one for one in result.not_examined if "left undone" in one]


def test_a_verify_without_time_explains_nothing_and_says_why(job: Path) -> None:
    file = job.with_name("readings.toml")
    file.write_text(f"format = 1\n{reading(value='1.4 V')}{dark('red')}", encoding="utf-8")
    result = verify(job, given(file), QUICK)
    assert [one for one in result.not_examined if "left undone" in one]
    assert not [cause for one in result.extra["explanations"] for cause in one["causes"]]


def test_a_ranking_without_time_calls_no_guard_good(job: Path) -> None:
    rows = rank_guards(job, QUICK).rows
    assert {outcome for row in rows for outcome in row.outcomes.values()} == {NOT_PROVEN}


def test_a_search_without_time_proposes_nothing_that_conforms(job: Path) -> None:
    (found,) = propose(job, QUICK, "red").lines
    assert not [build for build in found.builds if build.outcome == CONFORMS]


@pytest.mark.parametrize(("lines", "seconds"), [(1, 60.0), (4, 240.0), (20, 600.0)])
def test_a_job_gets_a_minute_a_line_and_ten_at_most(lines: int, seconds: float) -> None:
    names = " ".join(f"f{number}" for number in range(lines))
    assert budget_of(parse_job(text(line(names)), file="job.toml")) == seconds
    assert (LINE_BUDGET, MOST_BUDGET) == (60.0, 600.0)
