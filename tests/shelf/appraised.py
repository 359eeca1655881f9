"""A job's findings without remedies and curves: what a check says, in a fraction of its time."""

from __future__ import annotations

from guardcheck.appraisal import Appraisal, appraise
from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.pipeline.options import Options, plan_of


def run(engine: Engine, job: str) -> Appraisal:
    """Return what every rule finds in a job's text: no samples, no stress events."""
    options = Options(samples=0, seed=1, events=False)
    return appraise(engine, plan_of(parse_job(job, file="job.toml"), options), events=False, deciding=True)
