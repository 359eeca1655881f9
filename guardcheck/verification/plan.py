"""What the readings are compared with: every line as the job builds it, simulated, with its output impedance."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from guardcheck.engine import Engine
from guardcheck.measure import mismatch_rows
from guardcheck.measure.readings import READABLE, Circumstances
from guardcheck.model import Line, Quantity, Standard
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.levels import level_quantities, solve
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.response import LOAD, studies_of

IMPEDANCE = "response.impedance"
UNIT_ROLES = ("source", "stage", "guard")
"""The parts of a chain that belong to the unit."""
TERMINATION = "termination"
"""The parameter every display has by contract: what the line ends in [ohm]."""


@dataclass(frozen=True)
class Plan:
    """One line as built: its standard, the chain to be simulated, and the quantities the simulation gave by name.

    `experiment` is None when something the chain needs is unknown and has no usual range; `failure` says what. `load`
    is the resistance the standard's own display puts across the line [ohm]. `coupled` tells whether the unit itself
    couples the line through a capacitor, None where that could not be found.
    """

    line: Line
    standard: Standard
    experiment: Experiment | None
    quantities: Mapping[str, Quantity]
    load: float = LOAD
    failure: str | None = None
    coupled: bool | None = None

    @property
    def guarded(self) -> bool:
        """Tell whether the line was built with a guard."""
        return self.line.has_guard

    def nominal(self, name: str) -> float | None:
        """Return the planned value of a quantity [SI], None when none was simulated."""
        return self.quantities[name].value if name in self.quantities else None

    def half_spread(self, name: str) -> float:
        """Return half the worst-case spread of a planned quantity [SI], 0 when it has none."""
        spread = self.quantities[name].spread if name in self.quantities else None
        return 0.0 if spread is None else (spread[1] - spread[0]) / 2.0

    def pictures(self, name: str) -> float:
        """Return half of what the picture on the screen moves a planned quantity by [SI], 0 when it moves nothing."""
        found = self.quantities[name].pictures if name in self.quantities else None
        return 0.0 if found is None else (found[1] - found[0]) / 2.0

    def circumstances(self) -> Circumstances:
        """Return what a reading or capture of this line needs to know of it."""
        standard, picture = self.standard, self.standard.test_picture
        return Circumstances(
            output_impedance=self.nominal(IMPEDANCE),
            impedance_half_width=self.half_spread(IMPEDANCE),
            has_sync=standard.signal == "picture" and self.carries_sync,
            has_chroma=picture.bars_100_peak > 1.0,
            setup=picture.setup,
            signal=standard.signal,
            load=self.load,
            coupled=self.coupled,
        )

    @property
    def carries_sync(self) -> bool:
        """Tell whether sync stands on the line itself."""
        return "level.sync" in self.standard.quantities


def plans(engine: Engine, plan: JobPlan, measured: Mapping[str, Collection[str]]) -> Mapping[str, Plan]:
    """Return the plan of every line of the job by its name.

    Levels and output impedance are always simulated; of the rest only what was `measured`, quantity names by line.
    """
    made = [_plan(plan, one) for one in plan.lines]
    wanted = [
        replace(one.experiment, standard=_reduced(one.standard, measured.get(one.line.name, ())))
        for one in made
        if one.experiment is not None
    ]
    solved = iter(_solved(engine, wanted))
    full = [one if one.experiment is None else _with(one, *next(solved)) for one in made]
    return {one.line.name: one for one in full}


def _with(plan: Plan, quantities: Mapping[str, Quantity], capacitors: Collection[str]) -> Plan:
    """Return a plan with what its simulation gave; a capacitor in the display does not couple the unit's output."""
    coupled = any(name.rpartition("_")[2] in UNIT_ROLES for name in capacitors)
    return replace(plan, quantities=quantities, coupled=coupled)


def _plan(plan: JobPlan, one: LinePlan) -> Plan:
    ends_in = plan.own_display(one.standard).values.get(TERMINATION)
    load = LOAD if ends_in is None else ends_in.nominal
    chain = one.as_built
    if chain.missing:
        why = f"{', '.join(chain.missing)} is unknown and has no usual range, so the plan was not simulated"
        return Plan(one.line, one.standard, None, {}, load, why)
    return Plan(one.line, one.standard, one.experiment(chain), {}, load)


def _solved(engine: Engine, experiments: Sequence[Experiment]) -> list[tuple[Mapping[str, Quantity], Collection[str]]]:
    """Return the quantities each experiment's standard asks for, by name, and the coupling capacitors it has."""
    groups = solve(engine, experiments)
    studies = [studies_of(one, group) for one, group in zip(experiments, groups, strict=True)]
    traces = iter(engine.run([deck for made in studies for study in made for deck in study.decks]))
    found: list[tuple[Mapping[str, Quantity], Collection[str]]] = []
    for group, made in zip(groups, studies, strict=True):
        quantities = list(level_quantities(group))
        for study in made:
            quantities += study.read([next(traces) for _ in study.decks])
        found.append(({one.name: one for one in quantities}, tuple(group[0].held)))
    return found


def _reduced(standard: Standard, measured: Collection[str]) -> Standard:
    """Return a standard that asks only for what a measurement is compared with."""
    levels = [name for name in standard.quantities if name.startswith("level.") and name in READABLE]
    others = [name for name in standard.quantities if name in READABLE and name in measured]
    return replace(standard, quantities=tuple(dict.fromkeys((*levels, *others, IMPEDANCE))))


def planned_mismatch(members: Sequence[Plan]) -> float | None:
    """Return the planned level ratio between the lines of one picture [dB], None when one was not simulated."""
    whites = [one.nominal("level.white") for one in members]
    if any(white is None for white in whites):
        return None
    return float(mismatch_rows([np.array([white]) for white in whites])[0])
