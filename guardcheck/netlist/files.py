"""Reading a netlist file without being led elsewhere by it."""

from __future__ import annotations

from pathlib import Path

from guardcheck import files
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
        return files.read_bytes(real, MAX_BYTES, what="a netlist", error=CircuitError, shown_as=place.file)
    except CircuitError:
        raise
    except OSError as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else error.strerror or "the path is not usable"
        raise place.error(f"cannot be read: {reason.lower()}") from None
    except (ValueError, RuntimeError):
        raise place.error("cannot be read: the path is not usable") from None
