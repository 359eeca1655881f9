"""Line sync found on a trace: pulses, slicing levels and floors. Every number expected is worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import slicer
from guardcheck.measure.capture.slicer import Pulses, box, coarse, find_pulses, runs_below
from guardcheck.measure.capture.systems import Rate, rates
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
    for off, group in ((0.8e-6, 2), (1.2e-6, 1)):  # a clock a millionth off is no other clock
        assert coarse(np.arange(12.0), 0.5, 0.5 * (2 - off))[1] == 0.5 * group


def test_runs_below_a_level_end_where_the_line_between_two_samples_crosses_it() -> None:
    starts, ends = runs_below(array(2, 0, 0, 2, 2, 0, 4), 1.0, 0.1)
    assert_allclose(starts, (0.05, 0.45))
    assert_allclose(ends, (0.25, 0.525))
    starts, ends = runs_below(array(0, 2, 0, 2, 0), 1.0, 1.0)  # the first has no start, the last no end
    assert_allclose((starts, ends), ((1.5,), (2.5,)))
    assert [len(part) for part in runs_below(array(2, 1, 2), 1.0, 1.0)] == [0, 0]  # on the level is not below it
    assert [len(part) for part in runs_below(array(2, 1, 0, 2), 1.0, 1.0)] == [1, 1]
    assert_allclose(runs_below(array(2, 1, 0, 2), 1.0, 1.0), ((1,), (2.5,)))  # it goes below from the level itself
    assert_allclose(runs_below(array(0, 1, 0, 2), 1.0, 1.0), ((1,), (2.5,)))  # the end on it is that of the one before
    assert [len(part) for part in runs_below(array(2, 2, 0), 1.0, 1.0)] == [0, 0]
    assert [len(part) for part in runs_below(array(2, 2, 2), 1.0, 1.0)] == [0, 0]
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
    assert pulses(array(0.0, 1e-3), array(30, 30) * US).field_starts().tolist() == [0.0]  # not more than 1 ms behind
    assert pulses(array(0.0), array(20e-6)).field_starts().tolist() == []
    assert pulses(array(0.0), array(20.001e-6)).field_starts().tolist() == [0.0]
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
    # Two samples are the least of a block: 1 and 2, medians 1 and 2 at 1 and 3 samples.
    assert_allclose(slicer._floor(array(3, 1, 2, 4), 1.0, 0.4), (1, 1, 1.5, 2))
    assert_allclose(slicer._floor(array(3, 1, 2, 4), 1.0, 4.0), (1, 1, 1, 1))  # just one block


@pytest.mark.parametrize(("rate", "block"), [(LOW, 75), (HIGH, 38)])
def test_the_floor_follows_a_slope_half_a_block_below(rate: Rate, block: int) -> None:
    """The lowest of a block stands at its start and is set in its middle: half of 75 us, or of 37.5."""
    above, _ = slicer._sliced(np.arange(900.0), 1e-6, rate)
    assert_allclose(above[400:500], block / 2)


def test_the_level_is_the_middle_of_those_that_find_the_lines() -> None:
    """Ten levels from a twentieth to three quarters of the top, alike in ratio; some cut a picture that comes late."""
    ratio = 15 ** (1 / 9)
    sync = [(0.0, 1.0), (0.01, 0.0), (4.0, 0.0), (4.01, 1.0)]
    _, level = slicer._sliced(drawn(sync, L15, rate=10.0), 0.1e-6, LOW)
    assert level == pytest.approx(0.05 * ratio**5)  # all ten do: the sixth
    # A dip to 0.3 ten microseconds behind sync is narrow too, and no pulse follows a line behind another: 7 to 10 fail.
    dip = [*sync, (10.0, 1.0), (10.01, 0.3), (14.0, 0.3), (14.01, 1.0)]
    assert [round(0.05 * ratio**i, 3) for i in (5, 6)] == [0.225, 0.304]
    _, level = slicer._sliced(drawn(dip, L15, rate=10.0), 0.1e-6, LOW)
    assert level == pytest.approx(0.05 * ratio**3)


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


# A candidate: what is read where -------------------------------------------------------------------------------------

WRONG = 1000.0
"""Volts where nothing is to be read: a single sample of it is seen."""


def keyhole(
    rate: Rate, low: float, *, front: float = 0.0, porch: float = 0.0, tip: float = -0.3
) -> tuple[Array, Array]:
    """Return six lines that are right only where they are to be read, and a pulse sliced `low` [us] inside its edges.

    Twenty samples a microsecond of 15 kHz; sync from 10 to 14.7 us of each line of 64. The front porch is read from
    0.95 to 0.45 us before sync, the tip over 1.2 us about its middle, the porch over `rate.porch` behind sync. The
    other trace is a pulse as high, smoothed over 2.2 us: a straight edge of 1.1 us on either side.
    """
    t = (np.arange(6 * 1280) % 1280) / 20
    data, height = np.full(len(t), WRONG), abs(porch - tip)
    scaled = [end * 1e6 / rate.scale for end in rate.porch]
    for start, end, volts in (
        (9.05 - max(0.0, -low), 9.55 - max(0.0, -low), front),
        (11.75, 12.95, tip),
        (14.7 + scaled[0] + max(0.0, -low), 14.7 + scaled[1] + max(0.0, -low), porch),
        (14.7 + scaled[0] - low, 14.7 + scaled[0] - 0.06, porch + 0.03),  # what the first guess is made with
    ):
        data[(t > start - 0.06) & (t < end + 0.06)] = volts
    above = np.interp(t, (8.9, 11.1, 13.6, 15.8), (height, 0.0, 0.0, height))
    return data, np.asarray(above, dtype=np.float64)


def candidate(
    monkeypatch: pytest.MonkeyPatch, rate: Rate, data: Array, above: Array, level: float, sign: int = 1
) -> Pulses | None:
    monkeypatch.setattr(slicer, "_sliced", lambda *_: (above, level))
    return slicer._candidate(data, 0.05e-6 * rate.scale, 0.02e-6, sign, rate)


@pytest.mark.parametrize("rate", [LOW, HIGH])
@pytest.mark.parametrize(("share", "low"), [(0.2, 0.66), (0.5, 0.0), (0.8, -0.66)])
def test_levels_are_read_beside_the_edges_wherever_they_were_sliced(
    monkeypatch: pytest.MonkeyPatch, rate: Rate, share: float, low: float
) -> None:
    """Sliced at a fifth of its height a smoothed pulse begins 0.3 x 2.2 us late; sliced high nothing is taken off."""
    found = candidate(monkeypatch, rate, *keyhole(rate, low), 0.3 * share)
    assert found is not None
    assert found.amplitude == pytest.approx(0.3, abs=1e-9)
    leads = np.arange(6) * 64 + 10
    assert_allclose(found.starts, leads * US * rate.scale + 0.02 * US, atol=1e-12)
    assert_allclose(found.widths, 4.7 * US * rate.scale, atol=1e-12)
    assert (found.sign, found.rate) == (1, rate)


def test_a_level_is_a_mean_over_its_whole_window(monkeypatch: pytest.MonkeyPatch) -> None:
    """One sample in the middle of the porch stands 0.19 V up: a 19th of it in 0.9 us, a 25th on the tip of 1.2 us."""
    for at, volts, expected in ((14.7 + 3.75, 0.19, 0.31), (12.35, 0.05, 0.298)):
        data, above = keyhole(LOW, 0.0)
        data[np.round((np.arange(6) * 64 + at) * 20).astype(int)] += volts
        found = candidate(monkeypatch, LOW, data, above, 0.15)
        assert found is not None
        assert found.amplitude == pytest.approx(expected, abs=0.0015)


@pytest.mark.parametrize(
    ("front", "found"), [(0.0, False), (0.01, True), (0.25, True), (0.49, True), (0.5, False), (1.0, False)]
)
def test_blanking_on_both_sides_of_sync_differs_by_less_than_half_of_it(
    monkeypatch: pytest.MonkeyPatch, front: float, found: bool
) -> None:
    data, above = keyhole(LOW, 0.0, front=front, porch=0.25, tip=-0.25)
    assert (candidate(monkeypatch, LOW, data, above, 0.25) is not None) == found


@pytest.mark.parametrize("tip", [0.0, 0.1])
def test_a_pulse_that_does_not_go_down_is_none(monkeypatch: pytest.MonkeyPatch, tip: float) -> None:
    data, _ = keyhole(LOW, 0.0, tip=tip)
    _, above = keyhole(LOW, 0.0)
    assert candidate(monkeypatch, LOW, data, above, 0.15) is None


@pytest.mark.parametrize("rate", [LOW, HIGH])
@pytest.mark.parametrize(
    ("before", "behind", "found"),
    [(2.02, 5.02, True), (1.98, 5.02, False), (2.02, 4.98, False), (3.5, 8.0, True)],
)
def test_three_pulses_must_stand_clear_of_either_end(
    monkeypatch: pytest.MonkeyPatch, rate: Rate, before: float, behind: float, found: bool
) -> None:
    """2 us before the first and 5 us behind the last, half of that at 31 kHz; samples of 10 ns."""
    last = before + 2 * 64 + 4.7
    t = np.arange(0.0, last + behind - 0.005, 0.01)
    lead = (t - before + 1.0) % 64 - 1.0
    edges = (-0.05, 0.05, 4.65, 4.75)
    volts = np.asarray(np.interp(lead, edges, (0.3, 0.0, 0.0, 0.3)), dtype=np.float64)
    monkeypatch.setattr(slicer, "_sliced", lambda *_: (volts, 0.15))
    assert (slicer._candidate(volts, 0.01e-6 * rate.scale, 0.0, 1, rate) is not None) == found


# Which candidate is taken --------------------------------------------------------------------------------------------

DYADIC = replace(LOW, periods=(2.0**-14, 2.0**-13), pairs=2, share=0.75)


def row(pairs: int, sign: int = 1, rate: Rate = LOW) -> Pulses:
    """Return pulses a line apart, one more than `pairs`."""
    starts = np.arange(pairs + 1) * 1.02 * rate.periods[0]
    return Pulses(starts, starts + 4 * US, sign, 0.3, rate)


@pytest.mark.parametrize(
    ("rate", "dt", "offset"),
    [
        (LOW, 0.25, 0.1),
        (HIGH, 0.1, 0.025),
    ],  # five and two samples of 0.05 us; the middle lies 2 and half a sample behind
)
def test_a_trace_is_looked_at_in_quarters_of_a_microsecond_either_way_up(
    monkeypatch: pytest.MonkeyPatch, rate: Rate, dt: float, offset: float
) -> None:
    asked = []
    monkeypatch.setattr(slicer, "_candidate", lambda data, *rest: asked.append((data, *rest)))
    assert slicer._at_rate(np.arange(4000.0), 0.05 * US, rate) is None
    (data, *upright), (turned, *inverted) = asked
    assert_allclose(data[:2], (2, 7) if rate is LOW else (0.5, 2.5))
    assert_allclose(turned, -data)
    assert upright == [pytest.approx(dt * US), pytest.approx(offset * US), 1, rate]
    assert inverted == [upright[0], upright[1], -1, rate]


def test_a_trace_shorter_than_three_lines_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three lines of 256 samples each."""
    monkeypatch.setattr(slicer, "_candidate", lambda *_: row(2))
    assert slicer._at_rate(np.zeros(768), 2.0**-22, DYADIC) is not None
    assert slicer._at_rate(np.zeros(767), 2.0**-22, DYADIC) is None


