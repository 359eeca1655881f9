"""Whose colour bars stand on a line: eight steps drawn by their corners, distances worked out by hand.

Red, green and blue of bars, and their order, are ITU-R BT.471's; luma is 0.299, 0.587 and 0.114 of them (ITU-R BT.470).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import bars
from guardcheck.measure.capture.bars import Steps, _distance, _fit, _joined, _sampled, component_of, steps_of
from guardcheck.measure.capture.picture import Folded
from tests.measure.drawn import Array

US = 1e-6
RED = (1, 1, 0, 0, 1, 1, 0, 0)
GREEN = (1, 1, 1, 1, 0, 0, 0, 0)
BLUE = (1, 0, 1, 0, 1, 0, 1, 0)
LUMA = (1, 0.886, 0.701, 0.587, 0.413, 0.299, 0.114, 0)
PB = (0, -0.5, 0.1687, -0.3313, 0.3313, -0.1687, 0.5, 0)
PR = (0, 0.0813, -0.5, -0.4187, 0.4187, 0.5, -0.0813, 0)
BLANK = 0.25


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def folded(x: Array, y: Array, scale: float = 1.0) -> Folded:
    return Folded(x * US * scale, y, np.full(len(x), 10), y, scale)


def drawn(
    levels: Sequence[float], height: float = 0.5, *, start: float = 10.5, width: float = 6.5, edge: float = 0.1,
    scale: float = 1.0,
) -> Folded:  # fmt: skip
    """Return an average line of bars: levels above blanking as shares of `height` [V], places in us of 15 kHz."""
    corners = [(start - edge / 2, 0.0)]
    for bar, level in enumerate(levels):
        corners += [(start + bar * width + edge / 2, level), (start + (bar + 1) * width - edge / 2, level)]
    corners.append((start + 8 * width + edge / 2, 0.0))
    x = np.asarray(np.arange(-3.0, 64.0, 0.025), dtype=np.float64)
    at, shares = zip(*corners, strict=True)
    return folded(x, np.asarray(BLANK + height * np.interp(x, at, shares), dtype=np.float64), scale)


def steps(levels: Sequence[float], own: str, height: float = 0.5) -> Steps:
    found = steps_of(drawn(levels, height), BLANK, 64 * US, own, 0.02)
    assert found is not None
    return found


@pytest.fixture
def place(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look for bars only where they are drawn: seconds are saved by it."""
    monkeypatch.setattr(bars, "_STARTS", array(10.5 * US))
    monkeypatch.setattr(bars, "_WIDTHS", array(6.5 * US))


def mixed(one: Sequence[float], other: Sequence[float], share: float = 0.5) -> list[float]:
    return [(1 - share) * a + share * b for a, b in zip(one, other, strict=True)]


@pytest.mark.parametrize(
    ("name", "component"),
    [
        ("red", "red"),
        (" R ", "red"),
        ("Green", "green"),
        ("b", "blue"),
        ("Y", "luma"),
        ("CVBS", "luma"),
        ("composite-video", "luma"),  # two words for the same
        ("R-Y", "pr"),  # not red and luma
        ("b-y", "pb"),
        ("out r", "red"),
        ("video_out_pb", None),  # luma or Pb
        ("red/green", None),
        ("sync", None),
        ("", None),
        ("-", None),
    ],
)
def test_what_a_line_carries_by_its_name(name: str, component: str | None) -> None:
    assert component_of(name) == component


@pytest.mark.parametrize(
    ("own", "levels"),
    [("red", RED), ("green", GREEN), ("blue", BLUE), ("luma", LUMA), ("pb", PB), ("pr", PR)],
)
@pytest.mark.parametrize("height", [0.1, 0.5, 3.0])
@pytest.mark.usefixtures("place")
def test_a_line_shows_its_own_bars(own: str, levels: Sequence[float], height: float) -> None:
    """To four digits: as many as the shares above have."""
    found = steps(levels, own, height)
    assert found.whose == own
    assert found.own == pytest.approx(0.0, abs=1e-4)


def test_a_white_bar_of_full_height_before_bars_of_three_quarters() -> None:
    assert steps((1, *(0.75 * one for one in LUMA[1:])), "luma").own == pytest.approx(0.0, abs=1e-4)
    found = steps((0.75, *LUMA[1:]), "luma")
    assert found.own > 0.02


