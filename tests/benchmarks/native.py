"""ngspice's own way to do the same work: its control loop, and one program start per sample. Times are CPU seconds."""

from __future__ import annotations

import os
import resource
import shutil
import statistics
import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from guardcheck.engine.script import Attempt


def binary() -> str | None:
    """Return the path of the ngspice program, or None."""
    return shutil.which("ngspice")


@dataclass(frozen=True)
class Job:
    """A deck for the native loop: lines, how to run it, what to save, and alter heads with their rows of values."""

    lines: tuple[str, ...]
    attempt: Attempt
    save: str
    heads: tuple[str, ...]
    rows: list[list[float]]


def per_run(job: Job, repeats: int = 5) -> float:
    """Return CPU seconds per run of the control loop: the slope between a short and a long loop, each at its least.

    The least of several is what the work costs; whatever else the machine does only adds to it.
    """
    short, long = max(1, len(job.rows) // 6), len(job.rows)
    times = [min(_cpu(_loop(job, n)) for _ in range(repeats)) for n in (short, long)]
    return (times[1] - times[0]) / (long - short)


def per_start(job: Job, starts: int = 40) -> float:
    """Return CPU seconds per sample when each is a program start of its own, from `starts` of them."""
    texts = [_single(job, k % len(job.rows)) for k in range(starts)]
    return statistics.median(_cpu(text) for text in texts)


def _head(job: Job) -> list[str]:
    return ["bench", *job.lines, job.attempt.options, f".save {job.save}", job.attempt.analysis]


def _loop(job: Job, n: int) -> str:
    body = []
    for row in job.rows[:n]:
        body += [f"{head} {value!r}" for head, value in zip(job.heads, row, strict=True)]
        body += ["run", "destroy all"]
    return "\n".join([*_head(job), ".control", *body, "quit", ".endc", ".end", ""])


def _single(job: Job, k: int) -> str:
    values = {head.split()[1]: value for head, value in zip(job.heads, job.rows[k], strict=True)}
    lines = []
    for line in job.lines:
        words = line.split()
        if words[0] in values:
            words[3 + (words[3] == "dc")] = repr(values[words[0]])
        lines.append(" ".join(words))
    return "\n".join(["bench", *lines, *_head(job)[len(job.lines) + 1 :], ".end", ""])


def _cpu(text: str) -> float:
    program = binary()
    assert program is not None
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "deck.cir"
        deck.write_text(text)
        raw = Path(folder) / "out.raw"
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            [program, "-b", "-r", str(raw), str(deck)],
            cwd=folder,
            env={**os.environ, "HOME": folder, "OMP_NUM_THREADS": "1"},
            capture_output=True,
            text=True,
            check=False,
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if done.returncode not in (0, 1) or "aborted" in done.stderr:
        raise RuntimeError(done.stderr[-500:])
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def rows_of(values: object) -> list[list[float]]:
    """Return a matrix as plain lists of floats."""
    rows: Sequence[Sequence[float]] = values.tolist()  # type: ignore[attr-defined]
    return [list(map(float, row)) for row in rows]