@pytest.mark.parametrize(
    ("upright", "inverted", "sign"),
    [(100, 103, 1), (100, 104, -1), (103, 100, 1), (None, 2, -1), (2, None, 1), (0, 2, -1), (None, None, None)],
)
def test_a_line_is_upright_unless_the_other_way_is_three_percent_better(
    monkeypatch: pytest.MonkeyPatch, upright: int | None, inverted: int | None, sign: int | None
) -> None:
    pairs = {1: upright, -1: inverted}

    def candidate(data: Array, dt: float, offset: float, sign: int, rate: Rate) -> Pulses | None:
        count = pairs[sign]
        return None if count is None else row(count, sign)

    monkeypatch.setattr(slicer, "_candidate", candidate)
    found = slicer._at_rate(np.zeros(4000), 0.05 * US, LOW)
    assert (None if found is None else found.sign) == sign


@pytest.mark.parametrize(
    ("lines", "pairs", "found"),
    [(102, 75, True), (102, 74, False), (103, 75, False), (103, 76, True), (3, 2, True), (3, 1, False)],
)
def test_lines_must_fill_their_share_of_all_but_two(
    monkeypatch: pytest.MonkeyPatch, lines: int, pairs: int, found: bool
) -> None:
    """Three quarters of 100 lines are 75, of 101 75.75; two pairs are the least."""
    monkeypatch.setattr(slicer, "_candidate", lambda *_: row(pairs))
    assert (slicer._at_rate(np.zeros(512 * lines), 2.0**-22, DYADIC) is not None) == found


