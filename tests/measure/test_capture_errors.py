"""The error of every quantity against noise and sample rate, and the captures that prove nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.errors import InputError
from guardcheck.measure.capture import NAMES, Analysis, Settings, analyse
from guardcheck.measure.readings import Circumstances, parse_accuracy
from tests.measure.error_table import OFFSET, capture_of, look, rows
from tests.measure.measure_synth import S525, S625, Shot

# Worst relative or absolute error allowed at noise 0 and 3 % rms, with 8-bit steps, 50 mV of hum and an offset.
BOUNDS = {
    "level.white": (0.002, 0.01),
    "level.sync": (0.002, 0.01),
    "level.pp": (0.002, 0.01),
    "burst.amplitude": (0.005, 0.02),
    "burst.frequency": (1e-6, 1e-3),
    "timing.line_period": (1e-6, 4e-6),
}
ABSOLUTE = {
    "level.black": (0.0015, 0.008),
    "level.blank": (0.015, 0.015),  # the mean of 8 ms of a 20 ms hum period belongs to the reading
    "timing.sync_width": (0.04e-6, 0.04e-6),
    "timing.back_porch": (0.04e-6, 0.04e-6),
    "timing.front_porch": (0.02e-6, 0.02e-6),
    "noise.rms": (0.002, 0.002),  # rounding to 6.25 mV steps adds up to 1.8 mV where there is no noise
    "response.line_tilt": (0.001, 0.001),
}
MATRIX = [
    Shot(
        system=system, picture=picture, rate=rate, noise=noise, bits=8, hum=0.05, offset=OFFSET, duration=8e-3,
        start=2.1e-3, seed=round(rate / 1e5) + round(1e3 * noise), tilt=0.03 * (picture == "white"),
    )
    for system in (S625, S525) for picture in ("bars", "white") for rate in (4e6, 5e6, 12.3e6, 20e6)
    for noise in (0.0, 0.03)
]  # fmt: skip


@pytest.mark.parametrize("shot", MATRIX, ids=lambda s: f"{s.system.half_lines}-{s.picture}-{s.rate:.3g}-{s.noise}")
def test_errors_stay_within_bounds_and_within_the_stated_uncertainty(shot: Shot) -> None:
    noisy = int(shot.noise > 0)
    for row in rows(shot):
        if row.quantity.startswith("burst") and shot.rate < 2.2 * shot.system.subcarrier:
            assert row.value is None
            assert "undersampled" in str(row.failure)
            continue
        assert row.value is not None, row
        error = abs(row.value - row.truth)
        if row.quantity in BOUNDS:
            assert error / abs(row.truth) <= BOUNDS[row.quantity][noisy], row
        else:
            assert error <= ABSOLUTE[row.quantity][noisy], row
        if row.quantity != "noise.rms" or shot.noise:
            assert error <= row.uncertainty, row


@pytest.mark.parametrize("seed", range(6))
def test_random_captures_come_out_right(seed: int) -> None:
    rng = np.random.default_rng(seed)
    gain = rng.uniform(0.4, 2.2)
    shot = Shot(
        system=(S625, S525)[seed % 2], picture="white", rate=rng.uniform(4e6, 60e6), noise=rng.uniform(0, 0.03),
        bits=8, full_scale=4.0, hum=0.05, hum_frequency=rng.choice([50.0, 60.0]), offset=rng.uniform(-1, 1),
        gain=gain, duration=rng.uniform(3e-3, 20e-3), start=rng.uniform(0, 0.02), seed=seed,
    )  # fmt: skip
    found = look(shot)
    assert found.quantity("level.white").value == pytest.approx(gain * shot.system.white, rel=0.015)
    assert found.quantity("level.sync").value == pytest.approx(gain * shot.system.sync, rel=0.02)
    assert found.quantity("timing.line_period").value == pytest.approx(shot.system.period, rel=1e-5)


def settings(**changes: object) -> Settings:
    base = Settings(picture="white", load="terminated", circumstances=Circumstances(75.0))
    return replace(base, **changes)  # type: ignore[arg-type]


def of(shot: Shot, sync: Shot | None = None, **changes: object) -> Analysis:
    return analyse(
        capture_of(shot, sync), "signal", sync_channel="sync" if sync else None, settings=settings(**changes)
    )


WHITE = Shot(picture="white", kind="luma", noise=0.01, duration=4e-3, start=2.2e-3, rate=21.7e6)


@pytest.mark.parametrize(
    ("shot", "word"),
    [
        (WHITE.but(duration=150e-6), "too short"),
        (WHITE.but(rate=2e6), "undersampled"),
        (WHITE.but(kind="red"), "no line sync"),
        (WHITE.but(kind="red", picture="black", noise=0.3), "no line sync"),
    ],
)
def test_a_capture_that_shows_nothing_gives_reasons_and_no_value(shot: Shot, word: str) -> None:
    found = of(shot)
    assert {q.name for q in found.quantities} == set(NAMES)
    assert all(q.value is None and word in str(q.failure) for q in found.quantities)
    assert found.budgets == {}


@pytest.mark.parametrize("clip", [0.6, 0.69])
def test_white_cut_off_by_the_screen_is_not_proven(clip: float) -> None:
    found = of(WHITE.but(clip_high=clip, bits=8))
    for name in ("level.white", "level.pp"):
        assert found.quantity(name).value is None
        assert "cut off" in str(found.quantity(name).failure)
    assert found.quantity("level.sync").value == pytest.approx(0.3, rel=0.01)


def test_a_sync_tip_cut_off_by_the_screen_is_not_proven() -> None:
    found = of(WHITE.but(clip_low=-0.2, bits=8))
    assert "cut off" in str(found.quantity("level.sync").failure)
    assert found.quantity("level.pp").value is None
    assert found.quantity("level.white").value == pytest.approx(0.7, rel=0.01)


def test_a_trace_that_fills_the_converter_is_not_trusted_even_without_noise() -> None:
    found = of(WHITE.but(noise=0.0, bits=8, full_scale=1.0))
    assert "cut off" in str(found.quantity("level.white").failure)


def test_red_with_sync_from_a_second_channel() -> None:
    found = of(WHITE.but(kind="red", gain=0.9), WHITE.but(kind="sync", gain=1.3))
    assert found.quantity("level.white").value == pytest.approx(0.63, rel=0.005)
    assert found.quantity("level.blank").value == pytest.approx(0.0, abs=0.002)
    assert "no sync of its own" in str(found.quantity("level.sync").failure)
    assert found.quantity("level.pp").value == pytest.approx(0.63, rel=0.005)


def test_red_with_sync_from_composite() -> None:
    found = of(WHITE.but(kind="red", noise=0.03), WHITE.but(kind="composite", picture="bars", noise=0.03))
    assert found.quantity("level.white").value == pytest.approx(0.7, rel=0.01)


def test_sync_alone_has_no_white_and_its_own_height() -> None:
    found = of(WHITE.but(kind="sync"))
    assert found.quantity("level.white").value is None
    assert found.quantity("level.sync").value == pytest.approx(0.3, rel=0.01)
    assert found.quantity("level.pp").value == pytest.approx(0.3, rel=0.01)


@pytest.mark.parametrize("system", [S625, S525])
@pytest.mark.parametrize("picture", ["bars", "white"])
def test_an_inverted_line_is_told_and_its_levels_are_negative(system: object, picture: str) -> None:
    shot = WHITE.but(system=system, invert=True, picture=picture, kind="composite")
    found = of(shot, picture="white" if picture == "white" else "bars-100")
    assert found.polarity == "positive"
    assert any("inverted" in note for note in found.notes)
    white, sync = found.quantity("level.white").value, found.quantity("level.sync").value
    assert white is not None
    assert sync is not None
    assert white < -0.69
    assert sync < -0.28


def test_positive_sync_alone_proves_nothing() -> None:
    found = of(WHITE.but(kind="sync", invert=True))
    assert found.quantity("level.sync").value is None
    assert "positive" in str(found.quantity("level.sync").failure)


def test_a_narrow_white_line_is_not_taken_for_sync() -> None:
    """A white bar of 525-line bars is nearly as wide as sync, and comes at the line rate as well."""
    assert of(WHITE.but(system=S525, picture="bars", kind="composite"), picture="bars-100").polarity == "negative"


@pytest.mark.parametrize("progressive", [False, True])
def test_non_interlaced_sources_are_tolerated_and_named(progressive: bool) -> None:
    found = of(WHITE.but(progressive=progressive, duration=45e-3, rate=5e6, start=1e-3))
    assert found.scan == ("non-interlaced" if progressive else "interlaced")
    assert any("312 lines" in note for note in found.notes) == progressive
    assert found.quantity("level.white").failure is None


def test_a_line_period_off_the_standard_is_noted() -> None:
    found = of(WHITE.but(system=replace(S525, period=63.695e-6)))
    assert found.system == "525"
    assert any("off the 525-line" in note for note in found.notes)
    assert found.quantity("timing.line_period").value == pytest.approx(63.695e-6, rel=1e-5)


def test_an_undeclared_picture_can_only_fail_high() -> None:
    found = of(WHITE, picture=None)
    for name in ("level.white", "level.pp"):
        assert found.quantity(name).bound == "at_least"
        assert "picture" in found.quantity(name).unknowns
    assert found.quantity("level.sync").bound is None
    assert "flat picture" in str(found.quantity("response.line_tilt").failure)


def test_75_percent_bars_are_scaled_to_white() -> None:
    # 0.8 V of 75 % bars is 1.067 V at white.
    shot = WHITE.but(picture="bars", amplitude=0.75, gain=0.8 / 0.525)
    found = of(shot, picture="bars-75")
    assert found.quantity("level.white").value == pytest.approx(1.0667, rel=0.005)
    assert found.quantity("level.white").bound is None


def test_525_line_bars_are_scaled_above_setup() -> None:
    # 7.5 + 0.75 * 92.5 = 76.875 IRE stands for 100 IRE (0.75 of the way from black to white).
    found = of(WHITE.but(system=S525, picture="bars", amplitude=0.75), picture="bars-75")
    assert found.quantity("level.white").value == pytest.approx(0.7143, rel=0.005)


@pytest.mark.parametrize("kind", ["luma", "red", "blue", "composite"])
def test_a_full_white_bar_in_75_percent_bars_is_not_scaled_again(kind: str) -> None:
    shot = WHITE.but(picture="bars", amplitude=0.75, first_white=True, kind=kind)
    sync = shot.but(kind="sync") if kind in ("red", "blue") else None
    assert of(shot, sync, picture="bars-75").quantity("level.white").value == pytest.approx(0.7, rel=0.005)


def test_bars_declared_as_a_white_field_prove_nothing() -> None:
    found = of(WHITE.but(picture="bars", amplitude=0.75), picture="white")
    assert "not a white field" in str(found.quantity("level.white").failure)
    assert found.quantity("level.pp").failure is not None


def test_a_white_box_in_part_of_the_picture_is_found() -> None:
    found = of(WHITE.but(picture="box", duration=20e-3, noise=0.02), picture="other")
    assert found.quantity("level.white").value == pytest.approx(0.7, rel=0.01)


@pytest.mark.parametrize("tilt", [0.0, 0.02, 0.1, -0.05])
def test_line_tilt(tilt: float) -> None:
    found = of(WHITE.but(tilt=tilt)).quantity("response.line_tilt")
    mean = 1 - tilt / 2  # the height is read at the middle of the bar
    assert found.value == pytest.approx(tilt / mean, abs=0.003)
    assert abs(found.value - tilt / mean) <= found.uncertainty + 0.002


@pytest.mark.parametrize("share", [0.0, 0.05, 0.2])
def test_overshoot(share: float) -> None:
    found = of(WHITE.but(overshoot=share, rate=50.3e6, noise=0.003)).quantity("response.overshoot")
    assert found.value == pytest.approx(share, abs=0.02)


@pytest.mark.parametrize("share", [0.003, 0.01, 0.03])
def test_noise_is_read_on_the_back_porch(share: float) -> None:
    found = of(WHITE.but(noise=share, hum=0.05)).quantity("noise.rms")
    assert found.value == pytest.approx(share * 0.7, rel=0.05)


def test_an_open_line_is_converted_and_shows_the_raw_value() -> None:
    found = of(WHITE.but(gain=2.0), load="open", circumstances=Circumstances(75.0))
    white = found.quantity("level.white")
    assert white.value == pytest.approx(0.7, rel=0.005)
    assert any("1400 mV" in note or "1399 mV" in note or "1401 mV" in note for note in white.notes)
    assert found.quantity("level.blank").value is None
    unknown = of(WHITE.but(gain=2.0), load="open", circumstances=Circumstances())
    assert "output impedance" in str(unknown.quantity("level.white").failure)


def test_the_budget_adds_up_to_the_uncertainty() -> None:
    found = of(WHITE, accuracy=parse_accuracy("1.5%", "V"), probe_tolerance=0.01, termination=0.01)
    budget = found.budgets["level.white"]
    assert found.quantity("level.white").uncertainty == pytest.approx(
        2 * np.sqrt(sum(c.standard**2 for c in budget.contributions))
    )
    half = {c.name: c.half_width * c.sensitivity for c in budget.contributions}
    assert half["accuracy"] == pytest.approx(0.0105, rel=0.01)
    assert half["probe"] == pytest.approx(0.007, rel=0.01)
    assert half["75 ohm load"] == pytest.approx(0.0035, rel=0.01)
    assert all(c.source for c in budget.contributions)


@pytest.mark.parametrize(
    ("stated", "name", "half"),
    [
        ("20 mV", "level.white", 20e-3),
        ("20 mV", "noise.rms", 20e-3),
        ("3% + 5 mV", "level.white", 0.03 * 0.7 + 5e-3),
        ("3% + 5 mV", "level.blank", 0.03 * 0.05 + 5e-3),
        ("3% + 0.1 div", "level.white", 0.03 * 0.7 + 0.1 * 0.2),
        ("3% + 2 counts", "level.white", 0.03 * 0.7 + 2 * 6.25e-3),
        ("1% of full scale", "level.white", 0.01 * 1.6),
    ],
)
def test_a_statement_is_one_bound_for_a_capture_as_for_a_typed_reading(stated: str, name: str, half: float) -> None:
    """White of 0.7 V on 50 mV of offset, 8 bits over 1.6 V: steps of 6.25 mV, 200 mV a division (GUM, 4.3.7)."""
    shot = WHITE.but(bits=8, full_scale=1.6, offset=0.05)
    found = of(shot, accuracy=parse_accuracy(stated, "V")).budgets[name]
    (row,) = [one for one in found.contributions if one.name == "accuracy"]
    assert row.half_width * abs(row.sensitivity) == pytest.approx(half, rel=0.02)
    assert bool([one for one in found.contributions if one.name == "offset"]) is False


def test_channels_are_named_in_messages() -> None:
    capture = capture_of(WHITE, WHITE)
    with pytest.raises(InputError, match="several channels"):
        analyse(capture)
    with pytest.raises(InputError, match="did you mean 'sync'"):
        analyse(capture, "synk")


def test_the_same_capture_gives_the_same_numbers() -> None:
    first, second = of(WHITE), of(WHITE)
    assert first.quantities == second.quantities


def test_oversampled_captures_are_averaged_down() -> None:
    found = of(WHITE.but(rate=500e6, duration=1e-3, bits=8))
    assert found.quantity("level.white").value == pytest.approx(0.7, rel=0.003)
    assert found.quantity("response.overshoot").failure is None
