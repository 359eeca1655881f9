"""The engine: decks in, traces out, with as many worker processes as the work is worth.

Several threads may run decks at once. Their batches share the workers: whichever thread finds nobody serving them hands
out blocks and takes in answers for all, until its own batch is done, and the next one goes on.
"""

from __future__ import annotations

import contextlib
import os
import queue
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine.batch import Batch, Block, plan, trace_of
from guardcheck.engine.blocks import join
from guardcheck.engine.deckrules import check_deck
from guardcheck.engine.frames import BEAT, BROKEN, DONE, MISSING, READY
from guardcheck.engine.library import find_library, missing_sentence, no_word, unusable_sentence
from guardcheck.engine.process import GONE, WorkerProcess
from guardcheck.engine.script import Answer, Script, unsolved
from guardcheck.engine.text import script_for
from guardcheck.errors import CircuitError, DeckRefused, EngineError, EngineMissing
from guardcheck.model import Deck, EngineInfo, Trace

_START_COST = 0.25  # s a further worker costs before it helps
_AHEAD = 2
"""Workers that start while their caller loads itself: a check has work for as many, whatever its job."""
_START_PATIENCE = 30.0  # s
_GLANCE = 0.1  # s between looks at whether a further worker would pay
_MOST_CRASHES = 2
_FOLDER = "guardcheck-"
_STALE = 3600.0  # s: another machine's processes, seen through a shared folder, cannot be asked
_LEAST_MEMORY = 128 << 20  # bytes a worker needs for an honest circuit
_MEMORY = 800 << 20
"""What all workers of an engine may take together, beside the program itself [bytes]: a job keeps below a gigabyte."""

_LOOK: tuple[Any, str, Any] = (None, GONE, None)
"""A message of nobody: look what there is to do."""

_GIVEN_UP = "the run was given up"
Progress = Callable[[int, int], None]


