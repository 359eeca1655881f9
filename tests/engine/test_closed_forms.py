"""The engine against closed forms, handbook relations and published worked examples."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.constants import Boltzmann, elementary_charge
from scipy.optimize import brentq

from guardcheck.engine import Engine
from guardcheck.model import Card, Deck, Model, Sweep, Trace, Transient
from tests.engine.decks import deck, divider

EXACT = {"method": "trap"}


def one(engine: Engine, wanted: Deck) -> Trace:
    (trace,) = engine.run([wanted])
    assert trace.failure is None, trace.failure
    assert trace.solved.all()
    return trace


def step(resistance: float, capacitance: float, edge: float = 1e-12) -> tuple[Card, ...]:
    return (
        Card("v1", ("in", "0"), None, f"pulse(0.0 1.0 0.0 {edge!r} {edge!r} 1.0 2.0)"),
        Card("r1", ("in", "out"), resistance),
        Card("c1", ("out", "0"), capacitance),
    )


def test_divider(engine: Engine) -> None:
    """Ohm's law; the shunt of 1e12 ohm on each node is the only error."""
    trace = one(engine, deck(divider(), save=("v(out)", "i(v1)", "v(in)")))
    assert trace.axis is None
    assert trace.vectors["v(out)"].shape == (1,)
    assert trace.vectors["v(out)"][0] == pytest.approx(2.0, rel=2e-9)
    assert trace.vectors["i(v1)"][0] == pytest.approx(-1e-3, rel=2e-8)
    assert trace.help_used == ()


def test_rc_step(engine: Engine) -> None:
    """Circuit law 1 - exp(-t/tau), one to five time constants."""
    tau = 1e-6
    wanted = deck(step(1e3, 1e-9), Transient(1e-8, 5.5e-6, tau / 50), options=EXACT)
    trace = one(engine, wanted)
    assert trace.axis is not None
    for multiple in range(1, 6):
        at = np.interp(multiple * tau, trace.axis, trace.vectors["v(out)"][0])
        assert at == pytest.approx(1.0 - math.exp(-multiple), rel=1e-4)


def test_window_means_of_an_rc_step(engine: Engine) -> None:
    """The mean of 1 - exp(-t/tau) over a window, integrated by hand."""
    tau = 1e-6
    windows = ((0.5e-6, 1.5e-6), (2.0e-6, 2.1e-6), (0.0, 5.5e-6))
    wanted = deck(step(1e3, 1e-9), Transient(1e-8, 5.5e-6, tau / 50), options=EXACT, windows=windows)
    trace = one(engine, wanted)
    assert trace.axis is None
    assert trace.vectors["v(out)"].shape == (1, 3)
    for mean, (start, end) in zip(trace.vectors["v(out)"][0], windows, strict=True):
        expected = 1.0 - tau * (math.exp(-start / tau) - math.exp(-end / tau)) / (end - start)
        assert mean == pytest.approx(expected, rel=1e-4)


def test_droop_of_an_output_capacitor(engine: Engine) -> None:
    """Worked examples C04 and C05: 220 uF into 150 ohm, 0.1938 % after 64 us and 45.45 % after 20 ms (circuit law)."""
    cards = (
        Card("v1", ("in", "0"), None, "pulse(0.0 1.0 0.0 1e-09 1e-09 1.0 2.0)"),
        Card("c1", ("in", "a"), 220e-6),
        Card("r1", ("a", "out"), 75.0),
        Card("r2", ("out", "0"), 75.0),
    )
    short = one(engine, deck(cards, Transient(1e-6, 64e-6, 1e-6)))
    long = one(engine, deck(cards, Transient(1e-4, 20e-3, 1e-4)))
    for trace, droop, tolerance in ((short, 0.1938, 0.002), (long, 45.45, 0.05)):
        wave = trace.vectors["v(out)"][0]
        assert 100.0 * (wave.max() - wave[-1]) / wave.max() == pytest.approx(droop, abs=tolerance)


