"""What the job says about the bench an event happens on: the rail, and the voltage between the two 0 V nodes.

A value that is unknown is taken where it hurts most within what is usual, and judged there; each such choice is an
assumption that the findings repeat. What fails by such a value fails only if it fails at the other end of what is usual
as well; else it is not proven, and the answer is owed.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import Rail
from guardcheck.leakage import (
    NO_CAPACITOR,
    TRANSFORMER,
    USUAL,
    WINDINGS,
    display_earthed,
    pair_spread,
    unit_earthed,
)
from guardcheck.model import UNKNOWN_WORD, Job, Value
from guardcheck.units import format_si

LEAST_CAPACITANCE = 1e-15
"""What stands for no capacitance at all [F]: a capacitor of zero is no circuit."""
USUAL_RAIL: Mapping[str, float] = {"rail_capacitance": 100e-9, "rail_load": 1e-3, "rail_esr": 1.0}
"""The hardest of what is usual on a rail: one ceramic capacitor [F], 1 mA of load [A], an aged electrolytic [ohm].
Common practice, no published source."""
RAIL_MAX_BOUNDS = (1.1, 1.4)
"""Strictest and loosest highest supply seen beside a nominal one: 5.5 V and 7 V beside 5 V (common practice)."""

BRIDGE = "bridge"
"""A coupling besides pairs, single capacitors and windings: one capacitor behind the bridge of a switch-mode supply."""
PAIRED = ("symmetric", "single")
"""Couplings by capacitors before the bridge."""
SETTLED = (("y_capacitance", TRANSFORMER),)
"""Facts a coupling makes needless."""
Wave = NDArray[np.float64]
_CYCLE = np.linspace(0.0, 2.0 * math.pi, 720, endpoint=False)
"""Phase over one cycle of the mains, in steps of half a degree."""


@dataclass(frozen=True)
class Chassis:
    """The two 0 V nodes before they are joined.

    `volts` is the crest of the voltage between them, `capacitance` what it stands behind [F], `amps` the current that
    flows from one to the other at mains frequency, rms. `told` says how it was found, `undeclared` what the job does
    not even call unknown, `ends` which declared values stand at an end of their tolerance, `notes` what the result
    rests on besides. `open` are the keys of the facts nobody knows; at their kindest the crest is `least`
    behind `least_capacitance`, no more of either than any answer leaves.
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
    open: tuple[str, ...] = ()
    least: float = 0.0
    least_capacitance: float = LEAST_CAPACITANCE


@dataclass(frozen=True)
class Bench:
    """Rail and chassis as events see them, what was assumed about each, and which keys of the rail are not declared.

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

    @property
    def kindest(self) -> Mapping[str, float]:
        """Return the same where what nobody knows of the chassis does least harm [SI]."""
        return {"chassis_volts": self.chassis.least, "chassis_capacitance": self.chassis.least_capacitance}


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
    undeclared = tuple(name for name in USUAL_RAIL if name not in job.supply)
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

    Each supply is Thevenin's equivalent of its Y capacitances: ``(CL VL + CN VN) / (CL + CN)`` behind ``CL + CN``. The
    two of a symmetric pair differ by their tolerance, so that two such supplies never quite float together.
    """
    assumed: list[str] = []
    undeclared: list[str] = [
        f"the {name.replace('_', ' ')}" for name in ("mains", "mains_frequency") if name not in job.supply
    ]
    open_ = [f"supply.{name}" for name in ("mains", "phases") if job.supply.get(name) == UNKNOWN_WORD]
    open_ += [f"supply.{name}" for name in ("mains", "mains_frequency") if name not in job.supply]
    ends: list[str] = []
    mains = _usual(job.supply, "mains", "mains", assumed, ends)
    frequency = _usual(job.supply, "mains_frequency", "mains frequency", assumed, ends)
    earthed_unit, earthed_display = _earthed_unit(job, assumed, open_), _earthed_display(job, assumed, open_)
    unit = _linked(job, _sides(job.supply, "unit", earthed_unit, [1.0], assumed, ends), assumed, ends, open_)
    display = _sides(job.display_facts, "display", earthed_display, _phases(job, assumed), assumed, ends)
    floating = False in earthed_unit and False in earthed_display
    for entries, who, sides in ((job.supply, "unit", unit), (job.display_facts, "display", display)):
        floats = not all(math.isinf(capacitance) for _, capacitance in sides)
        where = "supply" if who == "unit" else "display"
        if floats and "y_capacitance" not in entries and entries.get("y_coupling") != TRANSFORMER:
            undeclared.append(f"the Y capacitance of the {who}")
        open_ += [
            f"{where}.{name}"
            for name in ("y_capacitance", "y_coupling")
            if floats and entries.get(name) in (None, UNKNOWN_WORD) and (name, entries.get("y_coupling")) not in SETTLED
        ]
    pairs = [(one, other, _in_series(near, far)) for (one, near), (other, far) in product(unit, display)]
    one, other, capacitance = max(pairs, key=lambda pair: (round(_crest(pair[0] - pair[1]), 9), pair[2]))
    crest = mains * _crest(one - other)
    least, smallest = _kindest(job, earthed_unit, earthed_display)
    amps = 2.0 * math.pi * frequency * capacitance * mains * _slope(one - other)
    told = (
        f"{format_si(crest, 'V')} crest between the two 0 V behind {format_si(capacitance, 'F')} "
        f"({format_si(mains, 'V')}, {format_si(frequency, 'Hz')})"
        if crest > 0.0
        else "no voltage stands between the two 0 V"
    )
    if crest == 0.0:
        undeclared, open_ = [], []
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
        open=tuple(dict.fromkeys(open_)),
        least=least,
        least_capacitance=max(smallest, LEAST_CAPACITANCE),
    )


