"""Captures that look right and are not: swapped, joined and inverted lines, hidden direct voltage, droop, hum, cuts.

Waveforms are made by independent code. A coupling capacitor is the first-order high-pass of circuit law, computed here
sample by sample; bars follow the equations of ITU-R BT.470 and SMPTE/EBU N10; the tilt expected of 470 uF and 220 uF at
50 Hz behind 150 ohm is 7.1 % and 15 % by (1 - e^-x) / (1 + e^-x), x = 10 ms / RC.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import lfilter

from guardcheck.measure.capture import Analysis, Capture, Settings, analyse, component_of
from guardcheck.measure.capture.header import ChannelFacts, channel_facts
from guardcheck.measure.capture.reader import voltage_step
from guardcheck.measure.readings import Circumstances
from guardcheck.model import Quantity
from tests.measure.measure_synth import BARS, S525, S625, Shot, _step, waveform

Array = NDArray[np.float64]
SHOT = Shot(rate=10e6, duration=1.2e-3, start=4e-3, bits=8, noise=0.004)
KNOWN = Settings(picture="bars-100", load="terminated", place="display", coupling="dc")


def taken(volts: Array, rate: float, **facts: ChannelFacts) -> Capture:
    data = {"CH1": volts.astype(np.float32)}
    return Capture("x.csv", 1 / rate, 0.0, data, {n: voltage_step(v) for n, v in data.items()}, (), facts)


def pair(volts: Array, sync: Array, rate: float) -> Capture:
    data = {"CH1": volts.astype(np.float32), "CH2": sync.astype(np.float32)}
    return Capture("x.csv", 1 / rate, 0.0, data, {n: voltage_step(v) for n, v in data.items()})


def colour(shares: tuple[float, float, float], amplitude: float = 1.0, shot: Shot = SHOT) -> Array:
    """Return eight bars of a component given by its shares of red, green and blue, 0.7 V for a share of one."""
    rng = np.random.default_rng(3)
    t = np.arange(round(shot.duration * shot.rate)) / shot.rate + shot.start
    x = (t + 1e-6) % shot.system.period - 1e-6
    levels = [0.7 * amplitude * float(np.dot(bar, shares)) for bar in BARS]
    edges = [10.5e-6 + 52e-6 * i / 8 for i in range(9)]
    steps = zip(edges, [0.0, *levels], [*levels, 0.0], strict=True)
    return sum((b - a) * _step(x - edge, 0.25e-6) for edge, a, b in steps) + 0.003 * rng.standard_normal(len(t))


def seen(volts: Array, line: str, picture: str = "bars-100", shot: Shot = SHOT) -> Quantity:
    _, sync = waveform(shot.but(kind="sync"))
    settings = replace(KNOWN, picture=picture, component=component_of(line), line=line)
    found = analyse(pair(volts, sync, shot.rate), "CH1", sync_channel="CH2", settings=settings)
    return found.quantity("picture.bars")


RED, GREEN, BLUE = (1, 0, 0), (0, 1, 0), (0, 0, 1)
PB, PR = (-0.1687, -0.3313, 0.5), (0.5, -0.4187, -0.0813)
LUMA = (0.299, 0.587, 0.114)


@pytest.mark.parametrize(
    ("line", "shares"),
    [("red", RED), ("green", GREEN), ("blue", BLUE), ("Pb", PB), ("pr", PR), ("luma", LUMA), ("R-Y", PR), ("B", BLUE)],
)
@pytest.mark.parametrize("amplitude", [1.0, 0.75])
def test_the_steps_of_the_line_s_own_bars(line: str, shares: tuple[float, float, float], amplitude: float) -> None:
    found = seen(colour(shares, amplitude), line)
    assert found.failure is None
    assert found.value is not None
    assert found.value < 0.03


WRONG = [
    ("red", GREEN, "those of green"),
    ("green", RED, "those of red"),
    ("blue", RED, "those of red"),
    ("red", LUMA, "those of luma"),
    ("pb", PR, "those of pr"),
    ("pr", PB, "those of pb"),
    ("pb", tuple(-x for x in PB), "pb upside down"),
    ("luma", tuple(-x for x in LUMA), "luma upside down"),
    ("red", (0.5, 0.5, 0.0), "red and green joined"),
    ("green", (0.5, 0.5, 0.0), "red and green joined"),
    ("blue", (0.0, 0.4, 0.6), "green and blue joined"),
]


@pytest.mark.parametrize(("line", "shares", "words"), WRONG)
def test_swapped_joined_and_inverted_lines_are_named(line: str, shares: tuple[float, float, float], words: str) -> None:
    found = seen(colour(shares), line)
    assert found.failure is None
    assert found.value is not None
    assert found.value > 0.1
    assert words in " ".join(found.notes)


def test_what_is_no_row_of_eight_bars_proves_nothing() -> None:
    _, window = waveform(SHOT.but(kind="red", picture="window"))
    found = seen(window, "red")
    assert found.failure is not None
    assert "not the eight bars" in found.failure


def test_a_line_is_known_by_the_words_of_its_name() -> None:
    names = {"red": "red", "RED_OUT": "red", "R": "red", "composite": "luma", "b-y": "pb", "Cr": "pr", "f0": None}
    assert {name: component_of(name) for name in names} == names
    assert component_of("red green") is None


def test_a_direct_voltage_needs_direct_coupling() -> None:
    _, volts = waveform(SHOT.but(kind="luma", offset=1.0))
    capture = taken(volts, SHOT.rate)
    for coupling, failure, unknowns in (("dc", False, ()), (None, False, ("coupling",)), ("ac", True, ())):
        found = analyse(capture, settings=replace(KNOWN, coupling=coupling)).quantity("level.blank")
        assert (found.failure is not None, found.unknowns) == (failure, unknowns)


LONG = Shot(rate=5e6, duration=45e-3, start=3e-3, kind="luma", picture="white", noise=0.002)


def coupled(volts: Array, rate: float, tau: float) -> Array:
    """Return a signal behind a capacitor: y[n] = a (y[n-1] + x[n] - x[n-1]), started in its steady state."""
    a = tau / (tau + 1 / rate)
    whole = np.concatenate([volts[: round(0.04 * rate)]] * 12 + [volts])
    return np.asarray(lfilter([a, -a], [1.0, -a], whole)[-len(volts) :])


def over_a_field(volts: Array, coupled_: bool | None, shot: Shot = LONG) -> Analysis:
    settings = replace(KNOWN, picture="white", circumstances=Circumstances(75.0, coupled=coupled_))
    return analyse(taken(volts, shot.rate), settings=settings)


@pytest.mark.parametrize(("farad", "tilt"), [(470e-6, 0.0708), (220e-6, 0.1503), (22e-6, 0.9078), (10e-6, 0.9972)])
def test_the_droop_of_a_coupling_capacitor_shows_in_two_fields(farad: float, tilt: float) -> None:
    _, clean = waveform(LONG)
    found = over_a_field(coupled(clean, LONG.rate, farad * 150.0), True).quantity("response.field_tilt")
    assert found.failure is None
    assert found.value == pytest.approx(tilt, abs=max(0.004, (found.uncertainty or 0.0)))
    assert found.uncertainty is not None
    assert found.uncertainty < 0.03


def test_a_direct_line_has_no_droop_and_one_field_shows_none() -> None:
    _, clean = waveform(LONG)
    found = over_a_field(clean + 0.5, False).quantity("response.field_tilt")
    assert abs(found.value or 0.0) <= (found.uncertainty or 0.0)
    short = LONG.but(duration=15e-3)
    _, clean = waveform(short)
    found = over_a_field(clean, True, short).quantity("response.field_tilt")
    assert found.value is None
    assert "two whole fields" in str(found.failure)


@pytest.mark.parametrize("volts", [0.0, 0.05, 0.2])
def test_hum_is_measured_peak_to_peak(volts: float) -> None:
    shot = LONG.but(hum=volts, hum_frequency=50.0)
    found = over_a_field(waveform(shot)[1], False, shot).quantity("noise.hum")
    assert found.value == pytest.approx(volts, abs=0.004)
    assert found.bound is None


def test_hum_seen_for_less_than_its_period_is_a_lower_bound() -> None:
    shot = LONG.but(hum=0.2, hum_frequency=50.0, duration=5e-3)
    found = over_a_field(waveform(shot)[1], False, shot).quantity("noise.hum")
    assert found.bound == "at_least"
    assert found.value is not None
    assert 0.05 < found.value < 0.2


@pytest.mark.parametrize("system", [S625, S525], ids=["625", "525"])
def test_pulses_against_copying_are_no_picture(system: object) -> None:
    """Bright pulses stand on lines after field sync only; the picture keeps 0.525 V of white of 75 % bars."""
    shot = Shot(system=system, rate=5e6, duration=24e-3, kind="luma", picture="bars", amplitude=0.75, noise=0.002)  # type: ignore[arg-type]
    t, volts = waveform(shot)
    period, fields = shot.system.period, shot.system.half_lines * shot.system.period / 2
    line = np.floor((t % fields) / period)
    inside = (t % period > 12e-6) & (t % period < 60e-6) & (line >= 9) & (line <= 16)
    volts = np.where(inside, 0.85, volts)
    found = analyse(taken(volts, shot.rate), settings=replace(KNOWN, picture="bars-75")).quantity("level.white")
    assert found.value == pytest.approx(shot.system.white, rel=0.01)


@pytest.mark.parametrize(("start", "proven"), [(7.2, False), (12.2, False), (40.0, True)])
def test_pulses_against_copying_without_their_field_sync_prove_nothing(start: float, proven: bool) -> None:
    """Lines 9 to 16 after field sync at 0.56 V, 17 to 24 dark, then a picture whose white is only 0.45 V."""
    shot = Shot(
        rate=8e6, duration=1.5e-3, start=start * 64e-6, kind="luma", picture="white", gain=0.45 / 0.7, noise=0.003
    )
    t, volts = waveform(shot.but(noise=0.0))
    line, x = np.floor((t + shot.start) % 20e-3 / 64e-6), (t + shot.start) % 64e-6
    volts = np.where((x > 12e-6) & (x < 60e-6) & (line >= 9) & (line <= 16), 0.56, volts)
    volts = volts + 0.003 * np.random.default_rng(2).standard_normal(len(t))
    found = analyse(taken(volts, shot.rate), settings=replace(KNOWN, picture="white")).quantity("level.white")
    assert (found.failure is None) == proven, found.value
    assert proven or "pulses that follow field sync" in str(found.failure)
    assert not proven or found.value == pytest.approx(0.45, abs=0.01)


def test_a_picture_cut_off_without_noise_proves_nothing() -> None:
    """0.9 V of white on a screen that ends at 0.8 V, in steps of 6.25 mV with noise far below one.

    0.25 V a division end there as well where the trace was moved down by 0.2 V: a scale alone tells nothing of that.
    """
    shot = SHOT.but(kind="red", picture="white", gain=0.9 / 0.7, noise=0.0005)
    _, sync = waveform(shot.but(kind="sync"))
    _, volts = waveform(shot)
    cut = np.minimum(volts, 0.8)
    for division, offset, words in (
        (0.2, None, "cut off by the edge"),
        (None, None, "stands at the very end"),
        (0.25, None, "stands at the very end"),
        (0.25, 0.2, "cut off by the edge"),
        (0.5, 0.0, ""),
    ):
        settings = replace(KNOWN, picture="white", division=division, offset=offset)
        found = analyse(pair(cut, sync, shot.rate), "CH1", sync_channel="CH2", settings=settings).quantity(
            "level.white"
        )
        assert words in str(found.failure) if words else found.failure is None


@pytest.mark.parametrize(
    ("facts", "failure"),
    [
        (ChannelFacts(division=0.2), "cut off by the edge"),  # 8 divisions of 0.2 V end at 0.8 V
        (ChannelFacts(division=0.3, offset=0.2), None),  # 8 end at 1.2 V, 10 at 1.5 V, moved by 0.2 V either way
        (ChannelFacts(division=0.1, offset=-0.4), "cut off by the edge"),  # 0.4 V, moved by 0.4 V
        (ChannelFacts(division=0.5, offset=0.0), None),  # 2 V
        (ChannelFacts(division=0.5), "stands at the very end"),  # a scale alone does not say where the screen ends
    ],
)
def test_the_header_s_scale_and_offset_tell_a_picture_that_was_cut_off(
    facts: ChannelFacts, failure: str | None
) -> None:
    shot = SHOT.but(kind="red", picture="white", gain=0.9 / 0.7, noise=0.0005)
    _, sync = waveform(shot.but(kind="sync"))
    both = pair(np.minimum(waveform(shot)[1], 0.8), sync, shot.rate)
    seen_ = analyse(
        replace(both, facts={"CH1": facts}), "CH1", sync_channel="CH2", settings=replace(KNOWN, picture="white")
    ).quantity("level.white")
    assert (failure in str(seen_.failure)) if failure else seen_.failure is None


def test_the_header_tells_coupling_probe_scale_and_offset() -> None:
    rows = [
        ("vertical scale", ("2.0E-01", "500 mV")),
        ("vertical offset", ("0", "-1.5E+00")),
        ("probe atten", ("1.0", "10X")),
        ("ch2 coupling", ("AC",)),
        ("coupling", ("DC",)),
    ]
    found = channel_facts(rows, ("CH1", "CH2"))
    assert found["CH1"] == ChannelFacts(None, 1.0, 0.2, 0.0)
    assert found["CH2"] == ChannelFacts("ac", 10.0, 0.5, -1.5)
    assert channel_facts([("coupling", ("GND",))], ("A",))["A"].coupling is None
    assert channel_facts([("coupling", ("DC",))], ("A",))["A"].coupling == "dc"


@pytest.mark.parametrize(
    ("probe", "scale_at", "told", "level"),
    [
        (None, None, None, 0.07),
        (10.0, "input", None, 0.7),
        (10.0, "tip", None, 0.07),
        (10.0, None, 1.0, 0.7),
        (10.0, None, 10.0, 0.07),
        (10.0, None, None, None),
    ],
)
def test_a_probe_the_scope_was_not_told_of(
    probe: float | None, scale_at: str | None, told: float | None, level: float | None
) -> None:
    _, volts = waveform(Shot(rate=10e6, duration=1.2e-3, start=4e-3, noise=0.004, kind="luma", picture="white"))
    capture = taken(volts / 10, 10e6, CH1=ChannelFacts(probe=told))
    settings = replace(KNOWN, picture="white", probe=probe, scale_at=scale_at)
    found = analyse(capture, settings=settings).quantity("level.white")
    assert found.value == (None if level is None else pytest.approx(level, rel=0.01))
    assert level is not None or "scale_at" in str(found.failure)


@pytest.mark.parametrize(
    ("probe", "scale_at", "told", "level"),
    [
        (1.0, None, 10.0, 0.07),
        (1.0, "tip", 10.0, None),
        (10.0, "input", 10.0, None),
        (10.0, "tip", 1.0, None),
        (10.0, "input", 1.0, 7.0),
        (10.0, "tip", 10.0, 0.7),
        (None, None, 10.0, 0.7),
    ],
)
def test_what_is_said_of_a_probe_must_agree_with_what_the_file_tells(
    probe: float | None, scale_at: str | None, told: float, level: float | None
) -> None:
    """0.7 V in the file is 0.07 V on the line where the scope counted ten and the lead was a plain one."""
    _, volts = waveform(Shot(rate=10e6, duration=1.2e-3, start=4e-3, noise=0.004, kind="luma", picture="white"))
    capture = taken(volts, 10e6, CH1=ChannelFacts(probe=told))
    settings = replace(KNOWN, picture="white", probe=probe, scale_at=scale_at)
    found = analyse(capture, settings=settings).quantity("level.white")
    assert found.value == (None if level is None else pytest.approx(level, rel=0.01))
    assert level is not None or "the scope counted a probe of" in str(found.failure)


def test_a_declared_time_base_lets_the_burst_conform() -> None:
    """A time base of 0.5 ppm is 2 x 4.43361875 MHz x 0.5e-6 / sqrt(3) = 2.56 Hz; 100 ppm presumed would be 512 Hz."""
    shot = Shot(rate=25e6, duration=5e-3, start=4e-3, noise=0.002)
    _, volts = waveform(shot)
    widths = {}
    for share in (None, 0.5e-6):
        found = analyse(taken(volts, shot.rate), settings=replace(KNOWN, timebase=share)).quantity("burst.frequency")
        assert found.value == pytest.approx(4433618.75, abs=3.0)
        widths[share] = found.uncertainty
    assert widths[None] == pytest.approx(511.9, rel=0.01)
    assert widths[0.5e-6] is not None
    assert 2.5 < widths[0.5e-6] < 4.0
