"""Hot plug and cable discharge solved a second time: node equations written by hand, integrated by scipy (Radau).

Nothing is shared with the program but the numbers of the circuit: diodes are Shockley junctions in series with a
resistance, the charged line is solved by the method of characteristics. Three guards each: none, a pair at the chip,
and a pair with a resistor behind it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import wrightomega

from guardcheck.compose import Chain, Rail
from guardcheck.engine import Engine
from tests.events.bench import Ran, case, chain, finer, run

VT = 25.865e-3
WINDOWS = 4
"""Reflections followed: each window is twice the delay of the line."""
VDD = 5.0
CHIP = (1e-14, 1.0, 5.0 + 1e-3)
SILICON = (2.52e-9, 1.752, 0.568)
PIN_C, BLEED = 10e-12, 10e3
PIN = {"white": "0 V", "impedance": "10 kohm", "capacitance": "10 pF", "esd_resistance": "5 ohm"}
RAIL = Rail(VDD, 1.0, 0.0, 1e6)


def diode(volts: float, parameters: tuple[float, float, float]) -> float:
    """Return the current of a junction in series with a resistance [A], in closed form (Wright's omega function)."""
    saturation, emission, series = parameters
    if volts <= 0.0:
        return 0.0
    scale = emission * VT
    argument = np.log(saturation * series / scale) + (volts + saturation * series) / scale
    return float(scale / series * wrightomega(argument) - saturation)


def pair(volts: float, parameters: tuple[float, float, float]) -> float:
    """Return what a pair between rail and 0 V takes out of a node [A]."""
    return diode(volts - VDD, parameters) - diode(-volts, parameters)


def pin(volts: float) -> float:
    """Return the total current into the pin: its diodes and the driver at 0 V behind its resistance [A]."""
    return pair(volts, CHIP) + volts / BLEED


@dataclass(frozen=True)
class Guarded:
    """A guard as the solver sees it: series resistance, clamp or not, resistance behind it; and the program's chain."""

    chain: Callable[[str], Chain]
    series: float
    clamp: bool
    after: float


GUARDS = {
    "none": Guarded(
        lambda cable: chain(
            source_values=PIN,
            stage="series-resistor",
            stage_values={"series": "75 ohm"},
            models="first",
            cable=cable,
            cable_values=LINE if cable == "coax-75" else {},
        ),
        75.0,
        False,
        0.0,
    ),
    "pair at the chip": Guarded(
        lambda cable: chain(
            source_values=PIN,
            stage="series-resistor",
            stage_values={"series": "75 ohm"},
            guard="silicon-pair",
            models="first",
            cable=cable,
            cable_values=LINE if cable == "coax-75" else {},
        ),
        75.0,
        True,
        0.0,
    ),
    "pair, then 100 ohm": Guarded(
        lambda cable: chain(
            source_values=PIN,
            guard="resistor-and-pair",
            guard_values={"before": "75 ohm", "after": "100 ohm"},
            models="first",
            cable=cable,
            cable_values=LINE if cable == "coax-75" else {},
        ),
        75.0,
        True,
        100.0,
    ),
}
LINE = {"length": "2 m", "core": "0 ohm/m", "screen": "0 ohm/m"}


def inside(feed: float, at_pin: float, guard: Guarded) -> tuple[float, float]:
    """Return the clamp node's voltage and the current into the pin's node, for a current `feed` into the guard.

    With a resistor behind the clamp the clamp's node has no capacitance: its voltage follows from the currents.
    """
    if guard.after == 0.0:
        return at_pin, feed - (pair(at_pin, SILICON) if guard.clamp else 0.0)

    def excess(volts: float) -> float:
        return pair(volts, SILICON) + (volts - at_pin) / guard.after - feed

    volts = float(brentq(excess, -200.0, 200.0, xtol=1e-9))
    return volts, (volts - at_pin) / guard.after


def hot_plug(guard: Guarded) -> tuple[float, float, float]:
    """Return peak current into the pin [A], charge through it [C], and the energy in its diodes [J]."""
    source, capacitance, inductance, display, contact = 325.0, 2.35e-9, 1e-6, 75.0, 0.1
    rise, start = 1e-9, 1e-8

    def step(time: float) -> float:
        return source * min(max((time - start) / rise, 0.0), 1.0)

    def equations(time: float, state: np.ndarray) -> list[float]:
        amps, stored, at_pin = state
        node, into = inside(amps, at_pin, guard)
        volts = step(time) - stored - amps * (display + contact + guard.series) - node
        return [volts / inductance, amps / capacitance, (into - pin(at_pin)) / PIN_C]

    done = solve_ivp(equations, (0.0, 4e-6), [0.0, 0.0, 0.0], "Radau", rtol=1e-6, atol=1e-9, max_step=2e-8)
    return figures(done.t, done.y[2])


def figures(time: np.ndarray, at_pin: np.ndarray) -> tuple[float, float, float]:
    amps = np.array([pin(volts) for volts in at_pin])
    own = np.array([pair(volts, CHIP) for volts in at_pin])
    heat = np.where(at_pin > 0.0, own * (at_pin - VDD), own * at_pin)
    return (
        float(np.max(np.abs(amps))),
        float(np.trapezoid(np.abs(amps - amps[-1]), time)),
        float(np.trapezoid(np.abs(heat), time)),
    )


def missing(amps: float, drive: float, total: float, at_pin: float, guard: Guarded) -> float:
    """Return the voltage by which a current out of the line misses the loop's equation [V]."""
    return drive - amps * total - inside(amps, at_pin, guard)[0]


def cable_discharge(guard: Guarded) -> tuple[float, float, float]:
    """Solve a charged, open line window by window: the wave that comes back was sent two delays before."""
    source, impedance, delay, contact = 500.0, 75.0, 2.0 / 2e8, 0.1
    rise, start = 1e-9, 1e-9
    sent_time, sent = np.array([-1.0, 0.0]), np.array([0.0, 0.0])
    state = [0.0]
    times: list[np.ndarray] = []
    pins: list[np.ndarray] = []
    for index in range(WINDOWS):
        begin, end = 2.0 * delay * index, 2.0 * delay * (index + 1)

        def amps_of(time: float, at_pin: float, at: np.ndarray = sent_time, wave: np.ndarray = sent) -> float:
            """Return the current out of the line: a step in series with an uncharged line, and what comes back."""
            step = source * min(max((time - start) / rise, 0.0), 1.0)
            drive = step + 2.0 * float(np.interp(time - 2.0 * delay, at, wave))
            total = impedance + contact + guard.series
            if guard.after == 0.0:
                return (drive - at_pin) / total
            return float(brentq(missing, -50.0, 50.0, args=(drive, total, at_pin, guard)))

        def equations(time: float, now: np.ndarray, current: Callable[..., float] = amps_of) -> list[float]:
            into = inside(current(time, now[0]), now[0], guard)[1]
            return [(into - pin(now[0])) / PIN_C]

        done = solve_ivp(equations, (begin, end), state, "Radau", rtol=1e-6, atol=1e-7, max_step=0.2e-9)
        times.append(done.t)
        pins.append(done.y[0])
        back = np.interp(done.t - 2.0 * delay, sent_time, sent)
        amps = np.array([amps_of(time, volts) for time, volts in zip(done.t, done.y[0], strict=True)])
        sent_time, sent = np.append(sent_time, done.t[1:]), np.append(sent, (back - impedance * amps)[1:])
        state = [float(done.y[0][-1])]
    return figures(np.concatenate(times), np.concatenate(pins))


def compared(ran: Ran, wanted: tuple[float, float, float]) -> None:
    peak, charge, energy = wanted
    assert ran.pin.current == pytest.approx(peak, rel=0.01)
    assert ran.pin.charge == pytest.approx(charge, rel=0.02)
    assert ran.pin.energy == pytest.approx(energy, rel=0.03)


@pytest.mark.parametrize("name", GUARDS)
def test_hot_plug_agrees_with_a_second_solver(name: str, engine: Engine) -> None:
    guard = GUARDS[name]
    ran = run(engine, case("hot-plug", guard.chain("none"), rail=RAIL, step=5e-9, models="first"))
    compared(ran, hot_plug(guard))


@pytest.mark.parametrize("name", GUARDS)
def test_cable_discharge_agrees_with_a_second_solver(name: str, engine: Engine) -> None:
    guard = GUARDS[name]
    stop = WINDOWS * 2.0 * 10e-9
    one = case("cable-discharge", guard.chain("coax-75"), rail=RAIL, step=0.2e-9, stop=stop, models="first")
    compared(run(engine, finer(one)), cable_discharge(guard))
