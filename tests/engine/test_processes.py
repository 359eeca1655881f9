"""Workers that hang, crash, grow, are killed or inherit a hostile surrounding."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import textwrap
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from guardcheck.engine import Engine, pool
from guardcheck.engine.library import find_library
from guardcheck.engine.script import Answer
from guardcheck.engine.text import script_for
from guardcheck.errors import EngineError
from guardcheck.model import Transient
from guardcheck.simulate.batch import side_by_side
from tests.engine.decks import GOOD, GROWS, HANGS, deck, divider, is_good, raw, run_raw, sampled
from tests.pipeline.jobs import line, text

ROOT = Path(__file__).parents[2]


def test_a_hanging_run_is_stopped_and_the_rest_goes_on() -> None:
    """A lossless line beside diodes: ngspice takes steps of 1e-18 s for ever."""
    with Engine(workers=1, wall_limit=1.0) as engine:
        began = time.monotonic()
        before, hung, after = run_raw(engine, GOOD, HANGS, GOOD)
        assert time.monotonic() - began < 8.0
    assert is_good(before)
    assert hung.words == "stopped after 1 s without an answer"
    assert not hung.solved.any()
    assert is_good(after)


def test_a_long_block_of_short_runs_is_not_stopped() -> None:
    """The wall limit is for one run: 50 runs of some 30 ms, one block, together take longer."""
    wanted = replace(sampled("tran", 50), analysis=Transient(1e-7, 128e-6, 2e-8))
    script = replace(script_for(wanted), stack=None)
    with Engine(workers=1, wall_limit=0.4) as engine:
        began = time.monotonic()
        (answer,) = engine._run_scripts([script], [wanted.variants])
        assert time.monotonic() - began > 0.4, "the block must outlast the limit, or nothing is shown"
    assert answer.solved.all()


def test_a_deck_that_hangs_in_every_block_is_given_up() -> None:
    script = replace(HANGS, alter=("alter r1 =",))
    with Engine(workers=1, wall_limit=0.3) as engine:
        began = time.monotonic()
        answer, after = engine._run_scripts([script, GOOD], [np.full((500, 1), 75.0), None])
        assert time.monotonic() - began < 5.0, "ten blocks; one may be waited for"
    assert not answer.solved.any()
    assert len(answer.solved) == 500
    assert is_good(after)


def test_a_family_is_given_up_at_its_first_silence_and_it_is_said() -> None:
    with Engine(workers=1, wall_limit=0.5) as engine:
        began = time.monotonic()
        answers = engine._run_scripts(
            [GOOD, HANGS, *[HANGS] * 20, GOOD], [None] * 23, families=["a", *["red"] * 21, "b"]
        )
        assert time.monotonic() - began < 4.0, "21 silent decks; one may be waited for"
        assert [is_good(one) for one in answers] == [True, *[False] * 21, True]
        assert answers[1].words == "stopped after 0.5 s without an answer"
        assert answers[2].words == "left undone, because an earlier run of it was stopped after 0.5 s without an answer"
        assert engine.undone == ("red: left undone from where a run was stopped after 0.5 s without an answer.",)
        engine.allow(60.0)
        assert engine.undone == ()
        assert is_good(engine._run_scripts([GOOD], [None], families=["red"])[0])


def test_what_a_budget_does_not_reach_is_left_undone_and_said() -> None:
    with Engine(workers=1, wall_limit=20.0) as engine:
        engine.allow(0.6)
        began = time.monotonic()
        first, hung, late = engine._run_scripts([GOOD, HANGS, GOOD], [None] * 3, families=["red", "green", "blue"])
        assert time.monotonic() - began < 5.0, "the run itself may take 20 s"
    assert is_good(first)
    for one in (hung, late):
        assert one.words == "left undone, because the 0.6 s for this job were used up"
        assert not one.solved.any()
    assert [one.partition(":")[0] for one in engine.undone] == ["blue", "green"]


def test_workers_share_one_bound_on_memory() -> None:
    """800 MB for all, so that a job stays below a gigabyte; a worker gets 128 MB at least."""
    assert [Engine(workers=n)._memory >> 20 for n in (1, 2, 4, 16)] == [800, 400, 200, 128]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux bounds a process's address space reliably")
def test_a_run_that_eats_memory_is_stopped() -> None:
    with Engine(workers=1, wall_limit=20.0, memory_limit=1 << 20) as engine:
        grown, after = run_raw(engine, GROWS, GOOD)
    assert "can't allocate" in (grown.words or "")
    assert is_good(after)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_killed_worker_is_replaced_and_its_work_repeated(engine: Engine) -> None:
    wanted = [sampled("tran", 1500), deck(divider())]
    expected = engine.run(wanted)
    with Engine(workers=1) as victim:
        first = victim._workers[0].pid
        timer = threading.Timer(0.05, lambda: os.kill(first, signal.SIGKILL))
        timer.start()
        traces = victim.run(wanted)
        timer.join()
        assert victim._workers[0].pid != first
    for trace, undisturbed in zip(traces, expected, strict=True):
        assert trace.failure is None
        assert trace.vectors["v(out)"].tobytes() == undisturbed.vectors["v(out)"].tobytes()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_worker_killed_while_idle_is_replaced(engine: Engine) -> None:
    with Engine(workers=1) as victim:
        os.kill(victim._workers[0].pid, signal.SIGKILL)
        time.sleep(0.05)
        assert is_good(run_raw(victim, GOOD)[0])


def test_an_interrupted_call_leaves_a_usable_engine(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_done: int, _total: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pool, "_START_COST", 0.0)
    with Engine(workers=2) as engine:
        with pytest.raises(KeyboardInterrupt):
            engine.run([sampled("tran", 400)], progress=stop)
        assert is_good(run_raw(engine, GOOD)[0])


def test_small_work_starts_one_worker() -> None:
    with Engine(workers=4) as engine:
        engine.run([deck(divider())])
        assert len(engine._workers) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGSTOP")
@pytest.mark.parametrize(("workers", "started"), [(1, 1), (4, 2)])
def test_an_engine_that_is_not_waited_for_starts_two_workers_and_uses_the_first_that_answers(
    workers: int, started: int
) -> None:
    with Engine(workers=workers, wait=False) as engine:
        assert len(engine._workers) == started
        late = engine._workers[0]
        if started > 1:
            os.kill(late.pid, signal.SIGSTOP)  # the other one has to answer
        assert is_good(run_raw(engine, GOOD)[0])
        assert late.ready == (started == 1)


def test_an_engine_not_entered_says_so() -> None:
    with pytest.raises(EngineError, match="entered"):
        Engine().run([deck(divider())])
    with pytest.raises(EngineError, match="not been started"):
        _ = Engine().info
    with pytest.raises(ValueError, match="at least 1"):
        Engine(workers=0)


def test_nothing_is_left_behind() -> None:
    with Engine(workers=1) as engine:
        assert is_good(run_raw(engine, GOOD)[0])
        assert engine._folder is not None
        folder = Path(engine._folder.name)
        pid = engine._workers[0].pid
        assert folder.is_dir()
    assert not folder.exists()
    assert not alive(pid)


def alive(pid: int) -> bool:
    with contextlib.suppress(OSError):
        os.kill(pid, 0)
        state = Path(f"/proc/{pid}/stat")
        return not (state.exists() and state.read_text().rpartition(")")[2].split()[0] == "Z")
    return False


def run_script(body: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a plain script, without an ``if __name__`` guard, in its own interpreter."""
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(body)],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


