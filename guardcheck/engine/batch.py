"""How one call of the engine is cut into blocks, and how answers become traces."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine.script import Answer, Array, Script
from guardcheck.model import Deck, Operating, Sweep, Trace

_AT_ONCE = {"op": 200, "ac": 50, "tran": 50}  # variants per block: fixed, so that no result depends on the worker count


@dataclass(slots=True)
class Block:
    """Some variants of one script, and what became of them."""

    script: int
    position: int
    values: NDArray[np.float64] | None
    n: int
    crashes: int = 0


@dataclass(slots=True)
class Batch:
    """One call of `run`: what is waiting, what is done, and the error that ends it, if one does."""

    scripts: Sequence[Script]
    waiting: deque[Block]
    answers: list[list[Answer | None]]
    total: int
    done: int = 0
    families: Sequence[str] = ()
    began: float = field(default_factory=time.monotonic)
    finished_blocks: int = 0
    broken: Exception | None = None

    @property
    def finished(self) -> bool:
        """Tell whether every variant has its answer."""
        return self.done >= self.total


def plan(
    scripts: Sequence[Script], values: Sequence[NDArray[np.float64] | None], families: Sequence[str] = ()
) -> Batch:
    """Cut the work into blocks of a fixed size."""
    waiting: deque[Block] = deque()
    answers: list[list[Answer | None]] = []
    total = 0
    for index, (script, matrix) in enumerate(zip(scripts, values, strict=True)):
        size = _AT_ONCE[script.kind]
        n = 1 if matrix is None else len(matrix)
        blocks = [
            Block(index, position, None if matrix is None else matrix[start : start + size], min(size, n - start))
            for position, start in enumerate(range(0, n, size))
        ]
        waiting.extend(blocks)
        answers.append([None] * len(blocks))
        total += n
    return Batch(
        scripts, waiting, answers, total, families=families or [f"{one.name} {n}" for n, one in enumerate(scripts)]
    )


def trace_of(deck: Deck, answer: Answer) -> Trace:
    """Return the trace of a deck; when nothing was solved it holds NaN, so whatever is computed from it cannot pass."""
    failure = None if answer.solved.any() else (answer.words or "nothing was run")
    table, axis = answer.table, answer.axis
    if table is None:
        shape: tuple[int, ...] = (deck.n_variants, len(deck.save))
        if not isinstance(deck.analysis, Operating):
            shape += (len(deck.windows) or 1,)
            axis = None if deck.windows else np.array([np.nan])
        table = np.full(shape, np.nan, dtype=complex if isinstance(deck.analysis, Sweep) else float)
    vectors: dict[str, Array] = {}
    for row, name in enumerate(deck.save):
        vectors[name] = table[:, row].copy()
    return Trace(deck.name, vectors, answer.solved, axis, failure, answer.help_used)
