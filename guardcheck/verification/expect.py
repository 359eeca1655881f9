"""What a meter or a scope shows at each point of a line when the mod is right, before anybody measures.

Every figure is simulated in the job's own netlist with the instrument across it: a meter's test voltage and range on
the unit without power, a probe's resistance on the unit that runs. The same is done for every fault of faults.toml, so
that each reading can say which faults it would show.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import Builds, Chain, drawn
from guardcheck.compose.chain import FAR, NEAR
from guardcheck.engine import Engine
from guardcheck.measure import summarise
from guardcheck.measure.readings import parse_accuracy, presumed
from guardcheck.model import UNKNOWN_WORD, Expected, Fitted, PartUse, Value
from guardcheck.model.expected import FIRST_POWER, INTO_DISPLAY, LEAD_OUT, RUNNING, UNPOWERED, UNPOWERED_TURNED
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.levels import PICTURE_LEVELS, solve
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.verification.faults import Fault, faults_of
from guardcheck.verification.points import PIN, node_deck, node_levels, probed, unpowered_deck, unpowered_reads

Array = NDArray[np.float64]

WORDS: Mapping[str, str] = {PIN: "the chip's pin", NEAR: "the unit's connector", FAR: "the display's input"}
BETWEEN = "between the parts of guard and stage"
RAIL_MARK, RAIL_WORDS = "rail", "the supply rail"
OHMS, DIODE, SCOPE, METER, SUPPLY = (
    "meter, ohms",
    "meter, diode test",
    "scope, x10 probe",
    "meter, direct volts",
    "bench supply",
)
NOTHING = Value.exact(1e9, "ohm", text="1 Gohm")
"""What stands at the end of a lead that is out [ohm]: it still ties its node, since no deck may float."""
LEAST_LOAD, MOST_LOAD = 10.0, 1e6
"""What a dead rail may measure to 0 V where the job does not say [ohm]."""
MOST_TOLD = 6
OWN_ERROR = {"V": 0.03, "ohm": 0.02, "A": 0.05}
"""What an instrument may be off by before a reading tells a fault from the plan: its usual accuracy."""
SHOWS = {"V": 0.005, "ohm": 0.5, "A": 1e-3}

Key = tuple[str, str, str, str]
"""Node, when it is read, instrument, and quantity."""


@dataclass(frozen=True)
class _Bench:
    """What the job says of the dead rail [ohm], and what stands for the display where the lead is out."""

    rails: tuple[float, ...]
    scope: Fitted


@dataclass(frozen=True)
class _Sample:
    """One chain to be read: the plan's with all its corners, or a fault's with its nominal values.

    `points` are the nodes that are read, in the order of the signal, each with its mark in the picture of the line.
    """

    line: LinePlan
    chain: Chain
    builds: Builds
    points: Mapping[str, str]


def expectations(engine: Engine, job: JobPlan) -> tuple[Expected, ...]:
    """Return what to expect at every point of every line, in the order of the work: without power first.

    Lines that are built alike are one row.

    Parameters
    ----------
    engine : runs all decks of all lines and faults together
    job : the job, fitted

    """
    bench = _bench(job)
    groups: dict[int, list[LinePlan]] = {}
    for one in job.lines:
        if not one.as_built.missing:
            groups.setdefault(one.line.table, []).append(one)
    firsts = [group[0] for group in groups.values()]
    plans = [_Sample(one, one.as_built, one.builds.without_samples(), _points(one)) for one in firsts]
    faults = [_faults(one, job) for one in firsts]
    broken = [
        _Sample(one, fault.chain, fault.chain.builds(n_samples=0, seed=(0,)).nominal(), ENDS)
        for one, found in zip(firsts, faults, strict=True)
        for fault in found
    ]
    read = _read(engine, bench, [*plans, *broken])
    rest = iter(read[len(plans) :])
    rows: list[Expected] = []
    for group, plan, values, found in zip(groups.values(), plans, read, faults, strict=False):
        wrong = [(fault, next(rest)) for fault in found]
        names = tuple(one.name for one in group)
        rows += _rows(names, plan, values, wrong)
    return (*_supply(job, plans, read), *rows)


def _bench(job: JobPlan) -> _Bench:
    return _Bench(dead_rail(job), job.fit(PartUse("display", "unterminated", values={"termination": NOTHING})))


def dead_rail(job: JobPlan) -> tuple[float, ...]:
    """Return what the dead rail may measure to 0 V [ohm]: what its declared load makes of it, else both ends."""
    load, rail = job.job.supply.get("rail_load"), job.rail.nominal
    if isinstance(load, Value):
        return (load.nominal if load.unit == "ohm" else rail / max(load.nominal, 1e-9),)
    return (LEAST_LOAD, MOST_LOAD)


ENDS: Mapping[str, str] = {PIN: "", NEAR: "", FAR: ""}
"""The points every chain has, whatever was done to it."""


def _points(one: LinePlan) -> Mapping[str, str]:
    """Return the nodes of a line in the order of the signal, with the marks its picture has (M1, M2 …)."""
    picture = drawn(one.as_built, one.builds)
    marks = {node: f"M{number}" for number, node in enumerate(picture.path, 1)}
    ends = {node: marks.get(picture.joined.get(node, node), "") for node in (PIN, NEAR, FAR)}
    return {PIN: ends[PIN], **{node: mark for node, mark in marks.items() if node not in ends}, **ends}


def _faults(one: LinePlan, job: JobPlan) -> tuple[Fault, ...]:
    asked = one.as_built.source.part.states[one.standard.signal]
    return tuple(f for f in faults_of(one.as_built, job, asked) if not f.other_value and not f.tilts)


def _read(engine: Engine, bench: _Bench, samples: Sequence[_Sample]) -> list[dict[Key, Array]]:
    """Return what every instrument reads of each sample: a value for every build, NaN for over range."""
    read: list[dict[Key, Array]] = [{} for _ in samples]
    _dead(engine, bench, samples, read)
    _live(engine, bench, samples, read)
    return read


def _dead(engine: Engine, bench: _Bench, samples: Sequence[_Sample], read: Sequence[dict[Key, Array]]) -> None:
    """Read ohms both ways and the diode test at pin and connector of the unit without power."""
    wanted = [
        (index, point, unpowered_deck(one.chain, one.builds, point, ohms))
        for index, one in enumerate(samples)
        for point in one.points
        if point != FAR
        for ohms in bench.rails
    ]
    traces = engine.run([deck for _, _, deck in wanted])
    for (index, point, _), trace in zip(wanted, traces, strict=True):
        for turned, when in enumerate((UNPOWERED, UNPOWERED_TURNED)):
            ohms, volts = unpowered_reads(trace, samples[index].builds.n_rows, turned)
            for key, values in (((point, when, OHMS, "resistance"), ohms), ((point, when, DIODE, "voltage"), volts)):
                before = read[index].get(key)
                read[index][key] = values if before is None else np.concatenate((before, values))


def _live(engine: Engine, bench: _Bench, samples: Sequence[_Sample], read: Sequence[dict[Key, Array]]) -> None:
    """Read every state at pin, connector and display with the probe on it, loaded and open."""
    wanted: list[tuple[int, str, str, Experiment]] = []
    for index, one in enumerate(samples):
        for when, chain in ((INTO_DISPLAY, one.chain), (LEAD_OUT, replace(one.chain, display=bench.scope))):
            for point in one.points if when == INTO_DISPLAY else [node for node in one.points if node != FAR]:
                experiment = probed(one.line.experiment(chain), point)
                wanted.append((index, when, point, replace(experiment, builds=one.builds)))
    groups = solve(engine, [experiment for *_, experiment in wanted], PICTURE_LEVELS)
    flat = [(place, plateaus) for place, group in enumerate(groups) for plateaus in group]
    traces = engine.run([node_deck(plateaus, wanted[place][2]) for place, plateaus in flat])
    for (place, plateaus), trace in zip(flat, traces, strict=True):
        index, when, point, _ = wanted[place]
        for quantity, values in node_levels(plateaus, trace, point).items():
            key = (point, when, SCOPE, quantity)
            before = read[index].get(key)
            read[index][key] = values if before is None else np.concatenate((before, values))


def _rows(
    names: tuple[str, ...],
    plan: _Sample,
    values: Mapping[Key, Array],
    wrong: Iterable[tuple[Fault, Mapping[Key, Array]]],
) -> Iterator[Expected]:
    faults = list(wrong)
    wanted = {"resistance", "voltage", *(q for q in plan.line.standard.quantities if q.startswith("level."))}
    order = (UNPOWERED, UNPOWERED_TURNED, LEAD_OUT, INTO_DISPLAY)
    by = (DIODE, OHMS, SCOPE)
    nodes = list(plan.points)
    for key in sorted(values, key=lambda k: (order.index(k[1]), nodes.index(k[0]), by.index(k[2]), k[3])):
        node, when, instrument, quantity = key
        if quantity not in wanted:
            continue
        unit = {"resistance": "ohm"}.get(quantity, "V")
        expected, low, high = (None if one is None else _clean(one, unit) for one in _ends(plan, values[key]))
        mark, where = plan.points[node], WORDS.get(node, BETWEEN)
        tells = _tells((expected, low, high), unit, [(f, _first(v.get(key))) for f, v in faults])
        yield Expected(names, mark, where, when, instrument, quantity, expected, low, high, unit, tells)


def _clean(value: float, unit: str) -> float:
    """Return a value without what no hand instrument shows: six digits, and nothing below a thousandth of a step."""
    return 0.0 if abs(value) < 1e-3 * SHOWS[unit] else float(f"{value:.5e}")


def _ends(plan: _Sample, values: Array) -> tuple[float | None, float | None, float | None]:
    """Return nominal, lowest and highest of a reading over builds, rails and pictures; None stands for over range."""
    rows = plan.builds.n_rows
    lows: list[float] = []
    highs: list[float] = []
    over = bool(np.isnan(values).any())
    for block in values.reshape(-1, rows):
        if not np.isfinite(block).any():
            continue
        filled = np.where(np.isfinite(block), block, np.nanmax(block))
        made = summarise(
            "level.blank",
            filled,
            line="",
            guarded=None,
            corners=plan.builds.corners,
            samples=slice(0, 0),
            summed=plan.builds.summed,
            unknowns=(),
        )
        ends = (float(filled[0]),) if made.spread is None else made.spread
        lows.append(min(*ends, float(filled[0])))
        highs.append(max(*ends, float(filled[0])))
    first = values[0]
    expected = float(first) if np.isfinite(first) else None
    return expected, min(lows, default=None), None if over or not highs else max(highs)


def _first(values: Array | None) -> float | None:
    return None if values is None else float(values[0])


def _tells(
    ends: tuple[float | None, float | None, float | None], unit: str, seen: Sequence[tuple[Fault, float | None]]
) -> tuple[str, ...]:
    """Return the faults whose reading lies outside what the plan allows, the instrument's own error aside."""
    expected, low, high = ends
    told = []
    for fault, value in seen:
        if value is None:
            continue
        over = not np.isfinite(value)
        slack = OWN_ERROR[unit] * abs(expected or low or 0.0) + SHOWS[unit]
        below = low is not None and not over and value < low - slack
        above = high is not None and (over or value > high + slack)
        if below or above or (expected is None and low is None and not over):
            told.append(fault.what)
    return tuple(dict.fromkeys(told))[:MOST_TOLD]