PLAIN = """
    import sys
    from guardcheck.engine import Engine
    from guardcheck.model import Card, Deck, Operating
    cards = (Card("v1", ("in", "0"), 3.0), Card("r1", ("in", "out"), 1e3), Card("r2", ("out", "0"), 2e3))
    with Engine() as engine:
        (trace,) = engine.run([Deck("plain", cards, (), Operating(), ("v(out)",))])
        print(engine.info.name, f"{trace.vectors['v(out)'][0]:.6f}")
    print(sorted({name.split(".")[0] for name in sys.modules} & {"PySpice", "cffi", "scipy", "matplotlib", "pint"}))
"""


def test_a_plain_script_works_in_silence_and_loads_no_simulator(tmp_path: Path) -> None:
    """No guard against being imported again, no warning about versions, nothing heavy in the caller's process."""
    done = run_script(PLAIN, tmp_path)
    assert done.stderr == ""
    assert done.stdout.splitlines() == ["ngspice 2.000000", "[]"]
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="the hostile start file calls a Unix shell")
def test_start_files_have_no_effect(tmp_path: Path) -> None:
    """`.spiceinit` in the working folder or at home, and a script folder, run shells when ngspice itself starts."""
    work, home, scripts = (tmp_path / name for name in ("work", "home", "scripts"))
    marks = {name: tmp_path / f"mark-{name}" for name in ("work", "home", "scripts")}
    for folder, name in ((work, ".spiceinit"), (home, ".spiceinit"), (scripts, "spinit")):
        folder.mkdir()
        (folder / name).write_text(f"* start file\nshell touch {marks[folder.name]}\n")
    surroundings = {"HOME": str(home), "SPICE_SCRIPTS": str(scripts)}
    done = run_script(PLAIN, work, **surroundings)
    assert done.stdout.startswith("ngspice 2.000000"), done.stderr
    assert not any(mark.exists() for mark in marks.values())
    control = """
        from guardcheck.engine.library import find_library
        from guardcheck.engine.simulator import open_simulator
        open_simulator(find_library())
    """
    run_script(control, work, **surroundings)
    assert marks["work"].exists(), "the control must show that the start file works outside a worker"


