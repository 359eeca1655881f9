"""Traces into numbers, by hand: every expected value here was worked out on paper from the definition beside it.

Return loss, -3 dB corner and trapezoid rule are textbook definitions; the tables leave no operator, constant or
comparison of these functions without a number that follows it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from guardcheck.measure import (
    PinWaves,
    Stress,
    as_held,
    at_rest,
    charges,
    clip_bracket,
    decibels,
    dissipation,
    duties,
    heat,
    holds,
    level_rows,
    magnitude_db,
    mean_current,
    mismatch_rows,
    newton_step,
    overshoot,
    peak,
    relative_change,
    return_loss,
    rise_time,
    stress_of,
    summarise,
    tilt,
    time_outside,
    upper_corner,
    width_over,
    worst_bend,
    worst_impedance,
    worst_of,
)
from guardcheck.measure.levels import RESIDUE
from guardcheck.measure.quality import DEAD


def test_levels_are_differences_to_blanking() -> None:
    rows = level_rows(("white", "black", "blank", "sync"), np.array([[1.7, 1.05, 1.0, 0.7], [1.9, 1.0, 1.1, 0.8]]))
    assert rows["level.white"] == pytest.approx([0.7, 0.8])
    assert rows["level.black"] == pytest.approx([0.05, -0.1])
    assert rows["level.blank"] == pytest.approx([1.0, 1.1])
    assert rows["level.sync"] == pytest.approx([0.3, 0.3])
    assert rows["level.pp"] == pytest.approx([1.0, 1.1])
    assert rows["level.high"] == pytest.approx([1.7, 1.9])
    assert rows["level.low"] == pytest.approx([0.7, 0.8])
    assert not {"level.white", "level.black", "level.sync"} & set(level_rows(("blank",), np.array([[2.0]])))


def test_the_impedance_farthest_from_nominal_counts_and_an_unsolved_one_counts_most() -> None:
    rows = np.array([[70.0, 78.0], [80.1, 70.0], [math.nan, 75.0]])
    assert worst_impedance(rows, 75.0)[:2] == pytest.approx([70.0, 80.1])
    assert math.isnan(worst_impedance(rows, 75.0)[2])


def test_relative_change_and_decibels() -> None:
    assert relative_change(np.array([0.9, 1.2]), np.array([1.0, 1.0])) == pytest.approx([-0.1, 0.2])
    assert math.isnan(relative_change(np.array([1.0]), np.array([0.0]))[0])
    assert decibels(10.0) == pytest.approx(20.0)
    assert decibels(100.0) == pytest.approx(40.0)
    assert magnitude_db(np.array([0.1 + 0j, 3j, 0j])) == pytest.approx([-20.0, 9.542425, -200.0])
    assert mismatch_rows([np.array([0.7]), np.array([-1.4]), np.array([1.0])]) == pytest.approx([6.0206], abs=1e-4)


def test_corners_make_the_spread_and_samples_are_kept() -> None:
    one = summarise(
        "level.white",
        np.array([0.7, 0.6, 0.65, 0.71, 0.72]),
        line="red",
        guarded=True,
        corners=slice(1, 3),
        samples=slice(3, 5),
    )
    assert (one.value, one.spread) == (0.7, (0.6, 0.7))  # the nominal itself belongs to the spread
    assert one.samples is not None
    assert list(one.samples) == [0.71, 0.72]
    high = summarise(
        "level.white", np.array([0.7, 0.8]), line="red", guarded=None, corners=slice(1, 2), samples=slice(2, 2)
    )
    assert high.spread == (0.7, 0.8)
    assert high.samples is None


def test_one_at_a_time_corners_add_up_in_each_direction() -> None:
    one = summarise(
        "level.white",
        np.array([1.0, 0.9, 1.1, 0.95, 0.98, 1.03, 1.2]),
        line="red",
        guarded=False,
        corners=slice(1, 7),
        samples=slice(7, 7),
        summed=True,
    )
    # pairs (0.9, 1.1), (0.95, 0.98), (1.03, 1.2): up 0.1 + 0 + 0.2, down 0.1 + 0.05 + 0
    assert one.spread == pytest.approx((0.85, 1.3))


def test_what_a_solver_leaves_is_zero_and_no_value_is_a_failure() -> None:
    kept = {"line": "red", "guarded": False, "corners": slice(1, 1), "samples": slice(1, 1)}
    assert summarise("level.black", np.array([0.9 * RESIDUE]), **kept).value == 0.0  # type: ignore[arg-type]
    assert summarise("level.black", np.array([RESIDUE]), **kept).value == RESIDUE  # type: ignore[arg-type]
    none = summarise("level.black", np.array([math.nan]), **kept)  # type: ignore[arg-type]
    assert none.value is None
    assert none.failure == "the simulation of the nominal circuit gave no value"
    told = summarise("level.black", np.array([math.nan]), failure="it timed out", **kept)  # type: ignore[arg-type]
    assert told.failure == "it timed out"
    assert summarise("level.black", np.array([0.1]), **kept).failure is None  # type: ignore[arg-type]


def test_duties_share_the_line_and_blanking_takes_what_is_left() -> None:
    share = {"picture_level": 0.25, "blanking": 0.2, "sync": 0.075}
    # active 0.8: white a quarter of it, black the rest; blanking 0.2 less sync
    assert duties(("white", "black", "blank", "sync"), **share) == pytest.approx([0.2, 0.6, 0.125, 0.075])
    assert duties(("white", "blank"), **share) == pytest.approx([0.2, 0.8])
    assert duties(("white", "strobe", "blank"), **share) == pytest.approx([0.2, 0.0, 0.8])


def test_mean_current_and_newton_step() -> None:
    currents = np.array([[[1e-3, 0.0], [-1e-3, 4e-3]]])
    assert mean_current(currents, np.array([0.25, 0.75])) == pytest.approx(np.array([[-0.5e-3, 3e-3]]))
    step = newton_step(np.array([[1.0]]), np.array([[0.3]]), np.array([[[-0.2]]]))
    assert step == pytest.approx(np.array([[2.5]]))  # 1 + 0.3 / 0.2
    far = newton_step(np.array([[1.0, 1.0]]), np.array([[3.0, -3.0]]), np.array([[[0.2, 0.0], [0.0, 0.2]]]))
    assert far == pytest.approx(np.array([[-1.0, 3.0]]))  # limited to 2 V a step, each its own way
    idle = newton_step(np.array([[1.0]]), np.array([[0.3]]), np.array([[[0.0]]]))
    assert idle == pytest.approx(np.array([[1.0]]))
    assert as_held(("ca", "cb"), np.array([[1.0, 2.0]]))["cb"] == pytest.approx([2.0])


@pytest.mark.parametrize(
    ("ohms", "expected"), [(75.0, 60.0), (50.0, 13.979), (91.7, 19.99), (0.0, 0.0), (75 + 75j, 6.9897)]
)
def test_return_loss(ohms: complex, expected: float) -> None:
    """-20 log10 |(Z - Z0)/(Z + Z0)|: 50 against 75 ohm 14.0 dB, a short 0 dB (any transmission line handbook)."""
    assert return_loss(np.array([ohms], complex), 75.0)[0] == pytest.approx(expected, abs=0.01)


def test_an_impedance_nobody_found_has_no_return_loss() -> None:
    assert np.isnan(return_loss(np.array([np.nan + 0j]), 75.0)).all()


def test_corner_of_a_first_order_low_pass_is_its_time_constant() -> None:
    frequency = np.logspace(4, 9, 501)
    response = np.array([0.5 / (1 + 1j * frequency / 7e6), 0.5 / (1 + 1j * frequency / 1e12)])
    corner, reached = upper_corner(frequency, response, reference=1e5)
    assert corner[0] == pytest.approx(7e6, rel=2e-4)
    assert list(reached) == [True, False]
    assert corner[1] == frequency[-1]


def test_a_dip_below_the_reference_is_no_upper_corner() -> None:
    frequency = np.array([1e3, 1e4, 1e5, 1e6, 1e7])
    corner, reached = upper_corner(frequency, np.array([[0.1, 0.5, 1.0, 1.0, 0.01]], complex), reference=1e5)
    # from 0 dB at 1 MHz to -40 dB at 10 MHz the level passes -3.0103 dB after 3.0103/40 of the decade
    assert corner[0] == pytest.approx(10 ** (6 + 3.0103 / 40), rel=1e-5)
    assert reached[0]


def test_tilt_of_a_sagging_square_wave() -> None:
    # halves of 1 V steps that sag by 8 % of the step over the whole half, read from 10 to 90 % of the half
    sag, share = 0.08, 0.8
    windows = []
    for half in range(4):
        top = 1.0 if half % 2 == 0 else 0.0
        way = 1.0 if half % 2 == 0 else -1.0
        windows += [top - way * 0.1 * sag, top - way * 0.9 * sag]
    found, moving = tilt(np.array([windows]), share=share)
    # the step that began a half runs from the sagged end of the other: 1 - 0.08
    assert found[0] == pytest.approx(0.08 / 0.92)
    assert moving[0] == pytest.approx(0.0, abs=1e-12)


def test_tilt_takes_the_larger_half_and_says_how_much_it_still_moves() -> None:
    # start and end windows of four halves, read at their very ends (share 1): heights and sags read off directly
    windows = np.array([[0.0, 0.0, 1.0, 0.9, 0.0, 0.2, 1.0, 0.7]])
    found, moving = tilt(windows, share=1.0)
    # halves 1 to 3: (1.0-0.9)/(1.0-0.0)=0.1; (0.0-0.2)/(0.0-0.9)=0.2222; (1.0-0.7)/(1.0-0.2)=0.375
    assert found[0] == pytest.approx(0.375)
    assert moving[0] == pytest.approx(0.275)
    found, _ = tilt(np.array([[0.0, 0.0, 1.0, 0.9, 0.0, 0.5, 1.0, 0.9]]), share=1.0)
    assert found[0] == pytest.approx(-0.5 / -0.9)


def test_overshoot_is_counted_from_the_level_it_settles_at() -> None:
    time = np.linspace(0.0, 1.0, 11)
    rising = np.array([0.2, 1.3, 1.1, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    assert overshoot(time, rising) == pytest.approx(0.3 / 0.8)
    assert overshoot(time, -rising) == pytest.approx(0.3 / 0.8)
    assert overshoot(time, np.minimum(rising, 1.0)) == 0.0
    late = rising.copy()
    late[9:] = 1.1  # the last fifth alone says where it settles
    assert overshoot(time, late) == pytest.approx(0.2 / 0.9)
    assert math.isnan(overshoot(time, np.full(11, 0.7)))


def test_dissipation_is_the_sum_over_terminals_against_the_last() -> None:
    volts = [np.array([5.0]), np.array([1.7]), np.array([1.0])]
    amps = [np.array([10e-3]), np.array([0.1e-3])]
    # 4 V x 10 mA + 0.7 V x 0.1 mA
    assert dissipation(volts, amps) == pytest.approx([40.07e-3])
    with pytest.raises(ValueError, match="zip"):
        dissipation(volts, amps[:1])  # a current left out is no power of nothing


def waves(volts: list[float], amps: list[float], rail: float = 5.0) -> PinWaves:
    n = len(volts)
    into = np.array(amps)
    return PinWaves(
        np.arange(n) * 1e-6,
        np.array(volts),
        np.full(n, rail),
        into,
        ((np.maximum(into, 0.0), np.full(n, rail)), (np.maximum(-into, 0.0), np.zeros(n))),
    )


def test_stress_by_the_trapezoid_rule() -> None:
    found = stress_of(waves([0.0, 6.0, 6.0, 2.0], [0.0, 30e-3, 10e-3, 0.0]))
    assert (found.over, found.under, found.rail) == (1.0, 0.0, 5.0)
    assert (found.injected, found.current) == (30e-3, 30e-3)
    assert found.delivered == pytest.approx(26.5e-3)  # interpolated where the pin passes 5.3 V: 30 mA x 5.3 / 6
    assert found.delivered_charge == pytest.approx(0.0, abs=1e-12)  # nothing flows while the pin is inside its rails
    assert found.diode_current == 30e-3
    assert found.diode_charge == pytest.approx(40e-9)
    assert found.power == pytest.approx(30e-3)  # 1 V and 30 mA
    assert found.charge == pytest.approx(40e-9)  # 15 + 20 + 5 nC
    assert found.energy == pytest.approx(40e-9)  # 1 V across the upper diode while 30 and 10 mA flow
    low = stress_of(waves([0.0, -1.0, -0.2, 0.0], [0.0, -20e-3, -4e-3, 0.0]))
    assert (low.over, low.under, low.injected) == (0.0, 1.0, 20e-3)
    assert low.delivered == pytest.approx(6e-3)  # interpolated where the pin passes -0.3 V: 4 + (20 - 4)/8 mA
    assert low.energy == pytest.approx(0.5 * (20e-9 + 20.8e-9 + 0.8e-9))


def test_a_steady_current_is_no_charge_of_the_event() -> None:
    assert stress_of(waves([2.0, 2.0, 2.0], [1e-3, 5e-3, 1e-3])).charge == pytest.approx(4e-9)
    assert stress_of(waves([], [])).charge == 0.0
    assert stress_of(waves([1.0], [1e-3])).charge == 0.0


def test_the_width_of_a_pulse_is_that_of_its_power_above_half_its_peak() -> None:
    """1 V across the upper diode: 30 mW peak, so 15 mW are not above half; two whole steps of 1 us are."""
    found = stress_of(waves([6.0] * 6, [0.0, 15e-3, 30e-3, 30e-3, 16e-3, 0.0]))
    assert found.width == pytest.approx(3e-6)
    assert stress_of(waves([6.0] * 5, [0.0, 15e-3, 30e-3, 15e-3, 0.0])).width == pytest.approx(1e-6)
    assert stress_of(waves([2.0, 2.0], [1e-3, 0.0])).charge == pytest.approx(0.5e-9)


def test_current_between_the_rails_is_delivered_and_out_of_them_forced() -> None:
    found = stress_of(waves([1.0, 1.0, -0.31], [-8e-3, -6e-3, -2e-3]))
    assert found.injected == 2e-3
    assert found.delivered == 8e-3
    taken = stress_of(waves([1.0, 1.0], [3e-3, 0.0]))
    assert (taken.injected, taken.delivered) == (0.0, 3e-3)  # what flows in between the rails is the driver's as well
    assert stress_of(waves([5.31, 5.31], [3e-3, 0.0])).injected == 3e-3
    assert stress_of(waves([-0.3, -0.3], [-3e-3, 0.0])).injected == 0.0
    for edge in (4.8, 5.2, 5.3):  # up to 0.3 V beyond the rail the driver may still carry it
        assert stress_of(waves([edge, edge], [3e-3, 0.0])).injected == 0.0
    assert Stress(0, 0, 1e-3, 4e-3, 0, 0, 0).current == 4e-3
    assert Stress(1, 1, 1, 1, 1, 1, 1) == Stress(1, 1, 1, 1, 1, 1, 1, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def test_time_outside_counts_what_is_passed_and_nothing_at_the_rating() -> None:
    seen = waves([5.0, 6.0, 6.0, 6.0, 5.0], [0.0, 30e-3, 30e-3, 20e-3, 0.0])
    assert time_outside(seen, over=0.5, under=0.5, current=1.0) == pytest.approx(3e-6)
    assert time_outside(seen, over=1.0, under=0.5, current=1.0) == 0.0
    assert time_outside(seen, over=9.0, under=0.5, current=20e-3) == pytest.approx(2e-6)
    below = waves([0.0, -1.0, -1.0, 0.0], [0.0, 0.0, 0.0, 0.0])
    assert time_outside(below, over=9.0, under=0.5, current=1.0) == pytest.approx(2e-6)
    assert time_outside(below, over=9.0, under=1.0, current=1.0) == 0.0


def test_small_helpers_of_stress() -> None:
    assert peak(np.array([1.0, -3.0, 2.0])) == -3.0
    assert peak(np.array([])) == 0.0
    ramp = np.array([0.0, 1.0, 2.0, 3.0, 4.0, 2.0])
    assert rise_time(np.arange(6) * 1e-9, -ramp) == pytest.approx(3.2e-9)
    # 4 V into 8 ohm is 2 W, 2 V half a watt; 0, 2, 0.5 W at 1 us steps is 2.25 uJ
    assert heat(np.array([0.0, 4.0, 2.0]), 8.0, np.array([0.0, 1e-6, 2e-6])) == pytest.approx((0.5, 2.25e-6))
    assert width_over(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, -3.0, 3.0, 2.0]), 2.0) == pytest.approx(2.0)
    assert holds(1.0, 0.9901, 0.0)
    assert holds(100.0, 99.0, 0.0)
    assert not holds(1.0, 0.9899, 0.0)
    assert holds(1e-3, 1.99e-3, 0.1)
    assert not holds(1e-3, 2.01e-3, 0.1)
    assert not holds(-1.0, 1.0, 0.0)
    assert worst_of([Stress(1, 5, 1, 4, 2, 3, 1), Stress(2, 3, 6, 1, 1, 4, 9)]) == Stress(2, 5, 6, 4, 2, 4, 9)


def test_the_same_waves_up_to_a_time_and_where_asked() -> None:
    seen = waves([0.0, 1.0, 2.0, 3.0], [1e-3, 2e-3, 3e-3, 4e-3])
    assert list(seen.until(2e-6).volts) == [0.0, 1.0, 2.0]
    assert list(seen.over) == [-5.0, -4.0, -3.0, -2.0]
    kept = seen.where(seen.volts > 1.5)
    assert list(kept.diodes[0][0]) == [3e-3, 4e-3]


@pytest.mark.parametrize(
    ("first", "middle", "last", "rest"),
    [
        (1.0, 1.5, 1.75, 2.0),  # halves each time: 1.75 + 0.25^2 / (0.5 - 0.25)
        (2.0, 1.5, 1.25, 1.0),
        (1.0, 2.0, 2.97, 2.97 + 0.97**2 / 0.03),
        (1.0, 2.0, 2.985, 2.985),  # decays too little to tell where to
        (1.0, 2.0, 3.2, 3.2),  # runs away
        (1.0, 2.0, 1.5, 1.5),  # turns back
        (1.0, 1.0, 2.0, 2.0),
        (1.0, 11.0, 16.0, 21.0),  # by the ratio of the steps, whatever their size
    ],
)
def test_where_a_decay_comes_to_rest(first: float, middle: float, last: float, rest: float) -> None:
    time = np.array([0.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0])
    assert at_rest(time, np.array([0.0, 9.0, first, 9.0, middle, 9.0, last])) == pytest.approx(rest)


def test_a_current_that_only_charges_keeps_one_ratio_of_charge_to_voltage() -> None:
    time = np.array([0.0, 2.0, 4.0, 6.0, 8.0, 10.0])
    ramp = np.arange(6) * 1e-3  # flows 0, 1, 4, 9, 16, 25 mC: 7 and 9 mC in the last fifths
    assert charges(time, ramp, np.array([5.0, 4.0, 3.0, 0.0, 0.7, 1.6]))
    assert not charges(time, ramp, np.array([0.0, 0.0, 0.0, 0.0, 0.7, 1.4]))
    even = np.full(6, 1e-3)  # 2 mC each fifth
    for second, same in ((0.2 / 1.015, True), (0.2 / 1.025, False), (0.2 * 1.015, True), (0.2 * 1.025, False)):
        assert charges(time, even, np.array([0.0, 0.0, 0.0, 0.0, 0.2, 0.2 + second])) == same
    assert charges(time, even, 6e-4 * time)  # 1.2 mV in a fifth still charges
    assert charges(time, even, np.array([0.0, 0.0, 0.0, 0.0, 1e-3, 2e-3]))  # 1 mV is enough
    assert not charges(time, even, 4e-4 * time)  # 0.8 mV does not: the current lasts


def test_a_signal_clips_where_half_its_gain_is_lost() -> None:
    emf = np.tile([0.0, 0.1, 0.2, 0.3], (5, 1))
    gain = np.array(
        [[1.0, 0.9, 0.5, 0.4], [1.0, math.nan, 1.0, 1.0], [2.0, 1.0, 0.9, 0.9], [0.2, 1.0, 1.0, 1.0], [1.0] * 4]
    )
    found = clip_bracket(emf, gain, np.array([1.0, 1.0, 2.0, 1.0, 1.0]))
    assert found[:4] == pytest.approx(np.array([[0.2, 0.3], [0.0, 0.1], [0.1, 0.2], [0.0, 0.0]]))
    assert np.isnan(found[4]).all()


def test_the_worst_bend_is_told_against_blanking() -> None:
    bare = np.array([[1.0, 1.0, 1.0], [1.0, 0.0, 1.0], [1.0, 2e-9, 1.0], [2.0, 2.0, 2.0]])
    guarded = np.array([[0.9, 0.9, 0.45], [1.0, 1.0, 0.8], [1.0, 1e-9, 0.8], [1.0, 1.3, 0.8]])
    worst, column = worst_bend(bare, guarded)
    # 0.45/0.9; a point without gain left out: 0.8; half left of a faint gain; 1.3/1 and 0.8/1
    assert worst == pytest.approx([0.5, 0.2, 0.5, 0.3])
    assert list(column) == [2, 2, 1, 1]
    open_, _ = worst_bend(
        np.array([[1.0, math.nan], [1.0, 1.0], [1.0, 0.0]]), np.array([[1, 1], [1, math.nan], [1, 1]])
    )
    assert np.isnan(open_).all()
    assert worst_bend(np.array([[1.0, 1.0]]), np.array([[0.5, 0.5]]))[0] == pytest.approx([0.0])


def test_a_corner_right_after_the_reference() -> None:
    frequency = np.array([1e4, 1e5, 1e6, 1e7])
    corner, reached = upper_corner(frequency, np.array([[1.0, 2.0, 0.2, 0.02]], complex), reference=1e5)
    assert corner[0] == pytest.approx(10 ** (5 + 3.0103 / 20), rel=1e-5)  # -20 dB in the decade above the reference
    assert reached[0]


def test_the_faintest_slope_a_capacitor_is_moved_by() -> None:
    """Slopes below a thousand-millionth of the steepest are noise: such a capacitor stays where it is."""
    for slope, moved in ((1.2e-9, 1.0), (0.8e-9, 0.0)):
        jacobian = np.array([[[1.0, 0.0], [0.0, slope]]])
        found = newton_step(np.zeros((1, 2)), np.array([[0.0, -slope]]), jacobian)
        assert found[0] == pytest.approx([0.0, moved], abs=1e-9)


def test_overshoot_of_a_step_that_does_not_start_at_zero_time() -> None:
    """0 to 1 V with a peak of 1.2 V: 20 %; final is the mean of the last fifth."""
    volts = np.array([0.0, 1.2, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0])
    assert overshoot(np.linspace(10.0, 11.0, 11), volts) == pytest.approx(0.2)


def test_tilt_is_carried_from_the_windows_to_the_edges() -> None:
    """Halves from a to b in straight lines, read at 10 and 90 %: tilt (a - b) / step, 0.2 / 1.75 and 0.18 / 1.8."""
    ends = ((1.0, 0.9), (-0.9, -0.75), (1.0, 0.8), (-1.0, -0.82))
    windows = np.array([[a + at * (b - a) for a, b in ends for at in (0.1, 0.9)]])
    larger, change = tilt(windows, share=0.8)
    assert larger == pytest.approx([0.2 / 1.75])
    assert change == pytest.approx([0.18 / 1.8 - 0.15 / 1.8])


def test_the_ends_of_a_step_and_what_is_no_step() -> None:
    """Final is the mean of what lies after 0.8 of the span, the point at 0.8 left out; the step begins at the first."""
    time = np.linspace(0.0, 5.0, 6)
    # after 4.0 only 5.0 is left: final 1.0, first 0.2, peak 1.4
    assert overshoot(time, np.array([0.2, 1.4, 1.4, 1.4, 1.3, 1.0])) == pytest.approx(0.4 / 0.8)
    # the span counts from where it begins: of 2 to 12 what lies after 10 is left, 0.9 and 1.1
    late = np.array([0.2, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.8, 0.9, 1.1])
    assert overshoot(np.linspace(2.0, 12.0, 11), late) == pytest.approx(0.8 / 0.8)
    assert overshoot(time, np.array([0.0, 1.2e-9, 0.0, 0.0, 0.0, 1.2e-9])) == pytest.approx(
        0.0
    )  # a step, if a small one
    assert math.isnan(overshoot(time, np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.8e-9])))


def test_the_edges_of_a_corner() -> None:
    """3.0103 dB below the reference is still inside; the reference itself is no upper corner."""
    frequency = np.array([1e5, 1e6, 1e7])
    at = math.sqrt(0.5)
    corner, reached = upper_corner(frequency, np.array([[1.0, at, 0.01]], complex), reference=1e5)
    assert reached.tolist() == [True]
    assert corner[0] == pytest.approx(1e6, rel=1e-6)
    # -240 dB is the floor: a dead band falls through it from 0 dB within one decade, 3.0103/240 of the way
    dead, _ = upper_corner(np.array([1e5, 1e6]), np.array([[1.0, 0.0]], complex), reference=1e5)
    assert dead[0] == pytest.approx(10.0 ** (5.0 + 10.0 * math.log10(2.0) / 240.0), rel=1e-9)


def test_a_gain_of_exactly_nothing_is_left_out() -> None:
    bare = np.array([[1.0, DEAD, 1.0]])
    worst, column = worst_bend(bare, np.array([[1.0, 5.0 * DEAD, 1.1]]))
    assert (worst[0], column[0]) == (pytest.approx(0.1), 2)
    alive, at = worst_bend(np.array([[1.0, 2.0 * DEAD, 1.0]]), np.array([[1.0, 10.0 * DEAD, 1.1]]))
    assert (alive[0], at[0]) == (pytest.approx(4.0), 1)
