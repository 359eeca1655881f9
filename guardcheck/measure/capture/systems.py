"""The line rates and scanning systems a capture is recognised by, from systems.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

NEAR = 0.0035
"""How far a line period may lie from a system's to be taken for it: the two systems of 15 kHz are 0.7 % apart."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Rate:
    """How line sync of one rate is looked for; times in seconds.

    `scale` is how long its times are against those of 15 kHz. `periods`, `widths` and `rough` bound line sync, `porch`
    is a flat part behind its trailing edge. At least `pairs` neighbours must be a line apart and make up `share` of it.
    """

    name: str
    scale: float
    periods: Span
    widths: Span
    rough: Span
    porch: Span
    pairs: int
    share: float


@dataclass(frozen=True, slots=True)
class System:
    """One scanning system; times in seconds, nominal sync in volts, the subcarrier in hertz (None: it has none).

    `field_blanking` is the number of lines from field sync to the picture.
    """

    name: str
    title: str
    rate: Rate
    period: float
    sync_width: float
    blanking_end: float
    field_blanking: int
    sync: float
    subcarrier: float | None
    reference: str


@cache
def _entries() -> Mapping[str, Any]:
    return tomllib.loads((Path(__file__).parent / "systems.toml").read_text(encoding="utf-8"))


@cache
def rates() -> tuple[Rate, ...]:
    """Return the line rates known."""
    return tuple(
        Rate(
            name,
            row["scale"],
            _span(row["periods"]),
            _span(row["widths"]),
            _span(row["rough"]),
            _span(row["porch"]),
            row["pairs"],
            row["share"],
        )
        for name, row in _entries()["rate"].items()
    )


@cache
def systems() -> tuple[System, ...]:
    """Return the systems known."""
    known = {rate.name: rate for rate in rates()}
    return tuple(
        System(
            name,
            row["title"],
            known[row["rate"]],
            row["period"] * 1e-6,
            row["sync_width"] * 1e-6,
            row["blanking_end"] * 1e-6,
            row["field_blanking"],
            row["sync"],
            row.get("subcarrier"),
            row["reference"],
        )
        for name, row in _entries()["system"].items()
    )


def _span(ends: list[float]) -> Span:
    return ends[0] * 1e-6, ends[1] * 1e-6


def nearest_system(period: float, width: float) -> System | None:
    """Return the system whose line period is near enough and whose sync is nearest in width, None when there is none.

    Parameters
    ----------
    period : of a line [s]
    width : of line sync [s]

    """
    near = [one for one in systems() if abs(one.period - period) <= NEAR * one.period]
    return min(near, key=lambda one: abs(one.sync_width - width), default=None)


def plainest_system(rate: Rate, width: float) -> System:
    """Return the system of a rate whose sync is nearest in width, the first of them: for a line period of no system."""
    return min((one for one in systems() if one.rate == rate), key=lambda one: abs(one.sync_width - width))
