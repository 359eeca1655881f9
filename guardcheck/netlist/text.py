"""From a stranger's bytes to checked logical lines: encoding, line ends, limits, comments and continuation.

Comments are dropped here and never travel further: simulators run commands hidden in some of them.
Lines end at LF (or CR LF throughout) and nowhere else. Python and simulators disagree on what else ends a line, and
between the two readings a command can hide.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from guardcheck.netlist.place import Place, quoted

MAX_BYTES = 200_000
MAX_LINES = 4_000
MAX_LOGICAL = 1_000
MAX_SOURCE = 32_000
"""A `pwl` source may be longer than other lines: up to 700 points, over continuation lines."""

_LINE_ENDERS = {
    "\r": "a lone carriage return",
    "\x0b": "a vertical tab",
    "\x0c": "a form feed",
    "\x1c": "a file separator",
    "\x1d": "a group separator",
    "\x1e": "a record separator",
    "\x85": "a next-line character",
    "\u2028": "a line separator",
    "\u2029": "a paragraph separator",
}
_REFUSED = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u061c\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff"
    "\ufff9-\uffff\U000e0000-\U000e007f]"
)
_NOT_IN_CARDS = re.compile(r"[`\"$\\@#~\[\]]|[^\x20-\x7e\tµμΩΩ]")
_MARKS = (
    (b"\xef\xbb\xbf", "begins with a byte-order mark; save it as UTF-8 without one"),
    (b"\xff\xfe", "is UTF-16 text; save it as UTF-8"),
    (b"\xfe\xff", "is UTF-16 text; save it as UTF-8"),
)


@dataclass(frozen=True, slots=True)
class Statement:
    """One logical line: continuation joined, comments gone, blanks at the ends stripped. `line` is where it begins."""

    text: str
    line: int


def statements(text: str | bytes, place: Place) -> tuple[Statement, ...]:
    """Return the logical lines of a netlist.

    Raises
    ------
    CircuitError
        naming the line, for size, encoding, odd line ends, invisible or refused characters, and a stray `+`

    """
    body = _checked(text, place)
    found: list[Statement] = []
    for line, part in _parts(body, place):
        if not part.startswith("+"):
            found.append(Statement(part, line))
        elif found:
            last = found[-1]
            found[-1] = Statement(f"{last.text} {part[1:].strip()}", last.line)
        else:
            raise place.at(line).error("a line beginning with '+' continues the line before it, and there is none")
        _check_length(found[-1], place)
    return tuple(found)


def _check_length(statement: Statement, place: Place) -> None:
    limit = MAX_SOURCE if statement.text[:1].lower() in ("v", "i") else MAX_LOGICAL
    if len(statement.text) > limit:
        raise place.at(statement.line).error(f"the line is longer than {limit} characters, its continuation included")


def _parts(body: str, place: Place) -> Iterator[tuple[int, str]]:
    """Yield (line number, text) of every physical line that is not a comment, tails removed."""
    for line, raw in enumerate(body.split("\n"), start=1):
        stripped = raw.strip(" \t")
        if stripped[:1] in ("", "*"):
            continue
        if stripped[0] == "#":
            raise place.at(line).error("a comment begins with '*', not '#'")
        part = _without_tail(stripped)
        odd = _NOT_IN_CARDS.search(part)
        if odd is not None:
            raise place.at(line).error(_odd_character(odd[0]))
        if part:
            yield line, part


def _odd_character(char: str) -> str:
    hint = {'"': "; write an expression in braces", "$": "; a comment begins with ';'"}.get(char, "")
    name = quoted(char) if char.isascii() else f"{quoted(char)} (U+{ord(char):04X})"
    return f"the character {name} is accepted in comments only{hint}"


def _without_tail(text: str) -> str:
    """Drop a `;` tail and a ` $` tail."""
    cut = re.search(r";|(?<![^ \t])\$", text)
    return text if cut is None else text[: cut.start()].rstrip(" \t")


def _checked(text: str | bytes, place: Place) -> str:
    if len(text) > MAX_BYTES:
        raise place.error(f"the file is larger than {MAX_BYTES // 1000} kB, the most a netlist may have")
    body = _decoded(text, place) if isinstance(text, bytes) else text
    if body.startswith("\ufeff"):
        raise place.error(f"the file {_MARKS[0][1]}")
    lines = body.count("\n") + 1
    if lines > MAX_LINES + 1:
        raise place.error(f"the file has {lines} lines; a netlist may have {MAX_LINES}")
    return _unix_line_ends(body, place)


def _decoded(data: bytes, place: Place) -> str:
    for mark, problem in _MARKS:
        if data.startswith(mark):
            raise place.error(f"the file {problem}")
    nul = data.find(b"\0")
    if nul >= 0:
        raise place.at(_line_of(data, nul)).error("there is a NUL byte; save the file as plain UTF-8 text")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        problem = f"byte 0x{data[error.start]:02x} is not UTF-8; save the file as UTF-8, and write u for micro"
        raise place.at(_line_of(data, error.start)).error(problem) from None


def _line_of(data: bytes, index: int) -> int:
    return data.count(b"\n", 0, index) + 1


def _unix_line_ends(body: str, place: Place) -> str:
    if "\r\n" in body:
        unix = body.replace("\r\n", "\n")
        if body.count("\n") != body.count("\r\n"):
            raise place.error("lines end in two ways (CR LF and LF); save the file with one of them throughout")
        body = unix
    odd = _REFUSED.search(body)
    if odd is None:
        return body
    char, line = odd[0], body.count("\n", 0, odd.start()) + 1
    name = _LINE_ENDERS.get(char, "a control or invisible character")
    raise place.at(line).error(f"there is {name} (U+{ord(char):04X}), which a netlist may not hold, even in a comment")
