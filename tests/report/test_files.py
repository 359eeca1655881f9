"""Files: whole or not at all, whatever interrupts the writing."""

from __future__ import annotations

import os
import random
import signal
import stat
import subprocess
import sys
import time
from pathlib import Path

import pytest

from guardcheck.errors import InputError
from guardcheck.report import write_bytes, write_text

ROOT = hasattr(os, "geteuid") and os.geteuid() == 0


def test_text_is_utf8_with_plain_newlines(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "µ\n\ud800")
    assert (tmp_path / "a.txt").read_bytes() == b"\xc2\xb5\n?"
    assert [found.name for found in tmp_path.iterdir()] == ["a.txt"]


def test_rights_of_the_old_file_are_kept_and_new_ones_follow_umask(tmp_path: Path) -> None:
    old = tmp_path / "old"
    old.write_text("x")
    old.chmod(0o640)
    write_bytes(old, b"y")
    assert stat.S_IMODE(old.stat().st_mode) == 0o640
    before = os.umask(0o027)
    try:
        write_bytes(tmp_path / "new", b"y")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o640


def test_a_link_is_followed_not_replaced(tmp_path: Path) -> None:
    real, link = tmp_path / "real", tmp_path / "link"
    real.write_text("old")
    link.symlink_to(real)
    write_text(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"


def test_a_device_is_written_to_not_replaced(tmp_path: Path) -> None:
    write_text(Path(os.devnull), "gone")
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


def test_a_full_disk_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "report.html"
    target.write_text("old")

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("guardcheck.files.os.fsync", full)
    with pytest.raises(InputError, match=r"report\.html: cannot be written: no space left on device"):
        write_text(target, "new")
    assert target.read_text() == "old"
    assert [found.name for found in tmp_path.iterdir()] == ["report.html"]


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("missing/a.txt", "no such file or directory"),
        (".", "it is a folder"),
        ("file/a.txt", "not a directory"),
        ("a\0b", "null"),
    ],
)
def test_what_cannot_be_written_is_said_in_one_sentence(tmp_path: Path, name: str, reason: str) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match=reason):
        write_text(tmp_path / name, "x")
    assert [found.name for found in tmp_path.iterdir()] == ["file"]


@pytest.mark.skipif(ROOT, reason="root may write anywhere")
def test_a_closed_folder_is_said_in_one_sentence(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(InputError, match="Permission denied"):
        write_text(tmp_path / "a", "x")


def test_a_process_killed_while_writing_leaves_an_old_or_a_new_file(tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    size = 3_000_000
    write_bytes(target, b"0" * size)
    code = (
        "import sys, pathlib; from guardcheck.files import write_bytes\n"
        f"n = 0\nprint('ready', flush=True)\nwhile True:\n n += 1\n"
        f" write_bytes(pathlib.Path(sys.argv[1]), str(n % 10).encode() * {size})\n"
    )
    rng = random.Random(20)
    seen = set()
    for _ in range(6):
        process = subprocess.Popen([sys.executable, "-c", code, str(target)], stdout=subprocess.PIPE)
        assert process.stdout is not None
        assert process.stdout.readline() == b"ready\n"
        time.sleep(rng.uniform(0.0, 0.12))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        content = target.read_bytes()
        assert len(content) == size
        assert content == content[:1] * size
        seen.add(content[:1])
    assert seen
