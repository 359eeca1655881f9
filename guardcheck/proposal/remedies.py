"""What to do about a signal that fails: one change at a time, counted only when its simulation cures what failed.

A change is named for a finding only when the line, so changed, was simulated to the end: the very quantity that failed
then conforms, and nothing that was right before is wrong, stress events included. Where no change does it, the sentence
says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from guardcheck.compose import Chain, emf_levels
from guardcheck.engine import Engine
from guardcheck.formatting import show
from guardcheck.model import (
    ASSUMED,
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    QUANTITIES,
    SIMULATED,
    UNKNOWN_OF,
    Finding,
    Line,
    Parameter,
    PartUse,
    Standard,
    Value,
)
from guardcheck.proposal.linear import Key, closed_form
from guardcheck.proposal.space import suits
from guardcheck.proposal.trials import Trial, appraised, value_of
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.preferred import choices_of
from guardcheck.verdict.asks import to_find_out
from guardcheck.verdict.outcome import inside, misses

NOTHING = "nothing tried cures this"
"""Stands where every change that was tried, was simulated and failed."""
CURABLE = ("level", "response", "guard", "part")
PLACE = "place"
TOLERANCES = (0.01, 0.001)
"""Closer tolerances to try, relative: what is sold (common practice, no published source)."""
LIFTS = (0.4, 0.7, 1.0, 1.4)
"""How far the input of a transistor stage is lifted in search of its bias [V]."""
SLOW = (
    "response.bandwidth",
    "response.field_tilt",
    "response.line_tilt",
    "response.overshoot",
    "level.headroom",
    "guard.distortion",
)
"""Quantities that take a sweep, a transient or a search: looked at only where a change is simulated to its end."""
MOST_ENDED = 4
"""Most changes simulated to their end for one finding."""
MOST_FIGURES = 2
"""Most figures told of one change."""
SIZES = (0.25, 0.5, 1.0, 2.0)
"""Resistors as they are sold [W] (common practice, no published source)."""
CLOSEST = 3
"""Pairs of values tried of those the closed form puts closest to the nominal."""
_RANK = (CONFORMS, NOT_PROVEN, DOES_NOT_CONFORM)
Subject = tuple[str | None, ...]


def curable(one: Finding) -> bool:
    """Tell whether a remedy is owed that only a simulation can give: the wanted signal, and what it does to parts."""
    return one.event is None and one.line is not None and one.quantity.split(".")[0] in CURABLE


def owed(one: Finding) -> bool:
    """Tell whether a finding of the wanted signal needs a remedy: it fails, or its tolerances let it fail."""
    if not curable(one) or one.remedy is not None or one.origin != SIMULATED:
        return False
    if one.outcome == NOT_PROVEN and any(code.startswith(UNKNOWN_OF) for code in one.codes):
        return False  # nobody knows whether it fails: it has to be found out first
    return misses(one) or (one.needed and one.outcome == NOT_PROVEN and one.value is not None)


def remedies(engine: Engine, plan: JobPlan, findings: Sequence[Finding], *, events: bool) -> Mapping[str, str]:
    """Return what to do, by the id of the finding that fails.

    Parameters
    ----------
    engine : a running engine
    plan : the job as planned
    findings : what was found in it
    events : whether the stress events were simulated, and so must be borne by what is changed

    """
    told: dict[str, str] = {}
    tables = dict.fromkeys(plan.line(one.line).line.table for one in findings if one.line is not None and owed(one))
    for table in tables:
        lines = tuple(one for one in plan.lines if one.line.table == table)
        mine = [one for one in findings if one.line in {line.name for line in lines}]
        told |= _of_table(engine, plan, lines, mine, events=events)
    return told


def _of_table(
    engine: Engine, plan: JobPlan, lines: Sequence[LinePlan], findings: Sequence[Finding], *, events: bool
) -> dict[str, str]:
    wrong = [one for one in findings if owed(one) and one.guarded == lines[0].line.has_guard]
    if not wrong or lines[0].as_built.missing:
        return {}
    trials = list(_candidates(plan, lines, wrong))
    bench = _Bench(engine, plan, _by_subject(findings, lines[0].line.has_guard), events)
    likely = bench.likely(trials)
    cures = {one.id: bench.cure(one, likely) for one in wrong}
    return {one.id: _told(one, cures[one.id], _cured_by(wrong, cures, cures[one.id]), len(trials)) for one in wrong}


Cure = tuple[Trial, Mapping[Subject, Finding]]
"""A change, and what the line is like with it."""


def _cured_by(wrong: Sequence[Finding], cures: Mapping[str, Cure | None], cure: Cure | None) -> list[Finding]:
    """Return all that one change cures: it is one thing to do, told once with every figure."""
    found = [(one, cures[one.id]) for one in wrong]
    return [one for one, other in found if cure is not None and other is not None and other[0] is cure[0]]


def _told(one: Finding, cure: Cure | None, cured: Sequence[Finding], tried: int) -> str:
    if cure is None:
        return _none(one, tried)
    trial, after = cure
    figures = list(dict.fromkeys(f"{QUANTITIES[each.quantity].title} {_result(each, after)}" for each in cured))
    more = [f"{len(figures) - MOST_FIGURES} more cured"] if len(figures) > MOST_FIGURES else []
    return f"{trial.say} (simulated: {', '.join([*figures[:MOST_FIGURES], *more])})"


@dataclass
class _Bench:
    """Tries changes against what was found before: quickly by operating points, then to the end, each once."""

    engine: Engine
    plan: JobPlan
    before: Mapping[Subject, Finding]
    events: bool
    _ended: dict[int, Mapping[Subject, Finding] | None] = field(default_factory=dict)

    def likely(self, trials: Sequence[Trial]) -> list[Cure]:
        """Return the changes that make nothing worse at their operating points, what leaves least failing first."""
        quick = {name: replace(one, quantities=_quick(one)) for name, one in self.plan.standards.items()}
        found = appraised(self.engine, self.plan, trials, events=False, standards=quick, nominal=True)
        kept = [
            (trial, after)
            for trial, mine in zip(trials, found, strict=True)
            if mine and not _worse(self.before, after := _by_subject(mine, trial.lines[0].has_guard))
        ]
        return sorted(kept, key=lambda pair: sum(misses(one) for one in pair[1].values()))

    def cure(self, one: Finding, likely: Sequence[Cure]) -> Cure | None:
        """Return the first change that cures a finding when it is simulated to its end, and makes nothing worse."""
        subject = (one.quantity, one.event, one.severity)
        seen = any(key[:3] == subject for _, after in likely for key in after)
        hopeful = [trial for trial, after in likely if not seen or _cured(one, after)]
        for trial in hopeful[:MOST_ENDED]:
            after = self._end(trial)
            if after is not None and _cured(one, after):
                return trial, after
        return None

    def _end(self, trial: Trial) -> Mapping[Subject, Finding] | None:
        """Return what the line is like with a change, None when that makes something worse."""
        if id(trial) not in self._ended:
            found = appraised(self.engine, self.plan, [trial], events=self.events)[0]
            after = _by_subject(found, trial.lines[0].has_guard)
            self._ended[id(trial)] = None if not found or _worse(self.before, after) else after
        return self._ended[id(trial)]


def _quick(standard: Standard) -> tuple[str, ...]:
    """Return the quantities of a standard that an operating point or one frequency gives."""
    return tuple(name for name in standard.quantities if name not in SLOW)


def _none(one: Finding, tried: int) -> str:
    missing = to_find_out(one)
    if missing is None and one.outcome == NOT_PROVEN and one.limit is not None and one.limit.known_by == ASSUMED:
        what = f"the {one.where} of {one.line}" if one.where else f"what bounds {QUANTITIES[one.quantity].title}"
        missing = f"nobody states what {what} may take, and what is assumed proves only half: look it up and declare it"
    if missing is not None:
        return f"{missing}; {tried} changes were simulated as well, none proves it without"
    return (
        f"{NOTHING}: {tried} changes were simulated, each left it failing or made something else fail; "
        f"guardcheck propose JOB --line {one.line} searches other stages, values and guards"
    )


def _by_subject(findings: Iterable[Finding], guarded: bool) -> dict[Subject, Finding]:
    """Return the findings of the line as built, by what they are about; those of one subject at their worst."""
    out: dict[Subject, Finding] = {}
    for one in findings:
        key = (one.quantity, one.event, one.severity, one.where)
        if one.guarded in (guarded, None) and (key not in out or _rank(one) > _rank(out[key])):
            out[key] = one
    return out


def _rank(one: Finding) -> int:
    return _RANK.index(one.outcome) if one.outcome in _RANK else 0


def _worse(before: Mapping[Subject, Finding], after: Mapping[Subject, Finding]) -> bool:
    """Tell whether a change makes something fail, or leaves open, that was right."""
    for key, new in after.items():
        old = before.get(key)
        if new.needed and _rank(new) > (0 if old is None or not old.needed else _rank(old)):
            return True
        if misses(new) and not (old is not None and misses(old)):
            return True
    return False


def _cured(one: Finding, after: Mapping[Subject, Finding]) -> bool:
    same = [new for key, new in after.items() if key[0] == one.quantity and key[1:3] == (one.event, one.severity)]
    same = [new for new in same if one.where is None or new.where == one.where] or same
    return bool(same) and all(new.outcome == CONFORMS for new in same)


def _result(one: Finding, after: Mapping[Subject, Finding]) -> str:
    new = max(
        (new for key, new in after.items() if key[0] == one.quantity and key[1] is None),
        key=lambda found: abs(found.value or 0.0),
    )
    return "solved" if new.value is None else show(new.value, new.unit)


def _candidates(plan: JobPlan, lines: Sequence[LinePlan], wrong: Sequence[Finding]) -> Iterator[Trial]:
    """Yield the changes worth simulating, the one that costs least first."""
    first, names = lines[0], _names(lines)
    bare = [one.line for one in lines]
    yield from _displays(plan, first, bare)
    yield from _ratings(first, bare, wrong, names)
    yield from _tolerances(first, bare, wrong, names)
    yield from _capacitors(first, bare, names)
    yield from _places(first, bare, names)
    yield from _values(first, bare, names)
    yield from _biases(first, bare, names)
    yield from _stages(plan, first, bare, names)


def _ratings(first: LinePlan, lines: Sequence[Line], wrong: Sequence[Finding], names: str) -> Iterator[Trial]:
    """Yield resistors of the stage in larger sizes, where heat is what fails or is not proven."""
    if not any(one.quantity == "part.power" and (one.where or "").startswith("stage") for one in wrong):
        return
    for watts in SIZES:
        rating = {"power_rating": value_of(watts, "W")}
        yield Trial(_with(lines, "stage", None, rating), f"fit resistors of {show(watts, 'W')} on {names}")


def _names(lines: Sequence[LinePlan]) -> str:
    names = [one.name for one in lines]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _displays(plan: JobPlan, first: LinePlan, lines: Sequence[Line]) -> Iterator[Trial]:
    """Yield the standard's own display where the job's has something to be put right about it.

    Who states his input's own values has said what it is by design: then the line has to suit the input.
    """
    part, standard = first.bare.display.part, first.standard
    cure = part.remedy
    if cure and part.name != standard.display and not plan.job.display.values:
        use = PartUse("display", standard.display, key="display.input", values_key="display.values")
        yield Trial(tuple(lines), str(cure), use)


def _with(lines: Sequence[Line], kind: str, name: str | None, values: Mapping[str, Value | str]) -> tuple[Line, ...]:
    """Return lines with another part of a kind, or other values of the same one."""
    out = []
    for line in lines:
        use: PartUse = getattr(line, kind)
        if name is not None and name != use.name:
            use = replace(use, name=name, netlist=None, values=dict(values))
        else:
            use = replace(use, values={**use.values, **values})
        changes: dict[str, Any] = {kind: use}
        out.append(replace(line, **changes))
    return tuple(out)


def _tolerance(chain: Chain, names: Iterable[str]) -> float:
    """Return the relative tolerance the stage's own values carry; 1 % where none is written."""
    found = [chain.stage.values[name] for name in names if name in chain.stage.values]
    spread = [(one.high - one.low) / 2 / one.nominal for one in found if one.varies and one.nominal > 0.0]
    return max(spread, default=0.01)


