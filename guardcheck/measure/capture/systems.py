"""The scanning systems a capture is recognised by, from systems.toml."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

NEAR = 0.0035
"""How far a line period may lie from a system's to be taken for it: the two systems are 0.7 % apart."""


@dataclass(frozen=True, slots=True)
class System:
    """One scanning system; times in seconds, the subcarrier in hertz, nominal sync in volts.

    `field_blanking` is the number of lines from field sync to the picture.
    """

    name: str
    period: float
    blanking_end: float
    subcarrier: float
    sync: float
    field_blanking: int
    reference: str


@cache
def systems() -> tuple[System, ...]:
    """Return the systems known."""
    text = (Path(__file__).parent / "systems.toml").read_text(encoding="utf-8")
    return tuple(
        System(
            name,
            row["period"] * 1e-6,
            row["blanking_end"] * 1e-6,
            row["subcarrier"],
            row["sync"],
            row["field_blanking"],
            row["reference"],
        )
        for name, row in tomllib.loads(text).items()
    )


def nearest_system(period: float) -> System | None:
    """Return the system whose line period is nearest, None when none is near enough."""
    best = min(systems(), key=lambda system: abs(system.period - period))
    return best if abs(best.period - period) <= NEAR * best.period else None
