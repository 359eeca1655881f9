"""Every line of a job, fitted once: what `check`, `verify`, `guards` and all below them take instead of the job.

Lines of one table share their parts; the bare and the guarded chain of a line share all but the guard.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from guardcheck.compose import Builds, Chain
from guardcheck.library import Library
from guardcheck.model import CircuitUsed, Fitted, Job, Line, PartUse, Standard, Value
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.fitting import Fitter, exact, standard_of, states_of
from guardcheck.simulate.sourcing import informed


@dataclass(frozen=True)
class LinePlan:
    """One line as the job plans it: its standard, the states its source gives, its chains and the builds to run.

    `guarded` is None for a line without a guard. `builds` are those of the chain as built, shared by both chains.
    """

    line: Line
    standard: Standard
    states: tuple[str, ...]
    bare: Chain
    guarded: Chain | None
    builds: Builds

    @property
    def name(self) -> str:
        """Name of the line."""
        return self.line.name

    @property
    def as_built(self) -> Chain:
        """The chain that will be soldered."""
        return self.bare if self.guarded is None else self.guarded

    @property
    def chains(self) -> tuple[Chain, ...]:
        """The bare chain and, where the line has a guard, the guarded one."""
        return (self.bare,) if self.guarded is None else (self.bare, self.guarded)

    def experiment(self, chain: Chain) -> Experiment:
        """Return what is to be solved about one of this line's chains."""
        return Experiment(chain, self.standard, self.states, self.builds)


@dataclass(frozen=True)
class JobPlan:
    """A job with all its lines fitted; `fitter` fits what is asked for later, such as another display."""

    job: Job
    lines: tuple[LinePlan, ...]
    fitter: Fitter

    @property
    def library(self) -> Library:
        """The shelf the parts came from."""
        return self.fitter.library

    @property
    def rail(self) -> Value:
        """The supply rail [V]. Raises `JobError` when the job does not declare it."""
        return self.fitter.rail()

    @property
    def standards(self) -> Mapping[str, Standard]:
        """The standard of every line, by the line's name."""
        return {one.name: one.standard for one in self.lines}

    @property
    def used(self) -> tuple[CircuitUsed, ...]:
        """Every file read so far that the result depends on: parts, models, pins, and the user's own standards."""
        own = {one.name: one for one in self.standards.values() if one.sha256}
        return (*self.library.used, *(CircuitUsed(n, "standard", s.file, s.sha256) for n, s in sorted(own.items())))

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings of the job, of the shelf and of everything fitted so far, each once."""
        own = dict.fromkeys(
            f"standard '{one.name}' is the one in {one.file}: its limits and their references are its author's"
            for one in self.standards.values()
            if one.sha256
        )
        return tuple(dict.fromkeys((*self.job.warnings, *self.library.warnings, *own, *self.fitter.warnings)))

    def line(self, name: str) -> LinePlan:
        """Return the plan of a line that is known to be there."""
        return next(one for one in self.lines if one.name == name)

    def fit(self, use: PartUse) -> Fitted:
        """Return one more part, fitted to this job."""
        return self.fitter.fit(use)

    def own_display(self, standard: Standard) -> Fitted:
        """Return the display a standard itself expects at the end of the line."""
        return self.fit(_display(standard))


def plan_job(job: Job, library: Library, *, samples: int, seed: int) -> JobPlan:
    """Return a job with every line fitted.

    Parameters
    ----------
    job : the job as read
    library : the shelf its parts come from
    samples : number of tolerance samples of every line's builds
    seed : of those samples; a line draws the same ones whatever stands beside it in the job

    Raises
    ------
    JobError
        a part, parameter, value, standard or signal that is not there, out of range, or missing
    CircuitError
        a netlist of the user's own that is not accepted

    """
    fitter = Fitter(job, library)
    job = fitter.job = replace(job, lines=tuple(informed(fitter, line) for line in job.lines))
    standards = {line.table: standard_of(job, line, library) for line in job.lines}
    fitted: dict[int, LinePlan] = {}
    lines = []
    for line in job.lines:
        if line.table not in fitted:
            fitted[line.table] = plan_line(fitter, line, standards[line.table], samples, seed)
        lines.append(_named(fitted[line.table], line, samples, seed))
    return JobPlan(job, tuple(lines), fitter)


def plan_line(fitter: Fitter, line: Line, standard: Standard, samples: int, seed: int) -> LinePlan:
    """Return the plan of one line: of a table's first line, or of one that is only tried.

    It ends in the job's display. A standard with an input of its own (a control contact, audio, logic sync) is not
    loaded by the picture's input, whatever that is.
    """
    job = fitter.job
    states = states_of(job, fitter, line, standard)
    elsewhere = standard.own_input and job.display.name != standard.display
    source, stage = fitter.fit(line.source, standard.signal), fitter.fit(line.stage)
    guard = fitter.fit(line.guard) if line.has_guard else None
    bare = Chain(
        line=line.name,
        guarded=False,
        source=source,
        stage=stage,
        guard=None,
        cable=exact(fitter.fit(job.cable)),
        display=fitter.fit(_display(standard) if elsewhere else job.display),
        rail=fitter.rail(),
    )
    guarded = None if guard is None else replace(bare, guard=guard, guarded=True)
    return LinePlan(line, standard, states, bare, guarded, _builds(guarded or bare, samples, seed))


def _named(plan: LinePlan, line: Line, samples: int, seed: int) -> LinePlan:
    """Return the plan of another line of the same table: the same parts, its own name and samples."""
    if plan.line is line:
        return plan
    bare = replace(plan.bare, line=line.name)
    guarded = None if plan.guarded is None else replace(plan.guarded, line=line.name)
    builds = _builds(guarded or bare, samples, seed)
    return replace(plan, line=line, bare=bare, guarded=guarded, builds=builds)


def _builds(chain: Chain, samples: int, seed: int) -> Builds:
    return chain.builds(n_samples=samples, seed=(seed, zlib.crc32(chain.line.encode())))


def _display(standard: Standard) -> PartUse:
    return PartUse("display", standard.display, key="display.input", values_key="display.values")
