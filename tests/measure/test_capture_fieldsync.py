"""Field sync on a line of its own, drawn sample by sample: every number expected is worked out by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from guardcheck.measure.capture import fieldsync
from guardcheck.measure.capture.fieldsync import _pulses, _raw, field_sync
from tests.measure.drawn import Array


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def dips(starts: list[float], width: float, length: float, step: float = 2e-6) -> Array:
    """Return 1 V that goes to -1 V for `width` at each of `starts`; all in milliseconds, `step` in seconds."""
    volts = np.ones(round(length * 1e-3 / step))
    for start in starts:
        volts[round(start * 1e-3 / step) :][: round(width * 1e-3 / step)] = -1.0
    return volts


@pytest.mark.parametrize(
    ("starts", "width", "count"),
    [
        ([3], 0.2, 0),
        ([3, 23], 0.2, 2),
        ([3, 14], 0.2, 0),  # 11 ms: more than 90 fields a second
        ([3, 14.2], 0.2, 2),
        ([3, 25.1], 0.2, 2),
        ([3, 25.4], 0.2, 0),  # 22.4 ms: fewer than 45
        ([3, 23, 43.3], 0.2, 3),  # 20 and 20.3 ms: 0.15 from their mean of 20.15
        ([3, 23, 43.5], 0.2, 0),  # 20 and 20.5 ms: 0.25 from their mean of 20.25
        ([3, 23], 0.016, 0),
        ([3, 23], 0.022, 2),
        ([3, 23], 1.99, 2),
        ([3, 23], 2.01, 0),
    ],
)
def test_field_sync_is_wide_and_comes_evenly_once_a_field(starts: list[float], width: float, count: int) -> None:
    assert _pulses(dips(starts, width, 50.0), 2e-6) == count
    assert _pulses(0.2 + 0.5 * dips(starts, width, 50.0), 2e-6) == count


def test_the_limits_of_field_sync_belong_to_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """Powers of two, so that nothing is rounded: 128 samples wide, 8192 apart, and 64 more and less."""
    step = 2.0**-19
    for name, value in (("FIELDS", (2**-6, 2**-6)), ("WIDTHS", (2**-12, 2**-12)), ("_EVEN", 2**-7)):
        monkeypatch.setattr(fieldsync, name, value)
    volts = np.ones(30_000)
    for at in (1000, 1000 + 8192 - 64, 1000 + 16384):
        volts[at : at + 128] = -1.0
    assert _pulses(volts, step) == 3


def parts(high: Array, low: Array) -> dict[str, Array]:
    return {"high": high, "low": low}


def moved(level: float, by: float, count: int = 100) -> Array:
    """Return samples that go `by` above and below a level in turn."""
    return level + by * np.tile(array(1, -1), count // 2)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_levels_of_field_sync(sign: int) -> None:
    """10 and 20 mV of noise on 4 and 0.2 V: the mean of 100 samples is known to a tenth of that, of 400 a twentieth."""
    found, noise = _raw(parts(moved(4.0, 0.01), moved(0.2, 0.02, 400)), (4.5, 0.0), 0.0, None, sign, False)
    assert noise == pytest.approx(0.01)
    high, low, sync = found["level.high"], found["level.low"], found["level.sync"]
    assert (high.value, high.error) == pytest.approx((4.0, 0.001))
    assert (low.value, low.error) == pytest.approx((0.2, 0.001))
    assert sync.value == pytest.approx(3.8)
    assert found["level.blank"] is (high if sign > 0 else low)


def test_a_level_at_the_end_of_the_trace_is_no_level_of_field_sync() -> None:
    high, low = moved(4.0, 0.01), moved(0.2, 0.02)
    for places, lost in (((0, 96, 97, 98, 99), True), ((96, 97, 98, 99), False), ((97, 98, 99), False)):
        top, foot = high.copy(), low.copy()
        top[list(places)], foot[list(places)] = 4.5, 0.0
        found, _ = _raw(parts(top, low), (4.5, 0.0), 0.0, None, 1, False)
        words = "the high level is cut off by the edge of the screen" if lost else None
        assert (found["level.high"].failure, found["level.sync"].failure, found["level.low"].failure) == (
            words,
            words,
            None,
        )
        assert (found["level.sync"].value is None) == lost
        found, _ = _raw(parts(high, foot), (4.5, 0.0), 0.0, None, 1, False)
        words = "the low level is cut off by the edge of the screen" if lost else None
        assert (found["level.low"].failure, found["level.sync"].failure, found["level.high"].failure) == (
            words,
            words,
            None,
        )
        assert (found["level.low"].value is None) == lost
    found, _ = _raw(parts(high, low), (4.5, 0.0), 0.0, None, 1, True)
    assert "fills the whole range" in str(found["level.high"].failure)
    assert "fills the whole range" in str(found["level.sync"].failure)
    still = moved(1.0, 1e-4)  # a ten-thousandth of 2.03 V is more than this noise
    still[:10] = 1.03
    found, _ = _raw(parts(still, moved(-1.0, 1e-4)), (1.03, -1.0 - 1e-3), 0.0, None, 1, False)
    assert found["level.high"].failure is None


def line(rest: float, tip: float, edge: float, *, step: float = 5e-6) -> Array:
    """Return field sync twice, 20 ms apart and 0.2 ms wide; the second samples beside a change stand `edge` off."""
    shape = dips([3, 23], 0.2, 45, step)
    up = shape > 0
    volts = np.where(up, rest, tip) + 0.01 * np.tile(array(1, -1), len(shape) // 2)
    for at in np.flatnonzero(up[1:] != up[:-1]) + 1:
        volts[[at - 2, at + 2]] += edge * np.sign(rest - tip) * np.where(up[[at - 2, at + 2]], 1, -1)
    return volts


@pytest.mark.parametrize(("rest", "tip", "sign"), [(4.0, 0.2, 1), (0.2, 4.0, -1)])
def test_field_sync_by_itself(rest: float, tip: float, sign: int) -> None:
    """Two samples on either side of a change are left out, with what rings there; the third counts."""
    volts = line(rest, tip, 0.5)
    found = field_sync(volts, 5e-6, 0.0, None)
    assert found is not None
    one, seen_sign = found
    assert (seen_sign, one.lines, one.counted) == (sign, 2, "field syncs")
    assert (one.drift, one.has_picture) == (0.0, False)
    for part, expected in ((one.fold.x, (0.0, 5e-6)), (one.fold.y, (0, 0)), (one.fold.count, (0, 0))):
        assert part.tolist() == list(expected)
    for name, level in (("high", 4.0), ("low", 0.2), ("blank", rest), ("sync", 3.8)):  # 10 mV left over of 70 samples
        assert one.raw[f"level.{name}"].value == pytest.approx(level, abs=3e-4)
    still = line(rest, tip, 0.5)
    moved_one = still.copy()
    moved_one[600 - 3] += 0.1  # sync begins at the 600th; 8920 of 9000 are outside, ten of them beside a change
    levels = []
    for one_volts in (still, moved_one):
        found = field_sync(one_volts, 5e-6, 0.0, None)
        assert found is not None
        levels.append(found[0].raw["level.blank"].value or math.nan)
    assert levels[1] - levels[0] == pytest.approx(0.1 / 8910, rel=1e-6)


def test_what_is_no_field_sync() -> None:
    assert field_sync(line(4.0, 0.2, 0.5), 5.1e-6, 0.0, None) is None  # sampled too slowly
    assert field_sync(np.full(1000, 4.0), 5e-6, 0.0, None) is None
    assert field_sync(line(4.0, 0.2, 0.5)[:4000], 5e-6, 0.0, None) is None  # one pulse
    wide = line(1.0, 0.0, 0.3)
    assert field_sync(wide - 0.4, 5e-6, 0.0, None) is not None


@pytest.mark.parametrize(("rest", "tip"), [(4.0, 3.0), (-3.0, -4.0), (0.5, -0.5)])
def test_field_sync_may_stand_anywhere(rest: float, tip: float) -> None:
    for one, sign in ((line(rest, tip, 0.1), 1), (line(tip, rest, 0.1), -1)):
        found = field_sync(one, 5e-6, 0.0, None)
        assert found is not None
        assert found[1] == sign
        assert found[0].raw["level.sync"].value == pytest.approx(1.0, abs=2e-3)


def test_the_widest_pulses_close_together_are_still_field_sync() -> None:
    """Twice 1.95 ms in 13.4 ms: it rests for 71 % of the trace."""
    volts = dips([0.1, 11.4], 1.95, 13.4)
    volts[::2] += 0.02
    for sign in (1, -1):
        found = field_sync(sign * volts, 2e-6, 0.0, None)
        assert found is not None
        assert found[1] == sign


def test_a_pulse_without_a_settled_sample_shows_no_level() -> None:
    """At a change the two samples before it and the three behind it are left out: all five of 25 us, not the sixth."""
    for width, shown in ((0.025, False), (0.03, True)):
        volts = dips([3, 23], width, 45, 5e-6) + 0.01 * np.tile(array(1, -1), 4500)
        assert (field_sync(volts, 5e-6, 0.0, None) is not None) == shown


def test_a_sample_half_way_is_part_of_the_low_level() -> None:
    """4 and 0 V, one sample of 2 V between them: the fall is before it, so the third before it counts, not the second.

    Sync is low for 41 of 9000 samples twice, the half-way one among them; at each of its two changes two samples before
    and three behind are left out.
    """
    plain = 2.0 + 2.0 * dips([3, 23], 0.2, 45, 5e-6)
    for start in (600, 4600):
        plain[start - 1] = 2.0
    plain[1000:4000:2] -= 0.01  # so that the high level does not stand at the very top of the trace
    levels = []
    for back in (9, 4, 3):
        volts = plain.copy()
        volts[600 - back] -= 0.5
        found = field_sync(volts, 5e-6, 0.0, None)
        assert found is not None
        levels.append(found[0].raw["level.high"].value or math.nan)
    assert levels[1] == pytest.approx(levels[0], abs=1e-12)
    assert levels[2] - levels[1] == pytest.approx(0.5 / (9000 - 2 * 41 - 2 * 5), rel=1e-6)
