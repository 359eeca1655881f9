"""Run as `python -m guardcheck`, and what the installed command starts: little, so that Ctrl-C is heard at once."""

from __future__ import annotations

import signal
import sys
from types import FrameType
from typing import NoReturn

from guardcheck.errors import STOPPED, STOPPED_WORDS


class Stopped(KeyboardInterrupt):
    """Ctrl-C. Python ends a program in which its own KeyboardInterrupt was once under way by the signal, not a code."""


def _stop(number: int, frame: FrameType | None) -> NoReturn:
    raise Stopped


def main() -> None:
    """Load the command line and run it; a user who stops it, even while it loads, is told in one line."""
    try:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            signal.signal(signal.SIGINT, _stop)
        from guardcheck.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.stderr.write(f"{STOPPED_WORDS}\n")
        sys.exit(STOPPED)


if __name__ == "__main__":
    main()
