"""The parts a capture is analysed with, each on a handful of samples: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture.clipping import _CUT, _MAY_BE, Screen, cut_off, fills_converter
from guardcheck.measure.capture.field import _droop, over_field
from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.systems import nearest_system, plainest_system, rates, systems
from tests.measure.drawn import Array

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


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
