"""Run one deck in one simulator and believe only what provably belongs to it.

ngspice keeps the previous circuit when a new one fails to load, keeps the previous plot when a run fails, and leaves
half a plot when a transient stops midway, all without an error code. So every deck carries a serial number in its
title which is read back from the plot, every run must open a new plot of the right kind, and every vector must be
there, whole, finite and plausible.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import count

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine.script import Array, Attempt, Script
from guardcheck.engine.simulator import Simulator

_HARMLESS = re.compile(
    r"note:|using (?:sparse|klu)|trying gmin|(?:warning: )?(?:dynamic |true |spice3 )?gmin stepping|"
    r"(?:note: )?starting (?:dynamic |true |spice3 )?gmin|"
    r"warning: (?:further gmin|(?:dynamic|true|spice3) gmin|last gmin|source stepping|one successful)|"
    r"(?:note: )?(?:starting )?source stepping|supplies reduced|one successful|last gmin|further gmin|"
    r"(?:true|dynamic|spice3) gmin|warning: [vi]\w*: no dc value, transient time 0 value used|\s*$",
    re.IGNORECASE,
)
_PREFIX = re.compile(r"\A(?:stdout |stderr )?(?:trying gmin = *\S+ *)?", re.IGNORECASE)
_NOISE = re.compile(
    r"note: no compatibility mode|circuit:|doing analysis at|no\. of data rows|note: 'quit'|reference value|"
    r".*awaits to be detached|using (?:sparse|klu)",
    re.IGNORECASE,
)
_FATAL = re.compile(
    r"singular matrix|aborted|interrupted|timestep too small|can't allocate|no such|"
    r"transient op",  # ngspice's last resort ramps the supplies for 10 us and takes what it finds for the steady state
    re.IGNORECASE,
)
_HELP = (("gmin stepping", re.compile("gmin", re.IGNORECASE)), ("source stepping", re.compile("source stepping", re.I)))
_LONGEST = 300


def complaints(log: Iterable[str], *, loading: bool) -> tuple[str, ...]:
    """Return the lines that mean the result cannot be trusted.

    While a deck is loaded every line on ngspice's error channel counts (an ignored model parameter is only a warning
    there, and changes the circuit); during a run the lines of its own convergence help are let pass.
    """
    found = []
    for line in log:
        channel, _, words = line.partition(" ")
        if channel != "stderr":
            if _FATAL.search(words) or words.lstrip().lower().startswith(("error", "fatal")):
                found.append(words)
            continue
        if _FATAL.search(words) or not words.strip() or not _HARMLESS.match(words.strip()):
            if words.strip():
                found.append(words)
        elif loading and not words.strip().lower().startswith("note:"):
            found.append(words)
    return tuple(found)


def help_words(log: Sequence[str]) -> tuple[str, ...]:
    """Return which of its own convergence help ngspice used, in the order it is always tried."""
    said = [line.partition(" ")[2] for line in log if line.startswith("stderr")]
    return tuple(name for name, pattern in _HELP if any(pattern.search(line) for line in said))


def clean(lines: Iterable[str]) -> str:
    """Return ngspice's words as one printable line without repeats."""
    seen: list[str] = []
    for line in lines:
        words = _PREFIX.sub("", re.sub(r"[^\x20-\x7e]+", " ", line).strip())
        words = re.sub(r"\s+", " ", words).strip(" .:")
        if words and words not in seen and not _NOISE.match(words):
            seen.append(words)
    text = "; ".join(seen)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."


_COMMAND_ROOM = 1000  # ngspice cuts commands at 1023 characters
_IMPLAUSIBLE = 1e5  # V or A: no bench in this trade has them, a runaway solution does
_SERIALS = count(1)


class RunError(Exception):
    """A run that cannot be trusted; `final` means no convergence help can cure it."""

    def __init__(self, words: str, *, final: bool = False) -> None:
        super().__init__(words)
        self.words, self.final = words, final


