"""Expected readings as text for the bench and as JSON for other programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from itertools import groupby
from typing import Any

from guardcheck.formatting import show
from guardcheck.model import QUANTITIES, Expected, Job
from guardcheck.model.expected import STATES
from guardcheck.version import __version__

FORMAT = "guardcheck-expect/1"
OVER = "over range"
CAUTION = (
    "Without power first: mains plug out, capacitors proven discharged.\n"
    "The clip of a mains-powered scope is mains earth: clip it to 0 V only, never to\n"
    "the mains side of a supply or to a chassis you have not shown to be isolated.\n"
    "A reading off these figures is a question, not a verdict: guardcheck verify\n"
    "takes it.\n"
)
_TITLES = {"resistance": "resistance", "voltage": "voltage", "current": "current"}


def expected_text(job: Job, rows: Iterable[Expected]) -> str:
    """Return the expected readings as text, line by line in the order of the work."""
    out = [f"{job.unit}: what each reading shows when the mod is right\n", CAUTION]
    for lines, group in groupby(rows, key=lambda row: row.lines):
        out.append(f"\n{', '.join(lines)}\n")
        for when, inner in groupby(group, key=lambda row: row.when):
            out.append(f"  {STATES[when]}\n")
            for (point, where), readings in groupby(inner, key=lambda row: (row.point, row.where)):
                out.append(f"    {point} {where}\n")
                out += [_row(row) for row in readings]
    out.append("\nWhich faults each of these readings would show: guardcheck expect JOB\n--json FILE, under tells.\n")
    return "".join(out)


def _row(row: Expected) -> str:
    shown = OVER if row.expected is None else show(row.expected, row.unit)
    ends = [OVER if end is None else show(end, row.unit) for end in (row.low, row.high)]
    span = "" if len({shown, *ends}) == 1 else f"  ({ends[0]} to {ends[1]})"
    what = _TITLES.get(row.quantity) or QUANTITIES[row.quantity].title
    return f"      {row.instrument:<21}{what:<16}{shown}{span}\n"


def expected_json(job: Job, rows: Iterable[Expected]) -> str:
    """Return the expected readings as JSON, SI values; null stands for a range that is exceeded."""
    found: dict[str, Any] = {
        "format": FORMAT,
        "guardcheck": __version__,
        "unit": job.unit,
        "job_sha256": job.sha256,
        "rows": [_record(row) for row in rows],
    }
    return json.dumps(found, indent=1, ensure_ascii=False) + "\n"


def _record(row: Expected) -> Mapping[str, Any]:
    return {
        "lines": list(row.lines),
        "point": row.point,
        "where": row.where,
        "when": row.when,
        "state": row.state,
        "instrument": row.instrument,
        "quantity": row.quantity,
        "expected": row.expected,
        "low": row.low,
        "high": row.high,
        "unit": row.unit,
        "tells": list(row.tells),
    }
