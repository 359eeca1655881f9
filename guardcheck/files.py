"""Files read within bounds, and written whole or not at all.

A power cut leaves the old report or the new one, never half of one. What is read is a regular file of a bounded size:
a pipe or a device would wait, or fill the memory.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from guardcheck.errors import InputError

_PIECE = 1 << 20
_WRITABLE = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH
"""Without one of these a file is kept from being written on purpose; replacing it would go round that."""


def read_bytes(
    path: Path, most: int, *, what: str = "a file", error: type[InputError] = InputError, shown_as: str | None = None
) -> bytes:
    """Return the content of a regular file.

    Parameters
    ----------
    path : the file
    most : its largest size [bytes]
    what : what it should be, for the sentence: "a job file"
    error : what to raise
    shown_as : what it is called in the sentence, its path if nothing is given

    Raises
    ------
    error
        it is no regular file, is too large, or cannot be read

    """
    with opened(path, what=what, error=error, shown_as=shown_as) as stream:
        too_large = os.fstat(stream.fileno()).st_size > most
        data = b"" if too_large else stream.read(most + 1)
        if too_large or len(data) > most:
            raise error(f"is larger than {most // 1000} kB, the most {what} has", file=shown_as or str(path))
        return data


def digest_of(*contents: bytes) -> str:
    """Return the SHA-256 of contents that were read, one after the other, as hexadecimal text."""
    digest = hashlib.sha256()
    for content in contents:
        digest.update(content)
    return digest.hexdigest()


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a regular file. Raises `InputError` if it is none or cannot be read."""
    digest = hashlib.sha256()
    with opened(path) as stream:
        while piece := stream.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest()


@contextlib.contextmanager
def opened(
    path: Path, *, what: str = "a file", error: type[InputError] = InputError, shown_as: str | None = None
) -> Iterator[BinaryIO]:
    """Open a regular file through one handle, without waiting: what was checked is what is read.

    Raises `error`, with the file in it, for what is no regular file or cannot be read.
    """
    file = shown_as or str(path)
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        mode = os.fstat(handle).st_mode
        if not stat.S_ISREG(mode):
            os.close(handle)
            raise error(f"is {_kind(mode)}; give the path of {what}", file=file)
        with os.fdopen(handle, "rb") as stream:
            yield stream
    except InputError:
        raise
    except FileNotFoundError:
        raise error("cannot be read: no such file", file=file) from None
    except (OSError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) and problem.strerror else "the path is not usable"
        raise error(f"cannot be read: {reason.lower()}", file=file) from None


def _kind(mode: int) -> str:
    return "a folder" if stat.S_ISDIR(mode) else "not a regular file"


def write_text(path: Path, text: str, *, replace: bool = True) -> None:
    """Write text as UTF-8 with plain newlines, whole or not at all; without `replace` never over a file that is there.

    Raises `InputError` if the file cannot be written; what stood there before is then untouched.
    """
    write_bytes(path, text.encode("utf-8", errors="replace"), replace=replace)


def write_bytes(path: Path, data: bytes, *, replace: bool = True) -> None:
    """Write bytes to a new file in the same folder, flush them to the disk, then put it in the place of the old one.

    A device or a pipe (``/dev/stdout``) is written to directly: there is nothing to replace. Without `replace` a file
    that is there, even one that came a moment ago, is left as it is.
    Raises `InputError` if the file cannot be written; what stood there before is then untouched.
    """
    try:
        target = path.resolve()
        mode = _mode(target)
        if not replace and (mode is not None or path.is_symlink()):
            raise FileExistsError
        if mode is not None and not mode & _WRITABLE:
            raise PermissionError(13, "it is read-only")
        if mode is not None and not stat.S_ISREG(mode):
            _into(target, data, mode)
        else:
            _replace(target, data, mode, replace)
    except FileExistsError:
        raise InputError("exists already; choose another name, it is not overwritten", file=str(path)) from None
    except (OSError, RuntimeError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) and problem.strerror else str(problem)
        raise InputError(f"cannot be written: {reason.lower()}", file=str(path)) from None


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


def _replace(target: Path, data: bytes, mode: int | None, replace: bool) -> None:
    part = target.with_name(f".guardcheck-{secrets.token_hex(8)}.part")
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if mode is not None:
            part.chmod(stat.S_IMODE(mode))
        if replace:
            part.replace(target)
        else:
            _move_to_new(part, target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    _settle(target.parent)


def _move_to_new(part: Path, target: Path) -> None:
    """Give a finished file its name; a link, unlike a rename, refuses an existing name in the same step."""
    try:
        target.hardlink_to(part)
    except FileExistsError:
        raise
    except OSError:  # a file system without links, such as a memory card's
        if target.exists():
            raise FileExistsError from None
        part.rename(target)
    else:
        part.unlink()


def _settle(folder: Path) -> None:
    """Flush the folder's own entry; not every system can, and the file itself is safe without it."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
