"""What a capture and its analysis say of themselves."""

from __future__ import annotations

import numpy as np
import pytest

from guardcheck.measure.capture import Analysis, Capture
from guardcheck.model import MEASURED, Quantity


def test_a_capture_lasts_as_long_as_its_samples() -> None:
    """800 samples, 25 us apart: 20 ms."""
    one = Capture("made.csv", 25e-6, 0.5, {"A": np.zeros(800, dtype=np.float32)}, {"A": 0.0})
    assert one.n_points == 800
    assert one.duration == pytest.approx(20e-3)


def test_an_analysis_gives_its_quantities_by_name() -> None:
    white, sync = (Quantity(name, "red", None, 0.7, origin=MEASURED) for name in ("level.white", "level.sync"))
    one = Analysis("A", (white, sync), {}, None)
    assert one.quantity("level.white") is white
    assert one.quantity("level.sync") is sync
    with pytest.raises(KeyError):
        one.quantity("level.black")


def test_what_was_not_found_counts_as_nothing() -> None:
    one = Analysis("A", (), {}, None)
    assert (one.lines, one.mean, one.span, one.least) == (0, 0.0, 0.0, None)
    assert (one.system, one.scan, one.polarity, one.termination, one.notes) == (None, None, None, None, ())
