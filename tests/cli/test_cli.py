"""The command line as a user meets it: exit codes, sentences, whole files, no tracebacks."""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from unittest import mock

import pytest

from guardcheck.cli import main
from guardcheck.report.pictures.svg import load
from tests.pipeline.jobs import line, text

GOOD = text(line())
BAD_LEVEL = text(line(), display="unterminated")
SOUND = """
format = 1
touch_standard = "iec-62368-1"
[unit]
label = "BENCH-1"
kind = "invented test unit"
[supply]
rail = "5 V"
rail_capacitance = "100 uF"
rail_load = "400 mA"
rail_max = "5.5 V"
rail_esr = "0.1 ohm"
mains = "230 V"
mains_frequency = "50 Hz"
protection_class = "II"
y_capacitance = "2.2 nF"
y_coupling = "symmetric"
touch_reading = { value = "50 uA", accuracy = "1%", resolution = "1 uA" }
[display]
touch_reading = { value = "50 uA", accuracy = "1%", resolution = "1 uA" }
input = "terminated"
earthed = false
other_leads = false
y_capacitance = "2.2 nF"
y_coupling = "symmetric"
[cable]
kind = "coax-75"
length = "1.8 m"
[[line]]
names = ["sync"]
standard = "scart-sync"
source = "logic-pin"
source_values = { high = "5 V", low = "0 V", impedance = "50 ohm" }
pin = { family = "hc-logic" }
stage = "series-resistor"
stage_values = { series = "1 kohm 1%", power_rating = "0.25 W" }
guard = "schottky-pair"
[hazards]
others = false
"""
"""A line that every needed check lets pass: sync through 1 kohm and a Schottky pair, supplies that float together."""
UNSURE = SOUND.replace('touch_reading = { value = "50 uA", accuracy = "1%", resolution = "1 uA" }', "")


def guardcheck(*arguments: str, cwd: Path, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "guardcheck", *arguments],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "COLUMNS": "80", **environment},
        check=False,
    )