class Engine:
    """Runs decks in worker processes; a context manager.

    Parameters
    ----------
    workers : most worker processes to use; None means one per core. Fewer are started when the work is small
    wall_limit : longest time one run may take [s]; a run that takes longer is stopped and becomes a failure
    memory_limit : most memory the simulator may take in all workers [bytes], where the operating system can bound it
    wait : wait for ngspice on entering; False lets it start, two workers at once, while the caller goes on, and waits
        on first use

    Raises
    ------
    EngineMissing : on entering (or on first use), when ngspice cannot be found or started; says what to install

    """

    def __init__(
        self,
        workers: int | None = None,
        wall_limit: float = 20.0,
        *,
        memory_limit: int = _MEMORY,
        wait: bool = True,
    ) -> None:
        if workers is not None and workers < 1:
            raise ValueError(f"workers is {workers}; at least 1 is needed")
        self._most = workers if workers is not None else _cores()
        self._wall_limit = wall_limit
        self._memory = max(memory_limit // self._most, min(memory_limit, _LEAST_MEMORY))
        self._workers: list[WorkerProcess] = []
        self._inbox: queue.SimpleQueue[tuple[WorkerProcess, str, Any]] = queue.SimpleQueue()
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._library = ""
        self._info: EngineInfo | None = None
        self._missing: str | None = None
        self._spent = 0.0
        self._until, self._allowed = float("inf"), 0.0
        self._silent: set[str] = set()
        self._undone: dict[str, str] = {}
        self._wait = wait
        self._turn = threading.Condition()
        self._serving = False
        self._refused = 0
        self._batches: list[Batch] = []

    def __enter__(self) -> Self:
        library = find_library()
        if library is None and self._wait:
            raise EngineMissing(missing_sentence())
        self._library = library or ""
        sweep(Path(tempfile.gettempdir()))
        self._folder = tempfile.TemporaryDirectory(prefix=f"{_FOLDER}{os.getpid()}-", ignore_cleanup_errors=True)
        folder = Path(self._folder.name)
        (folder / ".spiceinit").touch()  # an empty one here is found before any other
        (folder / "scripts").mkdir()
        try:
            if library is not None:
                for _ in range(1 if self._wait else min(_AHEAD, self._most)):
                    self._start_worker()
            if self._wait:
                self._await_first()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def info(self) -> EngineInfo:
        """Which simulator answers. Raises `EngineError` before the engine is entered, `EngineMissing` for none."""
        if self._folder is None and self._info is None:
            raise EngineError("the engine has not been started")
        with self._turn:
            if self._info is None:
                self._await_first()
            assert self._info is not None
            return self._info

    def allow(self, seconds: float) -> None:
        """Give the work from here on so much time [s]; what is left then is left undone, and `undone` says so."""
        with self._turn:
            self._until, self._allowed = time.monotonic() + seconds, seconds
            self._silent.clear()
            self._undone.clear()

    @contextmanager
    def allowing(self, seconds: float) -> Iterator[None]:
        """Give the work inside so much time [s], as `allow` does; what comes after it is free again."""
        self.allow(seconds)
        try:
            yield
        finally:
            with self._turn:
                self._until = float("inf")

    @property
    def undone(self) -> tuple[str, ...]:
        """What was left undone since `allow`, each family of decks in one sentence."""
        with self._turn:
            return tuple(f"{family}: {why}." for family, why in sorted(self._undone.items()))

    def close(self) -> None:
        """End all workers and remove their folder."""
        self._stop_all()
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def run(self, decks: Sequence[Deck], progress: Progress | None = None) -> tuple[Trace, ...]:
        """Run decks and return their traces in the same order.

        A deck that is refused, does not converge, hangs or breaks the simulator comes back as a trace with a
        `failure`; the others are not touched by it. Results do not depend on the number of workers. A sweep has at
        least the points asked for: ngspice takes a whole number per decade, so read its axis.

        Parameters
        ----------
        decks
            what to run
        progress
            called with (runs done, runs in all) as blocks finish

        Raises
        ------
        EngineError : the engine was not entered, or a worker could not be started again

        """
        scripts: list[Script | str] = []
        for deck in decks:
            try:
                check_deck(deck)
                scripts.append(script_for(deck))
            except (DeckRefused, CircuitError) as refused:
                scripts.append(str(refused))
        good = [script for script in scripts if isinstance(script, Script)]
        values = [deck.variants for deck, script in zip(decks, scripts, strict=True) if isinstance(script, Script)]
        families = [
            deck.family or deck.name for deck, script in zip(decks, scripts, strict=True) if isinstance(script, Script)
        ]
        answers = iter(self._run_scripts(good, values, progress, families))
        return tuple(
            trace_of(deck, next(answers) if isinstance(script, Script) else unsolved(deck.n_variants, script))
            for deck, script in zip(decks, scripts, strict=True)
        )

    def _run_scripts(
        self,
        scripts: Sequence[Script],
        values: Sequence[NDArray[np.float64] | None],
        progress: Progress | None = None,
        families: Sequence[str] = (),
    ) -> list[Answer]:
        """Run scripts, each with its matrix of variants; `families` are what they are given up with, by name."""
        if self._folder is None:
            raise EngineError("the engine must be entered before it runs anything")
        assert self.info
        batch = plan(scripts, values, families)
        with self._turn:
            if self._refused:
                raise EngineError(_GIVEN_UP)
            self._batches.append(batch)
            if self._serving:
                self._inbox.put(_LOOK)  # whoever serves may be waiting for an answer, with workers idle
        try:
            while not batch.finished:
                before = batch.done
                self._serve_or_wait(batch)
                if batch.broken is not None:
                    raise batch.broken
                if progress is not None and batch.done > before:
                    progress(batch.done, batch.total)
        finally:
            with self._turn:
                self._batches.remove(batch)
                for worker in [worker for worker in self._workers if worker.busy and worker.busy[0] is batch]:
                    self._drop(worker)  # one in an unknown state must not serve the next call
                self._spent += time.monotonic() - batch.began
        return [join([answer for answer in row if answer is not None]) for row in batch.answers]

    @contextmanager
    def refusing(self) -> Iterator[None]:
        """Stop everything that runs, and refuse more until the end of the `with`: every `run` raises `EngineError`."""
        with self._turn:
            self._refused += 1
        self._stop_all()
        try:
            yield
        finally:
            with self._turn:
                self._refused -= 1

    def _stop_all(self) -> None:
        with self._turn:
            for batch in self._batches:
                batch.broken = EngineError(_GIVEN_UP)
            for worker in self._workers:
                worker.end()
            self._workers.clear()
            if self._serving:
                self._inbox.put(_LOOK)
            self._turn.notify_all()

    def _serve_or_wait(self, batch: Batch) -> None:
        """Serve all batches for one message, or wait while another thread does."""
        with self._turn:
            if self._serving:
                self._turn.wait(_GLANCE)
                return
            if batch.finished or batch.broken is not None:
                return
            self._serving = True
            try:
                self._hand_out()
                self._receive()
            except EngineError as error:
                for one in self._batches:
                    one.broken = error
            finally:
                self._serving = False
                self._turn.notify_all()

    # --- handing out ----------------------------------------------------------------------------------------------

    def _hand_out(self) -> None:
        if any(batch.waiting for batch in self._batches) and (not self._workers or self._worth_another()):
            self._start_worker()
        for worker in self._workers:
            while worker.ready and worker.busy is None:
                # a short batch first: most are steps of a search, and nothing else can go on before they are done
                batch = min(
                    (one for one in self._batches if one.waiting), key=lambda one: len(one.waiting), default=None
                )
                if batch is None:
                    return
                block = batch.waiting.popleft()
                script = batch.scripts[block.script]
                if why := self._given_up(batch.families[block.script]):
                    self._settle(batch, block, unsolved(block.n, why))
                    continue
                worker.busy = (batch, block)
                worker.deadline = time.monotonic() + self._wall_limit
                worker.send((script, block.values))

    def _given_up(self, family: str) -> str | None:
        """Return why a deck is not tried any more: one of its family got no answer, or the time is used up."""
        if family in self._silent:
            return f"left undone, because an earlier run of it was {self._stopped_words()}"
        if time.monotonic() < self._until:
            return None
        words = f"left undone, because the {self._allowed:g} s for this job were used up"
        self._undone.setdefault(family, words)
        return words

    def _worth_another(self) -> bool:
        """Tell whether a further worker pays: the work left at this pace, or all work so far, exceeds what it costs."""
        if len(self._workers) >= self._most or not all(worker.ready for worker in self._workers):
            return False
        elapsed = time.monotonic() - min(batch.began for batch in self._batches)
        finished = sum(batch.finished_blocks for batch in self._batches)
        pace = elapsed / finished if finished else elapsed
        waiting = sum(len(batch.waiting) for batch in self._batches)
        return pace * waiting > _START_COST or self._spent + elapsed > _START_COST

    def _start_worker(self) -> None:
        assert self._folder is not None
        folder = Path(self._folder.name)
        worker = WorkerProcess(self._library, folder, self._inbox, self._wall_limit, self._memory)
        worker.deadline = time.monotonic() + _START_PATIENCE
        self._workers.append(worker)

    def _await_first(self) -> None:
        if not self._library:
            raise EngineMissing(missing_sentence())
        if self._missing is not None:  # another thread has waited already
            raise EngineMissing(self._missing)
        worker = None
        try:
            while worker not in self._workers:  # else it is a message of a worker that is gone
                worker, kind, content = self._inbox.get(timeout=_START_PATIENCE)
        except queue.Empty:
            _, kind, content = _LOOK
        if kind != READY:
            self._missing = unusable_sentence(self._library, str(content or no_word()))
            raise EngineMissing(self._missing)
        assert worker is not None
        worker.ready, worker.deadline = True, float("inf")
        self._info = EngineInfo("ngspice", str(content))

    # --- taking in ------------------------------------------------------------------------------------------------

    def _receive(self) -> None:
        """Take one message, or stop whoever is overdue; what has arrived counts before what is late."""
        now = time.monotonic()
        soonest = min((worker.deadline for worker in self._workers), default=now)
        self._turn.release()
        try:
            worker, kind, content = self._inbox.get(timeout=min(max(soonest - now, 0.001), _GLANCE))
        except queue.Empty:
            worker, kind, content = _LOOK
        finally:
            self._turn.acquire()
        if worker in self._workers:  # else these are the last words of one that was ended
            self._take(worker, kind, content)
        if self._inbox.empty():
            self._stop_overdue()

    def _take(self, worker: WorkerProcess, kind: str, content: Any) -> None:
        if kind == READY:
            worker.ready, worker.deadline = True, float("inf")
        elif kind == BEAT:
            worker.deadline = time.monotonic() + self._wall_limit
        elif kind == DONE:
            (batch, block), worker.busy, worker.deadline = worker.busy, None, float("inf")
            if content.exited:
                self._drop(worker)
            self._settle(batch, block, content)
        elif kind in (GONE, MISSING) and worker.busy is None:
            self._drop(worker)
            if not worker.ready:
                raise EngineError(f"a further ngspice could not be started ({content or no_word()})")
        elif kind in (GONE, BROKEN):
            batch, block = worker.busy
            self._drop(worker)
            block.crashes += 1
            if block.crashes < _MOST_CRASHES:
                batch.waiting.appendleft(block)
            else:
                words = f"the simulator broke down twice ({content or 'its process ended'})"
                self._settle(batch, block, unsolved(block.n, words))

    def _stop_overdue(self) -> None:
        now = time.monotonic()
        late = now >= self._until
        for worker in [one for one in self._workers if one.deadline <= now or (late and one.busy is not None)]:
            busy, overdue = worker.busy, worker.deadline <= now
            self._drop(worker)
            if busy is None:
                raise EngineError("a further ngspice did not start in time")
            batch, block = busy
            family = batch.families[block.script]
            if overdue:
                self._silent.add(family)
                self._undone[family] = f"left undone from where a run was {self._stopped_words()}"
            words = self._stopped_words() if overdue else self._given_up(family)
            self._settle(batch, block, unsolved(block.n, words or self._stopped_words()))

    def _stopped_words(self) -> str:
        return f"stopped after {self._wall_limit:g} s without an answer"

    def _drop(self, worker: WorkerProcess) -> None:
        self._workers.remove(worker)
        worker.end()

    def _settle(self, batch: Batch, block: Block, answer: Answer) -> None:
        batch.answers[block.script][block.position] = answer
        batch.done += block.n
        batch.finished_blocks += 1


def sweep(place: Path) -> None:
    """Remove the folders of engines that were killed: of a process that is gone, and older than `_STALE`."""
    for folder in place.glob(f"{_FOLDER}[0-9]*-*"):
        pid = folder.name.removeprefix(_FOLDER).partition("-")[0]
        with contextlib.suppress(OSError, OverflowError):
            if pid.isdecimal() and time.time() - folder.lstat().st_mtime > _STALE and not _alive(int(pid)):
                shutil.rmtree(folder, ignore_errors=True)


def _alive(pid: int) -> bool:
    """Tell whether a process may be running; where that cannot be told, it may."""
    if sys.platform == "win32":
        return True
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _cores() -> int:
    """Return how many cores this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:
        return os.cpu_count() or 1
