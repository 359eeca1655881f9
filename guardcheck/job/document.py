"""From a stranger's bytes to a TOML document that is small, shallow and free of control characters.

Everything here refuses; nothing here knows what a job is. `MAX_*` are far above any honest job file.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from guardcheck import files
from guardcheck.errors import JobError
from guardcheck.job.where import dotted, line_numbers, nearest_line
from guardcheck.units import shown

MAX_BYTES = 256_000
MAX_LINE = 4_000
MAX_DEPTH = 6
MAX_STRING = 500
MAX_KEYS = 64
_PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_TUPLE = re.compile(r"\('[^()]*'\)|\('[^()]*',\)")
_PLAINER = {"Illegal character '\\n'": "a text in quotes does not end on its line"}
_UNQUOTED = re.compile(r"=\s*(?!true\b|false\b)([+-]?[0-9.]*\s*[^\s\"'\[\]{}#0-9.=][^\"'#,}\]=]*)")


def read_bytes(path: Path) -> bytes:
    """Return the bytes of a job file; refuses what is no regular file (it could block) or larger than `MAX_BYTES`.

    Raises
    ------
    JobError
        the file is missing, unreadable, no regular file, or too large

    """
    name = shown(str(path), 200)
    try:
        return files.read_bytes(path, MAX_BYTES, what="a job file", error=JobError, shown_as=name)
    except JobError as problem:
        hint = "; `guardcheck new` writes one to fill in" if problem.problem.endswith("no such file") else ""
        raise JobError(f"{problem.problem}{hint}", file=name) from None


def decode(data: bytes, *, file: str) -> str:
    """Return the text of a job file, which must be UTF-8 and at most `MAX_BYTES` long."""
    if len(data) > MAX_BYTES:
        raise JobError(f"has more than {MAX_BYTES} bytes, which no job file needs", file=file)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobError("is written in UTF-16; save it as UTF-8", file=file)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problem = f"byte 0x{data[error.start]:02x} is not UTF-8; save the file as UTF-8"
        raise JobError(problem, file=file, line=line) from None


def load(text: str, *, file: str) -> tuple[dict[str, Any], dict[str, int]]:
    """Return a TOML document with the line number of each key.

    Raises
    ------
    JobError
        bad TOML (with line and column), nesting beyond `MAX_DEPTH`, long or unprintable text

    """
    if len(text) > MAX_BYTES:
        raise JobError(f"has {len(text)} characters; a job file has at most {MAX_BYTES}", file=file)
    rows = text.split("\n")
    for number, row in enumerate(rows, 1):
        if len(row) > MAX_LINE:
            raise JobError(
                f"this line has {len(row)} characters; at most {MAX_LINE} are accepted", file=file, line=number
            )
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _bad_toml(str(error), rows, file) from None
    except RecursionError:
        raise JobError(f"is nested too deeply; at most {MAX_DEPTH} levels are accepted", file=file) from None
    except ValueError:
        raise JobError("holds a number that cannot be read", file=file) from None
    _depth(document, file)
    lines = line_numbers(text)
    _clean(document, (), lines, file)
    return document, lines


def _bad_toml(message: str, rows: list[str], file: str) -> JobError:
    match = _PLACE.search(message)
    problem = shown(_TUPLE.sub(_as_header, _PLACE.sub("", message)), 200)
    problem = _PLAINER.get(problem, problem)
    problem = problem[:1].lower() + problem[1:]
    number = int(match[1]) if match and match[1] else len(rows)
    column = f" at column {match[2]}" if match and match[2] else " at the end of the file"
    row = rows[number - 1] if number <= len(rows) else ""
    unquoted = _UNQUOTED.search(row)
    hint = f'; text and values with a unit stand in quotes: "{shown(unquoted[1].strip())}"' if unquoted else ""
    return JobError(f"not valid TOML{column}: {problem}{hint}", file=file, line=number)


def _as_header(match: re.Match[str]) -> str:
    names = re.findall(r"'([^']*)'", match[0])
    return f"[{'.'.join(names)}]"


def _depth(document: Mapping[str, Any], file: str) -> None:
    """Refuse deep nesting; walks level by level, since a dotted key may be thousands of levels deep."""
    level: list[Any] = [document]
    for _ in range(MAX_DEPTH + 1):
        level = [
            inner
            for outer in level
            for inner in (outer.values() if isinstance(outer, dict) else outer)
            if isinstance(inner, dict | list)
        ]
    if level:
        raise JobError(f"is nested too deeply; at most {MAX_DEPTH} levels are accepted", file=file)


def _clean(node: Any, path: tuple[str | int, ...], lines: dict[str, int], file: str) -> None:
    if isinstance(node, dict):
        if len(node) > MAX_KEYS:
            _refuse(f"{len(node)} keys in one table; at most {MAX_KEYS} are accepted", path, lines, file)
        for name, inner in node.items():
            _clean_text(name, path, lines, file)
            _clean(inner, (*path, name), lines, file)
    elif isinstance(node, list):
        if len(node) > MAX_KEYS:
            _refuse(f"a list of {len(node)} entries; at most {MAX_KEYS} are accepted", path, lines, file)
        for index, inner in enumerate(node):
            _clean(inner, (*path, index), lines, file)
    elif isinstance(node, str):
        _clean_text(node, path, lines, file)


def _clean_text(text: str, path: tuple[str | int, ...], lines: dict[str, int], file: str) -> None:
    if len(text) > MAX_STRING:
        _refuse(f"a text of {len(text)} characters; at most {MAX_STRING} are accepted", path, lines, file)
    for character in text:
        if unicodedata.category(character) in ("Cc", "Cf", "Zl", "Zp", "Co", "Cs"):
            code = f"U+{ord(character):04X}"
            _refuse(f"the text holds {code}, which is not a printable character; take it out", path, lines, file)


def _refuse(problem: str, path: tuple[str | int, ...], lines: dict[str, int], file: str) -> None:
    key = dotted(path)
    raise JobError(problem, file=file, key=key or None, line=nearest_line(lines, key))
