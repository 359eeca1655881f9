"""What travels between the engine and its worker processes: text and numbers only, no records of other floors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64] | NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Attempt:
    """One way to ask for the analysis: `help` is empty for the first, else the convergence help it stands for."""

    help: str
    options: str
    analysis: str


@dataclass(frozen=True, slots=True)
class Stack:
    """How to write many copies of one circuit into one deck.

    `shared` lines stand once. `pieces` alternate: text (with `MARK` where the copy's suffix goes) and column numbers
    of the value matrix. `copies` is fixed per analysis so that a sample's neighbours never depend on the worker count.
    """

    shared: tuple[str, ...]
    pieces: tuple[str | int, ...]
    copies: int


@dataclass(frozen=True, slots=True)
class Script:
    """One deck as a worker sees it.

    Parameters
    ----------
    name : the deck's name, for messages
    kind : ``op``, ``ac`` or ``tran``, also how ngspice names the plot
    lines : element and model lines, without title, options, analysis, save and end
    attempts : the first way to run it and the convergence help in the order it is tried
    save : pairs of the name asked for and ngspice's vector name
    alter : one command head per column of the value matrix, such as ``alter r1 =``
    windows : time windows [s] to average over, transient only
    final : last time [s] or frequency [Hz] that must be reached; 0 for an operating point
    stack : how to stack copies, or None

    """

    name: str
    kind: str
    lines: tuple[str, ...]
    attempts: tuple[Attempt, ...]
    save: tuple[tuple[str, str], ...]
    alter: tuple[str, ...] = ()
    windows: tuple[tuple[float, float], ...] = ()
    final: float = 0.0
    stack: Stack | None = None


@dataclass(slots=True)
class Answer:
    """What a worker found for one block of variants.

    `table` has the shape ``(n_variants, n_saved)`` for an operating point, else ``(n_variants, n_saved, n_axis)`` or
    ``(n_variants, n_saved, n_windows)``, NaN where `solved` is False; it is None when no variant was solved.
    `words` are ngspice's own about the first failure. `exited` says the simulator asked to end and must not be used
    again.
    """

    table: Array | None
    solved: NDArray[np.bool_]
    axis: NDArray[np.float64] | None = None
    help_used: tuple[str, ...] = ()
    words: str | None = None
    exited: bool = False


MARK = "\x01"


def unsolved(n: int, words: str, exited: bool = False) -> Answer:
    """Return the answer of a block in which nothing can be trusted."""
    return Answer(None, np.zeros(n, dtype=bool), words=words, exited=exited)
