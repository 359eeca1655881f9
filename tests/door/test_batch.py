"""Many jobs: the same bytes however they are dealt out, nothing done twice, nothing lost."""

from __future__ import annotations

import multiprocessing
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest

import guardcheck as gc
from guardcheck.cli import batch
from guardcheck.cli.batch import Folders, Row, check_many
from guardcheck.errors import STOPPED, Interrupted
from guardcheck.pipeline import Options, still_holds
from guardcheck.report import read_result
from tests.pipeline.jobs import line, text

README = Path(__file__).parents[2] / "README.md"
BOND = """
format = 1
[unit]
label = "BENCH-1"
[[bond]]
from = "chassis"
to = "connector shell"
purpose = "protective-earth"
reading = { value = "0.05 ohm" }
"""
QUICK = Options(samples=3, events=False, workers=1)


def write_jobs(folder: Path, count: int) -> list[Path]:
    """Write jobs that differ in one resistor, and return their paths."""
    folder.mkdir(exist_ok=True)
    paths = [folder / f"job-{index}.toml" for index in range(count)]
    for index, path in enumerate(paths):
        path.write_text(text(line(stage_values=f'series = "{70 + index} ohm 1%"')), encoding="utf-8")
    return paths


def run(jobs: list[Path], options: Options, out: Path, *, resume: bool = False) -> int:
    return check_many(jobs, options, Folders(out), resume=resume, quiet=True)


def saved(out: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(out.glob("*.json"))}


