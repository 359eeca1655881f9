"""Several jobs at once: processes that keep their simulator, one result each, one table for all."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from guardcheck.cli.app import OUTCOME_CODES, WORST_FIRST, Progress, bug, check_targets, code_of, in_folder, write
from guardcheck.errors import GuardcheckError, InputError, Interrupted

if TYPE_CHECKING:
    from guardcheck.model import Result
    from guardcheck.pipeline import Options

MOST_BREAKS = 2
"""How often a job may be under way when its process ends before it is given up."""


@dataclass(frozen=True)
class Folders:
    """Where the results of a batch go; None for a kind that is not wanted."""

    json: Path | None = None
    html: Path | None = None
    svg: Path | None = None

    def files(self, name: str) -> dict[str, Path]:
        """Return the file of each wanted kind for one job."""
        wanted = {"json": self.json, "html": self.html, "svg": self.svg}
        return {kind: folder / f"{name}.{kind}" for kind, folder in wanted.items() if folder is not None}


@dataclass(frozen=True)
class Row:
    """What became of one job: its result (without what is only drawn), or the sentence that says why there is none."""

    told: Result | str
    code: int


def check_many(jobs: Sequence[Path], options: Options, folders: Folders, *, resume: bool, quiet: bool) -> int:
    """Check jobs, write their results as they come and print one table; return the worst exit code.

    Raises
    ------
    InputError
        an output would replace an input, or `resume` is asked for without a folder of saved results
    Interrupted
        the user stopped it; what is done is written and in the table

    """
    from guardcheck import pipeline, report

    if resume and folders.json is None:
        raise InputError("name the folder of the saved results with --json", key="--resume")
    names = report.unique_names(jobs)
    inputs = [file for job in jobs for file in pipeline.files_named(job, options)]
    outputs = [file for name in names for file in folders.files(name).values() if file.parent.exists()]
    check_targets(outputs, inputs)
    todo = {index: (job, folders.files(name)) for index, (job, name) in enumerate(zip(jobs, names, strict=True))}
    rows = {index: row for index, one in todo.items() if resume and (row := _kept(one, options))}
    todo = {index: one for index, one in todo.items() if index not in rows}
    progress = Progress(quiet)
    interrupted = False
    try:
        for index, row in _rows(todo, options):
            rows[index] = row
            progress(len(rows), len(jobs) + 1, f"{names[index]} is done")
    except KeyboardInterrupt:
        interrupted = True
    progress(1, 1, "")
    if rows:
        typer.echo(report.summary([(names[index], rows[index].told) for index in sorted(rows)]), nl=False)
    if interrupted:
        kept = ", and their results are kept" if folders != Folders() else ""
        go_on = "; the same command with --resume goes on" if folders.json is not None else ""
        raise Interrupted(f"stopped: {len(rows)} of {len(jobs)} jobs are done{kept}{go_on}")
    return min((row.code for row in rows.values()), key=WORST_FIRST.index)


def _kept(one: tuple[Path, Mapping[str, Path]], options: Options) -> Row | None:
    """Return the row of a job whose saved result still holds and whose other files are there; else None."""
    job, files = one
    from guardcheck import pipeline, report

    if not all(file.is_file() for file in files.values()):
        return None
    try:
        saved = report.read_result(files["json"])
    except GuardcheckError:
        return None
    return Row(_lean(saved), OUTCOME_CODES[saved.outcome]) if pipeline.still_holds(saved, job, options) else None


def _rows(todo: Mapping[int, tuple[Path, dict[str, Path]]], options: Options) -> Iterator[tuple[int, Row]]:
    """Yield what becomes of each job, as it is done; in this process when there is only one to do or one to do it."""
    hands = min(options.workers or os.cpu_count() or 1, len(todo))
    if hands <= 1:
        for index, (job, files) in todo.items():
            yield index, _check(job, options, files)
        return
    breaks = dict.fromkeys(todo, 0)
    while breaks:
        struck: list[int] = []
        for index, row in _dealt({index: todo[index] for index in breaks}, replace(options, workers=1), hands, struck):
            del breaks[index]
            yield index, row
        for index in struck:
            breaks[index] += 1
            if breaks[index] >= MOST_BREAKS:
                del breaks[index]
                yield index, Row("the process that checked it ended twice before it was done: out of memory?", 1)


def _dealt(
    todo: Mapping[int, tuple[Path, dict[str, Path]]], options: Options, hands: int, struck: list[int]
) -> Iterator[tuple[int, Row]]:
    """Deal jobs to processes, one at a time each; `struck` takes those under way when one ended, and no more begin."""
    queue, running = deque(todo), dict[Future[Row], int]()
    with ProcessPoolExecutor(hands, get_context("spawn"), _leave_interrupts) as pool:
        try:
            while queue or running:
                while queue and len(running) < hands:
                    index = queue.popleft()
                    try:
                        with _deaf():
                            running[pool.submit(_check, todo[index][0], options, todo[index][1])] = index
                    except (BrokenProcessPool, OSError):  # one ended while another was being begun
                        struck.append(index)
                        queue.clear()
                done, _ = wait(running, return_when=FIRST_COMPLETED)
                for one in sorted(done, key=running.__getitem__):
                    index = running.pop(one)
                    if isinstance(one.exception(), BrokenProcessPool):
                        struck.append(index)
                        queue.clear()
                    else:
                        yield index, one.result()
        except KeyboardInterrupt:  # what is under way is finished and written, the rest is not begun
            pool.shutdown(cancel_futures=True)
            for one, index in running.items():
                if one.exception() is None:
                    yield index, one.result()
            raise


@contextmanager
def _deaf() -> Iterator[None]:
    """Put Ctrl-C off: a process begun inside never hears it, not even before it can say that it leaves it to us."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _leave_interrupts() -> None:
    """Let the parent decide what Ctrl-C ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _check(job: Path, options: Options, files: Mapping[str, Path]) -> Row:
    """Check one job on this process's engine and write its files."""
    from guardcheck import pipeline

    try:
        result = pipeline.check(job, options, engine=pipeline.warm_engine(options.workers))
        placed = {kind: in_folder(file.parent, file.name) for kind, file in files.items()}
        write(result, str(placed["json"]) if "json" in placed else None, placed.get("html"), placed.get("svg"))
        return Row(_lean(result), OUTCOME_CODES[result.outcome])
    except GuardcheckError as error:
        return Row(str(error), code_of(error))
    except Exception as error:  # one broken job must not stop the others
        return Row(bug(error), 1)


def _lean(result: Result) -> Result:
    return replace(result, curves=(), schematics=())
