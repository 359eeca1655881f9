"""Reading a netlist file without being led elsewhere by it."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from guardcheck.errors import CircuitError
from guardcheck.model import Subcircuit
from guardcheck.netlist.place import Place, quoted
from guardcheck.netlist.reader import parse
from guardcheck.netlist.text import MAX_BYTES


def read_file(path: Path, *, within: Path | None = None) -> Subcircuit:
    """Return the part in a netlist file.

    Parameters
    ----------
    path
        the file
    within
        folder the file must lie in once links and ``..`` are followed; None allows any place

    Raises
    ------
    CircuitError
        when the file cannot be read, is no regular file, is too large, leads out of `within`, or for what is in it

    """
    return parse(read_bytes(path, within=within), file=str(path))


def read_bytes(path: Path, *, within: Path | None = None) -> bytes:
    """Return the content of a netlist file, at most 200 kB; raises CircuitError like `read_file`."""
    place = Place(str(path) if str(path).isprintable() else ascii(str(path)))
    try:
        real = path.resolve(strict=True)
        if within is not None and not real.is_relative_to(within.resolve(strict=True)):
            raise place.error(f"the file leads out of the folder {quoted(str(within))}; only files inside it are read")
        return _content(real, place)
    except CircuitError:
        raise
    except OSError as error:
        raise place.error(f"the netlist cannot be read: {error.strerror or 'the path is not usable'}") from None
    except (ValueError, RuntimeError):
        raise place.error("the netlist cannot be read: the path is not usable") from None


def _content(real: Path, place: Place) -> bytes:
    """Read through one handle, so that what was checked is what is read."""
    if not stat.S_ISREG(real.stat().st_mode):
        raise place.error("this is a folder or a device, not a netlist file")
    handle = os.open(real, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as stream:
        known = os.fstat(stream.fileno())
        if not stat.S_ISREG(known.st_mode):
            raise place.error("this is a folder or a device, not a netlist file")
        if known.st_size > MAX_BYTES:
            raise place.error(f"the file is larger than {MAX_BYTES // 1000} kB, the most a netlist may have")
        return stream.read(MAX_BYTES + 1)