def counting(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Count the jobs that are really checked, in this process."""
    done: list[str] = []
    check = batch._check

    def checked(job: Path, *rest: object) -> Row:
        done.append(job.stem)
        return check(job, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(batch, "_check", checked)
    return done


def test_one_or_two_workers_give_the_same_bytes_and_the_same_table(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jobs = write_jobs(tmp_path / "jobs", 3)
    broken = tmp_path / "jobs" / "broken.toml"
    broken.write_text("format = 1\n", encoding="utf-8")
    jobs.insert(1, broken)
    codes, tables = [], []
    for workers in (1, 2):
        codes.append(run(jobs, replace(QUICK, workers=workers), tmp_path / f"out-{workers}"))
        tables.append(capsys.readouterr().out)
    assert codes == [2, 2]
    assert tables[0] == tables[1]
    assert "broken" in tables[0]
    assert "no result" in tables[0]
    assert saved(tmp_path / "out-1") == saved(tmp_path / "out-2")
    assert sorted(saved(tmp_path / "out-2")) == ["job-0.json", "job-1.json", "job-2.json"]


def test_resume_repeats_only_what_has_changed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs, out = write_jobs(tmp_path / "jobs", 3), tmp_path / "out"
    done = counting(monkeypatch)
    first = run(jobs, QUICK, out)
    assert done == ["job-0", "job-1", "job-2"]
    kept = saved(out)
    done.clear()
    (out / "job-1.json").unlink()
    jobs[2].write_text(jobs[2].read_text(encoding="utf-8").replace("72 ohm", "73 ohm"), encoding="utf-8")
    assert run(jobs, QUICK, out, resume=True) == first
    assert done == ["job-1", "job-2"]
    assert saved(out)["job-0.json"] == kept["job-0.json"]
    assert saved(out)["job-2.json"] != kept["job-2.json"]


def test_a_result_holds_for_its_own_content_options_and_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    netlist = tmp_path / "mine.cir"
    netlist.write_text(".subckt mine in out vdd gnd\nr1 in out 75\nr2 vdd gnd 1e6\n.ends mine\n", encoding="utf-8")
    job = tmp_path / "job.toml"
    body = text(line()).replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"')
    job.write_text(re.sub(r"stage_values = .*\n", "", body), encoding="utf-8")
    assert run([job], QUICK, tmp_path / "out") in (0, 10, 11)
    result = read_result(tmp_path / "out" / "job.json")
    holds: Callable[[Options], bool] = partial(still_holds, result, job)
    assert holds(QUICK)
    assert not holds(replace(QUICK, seed=2))
    assert not holds(replace(QUICK, samples=4))
    assert not holds(replace(QUICK, events=True)), "it holds no stress events"
    netlist.write_text(netlist.read_text(encoding="utf-8").replace("75", "76"), encoding="utf-8")
    assert not holds(QUICK)
    netlist.write_text(netlist.read_text(encoding="utf-8").replace("76", "75"), encoding="utf-8")
    assert holds(QUICK)
    monkeypatch.setattr("guardcheck.pipeline.batch.__version__", "9.9.9")
    assert not holds(QUICK)


def test_ctrl_c_keeps_what_is_done_and_says_how_to_go_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    jobs, out = write_jobs(tmp_path / "jobs", 3), tmp_path / "out"
    check = batch._check

    def interrupted(job: Path, *rest: object) -> Row:
        if job.stem == "job-2":
            raise KeyboardInterrupt
        return check(job, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(batch, "_check", interrupted)
    with pytest.raises(Interrupted, match="stopped: 2 of 3 jobs are done, and their results are kept; the same comma"):
        run(jobs, QUICK, out)
    told = capsys.readouterr()
    assert sorted(saved(out)) == ["job-0.json", "job-1.json"]
    assert told.err == ""
    assert "job-1" in told.out
    with pytest.raises(Interrupted, match=r"stopped: 2 of 3 jobs are done$"):  # nothing was to be written, none is kept
        check_many(jobs, QUICK, Folders(), resume=False, quiet=True)


@contextmanager
def killing(often: int) -> Iterator[list[int]]:
    """Kill a process of this one's batch as soon as there is one, so often, and tell whom."""
    killed: list[int] = []
    ended = threading.Event()

    def kill() -> None:
        while len(killed) < often and not ended.wait(0.02):
            for child in multiprocessing.active_children():
                if child.pid is not None and child.pid not in killed and len(killed) < often:
                    killed.append(child.pid)
                    os.kill(child.pid, signal.SIGKILL)

    hunter = threading.Thread(target=kill)
    hunter.start()
    try:
        yield killed
    finally:
        ended.set()
        hunter.join()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_killed_process_loses_nothing(tmp_path: Path) -> None:
    """What the kernel does to a process that takes too much memory: its jobs are done again, by others."""
    jobs = write_jobs(tmp_path / "jobs", 3)
    code = run(jobs, QUICK, tmp_path / "undisturbed")
    with killing(1) as killed:
        assert run(jobs, replace(QUICK, workers=2), tmp_path / "out") == code
    assert len(killed) == 1
    assert saved(tmp_path / "out") == saved(tmp_path / "undisturbed")


@pytest.mark.parametrize("error", [BrokenProcessPool, OSError])
def test_a_process_that_ends_while_another_begins_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    """The pool then refuses the next job, or finds its own pipes closed under its hands."""
    submit, refused = ProcessPoolExecutor.submit, []

    def once(pool: ProcessPoolExecutor, *work: Any) -> Any:
        if not refused:
            refused.append(work)
            raise error("handle is closed")
        return submit(pool, *work)

    monkeypatch.setattr(ProcessPoolExecutor, "submit", once)
    jobs = write_jobs(tmp_path / "jobs", 2)
    assert run(jobs, replace(QUICK, workers=2), tmp_path / "out") in (0, 10, 11)
    assert len(saved(tmp_path / "out")) == len(jobs)
    assert len(refused) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_job_whose_process_ends_twice_is_given_up_and_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jobs = write_jobs(tmp_path / "jobs", 2)
    with killing(100):
        assert run(jobs, replace(QUICK, workers=2), tmp_path / "out") == 1
    told = " ".join(capsys.readouterr().out.split())
    assert told.count("the process that checked it ended twice before it was done: out of memory?") == 2
    assert not saved(tmp_path / "out")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no process groups with signals")
def test_ctrl_c_with_several_processes_keeps_what_is_done_and_resume_goes_on(tmp_path: Path) -> None:
    """A terminal sends SIGINT to the whole group: command, its processes, and their simulators."""
    jobs, out = write_jobs(tmp_path / "jobs", 5), tmp_path / "out"
    command = [sys.executable, "-m", "guardcheck", "check", *map(str, jobs), "--json", str(out), "--samples", "2"]
    group = subprocess.Popen(
        [*command, "--workers", "2"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    while not saved(out):
        assert group.poll() is None
        time.sleep(0.02)
    os.killpg(group.pid, signal.SIGINT)
    _, said = group.communicate(timeout=60)
    assert group.returncode == STOPPED
    kept = saved(out)
    assert 1 <= len(kept) < len(jobs)
    done = f"{len(kept)} of {len(jobs)} jobs are done, and their results are kept"
    assert said == f"guardcheck: stopped: {done}; the same command with --resume goes on\n"
    written = {name: (out / name).stat().st_mtime_ns for name in kept}
    for name in kept:
        assert read_result(out / name).job_file == name.replace(".json", ".toml")
    done = subprocess.run([*command, "--workers", "1", "--resume"], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 10, 11), done.stderr
    assert sorted(saved(out)) == [f"{job.stem}.json" for job in jobs]
    assert {name: (out / name).stat().st_mtime_ns for name in kept} == written, "none of them was done again"


@pytest.mark.skipif(not hasattr(signal, "pthread_sigmask"), reason="no such mask on this system")
def test_ctrl_c_waits_while_a_process_begins() -> None:
    """What begins under the mask inherits it (POSIX.1-2017, fork); what came meanwhile is heard right after."""
    done = subprocess.run([sys.executable, "-c", MASKED], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "heard", "False"]


MASKED = """
import os, signal, subprocess, sys
from guardcheck.cli.batch import _deaf
ask = "import signal; print(signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ()), flush=True)"
try:
    with _deaf():
        os.kill(os.getpid(), signal.SIGINT)
        subprocess.run([sys.executable, "-c", ask], check=True)
except KeyboardInterrupt:
    print("heard", flush=True)
subprocess.run([sys.executable, "-c", ask], check=True)
"""


@pytest.mark.filterwarnings("default")  # distributed warns of its own ports and of workers that are killed
def test_a_cluster_of_two_gives_the_same_bytes_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The example of the README on two processes here; then one of them is killed while jobs are under way."""
    from distributed import Client, LocalCluster

    monkeypatch.chdir(tmp_path)
    (tmp_path / "jobs").mkdir()
    (tmp_path / "jobs" / "bond.toml").write_text(BOND, encoding="utf-8")
    block = next(
        code for code in re.findall(r"```python\n(.*?)```", README.read_text("utf-8"), re.DOTALL) if "Client" in code
    )
    jobs = write_jobs(tmp_path / "more", 6)
    check = partial(gc.check_text, samples=3, events=False)
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster) as client,
    ):
        exec(block.replace("tcp://scheduler:8786", cluster.scheduler_address))
        assert read_result(tmp_path / "jobs" / "bond.json").job_file == "bond.toml"
        tasks = client.map(check, [job.read_text("utf-8") for job in jobs], [job.name for job in jobs], retries=2)
        pids = list(client.run(os.getpid).values())
        while not any(task.done() for task in tasks):
            time.sleep(0.02)
        os.kill(pids[0], signal.SIGKILL)
        results = client.gather(tasks)
    assert [one.job_file for one in results] == [job.name for job in jobs]
    for job, result in zip(jobs[:2], results, strict=False):
        assert gc.check(job, samples=3, events=False, workers=1).to_json() == result.to_json()
