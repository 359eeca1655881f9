"""One run of an event: its deck, what was seen on it, and whether it is to be believed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import SWING, SWINGS_AT, DiodeProbe, EventCase, Probes, SurgeProbe
from guardcheck.measure import PinWaves, Stress, at_rest, charges, heat, holds, peak, stress_of, width_over
from guardcheck.model import ASSUMED, Trace
from guardcheck.simulate.stress.margins import (
    Margin,
    by_test_margin,
    film_margin,
    halved,
    plain_margin,
    surge_margin,
    unrated_margin,
)
from guardcheck.units import format_si

Array = NDArray[np.float64]

FLOORS: Mapping[str, float] = {
    "over": 0.1,
    "under": 0.1,
    "injected": 1e-3,
    "delivered": 1e-3,
    "charge": 1e-8,
    "energy": 1e-7,
    "rail": 0.1,
    "top": 0.1,
}
"""Magnitudes [SI] below which a quantity of a stress need not hold to a hundredth of itself."""
ENDLESS = ("charge", "energy")
"""Quantities that grow as long as an event lasts."""
NOTICED = 1.1
"""From this share of the steady current on, the surge that goes before it is judged as well: a diode may die while a
dead rail charges through it, long before anything is steady."""
NOTICED_AMPS, NOTICED_VOLTS, NOTICED_WATTS = 1e-3, 6.3, 5e-3
"""Below these a part nobody rates cannot be hurt [A, V, W]: any junction carries 1 mA and stands 5 mW, no capacitor is
made for less than 6.3 V but the smallest (common practice, no published source)."""
SURGE_SLACK = 1.02
"""How far a charged lead's current may pass its bound and be believed: steps and solver are good to 1 %."""
AT_REST = 2e-4
"""Share of its largest level that a far side at rest may move by in the last fifth of a run: an exponential whose time
constant is a thousand runs long moves as much."""
SEEN_AT = 0.3
"""Voltage [V] from which a display's input counts the step of a unit being switched (a sync amplitude)."""


@dataclass(frozen=True)
class PinSeen:
    """A pin in one run: its waves, its stress, and the part of it that lies inside what the models know."""

    role: str
    name: str
    delivers: float | None
    waves: PinWaves
    stress: Stress
    known: Stress


@dataclass(frozen=True)
class Power:
    """Steady dissipation of one rated part: where, watts, and the metadata row that rates it."""

    where: str
    watts: float
    rated: Mapping[str, Any]


@dataclass(frozen=True)
class Seen:
    """Everything read of one run.

    `beyond` names the devices that were driven past their data sheets, with the current [A] and how far past. `across`
    holds peak voltages of series resistors. `display` is the step the far side sees [V] and how long it lasts beyond
    `SEEN_AT`, both zero where the level is there to stay or was there before. `drive` is the most the driver itself
    carried [A], zero where it has no limit. `changing` names the quantities that the
    end of the run still changed, by pin and name; `tail` is the time constant [s] with which the far side was still on
    its way, zero where it had come to rest.
    """

    case: EventCase
    step: float
    pins: tuple[PinSeen, ...] = ()
    parts: tuple[Margin, ...] = ()
    powers: tuple[Power, ...] = ()
    across: tuple[tuple[str, float], ...] = ()
    beyond: tuple[tuple[str, float, float], ...] = ()
    display: tuple[float, float] = (0.0, 0.0)
    drive: float = 0.0
    changing: frozenset[tuple[int, str]] = frozenset()
    tail: float = 0.0
    failure: str | None = None
    help_used: tuple[str, ...] = ()


@dataclass
class _Vectors:
    """The vectors of one trace by node and element."""

    trace: Trace
    zero: Array = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        assert self.trace.axis is not None
        self.zero = np.zeros(len(self.trace.axis))

    def amps(self, name: str) -> Array:
        return np.real(self.trace.vectors[name][0])

    def node(self, name: str) -> Array:
        return self.zero if name == "0" else np.real(self.trace.vectors[f"v({name})"][0])

    def volts(self, reading: Any) -> Array:
        return np.asarray(self.node(reading.plus) - self.node(reading.minus))


