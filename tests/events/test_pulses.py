"""What a rating proves of a pulse: bounds against hand-written equations, a table of a fair judge, and sanity.

Second opinions: a capacitor through a resistor into a diode of fixed drop and resistance has closed forms (charge
C (V - Vd), peak (V - Vd) / (R + r), energy Vd Q + r Q I / 2); the junction itself is solved by scipy.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from guardcheck.engine import Engine
from guardcheck.measure import Stress
from guardcheck.model import Bearing
from guardcheck.simulate.stress.margins import CAP, HARM, film_margin
from guardcheck.simulate.stress.pulses import LASTS, BodyPulse, latch_up_margin, pulse_margins
from guardcheck.simulate.stress.ratings import PinRatings, exposed_ratings
from tests.events.bench import case, chain, run

MANY = settings(max_examples=60, deadline=None, derandomize=True, database=None)
DROP, OHMS, BODY_OHMS, BODY_FARADS = 0.8, 3.0, 1500.0, 100e-12
CHIP = {"white": "0 V", "impedance": "100 kohm", "capacitance": "10 pF", "esd_resistance": "3 ohm"}


def rc(volts: float, farads: float, ohms: float) -> Stress:
    """Return a capacitor's discharge through `ohms` into the fixed drop and resistance of a chip's diode."""
    peak, tau = (volts - DROP) / (ohms + OHMS), (ohms + OHMS) * farads
    charge = farads * (volts - DROP)
    energy = DROP * charge + OHMS * charge * peak / 2.0
    power = peak * (DROP + OHMS * peak)
    # half the peak of the power: DROP i + OHMS i^2 = power / 2
    half = (math.sqrt(DROP**2 + 2.0 * OHMS * power) - DROP) / (2.0 * OHMS)
    return Stress(
        over=DROP + OHMS * peak,
        under=0.0,
        injected=peak,
        delivered=0.0,
        charge=charge,
        energy=energy,
        rail=5.0,
        top=6.0,
        diode_current=peak,
        diode_charge=charge,
        power=power,
        width=tau * math.log(peak / half),
    )


def rated(volts: float | None, clamp: float = 20e-3, latch_up: float | None = None) -> PinRatings:
    whole = exposed_ratings(None)
    bounds = {**whole.bounds, "clamp_current": (clamp, clamp)}
    return replace(whole, bounds=bounds, human_body=volts, latch_up=latch_up)


def rated_pulse(engine: Engine) -> Stress:
    one = case("human-body", chain(source_values=CHIP), unit="off", at_pin=True, rated_volts=2e3, polarity=1.0)
    return run(engine, one).pin


BODY = BodyPulse.seen(rc(2000.0, BODY_FARADS, BODY_OHMS), 2000.0)


def test_figures_of_a_pulse_are_those_that_decide() -> None:
    """What a pulse rests on: the pulse it is like, its charge where that alone is too much, or what would be harm."""
    like = pulse_margins(rc(4000.0, BODY_FARADS, BODY_OHMS), rated(2000.0), BODY)[0]
    assert like.bearing == Bearing(4000.0, (2000.0, 2000.0), "V")
    assert like.pulse
    # 1 nF at 300 V through 15 kohm: 299 nC where 2 kV of a human body are 199.9 nC; but 20 mA of its 1.33 A, and
    # 248 nJ of its 560 nJ: in peak and energy it is softer
    charge = pulse_margins(rc(300.0, 1e-9, 15e3), rated(2000.0), BODY)[0].bearing
    assert charge is not None
    assert (charge.stress, charge.unit) == (pytest.approx(299.2e-9), "C")
    assert charge.allowed == pytest.approx((199.92e-9, 199.92e-9))
    # nobody states any rating: a pulse beyond what would be harm stands beside that, one below it beside the bounds
    stated = exposed_ratings(None)
    hard = pulse_margins(rc(60e3, BODY_FARADS, BODY_OHMS), stated, BODY)[0]
    assert hard.bearing is not None
    assert (hard.bearing.harm, hard.bearing.unit) == (True, "W")
    amps = (60e3 - DROP) / (BODY_OHMS + OHMS)
    assert hard.bearing.stress == pytest.approx(amps * (DROP + OHMS * amps), rel=1e-3)
    assert hard.loose == pytest.approx(10.0 * math.log10(hard.bearing.allowed[0] / hard.bearing.stress), abs=1e-6)
    mild = pulse_margins(rc(500.0, BODY_FARADS, BODY_OHMS), stated, BODY)[0].bearing
    assert mild is not None
    assert (mild.unit, mild.allowed, mild.harm) == ("A", (1e-3, 20e-3), False)


class TestBodyPulse:
    def test_drop_and_resistance_come_back_out_of_a_run(self) -> None:
        assert pytest.approx(DROP, rel=1e-9) == BODY.drop
        assert pytest.approx(OHMS, rel=1e-9) == BODY.ohms

    @pytest.mark.parametrize("volts", [500.0, 4000.0, 8000.0])
    def test_another_voltage_is_the_closed_form_of_that_voltage(self, volts: float) -> None:
        direct, scaled = rc(volts, BODY_FARADS, BODY_OHMS), BODY.at(volts)
        assert scaled.peak == pytest.approx(direct.diode_current, rel=1e-6)
        assert scaled.charge == pytest.approx(direct.diode_charge, rel=1e-6)
        assert scaled.energy == pytest.approx(direct.energy, rel=1e-6)
        assert scaled.power == pytest.approx(direct.power, rel=1e-6)
        assert BODY.like(direct) == pytest.approx(volts, rel=1e-6)

    def test_a_diode_without_resistance_is_linear(self) -> None:
        plain = BodyPulse(2000.0, 1.33, 200e-9, 160e-9, 1.33 * 0.8, 104e-9)
        assert plain.ohms == 0.0
        assert plain.like_energy(80e-9) == pytest.approx(1000.4, rel=1e-3)

    def test_the_simulated_pulse_is_that_of_its_junction_solved_by_scipy(self, engine: Engine) -> None:
        """100 pF at 2 kV through 1.5 kohm into 3 ohm and a junction of 1e-14 A at 27 C."""
        ran = run(
            engine,
            case("human-body", chain(source_values=CHIP), unit="off", at_pin=True, rated_volts=2e3, polarity=1.0),
        ).pin

        def volts(amps: float) -> float:
            return 25.865e-3 * math.log1p(amps / 1e-14) + OHMS * amps

        peak = brentq(lambda amps: 2e3 - BODY_OHMS * amps - volts(amps), 1e-9, 2.0)
        slope = BODY_OHMS + OHMS

        def energy(amps: float) -> float:  # C dV of the capacitor while the current falls
            return BODY_FARADS * volts(amps) * (slope + 25.865e-3 / (amps + 1e-14))

        joules = quad(energy, 1e-9, peak, limit=200)[0]
        assert ran.diode_current == pytest.approx(peak, rel=0.01)
        assert ran.energy == pytest.approx(joules, rel=0.01)
        assert ran.diode_charge == pytest.approx(BODY_FARADS * (2e3 - volts(1e-6)), rel=0.01)


class TestBounds:
    @pytest.mark.parametrize("volts", [250.0, 2000.0, 8000.0])
    def test_the_rated_pulse_through_its_own_pin_leaves_nothing(self, volts: float) -> None:
        found = pulse_margins(rc(volts, BODY_FARADS, BODY_OHMS), rated(volts), BODY)[0]
        assert found.strict == pytest.approx(0.0, abs=1e-6)
        assert found.loose == pytest.approx(10.0 * math.log10(HARM), abs=1e-6)

    def test_a_steady_current_at_the_clamp_rating_leaves_nothing(self) -> None:
        steady = Stress(0.2, 0.0, 20e-3, 0.0, 1.0, 1.0, 5.0, 5.2, 20e-3, 1.0, 17e-3, 1.0)
        rows = {one.field: one for one in pulse_margins(steady, rated(2000.0), BODY)}
        assert rows["injected"].strict == pytest.approx(0.0, abs=1e-9)
        assert rows["injected"].loose == pytest.approx(0.0, abs=1e-9)
        short = replace(steady, width=LASTS / 2.0, over=0.2)
        assert pulse_margins(short, rated(None), BODY)[0].strict == pytest.approx(0.0, abs=1e-9)

    def test_the_three_bounds_of_a_325_volt_contact(self) -> None:
        """1.1 nF through 75 ohm: 4.16 A, 357 nC, 2.5 uJ; the rated pulse 1.33 A, 200 nC, 0.56 uJ. Worked by hand."""
        stress = rc(325.0, 1.1e-9, 75.0)
        found = pulse_margins(stress, rated(2000.0), BODY)[0]
        assert stress.diode_current == pytest.approx(4.156, rel=1e-3)
        assert found.strict == pytest.approx(20.0 * math.log10(1.3301 / 4.1564), abs=0.01)  # the peak decides
        wide = BODY.width / stress.width
        allowed = HARM * BODY.power * (wide if wide > 1.0 else math.sqrt(wide))
        assert found.loose == pytest.approx(10.0 * math.log10(allowed / stress.power), abs=0.01)

    def test_without_a_rating_nothing_but_the_steady_one_is_proof_and_2_kilovolts_bound_harm(self) -> None:
        stress = rc(2000.0, BODY_FARADS, BODY_OHMS)
        found = pulse_margins(stress, rated(None), BODY)[0]
        assert found.strict == pytest.approx(20.0 * math.log10(20e-3 / stress.injected), abs=1e-6)
        assert found.loose == pytest.approx(10.0 * math.log10(HARM), abs=1e-6)

    def test_harm_follows_energy_below_the_width_and_its_root_beyond(self) -> None:
        assert BODY.power_for(BODY.width) == pytest.approx(BODY.power)
        assert BODY.power_for(4.0 * BODY.width) == pytest.approx(BODY.power / 2.0)
        assert BODY.power_for(BODY.width / 4.0) == pytest.approx(4.0 * BODY.power)
        assert BODY.power_for(0.0) == math.inf  # no width, no heat

    def test_energy_decides_where_peak_and_charge_are_kept(self) -> None:
        """Half the peak and charge of the rated pulse and twice its energy: 10 log10(1/2) = -3.01 dB."""
        body = rc(2000.0, BODY_FARADS, BODY_OHMS)
        half = {"diode_current": body.diode_current / 2.0, "diode_charge": body.diode_charge / 2.0}
        found = pulse_margins(replace(body, **half, energy=2.0 * body.energy), rated(2000.0), BODY)[0]
        assert (found.strict, found.field) == (pytest.approx(-3.0103, abs=1e-3), "energy")
        charge = replace(body, diode_current=half["diode_current"], diode_charge=2.0 * body.diode_charge)
        found = pulse_margins(charge, rated(2000.0), BODY)[0]
        assert (found.strict, found.field) == (pytest.approx(-6.0206, abs=1e-3), "charge")

    def test_a_pulse_is_like_the_harder_of_its_energy_and_its_peak(self) -> None:
        weak, strong = (rc(volts, BODY_FARADS, BODY_OHMS) for volts in (1000.0, 4000.0))
        assert BODY.like(strong) == pytest.approx(4000.0, rel=1e-6)
        assert BODY.like(replace(strong, diode_current=weak.diode_current)) == pytest.approx(4000.0, rel=1e-6)
        assert BODY.like(replace(strong, energy=weak.energy)) == pytest.approx(4000.0, rel=1e-6)

    def test_from_ten_milliseconds_on_a_pulse_is_a_steady_current(self) -> None:
        long = replace(rc(2000.0, BODY_FARADS, BODY_OHMS), width=12e-3, injected=0.2)
        rows = {one.field: one for one in pulse_margins(long, rated(2000.0), BODY)}
        assert (rows["injected"].strict, rows["injected"].loose) == pytest.approx((-20.0, -20.0))  # 20 mA, 0.2 A
        assert len(rows) == 5
        assert len(pulse_margins(replace(long, width=10e-3), rated(2000.0), BODY)) == 2

    def test_what_is_said_of_a_pulse(self) -> None:
        def told(volts: float) -> str:
            return pulse_margins(rc(volts, BODY_FARADS, BODY_OHMS), rated(2000.0), BODY)[0].told

        # 2345 V: peak (2345 - 0.8) / 1503 ohm = 1.56 A against 1999.2 / 1503 = 1.33 A
        assert told(2345.0).startswith("the pulse is like a 2.3 kV human-body pulse; the pin is rated for 2 kV (")
        assert "3 times the rating carried over to that width" in told(2345.0)
        assert "carried over" not in told(1900.0)  # 0.45 dB to spare: what would be harm is not of interest

    def test_a_pin_without_diodes_is_judged_by_its_voltage_and_nothing_is_harm(self) -> None:
        found = pulse_margins(replace(rc(100.0, 1e-9, 75.0), injected=0.0), rated(2000.0), BODY, diodes=False)[0]
        assert found.field == "over"
        assert found.loose == CAP

    def test_a_powered_pin_owes_its_latch_up_test(self) -> None:
        stress = replace(rc(325.0, 1e-9, 75.0), injected=0.2)
        assert latch_up_margin(stress, rated(2e3, latch_up=0.1)).strict == pytest.approx(-6.02, abs=0.01)
        assert latch_up_margin(stress, rated(2e3)).strict == pytest.approx(-20.0)
        assert latch_up_margin(stress, rated(2e3, latch_up=0.1)).loose == CAP

    def test_a_driver_is_held_to_its_rating_unless_peak_and_charge_are_those_of_the_rated_pulse(self) -> None:
        """50 mA against 20 mA: -8 dB for good; 20 nC of it are a tenth of the rated pulse's 200 nC."""
        stress = replace(rc(1.0, 1e-12, 75.0), delivered=50e-3, injected=0.0, delivered_charge=20e-9)
        bounds = {**rated(2e3).bounds, "output_current": (20e-3, 20e-3)}
        ratings = replace(rated(2e3), bounds=bounds)
        short = next(one for one in pulse_margins(stress, ratings, BODY) if one.field == "delivered")
        assert short.strict == pytest.approx(20.0 * math.log10(BODY.charge / 20e-9), abs=0.01)
        long = replace(stress, delivered_charge=1e-3)
        found = next(one for one in pulse_margins(long, ratings, BODY) if one.field == "delivered")
        assert (found.strict, found.loose) == (pytest.approx(-7.96, abs=0.01), CAP)

    def test_a_charged_device_rating_proves_the_peak_of_a_nanosecond_only(self) -> None:
        stress = replace(rc(40.0, 10e-12, 5.0), width=1e-9)  # 4.9 A
        assert stress.diode_current == pytest.approx(4.9)
        device = replace(rated(2000.0), device=1000.0)  # 8 A
        assert pulse_margins(stress, device, BODY)[0].strict > 1.5
        assert pulse_margins(replace(stress, width=2e-9), device, BODY)[0].strict > 1.5
        # 4 A at 500 V: a rating of 1 kV proves 8 A, 8 over 4.9 A is 4.26 dB
        alone = replace(stress, diode_charge=1e-12, energy=1e-12)
        assert pulse_margins(alone, device, BODY)[0].strict == pytest.approx(4.258, abs=1e-3)
        assert pulse_margins(replace(stress, width=2.5e-9), device, BODY)[0].strict < -1.5


