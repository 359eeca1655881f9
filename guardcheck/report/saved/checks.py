"""Checks for one entry of a saved result: the value as its type, or an `InputError` that names the key."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Collection, Mapping
from typing import Any, NoReturn

import numpy as np

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.model import OUTCOMES
from guardcheck.report.arrange.words import clean

Check = Callable[[Any, str], Any]
"""Takes the value found and its dotted key."""


def short(value: Any) -> str:
    """Return a value for a sentence: as JSON, at most 40 characters."""
    try:
        text = json.dumps(value)
    except (TypeError, ValueError):
        text = type(value).__name__
    return text if len(text) <= 40 else f"{text[:37]}..."


def refuse(value: Any, key: str, wanted: str) -> NoReturn:
    """Raise the one sentence that says what was found and what is accepted."""
    raise InputError(f"found {short(value)}; accepted: {wanted}", key=key)


_ABSENT = object()


def take(row: Mapping[str, Any], name: str, check: Check, default: Any = _ABSENT, prefix: str = "") -> Any:
    """Return the checked entry of a table, or its default; a key without a default must be there."""
    key = f"{prefix}.{name}" if prefix else name
    if name in row:
        return check(row[name], key)
    if default is _ABSENT:
        raise InputError("the key is missing from the saved result", key=key)
    return default


def text(value: Any, key: str) -> str:
    """Return text."""
    return value if isinstance(value, str) else refuse(value, key, "text")


def flag(value: Any, key: str) -> bool:
    """Return a flag."""
    return value if isinstance(value, bool) else refuse(value, key, "true or false")


def whole_number(value: Any, key: str) -> int:
    """Return a whole number."""
    return value if isinstance(value, int) and not isinstance(value, bool) else refuse(value, key, "a whole number")


def number(value: Any, key: str) -> float:
    """Return a finite number."""
    try:
        if isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(float(value)):
            return float(value)
    except OverflowError:
        pass
    return refuse(value, key, "a finite number")


def pair(value: Any, key: str) -> tuple[float, float]:
    """Return two finite numbers."""
    if not isinstance(value, list) or len(value) != 2:
        refuse(value, key, "two numbers")
    return number(value[0], key), number(value[1], key)


def band(value: Any, key: str) -> tuple[float | None, float | None]:
    """Return two ends, each a finite number or None."""
    if not isinstance(value, list) or len(value) != 2:
        refuse(value, key, "two numbers or null")
    return or_null(number)(value[0], key), or_null(number)(value[1], key)


def or_null(check: Check) -> Check:
    """Return a check that also accepts null."""
    return lambda value, key: None if value is None else check(value, key)


def outcome(value: Any, key: str) -> str:
    """Return one of the four outcomes."""
    if value in OUTCOMES:
        return str(value)
    hint = nearest(value, OUTCOMES) if isinstance(value, str) else ""
    raise InputError(f"found {short(value)}; accepted: {accepted(OUTCOMES)}{hint}", key=key)


def one_of(words: Collection[str]) -> Check:
    """Return a check that accepts one of some words."""

    def check(value: Any, key: str) -> str:
        if isinstance(value, str) and value in words:
            return value
        hint = nearest(value, words) if isinstance(value, str) else ""
        raise InputError(f"found {short(value)}; accepted: {accepted(words)}{hint}", key=key)

    return check


def list_(value: Any, key: str) -> list[Any]:
    """Return a list."""
    return value if isinstance(value, list) else refuse(value, key, "a list")


def object_(value: Any, key: str) -> Mapping[str, Any]:
    """Return an object."""
    return value if isinstance(value, dict) else refuse(value, key or "the file", "an object")


def texts(value: Any, key: str) -> tuple[str, ...]:
    """Return a list of texts."""
    return tuple(text(item, f"{key}[{n}]") for n, item in enumerate(list_(value, key)))


def array(value: Any, key: str) -> Any:
    """Return an array, shape ``(n,)``; null becomes NaN."""
    items = [math.nan if item is None else number(item, key) for item in list_(value, key)]
    return np.array(items, dtype=float)


def marks(value: Any, key: str) -> dict[str, float]:
    """Return named numbers."""
    return {name: number(item, f"{key}.{clean(name)}") for name, item in object_(value, key).items()}


def plan_row(value: Any, key: str) -> tuple[str, str, str]:
    """Return line, what and description."""
    row = texts(value, key)
    if len(row) != 3:
        refuse(value, key, "three texts")
    return row[0], row[1], row[2]
