"""Colour bars against published tables."""

from __future__ import annotations

import numpy as np
import pytest

from guardcheck.signals import colour_bars
from guardcheck.signals.bars import NAMES

# Luma of 100/0/75/0 bars, mV (SMPTE/EBU N10 values in a studio recorder's service manual, table 2-10)
N10 = {"yellow": 465.2, "cyan": 368.0, "green": 308.2, "magenta": 216.8, "red": 157.0, "blue": 59.9}
# Chroma of 100/7.5/100/7.5 bars, IRE peak to peak (published table, forum.videohelp.com p=2649321), on 92.5 IRE
IRE = {"yellow": 82.7567, "cyan": 116.982, "green": 109.234, "magenta": 109.234, "red": 116.982, "blue": 82.7567}


@pytest.mark.parametrize(("name", "millivolts"), N10.items())
def test_luma_of_three_quarter_bars(name: str, millivolts: float) -> None:
    assert 700 * colour_bars(0.75).luma[NAMES.index(name)] == pytest.approx(millivolts, abs=0.06)


@pytest.mark.parametrize(("name", "ire"), IRE.items())
def test_chroma_of_full_bars(name: str, ire: float) -> None:
    assert 92.5 * colour_bars().chroma[NAMES.index(name)] == pytest.approx(ire, abs=0.02)


# ITU-R BT.470 table (copy): peak level including chrominance 133 % of white; computed minimum -233.3 mV of 700
def test_full_bars_reach_a_third_beyond_white_and_below_black() -> None:
    bars = colour_bars()
    assert 100 * bars.highest == pytest.approx(133.33, abs=0.05)
    assert 700 * bars.lowest == pytest.approx(-233.3, abs=0.5)
    assert np.all(bars.chroma[[0, 7]] < 1e-12)


# Property of 75 % bars: yellow peaks at the level of 100 % white
def test_three_quarter_bars_peak_at_white() -> None:
    assert colour_bars(0.75).highest == pytest.approx(1.0, abs=1e-3)
