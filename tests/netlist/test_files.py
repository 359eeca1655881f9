"""Reading files: nothing leads out of the folder, nothing hangs, every failure is one sentence."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

from guardcheck.errors import CircuitError
from guardcheck.netlist import read_bytes, read_file

GOOD = ".subckt part a b\nr1 a b 75\n.ends\n"


def refused(path: Path, within: Path | None = None) -> str:
    begun = time.process_time()
    with pytest.raises(CircuitError) as caught:
        read_file(path, within=within)
    assert time.process_time() - begun < 1.0
    return str(caught.value)


def test_a_good_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.cir"
    file.write_text(GOOD)
    assert read_file(file).file == str(file)
    assert read_file(file, within=tmp_path).name == "part"
    assert read_bytes(file) == GOOD.encode()


def test_dots_may_stay_inside_the_folder(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    (tmp_path / "mine.cir").write_text(GOOD)
    assert read_file(tmp_path / "inner" / ".." / "mine.cir", within=tmp_path).name == "part"


def test_dots_may_not_leave_it(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    (tmp_path / "mine.cir").write_text(GOOD)
    assert "leads out of the folder" in refused(tmp_path / "inner" / ".." / "mine.cir", tmp_path / "inner")


def test_a_link_may_not_leave_it(tmp_path: Path) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    (tmp_path / "secret.cir").write_text(GOOD)
    (inner / "link.cir").symlink_to(tmp_path / "secret.cir")
    (tmp_path / "twin").symlink_to(inner)
    assert "leads out of the folder" in refused(inner / "link.cir", inner)
    (inner / "mine.cir").write_text(GOOD)
    assert read_file(tmp_path / "twin" / "mine.cir", within=inner).name == "part"


def test_a_neighbour_with_a_longer_name_is_outside(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job-secret").mkdir()
    (tmp_path / "job-secret" / "mine.cir").write_text(GOOD)
    assert "leads out" in refused(tmp_path / "job" / ".." / "job-secret" / "mine.cir", tmp_path / "job")


def test_what_is_no_file(tmp_path: Path) -> None:
    assert "cannot be read: no such file" in refused(tmp_path / "absent.cir")
    assert "is a folder" in refused(tmp_path)
    assert "cannot be read" in refused(tmp_path / "\0.cir")
    (tmp_path / "loop.cir").symlink_to(tmp_path / "loop.cir")
    assert "cannot be read" in refused(tmp_path / "loop.cir")
    if Path("/dev/zero").exists():
        assert "not a regular file" in refused(Path("/dev/zero"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_a_pipe_does_not_hang(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.cir")
    assert "not a regular file" in refused(tmp_path / "pipe.cir")


def test_a_large_file_is_refused_by_its_size(tmp_path: Path) -> None:
    file = tmp_path / "large.cir"
    with file.open("wb") as stream:
        stream.truncate(10**9)
    assert "larger than 200 kB" in refused(file)


def test_a_control_character_in_the_name_is_not_printed(tmp_path: Path) -> None:
    sentence = refused(tmp_path / "\x1b[31mred.cir")
    assert "\x1b" not in sentence


def test_an_unreadable_file(tmp_path: Path) -> None:
    file = tmp_path / "mine.cir"
    file.write_text(GOOD)
    file.chmod(0)
    if os.access(file, os.R_OK):
        assert read_file(file).name == "part"  # the superuser reads everything
    else:
        assert "cannot be read: permission denied" in refused(file)
