"""How a check is run: seed, samples, workers, trust; and how progress is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from guardcheck.library import Library
from guardcheck.model import Job
from guardcheck.pipeline.named import check_labels
from guardcheck.simulate.planning import JobPlan, plan_job

Progress = Callable[[int, int, str], None]

DEFAULT_SEED, DEFAULT_SAMPLES = 1, 200


@dataclass(frozen=True)
class Options:
    """How to run a check: seed, number of tolerance samples, worker processes, trust in paths.

    Without `events` no stress is simulated, and the result says so. `propose` searches a build for every line that
    fails, and names the best in what to do.
    """

    seed: int = DEFAULT_SEED
    samples: int = DEFAULT_SAMPLES
    workers: int | None = None
    allow_outside: bool = False
    circuits: Path | None = None
    events: bool = True
    propose: bool = False


def plan_of(job: Job, options: Options) -> JobPlan:
    """Return a job with its lines fitted, from the shelf these options or the job name. Raises as `plan_job` does."""
    plan = plan_job(job, shelf_of(job, options), samples=options.samples, seed=options.seed)
    check_labels(plan)
    return plan


def shelf_of(job: Job, options: Options) -> Library:
    """Return the shelf a job takes its parts from: that of the options, else the job's own, else ours alone."""
    return Library.load(options.circuits or (Path(job.circuits) if job.circuits else None))


LINE_BUDGET, MOST_BUDGET = 60.0, 600.0
"""Time simulating may take for each line of a job, and for a whole job [s]: what an honest one needs, thirty times."""

SEARCH_BUDGET = 4.0 * LINE_BUDGET
"""Time one search for builds may take [s]: it checks several, and searches again without the limit that binds."""


def budget_of(job: Job) -> float:
    """Return how long the simulations of a job may take [s]; what is left then is left undone, and said."""
    return min(LINE_BUDGET * max(1, len(job.lines)), MOST_BUDGET)
