"""The Python door: what a notebook or a script calls. `import guardcheck as gc` shows the same names.

>>> import guardcheck as gc
>>> result = gc.check("mine.toml", samples=20, events=False)
>>> result  # doctest: +ELLIPSIS
<guardcheck check of DEMO-01: not proven; 0 does not conform, ... not proven, ... conform>
>>> sync = result["LVL01/sync/bare/level.sync"]
>>> sync.outcome, round(sync.value, 3), sync.unit
('conforms', 0.283, 'V')
>>> sorted({finding.line for finding in result if finding.rule == "LVL01"})
['sync']
>>> gc.check("mone.toml")  # doctest: +IGNORE_EXCEPTION_DETAIL
Traceback (most recent call last):
guardcheck.errors.JobError: mone.toml: no such file; `guardcheck new` writes one to fill in
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from guardcheck import model
from guardcheck.errors import GuardcheckError, InputError, nearest
from guardcheck.model import Expected, Finding, Proposals

if TYPE_CHECKING:
    import pandas

    from guardcheck.pipeline import Given, Options
    from guardcheck.pipeline.options import Progress

__all__ = [
    "Expected",
    "Finding",
    "GuardcheckError",
    "Proposals",
    "Ranking",
    "Result",
    "check",
    "check_text",
    "expect",
    "propose",
    "rank_guards",
    "read_result",
    "verify",
]

FilePath = str | os.PathLike[str]


@dataclass(frozen=True, repr=False)
class Result(model.Result):
    """A result to ask: `result["LVL01/red/bare/level.white"]` is a finding, `result.findings` are all of them.

    A notebook shows its first screen. All numbers are SI; see `Finding` for what stands in one.
    """

    @classmethod
    def of(cls, found: model.Result) -> Self:
        """Return a result of `pipeline` or `report` as one that can be asked."""
        return cls(**{field.name: getattr(found, field.name) for field in fields(model.Result)})

    def __getitem__(self, id_: str) -> Finding:
        """Return a finding by its id. Raises `KeyError` that names the nearest one."""
        for finding in self.findings:
            if finding.id == id_:
                return finding
        raise KeyError(f"no finding '{id_}'{nearest(id_, [finding.id for finding in self.findings])}")

    def __contains__(self, id_: object) -> bool:
        return any(finding.id == id_ for finding in self.findings)

    def __iter__(self) -> Iterator[Finding]:
        return iter(self.findings)

    def __len__(self) -> int:
        return len(self.findings)

    def __repr__(self) -> str:
        from guardcheck.report import counts

        tally = counts(self)
        said = (("does_not_conform", "does not conform"), ("not_proven", "not proven"), ("conforms", "conform"))
        told = ", ".join(f"{tally[outcome]} {words}" for outcome, words in said)
        return f"<guardcheck {self.command} of {self.unit}: {self.outcome.replace('_', ' ')}; {told}>"

    def _repr_html_(self) -> str:
        from guardcheck.report import first_screen

        return first_screen(self)

    def to_json(self) -> str:
        """Return the result as the text of a saved result, which `read_result` and every command read."""
        from guardcheck import report

        return report.to_json(self)

    def to_html(self) -> str:
        """Return the report as one self-contained page."""
        from guardcheck import report

        return report.to_html(self)

    def to_text(self) -> str:
        """Return the report as a terminal shows it."""
        from guardcheck import report

        return report.to_terminal(self)

    def to_frame(self) -> pandas.DataFrame:
        """Return one row per finding, by id, with the columns of a saved result [SI].

        Raises
        ------
        ImportError
            pandas is not installed

        """
        import json

        try:
            import pandas
        except ImportError:
            raise ImportError("to_frame needs pandas: pip install 'guardcheck[notebook]'") from None
        return pandas.DataFrame.from_records(json.loads(self.to_json())["findings"], index="id")


@dataclass(frozen=True, repr=False)
class Ranking(model.Ranking):
    """Every guard on one line, best first; `rows` are the guards."""

    @classmethod
    def of(cls, found: model.Ranking) -> Self:
        """Return a ranking of `pipeline` as one that can be shown."""
        return cls(**{field.name: getattr(found, field.name) for field in fields(model.Ranking)})

    def __repr__(self) -> str:
        best = self.rows[0]
        place = f" at the {best.place}" if best.place else ""
        return f"<guardcheck guards of {self.unit}, {', '.join(self.lines)}: {len(self.rows)}, best {best.name}{place}>"

    def _repr_html_(self) -> str:
        from html import escape

        return f"<pre>{escape(self.to_text())}</pre>"

    def to_json(self) -> str:
        """Return the ranking as JSON text."""
        from guardcheck import report

        return report.ranking_to_json(self)

    def to_text(self) -> str:
        """Return the ranking as a terminal shows it."""
        from guardcheck import report

        return report.ranking_to_terminal(self)


def check(
    path: FilePath,
    *,
    samples: int = 200,
    seed: int = 1,
    workers: int | None = None,
    circuits: FilePath | None = None,
    events: bool = True,
    allow_outside: bool = False,
    progress: Progress | None = None,
) -> Result:
    """Check a planned mod before it is soldered, as `guardcheck check` does.

    Parameters
    ----------
    path : the job file
    samples : tolerance samples of each line, 0 or more
    seed : of those samples; the same seed gives the same result, byte for byte
    workers : simulator processes, one for each core unless given; the result does not depend on it
    circuits : a folder of your own parts, searched first
    events : False leaves the stress events out, and the result says so
    allow_outside : let paths in the job file leave the job's own folder
    progress : called with (done, total, what) as the work goes on

    Raises
    ------
    InputError
        the job or something it names cannot be understood; the message says where and what is accepted
    EngineMissing
        no simulator could be started

    """
    from guardcheck import pipeline

    options = _options(samples, seed, workers, circuits, events, allow_outside)
    return Result.of(pipeline.check(Path(path), options, progress))


def check_text(
    text: str,
    file: FilePath = "job.toml",
    *,
    samples: int = 200,
    seed: int = 1,
    workers: int | None = 1,
    circuits: FilePath | None = None,
    events: bool = True,
    allow_outside: bool = False,
) -> Result:
    """Check the text of a job file on a simulator this process keeps: one task of many on many machines.

    Parameters
    ----------
    text : what stands in the job file
    file : its name; netlists the job names are looked for in its folder
    samples, seed, workers, circuits, events, allow_outside : as `check` takes them; one simulator unless given

    Raises
    ------
    InputError
        the job or something it names cannot be understood
    EngineMissing
        no simulator could be started

    """
    from guardcheck import pipeline

    options = _options(samples, seed, workers, circuits, events, allow_outside)
    return Result.of(pipeline.check_text(text, options, file=Path(file)))


def verify(
    path: FilePath,
    readings: FilePath | None = None,
    captures: Mapping[str, FilePath] | None = None,
    *,
    sync: str | None = None,
    picture: str | Mapping[str, str] | None = None,
    load: str | Mapping[str, str] | None = None,
    place: str | Mapping[str, str] | None = None,
    coupling: str | Mapping[str, str] | None = None,
    accuracy: str | None = None,
    samples: int = 200,
    seed: int = 1,
    workers: int | None = None,
    circuits: FilePath | None = None,
    allow_outside: bool = False,
    progress: Progress | None = None,
) -> Result:
    """Verify the finished mod against what was measured, as `guardcheck verify` does.

    Parameters
    ----------
    path : the job file the mod was built to
    readings : a readings file
    captures : the scope's CSV of each line, by the line's name; ``file.csv#CHANNEL`` picks one channel
    sync : the channel with sync, for lines without their own
    picture, load, place, coupling : how the captures were taken: one word for all, or a word by line; a direct voltage
        needs coupling ``"dc"``
    accuracy : the scope's, as its data sheet prints it, such as ``"3%"``
    samples, seed, workers, circuits, allow_outside, progress : as `check` takes them

    Raises
    ------
    InputError
        job, readings or captures cannot be understood, or nothing was measured
    EngineMissing
        no simulator could be started

    """
    from guardcheck import pipeline

    options = _options(samples, seed, workers, circuits, True, allow_outside)
    said = {"picture": picture, "load": load, "place": place, "coupling": coupling}
    given = _given(readings, captures, sync, said, accuracy)
    return Result.of(pipeline.verify(Path(path), given, options, progress))


def rank_guards(
    path: FilePath,
    line: str | None = None,
    *,
    workers: int | None = None,
    circuits: FilePath | None = None,
    allow_outside: bool = False,
    progress: Progress | None = None,
) -> Ranking:
    """Rank every guard on one line of a job, as `guardcheck guards` does.

    Parameters
    ----------
    path : the job file
    line : the line's name, the first one unless given
    workers, circuits, allow_outside, progress : as `check` takes them

    Raises
    ------
    InputError
        the job cannot be understood, or has no such line
    EngineMissing
        no simulator could be started

    """
    from guardcheck import pipeline

    options = _options(0, 1, workers, circuits, True, allow_outside)
    return Ranking.of(pipeline.rank_guards(Path(path), options, line, progress))


def expect(
    path: FilePath,
    *,
    workers: int | None = None,
    circuits: FilePath | None = None,
    allow_outside: bool = False,
) -> tuple[Expected, ...]:
    """Return what a meter or scope shows at each point when the mod is right, as `guardcheck expect` does.

    Parameters
    ----------
    path : the job file
    workers, circuits, allow_outside : as `check` takes them

    Raises
    ------
    InputError
        the job cannot be understood, or has no line
    EngineMissing
        no simulator could be started

    """
    from guardcheck import pipeline

    return pipeline.expect(Path(path), _options(0, 1, workers, circuits, True, allow_outside))[1]


def propose(
    path: FilePath,
    line: str | None = None,
    *,
    samples: int = 200,
    seed: int = 1,
    workers: int | None = None,
    circuits: FilePath | None = None,
    allow_outside: bool = False,
    progress: Progress | None = None,
) -> Proposals:
    """Return builds that conform and hold, as `guardcheck propose` does.

    Parameters
    ----------
    path : the job file
    line : the line's name; every line of which something fails unless given
    samples, seed, workers, circuits, allow_outside, progress : as `check` takes them

    Raises
    ------
    InputError
        the job cannot be understood, or has no such line
    EngineMissing
        no simulator could be started

    """
    from guardcheck import pipeline

    return pipeline.propose(Path(path), _options(samples, seed, workers, circuits, True, allow_outside), line, progress)


def read_result(path: FilePath) -> Result:
    """Read a saved result (``--json``, or `Result.to_json`). Raises `InputError` for a file that is none."""
    from guardcheck import report

    return Result.of(report.read_result(Path(path)))


def _options(
    samples: int, seed: int, workers: int | None, circuits: FilePath | None, events: bool, allow_outside: bool
) -> Options:
    from guardcheck.pipeline import Options

    for name, value, least in (("samples", samples, 0), ("seed", seed, 0), ("workers", workers, 1)):
        if value is not None and value < least:
            raise InputError(f"{value} is not accepted; give {least} or more", key=name)
    folder = None if circuits is None else Path(circuits)
    return Options(seed, samples, workers, allow_outside, folder, events)


def _given(
    readings: FilePath | None,
    captures: Mapping[str, FilePath] | None,
    sync: str | None,
    said: Mapping[str, str | Mapping[str, str] | None],
    accuracy: str | None,
) -> Given:
    from guardcheck import pipeline

    words: dict[str, Any] = {
        key: [told] if isinstance(told, str) else [f"{line}={word}" for line, word in (told or {}).items()]
        for key, told in said.items()
    }
    files = [f"{line}={os.fspath(file)}" for line, file in (captures or {}).items()]
    return pipeline.given(None if readings is None else Path(readings), files, sync=sync, accuracy=accuracy, **words)
