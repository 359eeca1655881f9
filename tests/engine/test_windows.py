"""Means over time windows against exact integrals of straight lines."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.engine.session import window_weights

STABLE = settings(derandomize=True, deadline=None, database=None)


def exact(time: np.ndarray, wave: np.ndarray, start: float, end: float) -> float:
    inside = time[(time > start) & (time < end)]
    corners = np.concatenate(([start], inside, [end]))
    return float(np.trapezoid(np.interp(corners, time, wave), corners) / (end - start))


@STABLE
@given(
    gaps=st.lists(st.floats(1e-3, 10.0), min_size=1, max_size=30),
    seed=st.integers(0, 2**31),
    cut=st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)),
)
def test_mean_of_a_broken_line(gaps: list[float], seed: int, cut: tuple[float, float]) -> None:
    time = np.concatenate(([0.0], np.cumsum(gaps)))
    wave = np.random.default_rng(seed).uniform(-5.0, 5.0, len(time))
    start, end = sorted(share * time[-1] for share in cut)
    if end - start < 1e-6:
        return
    weights = window_weights(time, [(start, end)])
    assert weights.sum() == pytest.approx(1.0)
    assert (weights >= -1e-12).all()
    assert float(weights[0] @ wave) == pytest.approx(exact(time, wave, start, end), abs=1e-9)


def test_constant_and_ramp() -> None:
    time = np.linspace(0.0, 1.0, 11)
    weights = window_weights(time, [(0.0, 1.0), (0.33, 0.34), (0.5, 1.0)])
    assert weights @ np.full(11, 3.0) == pytest.approx([3.0, 3.0, 3.0])
    assert weights @ time == pytest.approx([0.5, 0.335, 0.75])


def test_repeated_time_points() -> None:
    """A breakpoint may stand twice; it must weigh nothing and divide by nothing."""
    time = np.array([0.0, 1.0, 1.0, 2.0])
    assert window_weights(time, [(0.5, 1.5)]) @ np.array([0.0, 0.0, 4.0, 4.0]) == pytest.approx([2.0])
