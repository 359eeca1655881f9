"""A saved result read back. The text may be from anybody: every key is checked, and every complaint is one sentence."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.files import read_bytes
from guardcheck.model import (
    BETTER,
    CLAIMS,
    FORBIDDEN,
    KNOWN_BY,
    MISTAKE,
    NOT_APPLICABLE,
    SAME,
    USES,
    WORSE,
    CircuitUsed,
    Condition,
    Curve,
    EngineInfo,
    Finding,
    Limit,
    Question,
    Result,
)
from guardcheck.report.arrange.words import WORST_FIRST, clean
from guardcheck.report.saved import checks
from guardcheck.report.saved.schematic import schematic
from guardcheck.report.saved.write import DIGEST, FORMAT, result_hash
from guardcheck.verdict.outcome import flattered, overall

FORMER = "guardcheck-result/1"
"""The format before; it has no digest and is still read."""

_BOTTOM = 12
"""Deepest nesting accepted; a result needs five."""

MOST_BYTES = 16_000_000
"""Largest saved result that is read."""


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

    Unknown keys are ignored, as the contract says. `reference`, `low` and `high` come back filled in. Raises
    `InputError` if the text is not JSON or not this format, if a key is missing or of the wrong kind, and if the
    overall outcome is better than a needed finding.
    """
    whole = _parsed(text)
    found = whole.get("format")
    if found not in (FORMAT, FORMER):
        problem = f"this is not a saved result: found {checks.short(found)}; accepted: {FORMAT}, {FORMER}"
        raise InputError(problem, key="format")
    limits = _limits(whole)
    findings = tuple(_finding(row, key, limits) for row, key in _records(whole, "findings", required=True))
    result = Result(
        command=checks.take(whole, "command", checks.text),
        unit=checks.take(whole, "unit", checks.text),
        unit_kind=checks.take(whole, "unit_kind", checks.text, ""),
        outcome=checks.take(whole, "outcome", checks.outcome),
        seed=checks.take(whole, "seed", checks.whole_number),
        n_samples=checks.take(whole, "n_samples", checks.whole_number, 0),
        engine=_engine(whole.get("engine")),
        findings=findings,
        circuits=tuple(_circuit(row, key) for row, key in _records(whole, "circuits")),
        curves=tuple(_curve(row, key) for row, key in _records(whole, "curves")),
        schematics=tuple(schematic(row, key) for row, key in _records(whole, "schematics")),
        warnings=checks.take(whole, "warnings", checks.texts, ()),
        not_examined=checks.take(whole, "not_examined", checks.texts, ()),
        cautions=checks.take(whole, "cautions", checks.texts, ()),
        plan=tuple(
            checks.plan_row(row, f"plan[{n}]") for n, row in enumerate(checks.list_(whole.get("plan", []), "plan"))
        ),
        conditions=tuple(_condition(row, key) for row, key in _records(whole, "conditions")),
        asks=tuple(_question(row, key) for row, key in _records(whole, "asks")),
        job_file=checks.take(whole, "job_file", checks.text, ""),
        job_sha256=checks.take(whole, "job_sha256", checks.text, ""),
        guardcheck=checks.take(whole, "guardcheck", checks.text, ""),
        extra=checks.object_(whole.get("extra", {}), "extra"),
    )
    _refuse_flattery(result)
    if found == FORMAT and checks.take(whole, DIGEST, checks.text) != result_hash(result):
        raise InputError("does not fit what the file says; the file was altered after it was saved", key=DIGEST)
    return result


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
    return checks.object_(whole, "")


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
        raise InputError("the key stands twice in one object; which one counts is unknown", key=clean(twice[:60]))
    return found


def _records(whole: Mapping[str, Any], name: str, required: bool = False) -> list[tuple[Mapping[str, Any], str]]:
    if required and name not in whole:
        raise InputError("the key is missing from the saved result", key=name)
    rows = checks.list_(whole.get(name, []), name)
    return [(checks.object_(row, f"{name}[{n}]"), f"{name}[{n}]") for n, row in enumerate(rows)]


_FINDING: Mapping[str, checks.Check] = {
    "rule": checks.text,
    "quantity": checks.text,
    "line": checks.or_null(checks.text),
    "guarded": checks.or_null(checks.flag),
    "value": checks.or_null(checks.number),
    "unit": checks.text,
    "outcome": checks.outcome,
    "why": checks.text,
    "needed": checks.flag,
    "low": checks.or_null(checks.number),
    "high": checks.or_null(checks.number),
    "spread": checks.or_null(checks.pair),
    "interval": checks.or_null(checks.pair),
    "yield": checks.or_null(checks.number),
    "uncertainty": checks.or_null(checks.number),
    "origin": checks.text,
    "planned": checks.or_null(checks.number),
    "estimate": checks.flag,
    "remedy": checks.or_null(checks.text),
    "reference": checks.or_null(checks.text),
    "event": checks.or_null(checks.text),
    "severity": checks.or_null(checks.text),
    "where": checks.or_null(checks.text),
}

