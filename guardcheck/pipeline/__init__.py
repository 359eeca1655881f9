"""The order of the steps: job file, library, decks, engine, quantities, findings, result."""

from guardcheck.pipeline.catalogue import describe, new_job_text, shelf
from guardcheck.pipeline.check import DEFAULT_SAMPLES, DEFAULT_SEED, Options, check, check_job

__all__ = ["DEFAULT_SAMPLES", "DEFAULT_SEED", "Options", "check", "check_job", "describe", "new_job_text", "shelf"]
