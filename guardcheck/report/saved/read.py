"""A saved result read back. The text may be from anybody: every key is checked, and every complaint is one sentence.

The records of `guardcheck.model` say what a file holds; msgspec holds it against their types. What types cannot say,
the words a text may be and how entries fit each other, is checked here.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NoReturn

import msgspec
import numpy as np

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.files import read_bytes
from guardcheck.model import (
    BETTER,
    CLAIMS,
    FORBIDDEN,
    KNOWN_BY,
    MISTAKE,
    NOT_APPLICABLE,
    OUTCOMES,
    SAME,
    USES,
    WORSE,
    Curve,
    Finding,
    Result,
    Schematic,
)
from guardcheck.model.schematic import SYMBOLS
from guardcheck.report.arrange.words import WORST_FIRST, clean
from guardcheck.report.saved.write import DIGEST, FORMAT, result_hash
from guardcheck.verdict.outcome import flattered, overall

FORMER = "guardcheck-result/1"
"""The format before; it has no digest. It is still read and compared, but names no version and carries no hand-over."""

_BOTTOM = 12
"""Deepest nesting accepted; a result needs five."""

MOST_BYTES = 16_000_000
"""Largest saved result that is read."""

MOST_PARTS = 400
"""Most parts or nodes of one drawn circuit; a netlist that is accepted has fewer."""

_PLACE = re.compile(r"(?P<what>.*?)(?: - at `\$\.?(?P<path>.*)`)?", re.DOTALL)
_OWN = re.compile(r"^(findings\[\d+\])\.limit(?=\.(?:low|high|reference)$)")
_EXPECTED = re.compile(r"Expected `(?P<wanted>[^`]+)`(?: of length (?P<length>\d+))?, got .*")
_MISSING = re.compile(r"Object missing required field `(?P<name>\w+)`")
_WORDS: Mapping[str, str] = {
    "str": "text", "bool": "true or false", "int": "a whole number", "float": "a finite number", "array": "a list",
    "object": "an object", "null": "null",
}  # fmt: skip


def read_result(path: Path) -> Result:
    """Return the result saved in a file. Raises `InputError`, with the file in it, for one that cannot be read."""
    data = read_bytes(path, MOST_BYTES, what="a saved result")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise InputError("is not UTF-8 text, so it is no saved result", file=str(path)) from None
    try:
        return from_json(text)
    except InputError as error:
        raise InputError(error.problem, file=str(path), key=error.key, line=error.line) from None


def from_json(text: str) -> Result:
    """Return the result that `to_json` wrote.

    Unknown keys are ignored, as the contract says. Raises `InputError` if the text is not JSON or not this format, if
    a key is missing or of the wrong kind, if the file says better of a unit than its own numbers, and if it was altered
    after it was saved.
    """
    whole = _parsed(text)
    found = whole.get("format")
    if found not in (FORMAT, FORMER):
        problem = f"this is not a saved result: found {short(found)}; accepted: {FORMAT}, {FORMER}"
        raise InputError(problem, key="format")
    result: Result = _converted({**whole, "findings": _with_limits(whole)}, whole)
    for key, value, words in _words_of(result):
        if value not in words:
            problem = f"found {short(value)}; accepted: {accepted(words)}{nearest(value or '', words)}"
            raise InputError(problem, key=key)
    _refuse_misfits(result, whole)
    _refuse_flattery(result)
    if found == FORMAT and whole.get(DIGEST) != result_hash(result):
        raise InputError("does not fit what the file says; the file was altered after it was saved", key=DIGEST)
    return result if found == FORMAT else replace(result, guardcheck="")


def short(value: Any) -> str:
    """Return a value for a sentence: as JSON, at most 40 characters."""
    try:
        text = json.dumps(value)
    except (TypeError, ValueError):
        text = type(value).__name__
    return text if len(text) <= 40 else f"{text[:37]}..."


def _with_limits(whole: Mapping[str, Any]) -> Any:
    """Return the findings as the records have them: each with its limit, and `yield_`, which Python keeps for itself.

    Whatever has another shape is left as it is, for the records to complain of.
    """
    rows, limits = whole.get("findings"), whole.get("limits", [])
    if rows is None and "findings" not in whole:
        raise InputError("the key is missing from the saved result", key="findings")
    if not isinstance(rows, list):
        _refuse(rows, "findings", "a list")
    if not isinstance(limits, list):
        _refuse(limits, "limits", "a list")
    held: dict[str, Any] = {}
    for number, one in enumerate(limits):
        if not isinstance(one, dict) or not isinstance(one.get("findings"), list):
            _refuse(one, f"limits[{number}]", "an object with a list of findings")
        if one.get("known_by") not in KNOWN_BY:
            problem = f"found {short(one.get('known_by'))}; accepted: {accepted(KNOWN_BY)}"
            raise InputError(
                f"{problem}{nearest(str(one.get('known_by')), KNOWN_BY)}", key=f"limits[{number}].known_by"
            )
        held.update((name, one) for name in one["findings"] if isinstance(name, str))
    return [_with_limit(row, held) if isinstance(row, dict) else row for row in rows]


def _with_limit(row: Mapping[str, Any], held: Mapping[str, Any]) -> dict[str, Any]:
    """Return a row as the record has it. The bounds it says itself are those it is held against."""
    changed = {("yield_" if key == "yield" else key): value for key, value in row.items() if key != "yield_"}
    name = row.get("id")
    limit = held.get(name) if isinstance(name, str) else None
    own = {key: row[key] for key in ("low", "high") if row.get(key) is not None}
    if limit is None and any(row.get(key) is not None for key in ("low", "high", "reference")):
        limit = {"quantity": row.get("quantity"), "nominal": None, **_cited(row.get("reference"))}
    changed["limit"] = None if limit is None else {"low": None, "high": None, **limit, **own}
    return changed


def _cited(reference: Any) -> dict[str, Any]:
    """Return what `Limit.cited` was made of: the reference, and how it is known."""
    if reference is None or not isinstance(reference, str):
        return {"reference": "" if reference is None else reference, "known_by": "read"}
    for known_by, words in KNOWN_BY.items():
        if reference.endswith(f" ({words})"):
            return {"reference": reference.removesuffix(f" ({words})"), "known_by": known_by}
    return {"reference": reference, "known_by": "read"}


def _converted(value: Any, whole: Mapping[str, Any]) -> Result:
    try:
        return msgspec.convert(value, Result, dec_hook=_array)
    except msgspec.ValidationError as problem:
        _complain(str(problem), whole)
    except (RecursionError, OverflowError):
        raise InputError("this is not a saved result: a number or a nesting beyond all bounds") from None


def _array(_type: Any, value: Any) -> Any:
    """Return an array, shape ``(n,)``; null becomes NaN."""
    if not isinstance(value, list) or not all(item is None or _is_number(item) for item in value):
        raise ValueError("Expected `a list of finite numbers`, got another")
    return np.array([math.nan if item is None else float(item) for item in value], dtype=float)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= 1.7e308


def _complain(words: str, whole: Mapping[str, Any]) -> NoReturn:
    """Raise what msgspec says as a sentence of ours: the key, what was found there, and what is accepted."""
    match = _PLACE.fullmatch(words)
    assert match is not None
    path = (match["path"] or "").replace("yield_", "yield").strip(".")
    path = _OWN.sub(r"\1", path)
    if missing := _MISSING.fullmatch(match["what"]):
        key = f"{path}.{missing['name']}".strip(".")
        raise InputError("the key is missing from the saved result", key=key.replace("yield_", "yield"))
    expected = _EXPECTED.fullmatch(match["what"])
    if expected is None:
        raise InputError(clean(match["what"])[:200], key=path or "the file")
    wanted = " or ".join(_WORDS.get(word, word) for word in expected["wanted"].split(" | "))
    if expected["length"]:
        wanted = f"{wanted} of {expected['length']}"
    if "..." in path:  # one entry of a table that has names of its own
        raise InputError(f"an entry is wrong; accepted: {wanted}", key=path.partition("[...]")[0])
    _refuse(_at(whole, path), path, wanted)


def _at(whole: Any, path: str) -> Any:
    """Return what stands at a path such as ``findings[3].value``; where that leads nowhere, None."""
    for name, index in re.findall(r"([^.\[\]]+)|\[(\d+|\.\.\.)\]", path):
        try:
            whole = whole[name] if name else whole[int(index)]
        except (LookupError, TypeError, ValueError):
            return None
    return whole


def _refuse(value: Any, key: str, wanted: str) -> NoReturn:
    raise InputError(f"found {short(value)}; accepted: {wanted}", key=clean(key))


def _words_of(result: Result) -> Iterator[tuple[str, str | None, Collection[Any]]]:
    """Yield every text that may only be one of some words, with its key."""
    yield "outcome", result.outcome, OUTCOMES
    for number, one in enumerate(result.findings):
        key = f"findings[{number}]"
        yield f"{key}.outcome", one.outcome, OUTCOMES
        yield f"{key}.kind", one.kind, ("", *CLAIMS)
        if one.use is not None:
            yield f"{key}.use", one.use, USES
        if one.against_original is not None:
            yield f"{key}.against_original", one.against_original, (BETTER, SAME, WORSE)
        if one.limit is not None:
            yield f"{key}.limit.kind", one.limit.kind, ("", *CLAIMS)
    for number, condition in enumerate(result.conditions):
        yield f"conditions[{number}].kind", condition.kind, (MISTAKE, FORBIDDEN)
    for number, picture in enumerate(result.schematics):
        for place, part in enumerate(picture.parts):
            yield f"schematics[{number}].parts[{place}].symbol", part.symbol, SYMBOLS


def _refuse_misfits(result: Result, whole: Mapping[str, Any]) -> None:
    """Refuse entries that do not fit each other."""
    for number, (row, one) in enumerate(zip(whole["findings"], result.findings, strict=True)):
        _named(row, one, f"findings[{number}]")
    for number, curve in enumerate(result.curves):
        _curve(curve, f"curves[{number}]")
    for number, picture in enumerate(result.schematics):
        _schematic(picture, f"schematics[{number}]")


def _named(row: Mapping[str, Any], one: Finding, key: str) -> None:
    if "id" not in row:
        raise InputError("the key is missing from the saved result", key=f"{key}.id")
    if row["id"] != one.id:
        problem = f"found {short(row['id'])}, but the entry describes {short(one.id)}"
        raise InputError(problem, key=f"{key}.id")
    for name, held in (("low", one.low), ("high", one.high), ("reference", one.reference)):
        said = row.get(name, held)
        if said != held:
            problem = f"found {short(said)}, but its limit says {short(held)}; the file was altered"
            raise InputError(problem, key=f"{key}.{name}")


def _curve(curve: Curve, key: str) -> None:
    if len(curve.y) not in (0, len(curve.x)):
        raise InputError(f"x has {len(curve.x)} numbers but y has {len(curve.y)}", key=key)


def _schematic(picture: Schematic, key: str) -> None:
    states = len(picture.states)
    entries: Sequence[tuple[str, Sequence[Any]]] = (("path", picture.path), ("parts", picture.parts))
    for name, found in entries:
        if len(found) > MOST_PARTS:
            raise InputError(f"found {len(found)} entries; accepted: at most {MOST_PARTS}", key=f"{key}.{name}")
    numbers = [(f"{key}.path[{n}].volts", one.volts) for n, one in enumerate(picture.path)]
    numbers += [(f"{key}.parts[{n}].currents", one.currents) for n, one in enumerate(picture.parts)]
    for place, values in numbers:
        if len(values) not in (0, states):
            problem = f"found {len(values)} numbers; accepted: {states}, one for each signal state"
            raise InputError(problem, key=place)


def _refuse_flattery(result: Result) -> None:
    """Refuse a file that says better of a unit than its own numbers: somebody edited one of the two."""
    if not result.findings:
        raise InputError("the list is empty; nothing was examined, so nothing is shown", key="findings")
    for number, one in enumerate(result.findings):
        if why := flattered(one):
            problem = f"{clean(one.id)} cannot conform {why}; the file was altered"
            raise InputError(problem, key=f"findings[{number}].outcome")
    lowest = overall(result.findings)
    if result.outcome != NOT_APPLICABLE and WORST_FIRST.index(lowest) < WORST_FIRST.index(result.outcome):
        said = f"a needed finding is {lowest}" if any(one.needed for one in result.findings) else "no finding is needed"
        raise InputError(f"the result calls itself {result.outcome}, but {said}; the file was altered", key="outcome")


def _parsed(text: str) -> Mapping[str, Any]:
    try:
        whole = json.loads(text, parse_constant=_refuse_constant, parse_float=_finite, object_pairs_hook=_once)
    except json.JSONDecodeError as problem:
        raise InputError(f"this is not JSON: {problem.msg} in column {problem.colno}", line=problem.lineno) from None
    except RecursionError:
        raise InputError("this is not a saved result: its brackets are nested too deeply") from None
    except InputError:
        raise
    except ValueError as problem:
        raise InputError(f"this is not a saved result: {problem}") from None
    if _depth(whole) > _BOTTOM:
        raise InputError("this is not a saved result: its brackets are nested too deeply")
    return whole if isinstance(whole, dict) else _refuse(whole, "the file", "an object")


def _depth(value: Any) -> int:
    level, depth = [value], 0
    while level and depth <= _BOTTOM:
        inner: list[Any] = []
        for item in level:
            if isinstance(item, dict):
                inner.extend(item.values())
            elif isinstance(item, list):
                inner.extend(item)
        level, depth = inner, depth + 1
    return depth


def _finite(word: str) -> float:
    number = float(word)
    if not math.isfinite(number):
        _refuse_constant(word[:20])
    return number


def _refuse_constant(word: str) -> NoReturn:
    raise InputError(f"this is not a saved result: {word} is no finite number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise InputError("the key stands twice in one object; which one counts is unknown", key=clean(twice[:60]))
    return found
