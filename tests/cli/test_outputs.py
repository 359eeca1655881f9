"""No command replaces what a job rests on, nor what was made read-only: every output is looked at before any work."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
import unicodedata
from pathlib import Path

import pytest
from typer.testing import CliRunner

from guardcheck.cli import app
from guardcheck.cli.app import check_targets
from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.files import read_bytes, sha256_of, write_text
from tests.pipeline.jobs import line, text

OWN = "* mine\n.subckt mine in out vdd gnd\nr1 in out 75\n.ends mine\n"
JOB = (
    text(line().replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"'))
    .replace('stage_values = { series = "74 ohm" }\n', "")
    .replace("format = 1", 'format = 1\ncircuits = "parts"')
)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Fill the working folder with two jobs, an own netlist, an own shelf, readings and a capture; return it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "parts" / "models").mkdir(parents=True)
    for name in ("a.json", "b.json", "job.toml"):
        (tmp_path / name).write_text(JOB, encoding="utf-8")
    (tmp_path / "mine.cir").write_text(OWN, encoding="utf-8")
    for name in ("parts/models/mine.toml", "readings.toml", "red.csv", "saved.json"):
        (tmp_path / name).write_text("# kept\n", encoding="utf-8")
    (tmp_path / "link.html").symlink_to("mine.cir")
    os.link(tmp_path / "mine.cir", tmp_path / "twin.html")
    locked = tmp_path / "locked.html"
    locked.write_text("last year's report", encoding="utf-8")
    locked.chmod(0o444)
    return tmp_path


COMMANDS = [
    ("check", "job.toml", "--json", "job.toml"),
    ("check", "job.toml", "--json", "mine.cir"),
    ("check", "job.toml", "--html", "link.html"),
    ("check", "job.toml", "--html", "twin.html"),
    ("check", "job.toml", "--html", "parts/models/mine.toml"),
    ("check", "job.toml", "--html", "parts/models/new.html"),
    ("check", "job.toml", "--circuits", "parts", "--html", "parts/new.html"),
    ("check", "a.json", "b.json", "--json", "."),
    ("check", "job.toml", "--svg", "mine.cir"),
    ("check", "a.json", "b.json", "--svg", "parts/models"),
    ("expect", "job.toml", "--json", "mine.cir"),
    ("propose", "job.toml", "--json", "mine.cir"),
    ("propose", "job.toml", "--write", "job.toml"),
    ("checklist", "job.toml", "--record", "mine.cir"),
    ("guards", "job.toml", "--json", "job.toml"),
    ("guards", "job.toml", "--html", "mine.cir"),
    ("verify", "job.toml", "--readings", "readings.toml", "--json", "readings.toml"),
    ("verify", "job.toml", "--readings", "readings.toml", "--json", "mine.cir"),
    ("verify", "job.toml", "--capture", "red=red.csv#CH1", "--html", "red.csv"),
    ("checklist", "job.toml", "--html", "mine.cir"),
    ("checklist", "job.toml", "--pdf", "parts/new.pdf"),
    ("checklist", "--result", "saved.json", "--html", "saved.json"),
    ("checklist", "job.toml", "--blank", "--html", "job.toml"),
    ("checklist", "job.toml", "--html", "one.html", "--pdf", "one.html"),
]


@pytest.mark.parametrize("arguments", COMMANDS, ids=" ".join)
def test_no_output_replaces_what_a_job_rests_on(bench: Path, arguments: tuple[str, ...]) -> None:
    before = {path: path.read_bytes() for path in bench.rglob("*") if path.is_file()}
    done = CliRunner().invoke(app, arguments)
    assert isinstance(done.exception, InputError), done.output
    assert "already; name another file to write" in str(done.exception)
    assert {path: path.read_bytes() for path in bench.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("command", ["check", "guards", "checklist"])
def test_a_read_only_target_is_not_replaced(bench: Path, command: str) -> None:
    done = CliRunner().invoke(app, (command, "job.toml", "--html", "locked.html"))
    assert isinstance(done.exception, InputError)
    assert str(done.exception) == "locked.html: is read-only; name another file to write"
    with pytest.raises(InputError, match="cannot be written: it is read-only"):
        write_text(bench / "locked.html", "this year's")
    assert (bench / "locked.html").read_text(encoding="utf-8") == "last year's report"


def test_links_in_a_circle_are_one_sentence(bench: Path) -> None:
    (bench / "round.html").symlink_to("round.html")
    with pytest.raises(InputError, match=r"round\.html: cannot be read or written: too many levels of symbolic links"):
        check_targets((bench / "round.html",), ())
    for arguments in (("check", "round.html"), ("check", "job.toml", "--html", "round.html")):
        assert isinstance(CliRunner().invoke(app, arguments).exception, InputError)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
@pytest.mark.parametrize(
    "arguments",
    [
        ("compare", "pipe", "saved.json"),
        ("checklist", "--result", "pipe", "--html", "o.html"),
        ("verify", "job.toml", "--readings", "pipe"),
        ("verify", "job.toml", "--capture", "red=pipe"),
        ("check", "pipe"),
        ("check", "job.toml", "--circuits", "pipe"),
    ],
    ids=" ".join,
)
def test_a_pipe_is_refused_and_not_waited_for(bench: Path, arguments: tuple[str, ...]) -> None:
    os.mkfifo(bench / "pipe")
    done = CliRunner().invoke(app, arguments)
    assert isinstance(done.exception, InputError), done.output
    assert "pipe: is not a " in str(done.exception)


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no endless device")
def test_a_device_is_refused_and_not_read() -> None:
    for read in (lambda path: read_bytes(path, 100), sha256_of):
        with pytest.raises(InputError, match="is not a regular file; give the path of a file"):
            read(Path("/dev/zero"))


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such pipes")
@pytest.mark.parametrize("arguments", [("list",), ("show", "scart-rgb")])
def test_a_reader_that_leaves_early_is_no_bug(arguments: tuple[str, ...]) -> None:
    """141 is 128 + SIGPIPE, what a shell reports of a program that ends because nobody reads it (POSIX.1-2017)."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "guardcheck", *arguments], stdout=write, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (141, "")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such pipes")
