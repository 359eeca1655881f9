"""Measure the engine against ngspice's own control loop and print a table of ratios.

Run it as ``python tests/benchmarks/run.py`` on a quiet machine; ``--quick`` takes fewer samples. Ratios of CPU time
travel between machines, wall times do not, so targets are ratios.
"""

from __future__ import annotations

import os

os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = "1"  # before numpy loads, as in a worker

import argparse
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np

from guardcheck.engine import Engine, blocks, find_library
from guardcheck.engine.script import Script
from guardcheck.engine.session import Session
from guardcheck.engine.simulator import open_simulator
from guardcheck.engine.text import script_for
from guardcheck.model import Card, Deck, Operating, Sweep, Transient
from tests.benchmarks import native
from tests.engine.decks import DIODE, PICTURE, deck, guarded

NAIVE = {"method": "trap", "reltol": 1e-3, "abstol": 1e-12, "rshunt": 0.0}
FAST = Transient(1e-7, 128e-6, 2.56e-6)
SLOW = Transient(1e-7, 128e-6, 1e-7)
WINDOWS = ((1e-6, 9e-6), (2e-5, 5.5e-5))


@dataclass
class Row:
    """One line of the table; `limit` None means for information."""

    what: str
    value: float
    limit: float | None
    unit: str = "x"
    least: bool = False

    def text(self) -> str:
        verdict = ""
        if self.limit is not None:
            met = self.value >= self.limit if self.least else self.value <= self.limit
            verdict = f"{'>=' if self.least else '<='} {self.limit:<6g} {'met' if met else 'MISSED'}"
        return f"{self.what:<78} {self.value:10.3f} {self.unit:<4} {verdict}"


def drawn(n: int, seed: int = 1) -> np.ndarray:
    """Draw resistor values of `n` builds, 1 % tolerance, shape ``(n, 3)`` [ohm]."""
    return np.array([10.0, 100.0, 240.0]) * (1.0 + 0.01 * np.random.default_rng(seed).uniform(-1.0, 1.0, (n, 3)))


def red_line(n: int, analysis: Transient = FAST, *, naive: bool = False) -> Deck:
    """Return `n` builds of the guarded red line over two scan lines."""
    return deck(
        guarded(Card("vs", ("emf", "0"), None, PICTURE)),
        analysis,
        models=(DIODE,),
        options=NAIVE if naive else {},
        alter=("rs", "r1", "r2"),
        variants=drawn(n),
        windows=WINDOWS,
    )


def still(n: int, volts: float) -> Deck:
    """Return `n` builds of the guarded red line at rest."""
    cards = guarded(Card("vs", ("emf", "0"), volts))
    return deck(cards, Operating(), models=(DIODE,), alter=("rs", "r1", "r2"), variants=drawn(n))


def swept(n: int) -> Deck:
    """Return `n` builds of the guarded red line over 301 frequencies."""
    cards = guarded(Card("vs", ("emf", "0"), 0.0, "ac 1.0"))
    return deck(cards, Sweep(1e3, 1e7, 301), models=(DIODE,), alter=("rs", "r1", "r2"), variants=drawn(n))


def native_job(wanted: Deck) -> native.Job:
    script = script_for(wanted)
    assert wanted.variants is not None
    return native.Job(script.lines, script.attempts[0], "v(out)", script.alter, native.rows_of(wanted.variants))


def cpu_of(work: Callable[[], object], repeats: int = 5) -> float:
    times = []
    for _ in range(repeats):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def wall_of(work: Callable[[], object], repeats: int = 3) -> float:
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


@contextmanager
def session() -> Iterator[Session]:
    """Open one simulator in this process, in a folder of its own."""
    library = find_library()
    assert library is not None
    with tempfile.TemporaryDirectory() as folder:
        here = Path.cwd()
        os.environ["SPICE_SCRIPTS"] = folder
        os.chdir(folder)
        try:
            yield Session(open_simulator(library))
        finally:
            os.chdir(here)


