"""Sentences the result carries besides findings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from guardcheck.formatting import show
from guardcheck.library import BENCH_LOAD
from guardcheck.model import (
    NOT_MEASURED,
    NOT_PROVEN,
    QUANTITIES,
    RATING_NOT_STATED,
    SIMULATED,
    UNKNOWN_OF,
    Finding,
    Job,
    Part,
    PartUse,
    Value,
)
from guardcheck.proposal.remedies import NOTHING, SIZES
from guardcheck.simulate.sourcing import FIT
from guardcheck.verdict.asks import to_find_out
from guardcheck.verdict.outcome import misses

LOCK = "sync.lock"
"""Beside its window a display may still lock, so nothing fails; no reading of the level alone settles it."""
TELL_KIND = (
    "settle which kind of output drives {line}, as the reason says: one more reading, or its data sheet; scope clip to "
    "0 V only, it is mains earth"
)
"""What is left to do where the readings of a pin do not tell what it is."""
NO_EVENTS = (
    "Live plugging, electrostatic discharge, cable discharge, a misplug, a short, back-powering and power steps were "
    "not simulated: nothing here says that the pin survives them."
)
UNPROVABLE, NO_FIGURE = "no data sheet settles it", "the simulation gave no figure to judge"
"""Why a stress is not proven that hangs on no unknown value; its own sentence says what falls short."""
WITH_EVENTS = (
    "Stress events: arcs, bounce of contacts, several lines struck at once, damage that needs many hits, and strikes "
    "on anything but the line's own contact were not simulated."
)


def not_examined(*, events: bool) -> tuple[str, ...]:
    """Return what a check leaves open; `events` tells whether the stress events were run."""
    return (WITH_EVENTS if events else NO_EVENTS, NOT_MEASURED)


def left_undone(families: Iterable[str]) -> tuple[str, ...]:
    """Return what was not simulated because it took too long, a sentence for each line."""
    return tuple(f"Simulation of {one} Nothing that depends on it is proven." for one in families)


PUT_RIGHT: Mapping[str, str] = {
    FIT: (
        "read the pin of {line} again, one picture for all loads; if it stays, write the source its readings show, as "
        "the reason says; scope clip to 0 V only, it is mains earth"
    ),
    "sync.input": (
        "do not join this display yet: the sync on {line} is more than its input stands; guardcheck propose JOB --line "
        "{line} searches for a build that brings it down"
    ),
    LOCK: "bring the sync on {line} into the window its display locks to: guardcheck propose JOB --line {line}",
    "grey": "read every leg of the ladder on {line} by its colour code, unit off: a leg of another value tears steps",
    "timing": (
        "timing comes from the unit, not from the mod: look at the sync path of {line} first, for a missing sync "
        "amplifier or a capacitor across it, and whether the job names the standard of this unit"
    ),
    "burst": (
        "look at the colour path of {line} for a wrong coupling capacitor or filter, and whether the job names the "
        "standard of this unit"
    ),
    "noise.hum": "look for a missing or high bond of the 0 V in unit and lead, mains plugs out, then at the supply",
    "noise": "look at rail and 0 V of the stage on {line}: a missing capacitor, a long 0 V, a lead beside the supply",
    "picture.bars": "follow {line} from its chip to its contact: it carries what another should, or two are joined",
    "level.mismatch": "read all lines again with one probe, then compare the parts of the brightest and the darkest",
}
"""What to look at where something fails that no change of the plan was simulated for: common practice, no published
source. By quantity, or by its family."""


def put_right(finding: Finding) -> str | None:
    """Return what to look at where a finding does not conform and no simulation says what cures it."""
    said = PUT_RIGHT.get(finding.quantity) or PUT_RIGHT.get(finding.quantity.split(".")[0])
    return None if said is None else said.format(line=finding.line or "the line")


def advice(finding: Finding, sources: Mapping[str, Part]) -> str | None:
    """Return the general advice for a finding no simulated remedy was found for; `sources` by the name of the line."""
    if finding.remedy is not None:
        return finding.remedy
    if finding.event is not None:
        return _event_advice(finding)
    if (misses(finding) or finding.quantity == LOCK) and (said := put_right(finding)) is not None:
        return said
    if finding.quantity == FIT:
        return TELL_KIND.format(line=finding.line or "the line")
    if finding.outcome == NOT_PROVEN and f"{UNKNOWN_OF}source" in finding.codes:
        source = sources.get(finding.line or "")
        return None if source is None else source_advice(source)
    if finding.outcome == NOT_PROVEN and finding.value is not None and finding.origin == SIMULATED:
        return f"measure {QUANTITIES[finding.quantity].title} of {finding.line} after soldering"
    return None


def source_advice(source: Part) -> str:
    """Return how to find out what a source's pin does, with the load that pin bears; every way may be refused."""
    readings = source.two_readings
    load = readings.get(BENCH_LOAD)
    if load is None:
        return "look the source's levels and output resistance up in its data sheet, and write them into the job file"
    names = f"{readings['open']}, {readings['loaded']} and {readings['load']}"
    return (
        f"look the source up in its data sheet, or have its pin read open and with {load} to 0 V, no heavier load, "
        f"and write {names} into the job file; scope clip to 0 V only, it is mains earth"
    )


def _event_advice(finding: Finding) -> str:
    """Return what to do about a stress that is too much, or that could not be decided."""
    line = finding.line or "the line"
    if finding.quantity == "part.power":
        return _size_advice(finding, line)
    if RATING_NOT_STATED in finding.codes:
        return (
            f"look up what the chip on {line} may take (clamp current, pin voltage) in its data sheet and write it "
            "into the job's pin table, or name its family"
        )
    until = "until then connect and disconnect only with everything unplugged"
    missing = to_find_out(finding)
    if missing is not None:
        return f"{missing}; {until}"
    why = NOTHING if finding.outcome != NOT_PROVEN else NO_FIGURE if finding.value is None else UNPROVABLE
    return f"{why}; guardcheck propose JOB --line {line} searches for a build that holds; {until}"


def _size_advice(finding: Finding, line: str) -> str:
    """Return the size of resistor that stands the heat that was simulated; a larger one changes nothing else."""
    watts = finding.value
    size = None if watts is None else next((size for size in SIZES if size >= watts), None)
    if watts is None or size is None:
        return f"{NOTHING}: no resistor of {line} is large enough; keep it from happening by a keyed or labelled plug"
    told = f"on {line}, fit a resistor of {show(size, 'W')} there (simulated: {show(watts, 'W')} in it)"
    return f"{told} and declare it as power_rating, or keep this mistake from happening: a keyed or labelled plug"


def plan_rows(job: Job) -> tuple[tuple[str, str, str], ...]:
    """Return what the job plans, as rows of line, what, and description."""
    rows: list[tuple[str, str, str]] = [("", "rail", _text(job.supply.get("rail")))]
    rows += [("", "display", _use(job.display)), ("", "cable", _use(job.cable))]
    for line in job.lines:
        rows.append((line.name, "standard", line.standard))
        rows += [(line.name, use.kind, _use(use)) for use in (line.source, line.stage, line.guard)]
    return tuple(rows)


def _text(value: object) -> str:
    if isinstance(value, Value):
        return value.text or f"{value.nominal:g} {value.unit}"
    return "unknown" if value is None else str(value)


def _use(use: PartUse) -> str:
    name = use.name if use.netlist is None else f"own netlist {use.netlist.rsplit('/', 1)[-1]}"
    values = ", ".join(f"{key} {_text(value)}" for key, value in use.values.items())
    return f"{name or 'none'}{': ' if values else ''}{values}"
