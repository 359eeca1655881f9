"""What the job says about the bench an event happens on: the rail, and the voltage between the two 0 V nodes.

A value that is unknown is taken where it hurts most within what is usual, and judged there; each such choice is an
assumption that the findings repeat. One that nobody declared is taken there too, but what fails by it is not proven.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

from guardcheck.compose import Rail
from guardcheck.leakage import USUAL
from guardcheck.model import UNKNOWN_WORD, Job, Value
from guardcheck.units import format_si

LEAST_CAPACITANCE = 1e-15
"""What stands for no capacitance at all [F]: a capacitor of zero is no circuit."""
USUAL_RAIL: Mapping[str, float] = {"rail_capacitance": 100e-9, "rail_load": 1e-3, "rail_esr": 1.0}
"""The hardest of what is usual on a rail: one ceramic capacitor [F], 1 mA of load [A], an aged electrolytic [ohm].
Common practice, no published source."""
RAIL_MAX_BOUNDS = (1.1, 1.4)
"""Strictest and loosest highest supply seen beside a nominal one: 5.5 V and 7 V beside 5 V (common practice)."""


@dataclass(frozen=True)
class Chassis:
    """The two 0 V nodes before they are joined.

    `volts` is the crest of the voltage between them, `capacitance` what it stands behind [F], `amps` the current that
    flows from one to the other at mains frequency, rms. `told` says how it was found, `undeclared` what the job does
    not even call unknown, `ends` which declared values stand at an end of their tolerance, `notes` what the result
    rests on besides.
    """

    volts: float
    capacitance: float
    amps: float
    frequency: float
    told: str
    assumed: tuple[str, ...]
    undeclared: tuple[str, ...] = ()
    ends: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bench:
    """Rail and chassis as events see them, what was assumed about each, and what of the rail is not declared.

    `rail` stands at the stressing ends of what is declared of it, its voltage at the nominal one. `live_rails` and
    `dead_rails` are what else its tolerances allow, to be tried while the unit is powered or off; `ends` says in words
    which values were moved to an end.
    """

    rail: Rail
    rail_max: tuple[float, float]
    chassis: Chassis
    assumed: tuple[str, ...]
    undeclared: tuple[str, ...] = ()
    live_rails: tuple[Rail, ...] = ()
    dead_rails: tuple[Rail, ...] = ()
    ends: tuple[str, ...] = ()

    @property
    def numbers(self) -> Mapping[str, float]:
        """Return what an event's parameters of the same name are filled with [SI]."""
        return {"chassis_volts": self.chassis.volts, "chassis_capacitance": self.chassis.capacitance}


def bench_of(job: Job, volts: Value) -> Bench:
    """Return the bench a job describes; `volts` is its rail."""
    assumed: list[str] = []
    ends: list[str] = []
    given = {name: _declared(job.supply.get(name)) for name in USUAL_RAIL}
    for name, hardest in USUAL_RAIL.items():
        if given[name] is None:
            unit = {"rail_capacitance": "F", "rail_load": "A", "rail_esr": "ohm"}[name]
            assumed.append(f"{name.replace('_', ' ').replace('esr', 'ESR')} {format_si(hardest, unit)}")
    capacitance, load, esr = (given[name] for name in USUAL_RAIL)
    held = USUAL_RAIL["rail_capacitance"]
    rail = Rail(
        volts=volts.nominal,
        capacitance=max(held if capacitance is None else _end(capacitance, "rail capacitance", False, ends), 1e-12),
        esr=USUAL_RAIL["rail_esr"] if esr is None else _end(esr, "rail ESR", True, ends),
        load=_ohms(load, volts.nominal, ends),
    )
    most = _declared(job.supply.get("rail_max"))
    bounds = (RAIL_MAX_BOUNDS[0] * rail.volts, RAIL_MAX_BOUNDS[1] * rail.volts)
    if most is not None:
        lowest = _end(most, "highest supply", False, ends)
        bounds = (lowest, lowest)
    live = tuple(replace(rail, volts=end) for end in (volts.low, volts.high)) if volts.varies else ()
    if live:
        ends.append(f"rail at {format_si(volts.low, 'V')} and at {format_si(volts.high, 'V')} as well")
    dead: tuple[Rail, ...] = ()
    if capacitance is not None and capacitance.varies:
        dead = (replace(rail, capacitance=max(capacitance.high, 1e-12)),)
    undeclared = tuple(name.replace("_", " ") for name in USUAL_RAIL if name not in job.supply)
    return Bench(rail, bounds, chassis_of(job), tuple(assumed), undeclared, live, dead, tuple(ends))


def _end(value: Value, words: str, high: bool, ends: list[str]) -> float:
    """Return the end of a declared value that stresses, and note it when it differs from the nominal one."""
    end = value.high if high else value.low
    if end != value.nominal:
        ends.append(f"{words} at {format_si(end, value.unit)}")
    return end


def _declared(given: object) -> Value | None:
    return given if isinstance(given, Value) else None


def _ohms(load: Value | None, volts: float, ends: list[str]) -> float:
    """Return the load as a resistance [ohm], where it draws least; a current is what is drawn at the nominal rail."""
    if load is not None and load.unit == "ohm":
        return max(_end(load, "rail load", True, ends), 1e-3)
    amps = USUAL_RAIL["rail_load"] if load is None else _end(load, "rail load", False, ends)
    return abs(volts) / amps if amps > 0.0 else 1e9