@MANY
@given(volts=st.floats(20.0, 700.0), nano=st.floats(0.05, 5.0), ohms=st.floats(1.0, 2000.0))
def test_halving_the_charge_never_worsens_a_margin(volts: float, nano: float, ohms: float) -> None:
    whole, half = (pulse_margins(rc(volts, n * 1e-9, ohms), rated(2000.0), BODY)[0] for n in (nano, nano / 2.0))
    assert half.strict >= whole.strict - 1e-9
    assert half.loose >= whole.loose - 1e-9


@MANY
@given(volts=st.floats(50.0, 700.0), nano=st.floats(0.05, 5.0), ohms=st.floats(10.0, 500.0))
def test_stretched_tenfold_a_pulse_is_easier_at_equal_energy_and_harder_at_equal_current(
    volts: float, nano: float, ohms: float
) -> None:
    one = rc(volts, nano * 1e-9, ohms)
    first = pulse_margins(one, rated(2000.0), BODY)[0]
    share = 10.0**-0.5
    easier = replace(
        one,
        width=10.0 * one.width,
        power=one.power / 10.0,
        diode_current=one.diode_current * share,
        injected=one.injected * share,
    )
    harder = replace(one, width=10.0 * one.width, energy=10.0 * one.energy, diode_charge=10.0 * one.diode_charge)
    assert pulse_margins(easier, rated(2000.0), BODY)[0].strict >= first.strict - 1e-9
    assert pulse_margins(easier, rated(2000.0), BODY)[0].loose >= first.loose - 1e-9
    assert pulse_margins(harder, rated(2000.0), BODY)[0].strict <= first.strict + 1e-9
    assert pulse_margins(harder, rated(2000.0), BODY)[0].loose <= first.loose + 1e-9


