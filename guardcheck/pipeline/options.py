"""How a check is run: seed, samples, workers, trust; and how progress is told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

Progress = Callable[[int, int, str], None]

DEFAULT_SEED, DEFAULT_SAMPLES = 1, 200


@dataclass(frozen=True)
class Options:
    """How to run a check: seed, number of tolerance samples, worker processes, trust in paths.

    Without `events` no stress is simulated, and the result says so.
    """

    seed: int = DEFAULT_SEED
    samples: int = DEFAULT_SAMPLES
    workers: int | None = None
    allow_outside: bool = False
    circuits: Path | None = None
    events: bool = True