def test_the_rate_whose_lines_fill_more_of_the_capture_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    """31 neighbours of 15 kHz outlast 61 of 31 kHz, and not 63; where only one rate is found it is that."""
    for low, high, name in ((31, 61, "15k"), (31, 63, "31k"), (0, 9, "31k"), (2, None, "15k"), (None, 9, "31k")):
        pairs = {"15k": low, "31k": high}

        def at_rate(volts: Array, step: float, rate: Rate, pairs: dict[str, int | None] = pairs) -> Pulses | None:
            count = pairs[rate.name]
            return None if count is None else row(count, rate=rate)

        monkeypatch.setattr(slicer, "_at_rate", at_rate)
        found = find_pulses(np.zeros(100), 0.05 * US)
        assert found is not None
        assert found.rate.name == name
    monkeypatch.setattr(slicer, "_at_rate", lambda *_: None)
    assert find_pulses(np.zeros(100), 0.05 * US) is None


@pytest.mark.parametrize("chroma", [0.0, 0.25])
def test_chroma_and_noise_are_smoothed_away(chroma: float) -> None:
    """Four samples a microsecond: chroma of 4.43 MHz comes back as 0.43 MHz at its full height."""
    volts = drawn(in_order(pulse(4.7, 0.0, -0.3, 0.2), L15), L15, rate=4.0, lines=30.3, noise=0.05)
    t = np.arange(len(volts)) / 4.0
    shown = (t + 0.37 * L15) % L15 > 10.5
    volts += chroma * shown * np.sin(2 * np.pi * 4.43361875 * t)
    found = find_pulses(volts, 0.25 * US)
    assert found is not None
    assert (found.rate.name, found.sign) == ("15k", 1)
    assert found.pairs() == 29


@pytest.mark.parametrize(("before", "behind", "found"), [(4, 11, False), (5, 11, True), (6, 10, False), (6, 11, True)])
def test_a_pulse_just_at_the_limit_does_not_stand_clear(
    monkeypatch: pytest.MonkeyPatch, before: int, behind: int, found: bool
) -> None:
    """Half a microsecond a sample: 2 us are four of them and 5 us ten, equal to the last bit at these places."""
    first = np.arange(3) * 128 + before
    volts = np.full(first[-1] + 9 + behind, 0.3)
    for at in first:
        volts[at : at + 10] = (0.15, *[0.0] * 8, 0.15)
    monkeypatch.setattr(slicer, "_sliced", lambda *_: (volts, 0.15))
    assert (slicer._candidate(volts, 5e-7, 0.0, 1, LOW) is not None) == found
