"""Grey scales of resistor ladders against nodal analysis and published dividers; colour on a pin of its own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from guardcheck.appraisal import Appraisal
from guardcheck.engine import Engine
from guardcheck.model import CONFORMS, NOT_PROVEN, Finding
from guardcheck.signals import code_levels
from tests.pipeline.jobs import finding, line, text
from tests.shelf.appraised import run

SERIES = 'series = "1 mohm"'


def nodal(bits: tuple[int, ...], legs: tuple[float, ...], high: float, load: float) -> float:
    """Return the loaded level of one code by nodal analysis: every driver stands alone, no equivalent is used."""
    count = len(legs)
    matrix = np.zeros((count + 1, count + 1))
    right = np.zeros(count + 1)
    for index, (bit, leg) in enumerate(zip(bits, legs, strict=True)):
        matrix[index, index] = 1.0
        right[index] = high * bit
        matrix[count, count] += 1.0 / leg
        matrix[count, index] -= 1.0 / leg
    matrix[count, count] += 1.0 / load
    return float(np.linalg.solve(matrix, right)[count])


# what, bits, legs [ohm], high [V], load [ohm], expected [V], tolerance, where the figure was published
PUBLISHED = [
    ("330 ohm alone high", (1, 0), (330.0, 680.0), 3.3, 75.0, None, 0.0, "Millman's theorem, Proc. IRE 28 (1940)"),
    ("both high", (1, 1), (330.0, 680.0), 3.3, 75.0, 0.83, 5e-3, "Land Boards VGAX49 note: 0.83 V"),
    ("330 ohm only leg", (1,), (330.0,), 3.3, 75.0, 0.61, 5e-3, "Land Boards VGAX49 note: 0.61 V"),
    ("470 ohm from 3.3 V", (1,), (470.0,), 3.3, 75.0, 0.4541, 5e-4, "os.mbed.com vga640x400: 470 ohm per gun"),
    ("470 ohm from 5 V", (1,), (470.0,), 5.0, 75.0, 0.688, 1e-3, "divider, 5 V x 75/545"),
    ("280 ohm from 3.3 V", (1,), (280.0,), 3.3, 75.0, 0.70, 5e-3, "electronics.stackexchange 453377: about 0.7 V"),
]


@pytest.mark.parametrize(("what", "bits", "legs", "high", "load", "expected", "tolerance", "where"), PUBLISHED)
def test_code_levels_are_those_of_nodal_analysis_and_of_print(
    what: str,
    bits: tuple[int, ...],
    legs: tuple[float, ...],
    high: float,
    load: float,
    expected: float | None,
    tolerance: float,
    where: str,
) -> None:
    open_levels = code_levels(np.array([legs]), np.zeros(1), np.array([high]))[0]
    code = int("".join(map(str, bits)), 2)
    behind = 1.0 / sum(1.0 / leg for leg in legs)
    loaded = open_levels[code] * load / (load + behind)
    assert loaded == pytest.approx(nodal(bits, legs, high, load), rel=1e-12), what
    assert where
    if expected is not None:
        assert loaded == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize("count", [2, 3, 4, 5])
def test_every_code_of_every_ladder_agrees_with_nodal_analysis(count: int) -> None:
    """Legs as they come, not binary, and a low level above zero: superposition of the low level is added by hand."""
    rng = np.random.default_rng(count)
    legs = tuple(rng.uniform(100.0, 5e3, count))
    low, high = 0.3, 4.1
    levels = code_levels(np.array([legs]), np.array([low]), np.array([high]))[0]
    assert levels.shape == (2**count,)
    for code in range(2**count):
        bits = tuple(int(digit) for digit in f"{code:0{count}b}")
        assert levels[code] == pytest.approx(low + nodal(bits, legs, high - low, 1e12), rel=1e-9)


def steps(result: Appraisal) -> list[Finding]:
    return sorted(
        (one for one in result.findings if one.quantity == "grey.step"), key=lambda one: int(one.id.split()[1])
    )


def ladder(source: str, values: str, *, stage_values: str = SERIES) -> str:
    return text(line(source=source, source_values=values, stage_values=stage_values), rail="5 V")


class TestGreyScale:
    @pytest.mark.parametrize("count", [2, 3, 4, 5])
    def test_every_step_is_judged_and_binary_legs_make_even_ones(self, engine: Engine, count: int) -> None:
        values = ", ".join(f'leg_{bit + 1} = "{470 * 2**bit} ohm"' for bit in range(count))
        result = run(engine, ladder(f"ladder-{count}", f'driver = "1 mohm", {values}'))
        found = steps(result)
        assert len(found) == 2**count - 2
        for index, row in enumerate(found, start=1):
            assert row.value == pytest.approx(index / (2**count - 1), abs=1e-4)
            assert row.outcome == CONFORMS
        assert finding(result, "grey.rise").value == pytest.approx(1.0, abs=1e-3)

    def test_step_volts_are_those_of_nodal_analysis(self, engine: Engine) -> None:
        """Three legs of 500, 1000 and 2000 ohm with 30 ohm of driver, 5 V, 75 ohm: every code solved as a network."""
        result = run(engine, ladder("ladder-3", 'leg_1 = "500 ohm", leg_2 = "1 kohm", leg_3 = "2 kohm"'))
        legs = (530.0, 1030.0, 2030.0)
        white = nodal((1, 1, 1), legs, 5.0, 75.0)
        assert finding(result, "level.white").value == pytest.approx(white, rel=1e-3)
        for code, row in enumerate(steps(result), start=1):
            bits = tuple(int(digit) for digit in f"{code:03b}")
            assert row.value == pytest.approx(nodal(bits, legs, 5.0, 75.0) / white, abs=2e-4)

    def test_equal_legs_put_two_steps_in_one_place(self, engine: Engine) -> None:
        result = run(engine, ladder("ladder-2", 'leg_1 = "680 ohm", leg_2 = "680 ohm"'))
        assert [row.value for row in steps(result)] == pytest.approx([0.5, 0.5], abs=1e-6)
        assert {row.outcome for row in steps(result)} == {NOT_PROVEN}
        assert finding(result, "grey.rise").outcome == NOT_PROVEN
        assert "workshop's target" in finding(result, "grey.rise").why
        assert finding(result, "grey.rise").needed is False

    def test_colour_and_intensity_are_two_thirds_and_one_third(self, engine: Engine) -> None:
        """Vintage-computer forum, thread 487112: two thirds and one third."""
        result = run(engine, ladder("rgbi-pins", 'driver = "30 ohm", colour = "470 ohm", intensity = "1 kohm"'))
        assert [row.value for row in steps(result)] == pytest.approx([0.327, 0.673], abs=1e-3)
        assert {row.outcome for row in steps(result)} == {CONFORMS}

    def test_leg_tolerances_spread_every_step(self, engine: Engine) -> None:
        """A 10 % leg of 680 ohm beside 340 ohm: shares 1/(1 + 2 x 1.1) and 1/(1 + 2 x 0.9) of the lower step."""
        result = run(engine, ladder("ladder-2", 'driver = "1 mohm", leg_1 = "340 ohm", leg_2 = "680 ohm 10%"'))
        low, high = steps(result)[0].spread or (0.0, 0.0)
        assert low == pytest.approx(1 / (1 + 2 * 1.1), abs=1e-3)
        assert high == pytest.approx(1 / (1 + 2 * 0.9), abs=1e-3)


class TestLumaAndChroma:
    VALUES = 'white = "2 V", black = "0.6 V", blank = "0.6 V", sync = "0 V", burst = "0.6 V"'

    def burst(self, engine: Engine, more: str = "") -> float:
        job = text(
            line(
                names="comp",
                standard="composite-625",
                source="luma-chroma-pins",
                source_values=self.VALUES + more,
                stage_values=SERIES,
            )
        )
        value = finding(run(engine, job), "burst.amplitude", "comp").value
        assert value is not None
        return value

    def by_hand(self, luma: float, chroma: float, farads: float, trap: complex | None = None) -> float:
        """Return the burst at 75 ohm from the chroma pin: two complex nodes, solved by numpy."""
        omega = 2 * math.pi * 4.43361875e6
        leg = 1 / (chroma + 1 / (1j * omega * farads))
        half = 2.0 / luma
        shunt = 0 if trap is None else 1 / trap
        at_pin = half + leg + 1 / 75 + 1j * omega * 20e-12
        matrix = np.array([[2 * half + shunt, -half], [-half, at_pin]])
        return float(abs(np.linalg.solve(matrix, np.array([0, 0.6 * leg]))[1]))

    def test_burst_comes_through_its_own_leg(self, engine: Engine) -> None:
        more = ', luma_resistance = "150 ohm", chroma_resistance = "220 ohm", chroma_capacitor = "220 pF"'
        assert self.burst(engine, more) == pytest.approx(self.by_hand(150.0, 220.0, 220e-12), rel=3e-3)

    def test_a_trap_in_the_luma_leg_loads_the_burst(self, engine: Engine) -> None:
        more = ', luma_resistance = "150 ohm", chroma_resistance = "220 ohm", trap_resistance = "10 ohm"'
        assert self.burst(engine, more) == pytest.approx(self.by_hand(150.0, 220.0, 1e-9, 10.0), rel=3e-3)
        assert self.burst(engine, more) < self.by_hand(150.0, 220.0, 1e-9)
