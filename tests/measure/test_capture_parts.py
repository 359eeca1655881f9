"""The parts a capture is analysed with, each on a handful of samples: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture.field import _droop, over_field
from guardcheck.measure.capture.lines import Lines
from guardcheck.measure.capture.systems import rates
from tests.measure.drawn import Array

LOW, HIGH = rates()
US = 1e-6


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


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