def seen_of(case: EventCase, step: float, probes: Probes, trace: Trace, *, lasting: bool) -> Seen:
    """Return what one trace shows; a failed one shows only why."""
    if trace.failure is not None or trace.axis is None or not bool(np.all(trace.solved)):
        return Seen(case, step, failure=trace.failure or "the run gave no waveform")
    vectors, time = _Vectors(trace), trace.axis
    refused = None if probes.surge is None else _too_much(probes.surge, abs(peak(vectors.amps(probes.surge.amps))))
    if refused is not None:
        return Seen(case, step, failure=refused)
    inside, beyond = _reach(vectors, probes, lasting=lasting)
    pins = tuple(_pin(vectors, probe, probes.rail, time, inside) for probe in probes.pins)
    across = tuple((one.name, abs(peak(vectors.volts(one.volts)))) for one in probes.resistors)
    far = vectors.volts(probes.display)
    powers = _powers(vectors, probes, time, swings=case.before is not None)
    changing = {(pin, name) for pin, one in enumerate(pins) for name in _changing(one, lasting=lasting)}
    return Seen(
        case=case,
        step=step,
        pins=pins,
        parts=_parts(vectors, probes, time, _tests(case), lasting=lasting),
        powers=powers if lasting else (),
        across=across,
        beyond=beyond,
        display=_passing(time, far),
        drive=0.0 if probes.drive is None else abs(peak(vectors.amps(probes.drive))),
        changing=frozenset(changing),
        tail=_tail(time, far),
        help_used=trace.help_used,
    )


def _too_much(surge: SurgeProbe, seen: float) -> str | None:
    """Return why a run is not believed in which a charged lead gave more than its surge impedance lets through."""
    if seen <= SURGE_SLACK * surge.most:
        return None
    return (
        f"the charged lead gave {format_si(seen, 'A')}, more than the {format_si(surge.most, 'A')} that its surge "
        f"impedance of {format_si(surge.ohms, 'ohm')} lets through: the simulation of the lead is not to be believed"
    )


def _pin(vectors: _Vectors, probe: Any, rail: str, time: Array, inside: NDArray[np.bool_]) -> PinSeen:
    waves = PinWaves(
        time=time,
        volts=vectors.volts(probe.volts),
        rail=vectors.amps(rail),
        amps=vectors.amps(probe.amps),
        diodes=tuple((vectors.amps(amps), vectors.node(end)) for amps, end in probe.diodes),
    )
    stress = stress_of(waves)
    known = stress if bool(inside.all()) else stress_of(waves.where(inside))
    return PinSeen(probe.role, probe.name, probe.delivers, waves, stress, known)


def _reach(
    vectors: _Vectors, probes: Probes, *, lasting: bool
) -> tuple[NDArray[np.bool_], tuple[tuple[str, float, float], ...]]:
    """Tell at which instants every device lies inside its data sheet, and name those that leave it.

    A pulse in a chip's own diodes is held against another pulse in the same diodes, so that their data sheet does not
    come into it.
    """
    inside = np.ones(len(vectors.zero), dtype=bool)
    beyond: list[tuple[str, float, float]] = []
    own = set() if lasting else {amps for pin in probes.pins for amps, _ in pin.diodes}
    for probe in (one for one in probes.diodes if one.amps not in own):
        amps, valid = vectors.amps(probe.amps), probe.facts.get("valid", {})
        limits = [(amps, valid.get("forward_current")), (-amps, valid.get("reverse_current"))]
        if "reverse_current" not in valid:
            stands = {**probe.facts.get("ratings", {}), **probe.rated}
            limits.append((-vectors.volts(probe.volts), stands.get("reverse_voltage")))
        for values, limit in limits:
            if limit is not None and (values > limit).any():
                inside &= values <= limit
                beyond.append((_device(probe), float(values.max()), float(values.max()) / limit))
    for one in probes.transistors:
        amps, limit = np.abs(vectors.amps(one.amps)), one.facts.get("valid", {}).get("collector_current")
        if limit is not None and (amps > limit).any():
            inside &= amps <= limit
            beyond.append((_device(one), float(amps.max()), float(amps.max()) / limit))
    return inside, tuple(beyond)


def _device(probe: Any) -> str:
    """Return how a device is called: by its type where it has one, else by what it is."""
    title = str(probe.facts.get("title", probe.name))
    first = title.split(" ")[0]
    return first if any(letter.isdigit() for letter in first) else title[0].lower() + title[1:]


def _named(probe: Any) -> str:
    return f"{probe.name} ({_device(probe)})"


def _tests(case: EventCase) -> Mapping[str, float]:
    """Return the ratings of parts that this event is the test of, with the level it is run at [SI]."""
    plan = case.event.part.plan
    rated = plan.rated if plan is not None else {}
    return {
        name: abs(case.values[level] if level in case.values else case.event.values[level].nominal)
        for name, level in rated.items()
    }


