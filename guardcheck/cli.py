"""The command line: parse, call `pipeline`, hand the result to `report`, map errors to exit codes.

Exit codes: 0 everything needed conforms, 10 something does not conform, 11 nothing fails but something is not proven,
2 bad input or usage, 3 no simulator could be started, 1 a bug.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from guardcheck.errors import EngineMissing, GuardcheckError, InputError

if TYPE_CHECKING:
    from guardcheck.model import Result

OUTCOME_CODES = {"conforms": 0, "not_applicable": 11, "not_proven": 11, "does_not_conform": 10}
WORST_FIRST = (1, 3, 2, 10, 11, 0)

app = typer.Typer(
    help="Check an analogue-video mod before soldering, verify it after, and say what nobody has proven.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

JsonOption = Annotated[
    str | None, typer.Option("--json", metavar="FILE|-", help="Write the result as JSON (a folder for several jobs).")
]
HtmlOption = Annotated[
    Path | None,
    typer.Option("--html", metavar="FILE", help="Write one self-contained page (a folder for several jobs)."),
]
SeedOption = Annotated[int, typer.Option(min=0, help="Seed of the tolerance samples: same seed, same result.")]
SamplesOption = Annotated[int, typer.Option(min=0, max=100_000, help="Tolerance samples for each line.")]
WorkersOption = Annotated[
    int | None, typer.Option(min=1, max=64, help="Simulator processes; the result does not depend on it.")
]
QuietOption = Annotated[bool, typer.Option("--quiet", help="Print the outcome only, no tables, no progress.")]
OutsideOption = Annotated[
    bool, typer.Option("--allow-outside", help="Let paths in the job file leave the job's own folder.")
]
CircuitsOption = Annotated[
    Path | None, typer.Option("--circuits", metavar="DIR", help="Your own circuit folder, searched first.")
]


class _Progress:
    """One line of progress on a terminal, nothing anywhere else."""

    def __init__(self, quiet: bool) -> None:
        self.shown = not quiet and sys.stderr.isatty()

    def __call__(self, done: int, total: int, what: str) -> None:
        if self.shown:
            sys.stderr.write(f"\r\033[K{what} ({done} of {total})" if done < total else "\r\033[K")
            sys.stderr.flush()

    def prefixed(self, prefix: str) -> Callable[[int, int, str], None]:
        """Return the same progress with a prefix, for one job of many."""
        return lambda done, total, what: self(min(done, total - 1), total, f"{prefix}: {what}")


@app.command()
def check(
    jobs: Annotated[list[Path], typer.Argument(metavar="JOB...", help="Job files (guardcheck new writes one).")],
    json: JsonOption = None,
    html: HtmlOption = None,
    seed: SeedOption = 1,
    samples: SamplesOption = 200,
    workers: WorkersOption = None,
    circuits: CircuitsOption = None,
    allow_outside: OutsideOption = False,
    quiet: QuietOption = False,
) -> None:
    """Check a planned mod: levels, impedance, what the guard changes, and the declared bench facts."""
    from guardcheck.pipeline import Options

    options = Options(seed=seed, samples=samples, workers=workers, allow_outside=allow_outside, circuits=circuits)
    if len(jobs) == 1:
        raise typer.Exit(_check_one(jobs[0], options, json, html, quiet))
    raise typer.Exit(_check_many(jobs, options, json, html, quiet))


def _check_one(job: Path, options: object, json: str | None, html: Path | None, quiet: bool) -> int:
    from guardcheck import pipeline

    progress = _Progress(quiet)
    result = pipeline.check(job, options, progress)  # type: ignore[arg-type]
    progress(1, 1, "")
    return _show(result, json, html, quiet)


def _show(result: Result, json: str | None, html: Path | None, quiet: bool) -> int:
    """Write and print one result; return the exit code of its outcome."""
    from guardcheck import report

    _write(result, json, html)
    if json != "-":
        typer.echo(report.to_outcome(result) if quiet else report.to_terminal(result), nl=False)
    return OUTCOME_CODES[result.outcome]


def _write(result: Result, json: str | None, html: Path | None) -> None:
    from guardcheck import report

    if json == "-":
        typer.echo(report.to_json(result), nl=False)
    elif json is not None:
        report.write_text(Path(json), report.to_json(result))
    if html is not None:
        report.write_text(html, report.to_html(result))


def _check_many(jobs: list[Path], options: object, json: str | None, html: Path | None, quiet: bool) -> int:
    from guardcheck import pipeline, report

    if json == "-":
        raise InputError("--json - prints one result; name a folder when there are several jobs", key="--json")
    names = report.unique_names(jobs)
    progress = _Progress(quiet)
    rows: list[tuple[str, Result | str]] = []
    codes: list[int] = []
    for index, (job, name) in enumerate(zip(jobs, names, strict=True), start=1):
        try:
            result = pipeline.check(job, options, progress.prefixed(f"job {index} of {len(jobs)}"))  # type: ignore[arg-type]
            _write(
                result,
                None if json is None else str(_in_folder(Path(json), f"{name}.json")),
                None if html is None else _in_folder(html, f"{name}.html"),
            )
            rows.append((name, result))
            codes.append(OUTCOME_CODES[result.outcome])
        except GuardcheckError as error:
            rows.append((name, str(error)))
            codes.append(_code(error))
        except Exception as error:  # one broken job must not stop the others
            rows.append((name, _bug(error)))
            codes.append(1)
    progress(1, 1, "")
    typer.echo(report.summary(rows), nl=False)
    return min(codes, key=WORST_FIRST.index)


def _in_folder(folder: Path, name: str) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot make the folder: {error.strerror}", file=str(folder)) from None
    return folder / name


@app.command()
def verify(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job file the mod was built to.")],
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", help="What you read (guardcheck new FILE --for JOB).")
    ] = None,
    capture: Annotated[
        list[str] | None,
        typer.Option("--capture", metavar="LINE=FILE", help="A scope's CSV of one line; LINE=FILE#CHANNEL picks one."),
    ] = None,
    sync: Annotated[
        str | None,
        typer.Option("--sync", metavar="CHANNEL", help="The channel with sync, for lines without their own."),
    ] = None,
    picture: Annotated[
        list[str] | None,
        typer.Option("--picture", metavar="[LINE=]WORD", help="Captured picture: white, bars-100, bars-75, other."),
    ] = None,
    load: Annotated[
        list[str] | None, typer.Option("--load", metavar="[LINE=]WORD", help="Captured load: terminated or open.")
    ] = None,
    place: Annotated[
        list[str] | None, typer.Option("--place", metavar="[LINE=]WORD", help="Captured at: display, connector or pin.")
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
        accuracy=accuracy,
    )
    progress = _Progress(quiet)
    result = pipeline.verify(job, given, options, progress)
    progress(1, 1, "")
    raise typer.Exit(_show(result, json, html, quiet))


@app.command("list")
def list_(
    kind: Annotated[str | None, typer.Argument(metavar="[KIND]", help="stages, guards, standards … (all)")] = None,
    circuits: CircuitsOption = None,
) -> None:
    """List what is on the shelf: sources, stages, guards, cables, displays, events, standards."""
    from guardcheck import pipeline, report

    typer.echo(report.shelf(pipeline.shelf(kind, circuits)), nl=False)


@app.command()
def show(
    name: Annotated[str, typer.Argument(metavar="NAME", help="A name from guardcheck list.")],
    circuits: CircuitsOption = None,
) -> None:
    """Show one part or standard: parameters, ranges, where to find the values, ratings, limits, sources."""
    from guardcheck import pipeline, report

    typer.echo(report.sheet(pipeline.describe(name, circuits)), nl=False)


@app.command()
def new(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="The file to write, a job or readings; it must not exist yet.")
    ],
    for_: Annotated[
        Path | None, typer.Option("--for", metavar="JOB", help="Write a readings file for the lines of this job.")
    ] = None,
    allow_outside: OutsideOption = False,
) -> None:
    """Write a commented job file to fill in; with --for JOB, a readings file for that job."""
    from guardcheck import pipeline, report

    if file.exists():
        raise InputError("this file exists already; name a new one", file=str(file))
    if for_ is None:
        report.write_text(file, pipeline.new_job_text())
        typer.echo(f"wrote {file}; fill it in, then run: guardcheck check {file}")
        return
    report.write_text(file, pipeline.new_readings(for_, pipeline.Options(allow_outside=allow_outside)))
    typer.echo(f"wrote {file}; fill it in, then run: guardcheck verify {for_} --readings {file}")


def _code(error: GuardcheckError) -> int:
    if isinstance(error, EngineMissing):
        return 3
    return 2 if isinstance(error, InputError) else 1


def _bug(error: BaseException) -> str:
    return f"this is a bug in guardcheck ({type(error).__name__}: {error}); please report it with the job file"


def main() -> None:
    """Run the command line; every error is one sentence on stderr."""
    try:
        app(standalone_mode=True)
    except GuardcheckError as error:
        typer.echo(f"guardcheck: {error}", err=True)
        sys.exit(_code(error))
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except Exception as error:
        typer.echo(f"guardcheck: {_bug(error)}", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
