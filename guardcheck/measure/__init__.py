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
from guardcheck.measure.quality import (
    RETURN_LOSS_CAP,
    dissipation,
    gain_change,
    headroom,
    overshoot,
    return_loss,
    tilt,
    upper_corner,
)

__all__ = [
    "RETURN_LOSS_CAP",
    "as_held",
    "decibels",
    "dissipation",
    "duties",
    "gain_change",
    "headroom",
    "level_rows",
    "magnitude_db",
    "mean_current",
    "mismatch_rows",
    "newton_step",
    "overshoot",
    "relative_change",
    "return_loss",
    "summarise",
    "tilt",
    "upper_corner",
    "worst_impedance",
]
