"""Every source meets every standard on some stage: the answer is a verdict or one sentence, never a breakdown.

`python -m tests.shelf.test_combinations` checks all of them with their remedies, which takes minutes; the suite
composes all and checks a fixed sample.
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN
from guardcheck.pipeline import Options
from guardcheck.pipeline.options import plan_of
from guardcheck.units import format_si
from tests.pipeline.jobs import line, run, text
from tests.shelf.appraised import run as appraised

LIBRARY = Library.load()
SOURCES, STAGES = LIBRARY.names("source"), LIBRARY.names("stage")
STANDARDS = sorted(path.stem for path in (Path(__file__).parents[2] / "guardcheck" / "standards").glob("*.toml"))
COMBINATIONS = [
    (source, standard, STAGES[(first + second) % len(STAGES)])
    for first, source in enumerate(SOURCES)
    for second, standard in enumerate(STANDARDS)
]
HARD = [("logic-pin", "yc-625-chroma", "ac-coupled"), ("ttl-pin", "yc-525-chroma", "ac-coupled")]
"""A chroma signal is a swing round its mean: a pin that gives none has no level to scale a remedy by."""


def middle(kind: str, name: str) -> str:
    """Return a part's parameters without a default, each in the middle of its usual range."""
    wanted = {
        key: 0.5 * (one.usual.low + one.usual.high)
        for key, one in LIBRARY.get(kind, name).parameters.items()
        if one.nominal is None and one.same_as is None and not one.choices and one.word is None
    }
    units = {key: one.unit for key, one in LIBRARY.get(kind, name).parameters.items()}
    return ", ".join(f'{key} = "{format_si(value, units[key])}"' for key, value in wanted.items())


def job(source: str, standard: str, stage: str) -> str:
    """Return a job of one line that puts the three together."""
    return text(
        line(
            standard=standard,
            source=source,
            source_values=middle("source", source),
            stage=stage,
            stage_values=middle("stage", stage),
        )
    )


def refusal(one: tuple[str, str, str]) -> str | None:
    """Return the sentence that refuses a combination, None where it can be built."""
    try:
        (built,) = plan_of(parse_job(job(*one), file="job.toml"), Options(samples=0, events=False)).lines
    except JobError as refused:
        return str(refused)
    assert built.chains, one
    return None


def test_every_combination_is_composed_or_refused_in_one_sentence() -> None:
    told = [refusal(one) for one in COMBINATIONS]
    for sentence in told:
        assert sentence is None or sentence.startswith("job.toml:16: line[0].source: source ")
        assert sentence is None or "\n" not in sentence
    assert len(told) == len(SOURCES) * len(STANDARDS)
    assert told.count(None) > 0.5 * len(told)


@pytest.mark.parametrize("one", [one for one in COMBINATIONS[5::31] if refusal(one) is None], ids="-".join)
def test_a_sample_of_all_ends_in_an_answer(engine: Engine, one: tuple[str, str, str]) -> None:
    found = appraised(engine, job(*one))
    assert {row.outcome for row in found.findings if row.needed} <= {CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN}
    assert all(row.value is not None or row.outcome != CONFORMS for row in found.findings if row.rule == "LVL01")


@pytest.mark.parametrize("one", HARD, ids="-".join)
def test_remedies_of_a_signal_that_is_not_there_end_in_an_answer(engine: Engine, one: tuple[str, str, str]) -> None:
    assert run(engine, job(*one)).outcome in (DOES_NOT_CONFORM, NOT_PROVEN)


def main() -> None:
    """Check every combination with its remedies, and count how they end."""
    seen: Counter[str] = Counter()
    with Engine() as engine:
        for one in COMBINATIONS:
            try:
                seen[run(engine, job(*one)).outcome] += 1
            except JobError:
                seen["refused"] += 1
            except Exception as broken:
                sys.stdout.write(f"{' '.join(one)}: {type(broken).__name__}: {broken}\n")
                seen["broken"] += 1
    sys.stdout.write(f"{dict(seen)}\n")


if __name__ == "__main__":
    main()
