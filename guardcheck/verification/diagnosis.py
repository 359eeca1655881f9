"""Why a reading is not what was planned: the faults that, simulated in the job's own netlist, give it.

Explanations are computed, never guessed, and always a set: readings of different faults often coincide. With the set
comes the one further measurement that would tell its members apart best. "None of them" is an allowed answer.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from guardcheck.compose.chain import NEAR
from guardcheck.compose.changes import SHORT
from guardcheck.engine import Engine
from guardcheck.library import BENCH_LOAD
from guardcheck.measure import level_rows
from guardcheck.model import Fitted, PartUse, Value
from guardcheck.simulate.experiment import Experiment, emf_of
from guardcheck.simulate.levels import solve
from guardcheck.simulate.planning import JobPlan
from guardcheck.simulate.response import studies_of
from guardcheck.units import parse
from guardcheck.verification.choice import OVER, Candidate, Step, laid_out
from guardcheck.verification.expect import dead_rail
from guardcheck.verification.faults import Fault, Fittable, faults_of, fittable
from guardcheck.verification.measured import OPEN, Measured
from guardcheck.verification.plan import Plan
from guardcheck.verification.points import PIN, node_deck, node_levels, probed, unpowered_deck, unpowered_reads

CONNECTED, DOUBLE, AT_PIN = "connected", "double", "at-pin"
BENCHES = (CONNECTED, OPEN, DOUBLE)
"""How a line may be measured: as built, with nothing but the instrument, with one more load across it."""
INSTRUMENT = Value.exact(1e6, "ohm", text="1 Mohm")
"""Input resistance of an oscilloscope (common practice, no published source)."""
PLANNED = "as planned"
TILT = "response.field_tilt"
"""What a coupling capacitor shows that no level does."""
LEADING = ("level.white", "level.sync", "level.pp", "level.blank")
"""The quantities a next measurement is proposed for, first come first."""
STEADY, RAIL = "level.blank", "rail"
"""What a steady fault shows where no capacitor stands in the way; the supply itself."""
CLOSE = 0.5
"""Causes that differ by less than this share of the uncertainty fit alike: the commoner fault comes first."""
FEW = 1e-9
DEAD: Mapping[str, str] = {
    NEAR: "the resistance from the connector to 0 V, power off and lead out",
    PIN: "the resistance from the chip's own pin to 0 V, power off and lead out",
}
"""Readings with the power off, by point."""
ONE_PICTURE = (0.5,)
"""Average picture level at which coupling capacitors are taken: what was on the screen is not known better."""

Levels = Mapping[str, float]


@dataclass(frozen=True)
class Observation:
    """One level as it stood on the line [V], with its expanded uncertainty and the plan's own tolerance."""

    quantity: str
    value: float
    uncertainty: float
    bench: str
    planned: float | None
    tolerance: float
    bound: str | None = None

    def distance(self, simulated: float) -> float:
        """Return how far a simulated level lies from the reading, in expanded uncertainties of both."""
        away = simulated - self.value
        if self.bound is not None:
            away = min(away, 0.0) if self.bound == "at_least" else max(away, 0.0)
        relative = abs(simulated / self.planned) if self.planned else 1.0
        width = math.hypot(self.uncertainty, self.tolerance * max(relative, FEW))
        return abs(away) / max(width, FEW) if math.isfinite(simulated) else math.inf


@dataclass(frozen=True)
class Cause:
    """A fault whose simulated levels agree with every reading of the line; `values` [V] in the readings' order."""

    fault: Fault
    values: tuple[float, ...]
    distance: float


@dataclass(frozen=True)
class Explanation:
    """What explains the readings of one line: causes best first, out of `simulated` faults; what to measure next.

    `rail` is the most this circuit can give [V]; `drive` what its source swings with nothing connected [V].
    """

    line: str
    guarded: bool
    observations: tuple[Observation, ...]
    simulated: int
    causes: tuple[Cause, ...]
    next: Step | None
    rail: float = math.inf
    drive: float = 0.0