FILM = {"power": 0.25}


class TestFilm:
    def test_heat_of_ten_milliseconds_and_twice_the_working_voltage(self) -> None:
        """0.25 W for 10 ms are 2.5 mJ; 250 V of working voltage twice are 500 V."""
        assert film_margin("r", FILM, 10.0, 2.5e-3, 1e-6).strict == pytest.approx(0.0, abs=1e-9)
        assert film_margin("r", FILM, 1000.0, 1e-9, 1e-6).strict == pytest.approx(-6.02, abs=0.01)
        assert film_margin("r", FILM, 1000.0, 1.0, 1e-6).loose == CAP

    def test_a_long_pulse_is_held_against_the_steady_power(self) -> None:
        assert film_margin("r", FILM, 10.0, 0.25, 1.0).strict == pytest.approx(0.0, abs=1e-9)


# 325 V behind 1.1 nF, chip diodes of 3 ohm, unit on, no driver: another judge's own decks gave pin current, the
# human-body voltage of the same energy and the margin to a rating of 2 kV. Where the two differ:
# - The Schottky pair's current is the same within 2 %, its energy a third higher here. Its data sheet ends at 100 mA;
#   at 1.7 A the drop hangs on its series resistance, and 1.0 ohm for our fit's 1.15 ohm gives the judge's 570 V.
# - The suppressor's energy is the same within 5 %; its peak is half here. See the test below.
AT_PIN, AT_JACK = ("schottky-pair", "chip"), ("schottky-pair", "connector")
FAIR = [
    ("75 ohm alone", None, (2.19, 0.15), (3400.0, 0.03), (-4.0, 0.3), False),
    ("Schottky pair at the pin", AT_PIN, (0.46, 0.02), (570.0, 0.25), (8.7, 1.4), True),
    ("Schottky pair at the jack", AT_JACK, (48e-3, 0.06), (44.0, 0.04), (22.8, 1.0), True),
    ("suppressor at the jack", ("suppressor-diode", "connector"), (20e-3, 0.05), (105.0, 0.05), (18.2, 0.4), True),
]  # fmt: skip


