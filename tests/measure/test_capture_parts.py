"""The parts a capture is analysed with, each on a handful of samples: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import slicer
from guardcheck.measure.capture.clipping import _CUT, _MAY_BE, Screen, cut_off, fills_converter
from guardcheck.measure.capture.field import _droop, over_field
from guardcheck.measure.capture.lines import BEFORE, Edges, Lines, _crossings, _fit, _means, _together, cut, find_edges
from guardcheck.measure.capture.slicer import Pulses, box, coarse, find_pulses, runs_below
from guardcheck.measure.capture.systems import nearest_system, plainest_system, rates, systems
from tests.measure.drawn import L15, VGA, VGA_SYNC, Array, bar, drawn, in_order, pulse

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


# The slicer ----------------------------------------------------------------------------------------------------------


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


def test_systems_are_told_by_period_and_width() -> None:
    for period, width, name in (
        (64.0, 4.7, "625"),
        (63.78, 4.7, "625"),
        (63.77, 4.7, "525"),
        (63.34, 4.7, "525"),
        (31.7776, 3.8, "vga"),
        (31.7776, 3.1, "vga"),
        (31.7776, 3.05, "525p"),
        (64.3, 4.7, None),
        (63.3, 4.7, None),
    ):
        found = nearest_system(period * US, width * US)
        assert (found.name if found else None) == name, (period, width)
    assert [plainest_system(LOW, 4.7e-6).name, plainest_system(HIGH, 2.0e-6).name] == ["625", "525p"]
    assert plainest_system(HIGH, 4.0e-6).name == "vga"


def test_the_systems_are_those_of_the_tables() -> None:
    """ITU-R BT.470: 64 and 63.5555 us, 4.7 us, 4.43361875 and 3.579545 MHz; VESA DMT and BT.1358 from memory."""
    seen = {one.name: (one.period / US, one.sync_width / US, one.subcarrier, one.rate.scale) for one in systems()}
    assert_allclose(seen["625"], (64, 4.7, 4433618.75, 1))
    assert_allclose(seen["525"], (63.5555, 4.7, 315e6 / 88, 1), rtol=1e-6)
    assert seen["vga"][:2] == pytest.approx((800 / 25.175, 96 / 25.175), rel=1e-4)
    assert seen["525p"][:2] == pytest.approx((858 / 27, 63 / 27), rel=1e-4)
    assert [one.subcarrier for one in systems()][2:] == [None, None]
    assert [one.blanking_end / US for one in systems()] == pytest.approx([10.5, 9.2, 5.4, 4.5])


# The screen's edge ---------------------------------------------------------------------------------------------------


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
        (of(90), 0.0031, 0.01, None, _CUT),
        (of(90), 0.0029, 0.01, None, _MAY_BE),
        (of(90), 0.0, 0.01, Screen(0.25), _CUT),
        (of(90), 0.0, 0.01, Screen(0.3), None),
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


# Lines ---------------------------------------------------------------------------------------------------------------


def lines(data: Array, offsets: Array, step: float = 1.0) -> Lines:
    n = len(data)
    return Lines(data, offsets, step, np.arange(n) * 100.0, np.arange(n), 0.5)


def test_columns_lie_inside_a_window_in_every_row() -> None:
    one = lines(np.arange(20.0).reshape(2, 10), array(-3.0, -2.5))
    assert one.columns((-1.0, 2.0)) == slice(2, 5)  # row 0: -3 + 2; row 1 ends at -2.5 + 4
    assert one.columns((-9.0, -2.0)) == slice(0, 1)
    assert one.columns((50.0, 60.0)) == slice(9, 10)
    assert one.columns((0.1, 0.2)) == slice(4, 5)
    assert_allclose(one.means((-1.0, 2.0)), (3, 13))
    picked = one.pick(array(0, 1) > 0)
    assert (picked.rows.tolist(), picked.offsets.tolist(), picked.scale) == ([list(range(10, 20))], [-2.5], 0.5)
    assert (picked.starts.tolist(), picked.number.tolist(), picked.step) == ([100.0], [1], 1.0)


def test_lines_that_are_not_locked_are_averaged_finer_than_the_sampling() -> None:
    """Eight lines, an eighth of a sample apart, of a ramp of 1 V in 10 us: bins of half a sample, mean times exact."""
    step, n = 1e-6, 8
    offsets = -BEFORE + step * (np.arange(n) + 0.5) / n
    times = offsets[:, None] + step * np.arange(13)
    one = Lines(times * 1e5, offsets, step, np.arange(n) * 1.0, np.arange(n))
    x, y, count = one.fold(9e-6)
    assert len(x) == 24  # 12 us in bins of half a microsecond
    assert_allclose(count, 4)
    assert_allclose(x, -BEFORE + 0.5e-6 * np.arange(24) + 0.25e-6, atol=1e-12)
    assert_allclose(y, x * 1e5)


def test_locked_lines_keep_the_sampling_and_empty_bins_are_told() -> None:
    one = Lines(np.tile(np.arange(6.0), (8, 1)), np.full(8, -BEFORE + 1e-9), 1e-6, np.arange(8.0), np.arange(8))
    x, y, count = (part[:8] for part in one.fold(5e-6))
    assert count.tolist()[:8] == [8, 8, 8, 8, 8, 8, 0, 0]
    assert_allclose(x, (-3e-6, -2e-6, -1e-6, 0, 1e-6, 2e-6, 3.5e-6, 4.5e-6), atol=1.1e-9)
    assert_allclose(y, (0, 1, 2, 3, 4, 5, np.nan, np.nan))


def test_the_mean_behind_a_time() -> None:
    volts = np.arange(100.0)
    assert_allclose(_means(volts, 0.1, array(1.0, 5.05), 0.4), (11.5, 51.5))
    assert_allclose(_means(volts, 0.1, array(2.0, 50.0), 0.05), (20, 99))


def test_crossings_are_those_nearest() -> None:
    """A triangle wave of period 40 samples: it falls through 0 at 10, 50, 90 and rises through it at 30, 70."""
    t = np.arange(120.0)
    volts = 10.0 - np.abs((t % 40) - 20.0)
    volts = -volts  # falls through 0 at 10 + 40 k, rises through it at 30 + 40 k
    step = 0.1e-6
    near = array(12, 49, 88) * step
    assert_allclose(_crossings(volts, step, near, np.zeros(3), 1.0, falling=True), array(10, 50, 90) * step, atol=1e-12)
    rising = _crossings(volts, step, array(33.0, 68.0) * step, array(0.4, -0.4), 1.0, falling=False)
    assert_allclose(rising, array(30.4, 69.6) * step, atol=1e-12)
    far = _crossings(volts, step, array(30.0) * step, array(0.0), 1.0, falling=True)
    assert np.isnan(far).all()
    flat = _crossings(np.ones(120), step, near, np.zeros(3), 1.0, falling=True)
    assert np.isnan(flat).all()


def test_the_line_period_is_fitted_over_gaps_and_past_a_wild_edge() -> None:
    numbers = np.array([0, 1, 2, 3, 7, 8, 9, 10, 11, 12])
    lead = 5e-6 + numbers * 64e-6
    wild = lead.copy()
    wild[5] += 0.5e-6
    found = _fit(wild, wild + 4.7e-6, LOW)
    assert found is not None
    assert found.number.tolist() == [0, 1, 2, 3, 7, 9, 10, 11, 12]
    assert found.period == pytest.approx(64e-6, rel=1e-9)
    assert_allclose(found.fitted, 5e-6 + found.number * 64e-6)
    assert found.jitter < 1e-12
    assert found.width == pytest.approx(4.7e-6)
    assert found.epochs() is found.fitted
    assert _fit(array(0, 64e-6), array(5e-6, 69e-6), LOW) is None
    assert _fit(array(0, 66e-6, 132e-6), array(5e-6, 71e-6, 137e-6), LOW) is None


def test_the_error_of_the_period_is_that_of_a_straight_line() -> None:
    """Edges 10 ns early and late by turns: rms 10 ns over the root of the sum of squares of -4.5 .. 4.5."""
    number = np.arange(10)
    lead = number * 64e-6 + 10e-9 * np.array([1, -1, -1, 1, 1, -1, 1, -1, -1, 1])
    found = _fit(lead, lead + 4.7e-6, LOW)
    assert found is not None
    assert found.period == pytest.approx(64e-6, abs=2e-9)
    assert found.jitter == pytest.approx(10e-9, rel=0.02)
    assert found.period_error == pytest.approx(found.jitter / math.sqrt(82.5), rel=1e-6)


def test_lines_that_do_not_come_evenly_are_cut_at_their_own_edges() -> None:
    """A period that swings by 0.4 us: no straight line fits, and the mean of the gaps is taken."""
    lead = np.cumsum(np.array([0.0, *(64e-6 + 0.2e-6 * (-1) ** (i // 3) for i in range(12))]))
    found = _fit(lead, lead + 4.7e-6, LOW)
    assert found is not None
    assert found.jitter >= 60e-9
    assert found.epochs() is found.lead
    assert len(found.lead) == 13
    assert found.period == pytest.approx((lead[-1] - lead[0]) / 12, rel=1e-9)
    assert found.period_error == pytest.approx(0.2e-6 / math.sqrt(12), rel=0.01)


def edges(count: int, step: float = 0.1e-6, skip: int | None = None, start: float = 5.03e-6) -> Edges:
    number = np.array([i for i in range(count) if i != skip])
    lead = start + number * 64e-6
    return Edges(lead, lead + 4.7e-6, number, 64e-6, 0.0, 0.0, lead, LOW)


def test_lines_are_cut_where_the_next_follows() -> None:
    """Sample n is n volts; rows begin at the first sample at least 3 us before the edge, and hold 67 us."""
    volts = np.arange(6400.0)
    found = cut(volts, 0.1e-6, edges(9, skip=4))
    assert found is not None
    assert found.number.tolist() == [0, 1, 2, 5, 6, 7]
    assert found.rows.shape == (6, 671)
    assert_allclose(found.rows[:, 0], 21 + 640 * found.number)  # 5.03 - 3 = 2.03 us
    assert_allclose(found.offsets, -2.93e-6, atol=1e-12)
    assert_allclose(found.starts, 5.03e-6 + 64e-6 * found.number)
    turned = cut(volts, 0.1e-6, edges(9), -1)
    assert turned is not None
    assert turned.rows[0, 0] == -21
    assert cut(volts, 0.1e-6, edges(2)) is None
    three = cut(volts, 0.1e-6, edges(3))
    assert three is not None
    assert len(three.rows) == 2
    early = cut(volts, 0.1e-6, edges(9, start=2.95e-6))
    assert early is not None
    assert early.number[0] == 0  # the first sample of the trace is the row's first


def test_a_line_that_begins_before_the_trace_or_ends_behind_it_is_left_out() -> None:
    volts = np.arange(6400.0)
    found = cut(volts, 0.1e-6, edges(10, start=2.85e-6))
    assert found is not None
    assert found.number.tolist() == list(range(1, 9))
    short = cut(volts[: 21 + 640 * 2 + 671], 0.1e-6, edges(9))
    assert short is not None
    assert short.number.tolist() == [0, 1, 2]
    shorter = cut(volts[: 21 + 640 * 2 + 670], 0.1e-6, edges(9))
    assert shorter is not None
    assert shorter.number.tolist() == [0, 1]


def test_edges_are_known_to_a_sample_when_locked_and_never_met() -> None:
    step = 1e-6
    for period, met, expected in ((64e-6, False, step), (64e-6, True, 0.0), (64.37e-6, False, 0.0)):
        lead = 10.5e-6 + np.arange(20) * period
        one = Edges(lead, lead + 5e-6, np.arange(20), period, 0.0, 0.0, lead, LOW)
        volts = np.ones(1400)
        for start in lead:
            at = math.floor(start / step)
            volts[at + 1 : at + 6] = 0.0
            if met:
                volts[[at, at + 5]] = 0.5
        assert _together(volts, step, one, (0.1, 0.9)) == expected


@pytest.mark.parametrize("rate", [10.0, 40.0])
def test_sync_edges_are_found_at_half_amplitude(rate: float) -> None:
    volts = drawn(in_order(pulse(4.7, 0.1, -0.2, 0.4) + bar(10.5, 62.5, 0.1, 0.8, 0.3), L15), L15, rate=rate)
    found = find_pulses(volts, 1e-6 / rate)
    assert found is not None
    one = find_edges(volts, 1e-6 / rate, found)
    assert one is not None
    assert_allclose(one.lead, (0.63 + one.number) * 64e-6, atol=5e-9)
    assert_allclose(one.trail - one.lead, 4.7e-6, atol=8e-9)
    assert len(one.lead) == 20
    assert one.rate is LOW


# Over a field --------------------------------------------------------------------------------------------------------


def test_the_droop_of_a_coupling_capacitor_is_a_straight_line_over_charge() -> None:
    charge = array(0, 1, 2, 3)
    left, slope, error = _droop(charge, 0.5 - 0.2 * charge)
    assert slope == pytest.approx(0.2)
    assert_allclose(left, 0, atol=1e-12)
    assert error == pytest.approx(0.0, abs=1e-12)
    bent = 0.5 - 0.2 * charge + array(0.1, -0.1, -0.1, 0.1)
    left, slope, error = _droop(charge, bent)
    assert slope == pytest.approx(0.2)
    assert_allclose(left, (0.1, -0.1, -0.1, 0.1))
    assert error == pytest.approx(0.5 * 0.1 / math.sqrt(1.25))
    left, slope, error = _droop(array(1, 1, 1), array(0, 1, 2))
    assert (left.tolist(), slope, error) == ([-1, 0, 1], 0.0, 0.0)
    assert _droop(array(0, 1), array(0, 1))[1:] == (0.0, 0.0)


def seen(
    blank: Array, *, count: int = 600, coupled: bool | None = None, fields: Array | None = None, sign: int = 1
) -> object:
    """Return what is seen over lines 64 us apart of a trace of `sign` x 0.5 V sampled at 64 us."""
    step = 64e-6
    one = Lines(np.zeros((count, 1)), np.zeros(count), step, np.arange(count) * step, np.arange(count))
    starts = array(0.001, 0.021) if fields is None else fields
    return over_field(np.full(count, 0.5 * sign), step, one, blank, 0.003, starts, sign=sign, coupled=coupled)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_tilt_of_a_field_is_told_from_the_sag_of_blanking(sign: int) -> None:
    """0.5 V behind 0.1 s sags by 5 V/s; half a field of 20 ms over 0.1 s: tanh(0.02 / 0.4)."""
    count = 600
    blank = 0.2 - 5.0 * np.arange(count) * 64e-6
    found = seen(blank, sign=sign)
    assert found.tilt == pytest.approx(math.tanh(0.05), rel=1e-6)  # type: ignore[attr-defined]
    assert found.tilt_error == pytest.approx(0.0, abs=1e-9)  # type: ignore[attr-defined]
    assert found.hum == pytest.approx(0.0, abs=1e-9)  # type: ignore[attr-defined]
    assert found.hum_error == pytest.approx(2 * 0.003 / 3)  # type: ignore[attr-defined]
    assert found.whole  # type: ignore[attr-defined]
    direct = seen(blank, coupled=False)
    assert direct.hum == pytest.approx(5.0 * (count - 1 - 4) * 64e-6, rel=2e-3)  # type: ignore[attr-defined]
    assert not seen(blank, coupled=True).whole  # type: ignore[attr-defined]


def test_a_tilt_needs_two_fields_and_hum_a_mains_period() -> None:
    for count, told in ((600, True), (594, True), (593, False)):  # 1.9 fields of 20 ms are 593.75 lines of 64 us
        found = seen(np.zeros(count), count=count)
        assert (found.tilt is not None) == told  # type: ignore[attr-defined]
    for count, whole in ((313, True), (312, False)):
        assert seen(np.zeros(count), count=count).whole == whole  # type: ignore[attr-defined]
    one = seen(np.zeros(600), fields=array(0.001))
    assert one.tilt is None  # type: ignore[attr-defined]
    assert "two whole fields" in str(one.tilt_failure)  # type: ignore[attr-defined]
    long = seen(np.zeros(700), count=700, fields=array(0.001))
    assert "no field sync was seen" in str(long.tilt_failure)  # type: ignore[attr-defined]


def test_the_error_of_a_tilt_follows_from_what_the_fit_leaves() -> None:
    """10 mV left over a charge of 0.5 V x 19.2 ms / sqrt(3) rms-like: half of it, times a quarter of a field."""
    count = 600
    t = np.arange(count) * 64e-6
    wave = 0.01 * np.where(np.arange(count) // 2 % 2, 1.0, -1.0)
    found = seen(0.2 - 5.0 * t + wave)
    slope = 10.0
    error = 0.5 * 0.01 / float(np.std(0.5 * t))
    tilt_ = math.tanh(slope * 0.02 / 4)
    assert found.tilt_error == pytest.approx((1 - tilt_**2) * error * 0.02 / 4, rel=0.01)  # type: ignore[attr-defined]