@dataclass(frozen=True)
class _Case:
    """The faults of lines that are built alike (the plan itself first), and the levels each gives on each bench."""

    plan: Plan
    faults: tuple[Fault, ...]
    parts: tuple[Fittable, ...]
    levels: dict[tuple[int, str], Levels]
    tilts: dict[int, float]
    ohms: dict[tuple[int, str], float]

    def reads(self, index: int, bench: str, quantity: str) -> float:
        """Return what a fault, by its place, makes a quantity read on a bench; NaN where that is not known."""
        if quantity == TILT:
            return self.tilts.get(index, self.tilts.get(0, math.nan)) if bench == CONNECTED else math.nan
        return self.levels[index, bench].get(quantity, math.nan)


@dataclass(frozen=True)
class _Bench:
    """Simulates faults as the bench would find them: as built, with nothing but the instrument, or with more load."""

    engine: Engine
    instrument: Fitted
    rail: float

    def fill(self, wanted: Sequence[tuple[_Case, int, str]]) -> None:
        """Simulate faults of cases on benches, by their places, all in one go; what is known is not run again."""
        new = [(case, index, bench) for case, index, bench in wanted if (index, bench) not in case.levels]
        experiments = [self._experiment(case.plan, case.faults[index], bench) for case, index, bench in new]
        for (case, index, bench), group in zip(new, solve(self.engine, experiments, ONE_PICTURE), strict=True):
            rows = level_rows(group[0].experiment.states, group[0].volts)
            case.levels[index, bench] = {name: float(row[0]) for name, row in rows.items()}

    def points(self, wanted: Sequence[tuple[_Case, int]]) -> None:
        """Simulate the levels at the chip's pin, and what a meter shows at the points of the unit without power."""
        experiments = [
            probed(self._experiment(case.plan, case.faults[index], CONNECTED), PIN) for case, index in wanted
        ]
        firsts = [group[0] for group in solve(self.engine, experiments, ONE_PICTURE)]
        traces = self.engine.run([node_deck(one, PIN) for one in firsts])
        for (case, index), one, trace in zip(wanted, firsts, traces, strict=True):
            levels = node_levels(one, trace, PIN)
            case.levels[index, AT_PIN] = {name: float(row[0]) for name, row in levels.items() if name != "current"}
        dead = [
            (case, index, one, node) for (case, index), one in zip(wanted, experiments, strict=True) for node in DEAD
        ]
        decks = [unpowered_deck(one.chain, one.builds, node, self.rail) for _, _, one, node in dead]
        for (case, index, _, node), trace in zip(dead, self.engine.run(decks), strict=True):
            shown = float(unpowered_reads(trace, 1, 0)[0][0])
            case.ohms[index, node] = OVER if math.isnan(shown) and trace.failure is None else shown

    def tilt(self, cases: Iterable[_Case]) -> None:
        """Simulate the tilt of a field for the plan and for the faults that change it; the others have the plan's."""
        wanted = [(case, i) for case in cases for i, one in enumerate(case.faults) if one.tilts or i == 0]
        made = [self._experiment(case.plan, case.faults[index], CONNECTED) for case, index in wanted]
        made = [replace(one, standard=replace(one.standard, quantities=(TILT,))) for one in made]
        groups = solve(self.engine, made, ONE_PICTURE)
        studies = [study for one, group in zip(made, groups, strict=True) for study in studies_of(one, group)]
        traces = iter(self.engine.run([deck for study in studies for deck in study.decks]))
        for (case, index), study in zip(wanted, studies, strict=True):
            (found,) = study.read([next(traces) for _ in study.decks])
            case.tilts[index] = math.nan if found.value is None else found.value

    def _experiment(self, plan: Plan, fault: Fault, bench: str) -> Experiment:
        assert plan.experiment is not None
        chain = fault.chain
        if bench == OPEN:
            chain = replace(chain, display=self.instrument)
        elif bench == DOUBLE:
            both = 1.0 / (1.0 / plan.load + (0.0 if chain.shunt is None else 1.0 / chain.shunt))
            chain = replace(chain, shunt=max(both, SHORT))
        builds = chain.builds(n_samples=0, seed=(0,)).nominal()
        return replace(plan.experiment, chain=chain, builds=builds)


