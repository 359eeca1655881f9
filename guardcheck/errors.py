"""The error tree. Every error a user can cause is one clear sentence; only `cli` turns it into an exit code.

GuardcheckError
├── InputError(ValueError)         bad input or usage: exit code 2
│   ├── JobError                   the job file (or a readings file)
│   │   └── UnitError              a physical value in it
│   ├── CircuitError               a netlist or a part's metadata
│   └── StandardError              a standards file
└── EngineError(RuntimeError)      ngspice
    ├── EngineMissing              no simulator could be started: exit code 3
    └── DeckRefused                a deck the engine will not run (it would hang or lie)

A deck that fails to converge is *not* an exception: it comes back as a `Trace` with a `failure`, and becomes a
`not_proven` finding.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterable

STOPPED = 130
"""The exit code of a command its user has stopped with Ctrl-C: 128 and the number of the signal, as shells have it."""
STOPPED_WORDS = "guardcheck: stopped; what was written before is whole"


class GuardcheckError(Exception):
    """Base of all errors raised on purpose."""


class Interrupted(GuardcheckError):
    """The user stopped a batch: how far it came, in one sentence."""


class InputError(GuardcheckError, ValueError):
    """Bad input: says where, what was found, what is accepted, and the nearest valid name.

    Parameters
    ----------
    problem : what is wrong, as a sentence without the place
    file : file the input came from, if any
    key : dotted key inside the file, such as ``line[1].stage``
    line : line number in the file, if known

    """

    def __init__(
        self, problem: str, *, file: str | None = None, key: str | None = None, line: int | None = None
    ) -> None:
        self.problem, self.file, self.key, self.line = problem, file, key, line
        super().__init__(self.sentence())

    def sentence(self) -> str:
        """Return the whole sentence, place first, on one line and with nothing in it that a terminal would obey."""
        place = self.file or ""
        if self.line is not None:
            place += f":{self.line}" if place else f"line {self.line}"
        parts = [part for part in (place, self.key) if part]
        return printable(f"{': '.join(parts)}: {self.problem}" if parts else self.problem)

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.problem, self.file, self.key, self.line)


def printable(text: str) -> str:
    """Return text without what a terminal obeys or hides: controls, direction overrides, characters of no width."""
    spaced = (" " if char in "\t\n\r\v\f\x85\u2028\u2029" else char for char in text)
    return "".join(char for char in spaced if unicodedata.category(char) not in ("Cc", "Cf", "Cs"))


def _rebuild(kind: type[InputError], problem: str, file: str | None, key: str | None, line: int | None) -> InputError:
    return kind(problem, file=file, key=key, line=line)


class JobError(InputError):
    """The job file or a readings file cannot be understood."""


class UnitError(JobError):
    """A physical value has no unit, the wrong one, or an impossible size."""


class CircuitError(InputError):
    """A netlist or a part's metadata cannot be used."""


class StandardError(InputError):
    """A standards file cannot be used."""


class UnknownQuantity(GuardcheckError):
    """A rule or a study speaks of a quantity that has no row in the table of quantities."""


class EngineError(GuardcheckError, RuntimeError):
    """ngspice failed in a way that is not the deck's."""


class EngineMissing(EngineError):
    """No simulator could be started."""


class DeckRefused(EngineError):
    """The engine will not run this deck because ngspice would hang or answer wrongly without a message."""


def nearest(word: str, known: Iterable[str]) -> str:
    """Return ``"; did you mean 'x'?"`` for the nearest known name, or an empty string."""
    match = difflib.get_close_matches(word.casefold(), list(known), n=1, cutoff=0.5)
    return f"; did you mean '{match[0]}'?" if match else ""


def accepted(known: Iterable[str]) -> str:
    """Return the accepted names as ``a, b, c``."""
    return ", ".join(sorted(known))
