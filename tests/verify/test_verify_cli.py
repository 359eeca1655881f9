"""`guardcheck verify` and `guardcheck new --for` as a user meets them: exit codes, sentences, files."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.test_cli import guardcheck, job
from tests.verify.bench import BACK_MATCHED, dark, reading, text
from tests.verify.test_captures import RED, SYNC, capture


@pytest.mark.parametrize(
    ("told", "code"),
    [(reading() + dark(), 0), (reading(value="1.4 V"), 10), (reading(picture="other") + dark(), 11), (reading(), 11)],
    ids=["0", "10", "11", "11 white alone"],
)
def test_exit_codes_follow_the_outcome(tmp_path: Path, told: str, code: int) -> None:
    (tmp_path / "readings.toml").write_text(f"format = 1\n{told}", encoding="utf-8")
    name = job(tmp_path, text(BACK_MATCHED))
    done = guardcheck("verify", name, "--readings", "readings.toml", "--json", "out.json", "--html", "out.html",
                      "--samples", "0", cwd=tmp_path)  # fmt: skip
    assert done.returncode == code, done.stderr
    assert done.stderr == ""
    assert max(len(row) for row in done.stdout.splitlines()) <= 80
    result = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert result["command"] == "verify"
    assert result["findings"][0]["origin"] == "measured"
    assert str(tmp_path) not in (tmp_path / "out.json").read_text(encoding="utf-8")
    assert "Verification of the finished mod" in (tmp_path / "out.html").read_text(encoding="utf-8")


def test_a_capture_by_command_line(tmp_path: Path) -> None:
    capture(tmp_path, "scope.csv", CH1=RED, CH2=SYNC)
    (tmp_path / "readings.toml").write_text(f"format = 1\n{dark('red', 'level.black')}", encoding="utf-8")
    done = guardcheck("verify", job(tmp_path, text(BACK_MATCHED)), "--capture", "red=scope.csv", "--sync", "CH2",
                      "--picture", "white", "--load", "terminated", "--place", "display", "--coupling", "dc",
                      "--samples", "0", "--quiet", "--readings", "readings.toml", cwd=tmp_path)  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "CONFORMS" in done.stdout


@pytest.mark.parametrize("sync", [("--sync", "CH2"), ()], ids=["with sync", "without"])
def test_the_checklist_takes_the_channel_with_sync(tmp_path: Path, sync: tuple[str, ...]) -> None:
    """Red carries no sync of its own: without the other channel its capture shows no level at all."""
    capture(tmp_path, "scope.csv", CH1=RED, CH2=SYNC)
    told = dark("red", "level.black") + reading(value="unknown")
    (tmp_path / "readings.toml").write_text(f"format = 1\n{told}", encoding="utf-8")
    done = guardcheck("checklist", job(tmp_path, text(BACK_MATCHED)), "--readings", "readings.toml", "--capture",
                      "red=scope.csv#CH1", *sync, "--html", "sheet.html", "--samples", "0", "--quiet",
                      cwd=tmp_path)  # fmt: skip
    assert done.returncode in (0, 10, 11), done.stderr
    page = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    measured = page[page.index('id="measured"') : page.index('class="two"')]
    assert ("700&nbsp;mV" in measured) == bool(sync)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "nothing was measured"),
        (("--readings", "gone.toml"), "gone.toml"),
        (("--capture", "red=job.toml"), "job.toml"),
    ],
)
def test_bad_input_is_one_sentence_and_leaves_nothing(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    done = guardcheck("verify", job(tmp_path, text(BACK_MATCHED)), *arguments, "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 2, done.stdout
    assert done.stderr.startswith("guardcheck: ")
    assert len(done.stderr.strip().splitlines()) == 1
    assert words in done.stderr
    assert not (tmp_path / "out.json").exists()


def test_a_new_readings_file_is_read_back_and_proves_nothing_yet(tmp_path: Path) -> None:
    name = job(tmp_path, text(BACK_MATCHED))
    assert guardcheck("new", "readings.toml", "--for", name, cwd=tmp_path).returncode == 0
    told = (tmp_path / "readings.toml").read_text(encoding="utf-8")
    assert told.count("[[reading]]") == 3  # white, black and DC at blanking are what the standard limits
    done = guardcheck("verify", name, "--readings", "readings.toml", "--samples", "0", "--quiet", cwd=tmp_path)
    assert done.returncode == 11, done.stdout + done.stderr


def test_no_simulator_is_exit_3(tmp_path: Path) -> None:
    (tmp_path / "readings.toml").write_text(f"format = 1\n{reading()}", encoding="utf-8")
    done = guardcheck("verify", job(tmp_path, text(BACK_MATCHED)), "--readings", "readings.toml", cwd=tmp_path,
                      NGSPICE_LIBRARY_PATH=str(tmp_path / "none.so"))  # fmt: skip
    assert done.returncode == 3
    assert len(done.stderr.strip().splitlines()) == 1
