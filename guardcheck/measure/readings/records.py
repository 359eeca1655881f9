"""A reading as typed in, and the words it may use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from guardcheck.metrology import Accuracy, Budget
from guardcheck.model import QUANTITIES, Quantity

AT_LEAST, AT_MOST = "at_least", "at_most"

PICTURES: Mapping[str, float | None] = {"white": 1.0, "bars-100": 1.0, "bars-75": 0.75, "other": None}
"""Brightness of the brightest plain part of the picture, as a fraction of 100 % white; None when nobody knows."""

PLACES: Mapping[str, str] = {
    "display": "at the display input",
    "connector": "at the unit's connector",
    "pin": "at the chip's pin",
}
LOADS: Mapping[str, str] = {"terminated": "into 75 ohm", "open": "with nothing but the instrument connected"}
PROBES: Mapping[str, float] = {"x1": 1.0, "x10": 10.0, "x100": 100.0}
SCALES_AT: Mapping[str, str] = {
    "tip": "the instrument was told about the probe: the scale is that at the probe's tip",
    "input": "the scale is that at the instrument's own input: the probe still divides",
}
COUPLINGS: Mapping[str, str] = {
    "dc": "direct coupling: the trace stands where the line stands",
    "ac": "coupled through a capacitor: the direct voltage is hidden",
}
INSTRUMENTS = ("scope", "meter")
READABLE: tuple[str, ...] = tuple(
    name
    for name in QUANTITIES
    if name.split(".")[0] in ("level", "burst", "timing", "noise", "response")
    and name not in ("level.mismatch", "level.headroom", "response.return_loss", "response.bandwidth")
)
"""Quantities a reading may give; the others are computed from them or simulated."""

AMPLITUDES = ("level.white", "level.black", "level.sync", "level.pp", "burst.amplitude", "noise.rms")
"""Differences of two levels: they scale with the load, and a constant offset of the instrument drops out."""

DIRECT = ("level.blank", "level.high", "level.low")
"""Levels against 0 V: an offset of the instrument counts in full, and an open line says little of the loaded one."""


@dataclass(frozen=True)
class Reading:
    """One `[[reading]]`.

    `seen` is the value on the instrument in SI units (divisions times scale, without the probe's factor); `division`
    one division in the same unit, None when no scale was given; `by_eye` tells that divisions were counted. `probe`
    is the attenuation, None when not declared; `termination` and `probe_tolerance` are fractions. `unread` marks a
    value of ``"unknown"``: a place kept for a reading nobody has taken yet. `steady` says that the line carried no
    signal while it was read; `coupling` is the oscilloscope's.
    """

    line: str
    quantity: str
    seen: float
    written: str
    instrument: str
    division: float | None = None
    by_eye: bool = False
    probe: float | None = None
    scale_at: str | None = None
    place: str | None = None
    load: str | None = None
    picture: str | None = None
    accuracy: Accuracy | None = None
    resolution: float | None = None
    range: float | None = None
    termination: float | None = None
    probe_tolerance: float | None = None
    note: str = ""
    presumed: Mapping[str, str] = field(default_factory=dict)
    file: str = ""
    key: str = ""
    unread: bool = False
    coupling: str | None = None
    steady: bool = False

    @property
    def unit(self) -> str:
        """SI unit of the quantity."""
        return QUANTITIES[self.quantity].unit


@dataclass(frozen=True)
class CaptureNote:
    """One `[[capture]]`: how a line was captured, as far as it is said; the words are those of a reading.

    `timebase` is the instrument's, a fraction; `division` the vertical scale [V] and `offset` what the middle of the
    screen stands for [V]; `probe` an attenuation, `probe_tolerance` and `termination` fractions. `joins` names the line
    whose capture is used with this one as one: both hold the channel with sync.
    """

    line: str
    picture: str | None = None
    load: str | None = None
    place: str | None = None
    coupling: str | None = None
    probe: float | None = None
    scale_at: str | None = None
    division: float | None = None
    offset: float | None = None
    accuracy: Accuracy | None = None
    timebase: float | None = None
    probe_tolerance: float | None = None
    termination: float | None = None
    joins: str | None = None
    file: str = ""
    key: str = ""


@dataclass(frozen=True)
class ReadingsFile:
    """A readings file: what was read, how lines were captured, and what is said of every capture (None: nothing)."""

    readings: tuple[Reading, ...] = ()
    captures: tuple[CaptureNote, ...] = ()
    coupling: str | None = None
    timebase: float | None = None
    accuracy: Accuracy | None = None

    def capture(self, line: str) -> CaptureNote:
        """Return what is said of a line's capture, with what holds for every capture filled in."""
        note = next((one for one in self.captures if one.line == line), CaptureNote(line))
        return replace(
            note,
            coupling=note.coupling or self.coupling,
            timebase=self.timebase if note.timebase is None else note.timebase,
            accuracy=note.accuracy or self.accuracy,
        )


@dataclass(frozen=True)
class Evaluation:
    """What a reading proves: one quantity, its budget (None when there is no value), and the steps that led there."""

    reading: Reading
    quantity: Quantity
    budget: Budget | None = None
    steps: tuple[str, ...] = ()

    @property
    def quantities(self) -> tuple[Quantity, ...]:
        """The quantity, as a tuple to be joined with others."""
        return (self.quantity,)
