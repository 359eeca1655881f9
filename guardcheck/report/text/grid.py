"""Plain text tables that keep their columns in any terminal, in a mail and on paper."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Sequence

Paint = Callable[[str], str]


def columns(text: str) -> int:
    """Return how many terminal columns the text takes: two for wide characters, none for combining ones."""
    if text.isascii():
        return len(text)
    return sum(_width(char) for char in text)


def _width(char: str) -> int:
    if unicodedata.combining(char) or unicodedata.category(char) == "Me":
        return 0
    return 2 if unicodedata.east_asian_width(char) in ("W", "F") else 1


def pad(text: str, width: int) -> str:
    """Return the text filled with blanks to a width."""
    return text + " " * max(0, width - columns(text))


def wrap(text: str, width: int) -> list[str]:
    """Return the text in lines of at most `width` columns; a longer word is cut. Never an empty list."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        for piece in _pieces(word, width):
            longer = f"{line} {piece}" if line else piece
            if columns(longer) <= width:
                line = longer
            else:
                lines.append(line)
                line = piece
    return [*lines, line]


def _pieces(word: str, width: int) -> Iterable[str]:
    piece = ""
    for char in word:
        if piece and columns(piece) + _width(char) > width:
            yield piece
            piece = ""
        piece += char
    yield piece


def indent(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """Return the text wrapped to `width`, the first line led in by `first`, the others by blanks or `rest`."""
    hang = " " * columns(first) if rest is None else rest
    lines = wrap(text, width - max(columns(first), columns(hang)))
    return [f"{first if n == 0 else hang}{line}" for n, line in enumerate(lines)]


def row(cells: Sequence[Sequence[str]], widths: Sequence[int], paints: Sequence[Paint | None] = ()) -> list[str]:
    """Return one table row. A cell is a list of paragraphs, each wrapped inside its column.

    `paints` may colour a column; colouring comes after the padding, so that it never moves a column.
    """
    wrapped = [[line for part in cell for line in wrap(part, width)] for cell, width in zip(cells, widths, strict=True)]
    height = max(map(len, wrapped))
    lines = []
    for n in range(height):
        parts = []
        for place, (cell, width) in enumerate(zip(wrapped, widths, strict=True)):
            text = cell[n] if n < len(cell) else ""
            paint = paints[place] if place < len(paints) else None
            padded = pad(text, width)
            parts.append(padded.replace(text, paint(text), 1) if paint and text else padded)
        lines.append("  ".join(parts).rstrip())
    return lines