class Session:
    """One simulator and the rules for believing it.

    Parameters
    ----------
    simulator : an open simulator
    beat : called before each run, so that a watcher can tell a long block from a hanging run

    """

    def __init__(self, simulator: Simulator, beat: Callable[[], None] = lambda: None) -> None:
        self._simulator, self._beat = simulator, beat
        self._title = self._last_plot = ""
        self._loaded = self._tied = self._littered = False

    @property
    def exited(self) -> bool:
        """Whether the simulator asked to end: its state is lost, even for a good deck."""
        return self._simulator.exited

    def load(self, lines: Sequence[str], vectors: Sequence[str], attempt: Attempt) -> None:
        """Load element and model lines with our own title, options, analysis and end.

        Raises
        ------
        RunError : ngspice said anything at all about the deck, or did not take it

        """
        self.unload()
        self._loaded, self._tied = True, False
        self._title = f"guardcheck {next(_SERIALS)}"
        saves = (f".save {' '.join(map(_saved, chunk))}" for chunk in _chunks(vectors))
        deck = [self._title, *lines, attempt.options, *saves, attempt.analysis, ".end"]
        accepted = self._simulator.load(deck)
        log = self._simulator.log
        bad = complaints(log, loading=True)
        named = any(line.partition("Circuit:")[2].strip() == self._title for line in log)
        if bad or not accepted or self.exited or not named:
            raise RunError(clean(bad or log) or "ngspice did not take the deck", final=True)
        self._last_plot = self._simulator.current_plot()

    def run(
        self, script: Script, vectors: Sequence[str], changes: Iterable[str] = ()
    ) -> tuple[Array, NDArray[np.float64] | None, tuple[str, ...]]:
        """Run the loaded deck once, after some alter commands.

        Returns
        -------
        table : shape ``(n_vectors,)`` for an operating point, else ``(n_vectors, n_axis or n_windows)`` [SI]
        axis : time [s] or frequency [Hz]; None for operating points and windows
        used : convergence help ngspice took by itself

        Raises
        ------
        RunError : the result cannot be trusted

        """
        simulator = self._simulator
        for command in changes:
            simulator.command(command)
            if bad := complaints(simulator.log, loading=True):
                raise RunError(clean(bad), final=True)
        self._beat()
        self._littered = True
        simulator.command("run")
        log = simulator.log
        bad = complaints(log, loading=False)
        if bad or self.exited:
            raise RunError(clean(bad or log) or "the simulator ended itself", final=self.exited)
        plot = simulator.current_plot()
        if not plot.startswith(script.kind) or plot == self._last_plot:
            raise RunError(clean(log) or "the run gave no result of its own")
        if not self._tied:  # once per load: the circuit cannot change between runs of one load
            simulator.command("echo $curplottitle")
            if f"stdout {self._title}" not in simulator.log:
                raise RunError("the result belongs to another circuit", final=True)
            self._tied = True
        axis = self._axis(script, plot)
        table = self._table(script, plot, vectors, 1 if axis is None else len(axis))
        simulator.command("destroy all")
        self._last_plot = simulator.current_plot()  # ngspice gives the same name again, so none may be left
        self._littered = False
        if axis is None:
            return table[:, 0], None, help_words(log)
        if script.windows:
            return table @ window_weights(axis, script.windows).T, None, help_words(log)
        return table, axis, help_words(log)

    def unload(self) -> None:
        """Leave nothing behind that a failed load could pass off as its own."""
        if self._loaded and not self.exited:
            if self._littered:
                self._simulator.command("destroy all")
            self._simulator.command("remcirc")
        self._loaded = self._littered = False

    def _axis(self, script: Script, plot: str) -> NDArray[np.float64] | None:
        if script.kind == "op":
            return None
        raw = self._simulator.vector(plot, "time" if script.kind == "tran" else "frequency")
        if raw is None or len(raw) < (2 if script.kind == "tran" else 1) or not np.isfinite(raw).all():
            raise RunError("the result has no axis")
        axis = np.ascontiguousarray(raw.real)
        if axis[-1] < script.final * (1.0 - 1e-9):
            raise RunError(f"the run stopped at {axis[-1]:.6g} of {script.final:.6g}")
        return axis

    def _table(self, script: Script, plot: str, vectors: Sequence[str], length: int) -> Array:
        table: Array = np.empty((len(vectors), length), dtype=complex if script.kind == "ac" else float)
        for row, name in enumerate(vectors):
            array = self._simulator.vector(plot, name)
            if array is None or len(array) != length or (np.iscomplexobj(array) and script.kind != "ac"):
                raise RunError(f"the result lacks {_saved(name)}")
            table[row] = array
        if not np.isfinite(table).all():
            raise RunError("the result is not finite")
        if script.kind != "ac" and (largest := float(np.abs(table).max())) > _IMPLAUSIBLE:
            raise RunError(f"the result reaches {largest:.3g} V or A, which no such circuit can")
        return table


def alter_commands(heads: Sequence[str], row: Sequence[float]) -> Iterator[str]:
    """Yield as few commands as ngspice's line length allows; values are written in full so that nothing is lost."""
    pending: list[str] = []
    length = 0
    for head, value in zip(heads, row, strict=True):
        command = f"{head} {value!r}"
        if pending and length + len(command) + 1 > _COMMAND_ROOM:
            yield ";".join(pending)
            pending, length = [], 0
        pending.append(command)
        length += len(command) + 1
    if pending:
        yield ";".join(pending)


def window_weights(time: NDArray[np.float64], windows: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
    """Return weights, shape ``(n_windows, n_time)``, whose product with a waveform is its mean over each window.

    The waveform is taken as straight between its points. Both ends of a window are interpolated, so the mean does
    not jump with the time steps the simulator happened to choose.
    """
    weights = np.zeros((len(windows), len(time)))
    for row, (start, end) in enumerate(windows):
        first = int(np.clip(np.searchsorted(time, start, side="right") - 1, 0, len(time) - 2))
        last = int(np.clip(np.searchsorted(time, end, side="left"), first + 1, len(time) - 1))
        left, right = time[first:last], time[first + 1 : last + 1]
        span = right - left
        a, b = np.clip(start, left, right), np.clip(end, left, right)
        with np.errstate(divide="ignore", invalid="ignore"):
            middle = np.where(span > 0.0, ((a + b) / 2.0 - left) / span, 0.0)
        weights[row, first:last] += (b - a) * (1.0 - middle)
        weights[row, first + 1 : last + 1] += (b - a) * middle
        weights[row] /= weights[row].sum()
    return weights


def _saved(vector: str) -> str:
    return f"i({vector[: -len('#branch')]})" if vector.endswith("#branch") else f"v({vector})"


def _chunks(vectors: Sequence[str]) -> Iterator[Sequence[str]]:
    for start in range(0, len(vectors), 20):
        yield vectors[start : start + 20]
