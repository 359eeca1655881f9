"""Make every report in reports-demo/ from its job file: `make demo` and `make reports` call this."""

from __future__ import annotations

import sys
from pathlib import Path

DEMO = Path(__file__).parents[2] / "reports-demo"


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


def make_all(demo: Path) -> list[tuple[Path, str]]:
    """Make the reports of every job file below a folder, beside it. Returns job files and outcomes."""
    return [(job, make(job, job.parent)) for job in sorted(demo.glob("*/job.toml"))]


def main() -> int:
    """Make all reports beside their job files and say where they are."""
    from guardcheck.errors import EngineMissing

    try:
        for job, outcome in make_all(DEMO):
            sys.stdout.write(f"{job.parent.relative_to(DEMO.parent)}: {outcome.replace('_', ' ')}\n")
            sys.stdout.write(f"  open {(job.parent / 'report.html').relative_to(DEMO.parent)} in a browser\n")
    except EngineMissing as error:
        sys.stderr.write(f"{error}\n")
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
