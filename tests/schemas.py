"""Write the JSON schemas that are shipped: `make schemas`. A test holds them to the tables they are made of."""

from __future__ import annotations

import json
import sys
from pathlib import Path

if __package__ in (None, ""):  # run as a script
    sys.path.insert(0, str(Path(__file__).parents[1]))

FOLDER = Path(__file__).parents[1] / "guardcheck" / "schemas"


def texts() -> dict[str, str]:
    """Return every schema by its file name."""
    from guardcheck.job.json_schema import job_schema
    from guardcheck.measure.readings.json_schema import readings_schema
    from guardcheck.report.saved.json_schema import result_schema

    made = {"job": job_schema(), "readings": readings_schema(), "result": result_schema()}
    return {f"{name}.schema.json": json.dumps(schema, indent=1) + "\n" for name, schema in made.items()}


if __name__ == "__main__":
    for file, schema in texts().items():
        (FOLDER / file).write_text(schema, encoding="utf-8")
        sys.stdout.write(f"wrote {file}\n")
