"""A few of the random jobs: what is proposed is what `check` says of the job that holds it."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from tests.proposal.random_jobs import outcome_of, random_job

SOME = (1, 14)
"""Jobs that take little time: one with a build, and one whose drawer has none, where the whole shelf has."""


@pytest.mark.parametrize("number", SOME)
def test_check_says_what_was_promised(engine: Engine, number: int, tmp_path: Path) -> None:
    job, name = random_job(random.Random(number))
    one = outcome_of(engine, job, name, tmp_path, 1)
    assert one.wrong == ()
    assert bool(one.found.builds) == (number == 14)
    told = one.found.none_because or ""
    assert told.count("(searched again so): two-resistor pad") == (number == 1)
    assert ("with parts that are not in the drawer this " in told) == (number == 1)


def test_the_same_number_gives_the_same_job() -> None:
    assert random_job(random.Random(14)) == random_job(random.Random(14))
    assert len({random_job(random.Random(number))[0] for number in range(50)}) == 50