def test_corner_of_a_clamp(engine: Engine) -> None:
    """Worked example C14: 37.5 ohm and 2 x 10 pF have their corner at 212.2 MHz; at a corner |H| is 1/sqrt 2."""
    corner = 1.0 / (2.0 * math.pi * 37.5 * 20e-12)
    assert corner / 1e6 == pytest.approx(212.2, abs=0.5)
    cards = (Card("v1", ("in", "0"), 0.0, "ac 1.0"), *step(37.5, 20e-12)[1:])
    trace = one(engine, deck(cards, Sweep(corner, corner, 1)))
    assert trace.axis == pytest.approx([corner])
    gain = trace.vectors["v(out)"][0, 0]
    assert abs(gain) == pytest.approx(math.sqrt(0.5), rel=1e-8)
    assert math.degrees(np.angle(gain)) == pytest.approx(-45.0, abs=1e-6)


@pytest.mark.parametrize("points", [2, 31, 50, 301])
def test_sweep_axis(engine: Engine, points: int) -> None:
    """Both ends are met, the spacing is logarithmic, and there are at least as many points as asked for."""
    cards = (Card("v1", ("in", "0"), 0.0, "ac 1.0"), *step(1e3, 1e-9)[1:])
    trace = one(engine, deck(cards, Sweep(1e3, 3e7, points)))
    assert trace.axis is not None
    assert points <= len(trace.axis) <= points * 1.1 + 5
    assert trace.axis[[0, -1]] == pytest.approx([1e3, 3e7])
    ratios = trace.axis[1:] / trace.axis[:-1]
    assert ratios == pytest.approx(ratios[0])
    expected = 1.0 / (1.0 + 2j * math.pi * trace.axis * 1e-6)
    assert np.abs(trace.vectors["v(out)"][0] - expected).max() < 1e-7


def test_capacitor_at_mains(engine: Engine) -> None:
    """Worked example L02: 100 nF at 240 V, 50 Hz carry 7.54 mA."""
    cards = (Card("v1", ("out", "0"), 0.0, "ac 240.0"), Card("c1", ("out", "0"), 100e-9))
    trace = one(engine, deck(cards, Sweep(50.0, 50.0, 1), save=("i(v1)",)))
    assert abs(trace.vectors["i(v1)"][0, 0]) * 1e3 == pytest.approx(7.54, abs=0.005)


@pytest.mark.parametrize(
    ("saturation", "emission", "series"),
    [
        pytest.param(2.52e-9, 1.752, 0.568, id="switching diode"),
        pytest.param(0.21e-6, 1.016, 2.6, id="Schottky"),
        pytest.param(1e-14, 1.0, 5.0, id="diode on a chip"),
    ],
)
@pytest.mark.parametrize("volts", [0.3, 1.0, 5.0, 12.0])
def test_diode_equation(engine: Engine, saturation: float, emission: float, series: float, volts: float) -> None:
    """Shockley's equation at 27 degrees Celsius, solved by scipy, with CODATA constants."""
    thermal = Boltzmann * 300.15 / elementary_charge
    resistance = 75.0

    def excess(current: float) -> float:
        return current - saturation * math.expm1((volts - (resistance + series) * current) / (emission * thermal))

    expected = brentq(excess, 0.0, volts / (resistance + series), xtol=1e-18, rtol=1e-14)
    diode = Model("dx", "d", {"is": saturation, "n": emission, "rs": series})
    cards = (
        Card("v1", ("in", "0"), volts),
        Card("r1", ("in", "out"), resistance),
        Card("d1", ("out", "0"), None, "dx"),
    )
    trace = one(engine, deck(cards, save=("i(v1)",), models=(diode,), options={"abstol": 1e-13, "reltol": 1e-6}))
    leak = 5e-12 * volts  # gmin across the junction and the shunts of three nodes, 1e-12 S each
    assert -trace.vectors["i(v1)"][0] == pytest.approx(expected, rel=1e-5, abs=leak)


DELAY = 5e-9


def coax(source: float, load: float) -> tuple[Card, ...]:
    return (
        Card("v1", ("in", "0"), None, "pulse(0.0 1.0 1e-09 1e-10 1e-10 1.0 2.0)"),
        Card("rs", ("in", "near"), source),
        Card("t1", ("near", "0", "out", "0"), None, f"z0=75.0 td={DELAY!r}"),
        Card("rl", ("out", "0"), load),
    )


