"""Find the ngspice shared library without loading it."""

from __future__ import annotations

import os
import sys
from pathlib import Path

VARIABLE = "NGSPICE_LIBRARY_PATH"
_NAMES = (
    "libngspice.so.0",
    "libngspice.so",
    "libngspice.0.dylib",
    "libngspice.dylib",
    "ngspice.dll",
    "libngspice-0.dll",
)
_FOLDERS = (
    "/usr/lib/x86_64-linux-gnu",
    "/usr/lib/aarch64-linux-gnu",
    "/usr/lib64",
    "/usr/lib",
    "/usr/local/lib",
    "/usr/local/lib64",
    "/opt/homebrew/lib",
    "/opt/local/lib",
)
INSTALL = (
    "install it with `apt install libngspice0` (Debian, Ubuntu), `dnf install libngspice` (Fedora) or "
    f"`brew install libngspice` (macOS); on Windows set {VARIABLE} to the full path of ngspice.dll"
)


def find_library() -> str | None:
    """Return the full path (or loader name) of libngspice, or None.

    The environment variable ``NGSPICE_LIBRARY_PATH`` wins, and when it is set nothing else is tried: a wrong path must
    be seen, not silently replaced by another version.
    """
    named = os.environ.get(VARIABLE)
    if named:
        return named if Path(named).is_file() else None
    folders = [Path(sys.prefix) / "lib", Path(sys.prefix) / "Library" / "bin", *map(Path, _FOLDERS)]
    if sys.platform == "win32":
        folders += [Path(folder) for folder in os.environ.get("PATH", "").split(os.pathsep) if folder]
    for folder in folders:
        for name in _NAMES:
            if (folder / name).is_file():
                return str(folder / name)
    import ctypes.util  # last, because on Linux it starts other programs to find out

    return ctypes.util.find_library("ngspice")


def missing_sentence() -> str:
    """Return the one sentence a user reads when there is no simulator."""
    named = os.environ.get(VARIABLE)
    if named:
        return f"{VARIABLE} names {named!r}, which is not a file; correct it, or unset it and {INSTALL}"
    return f"the ngspice library was not found; {INSTALL}"


def no_word() -> str:
    """Return what is known of a worker that ended before its first word.

    Some releases of ngspice look for the user's home when they start, and crash where he has no entry: a container
    that runs under a number of its own.
    """
    if sys.platform != "win32":
        import pwd

        try:
            pwd.getpwuid(os.getuid())
        except KeyError:
            return f"it ended without a word: it may miss an entry for the user id {os.getuid()} in /etc/passwd"
    return "it ended without a word"


def unusable_sentence(path: str, words: str) -> str:
    """Return the sentence for a library that is there but does not start."""
    return f"the ngspice library {path!r} could not be started ({words}); {INSTALL}"