def single_runs(quick: bool) -> Iterator[Row]:
    """One run with its reload, against one turn of the native loop."""
    cases = (
        ("transient of 1,337 points", red_line(60, SLOW, naive=True), 60, 1.4),
        ("operating point", replace(still(600, 2.0), options=NAIVE), 600, 2.2),
        ("sweep of 301 points", replace(swept(300), options=NAIVE), 300, 1.5),
    )
    with session() as here:
        for what, wanted, n, limit in cases:
            script = replace(script_for(wanted), stack=None, windows=())
            rows = native.rows_of(wanted.variants)
            singles = [_written(script, row) for row in rows[: n // (3 if quick else 1)]]
            blocks.solve(here, singles[0], None)
            ours = cpu_of(lambda singles=singles: [blocks.solve(here, one, None) for one in singles]) / len(singles)
            theirs = native.per_run(native_job(wanted))
            yield Row(f"one {what}, load and checks included: CPU / native loop", ours / theirs, limit)


def _written(script: Script, row: list[float]) -> Script:
    values = {head.split()[1]: value for head, value in zip(script.alter, row, strict=True)}
    lines = []
    for line in script.lines:
        words = line.split()
        if words[0] in values:
            words[3] = repr(values[words[0]])
        lines.append(" ".join(words))
    return replace(script, lines=tuple(lines), alter=())


def samples(quick: bool) -> Iterator[Row]:
    """Compare a thousand builds, drawing included, with three native ways to run them."""
    n = 300 if quick else 1000
    loop = native.per_run(native_job(red_line(300))) * n
    naive = native.per_run(native_job(red_line(60, SLOW, naive=True))) * n
    starts = native.per_start(native_job(red_line(40, SLOW, naive=True))) * n
    with Engine(workers=1) as engine:
        _warm(engine, 1)
        one, _ = spent(engine, lambda: engine.run([red_line(n)]))
        alone, _ = spent(engine, lambda: _unstacked(engine, red_line(n)))
        levels, _ = spent(engine, lambda: engine.run([still(n, volts) for volts in (2.0, 0.0, 1.0)]))
    with Engine(workers=2) as engine:
        _warm(engine, 2)
        _, two = spent(engine, lambda: engine.run([red_line(n)]))
    yield Row("native loop at the same settings, per run", loop / n * 1e3, None, "ms")
    yield Row("naive loop (largest step = print step), per run", naive / n * 1e3, None, "ms")
    yield Row(f"{n} transients, 1 worker: CPU / native loop at the same settings", one / loop, 1.15)
    yield Row(f"{n} transients, 2 workers: busiest worker and parent / native loop", two / loop, 0.6)
    yield Row(f"{n} transients, 1 worker, not stacked: CPU / native loop", alone / loop, None)
    yield Row(f"{n} transients, 1 worker: CPU / naive loop", one / naive, 0.12)
    yield Row(f"{n} transients, 1 worker: CPU / {n} program starts of the naive deck", one / starts, 0.06)
    yield Row(f"white, black and sync of {n} builds by operating point: CPU / naive loop", levels / naive, 0.03)


def spent(engine: Engine, work: Callable[[], object], repeats: int = 5) -> tuple[float, float]:
    """Return least CPU seconds of parent and workers together, and of parent and busiest worker."""
    sums, paths = [], []
    for _ in range(repeats):
        before = _worker_times(engine)
        began = time.process_time()
        work()
        parent = time.process_time() - began
        used = [after - then for after, then in zip(_worker_times(engine), before, strict=True)]
        sums.append(parent + sum(used))
        paths.append(parent + max(used))
    return min(sums), min(paths)


def _worker_times(engine: Engine) -> list[float]:
    """Return CPU seconds of each worker so far, from Linux's scheduler; wall time elsewhere."""
    times = []
    for worker in engine._workers:
        schedule = Path(f"/proc/{worker.pid}/schedstat")
        times.append(int(schedule.read_text().split()[0]) / 1e9 if schedule.exists() else time.perf_counter())
    return times


def _unstacked(engine: Engine, wanted: Deck) -> None:
    engine._run_scripts([replace(script_for(wanted), stack=None)], [wanted.variants])


def _warm(engine: Engine, workers: int) -> None:
    from guardcheck.engine import pool

    cost, pool._START_COST = pool._START_COST, 0.0
    while len([worker for worker in engine._workers if worker.ready]) < workers:
        engine.run([red_line(200)])
    pool._START_COST = cost


def spreading(quick: bool) -> Iterator[Row]:
    """Two workers against one; cost and memory against the number of samples."""
    jobs = [red_line(30 if quick else 50, SLOW, naive=True) for _ in range(20)]
    took: dict[int, tuple[float, float]] = {}
    for workers in (1, 2):
        with Engine(workers=workers) as engine:
            _warm(engine, workers)
            _, path = spent(engine, lambda engine=engine: engine.run(jobs), repeats=3)
            took[workers] = (path, wall_of(lambda engine=engine: engine.run(jobs)))
    gain, felt = (took[1][k] / took[2][k] for k in (0, 1))
    yield Row("20 jobs, 2 workers against 1: CPU of parent and busiest worker", gain, 1.6, least=True)
    yield Row(f"20 jobs, 2 workers against 1: wall ({os.cpu_count()} cores, load {_load()})", felt, None)
    few, many = (300, 3000) if quick else (1000, 20_000)
    with Engine(workers=1) as engine:
        engine.run([red_line(few)])
        before = _resident(engine)
        small, _ = spent(engine, lambda: engine.run([red_line(few)]))
        large, _ = spent(engine, lambda: engine.run([red_line(many)]), repeats=2)
        after = _resident(engine)
    yield Row(f"cost per sample, {many} against {few}", large / many / (small / few), 1.15)
    if before:
        yield Row(f"worker memory after {many} samples against {few}", after / before, 1.10)


def _resident(engine: Engine) -> float:
    """Return the worker's resident memory [bytes], 0 where it cannot be read."""
    status = Path(f"/proc/{engine._workers[0].pid}/status")
    if not status.exists():
        return 0.0
    found = [line for line in status.read_text().splitlines() if line.startswith("VmRSS")]
    return float(found[0].split()[1]) * 1024.0


def _load() -> str:
    """Return what else the machine does, for whoever reads a wall time."""
    return f"{os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "unknown"


def starting() -> Iterator[Row]:
    """Time from nothing to a worker that answers."""

    def start() -> None:
        with Engine(workers=1):
            pass

    yield Row("engine start to first answer", wall_of(start, 5), 0.25, "s")


def main() -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer samples")
    quick = parser.parse_args().quick
    parts: list[Iterator[Row]] = [starting(), spreading(quick)]
    if native.binary() is None:
        sys.stdout.write("The ngspice program is not installed (`apt install ngspice`): no comparison with its loop.\n")
    else:
        parts += [single_runs(quick), samples(quick)]
    for part in parts:
        for row in part:
            sys.stdout.write(row.text() + "\n")
            sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
