"""Run a block of variants: side by side in one deck where that is sound, else one after the other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine.script import Answer, Array, Script, Stack, unsolved
from guardcheck.engine.session import RunError, Session, alter_commands
from guardcheck.engine.stacking import copy_of, stacked_lines

_GIVE_UP_AFTER = 3
_Run = tuple[Array, NDArray[np.float64] | None, tuple[str, ...]]


def solve(session: Session, script: Script, values: NDArray[np.float64] | None) -> Answer:
    """Run every variant of a block; a variant that fails alone leaves the others in place.

    Parameters
    ----------
    session
        where to run
    script
        the deck
    values
        variants, shape ``(n, len(script.alter))`` [SI], or None for the deck as it stands

    """
    rows = np.empty((1, 0)) if values is None else values
    try:
        if script.stack is None or len(rows) < 2:
            return _one_by_one(session, script, rows)
        copies = script.stack.copies
        answers: list[Answer] = []
        for start in range(0, len(rows), copies):
            answers.append(_stacked(session, script, script.stack, rows[start : start + copies]))
            if session.exited:
                rest = len(rows) - sum(len(answer.solved) for answer in answers)
                answers.append(unsolved(rest, answers[-1].words or "", exited=True))
                break
        return join(answers)
    finally:
        session.unload()


def join(answers: Sequence[Answer]) -> Answer:
    """Put the answers of consecutive blocks of one deck together, in order."""
    if len(answers) == 1:
        return answers[0]
    solved = np.concatenate([answer.solved for answer in answers])
    known = [answer.table for answer in answers if answer.table is not None]
    table: Array | None = None
    if known:
        table = np.concatenate([_table_of(answer, known[0]) for answer in answers])
    axes = [answer.axis for answer in answers if answer.axis is not None]
    words = next((answer.words for answer in answers if answer.words), None)
    used = tuple(dict.fromkeys(word for answer in answers for word in answer.help_used))
    return Answer(table, solved, axes[0] if axes else None, used, words, any(answer.exited for answer in answers))


def _table_of(answer: Answer, like: Array) -> Array:
    if answer.table is not None:
        return answer.table
    return np.full((len(answer.solved), *like.shape[1:]), np.nan, dtype=like.dtype)


def _stacked(session: Session, script: Script, stack: Stack, rows: NDArray[np.float64]) -> Answer:
    """Run copies side by side; when anything is wrong with the whole, run each on its own."""
    vectors = [copy_of(vector, k) for k in range(len(rows)) for _, vector in script.save]
    try:
        session.load(stacked_lines(stack, rows), vectors, script.attempts[0])
        table, axis, used = session.run(script, vectors)
    except RunError as failed:
        if session.exited:
            return unsolved(len(rows), failed.words, exited=True)
        return _one_by_one(session, script, rows)
    shape = (len(rows), len(script.save), *table.shape[1:])
    return Answer(table.reshape(shape), np.ones(len(rows), dtype=bool), axis, used)


def _one_by_one(session: Session, script: Script, rows: NDArray[np.float64]) -> Answer:
    """Load once and alter from variant to variant; after a failure start from a fresh load."""
    names = [vector for _, vector in script.save]
    found: dict[int, _Run] = {}
    words: str | None = None
    failures = 0
    loaded = False
    for index, row in enumerate(rows.tolist()):
        try:
            if not loaded:
                session.load(script.lines, names, script.attempts[0])
                loaded = True
            found[index] = session.run(script, names, alter_commands(script.alter, row))
        except RunError as failed:
            loaded = False
            helped = _with_help(session, script, names, row, failed)
            if isinstance(helped, RunError):
                words, failures = words or helped.words, failures + 1
                if helped.final or (not found and failures >= _GIVE_UP_AFTER):
                    break  # the rest would only cost time: the deck itself is wrong
            else:
                found[index] = helped
    return _collect(len(rows), found, words, session.exited)


def _with_help(
    session: Session, script: Script, names: Sequence[str], row: Sequence[float], first: RunError
) -> _Run | RunError:
    """Try the convergence help in its order; return the first run to be trusted, or the first failure."""
    failed = first
    for attempt in script.attempts[1:]:
        if failed.final:
            return failed
        try:
            session.load(script.lines, names, attempt)
            table, axis, used = session.run(script, names, alter_commands(script.alter, row))
        except RunError as again:
            failed = again
        else:
            return table, axis, (*used, attempt.help)
    return first


def _collect(n: int, found: dict[int, _Run], words: str | None, exited: bool) -> Answer:
    if not found:
        return unsolved(n, words or "nothing was run", exited)
    table, axis, _ = next(iter(found.values()))
    whole: Array = np.full((n, *table.shape), np.nan, dtype=table.dtype)
    solved = np.zeros(n, dtype=bool)
    for index, (one, _, _) in found.items():
        whole[index], solved[index] = one, True
    used = tuple(dict.fromkeys(word for _, _, words_ in found.values() for word in words_))
    return Answer(whole, solved, axis, used, words, exited)
