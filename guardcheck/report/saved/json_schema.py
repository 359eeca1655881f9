"""The format of a saved result as a JSON schema (draft 2020-12), from the records it is read into."""

from __future__ import annotations

from typing import Any

import msgspec

from guardcheck.model import Result
from guardcheck.report.saved.write import DIGEST, FORMAT

_HASH = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
_BOUND = {"type": ["number", "null"]}
_TEXT = {"type": ["string", "null"]}
_NUMBERS = {"type": "array", "items": {"type": ["number", "null"]}}


def result_schema() -> dict[str, Any]:
    """Return the schema of a saved result of the format written today. Unknown keys are allowed, and ignored."""
    made: dict[str, Any] = msgspec.json.schema(Result, schema_hook=lambda _: dict(_NUMBERS))
    defined = made["$defs"]
    finding, limit, result = defined["Finding"], defined["Limit"], defined["Result"]
    del finding["properties"]["limit"]
    finding["properties"] = {"id": {"type": "string"}, **finding["properties"]}
    finding["properties"] |= {"low": dict(_BOUND), "high": dict(_BOUND), "reference": dict(_TEXT)}
    finding["properties"]["yield"] = finding["properties"].pop("yield_")
    limit["properties"]["findings"] = {"type": "array", "items": {"type": "string"}}
    finding["required"], limit["required"] = ["id", *finding["required"]], [*limit["required"], "findings"]
    result["properties"] |= {
        "format": {"const": FORMAT},
        "limits": {"type": "array", "items": {"$ref": "#/$defs/Limit"}},
        DIGEST: dict(_HASH),
    }
    result["required"] = ["format", *result["required"], "limits", DIGEST]
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "guardcheck saved result", **made}
