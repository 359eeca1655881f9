"""Changed lines, appraised as `check` would appraise the job that holds them: all trials of a job in one batch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from guardcheck.appraisal import appraise
from guardcheck.engine import Engine
from guardcheck.errors import GuardcheckError
from guardcheck.model import Finding, Line, PartUse, Standard, Value
from guardcheck.simulate.fitting import Fitter
from guardcheck.simulate.planning import JobPlan, LinePlan, plan_line
from guardcheck.units import format_si, parse

MARK = "~"
"""Stands between a line's name and the number of the trial it is part of; no job file can hold it."""


@dataclass(frozen=True)
class Trial:
    """Changed versions of the lines of one table, and the display they end in if it is not the job's own.

    `say` tells a technician what is changed.
    """

    lines: tuple[Line, ...]
    say: str = ""
    display: PartUse | None = None


def value_of(number: float, unit: str, tolerance: float = 0.0) -> Value:
    """Return a value as a technician writes it, and as it is read again: ``110 ohm 1 %``."""
    shown = format_si(float(f"{number:.4g}"), unit)
    return parse(f"{shown} {100 * tolerance:.3g}%" if tolerance else shown, unit)[0]


def alike(plan: JobPlan, name: str) -> tuple[LinePlan, ...]:
    """Return the lines of the table a line stands in, itself among them."""
    table = plan.line(name).line.table
    return tuple(one for one in plan.lines if one.line.table == table)


def appraised(
    engine: Engine,
    plan: JobPlan,
    trials: Sequence[Trial],
    *,
    events: bool,
    samples: int = 0,
    seed: int = 1,
    standards: Mapping[str, Standard] | None = None,
    nominal: bool = False,
) -> list[tuple[Finding, ...]]:
    """Return the findings of every trial, under the lines' own names; none for one that cannot be fitted.

    `standards` replaces the standard of a line, by its name; `nominal` leaves all tolerances out, for a first look.
    """
    fitter = Fitter(plan.job, plan.library)
    found: list[list[Finding]] = [[] for _ in trials]
    plans = [one for index, trial in enumerate(trials) for one in _plans(fitter, plan, trial, index, samples, seed)]
    if standards:
        plans = [replace(one, standard=_group(standards[_name(one.name)], _number(one.name))) for one in plans]
    if nominal:
        plans = [replace(one, builds=one.builds.nominal()) for one in plans]
    job = replace(plan.job, lines=tuple(one.line for one in plans), facts=())
    for one in appraise(engine, JobPlan(job, tuple(plans), fitter), events=events, deciding=True).findings:
        if one.line is not None and MARK in one.line:
            found[_number(one.line)].append(replace(one, line=_name(one.line)))
    return [tuple(mine) for mine in found]


def _name(marked: str) -> str:
    return marked.rpartition(MARK)[0]


def _number(marked: str) -> int:
    return int(marked.rpartition(MARK)[2])


def _group(standard: Standard, index: int) -> Standard:
    """Return the standard with a picture of its own: whites of different trials are not compared."""
    return standard if standard.group is None else replace(standard, group=f"{standard.group}{MARK}{index}")


def _plans(fitter: Fitter, plan: JobPlan, trial: Trial, index: int, samples: int, seed: int) -> Iterable[LinePlan]:
    for line in trial.lines[:2]:
        standard = _group(plan.line(line.name).standard, index)
        try:
            made = _marked(plan_line(fitter, line, standard, samples, seed), index)
        except GuardcheckError:
            return
        if trial.display is not None:
            fitted = fitter.fit(trial.display)
            guarded = None if made.guarded is None else replace(made.guarded, display=fitted)
            made = replace(made, bare=replace(made.bare, display=fitted), guarded=guarded)
        yield made


def _marked(made: LinePlan, index: int) -> LinePlan:
    """Return a plan under the number of its trial, with the samples the line draws under its own name."""
    name = f"{made.name}{MARK}{index}"
    guarded = None if made.guarded is None else replace(made.guarded, line=name)
    return replace(made, line=replace(made.line, name=name), bare=replace(made.bare, line=name), guarded=guarded)
