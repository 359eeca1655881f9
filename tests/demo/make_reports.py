"""Make every report in reports-demo/ from its job file: `make demo` and `make reports` call this."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from html import escape
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
SEARCHED = {"wren-6": "sync"}
"""Units that show the way from a plan that fails to one that holds: the line a build is searched for."""


def make(job: Path) -> list[tuple[Path, str]]:
    """Make everything of one unit beside its job file: check, verifications, sheet, a search. Returns the pages."""
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
    if job.parent.name in SEARCHED:
        made.append(proposed(job, SEARCHED[job.parent.name]))
    return made


def proposed(job: Path, line: str) -> tuple[Path, str]:
    """Search a build for a line, write the job with the first of them, and what check says of that job."""
    from guardcheck import pipeline, report

    options = pipeline.Options()
    found = pipeline.propose(job, options, line)
    changed = job.parent / "proposed.toml"
    answer = {
        "propose.txt": report.proposals_to_terminal(found),
        "proposals.json": report.proposals_to_json(found),
        changed.name: pipeline.job_with(job, found, 1),
    }
    write(job.parent, {name: text.encode() for name, text in answer.items()})
    result = pipeline.check(changed, options)
    write(job.parent, {"proposed.txt": report.to_short(result).encode()})
    return changed, result.outcome


def write(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write the files that say something new; one that says the same as what stands there stays as it is."""
    from guardcheck import report

    for name, data in files.items():
        place = folder / name
        if not place.is_file() or not same(name, data, place.read_bytes()):
            report.write_bytes(place, data)


def reports(result: Result, name: str) -> Mapping[str, bytes]:
    """Return one result as JSON, page, terminal texts (short and full), pictures of lines and waveforms, by name."""
    from guardcheck import report

    short = report.to_short_reading if result.command == "verify" else report.to_short
    texts = {
        f"{name}.json": report.to_json(result),
        f"{name}.html": report.to_html(result),
        f"{name}.txt": short(result),
        f"{name}-full.txt": report.to_terminal(result),
    }
    if result.schematics:
        texts[f"{name}-lines.svg"] = report.lines_svg(result)
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
    """Make the reports of every unit below a folder, and the page that opens them. Returns pages and outcomes."""
    pages = [page for job in sorted(demo.glob("*/job.toml")) for page in make(job)]
    write(demo, {"index.html": index(demo).encode()})
    return pages


KINDS = (
    ("report.html", "check of the plan"),
    ("verify-first.html", "first readings"),
    ("verify.html", "readings of the finished unit"),
    ("sheet.html", "sheet for the customer"),
    ("sheet.pdf", "the sheet as PDF"),
    ("record.pdf", "record for the workshop"),
    ("report.txt", "the answer in a terminal"),
    ("report-full.txt", "the full record as text"),
    ("report.json", "the result as data"),
    ("job.toml", "the job file"),
    ("propose.txt", "what to fit instead"),
    ("proposals.json", "what to fit, as data"),
    ("proposed.toml", "the job file with the first build"),
    ("proposed.txt", "what check says of it"),
)
"""What the index opens, in this order, where it is there; anything else a unit has follows."""

PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>guardcheck: reports of invented units</title>
<style>
body {{ margin: 0 auto; max-width: 62rem; padding: 1.5rem; color: #1b2328; font: 1rem/1.5 system-ui, sans-serif; }}
section {{ margin: 1.5rem 0; padding-top: 0.8rem; border-top: 2px solid #1b2328; }}
ul {{ display: flex; flex-wrap: wrap; gap: 0.3rem 1.4rem; padding: 0; list-style: none; }}
a {{ color: #14506b; }}
img {{ max-width: 100%; height: auto; }}
</style>
</head>
<body>
<main>
<h1>Reports of invented units</h1>
<p>Made by <code>make reports</code> from the job files beside them. No maker, person or shop in them is real.</p>
{units}
</main>
</body>
</html>
"""


def index(demo: Path) -> str:
    """Return the page that opens every report below a folder."""
    return PAGE.format(units="\n".join(_unit(job.parent) for job in sorted(demo.glob("*/job.toml"))))


def _unit(folder: Path) -> str:
    """Return the part of the index that opens one unit's reports: its answer, its lines drawn, its files."""
    words = dict(KINDS)
    files = sorted(path.name for path in folder.iterdir() if path.is_file())
    ordered = [name for name, _ in KINDS if name in files] + [name for name in files if name not in words]
    links = "\n".join(
        f'<li><a href="{escape(folder.name)}/{escape(name)}">{escape(words.get(name, name))}</a></li>'
        for name in ordered
    )
    lines = (folder / "report.txt").read_text(encoding="utf-8").splitlines() if "report.txt" in files else [folder.name]
    answer = " ".join(lines[2 : lines.index("", 2)]) if "" in lines[2:] else ""
    picture = (
        f'<p><a href="{escape(folder.name)}/report-lines.svg"><img src="{escape(folder.name)}/report-lines.svg" '
        f'alt="The lines of {escape(folder.name)} drawn, with what was simulated at each point"></a></p>\n'
        if "report-lines.svg" in files
        else ""
    )
    return f"<section>\n<h2>{escape(lines[0])}</h2>\n<p>{escape(answer)}</p>\n{picture}<ul>\n{links}\n</ul>\n</section>"


def main() -> int:
    """Make all reports beside their job files and say where they are."""
    from guardcheck.errors import EngineMissing

    try:
        for page, outcome in make_all(DEMO):
            sys.stdout.write(f"{outcome.replace('_', ' '):17} {page.relative_to(DEMO.parent)}\n")
        sys.stdout.write("open reports-demo/index.html in a browser: it leads to all of them\n")
    except EngineMissing as error:
        sys.stderr.write(f"{error}\n")
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