@pytest.mark.parametrize(
    ("own", "levels", "whose"),
    [
        ("green", RED, "red"),
        ("green", BLUE, "blue"),
        ("green", LUMA, "luma"),
        ("green", PR, "pr"),
        ("luma", GREEN, "green"),
        ("pb", PR, "pr"),
        ("green", [1 - one for one in GREEN], "green upside down"),
        ("red", [1 - one for one in BLUE], "blue upside down"),
        ("pb", [-one for one in PB], "pb upside down"),
        ("red", mixed(RED, BLUE), "red and blue joined"),
        ("red", mixed(GREEN, BLUE), "green and blue joined"),
        ("green", mixed(RED, GREEN), "red and green joined"),
        ("luma", mixed(LUMA, PB), "luma and pb joined"),
        ("pr", mixed(LUMA, PR), "luma and pr joined"),
        ("red", mixed(RED, BLUE, 0.25), "red and blue joined"),  # a third of the other
        ("green", (1, 0, 0, 1, 0, 0, 1, 1), None),
        ("luma", (1, 0, 0, 1, 0, 0, 1, 1), None),
    ],
)
@pytest.mark.usefixtures("place")
def test_bars_that_are_not_the_line_s_own(own: str, levels: Sequence[float], whose: str | None) -> None:
    found = steps(levels, own)
    assert found.whose == whose
    assert found.own > 0.1


@pytest.mark.parametrize(("share", "fits"), [(0.08, True), (0.11, True), (0.117, False), (0.16, False)])
@pytest.mark.usefixtures("place")
def test_steps_may_be_off_by_eight_hundredths_of_their_swing(share: float, fits: bool) -> None:
    """Four of eight bars off by a share, up and down in turn: neither gain nor offset helps; share / sqrt(2) rms.

    Beside the bars, where one runs into the next, they may look a little nearer: here only their own place is tried.
    """
    found = steps((*GREEN[:4], share, -share, share, -share), "green")
    assert found.own == pytest.approx(share / math.sqrt(2), rel=1e-9)
    assert (found.whose == "green") == fits


@pytest.mark.usefixtures("place")
def test_steps_that_are_just_as_far_off_as_may_be_fit(monkeypatch: pytest.MonkeyPatch) -> None:
    off = (*GREEN[:4], 0.1, -0.1, 0.1, -0.1)
    monkeypatch.setattr(bars, "FITS", steps(off, "green").own)
    assert steps(off, "green").whose == "green"
    monkeypatch.setattr(bars, "FITS", min(_distance(_sampled(drawn(off), BLANK, 64 * US), [array(*GREEN)]), 1.0))
    assert steps(off, "red").whose == "green"


def test_what_is_too_small_or_too_short_for_bars_shows_none() -> None:
    for least, there in ((0.49, True), (0.5, False), (0.51, False)):
        assert (steps_of(drawn(GREEN), BLANK, 64 * US, "green", least) is not None) == there
    assert steps_of(drawn(GREEN), BLANK, 40 * US, "green", 0.02) is None  # eight bars of 5 us do not fit behind 8.5 us


# Where the bars stand ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_three_points_of_each_bar_are_looked_at(scale: float) -> None:
    """A trace of 1 V in each us shows where: a quarter, half and three quarters into bars of 5 us from 8.5 us on.

    Bars begin at 8.5 to 14 us in steps of 0.25 and are 5 to 6.8 us wide in steps of 0.1. All eight end before 63.64 us:
    behind 8.5 us that leaves all 19 widths, and one less for every 0.8 us more (18 from 9.24 us on, 17 from 10.04 on).
    """
    x = np.asarray(np.arange(0.0, 80.0, 0.5), dtype=np.float64)
    found = _sampled(folded(x, x + BLANK, scale), BLANK, 64.04 * US * scale)
    first = [8.5 + 5.0 * (bar + share) for bar in range(8) for share in (0.25, 0.5, 0.75)]
    assert_allclose(found[0], first)
    assert_allclose(found[1][:3], (8.5 + 1.275, 8.5 + 2.55, 8.5 + 3.825))  # bars of 5.1 us
    assert found.shape == (3 * 19 + 4 * 18 + 3 * (17 + 16 + 15 + 14) + 4 * 13, 24)


def test_bars_must_end_before_the_next_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    """0.4 us before it at the latest. Powers of two, so that nothing is rounded."""
    width = 2.0**-18
    for off, count in ((-1e-9, 1), (0.0, 0), (1e-9, 0)):
        monkeypatch.setattr(bars, "_STARTS", array(2.0**-14 - 0.4e-6 - 8 * width + off))
        monkeypatch.setattr(bars, "_WIDTHS", array(width))
        assert len(_sampled(drawn(GREEN), BLANK, 2.0**-14)) == count