def _kindest(job: Job, earthed_unit: tuple[bool, ...], earthed_display: tuple[bool, ...]) -> tuple[float, float]:
    """Return the crest [V] and the capacitance [F] between the two 0 V at the kindest answer to what nobody knows.

    How a plug is turned and how a pair is paired are no facts: there the worst stands for every answer. Crest and
    capacitance are each the least of all answers, though no one answer may give both.
    """
    mains = _usual(job.supply, "mains", "mains", [], [], kind=True)
    answers = product(
        _answers(job.supply, earthed_unit, [1.0]), _answers(job.display_facts, earthed_display, _phases(job, []))
    )
    crests, capacitances = [], []
    for unit, display in answers:
        crests.append(max(_crest(one - other) for (one, _), (other, _) in product(unit, display)))
        capacitances.append(max(_in_series(near, far) for (_, near), (_, far) in product(unit, display)))
    return mains * min(crests), min(capacitances)


def _answers(
    entries: Mapping[str, Any], earthed: tuple[bool, ...], live: Sequence[complex]
) -> list[list[tuple[Wave, float]]]:
    """Return what one apparatus may stand at for every answer to what is not known of it: earth, coupling, phase."""
    coupling = entries.get("y_coupling")
    open_ = coupling not in (*PAIRED, BRIDGE, TRANSFORMER)
    facts = [{**entries, "y_coupling": one} for one in ((*PAIRED, TRANSFORMER) if open_ else (coupling,))]
    return [
        _sides(one, "", (earth,), [phasor], [], [], kind=True) for one, earth, phasor in product(facts, earthed, live)
    ]


def _crest(wave: Wave) -> float:
    """Return the largest magnitude over a cycle."""
    return float(np.max(np.abs(wave)))


def _slope(wave: Wave) -> float:
    """Return the rms of the derivative over a cycle, by its harmonics: 1 for a sine of 1 V rms."""
    harmonics = np.fft.rfft(wave)
    order = np.arange(len(harmonics))
    return float(math.sqrt(2.0 * float(np.sum(np.abs(order[1:] * harmonics[1:]) ** 2))) / len(wave))


def _sine(phasor: complex) -> Wave:
    """Return one cycle of a voltage given as a phasor in volts rms."""
    return np.asarray(math.sqrt(2.0) * abs(phasor) * np.cos(_CYCLE + cmath.phase(phasor)))


def _rectified(phasor: complex) -> tuple[Wave, Wave]:
    """Return one cycle of what a capacitor on the minus, or the plus, of a bridge couples: half waves less their mean.

    The minus of a bridge follows whichever conductor is lower, so that turning the plug changes nothing. 230 V give
    -222 and +104 V, or the reverse.
    """
    low, high = np.minimum(_sine(phasor), 0.0), np.maximum(_sine(phasor), 0.0)
    return low - low.mean(), high - high.mean()


def _notes(job: Job, *, floating: bool) -> tuple[str, ...]:
    """Return what the voltage between two floating supplies rests on, though nobody measured it."""
    notes: list[str] = []
    if floating and "phases" not in job.supply:
        notes.append("Unit and display are taken to be both on one phase, not declared.")
    return tuple(notes)


def _usual(
    entries: Mapping[str, Any], name: str, words: str, assumed: list[str], ends: list[str], *, kind: bool = False
) -> float:
    value = _declared(entries.get(name))
    if value is not None:
        return _end(value, words, True, ends)
    worst = USUAL["mains_frequency" if name == "mains_frequency" else name][0 if kind else 1]
    unit = {"mains": "V", "mains_frequency": "Hz", "y_capacitance": "F"}[name]
    assumed.append(f"{words} {format_si(worst, unit)}")
    return worst