def _tolerances(first: LinePlan, lines: Sequence[Line], wrong: Sequence[Finding], names: str) -> Iterator[Trial]:
    """Yield the same values at closer tolerances, where it is the tolerances that let something fail."""
    moving = {name: first.bare.stage.values[name] for name in _moving(first.bare.stage.part.parameters)}
    wide = {name: value for name, value in moving.items() if value.varies and value.nominal > 0.0}
    if not wide or all(one.outcome == DOES_NOT_CONFORM for one in wrong):
        return
    for tolerance in TOLERANCES:
        if any((value.high - value.nominal) / value.nominal > 1.01 * tolerance for value in wide.values()):
            values = {name: value_of(value.nominal, value.unit, tolerance) for name, value in wide.items()}
            said = " and ".join(f"{name} {value.text}" for name, value in values.items())
            yield Trial(_with(lines, "stage", None, values), f"fit closer parts on {names}: {said}")


def _moving(parameters: Mapping[str, Parameter], kind: str = "resistor") -> tuple[str, ...]:
    return tuple(name for name, one in parameters.items() if one.moves == kind)


def _values(first: LinePlan, lines: Sequence[Line], names: str) -> Iterator[Trial]:
    """Yield new values for the resistors of the stage that is fitted: those the closed form puts closest."""
    part = first.bare.stage.part
    for values in closest(first, first.as_built, _moving(part.parameters)):
        said = " and ".join(f"{name} {value.text}" for name, value in values.items())
        yield Trial(_with(lines, "stage", None, values), f"change the {part.name} of {names} to {said}")