def plateaus(engine: Engine, source: float, load: float, after: Sequence[float]) -> np.ndarray:
    """Return the load voltage in the middle of the plateau that begins after each number of delays."""
    windows = [(1e-9 + (n + 0.5) * DELAY, 1e-9 + (n + 1.5) * DELAY) for n in after]
    wanted = deck(coax(source, load), Transient(1e-9, 60 * DELAY, DELAY / 10), windows=windows)
    return one(engine, wanted).vectors["v(out)"][0]


def reflection(load: float) -> float:
    return (load - 75.0) / (load + 75.0)


def test_mismatch_at_both_ends(engine: Engine) -> None:
    """Worked examples R11 and R12: 15 ohm, 75-ohm line, 82 ohm; first step 0.8705 V, final 82/97 = 0.84536 V."""
    first, third, last = plateaus(engine, 15.0, 82.0, (1, 3, 51))
    assert first == pytest.approx(0.8705, abs=0.0005)
    assert first == pytest.approx(75.0 / 90.0 * (1.0 + reflection(82.0)), rel=1e-6)
    assert third - first == pytest.approx(first * reflection(82.0) * reflection(15.0), rel=1e-5)
    assert last == pytest.approx(0.84536, abs=0.0005)


def test_mismatched_load_on_a_matched_source(engine: Engine) -> None:
    """Worked example R10: 150 ohm behind a matched line take 1.3333 of the incident step."""
    (first,) = plateaus(engine, 75.0, 150.0, (1,))
    assert first / 0.5 == pytest.approx(1.3333, abs=0.001)


def test_matched_line_in_a_sweep(engine: Engine) -> None:
    """A matched line only delays: 0.5 exp(-j w td)."""
    cards = (Card("v1", ("in", "0"), 0.0, "ac 1.0"), *coax(75.0, 75.0)[1:])
    trace = one(engine, deck(cards, Sweep(1e5, 1e9, 41)))
    assert trace.axis is not None
    expected = 0.5 * np.exp(-2j * math.pi * trace.axis * DELAY)
    assert np.abs(trace.vectors["v(out)"][0] - expected).max() < 1e-7


@pytest.mark.parametrize(("load", "loss"), [(78.75, 32.256), (82.0, 27.016), (50.0, 13.979), (150.0, 9.542)])
def test_return_loss(engine: Engine, load: float, loss: float) -> None:
    """Worked examples R01, R04, R07, R08, from the impedance a driven current sees."""
    cards = (Card("i1", ("0", "out"), 0.0, "ac 1.0"), Card("r1", ("out", "0"), load))
    trace = one(engine, deck(cards, Sweep(1e5, 1e5, 1)))
    seen = trace.vectors["v(out)"][0, 0]
    assert -20.0 * math.log10(abs((seen - 75.0) / (seen + 75.0))) == pytest.approx(loss, abs=0.01)


def test_unit_step_without_operating_point(engine: Engine) -> None:
    """A capacitor charged by `ic=` decays as exp(-t/tau) when the run starts from initial conditions."""
    cards = (Card("r1", ("out", "0"), 1e3), Card("c1", ("out", "0"), 1e-9, "ic=5.0"))
    trace = one(engine, deck(cards, Transient(1e-8, 3e-6, 2e-8, uic=True), options=EXACT))
    assert trace.axis is not None
    assert trace.vectors["v(out)"][0, -1] == pytest.approx(5.0 * math.exp(-3.0), rel=3e-4)


def test_coupled_coils(engine: Engine) -> None:
    """An unloaded transformer gives k sqrt(L2/L1) of its primary voltage."""
    cards = (
        Card("v1", ("in", "0"), 0.0, "ac 1.0"),
        Card("r1", ("in", "a"), 1e-3),
        Card("l1", ("a", "0"), 1e-3),
        Card("l2", ("out", "0"), 4e-3),
        Card("k1", ("l1", "l2"), 0.9),
        Card("r2", ("out", "0"), 1e9),
    )
    trace = one(engine, deck(cards, Sweep(1e5, 1e5, 1)))
    assert abs(trace.vectors["v(out)"][0, 0]) == pytest.approx(0.9 * 2.0, rel=1e-6)
