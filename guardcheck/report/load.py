"""A saved result read back. The text may be from anybody: every key is checked, and every complaint is one sentence."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from typing import Any, NoReturn

import numpy as np

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.model import (
    KNOWN_BY,
    OUTCOMES,
    CircuitUsed,
    Curve,
    EngineInfo,
    Finding,
    Limit,
    Result,
)
from guardcheck.report.save import FORMAT
from guardcheck.report.words import WORST_FIRST, worst

Check = Callable[[Any, str], Any]
_BOTTOM = 12
"""Deepest nesting accepted; a result needs five."""


def from_json(text: str) -> Result:
    """Return the result that `to_json` wrote.

    Unknown keys are ignored, as the contract says. `reference`, `low` and `high` come back filled in.

    Raises
    ------
    InputError : the text is not JSON, not this format, a key is missing or of the wrong kind, or the overall outcome is
        better than a needed finding
    """
    whole = _parsed(text)
    found = whole.get("format")
    if found != FORMAT:
        raise InputError(f"this is not a saved result: found {_short(found)}; accepted: {FORMAT}", key="format")
    limits = _limits(whole)
    findings = tuple(_finding(row, key, limits) for row, key in _records(whole, "findings", required=True))
    result = Result(
        command=_take(whole, "command", _text),
        unit=_take(whole, "unit", _text),
        unit_kind=_take(whole, "unit_kind", _text, ""),
        outcome=_take(whole, "outcome", _outcome),
        seed=_take(whole, "seed", _whole_number),
        n_samples=_take(whole, "n_samples", _whole_number, 0),
        engine=_engine(whole.get("engine")),
        findings=findings,
        circuits=tuple(_circuit(row, key) for row, key in _records(whole, "circuits")),
        curves=tuple(_curve(row, key) for row, key in _records(whole, "curves")),
        warnings=_take(whole, "warnings", _texts, ()),
        not_examined=_take(whole, "not_examined", _texts, ()),
        cautions=_take(whole, "cautions", _texts, ()),
        plan=tuple(_plan_row(row, f"plan[{n}]") for n, row in enumerate(_list(whole.get("plan", []), "plan"))),
        job_file=_take(whole, "job_file", _text, ""),
        job_sha256=_take(whole, "job_sha256", _text, ""),
        extra=_object(whole.get("extra", {}), "extra"),
    )
    _refuse_flattery(result)
    return result


def _refuse_flattery(result: Result) -> None:
    """Refuse a file whose summary is better than its findings: somebody edited one of the two."""
    lowest = worst(finding.outcome for finding in result.findings if finding.needed)
    if WORST_FIRST.index(lowest) < WORST_FIRST.index(result.outcome):
        raise InputError(
            f"the result calls itself {result.outcome}, but a needed finding is {lowest}; the file was altered",
            key="outcome",
        )


def _parsed(text: str) -> Mapping[str, Any]:
    try:
        whole = json.loads(text, parse_constant=_refuse_constant, object_pairs_hook=_once)
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
    return _object(whole, "")


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


def _refuse_constant(word: str) -> NoReturn:
    raise InputError(f"this is not a saved result: {word} is no finite number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise InputError("the key stands twice in one object; which one counts is unknown", key=twice[:60])
    return found


def _short(value: Any) -> str:
    try:
        text = json.dumps(value)
    except (TypeError, ValueError):
        text = type(value).__name__
    return text if len(text) <= 40 else f"{text[:37]}..."


def _refuse(value: Any, key: str, wanted: str) -> NoReturn:
    raise InputError(f"found {_short(value)}; accepted: {wanted}", key=key)


_ABSENT = object()


def _take(row: Mapping[str, Any], name: str, check: Check, default: Any = _ABSENT, prefix: str = "") -> Any:
    key = f"{prefix}.{name}" if prefix else name
    if name in row:
        return check(row[name], key)
    if default is _ABSENT:
        raise InputError("the key is missing from the saved result", key=key)
    return default


def _text(value: Any, key: str) -> str:
    return value if isinstance(value, str) else _refuse(value, key, "text")


def _flag(value: Any, key: str) -> bool:
    return value if isinstance(value, bool) else _refuse(value, key, "true or false")


def _whole_number(value: Any, key: str) -> int:
    return value if isinstance(value, int) and not isinstance(value, bool) else _refuse(value, key, "a whole number")


def _number(value: Any, key: str) -> float:
    try:
        if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(float(value)):
            return float(value)
    except OverflowError:
        pass
    return _refuse(value, key, "a finite number")


def _pair(value: Any, key: str) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        _refuse(value, key, "two numbers")
    return _number(value[0], key), _number(value[1], key)


def _band(value: Any, key: str) -> tuple[float | None, float | None]:
    if not isinstance(value, list) or len(value) != 2:
        _refuse(value, key, "two numbers or null")
    return _or_null(_number)(value[0], key), _or_null(_number)(value[1], key)


def _or_null(check: Check) -> Check:
    return lambda value, key: None if value is None else check(value, key)


def _outcome(value: Any, key: str) -> str:
    if value in OUTCOMES:
        return str(value)
    hint = nearest(value, OUTCOMES) if isinstance(value, str) else ""
    raise InputError(f"found {_short(value)}; accepted: {accepted(OUTCOMES)}{hint}", key=key)


def _list(value: Any, key: str) -> list[Any]:
    return value if isinstance(value, list) else _refuse(value, key, "a list")


def _object(value: Any, key: str) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else _refuse(value, key or "the file", "an object")


def _texts(value: Any, key: str) -> tuple[str, ...]:
    return tuple(_text(item, f"{key}[{n}]") for n, item in enumerate(_list(value, key)))


def _array(value: Any, key: str) -> Any:
    items = [math.nan if item is None else _number(item, key) for item in _list(value, key)]
    return np.array(items, dtype=float)


def _marks(value: Any, key: str) -> dict[str, float]:
    return {name: _number(item, f"{key}.{name}") for name, item in _object(value, key).items()}


def _plan_row(value: Any, key: str) -> tuple[str, str, str]:
    row = _texts(value, key)
    if len(row) != 3:
        _refuse(value, key, "three texts")
    return row[0], row[1], row[2]


def _records(whole: Mapping[str, Any], name: str, required: bool = False) -> list[tuple[Mapping[str, Any], str]]:
    if required and name not in whole:
        raise InputError("the key is missing from the saved result", key=name)
    rows = _list(whole.get(name, []), name)
    return [(_object(row, f"{name}[{n}]"), f"{name}[{n}]") for n, row in enumerate(rows)]


_FINDING: Mapping[str, Check] = {
    "rule": _text,
    "quantity": _text,
    "line": _or_null(_text),
    "guarded": _or_null(_flag),
    "value": _or_null(_number),
    "unit": _text,
    "outcome": _outcome,
    "why": _text,
    "needed": _flag,
    "low": _or_null(_number),
    "high": _or_null(_number),
    "spread": _or_null(_pair),
    "interval": _or_null(_pair),
    "yield": _or_null(_number),
    "uncertainty": _or_null(_number),
    "origin": _text,
    "planned": _or_null(_number),
    "estimate": _flag,
    "remedy": _or_null(_text),
    "reference": _or_null(_text),
    "event": _or_null(_text),
    "severity": _or_null(_text),
    "where": _or_null(_text),
}


def _finding(row: Mapping[str, Any], key: str, limits: Mapping[str, Limit]) -> Finding:
    values = {name: _take(row, name, check, prefix=key) for name, check in _FINDING.items()}
    values["yield_"] = values.pop("yield")
    finding = Finding(**values)
    identity = _take(row, "id", _text, prefix=key)
    if identity != finding.id:
        raise InputError(f"found {_short(identity)}, but the entry describes {_short(finding.id)}", key=f"{key}.id")
    limit = limits.get(identity)
    return finding if limit is None else Finding(**values, limit=limit)


def _limits(whole: Mapping[str, Any]) -> dict[str, Limit]:
    found: dict[str, Limit] = {}
    for row, key in _records(whole, "limits"):
        known_by = _take(row, "known_by", _text, prefix=key)
        if known_by not in KNOWN_BY:
            hint = nearest(known_by, KNOWN_BY)
            raise InputError(
                f"found {_short(known_by)}; accepted: {accepted(KNOWN_BY)}{hint}", key=f"{key}.known_by"
            )
        limit = Limit(
            quantity=_take(row, "quantity", _text, prefix=key),
            low=_take(row, "low", _or_null(_number), prefix=key),
            high=_take(row, "high", _or_null(_number), prefix=key),
            nominal=_take(row, "nominal", _or_null(_number), prefix=key),
            reference=_take(row, "reference", _text, prefix=key),
            known_by=known_by,
            clause=_take(row, "clause", _or_null(_text), None, key),
            note=_take(row, "note", _or_null(_text), None, key),
        )
        found.update(dict.fromkeys(_take(row, "findings", _texts, prefix=key), limit))
    return found


def _engine(value: Any) -> EngineInfo | None:
    if value is None:
        return None
    row = _object(value, "engine")
    return EngineInfo(_take(row, "name", _text, prefix="engine"), _take(row, "version", _text, prefix="engine"))


def _circuit(row: Mapping[str, Any], key: str) -> CircuitUsed:
    return CircuitUsed(
        name=_take(row, "name", _text, prefix=key),
        kind=_take(row, "kind", _text, "", key),
        file=_take(row, "file", _text, prefix=key),
        sha256=_take(row, "sha256", _text, prefix=key),
    )


def _curve(row: Mapping[str, Any], key: str) -> Curve:
    curve = Curve(
        line=_take(row, "line", _text, prefix=key),
        guarded=_take(row, "guarded", _or_null(_flag), prefix=key),
        picture=_take(row, "picture", _text, prefix=key),
        label=_take(row, "label", _text, prefix=key),
        x=_take(row, "x", _array, prefix=key),
        y=_take(row, "y", _array, prefix=key),
        x_unit=_take(row, "x_unit", _text, prefix=key),
        y_unit=_take(row, "y_unit", _text, prefix=key),
        band=_take(row, "band", _or_null(_band), None, key),
        band_label=_take(row, "band_label", _text, "", key),
        marks=_take(row, "marks", _marks, {}, key),
    )
    if len(curve.y) not in (0, len(curve.x)):
        raise InputError(f"x has {len(curve.x)} numbers but y has {len(curve.y)}", key=key)
    return curve