def _by_test(surge: Margin | None, name: str, rated: Mapping[str, Any], tests: Mapping[str, float]) -> Margin | None:
    """Return the margin of a part by its surge ratings, or by its rating in this very test where that proves more."""
    found = [by_test_margin(name, float(rated[test]), level) for test, level in tests.items() if test in rated]
    return max((one for one in (surge, *found) if one is not None), key=lambda one: one.strict, default=None)


def _parts(
    vectors: _Vectors, probes: Probes, time: Array, tests: Mapping[str, float], *, lasting: bool
) -> tuple[Margin, ...]:
    """Return the margins of every rated part of guard and stage; `tests` are levels of tests parts are rated by."""
    rows = (
        *_diodes(vectors, probes, time, tests, lasting=lasting),
        *_transistors(vectors, probes, lasting=lasting),
        *_passives(vectors, probes, time, lasting=lasting),
        *_unrated(vectors, probes),
    )
    return tuple(_of(probe, margin) for probe, margin in rows if margin is not None)


Row = tuple[Any, Margin | None]
"""A part that is looked at, and its margin, None where it has none."""


def _of(probe: Any, margin: Margin) -> Margin:
    """Return a margin that knows whose it is, by the name the picture of the line has for the part."""
    if margin.bearing is None:
        return margin
    return replace(margin, bearing=replace(margin.bearing, part=f"{probe.role} {probe.name}"))


def _diodes(
    vectors: _Vectors, probes: Probes, time: Array, tests: Mapping[str, float], *, lasting: bool
) -> Iterator[Row]:
    """Yield the margins of the diodes: what stays, the surge that goes before it, and heat."""
    for one in probes.diodes:
        if not one.rated or "unrated" in one.rated:
            continue
        amps, name = vectors.amps(one.amps), _named(one)
        top = abs(peak(amps))
        width = width_over(time, amps, 0.1 * top)
        steady = abs(float(amps[-1])) if lasting else 0.0
        if lasting:
            yield one, surge_margin(name, one.rated, steady, width, lasting=True) or _untold(one, name, steady)
            width = width_over(time, amps, steady + 0.1 * (top - steady))
        if top > NOTICED * steady:
            surge = _by_test(surge_margin(name, one.rated, top, width, lasting=False), name, one.rated, tests)
            yield one, surge or _untold(one, name, top)
        if lasting and "power" in one.rated:
            watts = abs(float(amps[-1] * vectors.volts(one.volts)[-1]))
            yield one, plain_margin(name, "turns into heat", watts, one.rated["power"], "W", 10.0)


def _untold(one: DiodeProbe, name: str, amps: float) -> Margin | None:
    """Return a margin of nothing for a diode of an own netlist whose ratings say nothing of a current [A]."""
    return unrated_margin(name, amps, "A", NOTICED_AMPS) if "own" in one.rated else None


def _transistors(vectors: _Vectors, probes: Probes, *, lasting: bool) -> Iterator[Row]:
    """Yield the margins of the transistors: collector current, collector-emitter voltage, and heat once it stays."""
    for one in probes.transistors:
        amps, volts, name = vectors.amps(one.amps), vectors.volts(one.volts), _named(one)
        rows = (("collector_current", "carries", amps, "A"), ("collector_voltage", "sees", volts, "V"))
        for rating, what, values, unit in rows:
            if rating in one.rated:
                yield one, plain_margin(name, what, abs(peak(values)), one.rated[rating], unit, lasting=lasting)
        watts = abs(float(amps[-1] * volts[-1])) if lasting else 0.0
        if lasting and "power" in one.rated:
            yield one, plain_margin(name, "turns into heat", watts, one.rated["power"], "W", 10.0)
        elif "own" in one.rated and "unrated" not in one.rated:
            untold = unrated_margin(name, watts, "W", NOTICED_WATTS)
            if not lasting and "collector_current" not in one.rated:
                untold = unrated_margin(name, abs(peak(amps)), "A", NOTICED_AMPS)
            yield one, untold


def _passives(vectors: _Vectors, probes: Probes, time: Array, *, lasting: bool) -> Iterator[Row]:
    """Yield the margins of resistors, but for their steady heat, and of capacitors."""
    for one in probes.resistors:
        volts = vectors.volts(one.volts)
        top, name = abs(peak(volts)), f"{one.role} {one.name}"
        if lasting and "working_voltage" in one.rated:
            yield one, plain_margin(name, "sees", top, one.rated["working_voltage"], "V")
        if not lasting and "power" in one.rated:
            joules, width = heat(volts, one.ohms, time)[1], width_over(time, volts, top / math.sqrt(2.0))
            yield one, film_margin(name, one.rated, top, joules, width)
    for capacitor in (one for one in probes.capacitors if "unrated" not in one.rated):
        held = abs(peak(vectors.volts(capacitor.volts)))
        margin = plain_margin(capacitor.name, "holds", held, capacitor.rated["working_voltage"], "V", lasting=lasting)
        yield capacitor, halved(margin) if capacitor.rated["known_by"] == ASSUMED else margin


