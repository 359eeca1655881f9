"""What happens from line to line of a capture, droop and hum: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.measure.capture import field
from guardcheck.measure.capture.field import OverField, _droop, over_field
from guardcheck.measure.capture.lines import Lines
from tests.measure.drawn import Array


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


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
) -> OverField:
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
    assert found.tilt == pytest.approx(math.tanh(0.05), rel=1e-6)
    assert found.tilt_error == pytest.approx(0.0, abs=1e-9)
    assert found.hum == pytest.approx(0.0, abs=1e-9)
    assert found.hum_error == pytest.approx(2 * 0.003 / 3)
    assert found.whole
    direct = seen(blank, coupled=False)
    assert direct.hum == pytest.approx(5.0 * (count - 1 - 4) * 64e-6, rel=2e-3)
    assert not seen(blank, coupled=True).whole


def test_a_tilt_needs_two_fields_and_hum_a_mains_period() -> None:
    for count, told in ((600, True), (594, True), (593, False)):  # 1.9 fields of 20 ms are 593.75 lines of 64 us
        found = seen(np.zeros(count), count=count)
        assert (found.tilt is not None) == told
    for count, whole in ((313, True), (312, False)):
        assert seen(np.zeros(count), count=count).whole == whole
    one = seen(np.zeros(600), fields=array(0.001))
    assert one.tilt is None
    assert "two whole fields" in str(one.tilt_failure)
    for count, words in ((660, "no field sync was seen"), (659, "two whole fields")):  # 1.9 / 45 s are 659.7 lines
        assert words in str(seen(np.zeros(count), count=count, fields=array(0.001)).tilt_failure)
    assert "this one is 38.4 ms long" in str(one.tilt_failure)


def test_a_capture_of_just_the_least_length_is_long_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    """Powers of two, so that nothing is rounded: 256 lines of 2**-13 s are two fields of 2**-6 s."""
    for name, value in (("FIELDS", 2.0), ("LONGEST_FIELD", 2.0**-6), ("MAINS_PERIOD", 2.0**-5)):
        monkeypatch.setattr(field, name, value)
    for fields, words in ((array(0.0, 2.0**-6), "None"), (array(0.0), "no field sync was seen")):
        found = over(np.zeros(256), 2.0**-13, fields)
        assert words in str(found.tilt_failure)
        assert (found.tilt is not None) == (words == "None")
        assert found.whole
    short = over(np.zeros(255), 2.0**-13, array(0.0, 2.0**-6))
    assert short.tilt is None
    assert not short.whole


def test_the_error_of_a_tilt_follows_from_what_the_fit_leaves() -> None:
    """10 mV left over a charge that rises to 0.5 V x 38.4 ms: half of it, times a quarter of a field."""
    count = 600
    t = np.arange(count) * 64e-6
    wave = 0.01 * np.tile(array(1, -1, -1, 1), count // 4)  # neither leans nor lifts
    error = 0.5 * 0.01 / (0.5 * count * 64e-6 / math.sqrt(12))  # of a ramp, 1 / sqrt(12) of its height
    for slope, tilt_ in ((10.0, 0.04996), (200.0, 0.76159)):  # tanh(0.05) and tanh(1)
        found = seen(0.2 - 0.5 * slope * t + wave)
        assert found.tilt == pytest.approx(tilt_, rel=1e-3)
        assert found.tilt_error == pytest.approx((1 - tilt_**2) * error * 0.02 / 4, rel=0.01)


def over(blank: Array, step: float = 64e-6, fields: Array | None = None) -> OverField:
    count, fields = len(blank), array(0.001, 0.021) if fields is None else fields
    starts = np.asarray(np.arange(count) * step, dtype=np.float64)
    one = Lines(np.zeros((count, 1)), np.zeros(count), step, starts, np.arange(count))
    return over_field(np.full(count, 0.5), step, one, blank, 0.003, fields, sign=1, coupled=False)


def test_a_few_lines_are_smoothed_over_what_there_is() -> None:
    """Four lines, averaged over five: 0, 1/4, 1/4, 1/3; the error is that of four, or of one."""
    found = over(array(0, 0, 0, 1))
    assert found.hum == pytest.approx(1 / 3)
    assert found.hum_error == pytest.approx(2 * 0.003 / 2)
    assert over(array(1)).hum_error == pytest.approx(2 * 0.003)
    assert "this one is 32 ms long" in str(over(np.zeros(500)).tilt_failure)


def test_three_lines_are_the_least_a_droop_is_fitted_to() -> None:
    left, slope, _ = _droop(array(0, 1, 2), array(0.5, 0.3, 0.1))
    assert slope == pytest.approx(0.2)
    assert_allclose(left, 0, atol=1e-12)


def test_a_square_wave_on_the_line_charges_the_capacitor_only_while_it_is_high() -> None:
    """Eight lines of one sample: 1 V in the first four, 0 V after; blanking sags by 0.1 V in each of them, then stays.

    The charge before each line is 0, 1, 2, 3, 4, 4, 4, 4 lines; 0.1 V a line of 2**-4 s is 1.6 V/s behind 1 V.
    """
    step, volts = 2.0**-4, array(1, 1, 1, 1, 0, 0, 0, 0)
    one = Lines(np.zeros((8, 1)), np.zeros(8), step, np.arange(8.0) * step + 0.4 * step, np.arange(8))
    blank = 0.7 - 0.1 * array(0, 1, 2, 3, 4, 4, 4, 4)
    found = over_field(volts, step, one, blank, 0.0, array(0.0, 0.25), sign=1, coupled=None)
    assert found.tilt == pytest.approx(math.tanh(1.6 * 0.25 / 4), rel=1e-12)
    assert found.hum == pytest.approx(0.0, abs=1e-12)