@pytest.mark.parametrize(("start", "width"), [(8.5, 5.0), (8.5, 6.8), (8.75, 5.1), (13.75, 5.3), (14.0, 6.1)])
@pytest.mark.parametrize("scale", [1.0, 0.5])
def test_bars_with_slow_edges_fit_where_one_of_the_places_tried_is_theirs(
    start: float, width: float, scale: float
) -> None:
    """Edges of 0.48 of a bar leave flat just what lies between a quarter and three quarters of it."""
    one = drawn(BLUE, start=start, width=width, edge=0.48 * width, scale=scale)
    found = steps_of(one, BLANK, 64 * US * scale, "blue", 0.02)
    assert found is not None
    assert found.own == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("start", "width"), [(6.0, 5.0), (16.5, 5.0), (8.5, 4.3), (8.5, 7.7)])
def test_bars_elsewhere_are_none(start: float, width: float) -> None:
    found = steps_of(drawn(BLUE, start=start, width=width), BLANK, 80 * US, "blue", 0.02)
    assert found is not None
    assert found.whose != "blue"


# Fits ----------------------------------------------------------------------------------------------------------------


def row(levels: Sequence[float]) -> Array:
    return np.repeat(array(*levels), 3)


def test_a_fit_leaves_what_neither_gain_nor_offset_makes() -> None:
    """Twice green and 3; then 0.1 up and down in turn on its dark bars: 0.1 / sqrt(2) rms."""
    rows = np.stack([row([2 * one + 3 for one in GREEN]), row((2, 2, 2, 2, 0.1, -0.1, 0.1, -0.1))])
    error, gains = _fit(rows, [array(*GREEN)])
    assert_allclose(gains, [[2.0], [2.0]])
    assert_allclose(error, (0.0, 0.1 / math.sqrt(2)), atol=1e-12)
    error, gains = _fit(row(mixed(RED, BLUE, 0.25))[None, :], [array(*RED), array(*BLUE)])
    assert_allclose(gains, [[0.75, 0.25]])
    assert_allclose(error, 0.0, atol=1e-12)


def test_a_distance_is_a_share_of_the_swing_and_of_one_polarity() -> None:
    """0.0707 of a swing of 4: gain 2 of a pattern twice as high."""
    pattern = 2.0 * array(*GREEN) - 1.0
    rows = row((4, 4, 4, 4, 0.1, -0.1, 0.1, -0.1))[None, :]
    assert _distance(rows, [pattern]) == pytest.approx(0.1 / math.sqrt(2) / 4)
    assert _distance(-rows, [pattern], -1) == pytest.approx(0.1 / math.sqrt(2) / 4)
    assert _distance(rows, [pattern], -1) == _distance(-rows, [pattern]) == math.inf
    both = np.concatenate((rows, row(GREEN)[None, :], -rows))
    assert _distance(both, [pattern]) == pytest.approx(0.0, abs=1e-12)
    assert _distance(np.zeros((1, 24)), [pattern]) == math.inf  # no gain is neither


@pytest.mark.parametrize(
    ("red", "blue", "told"),
    [(0.5, 0.5, True), (0.5, 0.11, True), (0.11, 0.5, True), (0.5, 0.09, False), (0.5, -0.3, False), (0.5, 0.0, False)],
)
def test_of_two_joined_lines_each_has_at_least_a_fifth_of_the_other(red: float, blue: float, told: bool) -> None:
    rows = row([red * a + blue * b for a, b in zip(RED, BLUE, strict=True)])[None, :]
    found = _joined(rows, array(*RED), array(*BLUE))
    assert (found < 1e-9) == told
    assert (found == math.inf) != told


def test_the_distance_of_a_mixture_is_a_share_of_its_swing() -> None:
    """0.5 of red and 0.25 of blue reach from 0 to 0.75; 0.03 on and off in a pattern of neither: 0.03 rms."""
    neither = (1, -1, -1, 1, -1, 1, 1, -1)  # sums with 1, with red and with blue are 0
    rows = row([0.5 * a + 0.25 * b + 0.03 * c for a, b, c in zip(RED, BLUE, neither, strict=True)])[None, :]
    assert _joined(rows, array(*RED), array(*BLUE)) == pytest.approx(0.03 / 0.75)
    worse = row([0.5 * a + 0.25 * b + 0.06 * c for a, b, c in zip(RED, BLUE, neither, strict=True)])[None, :]
    assert _joined(np.concatenate((worse, rows, worse)), array(*RED), array(*BLUE)) == pytest.approx(0.03 / 0.75)


def test_just_a_fifth_of_the_other_is_too_little(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter here, so that nothing is rounded."""
    monkeypatch.setattr(bars, "_LEAST_PART", 0.25)
    monkeypatch.setattr(bars, "_fit", lambda rows, patterns: (array(0.0), array(0.5, 0.125)[None, :]))
    assert _joined(row(RED)[None, :], array(*RED), array(*BLUE)) == math.inf