def explain(
    engine: Engine, job: JobPlan, plans: Mapping[str, Plan], readings: Mapping[str, Sequence[Measured]]
) -> Mapping[str, Explanation]:
    """Return what explains the readings of each line.

    Parameters
    ----------
    engine : runs all decks of all faults of all lines together
    job : fits the loads of other measurements
    plans : the lines as built
    readings : everything measured on the lines in question, by line name

    Returns
    -------
    By line name; a line whose plan could not be simulated, or of which nothing can be compared, is left out

    """
    wanted = {
        name: seen
        for name, found in readings.items()
        if plans[name].experiment is not None and (seen := _observations(plans[name], found))
    }
    cases = {plans[name].line.table: _case(plans[name], job) for name in wanted}
    instrument = job.fit(PartUse("display", "unterminated", values={"termination": INSTRUMENT}))
    bench = _Bench(engine, instrument, min(dead_rail(job)))
    read = {(plans[name].line.table, one.bench) for name, seen in wanted.items() for one in seen}
    bench.fill([(cases[t], index, how) for t, how in sorted(read) for index in range(len(cases[t].faults))])
    tilted = {plans[name].line.table for name, seen in wanted.items() if any(one.quantity == TILT for one in seen)}
    bench.tilt(cases[table] for table in sorted(tilted))
    found = {name: _agreeing(cases[plans[name].line.table], seen) for name, seen in wanted.items()}
    rivals = {(plans[name].line.table, index) for name, causes in found.items() for index in (0, *causes)}
    bench.fill([(cases[t], index, how) for t, index in sorted(rivals) for how in BENCHES])
    bench.points([(cases[t], index) for t, index in sorted(rivals)])
    return {
        name: _explained(cases[plans[name].line.table], plans[name], seen, found[name]) for name, seen in wanted.items()
    }


def _case(plan: Plan, job: JobPlan) -> _Case:
    assert plan.experiment is not None
    chain, asked = plan.experiment.chain, plan.experiment.mapping
    states = {state: asked[state] for state in plan.experiment.states}
    return _Case(plan, (Fault(PLANNED, PLANNED, chain), *faults_of(chain, job, states)), fittable(chain), {}, {}, {})


def _observations(plan: Plan, found: Sequence[Measured]) -> tuple[Observation, ...]:
    seen = []
    for one in found:
        quantity = one.quantity
        if not one.usable or one.raw is None or one.raw_uncertainty is None:
            continue
        if not quantity.name.startswith("level.") and quantity.name != TILT:
            continue
        if quantity.name in plan.quantities:
            bench = OPEN if one.load == OPEN else CONNECTED
            tolerance = math.hypot(2.0 * plan.half_spread(quantity.name) / math.sqrt(3.0), plan.pictures(quantity.name))
            planned = plan.nominal(quantity.name)
            seen.append(
                Observation(
                    quantity.name, one.raw, one.raw_uncertainty, bench, planned, tolerance, bound=quantity.bound
                )
            )
    return tuple(seen)


def _agreeing(case: _Case, seen: Sequence[Observation]) -> Mapping[int, Cause]:
    """Return the faults that give every reading of a line, by their places."""
    found = {}
    for index, fault in enumerate(case.faults):
        values = tuple(case.reads(index, one.bench, one.quantity) for one in seen)
        distances = [one.distance(value) for one, value in zip(seen, values, strict=True)]
        if max(distances) <= 1.0:
            found[index] = Cause(fault, values, math.hypot(*distances))
    return found


def _explained(case: _Case, plan: Plan, seen: tuple[Observation, ...], agreeing: Mapping[int, Cause]) -> Explanation:
    found = _without_the_invisible(list(agreeing.items()), case)
    ranked = _one_value_each(sorted(found, key=lambda pair: (round(pair[1].distance / CLOSE), pair[0])))
    proposed = _next(case, seen, [index for index, _ in ranked])
    causes = tuple(cause for _, cause in ranked)
    rail, drive = _reach(case)
    return Explanation(plan.line.name, plan.guarded, seen, len(case.faults) - 1, causes, proposed, rail, drive)