def _unrated(vectors: _Vectors, probes: Probes) -> Iterator[Row]:
    """Yield a margin of nothing for every stressed part of an own netlist that nobody rates."""
    junctions: Sequence[Any] = (*probes.diodes, *probes.transistors)
    for one in junctions:
        if "unrated" in one.rated:
            yield one, unrated_margin(one.name, abs(peak(vectors.amps(one.amps))), "A", NOTICED_AMPS)
    for capacitor in probes.capacitors:
        if "unrated" in capacitor.rated:
            held = abs(peak(vectors.volts(capacitor.volts)))
            yield capacitor, unrated_margin(capacitor.name, held, "V", NOTICED_VOLTS)


def _powers(vectors: _Vectors, probes: Probes, time: Array, *, swings: bool) -> tuple[Power, ...]:
    """Return what every rated resistor of guard and stage turns into heat once nothing changes any more.

    A coupling capacitor that still charges at the end of a run will stop the current: its pulse is no steady power.
    Where the driver swings through a coupling capacitor a picture goes on driving that swing: a square wave between the
    two extremes, whose rms is half of it, is the most it can heat.
    """
    found = []
    for one in probes.resistors:
        volts = vectors.volts(one.volts)
        charging = any(charges(time, volts / one.ohms, vectors.volts(each.volts)) for each in probes.capacitors)
        watts = 0.0 if charging else at_rest(time, volts) ** 2 / one.ohms
        if swings:
            before, after = np.interp([SWINGS_AT, SWINGS_AT + SWING], time, volts)
            watts += float(after - before) ** 2 / 4.0 / one.ohms
        found.append(Power(f"{one.role} {one.name}", watts, one.rated))
    return tuple(found)


def _tail(time: Array, far: Array) -> float:
    """Return the time constant of a far side that is still on its way to 0 V as a run ends [s], zero at rest.

    What moves by less than `AT_REST` of its largest level over the last fifth of a run has come to rest.
    """
    end, before = float(far[-1]), float(np.interp(time[-1] * 0.8, time, far))
    moved = abs(end - before)
    if moved <= max(AT_REST * abs(peak(far)), 1e-4):
        return 0.0
    return float(time[-1]) / 5.0 * abs(end) / moved


def _passing(time: Array, far: Array) -> tuple[float, float]:
    """Return the largest departure of the far side that passes by itself [V], and how long it lasts [s]."""
    rest = (float(far[0]), float(far[-1]))
    top = peak(np.where((far > max(rest)) | (far < min(rest)), far, 0.0))
    if abs(top) <= SEEN_AT + max(map(abs, rest)):
        return 0.0, 0.0
    return top, width_over(time, np.where(np.sign(far) == np.sign(top), far, 0.0), SEEN_AT)


def _changing(one: PinSeen, *, lasting: bool) -> set[str]:
    """Return the quantities the second half of a run still adds to."""
    waves, whole = one.waves, one.stress
    names = [name for name in FLOORS if not lasting or name not in ENDLESS]
    half = waves.until(float(waves.time[-1]) / 2.0)
    if len(half.time) < 2:
        return set(names)
    first = stress_of(half)
    found = {name for name in names if not holds(getattr(first, name), getattr(whole, name), FLOORS[name])}
    if lasting and not holds(float(half.rail[-1]), float(waves.rail[-1]), FLOORS["rail"]):
        found.add("rail")
    if lasting and not holds(float(half.amps[-1]), float(waves.amps[-1]), FLOORS["injected"]):
        found |= {"injected", "delivered"}
    return found


def agree(one: Seen, other: Seen, item: tuple[int, str]) -> bool:
    """Tell whether two runs of one case, one finer than the other, give a quantity of a pin the same within 1 %."""
    pin, name = item
    return holds(getattr(one.pins[pin].stress, name), getattr(other.pins[pin].stress, name), FLOORS[name])


def case_words(case: EventCase, levels: Sequence[float]) -> str:
    """Return a case in words: ``unit on, source at its highest, negative``."""
    words = [f"unit {case.unit}"]
    if case.unit != "off" and len(levels) > 1:
        words.append("source at its highest" if case.level == max(levels) else "source at its lowest")
    if case.before is not None:
        words.append("the coupling capacitor charged for its lowest")
    if "polarity" in case.values:
        words.append("positive" if case.values["polarity"] > 0.0 else "negative")
    return ", ".join(words)
