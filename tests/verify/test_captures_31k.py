"""Captures of a VGA picture, of separate syncs, and of one scope's several files, through the whole of `verify`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN
from tests.measure.drawn import (
    L15,
    VGA,
    VGA_BACK,
    VGA_FRONT,
    VGA_SYNC,
    Array,
    bar,
    drawn,
    in_order,
    pulse,
)
from tests.measure.measure_synth import csv_text
from tests.verify.bench import BACK_MATCHED, dark, line, only, run, text

VGA_JOB = text(
    line(
        "red",
        standard="vga",
        source_values='white = "1.4 V", impedance = "1 mohm"',
        stage_values='series = "75 ohm 1%"',
    )
)
SYNC_JOB = text(
    line("hsync", standard="logic-sync", source="logic-pin", source_values="", stage="pass-through", stage_values="")
)
TAKEN = {"sync": "CH2", "picture": ("white",), "load": ("terminated",), "place": ("display",), "coupling": ("dc",)}


def file(folder: Path, name: str, rate: float, channels: Mapping[str, Array]) -> str:
    """Write a capture; rate [MHz]."""
    n = min(len(volts) for volts in channels.values())
    t = np.arange(n) / (1e6 * rate)
    path = folder / name
    path.write_text(csv_text(t, {key: volts[:n] for key, volts in channels.items()}), encoding="utf-8")
    return str(path)


def red_at_31(gain: float = 1.0) -> Array:
    return gain * drawn(in_order(bar(VGA_SYNC + VGA_BACK, VGA - VGA_FRONT, 0.0, 0.7), VGA), VGA, rate=20.0, noise=0.003)


def sync_at_31(low: float = 0.2, high: float = 4.6) -> Array:
    return drawn(in_order(pulse(VGA_SYNC, high, low), VGA), VGA, rate=20.0, noise=0.03, seed=2)


def red_at_15(gain: float = 1.0) -> Array:
    return gain * drawn(in_order(bar(10.5, 62.5, 0.0, 0.7, 0.3), L15), L15, rate=10.0, noise=0.003)


def sync_at_15(period: float = L15, height: float = 0.3) -> Array:
    return drawn(in_order(pulse(4.7, 0.0, -height, 0.2), period), period, rate=10.0, noise=0.003, seed=3)


def test_a_vga_picture_is_judged(engine: Engine, tmp_path: Path) -> None:
    for gain, outcome in ((1.0, CONFORMS), (1.3, DOES_NOT_CONFORM)):
        taken = file(tmp_path, "red.csv", 20.0, {"CH1": red_at_31(gain), "CH2": sync_at_31()})
        result = run(engine, tmp_path, VGA_JOB, dark("red", "level.black"), captures=(f"red={taken}",), **TAKEN)
        assert only(result, "level.white").value == pytest.approx(0.7 * gain, abs=0.003)
        assert (only(result, "level.white").outcome, result.outcome) == (outcome, outcome)
        period = only(result, "timing.line_period")
        assert (period.outcome, period.needed) == (CONFORMS, True)


def test_the_picture_of_another_standard_does_not_conform(engine: Engine, tmp_path: Path) -> None:
    """White of 0.7 V fits either way; a line of 64 us is none for a VGA monitor, one of 31.8 us none for a TV set."""
    slow = file(tmp_path, "slow.csv", 10.0, {"CH1": red_at_15(), "CH2": sync_at_15()})
    fast = file(tmp_path, "fast.csv", 20.0, {"CH1": red_at_31(), "CH2": sync_at_31()})
    for job, taken in ((VGA_JOB, slow), (text(BACK_MATCHED), fast)):
        result = run(engine, tmp_path, job, dark("red", "level.black"), captures=(f"red={taken}",), **TAKEN)
        assert only(result, "level.white").outcome == CONFORMS
        period = only(result, "timing.line_period")
        assert (period.outcome, period.needed, result.outcome) == (DOES_NOT_CONFORM, True, DOES_NOT_CONFORM)


def test_a_low_that_is_not_low_does_not_conform(engine: Engine, tmp_path: Path) -> None:
    """Monitor service manuals: low up to 0.8 V, high from 2.0 V; a swing of 3.4 V between 1.2 and 4.6 V is none."""
    told = {"load": ("terminated",), "place": ("display",), "coupling": ("dc",)}
    for low, outcome in ((0.2, CONFORMS), (1.2, DOES_NOT_CONFORM)):
        taken = file(tmp_path, "sync.csv", 20.0, {"CH1": sync_at_31(low)})
        result = run(engine, tmp_path, SYNC_JOB, captures=(f"hsync={taken}",), **told)
        assert only(result, "level.low", "hsync").outcome == outcome
        assert only(result, "level.high", "hsync").outcome == CONFORMS


def test_a_declared_line_rate_moves_what_a_logic_sync_is_held_to(engine: Engine, tmp_path: Path) -> None:
    """262 lines of 59.92 Hz are 15.7 kHz, 63.7 us: sync of 64 us fits that and not the 31.8 us of 640 by 480."""
    told = {"load": ("terminated",), "place": ("display",), "coupling": ("dc",)}
    volts = drawn(in_order(pulse(4.7, 4.6, 0.2, 0.2), 64.0), 64.0, rate=10.0, noise=0.03)
    taken = file(tmp_path, "sync.csv", 10.0, {"CH1": volts})
    declared = f'{SYNC_JOB}\n[picture]\nfield_rate = "59.92 Hz"\nlines_per_field = "262"\n'
    for job, outcome in ((SYNC_JOB, DOES_NOT_CONFORM), (declared, CONFORMS)):
        result = run(engine, tmp_path, job, captures=(f"hsync={taken}",), **told)
        assert only(result, "timing.line_period", "hsync").outcome == outcome


TWO = text(BACK_MATCHED.replace('"red"', '"red", "green"'))
NOTE = '[[capture]]\nline = "green"\njoins = "{}"\n'


def test_two_files_of_a_two_channel_scope_are_used_as_one(engine: Engine, tmp_path: Path) -> None:
    first = file(tmp_path, "red.csv", 10.0, {"CH1": red_at_15(), "CH2": sync_at_15()})
    for period, height, outcome, words in (
        (64.0, 0.3, CONFORMS, ""),
        (63.5555, 0.3, NOT_PROVEN, "two line rates"),
        (64.5, 0.3, NOT_PROVEN, "wrong time base"),
        (64.0, 0.36, NOT_PROVEN, "360 mV high here"),
    ):
        green = 1.01 * drawn(in_order(bar(10.5, 62.0, 0.0, 0.7, 0.3), period), period, rate=10.0, noise=0.003, seed=9)
        second = file(tmp_path, "green.csv", 10.0, {"CH1": green, "CH2": sync_at_15(period, height)})
        uses = (f"red={first}", f"green={second}")
        result = run(engine, tmp_path, TWO, NOTE.format("red"), captures=uses, **TAKEN)
        white = only(result, "level.white", "green")
        assert (white.outcome, white.needed) == (outcome, True)
        assert words in white.why
        assert only(result, "level.white", "red").outcome == CONFORMS


@pytest.mark.parametrize(
    ("joins", "sync", "words"),
    [
        ("rde", "CH2", ["'rde' is no other line with a capture", "did you mean 'red'"]),
        ("green", "CH2", ["'green' is no other line"]),
        ("red", None, ["--sync CHANNEL"]),
    ],
)
def test_what_cannot_be_joined_is_one_sentence(
    engine: Engine, tmp_path: Path, joins: str, sync: str | None, words: list[str]
) -> None:
    first = file(tmp_path, "red.csv", 10.0, {"CH1": red_at_15(), "CH2": sync_at_15()})
    second = file(tmp_path, "green.csv", 10.0, {"CH1": red_at_15(1.01), "CH2": sync_at_15()})
    uses = (f"red={first}#CH1", f"green={second}#CH1")
    with pytest.raises(InputError) as caught:
        run(engine, tmp_path, TWO, NOTE.format(joins), captures=uses, **{**TAKEN, "sync": sync})
    assert "capture[0].joins" in str(caught.value)
    for word in words:
        assert word in str(caught.value), str(caught.value)