def _reach(case: _Case) -> tuple[float, float]:
    """Return the most this circuit can give [V]: its rail, or its source where that is higher; and the source's swing.

    A source that drives a current has no voltage of its own, so nothing is above its reach.
    """
    assert case.plan.experiment is not None
    one = case.plan.experiment
    source = one.chain.source
    if source.values[one.mapping["blank"]].unit != "V":
        return math.inf, 0.0
    levels = emf_of(one, one.builds.nominal())[0]
    swing = float(levels.max() - levels.min())
    return max(one.chain.rail.high, float(abs(levels).max()), swing), swing


def _one_value_each(ranked: list[tuple[int, Cause]]) -> list[tuple[int, Cause]]:
    """Name another value of a resistor once, the best, and only where no plainer fault of that resistor explains it."""
    named = {card for _, cause in ranked if not cause.fault.other_value for card in cause.fault.ohms}
    kept = []
    for index, cause in ranked:
        if cause.fault.other_value:
            if named & set(cause.fault.ohms):
                continue
            named |= set(cause.fault.ohms)
        kept.append((index, cause))
    return kept


def _without_the_invisible(found: list[tuple[int, Cause]], case: _Case) -> list[tuple[int, Cause]]:
    """Leave out, where the plan itself gives the readings, the faults that change no level on any bench."""
    if not any(index == 0 for index, _ in found):
        return found
    return [(index, cause) for index, cause in found if index == 0 or not _same(case, index, 0)]


def _same(case: _Case, one: int, other: int) -> bool:
    return all(
        abs(level - case.levels[other, bench].get(name, math.nan)) <= 1e-3 + 2e-3 * abs(level)
        for bench in BENCHES
        for name, level in case.levels[one, bench].items()
    )


def _next(case: _Case, seen: Sequence[Observation], causes: Sequence[int]) -> Step | None:
    """Return the measurement that tells the causes apart best, and those after it; one cause is told from the plan.

    Rivals are the causes by their places in the list, the plan behind them where it is no cause itself.
    """
    rivals = list(causes) if len(causes) > 1 else [*causes, *([0] if 0 not in causes else [])]
    return laid_out(_measurements(case, seen, rivals), range(len(rivals)))


def _bears_more(plan: Plan) -> bool:
    """Tell whether one more load may be asked for: never of a logic pin, nor of a source that does not say."""
    assert plan.experiment is not None
    stated = plan.experiment.chain.source.part.two_readings.get(BENCH_LOAD)
    return stated is not None and parse(stated, "ohm")[0].nominal <= plan.load


def _measurements(case: _Case, seen: Sequence[Observation], rivals: Sequence[int]) -> list[Candidate]:
    """Return what might be measured next, the easiest first, with what each rival would make it read."""
    done = {(one.quantity, one.bench) for one in seen}
    leading = next((name for name in LEADING if any(one.quantity == name for one in seen)), LEADING[0])
    words = {
        CONNECTED: "with the display connected",
        OPEN: "with the line open, nothing but the instrument connected",
        DOUBLE: f"with one more load of {case.plan.load:.3g} ohm across the line",
        AT_PIN: "at the chip's own pin, the display connected",
    }
    found = []
    benches = [one for one in (*BENCHES, AT_PIN) if one != DOUBLE or _bears_more(case.plan)]
    for quantity in (leading, STEADY):
        for bench in benches:
            hidden = quantity == STEADY and case.plan.coupled and bench != AT_PIN
            reads = tuple(case.levels[index, bench].get(quantity, math.nan) for index in rivals)
            if not hidden and (quantity, bench) not in done:
                found.append(Candidate(f"{quantity} {bench}", f"{quantity} {words[bench]}", "V", reads))
    rails = tuple(case.faults[index].chain.rail.nominal for index in rivals)
    found.append(Candidate(RAIL, "the supply at the stage and guard, meter on direct volts", "V", rails))
    for node, what in DEAD.items():
        found.append(Candidate(node, what, "ohm", tuple(case.ohms[index, node] for index in rivals)))
    for part in case.parts:
        if part.card.name[0] == "r" and any(part.card.name in case.faults[index].ohms for index in rivals):
            reads = tuple(case.faults[index].ohms.get(part.card.name, part.value) for index in rivals)
            what = f"the resistance across {part.name}, power off and one end lifted"
            found.append(Candidate(part.card.name, what, "ohm", reads))
    return found
