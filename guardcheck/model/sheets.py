"""What `list` and `show` print, as records."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class ShelfItem:
    """One member of the shelf."""

    kind: str
    name: str
    title: str


@dataclass(frozen=True, slots=True)
class Row:
    """One parameter, limit or part: name, value, remark, and what it means or where it comes from."""

    name: str
    value: str
    remark: str
    meaning: str


@dataclass(frozen=True)
class Sheet:
    """One page of `show`: headed sections of rows, and free text at the end."""

    kind: str
    name: str
    title: str
    purpose: str
    sections: tuple[tuple[str, tuple[Row, ...]], ...]
    text: str = ""
    reference: str = ""


@dataclass(frozen=True, slots=True)
class Proof:
    """One check of one part, run: its outcome, why it has that one, and the numbers [`unit`] where there are any."""

    member: str
    what: str
    outcome: str
    why: str
    unit: str = ""
    found: float | None = None
    wanted: float | None = None
    tolerance: float | None = None
