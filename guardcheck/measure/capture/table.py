"""Blocks of a file's rows turned into numbers, quickly, with the line of the first row that cannot be."""

from __future__ import annotations

import gzip
import io
import warnings
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, cast

import numpy as np
from numpy.typing import NDArray

from guardcheck.errors import InputError
from guardcheck.files import opened
from guardcheck.measure.capture.dialect import Dialect, split

BLOCK = 1 << 21
MAX_LINE = 4096
MAX_BYTES = 4 << 30
_SPACE, _NEWLINE = 32, 10


def open_capture(path: Path) -> BinaryIO:
    """Open a capture file, compressed or not; InputError says why it cannot be."""
    with opened(path, what="a capture") as stream:
        packed = stream.read(2) == b"\x1f\x8b"
    return cast(BinaryIO, gzip.open(path, "rb") if packed else path.open("rb"))


def read_block(stream: BinaryIO, size: int, file: str) -> bytes:
    """Read up to `size` bytes; a damaged compressed file becomes an InputError.

    Parameters
    ----------
    stream : where it is read from
    size : most bytes to read
    file : its name, for messages

    """
    try:
        return stream.read(size)
    except (EOFError, zlib.error, gzip.BadGzipFile) as error:
        raise InputError(f"the compressed file is damaged ({error})", file=file) from None
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror or error}", file=file) from None


def whole_lines(first: bytes, stream: BinaryIO, file: str) -> Iterator[bytes]:
    """Yield blocks that end at a line end; `first` is what was read already. The last block is given a line end.

    Parameters
    ----------
    first : what was read already
    stream : the rest
    file : its name, for messages

    """
    rest, total = first, len(first)
    while True:
        more = read_block(stream, BLOCK, file)
        total += len(more)
        if total > MAX_BYTES:
            raise InputError(f"the file holds more than {MAX_BYTES >> 30} GiB of text", file=file)
        text = rest + more
        if not more:
            if text:
                yield text if text.endswith(b"\n") else text + b"\n"
            return
        cut = text.rfind(b"\n") + 1
        if cut:
            yield text[:cut]
        rest = text[cut:]
        if len(rest) > MAX_LINE:
            raise InputError(f"a line is longer than {MAX_LINE} characters", file=file)


def to_numbers(block: bytes, dialect: Dialect, width: int, line: int, file: str) -> NDArray[np.float64]:
    """Return the block's rows, shape ``(n_rows, width)``; `line` is the file's line number of the first.

    Parameters
    ----------
    block : whole lines of text
    dialect : separator and decimal mark
    width : fields of a row
    line : number of the first line in the file
    file : its name, for messages

    Raises
    ------
    InputError
        a row with too few or too many fields, or something that is not a finite number, by line

    """
    plain = _plain(block, dialect)
    octets = np.frombuffer(plain, dtype=np.uint8)
    blank = octets <= _SPACE
    starts = ~blank
    starts[1:] &= blank[:-1]
    ends = np.flatnonzero(octets == _NEWLINE)
    counts = np.diff(np.cumsum(starts, dtype=np.int32)[ends], prepend=0)
    bad = np.flatnonzero((counts != width) & (counts != 0))
    if len(bad):
        _complain(block, int(bad[0]), dialect, width, line, file)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            numbers = np.fromstring(plain.decode("ascii"), dtype=np.float64, sep=" ")
    except (ValueError, DeprecationWarning):
        numbers = np.empty(0)
    if len(numbers) != int(counts.sum()) or not np.isfinite(numbers).all():
        _complain(block, _first_bad(block, dialect), dialect, width, line, file)
    return numbers.reshape(-1, width)


def _plain(block: bytes, dialect: Dialect) -> bytes:
    """Return the block with spaces for delimiters and points for decimal commas."""
    if dialect.delimiter == '"':
        block = block.replace(b'","', b" ").replace(b'"', b" ")
    table = bytearray(range(256))
    for mark in b'\t\r\x0b\x0c\x1c\x1d\x1e\x1f\x85\xa0"':  # what `split` takes off a field as well
        table[mark] = _SPACE
    if dialect.delimiter in ",;\t":
        table[ord(dialect.delimiter)] = _SPACE
    if dialect.decimal == ",":
        table[ord(",")] = ord(".")
    return block.translate(bytes(table))


def _first_bad(block: bytes, dialect: Dialect) -> int:
    """Return the first row with something that is no number: there is one, Python reads no more of them than numpy."""
    rows = (split(row.decode("latin-1"), dialect.delimiter) for row in io.BytesIO(block))
    return next(at for at, row in enumerate(rows) if any(part and _number(part, dialect) is None for part in row))


def _number(part: str, dialect: Dialect) -> float | None:
    text = part.replace(",", ".") if dialect.decimal == "," else part
    try:
        number = float(text)
    except ValueError:
        return None
    return number if np.isfinite(number) and "_" not in text else None


def _complain(block: bytes, index: int, dialect: Dialect, width: int, line: int, file: str) -> None:
    row = block.split(b"\n")[index].decode("latin-1")
    at = line + index
    fields = [part for part in split(row, dialect.delimiter) if part]
    for part in fields:
        if _number(part, dialect) is None:
            shown = "".join(c if c.isprintable() else "?" for c in part[:40])
            raise InputError(
                f"'{shown}' is not a number this table can hold; accepted are finite numbers such as"
                f" 1.25{'e' if dialect.decimal == '.' else ' (or 1,25) and 1.25e'}-3",
                file=file,
                line=at,
            )
    raise InputError(f"this row holds {len(fields)} numbers, the rows above it hold {width}", file=file, line=at)
