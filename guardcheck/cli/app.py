"""The application, the options its commands share, and how results and errors leave it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from guardcheck.errors import STOPPED, EngineMissing, GuardcheckError, InputError, Interrupted
from guardcheck.version import __version__

if TYPE_CHECKING:
    from guardcheck.model import Result

OUTCOME_CODES = {"conforms": 0, "not_applicable": 11, "not_proven": 11, "does_not_conform": 10}
WORST_FIRST = (1, 3, 2, 10, 11, 0)


class PipeClosed(Exception):
    """Whoever read standard output has gone: nothing is wrong, and nothing more is wanted."""


class Commands(TyperGroup):
    """The commands. A reader that leaves is no mistake of anybody, and leaves them by a name of its own."""

    def invoke(self, ctx: Any) -> Any:
        """Run a command."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise PipeClosed from None


app = typer.Typer(
    cls=Commands,
    help="Check an analogue-video mod before soldering, verify it after, and say what nobody has proven.",
    no_args_is_help=True,
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
SvgOption = Annotated[
    Path | None, typer.Option("--svg", metavar="FILE", help="Draw every line as a picture (a folder for several jobs).")
]
LineOption = Annotated[
    str | None, typer.Option("--line", metavar="NAME", help="Print every row of one line ('unit': of the unit itself).")
]
WhyOption = Annotated[
    str | None, typer.Option("--why", metavar="ID", help="Print all that is known of one finding; words of its id do.")
]
AllOption = Annotated[bool, typer.Option("--all", help="Print the full record instead of the short answer.")]
SyncOption = Annotated[
    str | None,
    typer.Option(
        "--sync",
        metavar="CHANNEL",
        help="The channel with sync, for lines without their own; captures are joined by it.",
    ),
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


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"guardcheck {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and exit.")
    ] = False,
) -> None:
    """Take what stands before a command; all the work is in the callbacks of the options."""


class Progress:
    """One line of progress on a terminal, nothing anywhere else."""

    def __init__(self, quiet: bool) -> None:
        self.shown = not quiet and sys.stderr.isatty()

    def __call__(self, done: int, total: int, what: str) -> None:
        """Show what is being done; clear the line when all is done."""
        if self.shown:
            sys.stderr.write(f"\r\033[K{what} ({done} of {total})" if done < total else "\r\033[K")
            sys.stderr.flush()

    def prefixed(self, prefix: str) -> Callable[[int, int, str], None]:
        """Return the same progress with a prefix, for one job of many."""
        return lambda done, total, what: self(min(done, total - 1), total, f"{prefix}: {what}")


@dataclass(frozen=True)
class Shown:
    """How much of a result is printed; nothing set is the short answer."""

    quiet: bool = False
    everything: bool = False
    line: str | None = None
    why: str | None = None
    job: str = ""


def show(result: Result, json: str | None, html: Path | None, shown: Shown, svg: Path | None = None) -> int:
    """Write and print one result; return the exit code of its outcome."""
    text = printed(result, shown)
    write(result, json, html, svg)
    if json != "-":
        typer.echo(text, nl=False)
    return OUTCOME_CODES[result.outcome]


def printed(result: Result, shown: Shown) -> str:
    """Return what is printed of a result. Raises `InputError` for a line or an id it has not."""
    from guardcheck import report

    if shown.quiet:
        return report.to_outcome(result)
    if shown.why is not None:
        return report.to_why(result, shown.why)
    if shown.line is not None:
        return report.to_terminal(report.only_line(result, shown.line))
    if shown.everything:
        return report.to_terminal(result)
    short = report.to_short_reading if result.command == "verify" else report.to_short
    return short(result, job=shown.job)


def write(result: Result, json: str | None, html: Path | None, svg: Path | None = None) -> None:
    """Write one result where the options say."""
    from guardcheck import report

    if json == "-":
        typer.echo(report.to_json(result), nl=False)
    elif json is not None:
        report.write_text(Path(json), report.to_json(result))
    if html is not None:
        report.write_text(html, report.to_html(result))
    if svg is not None:
        report.write_text(svg, report.lines_svg(result))


def captured_files(captures: Sequence[str] | None) -> tuple[Path, ...]:
    """Return the files of captures written as LINE=FILE or LINE=FILE#CHANNEL."""
    return tuple(Path(one.partition("=")[2].partition("#")[0]) for one in captures or ())


def check_targets(targets: Sequence[Path | str | None], inputs: Sequence[Path | None]) -> None:
    """Refuse outputs that cannot be written, or would replace an input or another output, before any work.

    An input may be a folder: nothing is written into it.
    """
    taken = [(_real(path), "an input") for path in inputs if path is not None]
    for target in targets:
        if target is None or str(target) == "-":
            continue
        path = Path(target)
        real = _real(path)
        for other, what in taken:
            if _same(real, other) or (other.is_dir() and real.is_relative_to(other)):
                raise InputError(f"this is {what} already; name another file to write", file=str(path))
        if real.is_dir():
            raise InputError("is a folder; name a file to write", file=str(path))
        if not real.parent.is_dir():
            raise InputError("its folder does not exist; make it first", file=str(path))
        if not os.access(real.parent, os.W_OK):
            raise InputError("its folder cannot be written to", file=str(path))
        if real.is_file() and not real.stat().st_mode & 0o222:
            raise InputError("is read-only; name another file to write", file=str(path))
        taken.append((real, "another output"))


def _real(path: Path) -> Path:
    """Return where a path leads once links are followed. Raises `InputError` for links that lead in a circle."""
    try:
        path.stat()
    except FileNotFoundError:
        pass
    except (OSError, ValueError) as problem:
        reason = problem.strerror if isinstance(problem, OSError) and problem.strerror else "the path is not usable"
        raise InputError(f"cannot be read or written: {reason.lower()}", file=str(path)) from None
    return path.resolve()


def _same(one: Path, other: Path) -> bool:
    """Tell whether two paths are one file, by whatever name or link."""
    try:
        return one == other or one.samefile(other)
    except OSError:
        return False


def in_folder(folder: Path, name: str) -> Path:
    """Return a file's place in a folder, which is made if it is not there."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"cannot make the folder: {error.strerror}", file=str(folder)) from None
    return folder / name


def code_of(error: GuardcheckError) -> int:
    """Return the exit code of an error raised on purpose."""
    if isinstance(error, Interrupted):
        return STOPPED
    if isinstance(error, EngineMissing):
        return 3
    return 2 if isinstance(error, InputError) else 1


def bug(error: BaseException) -> str:
    """Return the sentence for an error nobody meant."""
    return f"this is a bug in guardcheck ({type(error).__name__}: {error}); please report it with the job file"
