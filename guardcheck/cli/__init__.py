"""The command line: parse, call `pipeline`, hand the result to `report`, map errors to exit codes.

Exit codes: 0 everything needed conforms, 10 something does not conform, 11 nothing fails but something is not proven,
2 bad input or usage, 3 no simulator could be started, 1 a bug. 130 and 141 are those of a program that was stopped by
its user, or whose output nobody reads any more.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys

import typer

from guardcheck.cli import expecting, guarding, handing_over, judging, proposing, reading, shelf
from guardcheck.cli.app import PipeClosed, app, bug, code_of
from guardcheck.errors import STOPPED, STOPPED_WORDS, GuardcheckError, printable

__all__ = ["app", "main"]

app.command()(judging.check)
app.command()(judging.verify)
app.command()(expecting.expect)
app.command()(reading.read)
app.command()(handing_over.checklist)
app.command()(handing_over.compare)
app.command()(guarding.guards)
app.command()(proposing.propose)
app.command("list")(shelf.list_)
app.command()(shelf.show)
app.command()(shelf.prove)
app.command()(shelf.new)


_GIVES_WAY = 5e-4
"""How long a thread that reads traces keeps the one waiting that hands out work [s]: the simulators idle meanwhile, and
a run takes them a few milliseconds."""


def _abandon_output() -> None:
    """Keep Python from trying once more to write what standard output does not take."""
    with contextlib.suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _say(words: str) -> None:
    """Write a sentence to stderr; where nobody reads that any more, the exit code still tells."""
    with contextlib.suppress(OSError):
        typer.echo(words, err=True)


def main() -> None:
    """Run the command line; every error is one sentence on stderr."""
    sys.setswitchinterval(_GIVES_WAY)
    if hasattr(signal, "SIGTERM"):
        signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))  # so that what is open is closed
    try:
        app(standalone_mode=True)
    except GuardcheckError as error:
        _say(f"guardcheck: {error}")
        sys.exit(code_of(error))
    except PipeClosed:
        _abandon_output()
        sys.exit(141)
    except SystemExit as ended:
        if ended.code == STOPPED:
            _say(STOPPED_WORDS)
        raise
    except OSError as error:
        _say(f"guardcheck: cannot read or write: {error.strerror or error}")
        _abandon_output()
        sys.exit(2)
    except Exception as error:
        _say(f"guardcheck: {printable(bug(error))}")
        sys.exit(1)
