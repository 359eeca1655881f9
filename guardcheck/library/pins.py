"""Rating sets of chip pins by family: what data sheets of one kind of chip allow, where the chip's own is missing."""

from __future__ import annotations

from pathlib import Path

from guardcheck.errors import CircuitError
from guardcheck.files import digest_of
from guardcheck.library.schema import PIN_RATINGS
from guardcheck.model import KNOWN_BY, PinFamily
from guardcheck.toml_tables import read_table

FOLDER = "pins"


def read_family(name: str, path: Path, *, shown: str) -> PinFamily:
    """Return the rating set of one family.

    Raises
    ------
    CircuitError
        the file is not a table of ratings

    """
    top, data = read_table(path, error=CircuitError)
    top.only("title", "purpose", "reference", "known_by", "voltage_by_current", "ratings")
    table = top.table("ratings")
    table.only(*PIN_RATINGS)
    ratings = table.reals(PIN_RATINGS)
    wrong = [rating for rating, value in ratings.items() if value <= 0.0]
    if not ratings or wrong:
        table.refuse(wrong[0] if wrong else None, "a rating above zero is wanted")
    return PinFamily(
        name=name,
        title=top.text("title"),
        purpose=top.text("purpose"),
        ratings=ratings,
        reference=top.text("reference"),
        known_by=top.word("known_by", tuple(KNOWN_BY)),
        file=shown,
        sha256=digest_of(data),
        voltage_by_current=top.flag("voltage_by_current"),
    )
