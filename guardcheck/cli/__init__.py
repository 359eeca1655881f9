"""The command line: parse, call `pipeline`, hand the result to `report`, map errors to exit codes.

Exit codes: 0 everything needed conforms, 10 something does not conform, 11 nothing fails but something is not proven,
2 bad input or usage, 3 no simulator could be started, 1 a bug.
"""

from __future__ import annotations

import contextlib
import os
import sys

import typer

from guardcheck.cli import guarding, handing_over, judging, proposing, shelf
from guardcheck.cli.app import app, bug, code_of
from guardcheck.errors import GuardcheckError

__all__ = ["app", "main"]

app.command()(judging.check)
app.command()(judging.verify)
app.command()(handing_over.checklist)
app.command()(handing_over.compare)
app.command()(guarding.guards)
app.command()(proposing.propose)
app.command("list")(shelf.list_)
app.command()(shelf.show)
app.command()(shelf.new)


def _abandon_output() -> None:
    """Keep Python from trying once more to write what standard output does not take."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main() -> None:
    """Run the command line; every error is one sentence on stderr."""
    try:
        app(standalone_mode=True)
    except GuardcheckError as error:
        typer.echo(f"guardcheck: {error}", err=True)
        sys.exit(code_of(error))
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)
    except OSError as error:
        typer.echo(f"guardcheck: cannot read or write: {error.strerror or error}", err=True)
        _abandon_output()
        sys.exit(2)
    except Exception as error:
        typer.echo(f"guardcheck: {bug(error)}", err=True)
        sys.exit(1)
