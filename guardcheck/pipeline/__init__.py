"""The order of the steps: job file, library, decks, engine, quantities, findings, result."""

from guardcheck.pipeline.batch import check_text, still_holds, warm_engine
from guardcheck.pipeline.bench import Bench, bench_of
from guardcheck.pipeline.browse import describe, family_job_text, new_job_text, shelf, write_new
from guardcheck.pipeline.check import check, check_job
from guardcheck.pipeline.expect import expect
from guardcheck.pipeline.guards import rank_guards
from guardcheck.pipeline.inputs import files_named, require_same_job
from guardcheck.pipeline.options import DEFAULT_SAMPLES, DEFAULT_SEED, Options
from guardcheck.pipeline.propose import job_with, propose
from guardcheck.pipeline.prove import prove, proven
from guardcheck.pipeline.verify import new_readings, verify, verify_job
from guardcheck.verification.inputs import Given, given

__all__ = [
    "DEFAULT_SAMPLES",
    "DEFAULT_SEED",
    "Bench",
    "Given",
    "Options",
    "bench_of",
    "check",
    "check_job",
    "check_text",
    "describe",
    "expect",
    "family_job_text",
    "files_named",
    "given",
    "job_with",
    "new_job_text",
    "new_readings",
    "propose",
    "prove",
    "proven",
    "rank_guards",
    "require_same_job",
    "shelf",
    "still_holds",
    "verify",
    "verify_job",
    "warm_engine",
    "write_new",
]