@pytest.mark.skipif(sys.platform != "linux", reason="the signal on a closed pipe is Linux's")
def test_workers_die_with_their_parent(tmp_path: Path) -> None:
    """A parent that is killed leaves no ngspice running for ever, even in a run that never returns."""
    body = """
        import sys
        from guardcheck.engine import Engine
        from tests.engine.decks import HANGS
        with Engine(workers=1, wall_limit=50.0) as engine:
            print(engine._workers[0].pid, flush=True)
            engine._run_scripts([HANGS], [None])
    """
    parent = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(body)],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(tmp_path)},
        stdout=subprocess.PIPE,
        text=True,
    )
    with parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        time.sleep(0.3)
        assert alive(pid)
        parent.kill()
        parent.wait()
    deadline = time.monotonic() + 3.0
    while alive(pid) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not alive(pid)


@pytest.mark.skipif(sys.platform != "linux", reason="limits are read from Linux's /proc")
def test_workers_are_bounded_by_the_system() -> None:
    with Engine(workers=1, memory_limit=1 << 28) as engine:
        limits = Path(f"/proc/{engine._workers[0].pid}/limits").read_text()
        environment = Path(f"/proc/{engine._workers[0].pid}/environ").read_bytes().split(b"\0")
        folder = Path(f"/proc/{engine._workers[0].pid}/cwd").readlink()
        assert folder.name.startswith("guardcheck-")
        assert sorted(path.name for path in folder.iterdir()) == [".spiceinit", "scripts"]
    rows = {line[:25].strip(): line[25:].split()[0] for line in limits.splitlines()}
    assert rows["Max file size"] == "0"
    assert rows["Max core file size"] == "0"
    assert rows["Max address space"] != "unlimited"
    assert b"OPENBLAS_NUM_THREADS=1" in environment
    assert b"OMP_NUM_THREADS=1" in environment


def test_a_worker_writes_no_file() -> None:
    """Were a command to slip through, the system would still refuse the file."""
    with Engine(workers=1) as engine:
        run_raw(engine, raw("v1 out 0 1", "r1 out 0 1", ".control", "echo hello > written.txt", ".endc"))
        assert engine._folder is not None
        written = Path(engine._folder.name) / "written.txt"
        assert not written.exists() or written.stat().st_size == 0


def test_the_library_is_found() -> None:
    assert find_library() is not None


