"""Raw values of a capture into quantities with their budgets: every number expected is worked out by hand.

What is presumed stands in instruments.toml: a scope of 3 %, 0.1 division and 1 mV of offset, 8 bits on 8 divisions,
100 ppm; a x10 probe of 2 %; 75 ohm of 5 % at the display and of 1 % on the bench. A half-width a counts as a / sqrt(3),
and k is 2 (JCGM 100:2008, GUM). A line behind 75 ohm halves what the load is wrong by: 75 / (75 + 75).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from guardcheck.measure.capture import analyse
from guardcheck.measure.capture.found import NO_SYNC, Found, Raw
from guardcheck.measure.capture.header import ChannelFacts
from guardcheck.measure.capture.quantities import to_quantities
from guardcheck.metrology import Accuracy
from tests.measure.drawn import L15, bar, capture, drawn, in_order, pulse
from tests.measure.told import CASE, FOLD, WHOLE, Told, alike, array

STATED = "stated in the readings file"


# Voltages ------------------------------------------------------------------------------------------------------------


def test_every_quantity_is_of_its_line_and_says_why_it_has_no_value() -> None:
    told = Told(level_high=Raw(None), level_low=Raw(None, failure="it is dark"), level_white=0.7)
    assert {(one.line, one.guarded) for one in told.quantities.values()} == {("red", True)}
    assert told["level.high"].failure == "not found"
    assert told["level.low"].failure == "it is dark"
    assert told["response.overshoot"].failure == "response.overshoot was not seen"
    assert set(told.budgets) == {"level.white", "level.pp", "noise.rms"}
    assert told["level.white"].uncertainty == told.budget("level.white").expanded
    quantities, _ = to_quantities(
        Found({}, FOLD, {}, {}, 0.001, 3, 0.0, False, WHOLE), 0.01, 1e-8, array(0, 1), CASE, sign=1
    )
    assert {one.failure for one in quantities if one.name != "noise.rms"} == {"not found"}


def test_the_budget_of_an_amplitude() -> None:
    """3 % of 0.7 V; 10 mV steps, half of one at either end; 1 mV of scatter; half of 5 % for the load."""
    told = Told(level_white=Raw(0.7, 0.001))
    alike(
        told.rows("level.white"),
        [("accuracy", 21.0), ("quantisation", 5.0), ("quantisation", 5.0), ("scatter", 1.0), ("75 ohm load", 17.5)],
    )
    assert told["level.white"].value == 0.7
    expanded = 2 * math.sqrt((0.021**2 + 2 * 0.005**2 + 0.0175**2) / 3 + 0.001**2)
    assert told["level.white"].uncertainty == pytest.approx(expanded, rel=1e-9)
    assert told.row("level.white", "scatter").source == "50 scan lines averaged"
    assert told.row("level.white", "accuracy").source.startswith("presumed: oscilloscope data sheets")
    assert told.row("level.white", "quantisation").source == "steps seen in the trace"
    assert told["level.white"].notes == ()
    assert "scatter" not in dict(Told(level_white=0.7).rows("level.white"))  # what is nothing is not shown


def test_the_budget_of_a_direct_voltage() -> None:
    """A division is 32 steps of 10 mV: 0.1 of it and 1 mV of offset; it wanders by 2 mV; one end only is rounded."""
    for name in ("blank", "high", "low"):
        told = Told(drift=0.002, **{f"level_{name}": Raw(-0.5, 0.001)})
        alike(
            told.rows(f"level.{name}"),
            [
                ("accuracy", 15.0),
                ("offset", 33.0),
                ("wander", 2.0),
                ("quantisation", 5.0),
                ("scatter", 1.0),
                ("75 ohm load", 12.5),
            ],
        )
        wander = told.row(f"level.{name}", "wander")
        assert (wander.distribution, wander.source) == ("normal", "seen from line to line")
        assert told.row(f"level.{name}", "scatter").distribution == "normal"


@pytest.mark.parametrize(
    ("accuracy", "half", "offset", "stated"),
    [
        (Accuracy(of_reading=0.02), 10.0, 33.0, False),  # it says nothing of offset
        (Accuracy(of_reading=0.02, divisions=0.05, absolute=0.002), 10.0, 18.0, True),
        (Accuracy(of_reading=0.02, divisions=0.05), 10.0, 16.0, True),
        (Accuracy(of_reading=0.02, absolute=0.002), 10.0, 2.0, True),
        (Accuracy(of_range=0.01), 25.6, 33.0, False),  # 1 % of eight divisions
        (Accuracy(of_reading=0.02, of_range=0.01, counts=2), 55.6, 33.0, False),
    ],
)
def test_what_the_data_sheet_says_takes_the_place_of_what_is_presumed(
    accuracy: Accuracy, half: float, offset: float, stated: bool
) -> None:
    """What is stated is one bound, its offset with it; where it says nothing of offset, one is presumed beside it."""
    told = Told(replace(CASE, accuracy=accuracy), level_blank=0.5)
    rows = dict(told.rows("level.blank"))
    assert told.row("level.blank", "accuracy").source == STATED
    assert rows["accuracy"] == pytest.approx(half + offset if stated else half)
    assert rows.get("offset") == (None if stated else pytest.approx(offset))


@pytest.mark.parametrize(
    ("resolution", "span", "division", "expected"),
    [
        (0.01, 1.0, None, 0.32),
        (0.01, 2.56, None, 0.32),
        (0.001, 4.0, None, 0.5),  # finer steps than 8 bits: a trace of 4 V still needs eight divisions of 0.5 V
        (0.0, 1.0, None, 0.25),  # no steps: it fills four divisions
        (0.01, 1.0, 0.2, 0.2),
        (0.0, 1.0, 0.2, 0.2),
    ],
)
def test_a_division_of_the_screen(resolution: float, span: float, division: float | None, expected: float) -> None:
    """2 % of the range are 0.16 divisions; 3 counts are three steps, or 3 / 32 of a division where none was seen."""
    accuracy = Accuracy(of_range=0.02, counts=3)
    case = replace(CASE, accuracy=accuracy, division=division)
    told = Told(case, resolution=resolution, volts=array(-1.0, span - 1.0), level_white=0.7)
    half = 0.16 * expected + 3 * (resolution or expected / 32)
    assert told.row("level.white", "accuracy").half_width == pytest.approx(half)


@pytest.mark.parametrize(("declared", "half"), [(None, 0.032), (0.25, 0.04)])
def test_the_scale_a_scope_or_its_user_tells_is_that_of_the_budget(declared: float | None, half: float) -> None:
    """1 % of eight divisions of 0.2 V, as the file says, or of 0.25 V; a probe of x2 the scope knew nothing of."""
    corners = in_order(pulse(4.7, 0.0, -0.15, 0.2) + bar(10.5, 62.5, 0.0, 0.35, 0.3), L15)
    taken = replace(
        capture(20.0, Y=drawn(corners, L15, rate=20.0, noise=0.002)), facts={"Y": ChannelFacts(division=0.2)}
    )
    settings = replace(CASE, accuracy=Accuracy(of_range=0.01), probe=2.0, scale_at="input", division=declared)
    found = analyse(taken, settings=settings)
    (row,) = [one for one in found.budgets["level.white"].contributions if one.name == "accuracy"]
    assert row.half_width == pytest.approx(half)


@pytest.mark.parametrize(
    ("probe", "tolerance", "half", "source"),
    [
        (None, None, None, ""),
        (1.0, None, None, ""),
        (10.0, None, 14.0, "presumed: attenuation of a compensated x10 passive probe"),
        (1.5, None, 14.0, "presumed"),
        (10.0, 0.01, 7.0, STATED),
        (None, 0.01, 7.0, STATED),
        (10.0, 0.0, None, ""),
    ],
)
def test_a_probe_has_a_tolerance(probe: float | None, tolerance: float | None, half: float | None, source: str) -> None:
    told = Told(replace(CASE, probe=probe, probe_tolerance=tolerance), level_white=-0.7, level_sync=0.3)
    rows = dict(told.rows("level.white"))
    assert rows.get("probe") == (None if half is None else pytest.approx(half))
    if half is not None:
        assert told.row("level.white", "probe").source.startswith(source)


def test_noise_is_known_to_its_share_by_the_number_of_lines() -> None:
    """10 mV over 50 lines: 10 / sqrt(100); one of two ends is rounded, to a hundredth of 10 mV under so much noise."""
    told = Told(noise=0.01)
    assert told["noise.rms"].value == 0.01
    alike(
        told.rows("noise.rms"),
        [("accuracy", 0.3), ("quantisation", 0.1), ("scatter", 1.0), ("75 ohm load", 0.25)],
    )


@pytest.mark.parametrize("load", ["terminated", "open", None])
def test_hum_is_a_voltage_whatever_the_load(load: str | None) -> None:
    """20 mV between two levels, 3 % of it, and 5 mV at either end: its budget is in volts, not in shares of white."""
    told = Told(replace(CASE, load=load), noise_hum=Raw(0.02, 0.001), level_white=0.2)
    alike(
        told.rows("noise.hum"),
        [("accuracy", 0.6), ("quantisation", 5.0), ("quantisation", 5.0), ("scatter", 1.0)],
    )
    assert (told["noise.hum"].value, told["noise.hum"].unknowns) == (0.02, ())


def worst_mean(noise: float) -> float:
    """Return the worst mean error of rounding to whole numbers under normal noise, by the distribution itself."""

    def below(x: float) -> float:
        return 0.5 * math.erfc(-x / noise / math.sqrt(2))

    return max(
        abs(math.fsum(n * (below(n + 0.5 - at) - below(n - 0.5 - at)) for n in range(-8, 9)) - at)
        for at in (k / 200 for k in range(101))
    )


@pytest.mark.parametrize("share", [0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5])
def test_no_mean_is_rounded_further_than_is_said(share: float) -> None:
    told = Told(noise=0.01 * share, level_white=0.7)
    half = told.row("level.white", "quantisation").half_width
    assert 0.01 * worst_mean(share) <= half <= 0.005


def test_what_noise_leaves_of_a_step() -> None:
    """exp(-2 pi^2 0.3^2) is 0.1692 and 0.5 of that a twelfth; far beyond, a hundredth of a step; without steps, two."""
    for noise, volts in ((0.0, 0.005), (0.003, 0.000846), (0.005, 0.0001), (1.0, 0.0001)):
        told = Told(noise=noise, level_white=0.7)
        assert told.row("level.white", "quantisation").half_width == pytest.approx(volts, rel=1e-3)
    told = Told(resolution=0.0, volts=array(-0.28, 1.0), level_white=0.7)
    row = told.row("level.white", "quantisation")
    assert row.half_width == pytest.approx(0.005)  # 1.28 V in 128 steps of 10 mV
    assert row.source.startswith("no steps seen in the trace, presumed: 8-bit converter")
    assert row.source.endswith("half of it used")


# Times, and shares of the picture ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "together", "half"),
    [(20e-9, 0.0, 5.0), (29e-9, 0.0, 5.0), (60e-9, 0.0, 10.0), (60e-9, 40e-9, 40.0), (60e-9, 8e-9, 10.0)],
)
def test_a_time_between_two_half_amplitude_points(step: float, together: float, half: float) -> None:
    """100 ppm of 4.7 us are 0.47 ns; a sixth of the sampling interval, at least 5 ns."""
    told = Told(step=step, together=together, timing_sync_width=Raw(4.7e-6, 2e-9))
    found = [(name, 1e6 * size) for name, size in told.rows("timing.sync_width")]
    alike(found, [("time base", 0.47), ("scatter", 2.0), ("half-amplitude level", half)])
    assert told.row("timing.sync_width", "half-amplitude level").source == "sampling of the edges"
    assert told.row("timing.sync_width", "time base").source.startswith("presumed: crystal time base")


@pytest.mark.parametrize(
    ("name", "apart"),
    [
        ("timing.line_period", False),
        ("timing.sync_fall", False),
        ("timing.sync_rise", False),
        ("timing.picture_rise", False),
        ("timing.front_porch", True),
        ("timing.back_porch", True),
        ("timing.burst_start", True),
    ],
)
def test_which_times_are_taken_between_edges(name: str, apart: bool) -> None:
    told = Told(replace(CASE, timebase=25e-6), **{name.replace(".", "_", 1): Raw(64e-6, 2e-9)})
    rows = dict(told.rows(name))
    assert rows["time base"] == pytest.approx(1.6e-6)  # 25 ppm of 64 us are 1.6 ns
    assert told.row(name, "time base").source == STATED
    assert ("half-amplitude level" in rows) == apart


def test_a_frequency_has_the_error_of_the_time_base() -> None:
    told = Told(burst_frequency=Raw(4433618.75, 20.0))
    alike(told.rows("burst.frequency"), [("time base", 443361.875), ("scatter", 20000.0)])


@pytest.mark.parametrize(
    ("white", "sync", "height"),
    [(0.5, 0.3, 0.5), (None, 0.25, 0.25), (-0.5, None, 0.5), (None, None, 1e-3), (5e-4, None, 1e-3), (2e-3, 1.0, 2e-3)],
)
def test_a_share_of_the_picture_is_rounded_by_its_height(
    white: float | None, sync: float | None, height: float
) -> None:
    """Gain drops out of a ratio; 5 mV of rounding on the height of white, of sync without white, at least 1 mV."""
    values = {"level_white": Raw(white), "level_sync": Raw(sync, failure=None if sync else NO_SYNC)}
    told = Told(response_line_tilt=Raw(0.02, 0.001), has_picture=white is not None, **values)
    alike(told.rows("response.line_tilt"), [("scatter", 1.0), ("quantisation", 5.0 / height)])
    assert told["response.line_tilt"].value == 0.02
    assert told.row("response.line_tilt", "scatter").distribution == "normal"
