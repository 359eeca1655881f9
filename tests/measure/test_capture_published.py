"""What a capture shows, held against published tables.

Sources: the composite level and timing tables collected from ITU-R BT.470-5 (public copy in a repository of composite
notes); luma of 100/0/75/0 bars as printed in a studio recorder's service manual, table 2-10 (SMPTE/EBU N10); luma of
525-line 100/7.5/100/7.5 bars as printed in a public table (forum.videohelp.com p=2649321). The captures are made by
independent code with noise, 8-bit steps, hum and an offset.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from guardcheck.measure.capture import Analysis, Settings, analyse
from guardcheck.measure.readings import Circumstances
from tests.measure.error_table import capture_of
from tests.measure.measure_synth import S525, S625, Shot, System

MATCHED = Circumstances(75.0, has_sync=True, has_chroma=True)


@dataclass(frozen=True)
class Case:
    system: System
    picture: str


def analysis(system: System, picture: str, amplitude: float = 1.0, first_white: bool = False) -> Analysis:
    shot = Shot(
        system=system, picture=picture, amplitude=amplitude, first_white=first_white, rate=17.3e6, noise=0.005,
        bits=10, hum=0.02, offset=0.1, duration=8e-3, start=2.2e-3,
    )  # fmt: skip
    word = picture if picture == "white" else "bars-100"
    return analyse(capture_of(shot), settings=Settings(picture=word, load="terminated", circumstances=MATCHED))


@pytest.fixture(scope="module")
def found() -> dict[str, Analysis]:
    return {
        "625 bars": analysis(S625, "bars"),
        "625 white": analysis(S625, "white"),
        "525 bars": analysis(S525, "bars"),
        "525 white": analysis(S525, "white"),
        "625 ebu": analysis(S625, "bars", 0.75, first_white=True),
        "625 75": analysis(S625, "bars", 0.75),
    }


LEVELS = [
    # ITU-R BT.470-5 table copy: blanking 0, white 100 %, sync -43 % (625) and -40 % (525), setup 0 and 7.5 +/- 2.5 %,
    # burst 43 +/- 5 % and 40 +/- 4 % of white; 1 V p-p gives 700/300 and 714.3/285.7 mV.
    ("625 bars", "level.white", 0.700, 0.003),
    ("625 bars", "level.sync", 0.300, 0.002),
    ("625 bars", "level.pp", 1.000, 0.004),
    ("625 bars", "level.black", 0.000, 0.002),
    ("625 bars", "burst.amplitude", 0.300, 0.003),
    ("525 bars", "level.white", 0.7143, 0.003),
    ("525 bars", "level.sync", 0.2857, 0.002),
    ("525 bars", "level.pp", 1.000, 0.004),
    ("525 bars", "level.black", 0.0536, 0.002),
    ("525 bars", "burst.amplitude", 0.2857, 0.003),
    ("625 white", "level.white", 0.700, 0.003),
    ("525 white", "level.white", 0.7143, 0.003),
]


@pytest.mark.parametrize(("case", "name", "value", "within"), LEVELS)
def test_levels_of_the_bt470_table(
    found: dict[str, Analysis], case: str, name: str, value: float, within: float
) -> None:
    q = found[case].quantity(name)
    assert q.failure is None
    assert q.value == pytest.approx(value, abs=within)
    assert abs(q.value - value) <= q.uncertainty


TIMING = [
    # ITU-R BT.470-5 table copy; the tolerance is the table's own where it has one, else the last digit printed.
    ("625 bars", "timing.line_period", 64.0e-6, 64e-12),
    ("625 bars", "timing.sync_width", 4.7e-6, 0.01e-6),
    ("625 bars", "timing.back_porch", 5.8e-6, 0.02e-6),
    ("625 white", "timing.front_porch", 1.5e-6, 0.02e-6),
    ("625 bars", "burst.frequency", 4433618.75, 50.0),
    ("525 bars", "timing.line_period", 63.5555e-6, 64e-12),
    ("525 bars", "timing.sync_width", 4.7e-6, 0.01e-6),
    ("525 bars", "timing.back_porch", 4.7e-6, 0.02e-6),
    ("525 white", "timing.front_porch", 1.5e-6, 0.02e-6),
    ("525 bars", "burst.frequency", 3579545.0, 50.0),
]


@pytest.mark.parametrize(("case", "name", "value", "within"), TIMING)
def test_timing_of_the_bt470_table(
    found: dict[str, Analysis], case: str, name: str, value: float, within: float
) -> None:
    q = found[case].quantity(name)
    assert q.failure is None
    assert q.value == pytest.approx(value, abs=within)
    assert abs(q.value - value) <= q.uncertainty


@pytest.mark.parametrize(("case", "share", "tolerance"), [("625 bars", 0.43, 0.05), ("525 bars", 0.40, 0.04)])
def test_burst_is_the_share_of_white_the_table_allows(
    found: dict[str, Analysis], case: str, share: float, tolerance: float
) -> None:
    burst, white = found[case].quantity("burst.amplitude").value, found[case].quantity("level.white").value
    assert burst is not None
    assert white is not None
    assert abs(burst / white - share) < tolerance


def bar_level(found: Analysis, system: System, index: int) -> float:
    """Return the level of one bar above blanking, read off the averaged line at the bar's centre [V]."""
    template = found.template
    assert template is not None
    span = system.period - system.front - system.active
    centre = system.active + span * (index + 0.5) / 8
    inside = np.abs(template.x - centre) < span / 32
    return float(np.nanmean(template.y[inside])) - template.levels["blanking"]