@pytest.mark.parametrize(("name", "fitted", "amps", "like", "margin", "holds"), FAIR, ids=[row[0] for row in FAIR])
def test_what_a_fair_judge_says_of_four_chains(
    engine: Engine,
    name: str,
    fitted: tuple[str, str] | None,
    amps: tuple[float, float],
    like: tuple[float, float],
    margin: tuple[float, float],
    holds: bool,
) -> None:
    on = chain(
        source_values=CHIP,
        stage="series-resistor",
        stage_values={"series": "75 ohm"},
        guard=fitted[0] if fitted else None,
        guard_values={"place": fitted[1]} if fitted else None,
    )
    body = rated_pulse(engine)
    pulse = BodyPulse.seen(body, 2000.0)
    values = {"chassis_volts": 325.0, "chassis_capacitance": 1.1e-9}
    pins = [run(engine, case("hot-plug", on, polarity=sign, **values)).pin for sign in (1.0, -1.0)]
    hardest = max(pins, key=lambda one: one.energy)
    assert hardest.diode_current == pytest.approx(amps[0], rel=amps[1])
    assert pulse.like_energy(hardest.energy) == pytest.approx(like[0], rel=like[1])
    assert 10.0 * math.log10(pulse.energy / hardest.energy) == pytest.approx(margin[0], abs=margin[1])
    found = pulse_margins(hardest, rated(2000.0), pulse)[0]
    assert (found.strict >= 1.5) == holds
    assert found.loose > -1.5  # none of the four is beyond three times the rating
    # powered, the pair at the pin lets more through than a latch-up test of 100 mA
    assert (latch_up_margin(hardest, rated(2000.0, latch_up=0.1)).strict >= 1.5) == (hardest.injected < 0.08)


