"""How long an edge of the average line takes: straight lines between corners, numbers worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import transitions
from guardcheck.measure.capture.picture import Folded
from guardcheck.measure.capture.transitions import COARSE, NOISY, _crossings, edge_time
from tests.measure.drawn import Array


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


@pytest.mark.parametrize(
    ("share", "expected"),
    [
        ((0, 0.05, 0.3, 0.5, 0.7, 0.8, 1.0), (1.2, 5.5)),
        ((0, 0.5, 0.05, 0.7, 1.0), (0.2, 3 + 2 / 3)),  # half is its middle
        ((0, 0.6, 0.05, 0.8, 1.0), (1 / 6, 3.5)),
        ((0, 0.2, 0.1, 0.6, 1.0), (0.5, 3.75)),  # 10 % is not below 10 %
        ((0, 0.6, 0.9, 0.8, 1.0), (1 / 6, 2.0)),  # 90 % is reached
        ((0.05, 0.14, 0.6, 1.0), (5 / 9, 2.75)),
        ((0.2, 0.6, 1.0), None),
        ((0, 0.6, 0.8), None),
        ((0.2, 0.6, 0.8), None),
        ((0.6, 0.05, 0.7, 1.0), None),  # it begins above its middle
        ((0, 0.1, 0.2), None),
    ],
)
def test_an_edge_passes_a_tenth_last_and_nine_tenths_first(
    share: tuple[float, ...], expected: tuple[float, float] | None
) -> None:
    found = _crossings(np.arange(float(len(share))), np.array(share))
    assert (found is None) == (expected is None)
    if found is not None and expected is not None:
        assert_allclose(found, expected, rtol=1e-12)


def ramp(length: int, bin_: int, before: float = 0.0, height: float = 1.0) -> Folded:
    """Return a straight edge of `length` from 0; both in nanoseconds, every corner on a bin."""
    x = np.arange(-2000, 2000 + length, bin_)
    y = before + height * np.clip(x / length, 0.0, 1.0)
    return Folded(np.asarray(x * 1e-9, dtype=np.float64), y, np.full(len(x), 4), y)


def time_of(length: int, bin_: int, noise: float = 0.0, jitter: float = 0.0) -> tuple[float, float] | str:
    levels = (0.25, 2.25)
    return edge_time(ramp(length, bin_, 0.25, 2.0), length * 0.5e-9, 1.5e-6, levels, noise, jitter * 1e-9)


def test_the_error_of_an_edge_time() -> None:
    """500 ns in bins of 10 ns, 10 ns of jitter: blur 8, 25.63 and 17.5 ns, together 32.04; a rectangle of that."""
    found = time_of(500, 10, 0.04, 10.0)
    assert not isinstance(found, str)
    blur = math.sqrt(8**2 + 25.63**2 + 17.5**2)
    faster = (400 - math.sqrt(400**2 - blur**2)) / math.sqrt(3)
    each = math.hypot(0.04 / 2 / 2 * 500, 10 / 12)  # 1 % of the height, on a slope of the height in 500 ns
    assert_allclose(found, (400e-9, 1e-9 * math.hypot(faster, each * math.sqrt(2))), rtol=1e-6)


def test_an_edge_is_told_where_blur_bins_and_noise_let_it() -> None:
    for length, bin_, jitter, told in (
        (90, 10, 10, True),
        (80, 10, 10, False),
        (600, 100, 0, True),
        (400, 100, 0, False),
    ):
        found = time_of(length, bin_, jitter=jitter)
        assert (found != COARSE) == told, (length, bin_)
    assert time_of(500, 10, 0.19) != NOISY  # 0.19 V over four samples is 4.75 % of 2 V
    assert time_of(500, 10, 0.21) == NOISY
    assert edge_time(ramp(500, 10), 0.0, 1e-6, (0.5, 0.5), 0.0, 0.0) == NOISY


def test_both_ends_of_what_is_looked_at_count() -> None:
    """10 % is passed behind the very first point, 90 % at the very last."""
    y = array(0, 0.2, 0.6, 0.8, 1.0)
    fold = Folded(np.arange(5.0), y, np.full(5, 1), y)
    assert edge_time(fold, 2.0, 2.0, (0.0, 1.0), 0.0, 0.0) == COARSE
    assert edge_time(fold, 2.0, 1.9, (0.0, 1.0), 0.0, 0.0) == "the edge is not whole"
    assert edge_time(fold, 2.0, 1e-3, (0.0, 1.0), 0.0, 0.0) == "the edge is not whole"


def test_noise_of_just_the_share_that_may_be_still_tells(monkeypatch: pytest.MonkeyPatch) -> None:
    """A sixteenth here, so that nothing is rounded: 0.25 V over four samples is 0.125 V, of 2 V."""
    monkeypatch.setattr(transitions, "_MOST_NOISE", 0.0625)
    assert time_of(500, 10, 0.25) != NOISY
    assert time_of(500, 10, 0.2501) == NOISY


def test_bins_no_sample_fell_into_count_as_one() -> None:
    """0.095 V of 2 V is 4.75 %; with one sample a bin it stays so, with a quarter of that it would be 9.5 %."""
    for count in (1, 0):
        one = replace(ramp(500, 10, 0.25, 2.0), count=np.full(450, count))
        assert edge_time(one, 250e-9, 1.5e-6, (0.25, 2.25), 0.095, 0.0) != NOISY
        assert edge_time(one, 250e-9, 1.5e-6, (0.25, 2.25), 0.105, 0.0) == NOISY


def test_the_rise_time_of_a_slow_scope() -> None:
    """0.35 / 20 MHz (common practice, no published source)."""
    assert pytest.approx(17.5e-9) == transitions.SCOPE_RISE