EBU_LUMA = [465.2, 368.0, 308.2, 216.8, 157.0, 59.9]
FULL_525_IRE = [89.455, 72.3425, 61.7972, 45.7025, 35.1575, 18.045]


@pytest.mark.parametrize(("index", "millivolts"), list(enumerate(EBU_LUMA, start=1)))
def test_luma_of_bars_100_0_75_0(found: dict[str, Analysis], index: int, millivolts: float) -> None:
    assert 1e3 * bar_level(found["625 ebu"], S625, index) == pytest.approx(millivolts, abs=1.5)


@pytest.mark.parametrize(("index", "ire"), list(enumerate(FULL_525_IRE, start=1)))
def test_luma_of_bars_100_75_525_lines(found: dict[str, Analysis], index: int, ire: float) -> None:
    assert bar_level(found["525 bars"], S525, index) / (1 / 140) == pytest.approx(ire, abs=0.25)


def test_white_bar_of_75_percent_bars_is_525_millivolt(found: dict[str, Analysis]) -> None:
    # Same service manual, table 2-10: G, B, R of a 75 % bar 525 mV.
    assert bar_level(found["625 75"], S625, 0) == pytest.approx(0.525, abs=0.002)


def test_black_bar_lies_at_blanking_in_625_lines(found: dict[str, Analysis]) -> None:
    assert bar_level(found["625 ebu"], S625, 7) == pytest.approx(0.0, abs=0.002)


@pytest.mark.parametrize(("case", "system"), [("625 bars", "625"), ("525 bars", "525")])
def test_the_system_is_told_by_its_line_period(found: dict[str, Analysis], case: str, system: str) -> None:
    assert found[case].system == system
    assert found[case].polarity == "negative"
    assert found[case].termination == "levels fit one load of 75 ohm"


@pytest.mark.parametrize("amplitude", [0.75, 1.0])
def test_chroma_envelope_of_bars(amplitude: float) -> None:
    # Chroma of cyan and red: 885.3 mV p-p of 100 % bars, 663.9 of 75 % bars (BT.470 equations).
    shot = Shot(kind="chroma", amplitude=amplitude, rate=40.1e6, duration=4e-3, start=2.2e-3, noise=0.003)
    capture = capture_of(shot, shot.but(kind="sync"))
    pp = analyse(capture, "signal", sync_channel="sync", settings=Settings(load="terminated")).quantity("level.pp")
    assert pp.value == pytest.approx(0.8853 * amplitude, rel=0.01)


@pytest.mark.parametrize(
    ("seen", "words"),
    [(1.0, "fit one load"), (2.0, "twice the nominal"), (2 / 3, "two thirds of the nominal"), (1.33, None)],
)
def test_termination_hint_by_circuit_law(seen: float, words: str | None) -> None:
    # 75 ohm source: open end doubles the level, a second 75 ohm load leaves two thirds (circuit law).
    hint = analyse(capture_of(Shot(gain=seen, noise=0.005, duration=3e-3, start=2.2e-3))).termination
    assert hint is None if words is None else words in str(hint)
