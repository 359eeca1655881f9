"""Margins of rails, diodes, films and assumed ratings by hand: 20 log10 of volts and amperes, 10 log10 of joules.

A factor of 2 is 6.0206 dB (20 log) or 3.0103 dB (10 log), of 10 it is 20 dB, of 3/2 it is 3.5218 dB.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from guardcheck.compose import Rail, drawn
from guardcheck.engine import Engine
from guardcheck.measure import Stress
from guardcheck.simulate.stress.margins import (
    CAP,
    SURGES,
    Margin,
    between_widths,
    by_test_margin,
    film_margin,
    flashovers,
    halved,
    plain_margin,
    rail_margin,
    ratio,
    steady_margins,
    surge_margin,
    unrated_margin,
    worst,
)
from guardcheck.simulate.stress.pulses import latch_up_margin
from guardcheck.simulate.stress.ratings import exposed_ratings
from tests.events.bench import case, chain, run

TWICE, THRICE_HALF = 20.0 * math.log10(2.0), 20.0 * math.log10(1.5)
LIVE = Rail(5.0, 100e-6, 0.1, 100.0)
SUPPLIES = (5.25, 6.0)


def ends(margin: Margin | None) -> tuple[float, float]:
    assert margin is not None
    return margin.strict, margin.loose


@pytest.mark.parametrize(
    ("rating", "stress", "factor", "expected"),
    [
        (2.0, 1.0, 20.0, 6.0206),
        (1.0, 2.0, 20.0, -6.0206),
        (2.0, 1.0, 10.0, 3.0103),
        (math.inf, 1.0, 20.0, 120.0),
        (1.0, 0.0, 20.0, 120.0),
        (1.0, -1.0, 20.0, 120.0),
        (0.0, 1.0, 20.0, -120.0),
        (-1.0, 1.0, 20.0, -120.0),
        (0.5, 1.0, 20.0, -6.0206),
        (1.0, 0.5, 20.0, 6.0206),
        (1e9, 1.0, 20.0, 120.0),
        (1.0, 1e9, 20.0, -120.0),
    ],
)
def test_decibels_of_a_rating_over_a_stress(rating: float, stress: float, factor: float, expected: float) -> None:
    assert ratio(rating, stress, factor) == pytest.approx(expected, abs=1e-4)


def test_the_least_to_spare_decides_unless_another_is_passed_even_at_its_loosest() -> None:
    tight, bounded = Margin(1.0, 50.0, "tight", "over"), Margin(2.0, 3.0, "bounded", "under")
    assert worst([tight, bounded]) == Margin(1.0, 3.0, "tight", "over")
    failed, unsure = Margin(-2.0, -1.5, "failed", "injected"), Margin(-9.0, 0.0, "unsure", "top")
    assert worst([unsure, failed]) == Margin(-2.0, -1.5, "failed", "injected")
    assert worst([unsure, replace(failed, loose=-1.4)]) == Margin(-9.0, -1.4, "unsure", "top")


def test_of_those_that_fail_even_at_their_loosest_the_least_is_told_whichever_is_looser_by_a_hair() -> None:
    harder, easier = Margin(-14.4, -5.81, "harder", "charge"), Margin(-11.2, -5.81, "easier", "charge")
    for hair in (1e-9, 0.0, -1e-9):
        off = replace(easier, loose=easier.loose + hair)
        assert worst([off, harder]) == Margin(-14.4, min(-5.81, off.loose), "harder", "charge")


def test_margins_that_differ_in_their_noise_are_alike_and_the_first_is_told() -> None:
    first, second = Margin(2.0, 50.0, "positive", "over"), Margin(2.0, 50.0, "negative", "under")
    for noise in (1e-13, 0.0, -1e-13):
        found = worst([first, replace(second, strict=2.0 * (1.0 + noise))])
        assert (found.told, found.field) == ("positive", "over")
    assert worst([first, replace(second, strict=1.999)]).told == "negative"


def test_each_steady_rating_bounds_its_own_field() -> None:
    bounds = {
        "over_voltage": (0.5, 2.0),
        "under_voltage": (1.0, 4.0),
        "clamp_current": (10e-3, 40e-3),
        "output_current": (5e-3, 20e-3),
        "pin_voltage": (3.0, 12.0),
    }
    stress = Stress(over=1.0, under=2.0, injected=20e-3, delivered=10e-3, charge=0, energy=0, rail=5.0, top=6.0)
    found = steady_margins(stress, replace(exposed_ratings(None), bounds=bounds))
    assert [one.field for one in found] == ["over", "under", "injected", "delivered", "top"]
    for one in found:  # the stress is twice the strictest and half the loosest of each
        assert ends(one) == pytest.approx((-TWICE, TWICE))


@pytest.mark.parametrize(
    ("lifted", "rail", "state", "expected"),
    [
        (5.5, LIVE, (False, False), (-TWICE, TWICE)),  # 0.25 V and 1 V of room, 0.5 V of lift
        (5.5, LIVE, (False, True), (-TWICE, TWICE)),
        (5.0005, LIVE, (False, False), (CAP, CAP)),  # half a millivolt drowns in ripple
        (1e-3, replace(LIVE, volts=0.0), (False, False), (CAP, CAP)),
        (1.2e-3, replace(LIVE, volts=0.0), (False, False), (72.8196, 73.9794)),  # 5.25 and 6 V over 1.2 mV
        (4.0, LIVE, (False, False), (CAP, CAP)),  # drawn down, not lifted
        (3.0, LIVE, (True, False), (4.8608, TWICE)),  # dead: all of 5.25 and 6 V while a pulse passes
        (0.6, LIVE, (True, True), (-TWICE, 20.0)),  # dead for long: 0.3 V proves, 6 V fails
    ],
)
def test_room_of_a_lifted_rail(
    lifted: float, rail: Rail, state: tuple[bool, bool], expected: tuple[float, float]
) -> None:
    found = rail_margin(lifted, rail, SUPPLIES, dead=state[0], lasting=state[1])
    assert ends(found) == pytest.approx(expected, abs=1e-4)
    assert found.field == "rail"


def test_what_is_said_of_a_lifted_rail() -> None:
    def told(dead: bool, lasting: bool, supplies: tuple[float, float] = SUPPLIES) -> str:
        return rail_margin(5.5, LIVE, supplies, dead=dead, lasting=lasting).told

    assert told(False, False) == "the rail, 5 V, is lifted by 500 mV, 250 mV to 1 V is what such supplies allow"
    assert told(False, False, (6.0, 6.0)) == "the rail, 5 V, is lifted by 500 mV, at most 1 V is allowed"
    assert told(True, False).startswith("the rail of the unit that is off is lifted to 5.5 V, 5.25 V")
    assert "up to 300 mV leaves it dead" in told(True, True)
    assert told(True, True).endswith("its load counts as 100 ohm")


DIODE = {"surge_1us": 4.0, "surge_1ms": 1.0, "repetitive_current": 0.5, "forward_current": 0.2}


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        (1e-6, (TWICE, 20.0 * math.log10(6.0))),  # 4 A, harm from 3 x 4 A
        (2.5e-7, (TWICE, 20.0 * math.log10(12.0))),  # a quarter of the width: twice 12 A
        (0.0, (TWICE, 45.5630)),  # no shorter than 1 ns: 12 A x root of 1000 = 379.5 A
        (1e-5, (-TWICE, TWICE)),  # 1 A proves; the 4 A of the shorter pulse fail, before 3 A x root of 100
        (1e-3, (-TWICE, THRICE_HALF)),  # 3 A come before 4 A
        (1e-2, (-12.0412, -TWICE)),  # longer than any rating: 0.5 A repetitive proves, 1 A fails
    ],
)
def test_two_amperes_through_a_diode_by_the_length_of_the_pulse(width: float, expected: tuple[float, float]) -> None:
    assert ends(surge_margin("pair", DIODE, 2.0, width, lasting=False)) == pytest.approx(expected, abs=1e-4)


def test_a_lasting_current_is_held_to_the_continuous_rating_alone() -> None:
    assert ends(surge_margin("pair", DIODE, 0.4, 1.0, lasting=True)) == pytest.approx((-TWICE, -TWICE))
    assert surge_margin("pair", {"surge_1s": 1.0}, 0.4, 1.0, lasting=True) is None
    assert surge_margin("pair", {}, 0.4, 1.0, lasting=False) is None
    forward = surge_margin("pair", {"forward_current": 0.2}, 0.4, 1.0, lasting=False)
    assert ends(forward) == pytest.approx((-TWICE, CAP))  # passing it for a moment proves no harm


@pytest.mark.parametrize(("key", "length"), [*zip(dict(SURGES), (1e-6, 20e-6, 1e-3, 1e-3, 10e-3, 1.0), strict=True)])
def test_a_surge_rating_holds_for_its_length_and_no_longer(key: str, length: float) -> None:
    assert ends(surge_margin("pair", {key: 1.0}, 1.0, length, lasting=False))[0] == pytest.approx(0.0)
    assert surge_margin("pair", {key: 1.0}, 1.0, 1.001 * length, lasting=False) is None


def test_between_two_printed_widths_the_rating_is_a_straight_line_in_logarithms() -> None:
    """2 A for 1 us, 0.5 A for 1 s: a factor of 4 over six decades; three decades on, at 1 ms, half of it is 1 A."""
    assert between_widths((1e-6, 2.0), (1.0, 0.5), 1e-3) == pytest.approx(1.0)
    assert between_widths((1e-6, 2.0), (1.0, 0.5), 1e-6) == pytest.approx(2.0)
    assert between_widths((1e-6, 2.0), (1.0, 0.5), 1.0) == pytest.approx(0.5)


def test_three_times_that_line_is_harm_where_the_shorter_rating_lies_above() -> None:
    """9 A for 1 us, 0.9 A for 10 ms: 0.9 A x root of 10 = 2.846 A for 100 us, 8.54 A of harm come before 9 A."""
    rated = {"surge_1us": 9.0, "surge_10ms": 0.9}
    found = surge_margin("pair", rated, 9.0 * 10.0**-0.5, 1e-4, lasting=False)
    assert ends(found) == pytest.approx((-10.0, 20.0 * math.log10(3.0)), abs=1e-4)
    assert found is not None
    assert "8.54 A it would be harm" in found.told


@pytest.mark.parametrize(
    ("width", "proof"),
    [
        (1e-3, 57.0),
        (2e-5, 57.0 * 50.0**0.4),  # 272.6 A; 298 A are printed for 8/20 us (from memory, unverified)
        (1e-6, 57.0 * 50.0**0.4),  # the curve is believed no further
        (1e-4, 57.0 * 10.0**0.4),
    ],
)
def test_a_suppressor_follows_its_makers_curve(width: float, proof: float) -> None:
    found = surge_margin("suppressor", {"surge_10_1000us": 57.0}, proof, width, lasting=False)
    assert ends(found)[0] == pytest.approx(0.0, abs=1e-9)
    assert proof < 298.0


def test_a_part_is_proven_by_its_rating_in_the_very_test() -> None:
    assert ends(by_test_margin("clamp", 20e3, 8e3)) == pytest.approx((7.9588, CAP), abs=1e-4)
    assert ends(by_test_margin("clamp", 4e3, 8e3)) == pytest.approx((-TWICE, CAP), abs=1e-4)


def test_what_is_said_of_a_surge() -> None:
    def told(rated: dict[str, float], *, lasting: bool = False) -> str:
        found = surge_margin("pair", rated, 2.0, 1e-6, lasting=lasting)
        assert found is not None
        return found.told

    assert told(DIODE) == "the pair carries 2 A against 4 A for 1 us; above 12 A it would be harm"
    assert told(DIODE, lasting=True) == "the pair carries 2 A against 200 mA continuous"
    assert told({"forward_current": 0.2}) == "the pair carries 2 A against 200 mA continuous"


def test_plain_ratings() -> None:
    assert ends(plain_margin("cap", "sees", 2.0, 1.0, "V")) == pytest.approx((-TWICE, -TWICE))
    assert ends(plain_margin("cap", "sees", 2.0, 1.0, "V", lasting=False)) == pytest.approx((-TWICE, CAP))
    assert ends(plain_margin("film", "takes", 2.0, 1.0, "W", 10.0)) == pytest.approx((-3.0103, -3.0103), abs=1e-4)


def test_a_film_with_ratings_of_its_own() -> None:
    film = {"power": 0.25, "pulse_energy": 1e-3, "working_voltage": 100.0}
    assert ends(film_margin("film", film, 10.0, 2e-3, 1e-6)) == pytest.approx((-3.0103, CAP), abs=1e-4)
    assert ends(film_margin("film", film, 400.0, 1e-6, 1e-6)) == pytest.approx((-TWICE, CAP))
    steady = {"power": 0.25}  # keeps the heat of 10 ms: 2.5 mJ; a second at its power takes 0.25 J
    assert ends(film_margin("film", steady, 10.0, 5e-3, 1e-6)) == pytest.approx((-3.0103, CAP), abs=1e-4)
    assert ends(film_margin("film", steady, 10.0, 0.5, 1.0)) == pytest.approx((-3.0103, CAP), abs=1e-4)
    assert ends(film_margin("film", steady, 1000.0, 1e-9, 1e-6)) == pytest.approx((-TWICE, CAP))  # 2 x 250 V
    assert "takes 1 mJ" in film_margin("film", film, 200.0, 1e-3, 1e-6).told  # both at their limit: the heat is said
    assert "sees 200 V" in film_margin("film", film, 200.0, 0.9e-3, 1e-6).told


def test_what_nobody_rates_is_left_open() -> None:
    assert unrated_margin("pair", 1e-3, "A", 1e-3) is None
    assert ends(unrated_margin("pair", 1.1e-3, "A", 1e-3)) == (0.0, CAP)


def test_half_of_an_assumed_rating_proves_and_all_of_it_fails() -> None:
    found = halved(Margin(10.0, -3.0, "so much", "over"))
    assert (found.strict, found.loose, found.field) == (pytest.approx(10.0 - TWICE), -3.0, "over")


def test_every_margin_carries_the_figures_it_was_made_of() -> None:
    """Stress, strictest and loosest bound, unit: what the words say, as numbers."""

    def figures(margin: Margin | None) -> tuple[float, tuple[float, float] | None, str, str]:
        assert margin is not None
        assert margin.bearing is not None
        return margin.bearing.stress, margin.bearing.allowed, margin.bearing.unit, margin.bearing.part

    assert figures(surge_margin("pair", DIODE, 2.0, 1e-6, lasting=False)) == (2.0, (4.0, 4.0), "A", "")
    assert figures(by_test_margin("clamp", 20e3, 8e3)) == (8e3, (20e3, 20e3), "V", "")
    assert figures(plain_margin("cap", "holds", 2.0, 1.0, "V")) == (2.0, (1.0, 1.0), "V", "")
    film = {"power": 0.25, "pulse_energy": 1e-3, "working_voltage": 100.0}
    assert figures(film_margin("film", film, 10.0, 2e-3, 1e-6)) == (2e-3, (1e-3, 1e-3), "J", "")
    assert figures(film_margin("film", film, 400.0, 1e-6, 1e-6)) == (400.0, (200.0, 200.0), "V", "")
    assert figures(unrated_margin("pair", 0.5, "A", 1e-3)) == (0.5, None, "A", "")
    assert figures(halved(plain_margin("cap", "holds", 5.0, 6.0, "V"))) == (5.0, (3.0, 3.0), "V", "")
    live = rail_margin(8.0, LIVE, SUPPLIES, dead=False, lasting=False)  # 3 V above 5 V, where 0.25 to 1 V are allowed
    assert figures(live) == (3.0, (0.25, 1.0), "V", "rail")
    assert figures(rail_margin(8.0, LIVE, SUPPLIES, dead=True, lasting=False)) == (8.0, SUPPLIES, "V", "rail")
    assert figures(rail_margin(2.0, LIVE, SUPPLIES, dead=True, lasting=True)) == (2.0, (0.3, 0.3), "V", "rail")
    stress = Stress(over=2.0, under=0.0, injected=0.2, delivered=0.0, charge=0.0, energy=0.0, rail=5.0)
    pin = {one.field: one for one in steady_margins(stress, exposed_ratings(None))}
    assert figures(pin["injected"]) == (0.2, (1e-3, 20e-3), "A", "")  # nobody states a rating: the bounds of many
    assert figures(pin["over"]) == (2.0, (0.3, 1.5), "V", "")
    assert pin["top"].bearing is None  # nobody owes a rating against 0 V


def test_a_part_of_guard_or_stage_is_named_as_the_picture_of_the_line_names_it(engine: Engine) -> None:
    on = chain(guard="silicon-pair", guard_values={"place": "connector"}, stage="series-resistor")
    seen = run(engine, case("hot-plug", on, polarity=1.0)).seen
    named = {one.bearing.part for one in seen.parts if one.bearing is not None}
    drawn_keys = {part.key for part in drawn(on, on.builds(n_samples=0, seed=(0,)).nominal()).parts}
    assert named == {"guard upper diode", "guard lower diode", "stage series"}
    assert named <= drawn_keys


def test_the_film_with_the_most_voltage_is_named_once_it_may_flash_over() -> None:
    assert flashovers([("series", 250.0), ("load", 10.0)]) == ()
    assert flashovers([]) == ()
    (said,) = flashovers([("series", 10.0), ("load", 251.0)])
    assert said.startswith("The load resistor sees 251 V: a quarter-watt film resistor is made for about 250 V")


@pytest.mark.parametrize(
    ("tested", "clamp", "expected"),
    [
        (0.1, 20e-3, -TWICE),  # 0.2 A against the 0.1 A of the test
        (0.1, 0.4, TWICE),  # a clamp rating above the test's current counts
        (None, 0.1, -TWICE),
    ],
)
def test_the_latch_up_test_or_the_clamp_current(tested: float | None, clamp: float, expected: float) -> None:
    stress = Stress(over=0.0, under=0.0, injected=0.2, delivered=0.0, charge=0.0, energy=0.0, rail=5.0)
    whole = exposed_ratings(None)
    ratings = replace(whole, bounds={**whole.bounds, "clamp_current": (clamp, clamp)}, latch_up=tested)
    found = latch_up_margin(stress, ratings)
    assert ends(found) == pytest.approx((expected, CAP))
    assert ("no latch-up test is stated" in found.told) == (tested is None)


def test_a_spark_is_the_test_that_an_array_is_rated_by(engine: Engine) -> None:
    """8 kV contact (IEC 61000-4-2) on an array rated for 20 kV of it: 20 log10(20 / 8) = 7.96 dB; its 8 A say no."""
    on = chain(guard="suppressor-array", guard_values={"place": "connector"})
    seen = run(engine, case("esd-contact", on, volts=8e3, polarity=1.0)).seen
    clamp = [one for one in seen.parts if "meets this test" in one.told]
    assert {round(one.strict, 2) for one in clamp} == {7.96}
    assert all("8 kV against 20 kV" in one.told for one in clamp)
    weaker = run(engine, case("hot-plug", on, polarity=1.0)).seen
    assert not [one for one in weaker.parts if "meets this test" in one.told]  # of another pulse it says nothing
