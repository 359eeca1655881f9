"""Faults put into a simulated unit and looked for by following nothing but the tool's next-reading advice.

Run all forty: ``python -m tests.verify.injected_faults [COUNT] [SEED]``. The readings the advice may ask for were
settled on seed 11, so what it is worth is read on another seed. A wrong value counts as found when its resistor is
named. The unit on the bench is built with tolerances of its own and read with an instrument that errs; it answers what
is asked and nothing else. Beside the number of readings stands that of a fixed order: white and steady level on the
three benches, white at the pin, connector and pin without power, the supply, every resistor. It stops when it leaves no
more causes than the advice did.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.measure import level_rows
from guardcheck.model import PartUse
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.simulate.levels import solve
from guardcheck.verification.choice import OVER, apart, uncertainty
from guardcheck.verification.diagnosis import (
    AT_PIN,
    BENCHES,
    CONNECTED,
    DEAD,
    INSTRUMENT,
    ONE_PICTURE,
    RAIL,
    STEADY,
    _Bench,
    _Case,
    _case,
)
from guardcheck.verification.expect import dead_rail
from guardcheck.verification.faults import Fault
from guardcheck.verification.plan import plans
from guardcheck.verification.points import PIN, node_deck, node_levels, probed, unpowered_deck, unpowered_reads
from tests.pipeline.jobs import line, text
from tests.verify.bench import reading, run

FINE = {"accuracy": "1%", "resolution": "1 mV", "termination": "1%"}
ERROR = 0.004
"""Standard error of what is read: well inside the accuracy that is declared."""
MOST = 8
"""Readings after which the search is given up."""

LINES = {
    "pad": line(
        source_values='white = "5 V", impedance = "1 ohm"',
        stage="two-resistor-pad",
        stage_values='series = "267 ohm 1%", shunt = "105 ohm 1%"',
    ),
    "buffer": line(
        source_values='white = "0.7 V", impedance = "75 ohm"',
        stage="video-buffer",
        stage_values='series = "75 ohm 1%", shift = "0.3 V"',
        guard="schottky-pair",
    ),
    "ac-coupled": line(
        source_values='white = "1.4 V", impedance = "10 ohm"',
        stage="ac-coupled",
        stage_values='series = "64.9 ohm 1%", capacitor = "470 uF 20%"',
        guard="silicon-pair",
    ),
    "follower": line(
        source_values='white = "2.8 V", black = "1.4 V", impedance = "10 ohm"',
        stage="npn-follower",
        stage_values='series = "68 ohm 1%", emitter = "220 ohm 1%"',
    ),
}


@dataclass(frozen=True)
class Unit:
    """One kind of line with everything a search needs: job, faults by place, what each makes every reading show."""

    name: str
    job: str
    case: _Case
    bench: _Bench


@dataclass(frozen=True)
class Found:
    """How a search ended: the readings it took, those of the fixed order, the causes left, whether the fault is one."""

    line: str
    fault: str
    readings: int
    fixed: int
    left: tuple[str, ...]
    found: bool
    path: tuple[str, ...]


def unit_of(engine: Engine, name: str) -> Unit:
    """Return a kind of line, its faults simulated on every bench."""
    job = text(LINES[name])
    plan = plan_of(parse_job(job, file="job.toml"), Options(samples=0))
    planned = plans(engine, plan, {"red": set()})
    case = _case(planned["red"], plan)
    alone = plan.fit(PartUse("display", "unterminated", values={"termination": INSTRUMENT}))
    bench = _Bench(engine, alone, min(dead_rail(plan)))
    bench.fill([(case, index, how) for how in BENCHES for index in range(len(case.faults))])
    bench.points([(case, index) for index in range(len(case.faults))])
    return Unit(name, job, case, bench)


def visible(unit: Unit) -> list[Fault]:
    """Return the faults that move a level of the line as it is used: what moves none is no wrong reading."""
    names = ("level.white", *(() if unit.case.plan.coupled else (STEADY,)))
    levels = unit.case.levels
    return [
        fault
        for index, fault in enumerate(unit.case.faults)
        if index
        and not fault.tilts
        and any(apart(levels[index, CONNECTED][one], levels[0, CONNECTED][one], "V") for one in names)
    ]


def chosen(units: Sequence[Unit], count: int, seed: int = 11) -> list[tuple[Unit, Fault]]:
    """Return so many faults in all, as many of each line: three quarters named ones, the rest values of a resistor."""
    draw = random.Random(seed)
    picked: list[tuple[Unit, Fault]] = []
    for place, unit in enumerate(units):
        share = count // len(units) + (place < count % len(units))
        seen = visible(unit)
        named, values = ([one for one in seen if one.other_value is what] for what in (False, True))
        few = min(len(values), share - min(len(named), share * 3 // 4))
        taken = [*draw.sample(named, min(len(named), share - few)), *draw.sample(values, few)]
        picked += [(unit, fault) for fault in taken]
    return picked


class Built:
    """One unit with one fault, built with tolerances of its own and read with an instrument that errs."""

    def __init__(self, unit: Unit, fault: Fault, seed: int) -> None:
        self.unit, self.fault = unit, fault
        self.draw = np.random.default_rng(seed)
        self.levels: dict[str, Mapping[str, float]] = {}
        builds = fault.chain.builds(n_samples=1, seed=(seed,))
        row = builds.samples.start if builds.n_rows > 1 else 0
        for bench in BENCHES:
            one = replace(unit.bench._experiment(unit.case.plan, fault, bench), builds=builds.single(row))
            (group,) = solve(unit.bench.engine, [one], ONE_PICTURE)
            rows = level_rows(one.states, group[0].volts)
            self.levels[bench] = {name: float(found[0]) for name, found in rows.items()}
        one = probed(replace(unit.bench._experiment(unit.case.plan, fault, CONNECTED), builds=builds.single(row)), PIN)
        (group,) = solve(unit.bench.engine, [one], ONE_PICTURE)
        dead = [unpowered_deck(one.chain, one.builds, node, unit.bench.rail) for node in DEAD]
        at_pin, *traces = unit.bench.engine.run([node_deck(group[0], PIN), *dead])
        self.levels[AT_PIN] = {name: float(found[0]) for name, found in node_levels(group[0], at_pin, PIN).items()}
        ohms = (float(np.nan_to_num(unpowered_reads(trace, 1, 0)[0][0], nan=OVER)) for trace in traces)
        self.ohms = dict(zip(DEAD, ohms, strict=True))

    def read(self, key: str) -> float:
        """Return what an instrument shows of a reading named by the advice."""
        if key in DEAD:
            true = self.ohms[key]
        elif key == RAIL:
            true = self.fault.chain.rail.nominal
        elif " " in key:
            quantity, bench = key.split(" ")
            true = self.levels[bench][quantity]
        else:
            part = next(one for one in self.unit.case.parts if one.card.name == key)
            true = self.fault.ohms.get(key, part.value)
        return true * (1.0 + float(self.draw.normal(0.0, ERROR)))


def written(quantity: str, value: float) -> str:
    """Return a level read into its load as an entry of a readings file."""
    return reading(quantity=quantity, value=f"{1e3 * value:.1f} mV", coupling="dc", **FINE)


def search(engine: Engine, folder: Path, built: Built) -> Found:
    """Follow the advice: what is owed first until a level is wrong, then what tells its causes apart."""
    told: list[str] = []
    path: list[str] = []
    wanted = "level.white"
    while len(path) < MOST:
        path.append(f"{wanted} {CONNECTED}")
        told.append(written(wanted, built.read(path[-1])))
        result = run(engine, folder, built.unit.job, *told)
        explained = result.extra["explanations"]
        if explained:
            return _followed(built, explained[0], path)
        owed = [one.key.removeprefix("reading:red/") for one in result.asks]
        wanted = next((one for one in owed if f"{one} {CONNECTED}" not in path and one.startswith("level.")), "")
        if not wanted:
            break
    return _ended(built, (), path)


def _followed(built: Built, explained: Mapping[str, Any], path: list[str]) -> Found:
    ids = {one["mark"]: one["id"] for one in explained["causes"]}
    left, step = tuple(ids), explained["next"]
    while step is not None and len(path) < MOST:
        value = built.read(step["key"])
        path.append(step["key"])
        unit = step["unit"]

        def far(outcome: Mapping[str, Any], value: float = value, unit: str = unit) -> float:
            shown = [min(one, OVER) if unit == "ohm" else one for one in (value, outcome["value"])]
            return abs(shown[0] - shown[1]) / sum(uncertainty(one, unit) for one in shown)

        outcome = min(step["expect"], key=far)
        left, step = tuple(outcome["causes"]), outcome["then"]
    return _ended(built, tuple(ids[mark] for mark in left), path)


def _ended(built: Built, left: tuple[str, ...], path: Sequence[str]) -> Found:
    found = any(_same(built, one) for one in left)
    fixed = _in_order(built, max(len(left), 1))
    return Found(built.unit.name, built.fault.id, len(path), fixed, left, found, tuple(path))


def _same(built: Built, id_: str) -> bool:
    """Tell whether a named cause is the fault: itself, or, for one of many values, that resistor with another value."""
    if id_ == built.fault.id:
        return True
    named = next((one for one in built.unit.case.faults if one.id == id_), None)
    return built.fault.other_value and named is not None and named.ohms.keys() == built.fault.ohms.keys()


def _in_order(built: Built, enough: int) -> int:
    """Return how many readings in a fixed order leave no more causes than the advice left."""
    case = built.unit.case
    steady = () if case.plan.coupled else (STEADY,)
    order = [f"{quantity} {bench}" for bench in BENCHES for quantity in ("level.white", *steady)]
    order += [
        f"level.white {AT_PIN}",
        *DEAD,
        RAIL,
        *(part.card.name for part in case.parts if part.card.name[0] == "r"),
    ]
    left = list(range(1, len(case.faults)))
    for count, key in enumerate(order, start=1):
        value, unit = built.read(key), "V" if " " in key or key == RAIL else "ohm"
        left = [index for index in left if not apart(_predicted(case, index, key), value, unit)]
        kinds = {
            case.faults[i].id if not case.faults[i].other_value else str(sorted(case.faults[i].ohms)) for i in left
        }
        if len(kinds) <= enough:
            return count
    return len(order)


def _predicted(case: _Case, index: int, key: str) -> float:
    if key in DEAD:
        return case.ohms[index, key]
    if key == RAIL:
        return case.faults[index].chain.rail.nominal
    if " " in key:
        quantity, bench = key.split(" ")
        return case.levels[index, bench][quantity]
    part = next(one for one in case.parts if one.card.name == key)
    return case.faults[index].ohms.get(key, part.value)


def searches(engine: Engine, count: int, names: Sequence[str] = tuple(LINES), seed: int = 11) -> Iterator[Found]:
    """Yield how the search for each of so many faults ended."""
    units = [unit_of(engine, name) for name in names]
    for number, (unit, fault) in enumerate(chosen(units, count, seed)):
        with tempfile.TemporaryDirectory() as folder:
            yield search(engine, Path(folder), Built(unit, fault, seed + number))


def main() -> int:
    """Look for forty faults and say how it went."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 29
    with Engine() as engine:
        ends = []
        for one in searches(engine, count, seed=seed):
            ends.append(one)
            mark = "found" if one.found else "LOST "
            out = f"{mark} {one.line:<11}{one.fault:<42} {one.readings} readings ({one.fixed} in order)"
            sys.stdout.write(f"{out}, left: {'; '.join(one.left) or '-'}\n      {' > '.join(one.path)}\n")
            sys.stdout.flush()
    found = [one for one in ends if one.found]
    alone = [one for one in found if len(one.left) == 1]
    sys.stdout.write(
        f"{len(found)} of {len(ends)} found, {len(alone)} named alone, "
        f"{np.mean([len(one.left) for one in found]):.2f} causes left on average; mean readings "
        f"{np.mean([one.readings for one in ends]):.2f} by advice, "
        f"{np.mean([one.fixed for one in ends]):.2f} in a fixed order\n"
    )
    return len(ends) - len(found)


if __name__ == "__main__":
    sys.exit(main())
