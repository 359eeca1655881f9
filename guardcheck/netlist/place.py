"""Where in a netlist something stands, and how to quote a stranger's text in a message."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from guardcheck.errors import CircuitError

_QUOTED = 40
_LISTED = 40


@dataclass(frozen=True, slots=True)
class Place:
    """A file, a line number and the card being read; turns a problem into the error that names all three."""

    file: str
    line: int | None = None
    key: str | None = None

    def error(self, problem: str) -> CircuitError:
        """Return (not raise) the error for `problem`."""
        return CircuitError(problem, file=self.file, key=self.key, line=self.line)

    def at(self, line: int | None = None, key: str | None = None) -> Place:
        """Return the same file at another line or card."""
        return replace(self, line=self.line if line is None else line, key=self.key if key is None else key)


def choices(names: Iterable[str]) -> str:
    """Return accepted names as a list for messages; a stranger's list may be long, so it is cut."""
    known = sorted(names)
    more = f" and {len(known) - _LISTED} more" if len(known) > _LISTED else ""
    return ", ".join(known[:_LISTED]) + more


def quoted(text: str) -> str:
    """Return `text` in quotes, shortened, with everything that could disturb a terminal escaped."""
    short = text if len(text) <= _QUOTED else text[: _QUOTED - 3] + "..."
    return f"'{short}'" if short.isprintable() else "'" + ascii(short)[1:-1] + "'"
