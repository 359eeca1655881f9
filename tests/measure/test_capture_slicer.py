"""Line sync found on a trace: pulses, slicing levels and floors. Every number expected is worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import slicer
from guardcheck.measure.capture.slicer import Pulses, box, coarse, find_pulses, runs_below
from guardcheck.measure.capture.systems import rates
from tests.measure.drawn import L15, VGA, VGA_SYNC, Array, drawn, in_order, pulse

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        (0, (3, 0, 6, 0, 0)),
        (1, (3, 0, 6, 0, 0)),
        (2, (2.25, 2.25, 3, 1.5, 0)),  # half of the sample at either end; 3 and 1.5 at the first, averaged over two
        (3, (1.5, 3, 2, 2, 0)),
        (5, (3, 2.25, 1.8, 1.5, 2)),
    ],
)
def test_a_moving_average_is_centred_and_stops_at_the_ends(width: int, expected: tuple[float, ...]) -> None:
    assert_allclose(box(array(3, 0, 6, 0, 0), width), expected)


def test_samples_are_averaged_to_a_quarter_of_a_microsecond() -> None:
    for step, to, group in ((0.1e-6, 0.25e-6, 2), (0.25e-6, 0.25e-6, 1), (0.125e-6, 0.25e-6, 2), (0.3e-6, 0.25e-6, 1)):
        data, dt = coarse(np.arange(7.0), step, to)
        assert dt == pytest.approx(group * step)
        assert_allclose(data, np.arange(7.0) if group == 1 else (0.5, 2.5, 4.5))
    assert coarse(np.arange(12.0), 0.1e-6)[1] == pytest.approx(0.2e-6)


def test_runs_below_a_level_end_where_the_line_between_two_samples_crosses_it() -> None:
    starts, ends = runs_below(array(2, 0, 0, 2, 2, 0, 4), 1.0, 0.1)
    assert_allclose(starts, (0.05, 0.45))
    assert_allclose(ends, (0.25, 0.525))
    starts, ends = runs_below(array(0, 2, 0, 2, 0), 1.0, 1.0)  # the first has no start, the last no end
    assert_allclose((starts, ends), ((1.5,), (2.5,)))
    assert [len(part) for part in runs_below(array(2, 1, 2), 1.0, 1.0)] == [0, 0]  # on the level is not below it
    assert [len(part) for part in runs_below(array(2, 2, 0), 1.0, 1.0)] == [0, 0]
    assert [len(part) for part in runs_below(array(0, 0, 2), 1.0, 1.0)] == [0, 0]


def pulses(starts: Array, widths: Array, rate: object = LOW) -> Pulses:
    return Pulses(starts, starts + widths, 1, 0.3, rate)  # type: ignore[arg-type]


def test_pulses_tell_line_sync_from_field_sync() -> None:
    starts = array(0, 64, 128, 160, 20_000, 20_032, 20_064, 20_128) * US
    widths = array(4.7, 4.7, 21, 27.3, 27.3, 27.3, 3.61, 5.79) * US
    one = pulses(starts, widths)
    assert_allclose(one.widths, widths, atol=1e-12)
    assert_allclose(one.field_starts(), array(128, 20_000) * US)
    assert_allclose(one.line_starts(), array(0, 64, 20_064, 20_128) * US)
    assert one.pairs() == 2
    assert_allclose(pulses(starts, array(4.7, 4.7, 19.9, 19.9, 4.7, 4.7, 4.7, 4.7) * US).field_starts(), ())
    near = array(0, 900, 2000) * US
    assert_allclose(pulses(near, array(30, 30, 30) * US).field_starts(), array(0, 2000) * US)
    assert_allclose(pulses(array(0, 31.8) * US, array(10.1, 9.9) * US, HIGH).field_starts(), (0,))


@pytest.mark.parametrize(("gap", "count"), [(62.4, 0), (62.6, 1), (64.9, 1), (65.1, 0)])
def test_neighbours_are_a_line_apart(gap: float, count: int) -> None:
    assert pulses(array(5, 5 + gap) * US, array(4.7, 4.7) * US).pairs() == count


@pytest.mark.parametrize(("gap", "count"), [(31.2, 0), (31.3, 1), (32.4, 1), (32.6, 0)])
def test_neighbours_of_31_khz_are_half_as_far_apart(gap: float, count: int) -> None:
    assert pulses(array(5, 5 + gap) * US, array(2, 4.3) * US, HIGH).pairs() == count


def test_a_score_counts_pulses_of_a_rough_width_a_line_apart() -> None:
    starts = array(0, 64, 128, 192) * US
    for widths, count in (((1.6, 7.9, 4, 4), 3.0), ((1.4, 4, 4, 4), 2.0), ((4, 8.1, 4, 4), 1.0)):
        assert slicer._score(starts, starts + array(*widths) * US, LOW) == count
    assert slicer._score(starts[:1], starts[:1] + 4e-6, LOW) == 0.0
    assert slicer._score(starts[:2], starts[:2] + 4e-6, LOW) == 1.0


def test_the_floor_is_the_lowest_of_each_block_and_a_single_dip_is_left_out() -> None:
    """Blocks of four samples; the third dips to -5 alone, and the median of five blocks passes over it."""
    data = np.repeat(array(1, 2, 1, 2, 1, 2, 1), 4)
    data[9] = -5.0
    floor = slicer._floor(data, 1.0, 4.0)
    blocks = (1, 2, -5, 2, 1, 2, 1)  # padded with 1, 1 at either end: medians 1, 1, 1, 2, 1, 1, 1
    medians = [float(np.median((1, 1, *blocks, 1, 1)[i : i + 5])) for i in range(7)]
    assert medians == [1, 1, 1, 2, 1, 1, 1]
    assert_allclose(floor, np.interp(np.arange(28), np.arange(7) * 4 + 2, medians))
    assert_allclose(slicer._floor(array(3, 1, 2), 1.0, 4.0), (1, 1, 1))  # shorter than a block
    assert_allclose(slicer._floor(array(3, 1, 2, 4), 1.0, 0.4), (2, 2, 2, 2), atol=1.0)


def test_a_level_is_the_mean_about_its_centre() -> None:
    data = np.arange(20.0) ** 2
    assert_allclose(slicer._level(data, 1.0, array(5, 10.4), 4.0), (27, 102))  # mean of n**2 +- 2: n**2 + 2
    assert_allclose(slicer._level(data, 0.5, array(5.2), 1.9), (100 + 2 / 3,))
    assert_allclose(slicer._level(data, 1.0, array(-3, 30), 2.0), (0, 361))  # held at the ends


@pytest.mark.parametrize("rate", [4.0, 20.0])
@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("height", [0.3, 2.0])
def test_sync_is_found_where_it_was_drawn(rate: float, sign: int, height: float) -> None:
    volts = 1.5 + sign * drawn(in_order(pulse(4.7, 0.0, -height, 0.2), L15), L15, rate=rate, lines=9.3, noise=0.002)
    found = find_pulses(volts, 1e-6 / rate)
    assert found is not None
    assert (found.sign, found.rate.name, found.pairs()) == (sign, "15k", 8)
    assert found.amplitude == pytest.approx(height, rel=0.02)
    assert_allclose(found.starts, (np.arange(1, 10) - 0.37) * L15 * US, atol=0.06e-6)
    assert_allclose(found.widths, 4.7e-6, atol=0.08e-6)


@pytest.mark.parametrize(("lines", "count"), [(2.7, None), (3.3, 2), (9.3, 8)])
def test_three_lines_are_the_least(lines: float, count: int | None) -> None:
    found = find_pulses(drawn(in_order(pulse(4.7, 0.0, -0.3, 0.2), L15), L15, lines=lines, noise=0.002), 0.02e-6)
    assert (None if found is None else found.pairs()) == count


@pytest.mark.parametrize(("lines", "found"), [(8.5, False), (9.5, True), (40.5, True)])
def test_lines_of_31_khz_must_outlast_any_row_of_equalising_pulses(lines: float, found: bool) -> None:
    volts = drawn(in_order(pulse(VGA_SYNC, 4.6, 0.2), VGA), VGA, lines=lines, noise=0.02)
    assert (find_pulses(volts, 0.02e-6) is not None) == found


def test_lines_of_31_khz_must_fill_three_quarters_of_the_capture() -> None:
    volts = drawn(in_order(pulse(VGA_SYNC, 4.6, 0.2), VGA), VGA, lines=40.3, noise=0.02)
    for rest, found in ((0.25, True), (0.45, False)):
        flat = np.full(round(rest * len(volts)), 4.6)
        assert (find_pulses(np.concatenate((volts, flat)), 0.02e-6) is not None) == found


def test_a_dark_bar_beside_a_bright_one_is_no_sync() -> None:
    """A gap of 4.7 us at the line rate, white before it and less behind: blanking stands on both sides of sync."""
    for behind, found in ((0.7, True), (0.6, True), (0.3, False)):
        corners = [(0.1, 0.0), (4.6, 0.0), (4.8, behind), (32.0, behind), (32.1, 0.7), (63.9, 0.7)]
        seen = find_pulses(drawn(in_order(corners, L15), L15, rate=20.0, noise=0.002), 0.05e-6)
        assert (seen is not None) == found, behind


def test_a_span_holds_its_ends() -> None:
    assert slicer._between(array(0.9, 1, 2, 3, 3.1), (1.0, 3.0)).tolist() == [False, True, True, True, False]


@pytest.mark.parametrize(
    ("before", "end", "found"),
    [
        (2.8, 186.0, True),  # syncs at 0, 64 and 128 us
        (1.5, 186.0, False),  # the first begins within 2 us of the trace's own start
        (1.5, 203.0, True),  # those at 64, 128 and 192 us; the last ends at 196.7
        (1.5, 199.5, False),  # 5 us must follow
    ],
)
def test_a_sync_at_the_end_of_the_trace_does_not_count(before: float, end: float, found: bool) -> None:
    corners = in_order([(0.0, -0.3), (4.6, -0.3), (4.7, 0.0), (-0.1, 0.0)], L15)
    x, y = zip(*corners, strict=True)
    t = np.arange(-before, end, 0.05)
    volts = np.asarray(np.interp(t % L15, array(*x), array(*y), period=L15), dtype=np.float64)
    assert (find_pulses(volts, 0.05 * US) is not None) == found
