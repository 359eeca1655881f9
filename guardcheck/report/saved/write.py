"""A result as JSON by the contract: fixed keys, findings sorted by id, finite numbers, ASCII, one record per line."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from hashlib import sha256
from typing import Any

import numpy as np

from guardcheck.model import Curve, Finding, Limit, Result
from guardcheck.report.arrange.view import bounds
from guardcheck.report.pictures.curves import tidy
from guardcheck.verdict.handover import Evidence

FORMAT = "guardcheck-result/1"


def to_json(result: Result) -> str:
    """Return the result as JSON text that ends in a newline.

    Keys of a finding are exactly those of the contract. What only a report needs stands in further top-level keys, so
    that a saved result can be drawn again without a simulator. Same result, same bytes.
    """
    findings = sorted(result.findings, key=lambda finding: finding.id)
    whole: dict[str, Any] = {
        "format": FORMAT,
        "command": result.command,
        "unit": result.unit,
        "outcome": result.outcome,
        "seed": result.seed,
        "engine": None if result.engine is None else {"name": result.engine.name, "version": result.engine.version},
        "findings": [_finding(finding) for finding in findings],
        "circuits": [{"name": c.name, "kind": c.kind, "file": c.file, "sha256": c.sha256} for c in result.circuits],
        "limits": _limits(findings),
        "curves": [_curve(curve) for curve in result.curves],
        "schematics": [asdict(one) for one in result.schematics],
        "warnings": list(result.warnings),
        "not_examined": list(result.not_examined),
        "cautions": list(result.cautions),
        "plan": [list(row) for row in result.plan],
        "unit_kind": result.unit_kind,
        "n_samples": result.n_samples,
        "job_file": result.job_file,
        "job_sha256": result.job_sha256,
        "extra": result.extra,
    }
    return "{\n" + ",\n".join(f"{json.dumps(key)}: {_block(value)}" for key, value in whole.items()) + "\n}\n"


def _block(value: Any) -> str:
    """Return JSON text; a list goes on one line per record, so that two results can be compared line by line."""
    plain = _plain(value)
    if isinstance(plain, list) and plain:
        return "[\n" + ",\n".join(json.dumps(item, allow_nan=False) for item in plain) + "\n]"
    return json.dumps(plain, allow_nan=False)


def _plain(value: Any) -> Any:
    """Return the value in JSON's own types; a number that is not finite becomes null."""
    if value is None or isinstance(value, bool | str | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, np.generic | np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [_plain(item) for item in value]
    raise TypeError(f"a result cannot hold {type(value).__name__}")


def _finding(finding: Finding) -> dict[str, Any]:
    low, high = bounds(finding)
    reference = finding.reference
    if reference is None and finding.limit is not None:
        reference = finding.limit.cited()
    return {
        "id": finding.id,
        "needed": finding.needed,
        "where": finding.where,
        "rule": finding.rule,
        "quantity": finding.quantity,
        "line": finding.line,
        "guarded": finding.guarded,
        "event": finding.event,
        "severity": finding.severity,
        "value": finding.value,
        "unit": finding.unit,
        "low": low,
        "high": high,
        "spread": _pair(finding.spread),
        "interval": _pair(finding.interval),
        "yield": finding.yield_,
        "uncertainty": finding.uncertainty,
        "outcome": finding.outcome,
        "origin": finding.origin,
        "planned": finding.planned,
        "estimate": finding.estimate,
        "reference": reference,
        "why": finding.why,
        "remedy": finding.remedy,
    }


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
            "low": limit.low,
            "high": limit.high,
            "nominal": limit.nominal,
            "reference": limit.reference,
            "clause": limit.clause,
            "known_by": limit.known_by,
            "note": limit.note,
            "findings": ids,
        }
        for limit, ids in used.items()
    ]


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


def result_hash(result: Result) -> str:
    """Return the SHA-256 of the result as `to_json` writes it: that of the saved file."""
    return sha256(to_json(result).encode()).hexdigest()


def hashes(found: Evidence) -> tuple[str, ...]:
    """Return the SHA-256 of the canonical JSON of the check and, if there are any, of the readings."""
    return tuple(result_hash(one) for one in (found.check, found.readings) if one is not None)