def closest(first: LinePlan, chain: Chain, moving: Sequence[str]) -> list[dict[str, Value]]:
    """Return the values of a stage's resistors that come closest to nominal level and impedance, best first."""
    if not moving:
        return []
    grids = [choices_of(chain.stage.part.parameters[name]) for name in moving]
    mesh = np.stack([axis.ravel() for axis in np.meshgrid(*grids, indexing="ij")], axis=1)
    values: dict[Key, np.ndarray[tuple[int, ...], np.dtype[np.float64]]] = {
        ("stage", name): mesh[:, index] for index, name in enumerate(moving)
    }
    found = closed_form(chain, values)
    if found is None:
        return []
    error = np.zeros(len(mesh))
    swing = _swing(first)
    for name, volts in swing.items():
        limit = first.standard.limits[name]
        middle = limit.nominal or sum(end for end in (limit.low, limit.high) if end is not None) / 2.0
        error = np.maximum(error, np.abs(found.gain * volts / middle - 1.0))
    matched = first.standard.limits.get("response.impedance")
    if matched is not None and matched.nominal:
        outside = np.array([not inside(float(ohms), matched) for ohms in found.impedance])
        error = np.maximum(error, np.abs(found.impedance / matched.nominal - 1.0)) + 10.0 * outside
    tolerance = _tolerance(chain, moving)
    best = np.argsort(error, kind="stable")[:CLOSEST]
    return [
        {name: value_of(float(mesh[row, index]), "ohm", tolerance) for index, name in enumerate(moving)}
        for row in best.tolist()
    ]