def _supply(job: JobPlan, plans: Sequence[_Sample], read: Sequence[Mapping[Key, Array]]) -> Iterator[Expected]:
    """Yield what the rail reads: its voltage, and the current of the first power-up with the limit to set."""
    mark, where = RAIL_MARK, RAIL_WORDS
    names = tuple(one.name for one in job.lines)
    rail, load = job.rail, job.job.supply.get("rail_load", UNKNOWN_WORD)
    share = parse_accuracy(presumed()["meter"]["accuracy"].text, "V").of_reading
    ends = (rail.low * (1 - share), rail.high * (1 + share))
    if isinstance(load, Value):
        alike = {
            plan.line.line.table: sum(one.line.table == plan.line.line.table for one in job.lines) for plan in plans
        }
        draw = sum(
            alike[plan.line.line.table] * float(np.max(found.get((NEAR, INTO_DISPLAY, SCOPE, "current"), np.zeros(1))))
            for plan, found in zip(plans, read, strict=False)
        )
        own = load.nominal if load.unit == "A" else rail.nominal / load.nominal
        total = own + draw
        yield Expected(names, mark, where, FIRST_POWER, SUPPLY, "current", total, 0.5 * total, 1.5 * total, "A")
    yield Expected(names, mark, where, RUNNING, METER, "voltage", rail.nominal, *ends, "V")