_ADDED: Mapping[str, tuple[checks.Check, Any]] = {
    "kind": (checks.one_of(("", *CLAIMS)), ""),
    "use": (checks.or_null(checks.one_of(USES)), None),
    "condition": (checks.or_null(checks.text), None),
    "against_original": (checks.or_null(checks.one_of((BETTER, SAME, WORSE))), None),
    "original": (checks.or_null(checks.number), None),
}
"""Keys of the second edition of the format, with what they are in a result of the first."""


def _condition(row: Mapping[str, Any], key: str) -> Condition:
    return Condition(
        event=checks.take(row, "event", checks.text, prefix=key),
        text=checks.take(row, "text", checks.text, prefix=key),
        lines=checks.take(row, "lines", checks.texts, prefix=key),
        kind=checks.take(row, "kind", checks.one_of((MISTAKE, FORBIDDEN)), prefix=key),
    )


def _question(row: Mapping[str, Any], key: str) -> Question:
    return Question(
        key=checks.take(row, "key", checks.text, prefix=key),
        question=checks.take(row, "question", checks.text, prefix=key),
        where=checks.take(row, "where", checks.text, prefix=key),
        decides=checks.take(row, "decides", checks.whole_number, prefix=key),
        findings=checks.take(row, "findings", checks.texts, prefix=key),
        safe=checks.take(row, "safe", checks.flag, prefix=key),
    )


def _finding(row: Mapping[str, Any], key: str, limits: Mapping[str, Limit]) -> Finding:
    values = {name: checks.take(row, name, check, prefix=key) for name, check in _FINDING.items()}
    values |= {name: checks.take(row, name, check, left_out, key) for name, (check, left_out) in _ADDED.items()}
    values["yield_"] = values.pop("yield")
    values["codes"] = checks.take(row, "codes", checks.texts, (), key)
    finding = Finding(**values)
    identity = checks.take(row, "id", checks.text, prefix=key)
    if identity != finding.id:
        raise InputError(
            f"found {checks.short(identity)}, but the entry describes {checks.short(finding.id)}", key=f"{key}.id"
        )
    limit = limits.get(identity)
    return finding if limit is None else Finding(**values, limit=limit)


def _limits(whole: Mapping[str, Any]) -> dict[str, Limit]:
    found: dict[str, Limit] = {}
    for row, key in _records(whole, "limits"):
        known_by = checks.take(row, "known_by", checks.text, prefix=key)
        if known_by not in KNOWN_BY:
            hint = nearest(known_by, KNOWN_BY)
            raise InputError(
                f"found {checks.short(known_by)}; accepted: {accepted(KNOWN_BY)}{hint}", key=f"{key}.known_by"
            )
        limit = Limit(
            quantity=checks.take(row, "quantity", checks.text, prefix=key),
            low=checks.take(row, "low", checks.or_null(checks.number), prefix=key),
            high=checks.take(row, "high", checks.or_null(checks.number), prefix=key),
            nominal=checks.take(row, "nominal", checks.or_null(checks.number), prefix=key),
            reference=checks.take(row, "reference", checks.text, prefix=key),
            known_by=known_by,
            clause=checks.take(row, "clause", checks.or_null(checks.text), None, key),
            note=checks.take(row, "note", checks.or_null(checks.text), None, key),
            kind=checks.take(row, "kind", checks.one_of(("", *CLAIMS)), "", key),
        )
        found.update(dict.fromkeys(checks.take(row, "findings", checks.texts, prefix=key), limit))
    return found


def _engine(value: Any) -> EngineInfo | None:
    if value is None:
        return None
    row = checks.object_(value, "engine")
    return EngineInfo(
        checks.take(row, "name", checks.text, prefix="engine"),
        checks.take(row, "version", checks.text, prefix="engine"),
    )


def _circuit(row: Mapping[str, Any], key: str) -> CircuitUsed:
    return CircuitUsed(
        name=checks.take(row, "name", checks.text, prefix=key),
        kind=checks.take(row, "kind", checks.text, "", key),
        file=checks.take(row, "file", checks.text, prefix=key),
        sha256=checks.take(row, "sha256", checks.text, prefix=key),
    )


def _curve(row: Mapping[str, Any], key: str) -> Curve:
    curve = Curve(
        line=checks.take(row, "line", checks.text, prefix=key),
        guarded=checks.take(row, "guarded", checks.or_null(checks.flag), prefix=key),
        picture=checks.take(row, "picture", checks.text, prefix=key),
        label=checks.take(row, "label", checks.text, prefix=key),
        x=checks.take(row, "x", checks.array, prefix=key),
        y=checks.take(row, "y", checks.array, prefix=key),
        x_unit=checks.take(row, "x_unit", checks.text, prefix=key),
        y_unit=checks.take(row, "y_unit", checks.text, prefix=key),
        band=checks.take(row, "band", checks.or_null(checks.band), None, key),
        band_label=checks.take(row, "band_label", checks.text, "", key),
        marks=checks.take(row, "marks", checks.marks, {}, key),
    )
    if len(curve.y) not in (0, len(curve.x)):
        raise InputError(f"x has {len(curve.x)} numbers but y has {len(curve.y)}", key=key)
    return curve
