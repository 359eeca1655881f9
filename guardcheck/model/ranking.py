"""Guards compared on one line: what each stress event leaves to spare, and what each guard takes from the signal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from guardcheck.model.deck import EngineInfo
from guardcheck.model.findings import DOES_NOT_CONFORM, CircuitUsed


@dataclass(frozen=True)
class Ranked:
    """One guard in one place.

    `margins` [dB] and `outcomes` go by event name; an outcome is the worst of pin, parts and dissipation. Side effects
    are shares of the wanted signal (`level_error`, `distortion`), the bandwidth [Hz], and what is lost of the sync tip;
    `signal` holds their outcomes by quantity name. `rail` is the highest the rail is lifted to by any event [V],
    `part_margin` the least of the guard's and stage's own parts [dB]. `as_planned` marks what the job itself fits.
    """

    name: str
    place: str | None
    title: str
    parts: int
    as_planned: bool
    margins: Mapping[str, float | None]
    outcomes: Mapping[str, str]
    estimates: frozenset[str] = frozenset()
    level_error: float | None = None
    sync_error: float | None = None
    distortion: float | None = None
    bandwidth: float | None = None
    signal: Mapping[str, str] = field(default_factory=dict)
    rail: float | None = None
    part_margin: float | None = None
    why: Mapping[str, str] = field(default_factory=dict)

    @property
    def fits(self) -> bool:
        """Tell whether the picture survives the guard: what breaks it is no guard for this line, whatever it saves."""
        return DOES_NOT_CONFORM not in self.signal.values()


@dataclass(frozen=True)
class Ranking:
    """Every guard on one line, best first; `events` are name and severity, those that decide first."""

    unit: str
    unit_kind: str
    lines: tuple[str, ...]
    events: tuple[tuple[str, str, bool], ...]
    rows: tuple[Ranked, ...]
    summary: str
    notes: tuple[str, ...]
    engine: EngineInfo | None
    circuits: tuple[CircuitUsed, ...] = ()
