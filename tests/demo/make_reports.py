"""Make every report in reports-demo/ from its job file: `make demo` and `make reports` call this."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

DEMO = Path(__file__).parents[2] / "reports-demo"
CHANNEL = "CH1"
TAKEN: Any = {"sync": "CH2", "picture": ("white",), "load": ("terminated",), "place": ("display",)}
"""How the demo's captures were taken."""


def make(job: Path, folder: Path) -> str:
    """Check one job and write result, page, terminal text and pictures into a folder. Returns the outcome."""
    from guardcheck import pipeline, report

    result = pipeline.check(job, pipeline.Options())
    folder.mkdir(parents=True, exist_ok=True)
    report.write_text(folder / "result.json", report.to_json(result))
    report.write_text(folder / "report.html", report.to_html(result))
    report.write_text(folder / "terminal.txt", report.to_terminal(result))
    for name, picture in report.pictures(result).items():
        report.write_text(folder / name, picture if isinstance(picture, str) else picture.decode())
    return result.outcome


def make_verified(job: Path, readings: Path) -> str:
    """Verify one readings file and write result, page, text and pictures beside it. Returns the outcome.

    A CSV file is the capture of the line it is named like; captures belong to the final readings alone.
    """
    from guardcheck import pipeline, report

    folder, name = readings.parent, readings.stem.replace("readings", "verify")
    captures = [f"{file.stem}={file}#{CHANNEL}" for file in sorted(folder.glob("*.csv"))] if name == "verify" else []
    handed = pipeline.given(readings, captures, **(TAKEN if captures else {}))
    result = pipeline.verify(job, handed, pipeline.Options())
    report.write_text(folder / f"{name}.json", report.to_json(result))
    report.write_text(folder / f"{name}.html", report.to_html(result))
    report.write_text(folder / f"{name}.txt", report.to_terminal(result))
    for picture, drawing in report.pictures(result).items():
        report.write_text(folder / f"{name}-{picture}", drawing)
    return result.outcome


def make_all(demo: Path) -> list[tuple[Path, str]]:
    """Make the reports of every job and readings file below a folder, beside it. Returns files and outcomes."""
    made = []
    for job in sorted(demo.glob("*/job.toml")):
        made.append((job, make(job, job.parent)))
        made += [(readings, make_verified(job, readings)) for readings in sorted(job.parent.glob("readings*.toml"))]
    return made


def main() -> int:
    """Make all reports beside their job files and say where they are."""
    from guardcheck.errors import EngineMissing

    try:
        for file, outcome in make_all(DEMO):
            page = "report.html" if file.stem == "job" else f"{file.stem.replace('readings', 'verify')}.html"
            sys.stdout.write(f"{file.relative_to(DEMO.parent)}: {outcome.replace('_', ' ')}\n")
            sys.stdout.write(f"  open {(file.parent / page).relative_to(DEMO.parent)} in a browser\n")
    except EngineMissing as error:
        sys.stderr.write(f"{error}\n")
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