def chassis_of(job: Job) -> Chassis:
    """Return the worst voltage between the two 0 V nodes that the declared supplies allow.

    Each supply is Thevenin's equivalent of its Y capacitances: ``(CL VL + CN VN) / (CL + CN)`` behind ``CL + CN``. Two
    symmetric pairs on one phase float at the same voltage, so nothing stands between them whichever way the plugs go.
    """
    assumed: list[str] = []
    undeclared: list[str] = [
        f"the {name.replace('_', ' ')}" for name in ("mains", "mains_frequency") if name not in job.supply
    ]
    ends: list[str] = []
    mains = _usual(job.supply, "mains", "mains", assumed, ends)
    frequency = _usual(job.supply, "mains_frequency", "mains frequency", assumed, ends)
    earthed_unit, earthed_display = _earthed_unit(job, assumed), _earthed_display(job, assumed)
    unit = _sides(job.supply, "unit", earthed_unit, [1.0], assumed, ends)
    display = _sides(job.display_facts, "display", earthed_display, _phases(job, assumed), assumed, ends)
    floating = False in earthed_unit and False in earthed_display
    for entries, who, sides in ((job.supply, "unit", unit), (job.display_facts, "display", display)):
        if "y_capacitance" not in entries and not all(math.isinf(side[1]) for side in sides):
            undeclared.append(f"the Y capacitance of the {who}")
    volts, capacitance = max(
        ((abs(one - other), _in_series(c_one, c_other)) for (one, c_one), (other, c_other) in product(unit, display)),
        key=lambda pair: (round(pair[0], 9), pair[1]),
    )
    crest = math.sqrt(2.0) * mains * volts
    amps = 2.0 * math.pi * frequency * capacitance * mains * volts
    told = (
        f"{format_si(crest, 'V')} crest between the two 0 V behind {format_si(capacitance, 'F')} "
        f"({format_si(mains, 'V')}, {format_si(frequency, 'Hz')})"
        if crest > 0.0
        else "no voltage stands between the two 0 V"
    )
    if crest == 0.0:
        undeclared = []
    return Chassis(
        volts=crest,
        capacitance=max(capacitance, LEAST_CAPACITANCE),
        amps=amps,
        frequency=frequency,
        told=told,
        assumed=tuple(assumed),
        undeclared=tuple(undeclared),
        ends=tuple(ends),
        notes=_notes(job, floating=floating),
    )


def _notes(job: Job, *, floating: bool) -> tuple[str, ...]:
    """Return what the voltage between two floating supplies rests on, though nobody measured it."""
    notes: list[str] = []
    if floating and "phases" not in job.supply:
        notes.append("Unit and display are taken to be both on one phase, not declared.")
    if "symmetric" in (job.supply.get("y_coupling"), job.display_facts.get("y_coupling")):
        notes.append("The two capacitors of a symmetric pair are taken to be equal; they never quite are.")
    return tuple(notes)


def _usual(entries: Mapping[str, Any], name: str, words: str, assumed: list[str], ends: list[str]) -> float:
    value = _declared(entries.get(name))
    if value is not None:
        return _end(value, words, True, ends)
    worst = USUAL["mains_frequency" if name == "mains_frequency" else name][1]
    unit = {"mains": "V", "mains_frequency": "Hz", "y_capacitance": "F"}[name]
    assumed.append(f"{words} {format_si(worst, unit)}")
    return worst


def _earthed_unit(job: Job, assumed: list[str]) -> tuple[bool, ...]:
    """Return whether the unit's 0 V may be, or is, at earth: a class I supply ties it there; silence says neither."""
    declared = {"I": (True,), "II": (False,), "III": (False,)}.get(str(job.supply.get("protection_class")))
    if declared is None:
        assumed.append("unit earthed or not, the worse")
    return declared or (True, False)


def _earthed_display(job: Job, assumed: list[str]) -> tuple[bool, ...]:
    earthed = job.display_facts.get("earthed")
    if isinstance(earthed, bool):
        return (earthed,)
    assumed.append("display earthed or not, the worse")
    return (True, False)


def _phases(job: Job, assumed: list[str]) -> list[complex]:
    """Return the display's live conductor against the unit's, as phasors: one phase, two legs, two of three phases."""
    phasors: Mapping[str, complex] = {
        "same": 1.0 + 0.0j,
        "opposite": -1.0 + 0.0j,
        "different": cmath.rect(1.0, 2.0 * math.pi / 3.0),
    }
    declared = job.supply.get("phases")
    if declared == UNKNOWN_WORD:
        assumed.append("phases unknown, the worst of one phase, two legs and two phases")
        return list(phasors.values())
    return [phasors.get(str(declared), phasors["same"])]


def _sides(
    entries: Mapping[str, Any],
    who: str,
    earthed: tuple[bool, ...],
    live: list[complex] | list[float],
    assumed: list[str],
    ends: list[str],
) -> list[tuple[complex, float]]:
    """Return the voltages (of the mains) and capacitances one apparatus may stand at."""
    sides: list[tuple[complex, float]] = []
    if True in earthed:
        sides.append((0.0 + 0.0j, math.inf))
    if False not in earthed:
        return sides
    capacitance = _usual(entries, "y_capacitance", f"Y capacitance of the {who}", assumed, ends)
    coupling = entries.get("y_coupling")
    shares = {"symmetric": (0.5,), "single": (0.0, 1.0)}.get(str(coupling))
    if shares is None:
        assumed.append(f"Y coupling of the {who}, the worst")
        shares = (0.0, 0.5, 1.0)
    return [*sides, *((share * phasor, capacitance) for share in shares for phasor in live)]


def _in_series(one: float, other: float) -> float:
    if math.isinf(one) or math.isinf(other):
        least = min(one, other)
        return 0.0 if math.isinf(least) else least
    return one * other / (one + other) if one + other > 0.0 else 0.0
