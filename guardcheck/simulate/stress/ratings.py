"""What a chip's pin may take: from the job, the source's metadata, a family of chips, or the bounds of data sheets.

A rating nobody stated is judged twice, against the strictest and the loosest seen in data sheets: only what holds both
conforms, only what breaks both does not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from guardcheck.errors import CircuitError, JobError
from guardcheck.library import Library
from guardcheck.model import Job, Line, Part, Value
from guardcheck.units import format_si

SEEN = {
    "over_voltage": (0.3, 1.5),
    "under_voltage": (0.3, 1.5),
    "clamp_current": (1e-3, 20e-3),
    "output_current": (20e-3, 100e-3),
}
"""Strictest and loosest ratings seen in data sheets [V, V, A, A]: controllers and logic of several makers; for what an
output may deliver, the clamp rating of logic and the current of the latch-up test (JESD78)."""
SEEN_REFERENCE = (
    "bounds seen in data sheets: 0.3 to 1.5 V beyond the rails, 1 to 20 mA of clamp current (HCT logic, 8- and 16-bit "
    "microcontrollers), 100 mA in the latch-up test (JESD78)"
)
RATED = (*SEEN, "pin_voltage")
"""The ratings a pin is held against. One against 0 V is printed for chips without a diode to the rail: there no voltage
above the rail counts as such. Nobody owes it for the others."""
UNITS: Mapping[str, str] = {
    "over_voltage": "V",
    "under_voltage": "V",
    "pin_voltage": "V",
    "clamp_current": "A",
    "output_current": "A",
}
WORDS: Mapping[str, str] = {
    "over_voltage": "above the rail",
    "under_voltage": "below 0 V",
    "pin_voltage": "against 0 V",
    "clamp_current": "clamp current",
    "output_current": "output current",
}
FEED_REFERENCE = "highest supply of the rail; a supply feed is no chip's pin and has no pin ratings"
RATED_BY: Mapping[str, str] = {
    "over": "over_voltage",
    "under": "under_voltage",
    "injected": "clamp_current",
    "delivered": "output_current",
    "top": "pin_voltage",
}
"""Which rating of a pin bounds which field of a stress."""
YIELDING = frozenset(("over_voltage", "under_voltage"))
KEPT = "over_voltage_if_current_kept"
"""Ratings that many data sheets let be passed as long as the clamp current is kept, and the job's key that says so."""
Bounds = tuple[float, float]
FREE: Bounds = (math.inf, math.inf)


@dataclass(frozen=True)
class PinRatings:
    """Strictest and loosest bound of every rating [V, A], and where they come from.

    `human_body` and `device` are the ratings for electrostatic pulses [V], `latch_up` the current of the latch-up test
    [A], `short_circuit` what the driver delivers at most [A], each None where nobody states it. `stated` names the
    ratings that somebody stated; `assumed` are sentences on what was assumed. `judged` is false for a source of which
    nothing can be said: no ratings and no diodes of its own. `chip` is false for a supply feed: it is no chip's pin,
    and nothing is held against pin ratings.
    """

    bounds: Mapping[str, Bounds]
    human_body: float | None
    reference: str
    known_by: str
    stated: frozenset[str]
    assumed: tuple[str, ...] = ()
    judged: bool = True
    chip: bool = True
    latch_up: float | None = None
    device: float | None = None
    short_circuit: float | None = None

    def strict(self, name: str) -> float:
        """Return the strictest bound of a rating."""
        return self.bounds[name][0]

    def open(self, field: str) -> bool:
        """Tell whether the rating that bounds this field of a stress is one nobody stated."""
        name = RATED_BY.get(field)
        return name is not None and self.bounds[name][0] != self.bounds[name][1]

    def shown(self, name: str) -> str:
        """Return a rating in words: ``20 mA (clamp current)``, or both bounds of one that is missing."""
        low, high = self.bounds[name]
        value = format_si(low, UNITS[name])
        if low != high:
            value = f"{value} to {format_si(high, UNITS[name])}, the bounds seen in data sheets"
        return f"{value} ({WORDS[name]})"


def source_ratings(job: Job, line: Line, source: Part, library: Library, *, diodes: bool) -> PinRatings:
    """Return the ratings of a line's chip pin; `diodes` tells whether its model has diodes to its rails.

    Raises
    ------
    JobError
        the job names a family of pins that is not on the shelf

    """
    assumed: list[str] = []
    free: set[str] = set()
    found: dict[str, float] = {}
    reference, known_by = "pin ratings declared in the job file", "read"
    name = line.pin.get("family")
    if isinstance(name, str):
        try:
            family = library.pin(name)
        except CircuitError as error:
            key = f"line[{line.table}].pin.family"
            raise JobError(error.problem, file=job.file, key=key, line=job.lines_of.get(key)) from None
        found |= family.ratings
        reference, known_by = family.reference, family.known_by
        assumed.append(f"the pin is assumed to be of the family '{name}' ({family.title})")
        free = set(YIELDING) if family.voltage_by_current else set()
    elif "pin" in source.extra:
        own = source.extra["pin"]
        found |= {key: value for key, value in own.items() if isinstance(value, float)}
        reference, known_by = str(own["reference"]), "read"
    declared = {key: value.nominal for key, value in line.pin.items() if isinstance(value, Value)}
    found |= declared
    if declared and isinstance(name, str):
        reference = f"{reference}; and ratings declared in the job file"
    stated = frozenset(found) & frozenset(RATED)
    judged = diodes or bool(stated)
    chip = bool(stated) or not source.feed
    kept = line.pin.get(KEPT)
    if isinstance(kept, bool):
        free = set(YIELDING) if kept else free - YIELDING
    if "pin_voltage" in found:
        free |= {"over_voltage"}
    ratings = replace(
        _ratings(found, free if kept is True else free - set(declared), reference, known_by, stated, assumed, judged),
        chip=chip,
    )
    return ratings if chip else replace(ratings, reference=FEED_REFERENCE, known_by="practice")


def exposed_ratings(delivers: float | None, declared: Mapping[str, Value | str | bool] | None = None) -> PinRatings:
    """Return the ratings of a chip inside the stage or guard: what it may deliver, and what the job states of it."""
    found = {} if delivers is None else {"output_current": delivers, "short_circuit": delivers}
    stated = {key: value.nominal for key, value in (declared or {}).items() if isinstance(value, Value)}
    free = set(YIELDING) if (declared or {}).get(KEPT) is True else set()
    reference, known_by = "output current of the part's own parameters", "practice"
    if stated:
        reference, known_by = "ratings of the stage's own pin declared in the job file", "read"
    found |= stated
    return _ratings(found, free, reference, known_by, frozenset(found) & frozenset(RATED), [], True)


def _ratings(
    found: Mapping[str, float],
    free: set[str],
    reference: str,
    known_by: str,
    stated: frozenset[str],
    assumed: list[str],
    judged: bool,
) -> PinRatings:
    bounds: dict[str, Bounds] = {}
    missing = [name for name in SEEN if name not in found and name not in free]
    for name in RATED:
        stands = (found[name], found[name]) if name in found else SEEN.get(name, FREE)
        bounds[name] = FREE if name in free else stands
    if missing:
        reference = f"{reference}; {SEEN_REFERENCE}" if stated else SEEN_REFERENCE
    return PinRatings(
        bounds,
        found.get("hbm"),
        reference,
        known_by,
        stated,
        tuple(assumed),
        judged,
        latch_up=found.get("latch_up"),
        device=found.get("cdm"),
        short_circuit=found.get("short_circuit"),
    )
