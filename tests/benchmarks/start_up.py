"""How long a person waits: `--help` against an empty typer program, a one-line job and the four-line demo by parts."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
EMPTY = """
import typer
app = typer.Typer(add_completion=False, rich_markup_mode=None)
@app.command()
def one() -> None: ...
@app.command()
def two() -> None: ...
app()
"""
RUNS = 9


def seconds(*command: str) -> float:
    """Return the median wall time of a command [s]."""
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        subprocess.run([sys.executable, *command], cwd=ROOT, capture_output=True, check=False)
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def split(job: Path) -> dict[str, float]:
    """Return the seconds one check spends importing, simulating (all of the pipeline), and rendering."""
    start = time.perf_counter()
    from guardcheck import pipeline, report

    imported = time.perf_counter()
    result = pipeline.check(job, pipeline.Options())
    simulated = time.perf_counter()
    report.to_json(result)
    report.to_terminal(result)
    said = time.perf_counter()
    report.to_html(result)
    drawn = time.perf_counter()
    return {
        "import": imported - start,
        "simulate and judge": simulated - imported,
        "JSON and terminal": said - simulated,
        "HTML": drawn - said,
    }


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        empty = Path(folder) / "empty.py"
        empty.write_text(EMPTY, encoding="utf-8")
        ratio = seconds("-m", "guardcheck", "--help") / seconds(str(empty), "--help")
    sys.stdout.write(f"guardcheck --help / empty typer program: {ratio:.2f} x (<= 1.5)\n")
    for unit in ("gorse-3", "lantern-16"):
        parts = split(ROOT / "reports-demo" / unit / "job.toml")
        told = ", ".join(f"{name} {value:.2f} s" for name, value in parts.items())
        sys.stdout.write(f"{unit}: {sum(parts.values()):.2f} s in all: {told}\n")


if __name__ == "__main__":
    main()