def _swing(first: LinePlan) -> dict[str, float]:
    """Return the EMF difference of every amplitude its standard bounds [V]."""
    mapping = first.bare.source.part.states[first.standard.signal]
    emf = emf_levels(first.bare, mapping, first.states, first.builds.nominal())[0]
    at = dict(zip(first.states, emf.tolist(), strict=True))
    found = {
        "level.white": at.get("white", at["blank"]) - at["blank"],
        "level.sync": at["blank"] - at.get("sync", at["blank"]),
    }
    return {name: volts for name, volts in found.items() if name in first.standard.limits and abs(volts) > 1e-9}


def _capacitors(first: LinePlan, lines: Sequence[Line], names: str) -> Iterator[Trial]:
    """Yield larger coupling capacitors, the next size first."""
    stage = first.bare.stage
    for name in _moving(stage.part.parameters, "capacitor"):
        here = stage.values[name]
        width = (here.high - here.low) / 2 / here.nominal
        for size in choices_of(stage.part.parameters[name]):
            if size > 1.05 * here.nominal and size > 1e-8:
                value = value_of(size, "F", width)
                yield Trial(
                    _with(lines, "stage", None, {name: value}),
                    f"fit a larger coupling capacitor on {names}: {value.text}",
                )


def _places(first: LinePlan, lines: Sequence[Line], names: str) -> Iterator[Trial]:
    """Yield the guard at its other places, and no guard at all never: that is no cure."""
    guard = first.guarded.guard if first.guarded is not None else None
    if guard is None or PLACE not in guard.part.parameters:
        return
    here = guard.words.get(PLACE)
    for place in guard.part.parameters[PLACE].choices:
        if place != here:
            say = f"move the guard of {names} from the {here} side to the {place} side"
            yield Trial(_with(lines, "guard", None, {PLACE: place}), say)


def _biases(first: LinePlan, lines: Sequence[Line], names: str) -> Iterator[Trial]:
    """Yield a transistor stage with its input lifted: what is too low at its base never comes out."""
    circuit = first.bare.stage.part.circuit
    if not any(element.name[0] == "q" for element in circuit.elements):
        return
    source = first.bare.source
    names_of = dict.fromkeys(source.part.states[first.standard.signal].values())
    for lift in LIFTS:
        levels = {name: value_of(source.values[source.same.get(name, name)].nominal + lift, "V") for name in names_of}
        say = (
            f"the transistor on {names} lacks bias: lift its input by {show(lift, 'V')} (a coupling capacitor and two "
            "resistors from rail and 0 V to the base)"
        )
        yield Trial(_with(lines, "source", None, levels), say)


def _stages(plan: JobPlan, first: LinePlan, lines: Sequence[Line], names: str) -> Iterator[Trial]:
    """Yield every other stage on the shelf: with the closest values where it has a closed form, else as it comes."""
    for name in plan.library.names("stage"):
        if name == first.bare.stage.part.name or not suits(plan.library.get("stage", name), first.standard):
            continue
        fitted = plan.fit(PartUse("stage", name, key=f"stage '{name}'"))
        chain = replace(first.as_built, stage=fitted)
        moving = _moving(fitted.part.parameters)
        options = closest(first, chain, moving)[:1] or [{}]
        for values in options:
            said = " and ".join(f"{key} {value.text}" for key, value in values.items())
            with_values = f" with {said}" if said else ""
            yield Trial(
                _with(lines, "stage", name, values),
                f"build {names} with another stage, {name}{with_values}",
            )
