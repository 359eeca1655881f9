"""Limits and the standards that hold them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

KNOWN_BY = {
    "read": "read in the reference named",
    "computed": "computed from values read in the reference named",
    "recalled": "from memory, unverified",
    "practice": "common practice, no published source",
    "assumed": "assumed, not declared",
}


ASSUMED = "assumed"
"""How a rating is known that nobody declared: what such a component usually has. Half of it is all that proves."""

PERSON, INTERFACE, WITHSTAND, WORKMANSHIP = "person", "interface", "withstand", "workmanship"
CLAIMS: Mapping[str, str] = {
    PERSON: "whether it can hurt somebody",
    INTERFACE: "whether it meets a published interface and spares the other apparatus",
    WITHSTAND: "what the unit's own parts take in stress events",
    WORKMANSHIP: "whether it is as good as it could be; decides nothing",
}
"""Kinds of claim: what a row is about, and so whether it may stop the hand-over."""


@dataclass(frozen=True, slots=True)
class Limit:
    """A bound on a quantity [SI unit of that quantity]; either end may be open (None).

    `reference` names document and edition, `clause` only what was seen there, `known_by` is a key of `KNOWN_BY`.
    `kind` is a key of `CLAIMS`; empty leaves the kind of claim to the rule that judges it.
    """

    quantity: str
    low: float | None
    high: float | None
    nominal: float | None
    reference: str
    known_by: str
    clause: str | None = None
    note: str | None = None
    kind: str = ""

    def cited(self) -> str:
        """Return the reference with its clause and how it is known, as shown to a reader."""
        where = self.reference if self.clause is None else f"{self.reference}, {self.clause}"
        return where if self.known_by == "read" else f"{where} ({KNOWN_BY[self.known_by]})"


@dataclass(frozen=True)
class Standard:
    """One standards file: which quantities a line of this kind has, and their limits.

    `signal` chooses the source's states (``picture``, ``sync`` …), `group` names lines that form one picture,
    `display` the reference display part, `extra` holds timing windows and test-signal data. `sha256` is the content of
    a user's own file, empty for one that comes with guardcheck.
    """

    name: str
    title: str
    edition: str
    signal: str
    quantities: tuple[str, ...]
    limits: Mapping[str, Limit]
    display: str
    group: str | None
    reference: str
    file: str
    extra: Mapping[str, Any] = field(default_factory=dict)
    sha256: str = ""
