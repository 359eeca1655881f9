"""Whether the edge of the screen cut a level off: limits worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from guardcheck.measure.capture import clipping
from guardcheck.measure.capture.clipping import _CUT, _MAY_BE, Screen, cut_off, fills_converter
from guardcheck.measure.capture.lines import Lines
from tests.measure.still import US, array


@pytest.mark.parametrize(
    ("screen", "level", "there"),
    [
        (Screen(0.1), 0.4, True),  # four divisions above the middle of eight
        (Screen(0.1), -0.4, True),
        (Screen(0.1), 0.5, True),  # five of ten
        (Screen(0.1), 0.407, True),  # two hundredths of 0.4 V
        (Screen(0.1), 0.409, False),
        (Screen(0.1), 0.391, False),
        (Screen(0.1), 0.45, False),
        (Screen(0.1, 0.1), 0.45, False),
        (Screen(0.1, 0.15), 0.55, True),  # moved by 0.15 V either way
        (Screen(0.1, 0.15), 0.25, True),
        (Screen(0.1, 0.15), 0.4, True),  # or not at all
    ],
)
def test_the_edge_of_a_screen_of_eight_or_ten_divisions(screen: Screen, level: float, there: bool) -> None:
    assert screen.at_edge(level) == there


def test_a_level_just_as_near_the_edge_as_may_be_stands_there(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter of a volt a division: 1 V is four of them; a 64th of that is near."""
    monkeypatch.setattr(clipping, "_NEAR", 2.0**-7)
    for level in (1 + 2.0**-6, 1 - 2.0**-6, -1 - 2.0**-6):
        assert Screen(0.25).at_edge(level)
    assert not Screen(0.25).at_edge(1 + 2.0**-6 + 2.0**-30)


def rows(values: list[float]) -> Lines:
    """Return a line of samples a microsecond apart."""
    return Lines(array(*values)[None, :], array(0), US, array(0), np.zeros(1, dtype=np.int64))


def of(stuck: int, top: float = 1.0, rest: float = 0.9) -> list[float]:
    return [top] * stuck + [rest] * (100 - stuck)


@pytest.mark.parametrize(
    ("values", "noise", "step", "screen", "said"),
    [
        (of(4), 0.05, 0.01, None, None),  # noise moves it: a twentieth at the extreme is too much
        (of(5), 0.05, 0.01, None, _CUT),
        (of(5), 0.0082, 0.01, None, _CUT),
        (of(5), 0.0078, 0.01, None, None),
        (of(5), 0.00012, 0.0, None, _CUT),
        (of(5), 0.00008, 0.0, None, None),
        (of(89), 0.0, 0.01, None, None),  # no noise to tell by: all of it stands there
        (of(90), 0.0, 0.01, None, _MAY_BE),
        (of(90), 0.0, 0.0, None, _MAY_BE),
        (of(90), 0.00005, 0.0, None, _MAY_BE),  # where no step is known, noise below the least tells nothing
        (of(90), 0.0031, 0.01, None, _CUT),
        (of(90), 0.0029, 0.01, None, _MAY_BE),
        (of(90), 0.0, 0.01, Screen(0.25), _CUT),
        (of(90), 0.0, 0.01, Screen(0.3, 0.0), None),
        (of(90), 0.0, 0.01, Screen(0.3, 0.1), None),
        (of(90), 0.0, 0.01, Screen(0.3), _MAY_BE),  # how high the screen is, but not where it stands
        ([1.0 - 0.9e-6] * 95 + [0.9] * 5, 0.0, 0.0, None, _MAY_BE),  # a millionth of the height is the same value
        ([1.0 - 1.2e-6] * 95 + [0.9] * 5, 0.0, 0.0, None, None),
        ([1.0 - 0.9e-4] * 95 + [0.9] * 5, 0.0, 0.01, None, _MAY_BE),  # a hundredth of a step is the same value
        ([1.0 - 1.1e-4] * 95 + [0.9] * 5, 0.0, 0.01, None, None),
    ],
)
def test_a_level_at_the_extreme_of_the_trace(
    values: list[float], noise: float, step: float, screen: Screen | None, said: str | None
) -> None:
    window = (0.0, 99.5 * US)
    assert cut_off(rows(values), window, 1.0, noise, step, 1.0, screen, top=True) == said
    below = rows([-one for one in values])
    assert cut_off(below, window, -1.0, noise, step, 1.0, screen, top=False) == said


def test_a_trace_of_250_to_256_codes_fills_a_converter() -> None:
    for span, full in ((249.0, False), (250.0, True), (256.0, True), (257.0, False)):
        assert fills_converter(array(-1.0, span / 128 - 1.0), 1 / 128) == full
    assert not fills_converter(array(0, 1), 0.0)
    assert not fills_converter(array(0, 1), -1.0)


@pytest.mark.parametrize(
    ("values", "noise", "step", "scale", "said"),
    [
        ([1.0 - 1e-6] * 90 + [0.9] * 10, 0.0, 0.0, 0.25, None),  # a millionth of 0.25 V is less
        ([1.0 - 1e-6] * 90 + [0.9] * 10, 0.0, 0.0, 4.0, _MAY_BE),
        ([1.0 - 0.01 * 0.01] * 90 + [0.9] * 10, 0.0, 0.01, 1.0, _MAY_BE),  # just a hundredth of a step
        ([1.0] * 5 + [0.9] * 95, 0.8 * 0.01, 0.01, 1.0, None),  # just 0.8 of a step of noise
        ([1.0] * 5 + [0.9] * 95, 1.9e-4, 0.0, 2.0, None),  # a ten-thousandth of 2 V is more
        ([1.0] * 5 + [0.9] * 95, 2.1e-4, 0.0, 2.0, _CUT),
        ([1.0] * 95 + [0.9] * 5, 0.3 * 0.01, 0.01, 1.0, _MAY_BE),
        ([1.0] * 90 + [0.9] * 10, 3.1e-5, 1e-4, 1.0, _CUT),
    ],
)
def test_what_stands_at_the_extreme_by_the_limits_themselves(
    values: list[float], noise: float, step: float, scale: float, said: str | None
) -> None:
    one = Lines(array(*values)[None, :], array(0), US, array(0), np.zeros(1, dtype=np.int64))
    assert cut_off(one, (0.0, 99.5 * US), 1.0, noise, step, scale, None, top=True) == said
    turned = Lines(-one.rows, one.offsets, US, one.starts, one.number)
    assert cut_off(turned, (0.0, 99.5 * US), -1.0, noise, step, scale, None, top=False) == said
