"""What may be fitted on a line: stages and their values, guards, their places, their resistors on either side."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TypeVar

from guardcheck.compose import Chain
from guardcheck.errors import JobError, accepted, nearest
from guardcheck.library import Library
from guardcheck.model import Fitted, Job, Line, Parameter, Part, PartUse, Standard, Value
from guardcheck.proposal.trials import value_of
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.preferred import E3, E6, E12, E24, values_between

T = TypeVar("T")

NONE, PLACE, RESISTOR, CAPACITOR = "none", "place", "resistor", "capacitor"
WIDE = 10.0
"""How far, as a factor, a value of an own netlist may move when the job says that it may."""
RESISTOR_TOLERANCE, CAPACITOR_TOLERANCE = 0.01, 0.2
"""What is taken when the drawer states none: metal film, and electrolytics (common practice, no published source)."""


@dataclass(frozen=True)
class Drawer:
    """What is at hand: resistors [ohm] with their tolerances, and the names of parts; None means the whole shelf."""

    resistors: Mapping[float, float] | None = None
    parts: frozenset[str] | None = None

    def tolerance(self, ohms: float) -> float:
        """Return the relative tolerance of a resistor."""
        found = RESISTOR_TOLERANCE if self.resistors is None else self.resistors.get(ohms, 0.0)
        return found or RESISTOR_TOLERANCE

    def has(self, part: Part) -> bool:
        """Tell whether a part can be built: from resistors and capacitors always, else when it lies in the drawer."""
        return self.parts is None or cost_class(part) == 1 or part.name in self.parts


def drawer_of(job: Job, library: Library) -> Drawer:
    """Return the drawer a job declares. Raises `JobError` for a part the shelf does not have."""
    table = job.drawer
    known = (*library.names("guard"), *library.names("stage"))
    for index, name in enumerate(table.get("parts", ())):
        if name not in known:
            key = f"drawer.parts[{index}]"
            problem = f"no guard or stage '{name}'; accepted: {accepted(known)}{nearest(name, known)}"
            raise JobError(problem, file=job.file, key=key, line=job.lines_of.get(key))
    resistors = table.get("resistors")
    if resistors is not None:
        resistors = {one.nominal: (one.high - one.low) / 2 / one.nominal for one in resistors if one.nominal > 0.0}
    parts = table.get("parts")
    return Drawer(resistors, None if parts is None else frozenset(parts))


def cost_class(part: Part) -> int:
    """Return 1 for resistors and capacitors, 2 with discrete semiconductors, 3 with an integrated circuit."""
    letters = {element.name[0] for element in part.circuit.elements}
    if letters & set("befgh") and "q" not in letters:
        return 3
    return 2 if letters & set("dqjm") else 1


def count_of(part: Part) -> int:
    """Return how many components a part takes."""
    return len(part.extra.get("parts", ())) or sum(element.name[0] in "rcdq" for element in part.circuit.elements)


@dataclass(frozen=True)
class StageChoice:
    """A stage that may be fitted: its use, what of it may move, and the values each of these may take [SI]."""

    use: PartUse
    fitted: Fitted
    moves: Mapping[str, tuple[float, ...]]
    capacitors: Mapping[str, tuple[float, ...]]


@dataclass(frozen=True)
class GuardChoice:
    """A guard in a place, with the values of its own resistors; `use` None is no guard at all."""

    use: PartUse | None
    fitted: Fitted | None
    resistors: Mapping[str, float]

    @property
    def name(self) -> str:
        """Name of the guard."""
        return NONE if self.fitted is None else self.fitted.part.name

    @property
    def place(self) -> str | None:
        """Where it sits."""
        return None if self.fitted is None else self.fitted.words.get(PLACE)


@dataclass(frozen=True)
class Candidate:
    """One build: stage with values, guard with values."""

    stage: StageChoice
    guard: GuardChoice
    values: Mapping[str, float]

    @property
    def parts(self) -> int:
        """Number of components."""
        return count_of(self.stage.fitted.part) + (0 if self.guard.fitted is None else count_of(self.guard.fitted.part))

    @property
    def cost(self) -> int:
        """Cost class: the highest of its parts."""
        fitted = [one for one in (self.stage.fitted, self.guard.fitted) if one is not None]
        return max(cost_class(one.part) for one in fitted)

    def lines(self, lines: Sequence[Line], drawer: Drawer, rating: float | None = None) -> tuple[Line, ...]:
        """Return the lines of a job with this build; `rating` declares the size of its resistors [W]."""
        values = {name: written(self.stage, name, number, drawer) for name, number in self.values.items()}
        kept = {name: one for name, one in self.stage.use.values.items() if name not in values}
        if rating is not None:
            kept["power_rating"] = value_of(rating, "W")
        stage = replace(self.stage.use, values={**kept, **values})
        guard = PartUse("guard", NONE, key=lines[0].guard.key, values_key=lines[0].guard.values_key)
        if self.guard.use is not None:
            own = {name: value_of(ohms, "ohm", drawer.tolerance(ohms)) for name, ohms in self.guard.resistors.items()}
            guard = replace(self.guard.use, values={**self.guard.use.values, **own})
        return tuple(replace(line, stage=stage, guard=guard) for line in lines)


def written(stage: StageChoice, name: str, number: float, drawer: Drawer) -> Value:
    """Return a value of a stage as the job file holds it, with its tolerance."""
    parameter = stage.fitted.part.parameters[name]
    if parameter.moves == CAPACITOR:
        return value_of(number, "F", CAPACITOR_TOLERANCE)
    return value_of(number, "ohm", drawer.tolerance(number))


def stages_of(plan: JobPlan, one: LinePlan, drawer: Drawer) -> Iterator[StageChoice]:
    """Yield every stage that can be fitted: those of the shelf, and the line's own netlist with what may move of it.

    Raises
    ------
    JobError
        the line lets a value move that its stage does not have

    """
    line = one.line
    known = tuple(one.bare.stage.part.parameters)
    for name in line.moves:
        if name not in known:
            key = f"line[{line.table}].moves"
            problem = (
                f"the stage has no parameter '{name}'; accepted: {accepted(known) or 'none'}{nearest(name, known)}"
            )
            raise JobError(problem, file=plan.job.file, key=key, line=plan.job.lines_of.get(key))
    if line.stage.netlist is not None:
        part = one.bare.stage.part
        moves = {name: _own_values(one.bare.stage, name, drawer) for name in line.moves if name in part.parameters}
        yield StageChoice(line.stage, one.bare.stage, moves, {})
    for name in plan.library.names("stage"):
        part = plan.library.get("stage", name)
        mine = name == line.stage.name
        if not drawer.has(part) or not (mine or suits(part, one.standard)):
            continue
        use = line.stage if mine else PartUse("stage", name, key=line.stage.key, values_key=line.stage.values_key)
        fitted = plan.fit(use)
        named = set(line.moves) if mine and line.moves else None
        free = {key: each for key, each in part.parameters.items() if named is None or key in named}
        moves = {key: _choices(each, drawer) for key, each in free.items() if each.moves == RESISTOR}
        capacitors = {key: _choices(each, drawer) for key, each in free.items() if each.moves == CAPACITOR}
        if all(moves.values()):
            yield StageChoice(use, fitted, moves, capacitors)


def suits(part: Part, standard: Standard) -> bool:
    """Tell whether a stage is made for the signal of a standard; one that names none is for all."""
    return not part.signals or standard.signal in part.signals


def _choices(parameter: Parameter, drawer: Drawer) -> tuple[float, ...]:
    assert parameter.usual is not None
    low, high = parameter.usual.low, parameter.usual.high
    if parameter.moves == CAPACITOR:
        return values_between(E6, low, high)
    if drawer.resistors is not None:
        return tuple(sorted(ohms for ohms in drawer.resistors if low <= ohms <= high))
    return values_between(E24, low, high)


def _own_values(fitted: Fitted, name: str, drawer: Drawer) -> tuple[float, ...]:
    here = fitted.values[name].nominal
    low, high = here / WIDE, here * WIDE
    if drawer.resistors is not None:
        return tuple(sorted(ohms for ohms in drawer.resistors if low <= ohms <= high))
    return values_between(E24, low, high)


def coarser(stage: StageChoice, most: int) -> StageChoice:
    """Return a stage with fewer values, so that every one of about `most` combinations can be solved by itself."""
    for series in (E24, E12, E6, E3):
        moves = {
            name: tuple(one for one in values if one in values_between(series, values[0], values[-1])) or values
            for name, values in stage.moves.items()
        }
        count = 1
        for values in moves.values():
            count *= len(values)
        if count <= most:
            break
    return replace(stage, moves=moves)


def guards_of(plan: JobPlan, one: LinePlan, drawer: Drawer) -> tuple[GuardChoice, ...]:
    """Return every guard that can be fitted, in every place, its own resistors spread over their range."""
    found = [GuardChoice(None, None, {})]
    for name in plan.library.names("guard"):
        part = plan.library.get("guard", name)
        if name == NONE or not drawer.has(part):
            continue
        moves = {key: _choices(each, drawer) for key, each in part.parameters.items() if each.moves == RESISTOR}
        some = {key: thinned(values) for key, values in moves.items()}
        for place in part.parameters[PLACE].choices:
            use = PartUse("guard", name, values={PLACE: place}, key=one.line.guard.key)
            use = replace(use, values_key=one.line.guard.values_key)
            fitted = plan.fit(use)
            mesh = product(*some.values())
            found += [GuardChoice(use, fitted, dict(zip(some, values, strict=True))) for values in mesh]
    return tuple(found)


def thinned(values: Sequence[T], most: int = 6) -> tuple[T, ...]:
    """Return at most so many of some values, evenly spread, both ends among them."""
    if len(values) <= most:
        return tuple(values)
    return tuple(values[round(index * (len(values) - 1) / (most - 1))] for index in range(most))


def chain_of(one: LinePlan, stage: StageChoice, guard: GuardChoice) -> Chain:
    """Return the chain of a line with a stage and a guard, before any value is moved."""
    return replace(one.bare, stage=stage.fitted, guard=guard.fitted, guarded=guard.fitted is not None)