def test_threads_share_the_workers_and_get_their_own_answers() -> None:
    """Four threads, each with decks of its own resistances: 1 mA through R gives R mV, to the one who asked."""
    scripts = {ohms: replace(GOOD, alter=("alter r1 =",)) for ohms in (10.0, 20.0, 30.0, 40.0)}
    with Engine(workers=2) as engine, ThreadPoolExecutor(4) as threads:
        asked = {
            ohms: threads.submit(engine._run_scripts, [script] * 20, [np.full((3, 1), ohms)] * 20)
            for ohms, script in scripts.items()
        }
        given = {ohms: one.result() for ohms, one in asked.items()}
        alone = {ohms: engine._run_scripts([script], [np.full((3, 1), ohms)])[0] for ohms, script in scripts.items()}
    for ohms, answers in given.items():
        assert len(answers) == 20
        for answer in answers:
            assert np.array_equal(answer.table, alone[ohms].table)
    assert len({float(one.table.flat[0]) for one in alone.values()}) == 4


def test_giving_up_stops_every_thread_and_the_engine_serves_on() -> None:
    with Engine(workers=1, wall_limit=30.0) as engine, ThreadPoolExecutor(2) as threads:
        hung = [threads.submit(engine._run_scripts, [HANGS], [None]) for _ in range(2)]
        while not any(worker.busy for worker in engine._workers):
            time.sleep(0.01)
        began = time.monotonic()
        with engine.refusing():
            for one in hung:
                with pytest.raises(EngineError, match="given up"):
                    one.result()
            with pytest.raises(EngineError, match="given up"):
                engine._run_scripts([GOOD], [None])
        assert time.monotonic() - began < 5.0
        (after,) = engine._run_scripts([GOOD], [None])
    assert is_good(after)


def test_a_study_that_fails_stops_the_others_and_says_why() -> None:
    def fails() -> list[Answer]:
        raise ValueError("the first study")

    with Engine(workers=1, wall_limit=30.0) as engine:
        began = time.monotonic()
        with pytest.raises(ValueError, match="the first study"):
            side_by_side(engine, [fails, lambda: engine._run_scripts([HANGS], [None])])
        assert time.monotonic() - began < 5.0


@pytest.mark.skipif(sys.platform == "win32", reason="Windows cannot be asked whether a process is there")
def test_folders_of_killed_engines_are_swept_and_no_others(tmp_path: Path) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    old = time.time() - 2 * 3600
    names = [
        f"guardcheck-{gone.pid}-old",
        f"guardcheck-{gone.pid}-new",
        f"guardcheck-{os.getpid()}-old",
        "guardcheck-x-old",
    ]
    for name in names:
        (tmp_path / name / "scripts").mkdir(parents=True)
        if name.endswith("old"):
            os.utime(tmp_path / name, (old, old))
    (tmp_path / f"guardcheck-{gone.pid}-link").symlink_to(tmp_path / names[3])
    pool.sweep(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir() if not path.is_symlink()) == sorted(names[1:])


@pytest.mark.skipif(sys.platform == "win32", reason="Windows cannot be asked whether a process is there")
def test_an_engine_sweeps_what_a_killed_one_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    left = tmp_path / f"guardcheck-{gone.pid}-old"
    left.mkdir()
    old = time.time() - 2 * 3600
    os.utime(left, (old, old))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with Engine(workers=1):
        assert not left.exists()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGTERM")
def test_a_terminated_command_leaves_no_folder(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(text(line()), encoding="utf-8")
    running = subprocess.Popen(
        [sys.executable, "-m", "guardcheck", "guards", "job.toml"],
        cwd=tmp_path,
        env={**os.environ, "TMPDIR": str(tmp_path), "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    deadline = time.monotonic() + 20.0
    while not list(tmp_path.glob("guardcheck-*")) and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(0.3)
    running.terminate()
    running.communicate(timeout=20)
    assert running.returncode == 128 + signal.SIGTERM
    assert [path.name for path in tmp_path.iterdir()] == ["job.toml"]
