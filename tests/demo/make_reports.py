"""Make every report in reports-demo/ from its job file: `make demo` and `make reports` call this."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

if __package__ in (None, ""):  # run as a script
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.demo.content import same

if TYPE_CHECKING:
    from guardcheck.model import Result

DEMO = Path(__file__).parents[2] / "reports-demo"
CHANNEL = "CH1"
TAKEN: Any = {"sync": "CH2", "picture": ("white",), "load": ("terminated",), "place": ("display",)}
"""How the demo's captures were taken."""


def make(job: Path) -> list[tuple[Path, str]]:
    """Make everything of one unit beside its job file: check, verifications, hand-over sheet. Returns the pages."""
    from guardcheck import pipeline, report

    plan = pipeline.check(job, pipeline.Options())
    made = [_written(plan, job.parent, "report")]
    finished = None
    for readings in sorted(job.parent.glob("readings*.toml")):
        name = readings.stem.replace("readings", "verify")
        result = _verified(job, readings, final=name == "verify")
        made.append(_written(result, job.parent, name))
        finished = result if name == "verify" else finished
    write(job.parent, sheets(plan, finished))
    made.append((job.parent / "sheet.html", report.evidence(plan, finished).outcome))
    return made


def write(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write the files that say something new; one that says the same as what stands there stays as it is."""
    from guardcheck import report

    for name, data in files.items():
        place = folder / name
        if not place.is_file() or not same(name, data, place.read_bytes()):
            report.write_bytes(place, data)


def reports(result: Result, name: str) -> Mapping[str, bytes]:
    """Return one result as JSON, page, terminal text and waveforms, by file name."""
    from guardcheck import report

    texts = {
        f"{name}.json": report.to_json(result),
        f"{name}.html": report.to_html(result),
        f"{name}.txt": report.to_terminal(result),
    }
    for picture, drawing in report.drawings(result).items():
        if picture.endswith("waveform.svg"):
            texts[f"{name}-{picture}"] = drawing
    return {file: text.encode() for file, text in texts.items()}


def sheets(plan: Result, finished: Result | None) -> Mapping[str, bytes]:
    """Return the hand-over sheet of a unit as page and PDF, and the technician's record, by file name."""
    from guardcheck import report

    return {
        "sheet.html": report.to_checklist_html(plan, finished, workshop="Demo bench").encode(),
        "sheet.pdf": report.to_checklist_pdf(plan, finished, workshop="Demo bench"),
        "record.pdf": report.to_record_pdf(plan, finished, workshop="Demo bench"),
    }


def _written(result: Result, folder: Path, name: str) -> tuple[Path, str]:
    """Write the reports of one result; return the page and its outcome."""
    write(folder, reports(result, name))
    return folder / f"{name}.html", result.outcome


def _verified(job: Path, readings: Path, *, final: bool) -> Result:
    """Verify one readings file. A CSV file is the capture of the line it is named like, and of the final readings."""
    from guardcheck import pipeline

    files = sorted(readings.parent.glob("*.csv")) if final else []
    captures = [f"{file.stem}={file}#{CHANNEL}" for file in files]
    handed = pipeline.given(readings, captures, **(TAKEN if captures else {}))
    return pipeline.verify(job, handed, pipeline.Options())


def make_all(demo: Path) -> list[tuple[Path, str]]:
    """Make the reports of every unit below a folder. Returns pages and outcomes."""
    return [page for job in sorted(demo.glob("*/job.toml")) for page in make(job)]


def main() -> int:
    """Make all reports beside their job files and say where they are."""
    from guardcheck.errors import EngineMissing

    try:
        for page, outcome in make_all(DEMO):
            sys.stdout.write(f"{outcome.replace('_', ' '):17} {page.relative_to(DEMO.parent)}\n")
        sys.stdout.write("open any of these pages in a browser; the sheets are there as PDF too\n")
    except EngineMissing as error:
        sys.stderr.write(f"{error}\n")
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
