"""`check` and `verify`: the plan before soldering, the measurements after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from guardcheck.cli.app import (
    OUTCOME_CODES,
    WORST_FIRST,
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
    bug,
    captured_files,
    check_targets,
    code_of,
    in_folder,
    show,
    write,
)
from guardcheck.errors import GuardcheckError, InputError

if TYPE_CHECKING:
    from guardcheck.engine import Engine
    from guardcheck.model import Result
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
    line: LineOption = None,
    why: WhyOption = None,
    everything: AllOption = False,
    quiet: QuietOption = False,
) -> None:
    """Check a planned mod: levels, impedance, what the guard changes, and the declared bench facts."""
    from guardcheck.engine import Engine

    with Engine(workers=workers, wait=False) as engine:  # it starts while the rest of guardcheck is loaded
        from guardcheck.pipeline import Options

        options = Options(seed=seed, samples=samples, workers=workers, allow_outside=allow_outside, circuits=circuits)
        if len(jobs) == 1:
            shown = Shown(quiet, everything, line, why, str(jobs[0]))
            raise typer.Exit(_check_one(jobs[0], options, engine, json, html, svg, shown))
        raise typer.Exit(_check_many(jobs, options, engine, json, html, svg, quiet))


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

    if html is not None:
        report.prepare_pictures()
    check_targets((json, html, svg), pipeline.files_named(job, options))
    progress = Progress(shown.quiet)
    result = pipeline.check(job, options, progress, engine)
    progress(1, 1, "")
    return show(result, json, html, shown, svg)


def _check_many(
    jobs: list[Path],
    options: Options,
    engine: Engine,
    json: str | None,
    html: Path | None,
    svg: Path | None,
    quiet: bool,
) -> int:
    from guardcheck import pipeline, report

    if json == "-":
        raise InputError("--json - prints one result; name a folder when there are several jobs", key="--json")
    names = report.unique_names(jobs)
    named = [file for job in jobs for file in pipeline.files_named(job, options)]
    folders = ((json and Path(json), "json"), (html, "html"))
    planned = [folder / f"{name}.{end}" for folder, end in folders if folder and folder.exists() for name in names]
    check_targets(planned, named)
    progress = Progress(quiet)
    rows: list[tuple[str, Result | str]] = []
    codes: list[int] = []
    for index, (job, name) in enumerate(zip(jobs, names, strict=True), start=1):
        try:
            result = pipeline.check(job, options, progress.prefixed(f"job {index} of {len(jobs)}"), engine)
            write(
                result,
                None if json is None else str(in_folder(Path(json), f"{name}.json")),
                None if html is None else in_folder(html, f"{name}.html"),
                None if svg is None else in_folder(svg, f"{name}.svg"),
            )
            rows.append((name, result))
            codes.append(OUTCOME_CODES[result.outcome])
        except GuardcheckError as error:
            rows.append((name, str(error)))
            codes.append(code_of(error))
        except Exception as error:  # one broken job must not stop the others
            rows.append((name, bug(error)))
            codes.append(1)
    progress(1, 1, "")
    typer.echo(report.summary(rows), nl=False)
    return min(codes, key=WORST_FIRST.index)


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
