"""Files written whole or not at all: a power cut leaves the old report or the new one, never half of one."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from pathlib import Path

from guardcheck.errors import InputError


def write_text(path: Path, text: str) -> None:
    """Write text as UTF-8 with plain newlines, whole or not at all.

    Raises `InputError` if the file cannot be written; what stood there before is then untouched.
    """
    write_bytes(path, text.encode("utf-8", errors="replace"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write bytes to a new file in the same folder, flush them to the disk, then put it in the place of the old one.

    A device or a pipe (``/dev/stdout``) is written to directly: there is nothing to replace.
    Raises `InputError` if the file cannot be written; what stood there before is then untouched.
    """
    try:
        target = path.resolve()
        mode = _mode(target)
        if mode is not None and not stat.S_ISREG(mode):
            _into(target, data, mode)
        else:
            _replace(target, data, mode)
    except (OSError, RuntimeError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) and problem.strerror else str(problem)
        raise InputError(f"the file cannot be written: {reason}", file=str(path)) from None


def _mode(target: Path) -> int | None:
    try:
        return target.stat().st_mode
    except FileNotFoundError:
        return None


def _into(target: Path, data: bytes, mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(21, "it is a folder")
    with target.open("wb") as file:
        file.write(data)


def _replace(target: Path, data: bytes, mode: int | None) -> None:
    part = target.with_name(f".guardcheck-{secrets.token_hex(8)}.part")
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            part.chmod(stat.S_IMODE(mode))
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    _settle(target.parent)


def _settle(folder: Path) -> None:
    """Flush the folder's own entry; not every system can, and the file itself is safe without it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
