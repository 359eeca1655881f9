"""Traces, captures and typed readings into quantities. Knows no limits and runs nothing."""

from guardcheck.measure.coupling import as_held, duties, mean_current, newton_step
from guardcheck.measure.levels import (
    decibels,
    level_rows,
    magnitude_db,
    mismatch_rows,
    relative_change,
    summarise,
    worst_impedance,
)

__all__ = [
    "as_held",
    "decibels",
    "duties",
    "level_rows",
    "magnitude_db",
    "mean_current",
    "mismatch_rows",
    "newton_step",
    "relative_change",
    "summarise",
    "worst_impedance",
]
