"""The keys of a readings file as a JSON schema (draft 2020-12), from the same tables the reader goes by."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from guardcheck.measure.readings.instruments import presumed
from guardcheck.measure.readings.reader import CAPTURE_KEYS, KEYS
from guardcheck.measure.readings.records import (
    COUPLINGS,
    INSTRUMENTS,
    LOADS,
    PICTURES,
    PLACES,
    PROBES,
    READABLE,
    SCALES_AT,
)

_WORDS: Mapping[str, Iterable[str]] = {
    "quantity": READABLE,
    "instrument": INSTRUMENTS,
    "probe": PROBES,
    "scale_at": SCALES_AT,
    "place": PLACES,
    "load": LOADS,
    "picture": PICTURES,
    "coupling": COUPLINGS,
}
_FLAGS = ("steady",)
_REQUIRED = ("line", "quantity", "value")


def readings_schema() -> dict[str, Any]:
    """Return the schema of a readings file. Units and accuracy statements are the reader's to check."""
    instruments = {
        kind: _table({**dict.fromkeys(presumed()[kind], ""), **({"coupling": ""} if kind == "scope" else {})}, ())
        for kind in INSTRUMENTS
    }
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "guardcheck readings file",
        "type": "object",
        "properties": {
            "format": {"const": 1},
            "reading": {"type": "array", "items": _table(KEYS, _REQUIRED)},
            "capture": {"type": "array", "items": _table(CAPTURE_KEYS, ("line",))},
            **instruments,
        },
        "anyOf": [{"required": ["reading"]}, {"required": ["capture"]}],
        "additionalProperties": False,
    }


def _table(keys: Mapping[str, str], required: Iterable[str]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": {name: _key(name, meaning) for name, meaning in keys.items()},
        "required": list(required),
        "additionalProperties": False,
    }


def _key(name: str, meaning: str) -> dict[str, Any]:
    if name in _FLAGS:
        made: dict[str, Any] = {"type": "boolean"}
    elif name in _WORDS:
        made = {"enum": [*_WORDS[name]]}
    else:
        made = {"type": "string"}
    return {"description": f"{meaning[:1].upper()}{meaning[1:]}", **made} if meaning else made
