"""Limits and the standards that hold them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

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


@dataclass(frozen=True, slots=True)
class ScanTiming:
    """One scan line as it is drawn [s]; `edge` is the 10 to 90 % time of its transitions."""

    line_period: float
    line_blanking: float
    front_porch: float
    sync_width: float
    edge: float

    @property
    def back_porch(self) -> float:
        """From the end of sync to the start of the picture [s]."""
        return self.line_blanking - self.front_porch - self.sync_width


@dataclass(frozen=True, slots=True)
class Colour:
    """The colour carrier [Hz] and its burst: amplitude [V peak to peak], start after sync and length [s], if stated."""

    subcarrier: float | None = None
    burst: float | None = None
    burst_start: float | None = None
    burst_length: float | None = None


@dataclass(frozen=True, slots=True)
class TestPicture:
    """Levels of test pictures as shares of 100 % white, blanking at 0; `setup` is black."""

    __test__ = False

    bars_75_white: float | None = None
    bars_75_peak: float | None = None
    bars_100_peak: float = 1.0
    setup: float = 0.0


@dataclass(frozen=True, slots=True)
class Window:
    """A window of direct voltage [V] that means something, such as a switching level."""

    means: str
    low: float
    high: float
    known_by: str
    reference: str


@dataclass(frozen=True)
class Standard:
    """One standards file: which quantities a line of this kind has, and their limits.

    `signal` chooses the source's states (``picture``, ``sync`` …), `group` names lines that form one picture,
    `display` the reference display part. `captured` are the quantities only a capture can hold. Rates are in hertz,
    `rise_time` in seconds, `band` is the signal's lowest and highest frequency [Hz]. `field_rate_declared` tells that
    the job said it. `own_input`: the line does not end in the picture's input; `any_rate`: its line rate is the unit's
    own; `shared_rate`: its connector also carries other rates. `sha256` is the content of a user's own file, empty for
    one that comes with guardcheck.
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
    timing: ScanTiming
    line_rate: float
    field_rate: float
    rise_time: float
    band: tuple[float, float]
    captured: tuple[str, ...] = ()
    colour: Colour = Colour()
    test_picture: TestPicture = TestPicture()
    windows: tuple[Window, ...] = ()
    caution: str | None = None
    own_input: bool = False
    any_rate: bool = False
    shared_rate: bool = False
    field_rate_declared: bool = False
    sha256: str = ""