def test_an_error_nobody_reads_keeps_its_exit_code() -> None:
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run([sys.executable, "-m", "guardcheck", "check", "gone.toml"], stderr=write, check=False)
    os.close(write)
    assert done.returncode == 2


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
def test_a_stopped_command_says_so(bench: Path) -> None:
    (bench / "own.toml").write_text(text(line()), encoding="utf-8")
    running = subprocess.Popen(
        [sys.executable, "-m", "guardcheck", "guards", "own.toml", "--html", "new.html"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    time.sleep(1.5)
    running.send_signal(signal.SIGINT)
    _, said = running.communicate(timeout=60)
    assert running.returncode == 130
    assert said.strip() == "guardcheck: stopped; what was written before is whole"
    assert not (bench / "new.html").exists()
    assert not list(Path(tempfile.gettempdir()).glob(f"guardcheck-*-{running.pid}"))


EARLY = """
import os, signal, sys
class Hurry:
    def find_spec(self, name, path=None, target=None):
        if name == "{module}":
            sys.meta_path.remove(self)
            os.kill(os.getpid(), signal.SIGINT)
            while True:
                pass
sys.meta_path.insert(0, Hurry())
sys.argv = ["guardcheck", "check", "own.toml"]
from guardcheck.__main__ import main
main()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no SIGINT to one process")
@pytest.mark.parametrize("module", ["typer", "guardcheck.cli.judging", "guardcheck.pipeline", "numpy"])
def test_a_command_stopped_while_it_loads_says_so(bench: Path, module: str) -> None:
    """130 is 128 + SIGINT; a traceback, or the death by the signal itself, would be no answer to a user."""
    (bench / "own.toml").write_text(text(line()), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", EARLY.format(module=module)], capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.returncode, done.stderr) == (130, "guardcheck: stopped; what was written before is whole\n")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no process groups of this kind")
def test_ctrl_c_of_a_terminal_does_not_reach_a_worker() -> None:
    """A terminal interrupts its whole group; a worker killed by that while it starts would look like no simulator."""
    with Engine(workers=1) as engine:
        assert os.getpgid(engine._workers[0].pid) == engine._workers[0].pid != os.getpgid(0)


HOSTILE = "\x1b]0;mine\x07\x1b[2Jred\u202e\u200b"


@pytest.mark.parametrize(
    ("name", "content", "arguments"),
    [
        ("red.csv", f"Time (s),{HOSTILE} (V)\n" + "0,x\n" * 5, ("verify", "job.toml", "--capture", "red=red.csv")),
        ("mine.cir", f"* x\n.subckt {HOSTILE} in out vdd gnd\n.ends\n", ("check", "job.toml")),
        ("saved.json", f'{{"{HOSTILE}": 1, "format": "{HOSTILE}"}}', ("compare", "saved.json", "saved.json")),
        ("readings.toml", f'["{HOSTILE}"]\n"{HOSTILE}" = 1\n', ("verify", "job.toml", "--readings", "readings.toml")),
        ("job.toml", f'format = 1\n"{HOSTILE}" = 1\n', ("check", "job.toml")),
    ],
)
def test_nothing_from_a_file_moves_the_terminal(
    bench: Path, name: str, content: str, arguments: tuple[str, ...]
) -> None:
    (bench / name).write_text(content, encoding="utf-8")
    done = CliRunner().invoke(app, arguments)
    said = f"{done.output}{done.exception}"
    assert done.exit_code != 0
    assert f"{name}:" in said
    assert not [char for char in said if unicodedata.category(char) in ("Cc", "Cf") and char != "\n"], repr(said)


def test_an_error_is_one_printable_line() -> None:
    assert str(InputError(f"a\nb{HOSTILE}", file="f\x1b", key="k\u202e", line=3)) == "f:3: k: a b]0;mine[2Jred"