def test_why_the_suppressor_lets_through_half_the_peak_another_judge_found() -> None:
    """A clamp of V volts leaves (V - 5 V - junction) / (75 + 3) ohm for the pin: 40 mA need 8.9 V at the jack.

    The data sheet prints at most 7.0 V at 10 mA and at most 9.2 V at 65.2 A, so 0.03 ohm: 7.2 V at 2.2 A, 19 mA, with
    a little more while the lead still rings. Its 9.2 V taken for every current, as a bound, leave 44 mA. The judge's
    40 mA are those of a clamp with 0.8 ohm, such as a small array; the energy counts for more than the peak either way.
    """

    def pin(clamp: float) -> float:
        return brentq(lambda amps: clamp - 5.0 - 25.865e-3 * math.log1p(amps / 1e-14) - 78.0 * amps, 0.0, 1.0)

    at_peak = 6.99 + 25.865e-3 * math.log(2.2 / 10e-3) + 0.0304 * 2.2
    assert pin(at_peak) == pytest.approx(19e-3, abs=1e-3)
    assert pin(9.2) == pytest.approx(44e-3, abs=1e-3)
    assert pin(7.13 + 0.8 * 2.2) == pytest.approx(40e-3, abs=1e-3)
    assert 40e-3 / 1.33 < 0.05  # of the rated pulse's peak: it is the energy that decides


