"""Headroom and differential gain: found by the solver at the clip point and at the signal's own ends, on no grid."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from guardcheck.engine import Engine
from guardcheck.measure import clip_bracket, worst_bend
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN
from tests.pipeline.jobs import finding, line, run, text


def buffered(top: float) -> str:
    """Return a job: a buffer of gain 2 that stops at `top` volts, under a signal that drives it from 0.6 V to 2.0 V."""
    return text(
        line(
            source_values='white = "1.0 V", black = "0.3 V", impedance = "1 ohm"',
            stage="video-buffer",
            stage_values=f'high_swing = "{5.0 - top:.4f} V", low_swing = "0 V"',
        )
    )


# Into 75 ohm behind 75 ohm a volt at the amplifier is half a volt at the display. White stands at 2.0 V, black at
# 0.6 V; the lower clip is 0.6 V away (0.3 V at the display). 8 % of the swing of 1.4 V is 112 mV there, 56 mV here.
@pytest.mark.parametrize(
    ("top", "room", "outcome"),
    [
        (2.0 - 0.112, -0.056, DOES_NOT_CONFORM),
        (2.0 - 0.004, -0.002, DOES_NOT_CONFORM),
        (2.0 + 0.004, 0.002, CONFORMS),
        (2.0 + 0.2, 0.1, CONFORMS),
        (2.0 + 0.9, 0.3, CONFORMS),
    ],
)
def test_headroom_is_the_distance_to_the_clip(engine: Engine, top: float, room: float, outcome: str) -> None:
    found = finding(run(engine, buffered(top)), "level.headroom")
    assert found.value == pytest.approx(room, abs=5e-4)
    assert found.outcome == outcome


def test_a_signal_cut_below_its_middle_has_no_headroom(engine: Engine) -> None:
    """Driven from 0.6 V to 3.8 V and cut at 1.7 V: 0.55 V of white look right, and 2.1 V (1.05 V here) are gone."""
    result = run(engine, buffered(1.7).replace('white = "1.0 V"', 'white = "1.9 V"'))
    assert finding(result, "level.white").value == pytest.approx(0.55, abs=0.01)
    found = finding(result, "level.headroom")
    assert found.value == pytest.approx(-1.05, abs=2e-3)
    assert (found.outcome, result.outcome) == (DOES_NOT_CONFORM, DOES_NOT_CONFORM)


def test_headroom_without_a_clip_is_a_lower_bound(engine: Engine) -> None:
    found = finding(run(engine, text(line())), "level.headroom")
    assert found.value == pytest.approx(1.5, abs=0.01)  # 3 V of EMF, halved into 75 ohm
    assert "lower bound" in found.why


IS, N, RS, VT = 2.218e-8, 1.0214, 1.154, 8.617333262e-5 * 300.15
"""The two Schottky diodes of the guard as its model states them, at 27 degC."""


def gain_at(emf: float) -> float:
    """Slope of the load voltage behind 75 ohm into 75 ohm, a diode to either rail: Shockley's equation, by hand."""

    def amps(junction: float) -> float:
        return IS * math.expm1(junction / (N * VT))

    def load(drive: float) -> float:
        def volts(junction: float) -> float:
            return -(junction + RS * amps(junction))

        def left(junction: float) -> float:  # the upper diode is far in reverse and leaks its saturation current
            return (drive - 2 * volts(junction)) / 75 + amps(junction) + IS

        return volts(float(brentq(left, -3.0, 0.6, xtol=1e-14)))

    return (load(emf + 1e-4) - load(emf - 1e-4)) / 2e-4


@pytest.mark.parametrize("tip", [-0.35, -0.45, -0.6])
def test_a_schottky_pair_under_the_sync_tip(engine: Engine, tip: float) -> None:
    """The gain at the very tip counts: a grid of tenths of a volt averages it away to a third of the true figure."""
    job = text(
        line(
            "comp",
            standard="composite-625",
            source_values=f'white = "1.4 V", black = "0 V", blank = "0 V", sync = "{tip} V", impedance = "75 ohm"',
            stage="pass-through",
            stage_values="",
            guard="schottky-pair",
        )
    )
    found = finding(run(engine, job), "guard.distortion", "comp", guarded=True)
    expected = abs(gain_at(tip) / gain_at(0.0) - 1.0)
    assert found.value == pytest.approx(expected, rel=0.02)
    assert found.outcome == (CONFORMS if expected < 0.05 else NOT_PROVEN)  # its limit is from memory: workmanship
    assert ("Outside the workshop's target" in found.why) == (expected >= 0.05)


def test_brackets_by_hand() -> None:
    emf = np.array([[0.0, 1.0, 2.0, 3.0]] * 4)
    gain = np.array([[1, 0.9, 0.51, 0.49], [1, 1, 1, 1], [1, np.nan, 1, 1], [1, 0.5, 0.4, 1]])
    found = clip_bracket(emf, gain, np.ones(4))
    assert found[0].tolist() == [2.0, 3.0]
    assert np.isnan(found[1]).all()
    assert found[2].tolist() == [0.0, 1.0]
    assert found[3].tolist() == [1.0, 2.0]  # exactly half is not yet lost


def test_bends_by_hand() -> None:
    bare = np.array([[0.5, 0.5, 0.5, 0.0], [0.5, 0.5, 0.5, 0.5]])
    guarded = np.array([[0.4, 0.4, 0.3, 0.0], [0.5, 0.5, np.nan, 0.5]])
    worst, column = worst_bend(bare, guarded)
    assert worst[0] == pytest.approx(0.25)  # 0.3 of 0.4 is left
    assert column[0] == 2
    assert np.isnan(worst[1])
