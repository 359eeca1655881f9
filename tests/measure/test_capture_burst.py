"""The colour burst of drawn scan lines: every number expected is worked out by hand."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import burst
from guardcheck.measure.capture.burst import (
    _best_frequency,
    _fit,
    _from_phase,
    _measure,
    _rough,
    _standing,
    _start,
    can_see,
    envelope_peak,
    find_burst,
)
from guardcheck.measure.capture.lines import Lines
from tests.measure.drawn import Array, Corners

US = 1e-6
F625, F525 = 4.43361875e6, 315e6 / 88


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def gate(start: float, end: float = 7.85) -> Corners:
    return ((start, 0.0), (start, 1.0), (end, 1.0), (end, 0.0))


TEN_CYCLES = gate(5.6)


def chroma(
    *parts: tuple[Corners, float, float],
    count: int = 8,
    step: float = 0.05,
    offset: float | None = None,
    period: float = 64.0,
    level: float = 0.3,
    swing: float = 0.0,
) -> Lines:
    """Return lines from 3 us before sync to 12 us behind it, of sinusoids that run on from line to line.

    Parameters
    ----------
    parts : corners of the envelope (time [us], share), amplitude [V], frequency [Hz]
    count : number of lines
    step : between samples [us]
    offset : of the first sample of every line behind 3 us before sync [us]; None spreads them over a sample
    period : of a line [us]
    level : what the burst stands on [V]
    swing : phase by which lines are early and late by turns

    """
    number = np.arange(count)
    starts = number * period * US
    spread = (number * 0.382 % 1.0) * step if offset is None else np.full(count, offset)
    offsets = (spread - 3.0) * US
    x = offsets[:, None] + np.arange(round(15 / step)) * step * US
    turned = np.where(number % 2 == 0, swing, -swing)[:, None]
    rows = np.full(x.shape, level)
    for corners, amplitude, f in parts:
        at, share = zip(*corners, strict=True)
        rows += (
            amplitude
            * np.interp(x / US, array(*at), array(*share))
            * np.cos(2 * np.pi * f * (x + starts[:, None]) + turned)
        )
    return Lines(rows, offsets, step * US, starts, number)


# What a sampling can show --------------------------------------------------------------------------------------------


def test_a_subcarrier_needs_two_samples_and_a_fifth_in_a_cycle() -> None:
    assert can_see(1.0, None)
    assert can_see(1 / (2.21 * F625), F625)
    assert not can_see(1 / (2.19 * F625), F625)
    assert can_see(1 / 2.2, 1.0)


# One sinusoid in every line ------------------------------------------------------------------------------------------


def test_a_sinusoid_a_line_is_fitted_with_its_phase_and_what_it_stands_on() -> None:
    """Twelve samples, four a cycle: power of 12 / 2 times the square of each amplitude, 2 and 1 V."""
    x = np.tile(np.arange(12.0), (2, 1))
    y = np.stack((5.0 + 2.0 * np.cos(0.5 * np.pi * x[0] + 0.7), -3.0 + np.cos(0.5 * np.pi * x[1] - 2.0)))
    phasors, power = _fit(x, y, 0.25)
    assert_allclose(phasors, (cmath.rect(2.0, 0.7), cmath.rect(1.0, -2.0)))
    assert power == pytest.approx((24 + 6) / 2)
    assert_allclose(
        _fit(x + 1.0, y, 0.25)[0], (cmath.rect(2.0, 0.7 - math.pi / 2), cmath.rect(1.0, -2.0 - math.pi / 2))
    )


@pytest.mark.parametrize(
    ("f", "expected"),
    [
        (4.0e6, 4.0e6),
        (4.009e6, 4.009e6),
        (3.985e6, 3.985e6),
        (3.845e6, 3.845e6),  # the second of the grid is nearest
        (4.155e6, 4.155e6),  # the last but one
        (3.75e6, 3.8e6),  # what lies outside is told by the end of the grid
        (4.25e6, 4.2e6),
    ],
)
def test_the_best_frequency_lies_between_those_of_the_grid(f: float, expected: float) -> None:
    one = chroma((((0, 1), (9, 1)), 0.1, f), count=4)
    part = one.columns((4.95 * US, 8.9 * US))
    x = one.offsets[:, None] + np.arange(part.start, part.stop) * one.step
    found = _best_frequency(x, one.rows[:, part], np.arange(3.8e6, 4.21e6, 40e3))
    assert found == pytest.approx(expected, abs=0 if f != expected else 500)


def test_the_first_search_goes_every_40_khz_to_just_below_half_the_sampling() -> None:
    """At 8.2 MHz to 0.49 of it, 4.018 MHz: the last above 3.2 MHz is 4 MHz, which is told for what lies beyond."""
    one = chroma((gate(3), 0.15, 4.05e6), count=8, step=1 / 8.2)
    assert _rough(one, (5.0 * US, 7.0 * US)) == pytest.approx(4e6, abs=1e-3)
    fine = chroma((gate(3), 0.15, 5.2e6), count=8)
    assert _rough(fine, (5.0 * US, 7.0 * US)) == pytest.approx(4.88e6, abs=1e-3)


# Where it stands -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heights", "least", "ends"),
    [
        ((0, 0.5, 1, 1, 0.5, 0), 0.5, (2, 3)),
        ((0, 0.5, 1, 0.5, 0.5, 0), 0.5, (2, 2)),
        ((1, 1, 1, 1, 0.5, 0), 0.5, (0, 3)),
        ((0, 0.94, 1, 0.92, 0.92, 0), 0.5, (1, 2)),
        ((0, 0.93, 1, 0.95, 0.93, 0), 0.5, (2, 3)),  # just 93 % is not full
        ((0, 1.86, 2, 1.87, 1.85, 0), 0.5, (2, 3)),
        ((0, 0.94, 1, 0.5, 0.94, 0), 0.5, (1, 4)),
        ((0.6, 1, 1, 1, 1, 1), 0.5, (1, 5)),  # just 60 % of the height stands out
        ((0.61, 1, 1, 1, 1, 1), 0.5, None),
        ((1.1, 2, 2, 2, 1.1, 1.1), 0.5, (1, 3)),
        ((0, 0, 0.5, 0, 0, 0), 0.5, (2, 2)),
        ((0, 0, 0.499, 0, 0, 0), 0.5, None),
    ],
)
def test_a_burst_stands_where_it_is_nearly_as_high_as_anywhere(
    heights: tuple[float, ...], least: float, ends: tuple[int, int] | None
) -> None:
    """Spans of 1.2 us: the window goes 0.3 of that beyond the middle of the outermost."""
    centres = np.arange(6.0) * US
    found = _standing(centres, array(*heights), least)
    assert found == (None if ends is None else pytest.approx(((ends[0] - 0.36) * US, (ends[1] + 0.36) * US)))


# How high, how fast, and how well that is known ----------------------------------------------------------------------


def quarters(*amplitudes: float, count: int = 16) -> Lines:
    """Return lines of 4 MHz in quarter cycles, `count` of them from sync on, a line an amplitude [V]."""
    x = np.arange(float(count)) * 62.5e-9
    n = len(amplitudes)
    rows = array(*amplitudes)[:, None] * np.cos(2 * np.pi * 4e6 * x)
    return Lines(rows, np.zeros(n), 62.5e-9, np.arange(n) * 64e-6, np.arange(n))


WHOLE = (0.0, 0.95 * US)


def test_noise_is_taken_off_the_height() -> None:
    """Sixteen samples: 0.25 V2 less 4 x 0.36 / 16 V2 are 0.4 V, twice that from peak to peak."""
    for noise, expected in ((0.0, 1.0), (0.6, 0.8), (0.8, 0.6)):
        found = _measure(quarters(0.5, 0.5, 0.5), WHOLE, 4e6, noise, 64 * US)
        assert found is not None
        assert found.amplitude == pytest.approx(expected, rel=1e-6)
    assert _measure(quarters(0.5, 0.5, 0.5), WHOLE, 4e6, 1.01, 64 * US) is None


def test_a_height_of_nothing_but_noise_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """A line of just 1 V whose noise of 2 V in sixteen samples shows just that."""
    monkeypatch.setattr(burst, "_fit", lambda x, y, f: (np.ones(len(x), dtype=np.complex128), 1.0))
    assert _measure(quarters(1.0), WHOLE, 4e6, 2.0, 64 * US) is None
    assert _measure(quarters(1.0), WHOLE, 4e6, 1.9, 64 * US) is not None


def test_six_samples_are_the_fewest() -> None:
    for end, found in ((5.5, True), (4.5, False)):
        one = quarters(0.5, 0.5)
        assert (_measure(one, (0.0, end * one.step), 4e6, 0.0, 64 * US) is not None) == found


def test_lines_without_a_burst_are_left_out() -> None:
    """Half of the middle height is not enough; the rest is the root of the mean square."""
    for last, expected in ((0.0, 1.0), (0.25, 1.0), (0.26, 2 * math.sqrt((4 * 0.25 + 0.26**2) / 5))):
        found = _measure(quarters(0.5, 0.5, 0.5, 0.5, last), WHOLE, 4e6, 0.0, 64 * US)
        assert found is not None
        assert found.amplitude == pytest.approx(expected, rel=1e-6)


def test_the_error_of_the_height_follows_from_its_spread() -> None:
    """0.4 and 0.6 V twice each, 0.1 V about their mean, known to half of that; twice from peak to peak."""
    found = _measure(quarters(0.4, 0.6, 0.0, 0.4, 0.6), WHOLE, 4e6, 0.0, 64 * US)
    assert found is not None
    assert found.amplitude_error == pytest.approx(2 * 0.1 / 2, rel=1e-6)


def test_the_error_of_the_frequency_of_a_line_is_that_of_least_squares() -> None:
    """The root of two times the bound of Cramer and Rao, sqrt(6) s / (pi A T sqrt(N)) (from memory, unverified).

    Sixteen samples in 1 us of each of three lines, and one that holds none: A is 0.5 V, s is 5 mV.
    """
    found = _measure(quarters(0.5, 0.5, 0.0, 0.5), WHOLE, 4e6, 0.005, 64 * US)
    assert found is not None
    assert not found.coherent
    assert found.frequency == pytest.approx(4e6, abs=10)
    assert found.frequency_error == pytest.approx(
        math.sqrt(2) * math.sqrt(6) * 0.005 / (math.pi * 0.5 * 1e-6 * math.sqrt(3 * 16)), rel=1e-3
    )


def test_a_burst_that_does_not_fill_its_window_tells_less_of_its_frequency() -> None:
    """Twelve of sixteen samples: 6 of the square of 0.5 V, of which the best fit, three quarters of it, has 4.5.

    What is left over stands for noise, of 13 degrees of freedom: the root of 1.5 / 13 of 0.5 V, 0.17 V.
    """
    one = quarters(0.5, 0.5, 0.5, 0.5)
    one.rows[:, 12:] = 0.0
    found = _measure(one, WHOLE, 4e6, 0.0, 64 * US)
    assert found is not None
    assert found.amplitude == pytest.approx(0.75, rel=0.01)
    left = 0.5 * math.sqrt(1.5 / 13)
    expected = math.sqrt(2) * math.sqrt(6) * left / (math.pi * 0.375 * 1e-6 * math.sqrt(4 * 16))
    assert found.frequency_error == pytest.approx(expected, rel=0.01)


def test_a_frequency_is_told_to_30_hz_at_best_where_lines_do_not_tell_more() -> None:
    found = _measure(quarters(0.5, 0.5, 0.5, 0.5), WHOLE, 4e6, 0.0, 64 * US)
    assert found is not None
    assert (found.coherent, found.frequency_error) == (False, 30.0)


@pytest.mark.parametrize(("rough", "expected"), [(4.06e6, 4.02e6), (3.94e6, 3.98e6), (4.03e6, 4e6), (3.97e6, 4e6)])
def test_the_frequency_is_looked_for_40_khz_about_the_rough_one(rough: float, expected: float) -> None:
    found = _measure(quarters(0.5, 0.5), WHOLE, rough, 0.0, 64 * US)
    assert found is not None
    assert found.frequency == pytest.approx(expected, abs=10)


@pytest.mark.parametrize(
    ("noise", "period", "coherent"),
    [
        (0.0028, 64 * US, True),
        (0.00287, 64 * US, False),
        (0.0, 1 / 361, True),
        (0.0, 1 / 360, False),  # a quarter of 360 Hz is just three times 30 Hz
    ],
)
def test_lines_tell_the_phase_where_a_quarter_of_a_turn_is_three_times_the_error(
    noise: float, period: float, coherent: bool
) -> None:
    """A quarter of 15.625 kHz is 3.906 kHz, a third of that 1.302 kHz: what 2.83 mV leave in nine lines of 0.2 V."""
    found = _measure(quarters(*[0.2] * 9), WHOLE, 4e6, noise, period)
    assert found is not None
    assert found.coherent == coherent


# The phase from line to line -----------------------------------------------------------------------------------------


def turning(*angles: float, numbers: tuple[int, ...] | None = None) -> tuple[float, float] | None:
    """Return what is made of lines whose burst is turned by an angle each, against 4 MHz that run on; 64 us a line."""
    number = np.arange(len(angles)) if numbers is None else np.array(numbers)
    starts = 1e-3 + number * 64e-6
    phasors = 0.15 * np.exp(1j * (array(*angles) + 2 * np.pi * 4e6 * starts))
    lines = Lines(np.zeros((len(angles), 1)), np.zeros(len(angles)), 1e-8, starts, number)
    return _from_phase(phasors, lines, 4e6, 64e-6)


def test_the_frequency_follows_from_the_turn_over_two_lines() -> None:
    """0.4 of a radian in 128 us are 497.4 Hz; every other line swung by 45 degrees changes nothing."""
    for swing in (0.0, math.pi / 2):
        found = turning(*(0.2 * i + (swing if i % 2 else 0.0) for i in range(8)))
        assert found is not None
        assert found[0] == pytest.approx(4e6 + 0.4 / (2 * math.pi * 128e-6), abs=1e-3)
        assert found[1] == pytest.approx(0.0, abs=1e-3)
    backwards = turning(*(-0.2 * i for i in range(8)))
    assert backwards is not None
    assert backwards[0] == pytest.approx(4e6 - 497.36, abs=0.01)


def test_four_pairs_of_lines_are_the_fewest() -> None:
    assert turning(*[0.0] * 5) is None
    assert turning(*[0.0] * 6) is not None
    assert turning(*[0.0] * 6, numbers=(0, 1, 2, 3, 5, 6)) is None  # 0 to 2, 1 to 3, 3 to 5
    found = turning(*(0.2 * i for i in (0, 1, 2, 3, 5, 6, 7)), numbers=(0, 1, 2, 3, 5, 6, 7))
    assert found is not None
    assert found[0] == pytest.approx(4e6 + 497.36, abs=0.01)


@pytest.mark.parametrize(("degrees", "told"), [(30, True), (36, True), (38, False)])
def test_the_error_of_a_phase_follows_from_how_it_scatters(degrees: float, told: bool) -> None:
    """Turns of so much either way by turns: their mean is cos of it long, told from 0.8 (36.87 degrees) on.

    A normal spread s of angles leaves exp(-s**2 / 2) of a mean of their directions (Mardia; from memory, unverified).
    """
    angle = math.radians(degrees)
    found = turning(0, 0, angle, -angle, 0, 0)  # turns of +, -, -, +
    assert (found is not None) == told
    if found is not None:
        assert found[0] == pytest.approx(4e6, abs=1e-3)
        spread = math.sqrt(2 * math.log(1 / math.cos(angle)))
        assert found[1] == pytest.approx(spread / math.sqrt(4) / (2 * math.pi * 128e-6), rel=1e-4)


def test_directions_four_fifths_alike_are_enough() -> None:
    """A 3-4-5 triangle: turns of 4 + 3i and 4 - 3i add up to 8 of 10."""
    number = np.arange(6)
    phasors = np.array([1, 1, 4 + 3j, 4 - 3j, (4 + 3j) * (4 - 3j), (4 - 3j) * (4 + 3j)])
    lines = Lines(np.zeros((6, 1)), np.zeros(6), 1e-8, np.zeros(6), number)
    assert _from_phase(phasors, lines, 4e6, 64e-6) is not None


# Where it begins -----------------------------------------------------------------------------------------------------


def began(
    *corners: tuple[float, float], f: float = 4e6, noise: float = 0.0, window: tuple[float, float] = (5.8, 7.6)
) -> tuple[float, float] | None:
    """Return where a burst of 0.5 V with this envelope begins: eight lines a sample of 50 ns apart, on 0.3 V.

    The lines' phases stand evenly round the circle, so that nothing is left at twice the frequency; samples stand
    10 ns behind each 50.
    """
    count = 8
    phases = 2 * np.pi * np.arange(count) / count
    offsets = np.full(count, -2.99e-6)
    x = offsets[:, None] + np.arange(300) * 50e-9
    at, share = zip(*corners, strict=True)
    height = np.interp(x / US, array(*at), array(*share))
    rows = 0.3 + 0.5 * height * np.cos(2 * np.pi * f * x + phases[:, None])
    lines = Lines(rows, offsets, 50e-9, np.arange(count) * 64e-6, np.arange(count))
    return _start(lines, 0.5 * np.exp(1j * phases), f, (window[0] * US, window[1] * US), np.full(count, 0.3), noise)


@pytest.mark.parametrize(
    ("corners", "expected"),
    [
        (gate(5.6), 5.585),  # the first sample at 5.61; five make a cycle, and half of them are met 25 ns before
        (gate(5.62), 5.635),
        (((5.62, 0), (5.62, 1), (5.74, 1), (5.74, 1.2), (5.78, 1.2), (5.78, 1), (8, 1)), 5.61 + 0.05 * 0.1 / 0.24),
        (((5.0, 0), (5.0, 1), (5.4, 1), (5.4, 0), (5.9, 0), (5.9, 1), (8, 1)), 5.885),  # the last time
        (gate(4.85), 4.835),
        (gate(4.8), None),  # above half from 4.8 us on
        (gate(7.0), None),  # nothing in the middle of the window
        (((5.2, 0), (5.2, 1), (6.2, 1), (6.2, 0), (7, 0), (7, 1), (8, 1)), None),
        (gate(6.62), 6.635),  # full just there
    ],
)
def test_a_burst_begins_where_its_average_over_a_cycle_passes_half(corners: Corners, expected: float | None) -> None:
    found = began(*corners)
    assert (found is None) == (expected is None)
    if found is not None and expected is not None:
        assert found[0] == pytest.approx(expected * US, abs=1e-12)


def test_four_bins_in_a_cycle_are_the_fewest_that_show_where_it_begins() -> None:
    """Bins of 50 ns: four are averaged where a cycle has 3.55 of them, three would be where it has 3.45."""
    found = began(*gate(5.6), f=1 / (3.55 * 50e-9))
    assert found is not None
    assert began(*gate(5.6), f=1 / (3.45 * 50e-9)) is None


def test_the_error_of_the_start_is_a_quarter_of_a_cycle_a_bin_and_the_noise_on_the_slope() -> None:
    """Rectangles of 62.5 ns either way and of a bin of 50 ns; noise of 0.5 V in eight lines of five samples.

    Twice the noise over the height, the root of 40 and the slope of one height a cycle of 250 ns: 79.06 ns.
    """
    for noise, third in ((0.0, 0.0), (0.5, 79.06)):
        found = began(*gate(5.6), noise=noise)
        assert found is not None
        expected = math.sqrt(62.5**2 / 3 + 50**2 / 12 + third**2)
        assert found[1] == pytest.approx(expected * 1e-9, rel=1e-3)


# The greatest chroma -------------------------------------------------------------------------------------------------


def rows_of(data: Array, step: float = 1.0) -> Lines:
    n = len(data)
    return Lines(data, np.zeros(n), step, np.arange(n) * 100.0, np.arange(n))


def test_the_greatest_chroma_is_the_rms_of_the_lines_without_their_noise() -> None:
    """Four samples a cycle, sixteen averaged; 1 V of amplitude is 2 V from peak to peak."""
    wave = np.tile(array(1, 0, -1, 0), 20)
    for lines, noise, expected in (
        ((wave,), 0.0, 2.0),
        ((wave, 0 * wave), 0.0, 2 / math.sqrt(2)),
        ((wave + 0.7, 3 * wave), 0.0, 2 * math.sqrt(5)),
        ((np.roll(wave, 1), wave), 0.0, 2.0),
        ((wave,), 1.6, 4 * math.sqrt(0.25 - 1.6**2 / 16)),
        ((wave,), 2.1, 0.0),
    ):
        assert envelope_peak(rows_of(np.stack(lines), 0.1), 2.5, noise) == pytest.approx(expected, abs=1e-9)


def test_chroma_is_averaged_over_four_cycles_and_the_ends_are_left_out() -> None:
    """A lone sample of 1 V of sixteen is 1 / 16; half of it where it stands at the very end of the average.

    The 16 columns at either end of 60 are left out: a sample at the ninth reaches the seventeenth by half.
    """
    for at, f, expected in (
        (30, 0.25, 4 / 16),
        (8, 0.25, 2 / 16),
        (7, 0.25, 0.0),
        (51, 0.25, 2 / 16),
        (52, 0.25, 0.0),
        (30, 0.27, 4 / 15),
        (30, 0.2, 4 / 20),
    ):
        row = np.zeros(60)
        row[at] = 1.0
        assert envelope_peak(rows_of(row[None, :]), f, 0.0) == pytest.approx(expected, abs=1e-12)
        assert envelope_peak(rows_of(row[None, :], 1e-7), f * 1e7, 0.0) == pytest.approx(expected, abs=1e-12)


def test_chroma_of_four_hundred_lines_is_enough() -> None:
    data = np.tile(array(1, 0, -1, 0), (402, 12))
    data[400:] = 100.0 * data[0]
    assert envelope_peak(rows_of(data), 0.25, 0.0) == pytest.approx(2.0)
    assert envelope_peak(rows_of(data[:401]), 0.25, 0.0) == pytest.approx(2.0)
    data[399] *= 100.0
    assert envelope_peak(rows_of(data), 0.25, 0.0) == pytest.approx(2 * math.sqrt((399 + 100.0**2) / 400))


# All of it together --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("swing", [0.0, math.pi / 4])
@pytest.mark.parametrize("f", [F625, F525])
def test_a_burst_of_ten_cycles(f: float, swing: float) -> None:
    """0.3 V from 5.6 to 7.85 us, told to a quarter of a cycle where it begins.

    A span of 1.2 us is full to 93 % from 84 ns before it holds nothing else to 84 ns behind: middles from 6.116 to
    7.334 us, of which those at 6.15 and 7.25 us are looked at.
    """
    found = find_burst(chroma((TEN_CYCLES, 0.15, f), count=12, swing=swing), 0.0, 64 * US)
    assert found is not None
    assert found.amplitude == pytest.approx(0.3, rel=1e-4)
    assert found.amplitude_error == pytest.approx(0.0, abs=1e-5)
    assert found.frequency == pytest.approx(f, abs=0.5)
    assert found.frequency_error == pytest.approx(0.0, abs=2.0)
    assert found.coherent
    assert found.window == pytest.approx(((6.15 - 0.36) * US, (7.25 + 0.36) * US), abs=1e-12)
    assert found.start is not None
    assert found.start[0] == pytest.approx(5.6 * US, abs=15e-9)
    assert found.start[1] == pytest.approx(math.hypot(0.25 / f / math.sqrt(3), 25e-9 / math.sqrt(12)), rel=0.01)


@pytest.mark.parametrize(
    ("start", "end", "window"),
    [
        (4.96, 7.2, (5.55 - 0.36, 6.65 + 0.36)),  # spans from 4.95 us on
        (6.6, 8.88, (7.15 - 0.36, 8.25 + 0.36)),  # to 8.9 us
    ],
)
def test_a_burst_is_looked_for_from_4_95_to_8_9_us(start: float, end: float, window: tuple[float, float]) -> None:
    found = find_burst(chroma((gate(start, end), 0.15, F625), count=12), 0.0, 64 * US)
    assert found is not None
    assert found.window == pytest.approx((window[0] * US, window[1] * US), abs=1e-12)


def test_what_is_no_burst() -> None:
    for amplitude, seen in ((0.0, False), (0.98e-3, False), (1.02e-3, True)):
        assert (find_burst(chroma((TEN_CYCLES, amplitude, F625)), 0.0, 64 * US) is not None) == seen
    everywhere = (((0, 1), (12, 1)), 0.15, F625)
    assert find_burst(chroma(everywhere), 0.0, 64 * US) is None


@pytest.mark.parametrize(("noise", "seen"), [(0.12, True), (0.125, False)])
def test_a_burst_is_twice_what_noise_alone_shows(noise: float, seen: bool) -> None:
    """0.1 V; 24 samples in 1.2 us: noise shows 2 / sqrt(24) of itself, 0.049 or 0.051 V."""
    assert (find_burst(chroma((TEN_CYCLES, 0.1, F625)), noise, 64 * US) is not None) == seen


def test_what_stands_beside_the_back_porch_is_not_looked_at() -> None:
    """The picture from 9.2 us on, and what the edge of sync leaves up to 4.7 us, ten times as high."""
    beside = [(0, 1), (4.7, 1), (4.7, 0), (9.2, 0), (9.2, 1), (12, 1)]
    found = find_burst(chroma((TEN_CYCLES, 0.15, F625), (beside, 1.5, F625)), 0.0, 64 * US)
    assert found is not None
    assert found.window == pytest.approx((5.79 * US, 7.61 * US), abs=1e-12)
    assert found.amplitude == pytest.approx(0.3, rel=1e-4)


def test_what_swings_faster_than_any_subcarrier_is_not_looked_at() -> None:
    faster = (TEN_CYCLES, 0.3, 5.8e6)
    found = find_burst(chroma((TEN_CYCLES, 0.15, F625), faster, count=12), 0.0, 64 * US)
    assert found is not None
    assert found.frequency == pytest.approx(F625, abs=40e3)


def test_a_coarse_sampling_is_not_searched_beyond_what_it_can_tell() -> None:
    """At 8.34 MHz, 3.58 MHz looks like 4.76 MHz: of a search every 40 kHz from 3.2 MHz that one is met, 3.58 not."""
    found = find_burst(chroma((TEN_CYCLES, 0.15, 3.58e6), step=1 / 8.34, count=12), 0.0, 64 * US)
    assert found is not None
    assert found.frequency == pytest.approx(3.58e6, abs=5.0)


@pytest.mark.parametrize(
    ("off", "count", "step", "start"),
    [
        (24e3, 8, 0.102, 5.6),  # sampled hardly finer than twice a cycle: the porch as a whole shows 60 kHz too much
        (32e3, 30, 0.102, 5.6),
        (40e3, 30, 0.102, 5.9),
        (24e3, 6, 0.1, 5.3),  # spans that reach beyond the burst look full
        (56e3, 6, 0.102, 5.3),
    ],
)
def test_the_phase_is_not_counted_from_a_frequency_that_may_be_half_a_turn_off(
    off: float, count: int, step: float, start: float
) -> None:
    """Half the line rate, 7.8 kHz, is a whole turn over two lines: from there every count comes out alike."""
    f = F625 + off
    found = find_burst(chroma((gate(start, start + 2.255), 0.15, f), count=count, step=step), 0.0, 64 * US)
    assert found is not None
    assert abs(found.frequency - f) < 3 * found.frequency_error + 1
    assert found.amplitude == pytest.approx(0.3, rel=0.02)


def test_four_hundred_lines_are_the_most_and_forty_show_where_it_stands() -> None:
    """A wild line of another frequency all along: the 401st changes nothing, the 41st not where the burst stands."""
    one = chroma((TEN_CYCLES, 0.15, F625), count=401, step=0.1)
    clean = find_burst(one.pick(one.number < 400), 0.0, 64 * US)
    wild = chroma((((0, 1), (12, 1)), 150.0, 3.5e6), count=401, step=0.1).rows
    assert clean is not None
    one.rows[400] = wild[400]
    assert find_burst(one, 0.0, 64 * US) == clean
    one.rows[40] = wild[40]
    found = find_burst(one, 0.0, 64 * US)
    assert found is not None
    assert found.window == clean.window
    one.rows[39] = wild[39]
    found = find_burst(one, 0.0, 64 * US)
    assert found is None or found.window != clean.window
