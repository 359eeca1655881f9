"""The keys of a job file as a JSON schema (draft 2020-12): what an editor completes and checks while one writes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from guardcheck import units
from guardcheck.job.keys import JOB
from guardcheck.job.read import FORMAT
from guardcheck.job.schema import Key, Table

DIALECT = "https://json-schema.org/draft/2020-12/schema"
Schema = dict[str, Any]


def job_schema() -> Schema:
    """Return the schema of a job file. Units, names in the library and paths are the job reader's to check."""
    return {"$schema": DIALECT, "title": "guardcheck job file", **_table(JOB)}


def _table(table: Table) -> Schema:
    made: Schema = {
        "type": "object",
        "properties": {name: _key(key) for name, key in table.keys.items()},
        "additionalProperties": False,
    }
    if required := [name for name, key in table.keys.items() if key.required]:
        made["required"] = required
    rules: list[Schema] = [{"oneOf": [{"required": [name]} for name in names]} for names in table.one_of]
    rules += [{"not": {"required": list(names)}} for names in table.not_both]
    return {**made, "allOf": rules} if rules else made


def _key(key: Key) -> Schema:
    made = _KINDS[key.kind](key)
    if key.also and made.get("type") != "string":
        made = {"anyOf": [made, {"enum": list(key.also)}]}
    return {"description": _described(key), **made}


def _described(key: Key) -> str:
    wanted = [units.describe(one.unit) for one in key.measures]
    words = [f"'{word}'" for word in key.also]
    said = f"{key.meaning[:1].upper()}{key.meaning[1:]}"
    where = f" ({key.where})" if key.where else ""
    return f"{said}{where}{': ' if wanted or words else ''}{', or '.join([*wanted, *words])}"


def _text(key: Key) -> Schema:
    return {"type": "string", "minLength": 1}


def _choice(key: Key) -> Schema:
    return {"enum": [*key.choices, *key.also]}


def _whole_table(key: Key) -> Schema:
    assert key.table is not None
    return _table(key.table)


def _values(key: Key) -> Schema:
    return {"type": "object", "additionalProperties": {"type": "string", "minLength": 1}}


def _list(inner: Callable[[Key], Schema]) -> Callable[[Key], Schema]:
    return lambda key: {"type": "array", "items": inner(key), "minItems": 1}


_KINDS: Mapping[str, Callable[[Key], Schema]] = {
    **dict.fromkeys(("accuracy", "any", "folder", "path", "text", "value", "word"), _text),
    "choice": _choice,
    "choices": _list(_choice),
    "labels": _list(_text),
    "flag": lambda key: {"type": "boolean"},
    "format": lambda key: {"const": FORMAT},
    "table": _whole_table,
    "tables": lambda key: {"type": "array", "items": _whole_table(key)},
    "value_list": _list(_text),
    "values": _values,
    "words": _list(_text),
}
"""A schema for each kind of value the job's reader knows; a kind without one fails a test."""
