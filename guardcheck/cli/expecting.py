"""`expect`: what each point should read, before anyone measures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from guardcheck.cli.app import CircuitsOption, JsonOption, OutsideOption, WorkersOption, check_targets


def expect(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file the mod is built to.")],
    json: JsonOption = None,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
) -> None:
    """Say what a meter or scope shows at each point when the mod is right, without power first."""
    from guardcheck import pipeline, report

    options = pipeline.Options(samples=0, workers=workers, circuits=circuits, allow_outside=allow_outside)
    check_targets((json,), pipeline.files_named(job, options))
    read, rows = pipeline.expect(job, options)
    if json == "-":
        typer.echo(report.expected_json(read, rows), nl=False)
        return
    if json is not None:
        report.write_text(Path(json), report.expected_json(read, rows))
    typer.echo(report.expected_text(read, rows), nl=False)
