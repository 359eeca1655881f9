"""`check` and `verify`: the plan before soldering, the measurements after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from guardcheck.cli.app import (
    AllOption,
    CircuitsOption,
    HtmlOption,
    JsonOption,
    LineOption,
    OutsideOption,
    Progress,
    QuietOption,
    SamplesOption,
    SeedOption,
    Shown,
    SvgOption,
    SyncOption,
    WhyOption,
    WorkersOption,
    captured_files,
    check_targets,
    show,
)
from guardcheck.errors import InputError

if TYPE_CHECKING:
    from guardcheck.engine import Engine
    from guardcheck.pipeline import Options


def check(
    jobs: Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (guardcheck new writes one).")],
    json: JsonOption = None,
    html: HtmlOption = None,
    svg: SvgOption = None,
    seed: SeedOption = 1,
    samples: SamplesOption = 200,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
    resume: Annotated[
        bool, typer.Option("--resume", help="Skip jobs whose result in the --json folder still holds.")
    ] = False,
    propose: Annotated[
        bool, typer.Option("--propose", help="Search a better build for every line that fails, and name the best.")
    ] = False,
    line: LineOption = None,
    why: WhyOption = None,
    everything: AllOption = False,
    quiet: QuietOption = False,
) -> None:
    """Check a planned mod: levels, impedance, what the guard changes, and the declared bench facts."""
    if len(jobs) > 1 or resume:
        if json == "-":
            raise InputError("--json - prints one result; name a folder when there are several jobs", key="--json")
        from guardcheck.cli import batch
        from guardcheck.pipeline import Options

        options = Options(seed, samples, workers, allow_outside, circuits, propose=propose)
        folders = batch.Folders(None if json is None else Path(json), html, svg)
        raise typer.Exit(batch.check_many(jobs, options, folders, resume=resume, quiet=quiet))
    from guardcheck.engine import Engine

    with Engine(workers=workers, wait=False) as engine:  # it starts while the rest of guardcheck is loaded
        from guardcheck.pipeline import Options

        options = Options(seed, samples, workers, allow_outside, circuits, propose=propose)
        shown = Shown(quiet, everything, line, why, str(jobs[0]))
        raise typer.Exit(_check_one(jobs[0], options, engine, json, html, svg, shown))


def _check_one(
    job: Path,
    options: Options,
    engine: Engine,
    json: str | None,
    html: Path | None,
    svg: Path | None,
    shown: Shown,
) -> int:
    from guardcheck import pipeline, report

    check_targets((json, html, svg), pipeline.files_named(job, options))
    if html is not None:
        report.prepare_pictures()
    progress = Progress(shown.quiet)
    result = pipeline.check(job, options, progress, engine)
    progress(1, 1, "")
    return show(result, json, html, shown, svg)


def verify(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file the mod was built to.")],
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", help="What you read (guardcheck new FILE --for JOB).")
    ] = None,
    capture: Annotated[
        list[str] | None,
        typer.Option("--capture", metavar="LINE=FILE", help="A scope's CSV of one line; LINE=FILE#CHANNEL picks one."),
    ] = None,
    sync: SyncOption = None,
    picture: Annotated[
        list[str] | None,
        typer.Option(
            "--picture",
            metavar="[LINE=]WORD",
            help="Captured picture: white, bars-100, bars-75 or other; else as the readings say.",
        ),
    ] = None,
    load: Annotated[
        list[str] | None, typer.Option("--load", metavar="[LINE=]WORD", help="Captured load: terminated or open.")
    ] = None,
    place: Annotated[
        list[str] | None, typer.Option("--place", metavar="[LINE=]WORD", help="Captured at: display, connector or pin.")
    ] = None,
    coupling: Annotated[
        list[str] | None,
        typer.Option("--coupling", metavar="[LINE=]WORD", help="The scope's: dc or ac; a direct voltage needs dc."),
    ] = None,
    accuracy: Annotated[
        str | None, typer.Option("--accuracy", metavar="TEXT", help="The scope's, as its data sheet prints it: '3%'.")
    ] = None,
    json: JsonOption = None,
    html: HtmlOption = None,
    seed: SeedOption = 1,
    samples: SamplesOption = 200,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
    line: LineOption = None,
    why: WhyOption = None,
    everything: AllOption = False,
    quiet: QuietOption = False,
) -> None:
    """Verify the finished mod: what was measured, with its uncertainty, and what explains a wrong level."""
    from guardcheck import pipeline

    options = pipeline.Options(
        seed=seed, samples=samples, workers=workers, allow_outside=allow_outside, circuits=circuits
    )
    given = pipeline.given(
        readings,
        capture or (),
        sync=sync,
        picture=picture or (),
        load=load or (),
        place=place or (),
        coupling=coupling or (),
        accuracy=accuracy,
    )
    check_targets((json, html), (*pipeline.files_named(job, options), readings, *captured_files(capture)))
    progress = Progress(quiet)
    result = pipeline.verify(job, given, options, progress)
    progress(1, 1, "")
    raise typer.Exit(show(result, json, html, Shown(quiet, everything, line, why, str(job))))
