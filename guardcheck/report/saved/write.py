"""A result as JSON by the contract: fixed keys, findings sorted by id, settled numbers, ASCII, one record per line.

The file says what a reader of the report sees, and nothing of the machine it was made on: numbers have the digits that
are judged and shown, files stand by their name in the library. Its `digest` is the SHA-256 of that content, without
the drawn curves and the simulator's version, and is also the number printed on the hand-over sheet.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, fields
from typing import Any

import numpy as np

from guardcheck.files import digest_of
from guardcheck.model import QUANTITIES, Curve, Finding, Limit, Result, Schematic
from guardcheck.report.pictures.curves import tidy
from guardcheck.units import settled
from guardcheck.verdict.handover import Evidence

FORMAT = "guardcheck-result/2"
DIGEST = "digest"

_NOT_CONTENT = ("curves", "schematics", "engine", DIGEST)
"""What a file holds beside what was found: pictures are drawn from it, and whose simulator it was proves nothing."""

_KEYS = (
    "id", "needed", "where", "rule", "quantity", "line", "guarded", "event", "severity", "value", "unit", "low", "high",
    "spread", "interval", "yield", "uncertainty", "outcome", "origin", "planned", "estimate", "reference", "why",
    "remedy",
)  # fmt: skip
"""The order of a finding's keys; a key that is not named here follows them."""

_APART = {"limit", "yield_", "bearing"}
"""Fields of a finding that are written another way: limits stand once for all findings held against them, and what a
margin rests on only where there is a margin."""

_OF_LIMIT = ("id", "low", "high", "reference")
"""What a row says again in words of its own, so that it can be read alone."""


def to_json(result: Result) -> str:
    """Return the result as JSON text that ends in a newline.

    Keys of a finding are exactly those of the contract. What only a report needs stands in further top-level keys, so
    that a saved result can be drawn again without a simulator. Same result, same bytes, on every machine.
    """
    whole = _whole(result)
    whole[DIGEST] = _digest(whole)
    return "{\n" + ",\n".join(f"{json.dumps(key)}: {_block(value)}" for key, value in whole.items()) + "\n}\n"


def result_hash(result: Result) -> str:
    """Return the SHA-256 of what a result says: the `digest` of its saved file."""
    return _digest(_whole(result))


def hashes(found: Evidence) -> tuple[str, ...]:
    """Return the SHA-256 of what the check says and, if there are any, of what the readings say."""
    return tuple(result_hash(one) for one in (found.check, found.readings) if one is not None)


def _whole(result: Result) -> dict[str, Any]:
    findings = sorted(result.findings, key=lambda finding: finding.id)
    whole: dict[str, Any] = {
        "format": FORMAT,
        "guardcheck": result.guardcheck,
        "command": result.command,
        "unit": result.unit,
        "outcome": result.outcome,
        "seed": result.seed,
        "engine": None if result.engine is None else {"name": result.engine.name, "version": result.engine.version},
        "findings": [_finding(finding) for finding in findings],
        "conditions": [asdict(one) for one in result.conditions],
        "asks": [asdict(one) for one in result.asks],
        "circuits": [asdict(one) for one in result.circuits],
        "limits": _limits(findings),
        "curves": [_curve(curve) for curve in result.curves],
        "schematics": [_schematic(one) for one in result.schematics],
        "warnings": list(result.warnings),
        "not_examined": list(result.not_examined),
        "cautions": list(result.cautions),
        "plan": [list(row) for row in result.plan],
        "unit_kind": result.unit_kind,
        "n_samples": result.n_samples,
        "job_file": result.job_file,
        "job_sha256": result.job_sha256,
        "extra": _settled(result.extra),
    }
    return {key: _plain(value) for key, value in whole.items()}


def _digest(whole: Mapping[str, Any]) -> str:
    content = {key: value for key, value in whole.items() if key not in _NOT_CONTENT}
    return digest_of(json.dumps(content, sort_keys=True, allow_nan=False).encode())


def _block(value: Any) -> str:
    """Return JSON text; a list goes on one line per record, so that two results can be compared line by line."""
    if isinstance(value, list) and value:
        return "[\n" + ",\n".join(json.dumps(item, allow_nan=False) for item in value) + "\n]"
    return json.dumps(value, allow_nan=False)


def _plain(value: Any) -> Any:
    """Return the value in JSON's own types; a number that is not finite becomes null."""
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, np.generic | np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [_plain(item) for item in value]
    raise TypeError(f"a result cannot hold {type(value).__name__}")


def _settled(value: Any, unit: str = "") -> Any:
    """Return a value with every number in it settled; what is no number stays."""
    if isinstance(value, np.generic | np.ndarray):
        return _settled(value.tolist(), unit)
    if isinstance(value, float):
        return settled(value, unit)
    if isinstance(value, Mapping):
        return {key: _settled(item, unit) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_settled(item, unit) for item in value]
    return value


def _finding(finding: Finding) -> dict[str, Any]:
    held = {field.name: getattr(finding, field.name) for field in fields(finding) if field.name not in _APART}
    held |= {name: getattr(finding, name) for name in _OF_LIMIT}
    held |= {"spread": _pair(finding.spread), "interval": _pair(finding.interval)}
    row = {key: _settled(value, finding.unit) for key, value in held.items()}
    row["yield"] = _settled(finding.yield_, "1")
    if finding.bearing is not None:
        row["bearing"] = _settled(asdict(finding.bearing), finding.bearing.unit)
    return {key: row[key] for key in (*_KEYS, *(key for key in row if key not in _KEYS))}


def _schematic(one: Schematic) -> dict[str, Any]:
    row: dict[str, Any] = _settled(asdict(one))
    for node in row["path"]:
        node["volts"] = _settled(node["volts"], "V")
    for part in row["parts"]:
        part["currents"] = _settled(part["currents"], "A")
    return row


def _pair(ends: tuple[float, float] | None) -> tuple[float, float] | None:
    """Return an interval, or None when one end is no number: half an interval proves nothing."""
    return ends if ends is not None and all(math.isfinite(end) for end in ends) else None


def _limits(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return each limit once, with the ids of the findings held against it."""
    used: dict[Limit, list[str]] = {}
    for finding in findings:
        if finding.limit is not None:
            used.setdefault(finding.limit, []).append(finding.id)
    return [
        {
            "quantity": limit.quantity,
            "low": _settled(limit.low, _unit(limit)),
            "high": _settled(limit.high, _unit(limit)),
            "nominal": _settled(limit.nominal, _unit(limit)),
            "reference": limit.reference,
            "clause": limit.clause,
            "known_by": limit.known_by,
            "kind": limit.kind,
            "note": limit.note,
            "findings": ids,
        }
        for limit, ids in used.items()
    ]


def _unit(limit: Limit) -> str:
    kind = QUANTITIES.get(limit.quantity)
    return "" if kind is None else kind.unit


def _curve(curve: Curve) -> dict[str, Any]:
    curve = tidy(curve)
    return {
        "line": curve.line,
        "guarded": curve.guarded,
        "picture": curve.picture,
        "label": curve.label,
        "x": curve.x,
        "y": curve.y,
        "x_unit": curve.x_unit,
        "y_unit": curve.y_unit,
        "band": curve.band,
        "band_label": curve.band_label,
        "marks": dict(curve.marks),
    }
