"""`guards`: which guard buys most on a line, and what it costs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from guardcheck.cli.app import (
    AllOption,
    CircuitsOption,
    HtmlOption,
    JsonOption,
    OutsideOption,
    Progress,
    QuietOption,
    WorkersOption,
    check_targets,
)


def guards(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    line: Annotated[
        str | None, typer.Option("--line", metavar="NAME", help="The line; the first one if left out.")
    ] = None,
    json: JsonOption = None,
    html: HtmlOption = None,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
    everything: AllOption = False,
    quiet: QuietOption = False,
) -> None:
    """Try every guard on the shelf, at the chip and at the connector, and rank them by what they save."""
    from guardcheck import pipeline, report

    options = pipeline.Options(workers=workers, allow_outside=allow_outside, circuits=circuits)
    check_targets((json, html), pipeline.files_named(job, options))
    progress = Progress(quiet)
    ranking = pipeline.rank_guards(job, options, line, progress)
    progress(1, 1, "")
    if json == "-":
        typer.echo(report.ranking_to_json(ranking), nl=False)
    elif json is not None:
        report.write_text(Path(json), report.ranking_to_json(ranking))
    if html is not None:
        report.write_text(html, report.ranking_to_html(ranking))
    if json != "-":
        short = report.ranking_to_terminal(ranking) if everything else report.ranking_to_short(ranking, job=str(job))
        typer.echo(f"{ranking.summary}\n" if quiet else short, nl=False)
