"""`list`, `show` and `new`: what is on the shelf, and files to fill in."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from guardcheck.cli.app import OUTCOME_CODES, CircuitsOption, OutsideOption, WorkersOption
from guardcheck.cli.asking import asked_job
from guardcheck.errors import InputError

PAGE = ".html"
"""What the name of a page ends in."""


def list_(
    kind: Annotated[str | None, typer.Argument(metavar="[KIND]", help="stages, guards, standards … (all)")] = None,
    circuits: CircuitsOption = None,
) -> None:
    """List what is on the shelf: sources, stages, guards, cables, displays, events, standards."""
    from guardcheck import pipeline, report

    typer.echo(report.shelf(pipeline.shelf(kind, circuits)), nl=False)


def show(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A name from guardcheck list.")],
    circuits: CircuitsOption = None,
) -> None:
    """Show one part or standard: parameters, ranges, where to find the values, ratings, limits, references."""
    from guardcheck import pipeline, report

    typer.echo(report.sheet(pipeline.describe(name, circuits)), nl=False)


def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The file to write, a job or readings; it must not exist yet.")
    ],
    for_: Annotated[
        Path | None, typer.Option("--for", metavar="JOB", help="Write a readings file for the lines of this job.")
    ] = None,
    ask: Annotated[bool, typer.Option("--ask", help="Ask questions and write the job file from the answers.")] = False,
    family: Annotated[
        str | None,
        typer.Option(
            "--for-family",
            metavar="FAMILY",
            help="Start from a kind of output: bipolar-encoder, current-converter, ladder, nmos-luma-chroma, rgbi.",
        ),
    ] = None,
    allow_outside: OutsideOption = False,
) -> None:
    """Write a commented job file to fill in; with --ask one from your answers; with --for JOB, a readings file.

    FILE.html becomes a page that asks the same questions and saves the job file, without a network.
    """
    from guardcheck import pipeline

    if file.suffix == PAGE:
        from guardcheck import report

        if ask or for_ is not None or family is not None:
            raise InputError("is a page that asks by itself: give no --ask, --for or --for-family", file=str(file))
        job_file = file.with_suffix(".toml").name
        pipeline.write_new(file, report.to_questions_page(job_file))
        typer.echo(
            f"wrote {file}; open it in a browser, answer, save {job_file}, then run: guardcheck check {job_file}"
        )
        return
    if ask:
        if for_ is not None or family is not None:
            raise InputError("asks for a whole job: give no --for and no --for-family with it", key="--ask")
        if file.exists():
            raise InputError("exists already; choose another name, it is not overwritten", file=str(file))
        text = asked_job()
        pipeline.write_new(file, text, schema="job")
        typer.echo(f"wrote {file} ({text.count(chr(10))} lines). Now: guardcheck check {file}")
        return
    if for_ is not None and family is not None:
        raise InputError("writes a job file, --for a readings file: one of them is wanted", key="--for-family")
    if for_ is None:
        text = pipeline.new_job_text() if family is None else pipeline.family_job_text(family)
        pipeline.write_new(file, text, schema="job")
        typer.echo(f"wrote {file}; fill it in, then run: guardcheck check {file}")
        return
    text = pipeline.new_readings(for_, pipeline.Options(allow_outside=allow_outside))
    pipeline.write_new(file, text, schema="readings")
    typer.echo(f"wrote {file}; fill it in, then run: guardcheck verify {for_} --readings {file}")


def prove(circuits: CircuitsOption = None, workers: WorkersOption = None) -> None:
    """Run the check rows of your own parts (--circuits DIR), or of those that come with guardcheck, in ngspice."""
    from guardcheck import pipeline, report

    found = pipeline.prove(pipeline.Options(circuits=circuits, workers=workers))
    typer.echo(report.proofs(found), nl=False)
    raise typer.Exit(OUTCOME_CODES[pipeline.proven(found)])