def refused(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run the same in this process: for what ends before anything is simulated, most of a command is its loading."""
    load()  # else a thread of the command does, and outlives what is patched here
    out, err = io.StringIO(), io.StringIO()
    code: int | str | None = 0
    ended, interval = signal.getsignal(signal.SIGTERM), sys.getswitchinterval()
    with (
        mock.patch.object(sys, "argv", ["guardcheck", *arguments]),
        mock.patch.dict(os.environ, {"COLUMNS": "80"}),
        contextlib.chdir(cwd),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as left:
            code = left.code
        finally:
            signal.signal(signal.SIGTERM, ended)
            sys.setswitchinterval(interval)
    return subprocess.CompletedProcess(arguments, code if isinstance(code, int) else 0, out.getvalue(), err.getvalue())


def job(folder: Path, content: str, name: str = "job.toml") -> str:
    (folder / name).write_text(content, encoding="utf-8")
    return name


@pytest.mark.parametrize(("content", "code"), [(SOUND, 0), (BAD_LEVEL, 10), (UNSURE, 11)], ids=["0", "10", "11"])
def test_exit_codes_follow_the_outcome(tmp_path: Path, content: str, code: int) -> None:
    done = guardcheck("check", job(tmp_path, content), "--samples", "5", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == code, done.stderr
    outcome = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))["outcome"]
    assert outcome == {0: "conforms", 10: "does_not_conform", 11: "not_proven"}[code]
    assert done.stderr == ""
    assert max(len(row) for row in done.stdout.splitlines()) <= 80


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (GOOD.replace("stage =", "stagge ="), ["stagge", "did you mean 'stage'", "job.toml:"]),
        (GOOD.replace('"series-resistor"', '"serie-resistor"'), ["serie-resistor", "did you mean 'series-resistor'"]),
        (
            GOOD.replace('series = "74 ohm"', 'serie = "74 ohm"'),
            ["serie", "did you mean 'series'", "line[0].stage_values"],
        ),
        (GOOD.replace('"74 ohm"', '"74"'), ["74", "write a resistance such as"]),
        (GOOD.replace('"74 ohm"', '"74 V"'), ["74 V", "resistance"]),
        (GOOD.replace('"74 ohm"', "74"), ["74"]),
        (GOOD.replace('"scart-rgb"', '"scart-rbg"'), ["scart-rbg", "did you mean 'scart-rgb'"]),
        (GOOD.replace('"terminated"', '"terminted"'), ["terminted", "did you mean 'terminated'"]),
        (GOOD.replace('"video-pin"', '"video-pni"'), ["video-pni", "did you mean 'video-pin'"]),
        (GOOD.replace('white = "1.4 V", ', ""), ["white", "oscilloscope"]),
        (GOOD.replace('"1.4 V"', '"1.4 kV"'), ["1.4 kV"]),
        (GOOD.replace('stage = "series-resistor"', 'stage_netlist = "gone.cir"'), ["gone.cir"]),
        (GOOD.replace('stage = "series-resistor"', 'stage_netlist = "../../etc/passwd"'), ["folder"]),
        (GOOD.replace("format = 1", "format = 2"), ["format"]),
        ("not toml at all [", ["job.toml:1"]),
    ],
)
def test_bad_input_is_one_sentence(tmp_path: Path, content: str, words: list[str]) -> None:
    done = refused("check", job(tmp_path, content), "--json", "out.json", "--html", "out.html", cwd=tmp_path)
    assert done.returncode == 2, done.stdout
    assert done.stderr.startswith("guardcheck: ")
    assert len(done.stderr.strip().splitlines()) == 1
    assert "Traceback" not in done.stderr
    for word in words:
        assert word in done.stderr, done.stderr
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job.toml"]


def test_a_missing_job_file_is_one_sentence(tmp_path: Path) -> None:
    done = refused("check", "nowhere.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert "nowhere.toml" in done.stderr


def test_no_simulator_is_exit_3(tmp_path: Path) -> None:
    done = guardcheck("check", job(tmp_path, GOOD), cwd=tmp_path, NGSPICE_LIBRARY_PATH=str(tmp_path / "none.so"))
    assert done.returncode == 3
    assert "libngspice0" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_json_on_standard_output_is_only_json(tmp_path: Path) -> None:
    done = guardcheck("check", job(tmp_path, GOOD), "--samples", "3", "--json", "-", cwd=tmp_path)
    assert json.loads(done.stdout)["format"] == "guardcheck-result/2"


def test_the_new_job_passes_check_unchanged(tmp_path: Path) -> None:
    assert guardcheck("new", "mine.toml", cwd=tmp_path).returncode == 0
    assert guardcheck("new", "mine.toml", cwd=tmp_path).returncode == 2  # never overwritten
    done = guardcheck("check", "mine.toml", "--samples", "5", "--quiet", cwd=tmp_path)
    assert done.returncode in (0, 11), done.stdout + done.stderr


def test_same_job_same_seed_same_bytes(tmp_path: Path) -> None:
    name = job(tmp_path, text(line(stage_values='series = "74 ohm 5%"')))
    for index, workers in enumerate(("1", "2")):
        done = guardcheck(
            "check", name, "--workers", workers, "--json", f"{index}.json", "--html", f"{index}.html", cwd=tmp_path
        )
        assert done.returncode == 11, done.stderr
    assert (tmp_path / "0.json").read_bytes() == (tmp_path / "1.json").read_bytes()
    assert (tmp_path / "0.html").read_bytes() == (tmp_path / "1.html").read_bytes()
    guardcheck("check", name, "--seed", "2", "--json", "2.json", cwd=tmp_path)
    assert (tmp_path / "0.json").read_bytes() != (tmp_path / "2.json").read_bytes()


def test_many_jobs_worst_code_wins_and_none_stops_the_others(tmp_path: Path) -> None:
    names = [
        job(tmp_path, GOOD, "good.toml"),
        job(tmp_path, "broken", "broken.toml"),
        job(tmp_path, BAD_LEVEL, "bad.toml"),
    ]
    done = guardcheck("check", *names, "--samples", "2", "--json", "results", "--html", "pages", cwd=tmp_path)
    assert done.returncode == 2
    assert sorted(path.name for path in (tmp_path / "results").iterdir()) == ["bad.json", "good.json"]
    assert sorted(path.name for path in (tmp_path / "pages").iterdir()) == ["bad.html", "good.html"]
    assert "broken" in done.stdout
    assert max(len(row) for row in done.stdout.splitlines()) <= 80


@pytest.mark.parametrize(
    "arguments", [("list",), ("list", "stages"), ("show", "two-resistor-pad"), ("show", "scart-rgb"), ("--help",)]
)
def test_shelf_commands(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    done = refused(*arguments, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert max(len(row) for row in done.stdout.splitlines()) <= 80
    assert "two-resistor-pad" in done.stdout or arguments[-1] in ("scart-rgb", "--help")


def test_show_suggests_the_nearest_name(tmp_path: Path) -> None:
    done = refused("show", "two-resistor-pat", cwd=tmp_path)
    assert done.returncode == 2
    assert "did you mean 'two-resistor-pad'" in done.stderr


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import sys; sys.argv = ['guardcheck', '--help']\n"
        "from guardcheck.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "heavy = {'numpy', 'matplotlib', 'PySpice', 'pint', 'scipy', 'jinja2'} & set(sys.modules)\n"
        "sys.exit(1 if heavy else 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


OWN_STAGE = """* a stage of my own
.subckt mine in out vdd gnd rser=74
r1 in out {rser}
.ends mine
"""


def test_an_own_netlist_stands_in_for_a_stage(tmp_path: Path) -> None:
    (tmp_path / "mine.cir").write_text(OWN_STAGE, encoding="utf-8")
    content = GOOD.replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"').replace(
        'series = "74 ohm"', 'rser = "74 ohm"'
    )
    done = guardcheck("check", job(tmp_path, content), "--samples", "2", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 11, done.stderr + done.stdout  # levels are right, what live plugging does is not proven
    result = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    white = next(one for one in result["findings"] if one["quantity"] == "level.white")
    assert white["value"] == pytest.approx(0.7, abs=1e-3)
    used = next(one for one in result["circuits"] if one["file"].endswith("mine.cir"))
    assert len(used["sha256"]) == 64
    assert str(tmp_path) not in json.dumps(result)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (OWN_STAGE.replace("{rser}", "4k7"), ["mine.cir:3", "4k7"]),
        (OWN_STAGE.replace("in out vdd gnd rser", "out in vdd gnd rser"), ["mine.cir", "in out vdd gnd"]),
        (OWN_STAGE + ".control\nshell touch owned\n.endc\n", ["mine.cir:5", ".control"]),
        (OWN_STAGE.replace("r1 in out {rser}", ".include /etc/passwd"), ["mine.cir:3", ".include"]),
        ("*# shell touch owned\n" + OWN_STAGE.replace("{rser}", "{unknown}"), ["unknown"]),
    ],
)
def test_a_bad_own_netlist_is_one_sentence(tmp_path: Path, content: str, words: list[str]) -> None:
    (tmp_path / "mine.cir").write_text(content, encoding="utf-8")
    changed = GOOD.replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"').replace('series = "74 ohm"', "")
    done = refused("check", job(tmp_path, changed), cwd=tmp_path)
    assert done.returncode == 2, done.stdout
    for word in words:
        assert word in done.stderr, done.stderr
    assert not (tmp_path / "owned").exists()


def test_a_netlist_that_does_not_converge_is_not_proven(tmp_path: Path) -> None:
    """A latch with no stable operating point the solver can find: one deck fails, the run goes on."""
    (tmp_path / "mine.cir").write_text(
        "* an equation without a solution\n.subckt mine in out vdd gnd\nr1 in out 75\n"
        "b1 x gnd v = 2 + v(x)*v(x) + exp(v(x))\nr2 x gnd 1e3\n.ends mine\n",
        encoding="utf-8",
    )
    changed = GOOD.replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"').replace('series = "74 ohm"', "")
    done = guardcheck("check", job(tmp_path, changed), "--samples", "0", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 11, done.stderr
    result = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    white = next(one for one in result["findings"] if one["quantity"] == "level.white")
    assert white["outcome"] == "not_proven"
    assert white["value"] is None


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--json", "job.toml"), "an input already"),
        (("--json", "same.out", "--html", "same.out"), "another output already"),
        (("--json", "missing/out.json"), "folder does not exist"),
        (("--html", "."), "is a folder"),
    ],
)
def test_outputs_are_refused_before_anything_runs(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    name = job(tmp_path, GOOD)
    done = refused("check", name, *arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert words in done.stderr
    assert (tmp_path / name).read_text(encoding="utf-8") == GOOD
    assert sorted(path.name for path in tmp_path.iterdir()) == [name]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
def test_a_full_disk_is_one_sentence(tmp_path: Path) -> None:
    name = job(tmp_path, GOOD)
    command = f"{sys.executable} -m guardcheck check {name} --samples 0 > /dev/full"
    done = subprocess.run(["sh", "-c", command], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "cannot read or write" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_a_mistyped_parameter_of_an_own_netlist_is_refused(tmp_path: Path) -> None:
    (tmp_path / "mine.cir").write_text(OWN_STAGE, encoding="utf-8")
    content = GOOD.replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"').replace("series =", "rserr =")
    done = refused("check", job(tmp_path, content), cwd=tmp_path)
    assert done.returncode == 2
    assert "did you mean 'rser'" in done.stderr