def test_a_ringing_contact_into_a_clamped_pin_is_that_of_scipy(engine: Engine) -> None:
    """325 V, 1.1 nF, 1 uH, 75 + 75 ohm into 3 ohm and a junction above a stiff rail of 5 V; no other parts."""
    quiet = {**CHIP, "capacitance": "0.01 pF"}
    on = chain(source_values=quiet, stage="series-resistor", stage_values={"series": "75 ohm"})
    values = {"chassis_volts": 325.0, "chassis_capacitance": 1.1e-9, "bleed": 1e9}
    seen = run(engine, case("hot-plug", on, polarity=1.0, **values)).pin

    def slope(_time: float, state: np.ndarray) -> list[float]:
        amps, charge = state
        junction = 5.0 + 25.865e-3 * math.log1p(max(amps, 0.0) / 1e-14)
        return [(325.0 - charge / 1.1e-9 - 153.1 * amps - junction) / 1e-6, amps]

    done = solve_ivp(slope, (0.0, 2e-6), [0.0, 0.0], max_step=1e-9, events=lambda _t, y: y[0] + 1e-6)
    stop = done.t_events[0][0] if len(done.t_events[0]) > 1 else 2e-6
    time, amps = done.t[done.t <= stop], np.maximum(done.y[0][done.t <= stop], 0.0)
    joules = np.trapezoid(amps * (25.865e-3 * np.log1p(amps / 1e-14) + 3.0 * amps), time)
    assert seen.diode_current == pytest.approx(float(amps.max()), rel=0.02)
    assert seen.energy == pytest.approx(float(joules), rel=0.03)
