"""`propose`: what to fit instead."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from guardcheck.cli.app import (
    CircuitsOption,
    JsonOption,
    OutsideOption,
    Progress,
    QuietOption,
    SamplesOption,
    SeedOption,
    WorkersOption,
    check_targets,
)

DEFAULT_SEED, DEFAULT_SAMPLES = 1, 200


def propose(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file.")],
    line: Annotated[
        str | None, typer.Option("--line", metavar="NAME", help="The line; every one that fails if left out.")
    ] = None,
    json: JsonOption = None,
    write: Annotated[
        Path | None, typer.Option("--write", metavar="FILE", help="Write the job with the chosen build, comments kept.")
    ] = None,
    pick: Annotated[int, typer.Option("--pick", min=1, help="Which of the builds to write.")] = 1,
    every: Annotated[bool, typer.Option("--all", help="Search for every line, those that are right too.")] = False,
    seed: SeedOption = DEFAULT_SEED,
    samples: SamplesOption = DEFAULT_SAMPLES,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
    quiet: QuietOption = False,
) -> None:
    """Search stages, values, guards and places for builds that conform and hold, and say which limit binds if none."""
    from guardcheck import pipeline, report

    options = pipeline.Options(
        seed=seed, samples=samples, workers=workers, allow_outside=allow_outside, circuits=circuits
    )
    check_targets((json, write), pipeline.files_named(job, options))
    progress = Progress(quiet)
    found = pipeline.propose(job, options, line, progress, every=every)
    progress(1, 1, "")
    if write is not None:
        report.write_text(write, pipeline.job_with(job, found, pick))
    if json == "-":
        typer.echo(report.proposals_to_json(found), nl=False)
    elif json is not None:
        report.write_text(Path(json), report.proposals_to_json(found))
    if json != "-":
        typer.echo(report.proposals_to_terminal(found, short=quiet), nl=False)
    raise typer.Exit(0 if all(one.builds for one in found.lines) else 10)
