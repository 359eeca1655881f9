"""What is presumed of instruments, from instruments.toml, each figure with where it comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from guardcheck.errors import InputError
from guardcheck.model import KNOWN_BY
from guardcheck.toml_tables import read_table

FILE = Path(__file__).parent.parent / "instruments.toml"
STATED = "stated in the readings file"


@dataclass(frozen=True, slots=True)
class Figure:
    """One presumed figure: its text as written, its reference and how that is known."""

    text: str
    reference: str
    known_by: str = ""

    def cited(self) -> str:
        """Return the reference as shown to a reader, with how it is known unless it was read or stated."""
        how = KNOWN_BY.get(self.known_by)
        presumed = self.reference if self.reference == STATED else f"presumed: {self.reference}"
        return presumed if how is None or self.known_by == "read" else f"{presumed} ({how})"


@cache
def presumed() -> Mapping[str, Mapping[str, Figure]]:
    """Return the figures of instruments.toml by instrument and name."""
    top, _ = read_table(FILE, error=InputError)
    found: dict[str, Mapping[str, Figure]] = {}
    for kind in top:
        table = top.table(kind)
        found[kind] = {
            name: Figure(row.text("value"), row.text("reference"), row.word("known_by", tuple(KNOWN_BY)))
            for name, row in ((name, table.table(name)) for name in table if name != "title")
        }
    return found


def figures(kind: str, stated: Mapping[str, str] | None = None) -> Mapping[str, Figure]:
    """Return the figures of an instrument, those in `stated` replacing the presumed ones."""
    own = {name: Figure(text, STATED) for name, text in (stated or {}).items()}
    return {**presumed()[kind], **own}
