"""What must hold whatever the values: resistance protects, capacitance holds the rail, charge is kept."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.compose import Rail
from guardcheck.engine import Engine
from guardcheck.measure import PinWaves, holds, rise_time, stress_of, time_outside, width_over
from guardcheck.simulate.stress.margins import CAP, ratio, steady_margins, surge_margin, worst
from guardcheck.simulate.stress.ratings import FREE, SEEN, exposed_ratings
from tests.events.bench import case, chain, run

QUICK = settings(max_examples=8, deadline=None, derandomize=True, database=None)
MANY = settings(max_examples=60, deadline=None, derandomize=True, database=None)
PIN = {"white": "0 V", "impedance": "10 kohm", "capacitance": "10 pF"}
STIFF = Rail(5.0, 1.0, 0.0, 1e6)


def peak_with(engine: Engine, event: str, after: float, **values: float) -> float:
    on = chain(
        source_values=PIN, guard="resistor-and-pair", guard_values={"before": "10 ohm", "after": f"{after!r} ohm"}
    )
    return run(engine, case(event, on, rail=STIFF, **values)).pin.current


@QUICK
@given(first=st.floats(1.0, 1000.0), factor=st.floats(1.2, 10.0), sign=st.sampled_from([1.0, -1.0]))
def test_more_resistance_after_the_clamp_never_raises_the_pin_current(
    engine: Engine, first: float, factor: float, sign: float
) -> None:
    for event in ("hot-plug", "esd-contact"):
        less = peak_with(engine, event, first, polarity=sign)
        more = peak_with(engine, event, first * factor, polarity=sign)
        assert more <= less * 1.01 + 1e-6


@QUICK
@given(capacitance=st.floats(1e-7, 1e-4), factor=st.floats(1.1, 100.0))
def test_a_larger_rail_capacitance_never_raises_the_rail_more(
    engine: Engine, capacitance: float, factor: float
) -> None:
    on = chain(source_values=PIN, guard="silicon-pair")
    small, large = (
        run(engine, case("hot-plug", on, rail=Rail(5.0, farads, 0.0, 1e6))).pin.rail
        for farads in (capacitance, capacitance * factor)
    )
    assert large <= small + 1e-4


@QUICK
@given(volts=st.floats(50.0, 325.0), nano=st.floats(0.5, 5.0), sign=st.sampled_from([1.0, -1.0]))
def test_charge_is_conserved(engine: Engine, volts: float, nano: float, sign: float) -> None:
    """What the Y capacitance gives is what passes the pin: C (V - what is left across the loop)."""
    on = chain(source_values={**PIN, "capacitance": "0.01 pF"}, stage="series-resistor")
    values = {"chassis_volts": volts, "chassis_capacitance": nano * 1e-9, "polarity": sign, "bleed": 1e9}
    ran = run(engine, case("hot-plug", on, rail=STIFF, stop=2e-4, step=1e-6, **values))
    left = abs(float(ran.waves.volts[-1]))
    given_up = nano * 1e-9 * (volts - left)
    assert ran.pin.charge == pytest.approx(given_up, rel=0.01, abs=2e-10)


@QUICK
@given(load=st.floats(20.0, 1e5), series=st.floats(10.0, 1000.0))
def test_a_dead_rail_is_never_fed_above_what_feeds_it(engine: Engine, load: float, series: float) -> None:
    on = chain(source_values=PIN, stage="series-resistor", stage_values={"series": f"{series!r} ohm"})
    ran = run(engine, case("back-power", on, unit="off", rail=Rail(5.0, 1e-6, 0.0, load)))
    assert 0.0 <= ran.pin.rail < 5.0
    assert ran.pin.current <= 5.0 / series * 1.001


WAVES = st.lists(st.tuples(st.floats(-20.0, 20.0), st.floats(-5.0, 5.0)), min_size=3, max_size=40)


def waves(points: list[tuple[float, float]]) -> PinWaves:
    volts, amps = (np.array(column) for column in zip(*points, strict=True))
    time = np.linspace(0.0, 1e-6, len(points))
    return PinWaves(time, volts, np.full(len(points), 5.0), amps)


@MANY
@given(points=WAVES)
def test_stress_is_a_magnitude_and_the_whole_holds_every_part(points: list[tuple[float, float]]) -> None:
    whole = waves(points)
    stress = stress_of(whole)
    assert min(stress.over, stress.under, stress.injected, stress.delivered, stress.charge, stress.energy) >= 0.0
    assert stress.current <= float(np.max(np.abs(whole.amps))) + 1e-12
    part = stress_of(whole.where(np.arange(len(points)) % 2 == 0))
    for name in ("over", "under", "injected"):
        assert getattr(part, name) <= getattr(stress, name) + 1e-12


@MANY
@given(points=WAVES, scale=st.floats(1.0, 10.0))
def test_a_mirrored_wave_swaps_over_and_under(points: list[tuple[float, float]], scale: float) -> None:
    ahead = waves(points)
    mirrored = PinWaves(ahead.time, 5.0 - ahead.volts, ahead.rail, -ahead.amps)
    assert stress_of(mirrored).under == pytest.approx(stress_of(ahead).over)
    louder = PinWaves(ahead.time, ahead.volts, ahead.rail, scale * ahead.amps)
    assert stress_of(louder).charge == pytest.approx(scale * stress_of(ahead).charge)


@MANY
@given(points=WAVES, over=st.floats(0.0, 20.0), more=st.floats(0.0, 20.0))
def test_a_looser_rating_is_never_passed_longer(points: list[tuple[float, float]], over: float, more: float) -> None:
    one = waves(points)
    tight = time_outside(one, over=over, under=1e9, current=1e9)
    assert time_outside(one, over=over + more, under=1e9, current=1e9) <= tight + 1e-18
    assert tight <= one.time[-1] * (1.0 + 1e-12)


@MANY
@given(rating=st.floats(1e-6, 1e3), stress=st.floats(1e-9, 1e6))
def test_margins_are_decibels_and_capped(rating: float, stress: float) -> None:
    margin = ratio(rating, stress)
    assert -CAP <= margin <= CAP
    if abs(margin) < CAP:
        assert rating / stress == pytest.approx(10.0 ** (margin / 20.0), rel=1e-9)
    assert (margin >= 0.0) == (rating >= stress) or abs(margin) < 1e-12


@MANY
@given(over=st.floats(0.0, 5.0), under=st.floats(0.0, 5.0), injected=st.floats(0.0, 5.0), delivered=st.floats(0.0, 5.0))
def test_the_loosest_bound_never_leaves_less_than_the_strictest(
    over: float, under: float, injected: float, delivered: float
) -> None:
    from guardcheck.measure import Stress

    stress = Stress(over, under, injected, delivered, 0.0, 0.0, 5.0)
    ratings = exposed_ratings(None)
    assert dict(ratings.bounds) == {**SEEN, "pin_voltage": FREE}
    found = worst(steady_margins(stress, ratings))
    assert found.loose >= found.strict


@MANY
@given(amps=st.floats(1e-3, 100.0), width=st.floats(1e-9, 10.0))
def test_a_surge_rating_for_a_longer_pulse_can_pass_but_never_fail_a_short_one(amps: float, width: float) -> None:
    """BAT54: 0.6 A for 10 ms is all that is printed; a pulse of nanoseconds above it is not known to kill."""
    margin = surge_margin("diode", {"surge_10ms": 0.6, "forward_current": 0.2}, amps, width, lasting=False)
    assert margin is not None
    if width <= 1e-2:
        assert margin.loose == pytest.approx(max(margin.strict, min(ratio(1.8 * (1e-2 / width) ** 0.5, amps), CAP)))
    else:
        assert margin.loose == pytest.approx(max(margin.strict, min(20.0 * math.log10(0.6 / amps), CAP)))
    if amps < 0.2:
        assert margin.strict > 0.0


def test_a_rise_time_is_found_between_the_points() -> None:
    """Straight ramp of 1 ns: 10 to 90 % takes 0.8 ns."""
    time = np.linspace(0.0, 3e-9, 61)
    assert rise_time(time, np.clip(time / 1e-9, 0.0, 1.0)) == pytest.approx(0.8e-9, rel=1e-6)


def test_width_and_agreement() -> None:
    time = np.linspace(0.0, 1.0, 1001)
    assert width_over(time, np.exp(-time / 0.2), np.exp(-2.5)) == pytest.approx(0.5, abs=2e-3)
    assert holds(1.0, 1.009, 0.1)
    assert not holds(1.0, 1.02, 0.1)
    assert holds(1e-6, 2e-6, 0.1)
