"""The half-width of a reading's error, straight from the printed statement."""

from __future__ import annotations

from guardcheck.errors import UnitError
from guardcheck.metrology import parse_accuracy


def half_width(
    text: str, seen: float, *, unit: str, resolution: float | None = None, full_scale: float | None = None
) -> float | None:
    """Return the half-width of a reading's error [unit], None when the statement cannot be read or needs more."""
    try:
        return parse_accuracy(text, unit).half_width(seen, count=resolution, full_scale=full_scale)
    except UnitError:
        return None