def _earthed_unit(job: Job, assumed: list[str], open_: list[str]) -> tuple[bool, ...]:
    """Return whether the unit's 0 V may be, or is, at earth: a class I supply ties it there; silence says neither."""
    earthed = unit_earthed(job.supply)
    if earthed is not None:
        return (earthed,)
    assumed.append("unit earthed or not, the worse")
    open_.append("supply.protection_class")
    return (True, False)


def _earthed_display(job: Job, assumed: list[str], open_: list[str]) -> tuple[bool, ...]:
    """Return whether the display's 0 V may be at earth: unless another lead is ruled out, one may tie it there."""
    earthed = display_earthed(job.display_facts)
    if earthed is not None:
        return (earthed,)
    if job.display_facts.get("earthed") is False:
        assumed.append("another lead of the display may earth it, the worse")
        open_.append("display.other_leads")
    else:
        assumed.append("display earthed or not, the worse")
        open_.append("display.earthed")
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
    live: Sequence[complex],
    assumed: list[str],
    ends: list[str],
    *,
    kind: bool = False,
) -> list[tuple[Wave, float]]:
    """Return the voltages (one cycle each, for 1 V rms of mains) and capacitances one apparatus may stand at.

    `kind` takes a capacitance nobody knows at the end of what is usual that does least harm.
    """
    sides: list[tuple[Wave, float]] = []
    if True in earthed:
        sides.append((np.zeros_like(_CYCLE), math.inf))
    if False not in earthed:
        return sides
    declared, coupling = _declared(entries.get("y_capacitance")), entries.get("y_coupling")
    if declared is not None and declared.high < NO_CAPACITOR and entries.get("protection_class") != "III":
        declared, coupling = None, TRANSFORMER
    if coupling == TRANSFORMER and declared is None:
        capacitance = WINDINGS[0 if kind else 1]
        assumed.append(f"capacitance between the windings of the {who}'s transformer {format_si(capacitance, 'F')}")
    else:
        capacitance = _usual(entries, "y_capacitance", f"Y capacitance of the {who}", assumed, ends, kind=kind)
    spread = pair_spread(entries)
    pair, whole = (0.5 * (1.0 - spread), 0.5 * (1.0 + spread)), (0.0, 0.5, 1.0)
    shares = {"symmetric": pair, "single": (0.0, 1.0), BRIDGE: (), TRANSFORMER: whole}.get(str(coupling))
    if shares is None:
        assumed.append(f"Y coupling of the {who}, the worst")
        shares = (*pair, *whole)
    waves = [_sine(share * phasor) for share in shares for phasor in live]
    if coupling == BRIDGE:
        waves = [wave for phasor in live for wave in _rectified(phasor)]
    return [*sides, *((wave, capacitance) for wave in waves)]


def _linked(
    job: Job, sides: list[tuple[Wave, float]], assumed: list[str], ends: list[str], open_: list[str]
) -> list[tuple[Wave, float]]:
    """Return where the unit's 0 V may stand with and without what else is linked to it.

    Two apparatus joined are one, their capacitances side by side; an earthed one earths both. A link that only drives
    a pin of another board leads to no apparatus.
    """
    for fact in (one for one in job.facts if one.table == "link"):
        entries, who = fact.entries, f"link to {fact.label}"
        earthed = entries.get("earthed")
        if "drive" in entries and earthed is None and "y_capacitance" not in entries:
            continue
        if earthed is not False:
            assumed.append(f"{who} may earth the unit, the worse")
        if earthed not in (True, False):
            open_.append("link.earthed")
        elif earthed is False:
            open_ += [
                f"link.{name}" for name in ("y_capacitance", "y_coupling") if entries.get(name) in (None, UNKNOWN_WORD)
            ]
        either = (earthed,) if isinstance(earthed, bool) else (True, False)
        others = _sides(entries, who, either, [1.0], assumed, ends)
        sides = [*sides, *(_joined(*one, *other) for one, other in product(sides, others))]
    return sides


def _joined(wave: Wave, capacitance: float, other: Wave, beside: float) -> tuple[Wave, float]:
    """Return the voltage and the capacitance of two apparatus whose 0 V are joined."""
    if math.isinf(capacitance):
        return wave, capacitance
    if math.isinf(beside):
        return other, beside
    whole = max(capacitance + beside, LEAST_CAPACITANCE)
    return (capacitance * wave + beside * other) / whole, whole


def _in_series(one: float, other: float) -> float:
    if math.isinf(one) or math.isinf(other):
        least = min(one, other)
        return 0.0 if math.isinf(least) else least
    return one * other / (one + other) if one + other > 0.0 else 0.0
