"""Many results in one table."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from guardcheck.model import DOES_NOT_CONFORM, NOT_PROVEN, Result
from guardcheck.report.arrange.advice import counts
from guardcheck.report.arrange.view import outcome_word, unique_slugs
from guardcheck.report.arrange.words import clean
from guardcheck.report.text.grid import indent, row

_WIDTHS = (25, 19, 16, 5, 7)
_WIDE = 80
NO_RESULT = "no result"


def summary(results: Sequence[tuple[str, Result | str]]) -> str:
    """Return one row per job, in the order given, at 80 columns; a job without a result shows its sentence instead.

    Each entry of `results` is a job's name with its result, or with the sentence that says why there is none.
    """
    lines = ["-" * _WIDE, *row([[w] for w in ("job", "unit", "outcome", "fails", "open")], _WIDTHS), "-" * _WIDE]
    for name, result in results:
        if isinstance(result, str):
            lines += row([[clean(name)], ["-"], [NO_RESULT], ["-"], ["-"]], _WIDTHS)
            lines += indent(clean(result), _WIDE, "    ")
            continue
        tally = counts(result)
        numbers = [str(tally[DOES_NOT_CONFORM]), str(tally[NOT_PROVEN])]
        cells = [clean(name), clean(result.unit), outcome_word(result.outcome), *numbers]
        lines += row([[cell] for cell in cells], _WIDTHS)
    return "\n".join([*lines, "-" * _WIDE, *_total(results)]) + "\n"


def _total(results: Sequence[tuple[str, Result | str]]) -> list[str]:
    words = [NO_RESULT if isinstance(result, str) else outcome_word(result.outcome) for _, result in results]
    tally = ", ".join(f"{words.count(word)} {word}" for word in sorted(set(words)))
    return indent(f"{len(results)} jobs: {tally or 'nothing'}. Fails and open count needed checks.", _WIDE)


def unique_names(jobs: Iterable[Path]) -> list[str]:
    """Return a file name without ending for the report of each job: its own name, numbered where two jobs share it."""
    return unique_slugs(job.stem for job in jobs)
