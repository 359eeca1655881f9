"""Line numbers of the keys of a TOML text, which the standard reader does not tell.

The text has already been accepted by that reader, so this scan may trust its grammar; it only keeps count of lines.
Should it ever lose its way, it stops and returns what it has: a missing line number costs a hint, never a wrong value.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping

_KEY = re.compile(r"""[ \t]*(?:"((?:[^"\\\n]|\\.)*)"|'([^'\n]*)'|([A-Za-z0-9_-]+))[ \t]*""")
_STRING = re.compile(r'"""(?:[^\\]|\\.)*?"""+|\'\'\'.*?\'\'\'+|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'', re.DOTALL)
_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BARE = re.compile(r"[^,\]}\n#]+")


def dotted(parts: tuple[str | int, ...]) -> str:
    """Return ``line[0].stage_values.series`` for ``("line", 0, "stage_values", "series")``."""
    text = ""
    for part in parts:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def line_numbers(text: str) -> dict[str, int]:
    """Return the line number (from 1) of every key and list entry of a valid TOML text, by dotted key."""
    scan = _Scan(text.replace("\r\n", "\n"))
    with contextlib.suppress(_LostError):
        scan.document()
    return scan.found


def nearest_line(lines: Mapping[str, int], key: str) -> int | None:
    """Return the line of a key, or of the table it would stand in."""
    while key:
        if key in lines:
            return lines[key]
        key = key[: max(key.rfind("."), key.rfind("["), 0)]
    return None


class _LostError(Exception):
    """The scan met something it does not understand."""


class _Scan:
    def __init__(self, text: str) -> None:
        self.text, self.at, self.line = text, 0, 1
        self.found: dict[str, int] = {}
        self.counts: dict[str, int] = {}

    def document(self) -> None:
        table: tuple[str | int, ...] = ()
        while self._blank() < len(self.text):
            if self.text.startswith("[[", self.at):
                table = self._header(2)
            elif self.text[self.at] == "[":
                table = self._header(1)
            else:
                self._pair(table)

    def _header(self, brackets: int) -> tuple[str | int, ...]:
        self.at += brackets
        names = self._names()
        path: tuple[str | int, ...] = ()
        for depth, name in enumerate(names):
            path += (name,)
            known = dotted(path)
            self.found.setdefault(known, self.line)
            if brackets == 2 and depth == len(names) - 1:
                self.counts[known] = self.counts.get(known, -1) + 1
            if known in self.counts:
                path += (self.counts[known],)
        self._expect("]" * brackets)
        self.found.setdefault(dotted(path), self.line)
        return path

    def _pair(self, table: tuple[str | int, ...]) -> None:
        path = table
        for name in self._names():
            path += (name,)
            self.found.setdefault(dotted(path), self.line)
        self._expect("=")
        self._value(path)

    def _value(self, path: tuple[str | int, ...], depth: int = 0) -> None:
        self._blank()
        if depth > 50 or self.at >= len(self.text):
            raise _LostError
        opening = self.text[self.at]
        if opening == "[":
            self._list(path, depth)
        elif opening == "{":
            self._inline(path, depth)
        else:
            self._skip(_STRING if opening in "\"'" else _BARE)

    def _list(self, path: tuple[str | int, ...], depth: int) -> None:
        self.at += 1
        index = 0
        while self._peek() != "]":
            self.found.setdefault(dotted((*path, index)), self.line)
            self._value((*path, index), depth + 1)
            index += 1
            if self._peek() == ",":
                self.at += 1
        self.at += 1

    def _inline(self, path: tuple[str | int, ...], depth: int) -> None:
        self.at += 1
        while self._peek() != "}":
            inner = path
            for name in self._names():
                inner += (name,)
                self.found.setdefault(dotted(inner), self.line)
            self._expect("=")
            self._value(inner, depth + 1)
            if self._peek() == ",":
                self.at += 1
        self.at += 1

    def _names(self) -> list[str]:
        names = []
        while True:
            match = _KEY.match(self.text, self.at)
            if match is None:
                raise _LostError
            names.append(next(group for group in match.groups() if group is not None))
            self.at = match.end()
            if not self.text.startswith(".", self.at):
                return names
            self.at += 1

    def _peek(self) -> str:
        self._blank()
        if self.at >= len(self.text):
            raise _LostError
        return self.text[self.at]

    def _expect(self, mark: str) -> None:
        while self.at < len(self.text) and self.text[self.at] in " \t":
            self.at += 1
        if not self.text.startswith(mark, self.at):
            raise _LostError
        self.at += len(mark)

    def _blank(self) -> int:
        self._skip(_BLANK)
        return self.at

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise _LostError
        self.line += self.text.count("\n", self.at, match.end())
        self.at = match.end()
