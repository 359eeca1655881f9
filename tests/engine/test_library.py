"""Finding ngspice, and what a user reads when it is not there."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from guardcheck.engine import Engine, find_library, library
from guardcheck.errors import EngineMissing

INSTALL = ("apt install libngspice0", "dnf install libngspice", "brew install libngspice", "NGSPICE_LIBRARY_PATH")


def test_the_variable_wins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    named = tmp_path / "mine.so"
    named.touch()
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(named))
    assert find_library() == str(named)


def test_a_wrong_variable_is_not_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(tmp_path / "gone.so"))
    assert find_library() is None
    with pytest.raises(EngineMissing, match=r"gone\.so.*not a file"), Engine(workers=1):
        pass


def test_no_library_names_every_way_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    monkeypatch.setattr(library, "_NAMES", ())
    monkeypatch.setattr("ctypes.util.find_library", lambda _name: None)
    assert find_library() is None
    with pytest.raises(EngineMissing) as caught, Engine(workers=1):
        pass
    for way in INSTALL:
        assert way in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_no_library_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    broken = tmp_path / "libngspice.so.0"
    broken.write_text("not a library")
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(broken))
    with pytest.raises(EngineMissing, match="could not be started") as caught, Engine(workers=1):
        pass
    assert str(broken) in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_loader_is_asked_last(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NGSPICE_LIBRARY_PATH", raising=False)
    monkeypatch.setattr(library, "_NAMES", ())
    monkeypatch.setattr("ctypes.util.find_library", lambda name: f"lib{name}.so.0")
    assert find_library() == "libngspice.so.0"


def test_info(engine: Engine) -> None:
    assert engine.info.name == "ngspice"
    assert int(engine.info.version.split(".")[0]) >= 30


def test_an_engine_that_does_not_wait_says_it_on_first_use(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Bad input is then told before a missing simulator: the job is read while the engine starts."""
    monkeypatch.setenv("NGSPICE_LIBRARY_PATH", str(tmp_path / "gone.so"))
    with Engine(workers=1, wait=False) as engine, pytest.raises(EngineMissing):
        _ = engine.info


@pytest.mark.skipif(sys.platform == "win32", reason="there is no list of users to look into")
def test_a_user_without_an_entry_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """Release 39 reads the home of `getpwuid(getuid())` unseen, and crashes where that gives nothing: a container."""
    import pwd

    assert library.no_word() == "it ended without a word"

    def nobody(uid: int) -> object:
        raise KeyError(uid)

    monkeypatch.setattr(pwd, "getpwuid", nobody)
    told = f"it ended without a word: it may miss an entry for the user id {os.getuid()} in /etc/passwd"
    assert library.no_word() == told
