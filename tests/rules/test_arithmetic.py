"""Half-widths, expanded uncertainties and tables: what holds for any numbers."""

from __future__ import annotations

from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.metrology import expanded, interpolate, two_point_factor
from tests.rules.meters import half_width

quiet = settings(derandomize=True, deadline=None, database=None, max_examples=80)


@pytest.mark.parametrize(
    ("text", "reading_", "resolution", "full", "expected"),
    [
        ("1.0% + 2 counts", 10.0, 0.1, None, 0.3),
        ("\u00b1(1.5% of reading + 3 digits)", 10.0, 0.1, None, 0.45),
        ("0.5% of range", 10.0, None, 200.0, 1.0),
        ("0.5% of full scale", 10.0, None, 200.0, 1.0),
        ("100 ppm", 10.0, None, None, 1e-3),
        ("5 mV", 10.0, None, None, 5e-3),
        ("2 counts", 10.0, None, None, None),
        ("1% of range", 10.0, None, None, None),
        ("about right", 10.0, 0.1, None, None),
        ("3 ohm", 10.0, 0.1, None, None),
    ],
)
def test_half_widths(
    text: str, reading_: float, resolution: float | None, full: float | None, expected: float | None
) -> None:
    found = half_width(text, reading_, unit="V", resolution=resolution, full_scale=full)
    assert found == (None if expected is None else pytest.approx(expected))


@given(st.floats(0, 100), st.floats(0.01, 10), st.integers(1, 50))
@quiet
def test_half_width_grows_with_every_term(shown: float, percent: float, counts: int) -> None:
    text = f"{percent:.2f}% + {counts} counts"
    width = half_width(text, shown, unit="ohm", resolution=0.01)
    assert width is not None
    assert width >= counts * 0.01
    assert width == pytest.approx(float(f"{percent:.2f}") / 100 * shown + counts * 0.01)


@given(st.text(max_size=40))
@quiet
def test_no_accuracy_text_crashes(text: str) -> None:
    found = half_width(text, 1.0, unit="V", resolution=0.1)
    assert found is None or found >= 0


@given(st.lists(st.floats(0, 10), min_size=1, max_size=5))
@quiet
def test_expanded_uncertainty_is_root_sum_square(widths: list[float]) -> None:
    assert expanded(*widths) == pytest.approx(2 / sqrt(3) * sqrt(sum(width**2 for width in widths)))
    assert expanded(*widths) <= 2 / sqrt(3) * sum(widths) + 1e-12


@given(st.floats(-10, 20))
@quiet
def test_interpolation_stays_between_neighbours(at: float) -> None:
    table = ((0.0, 5.0), (4.0, 1.0), (10.0, 9.0))
    assert 1.0 <= interpolate(table, at) <= 9.0


@given(st.floats(1e-5, 0.1), st.floats(1e-5, 2e-3))
@quiet
def test_two_point_factor_is_positive_for_any_tips(spacing: float, radius: float) -> None:
    assert two_point_factor(spacing, radius) > 0
