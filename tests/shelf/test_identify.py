"""Which source is it: published outputs identified from readings, against scipy's least squares and chi-square."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.stats import chi2

from guardcheck.measure.identify import CHI_SQUARE_95, Identified, Kind, LoadReading, identify

OPEN = math.inf


def read(*pairs: tuple[float, float], share: float = 0.03) -> Identified:
    """Return what readings say whose limits are a share of the reading, rectangular."""
    return identify([LoadReading(ohms, volts, share * volts / math.sqrt(3)) for ohms, volts in pairs])


def test_chi_square_points_are_those_of_the_tables() -> None:
    for freedom, point in CHI_SQUARE_95.items():
        assert point == pytest.approx(chi2.ppf(0.95, freedom), abs=5e-4)


# what, readings (ohm, V), kind, fitted values, where the figures were published
PUBLISHED = [
    (
        "18.67 mA that stops at 3.0 V",
        ((OPEN, 3.0), (150.0, 2.8), (75.0, 1.4)),
        "current",
        {"current": 18.67e-3, "limit": 3.0},
        "chipset data sheet 317607-001: 255 steps of 73.2 uA; compliance as DAC data sheets print",
    ),
    (
        "26.68 mA into 37.5, 75 and 25 ohm",
        ((75.0, 2.0), (37.5, 1.0), (25.0, 0.667)),
        "current",
        {"current": 26.68e-3},
        "VP101 data sheet p.4: 26.68 mA, 1 V into 37.5 ohm",
    ),
    (
        "25 ohm inside and 50 outside",
        ((OPEN, 2.0), (150.0, 1.3333), (75.0, 1.0)),
        "linear",
        {"emf": 2.0, "impedance": 75.0},
        "SAA7158 data sheet p.15: 2 V unloaded, 1 V at 75 ohm",
    ),
    (
        "the same without the outer 50 ohm",
        ((OPEN, 2.0), (150.0, 12 / 7), (75.0, 1.5)),
        "linear",
        {"emf": 2.0, "impedance": 25.0},
        "SAA7158 data sheet p.15: 25 ohm inside",
    ),
    (
        "180 ohm ladder",
        ((OPEN, 3.287), (150.0, 1.494), (75.0, 0.9668)),
        "linear",
        {"emf": 3.287, "impedance": 180.0},
        "public note on an 8-bit composite ladder: 0.967 V",
    ),
    (
        "a follower that gives 16 mA at most",
        ((OPEN, 2.0), (300.0, 1.7647), (150.0, 1.5789), (75.0, 1.2), (37.5, 0.6)),
        "follower",
        {"emf": 2.0, "impedance": 40.0, "limit": 0.016},
        "40 ohm and 16 mA: divider above, 16 mA times the load below",
    ),
]


@pytest.mark.parametrize(("what", "pairs", "kind", "values", "where"), PUBLISHED)
def test_kind_and_values_are_found(
    what: str, pairs: tuple[tuple[float, float], ...], kind: str, values: dict[str, float], where: str
) -> None:
    found = read(*pairs)
    assert where
    assert found.best is not None, what
    assert found.best.name == kind
    for name, value in values.items():
        assert found.best.value(name) == pytest.approx(value, rel=4e-3)


def test_two_readings_of_a_current_output_are_not_taken_for_a_linear_one() -> None:
    """3.0 V open and 1.4 V into 75 ohm: 85.7 ohm, or 18.67 mA; into 75 ohm more they differ by 30 %."""
    found = read((OPEN, 3.0), (75.0, 1.4))
    assert found.best is None
    assert {one.name for one in found.rivals} == {"linear", "current"}
    linear, current = found.kind("linear"), found.kind("current")
    assert linear is not None
    assert current is not None
    assert linear.value("impedance") == pytest.approx(85.7, abs=0.1)
    assert linear.predict(37.5) == pytest.approx(0.913, abs=2e-3)
    assert current.predict(37.5) == pytest.approx(0.700, abs=1e-3)
    assert linear.predict(37.5) / current.predict(37.5) == pytest.approx(1.30, abs=0.01)
    assert found.ask == 150.0


def test_a_linear_source_does_not_fit_a_current_output() -> None:
    found = read((OPEN, 3.0), (150.0, 2.8), (75.0, 1.4))
    linear = found.kind("linear")
    assert linear is not None
    assert not linear.fits
    assert linear.chi2 > 30.0


def test_readings_that_contradict_each_other_fit_nothing() -> None:
    """A level that rises with the load: no output does that."""
    found = read((OPEN, 1.0), (150.0, 1.5), (75.0, 0.5), share=0.01)
    assert found.best is None
    assert found.rivals == ()


def test_a_slow_rise_is_a_pull_up_resistor() -> None:
    readings = [LoadReading(ohms, 5.0 * ohms / (ohms + 1e3), 0.03) for ohms in (1e6, 1e3, 500.0)]
    assert identify(readings, rise=200e-9, fall=15e-9).best is not None
    kinds = [identify(readings, rise=rise, fall=15e-9).best for rise in (200e-9, 20e-9)]
    assert [one.name for one in kinds if one is not None] == ["open-collector", "linear"]


@pytest.mark.parametrize("seed", range(6))
def test_least_squares_agrees_with_scipy(seed: int) -> None:
    """scipy.optimize.curve_fit with the same weights: values, uncertainties and the sum of squares."""
    rng = np.random.default_rng(seed)
    emf, inner = rng.uniform(0.5, 5.0), rng.uniform(5.0, 300.0)
    ohms = np.array([1e7, 300.0, 150.0, 75.0, 37.5])
    u = 0.02 * emf * ohms / (ohms + inner)
    volts = emf * ohms / (ohms + inner) + rng.normal(0.0, u)
    found = identify([LoadReading(*row) for row in zip(ohms, volts, u, strict=True)]).kind("linear")
    assert found is not None
    at, covariance = curve_fit(
        lambda r, e, z: e * r / (r + z), ohms, volts, p0=(1.0, 50.0), sigma=u, absolute_sigma=True
    )
    for index, name in enumerate(("emf", "impedance")):
        assert found.value(name) == pytest.approx(at[index], rel=1e-5)
        spread = next(spread for key, _, spread in found.values if key == name)
        assert spread == pytest.approx(2.0 * math.sqrt(covariance[index, index]), rel=1e-4)
    residual = (volts - at[0] * ohms / (ohms + at[1])) / u
    assert found.chi2 == pytest.approx(float(residual @ residual), rel=1e-4)


def test_the_interval_covers_the_truth_19_times_of_20() -> None:
    """JCGM 100:2008: k = 2 covers about 95 %. 2,000 seeded sets of readings of a 75-ohm source."""
    rng = np.random.default_rng(7)
    ohms = (1e7, 150.0, 75.0)
    inside = 0
    for _ in range(2000):
        readings = []
        for load in ohms:
            volts = 1.4 * load / (load + 75.0)
            readings.append(LoadReading(load, volts + rng.normal(0.0, 0.01 * volts), 0.01 * volts))
        found = identify(readings).kind("linear")
        assert found is not None
        value, spread = next((value, spread) for key, value, spread in found.values if key == "impedance")
        inside += abs(value - 75.0) <= spread
    assert inside / 2000 == pytest.approx(0.954, abs=0.015)


def test_a_true_linear_source_is_refused_once_in_twenty() -> None:
    """The 95 % point of chi-square: about 5 % of honest readings are refused."""
    rng = np.random.default_rng(11)
    refused = 0
    for _ in range(1000):
        readings = []
        for load in (1e7, 150.0, 75.0, 37.5):
            volts = 2.0 * load / (load + 50.0)
            readings.append(LoadReading(load, volts + rng.normal(0.0, 0.01 * volts), 0.01 * volts))
        found = identify(readings).kind("linear")
        assert found is not None
        refused += not found.fits
    assert refused / 1000 == pytest.approx(0.05, abs=0.02)


def test_a_follower_is_known_by_two_light_loads_and_two_at_its_limit() -> None:
    """2 V behind 40 ohm that gives 10 mA at most: 2 V x 300 / 340, then 10 mA times the load."""
    found = read((OPEN, 2.0), (300.0, 1.76471), (75.0, 0.75), (37.5, 0.375), share=0.01)
    assert found.best is not None
    assert found.best.name == "follower"
    assert found.best.freedom == 1
    for name, value in (("emf", 2.0), ("impedance", 40.0), ("limit", 0.01)):
        assert found.best.value(name) == pytest.approx(value, rel=1e-3)


def test_a_source_of_no_impedance_has_none() -> None:
    linear = read((OPEN, 1.0), (75.0, 1.0)).kind("linear")
    assert linear is not None
    assert linear.value("impedance") == pytest.approx(0.0, abs=1e-9)
    pulled = read((OPEN, 1.0), (75.0, 1.002)).kind("linear")  # within its limits: none, never less than none
    assert pulled is not None
    assert pulled.value("impedance") == 0.0


def test_a_current_is_the_mean_weighted_by_one_over_u_squared() -> None:
    """10.0 mA +/- 0.1 and 10.4 +/- 0.2 mA: (4 x 10 + 10.4) / 5 = 10.08 mA, k = 2: 2 x 0.1 / sqrt(1.25) (GUM)."""
    current = identify([LoadReading(100.0, 1.0, 0.01), LoadReading(50.0, 0.52, 0.01)]).kind("current")
    assert current is not None
    assert current.values == (("current", pytest.approx(10.08e-3), pytest.approx(0.2e-3 / math.sqrt(1.25))),)
    assert current.chi2 == pytest.approx((0.008 / 0.01) ** 2 + (0.016 / 0.01) ** 2)
    assert (current.freedom, current.fits) == (1, True)


def test_a_kind_on_the_point_of_chi_square_still_fits() -> None:
    assert Kind("linear", (), 3.841, 1).fits
    assert not Kind("linear", (), 3.842, 1).fits
    assert Kind("linear", (), 99.0, 0).fits


@pytest.mark.parametrize(("rise", "kind"), [(3.0, "open-collector"), (2.9, "linear"), (4.0, "open-collector")])
def test_a_rise_of_three_falls_is_slow(rise: float, kind: str) -> None:
    readings = [LoadReading(ohms, 5.0 * ohms / (ohms + 1e3), 0.03) for ohms in (1e6, 1e3, 500.0)]
    best = identify(readings, rise=rise, fall=1.0).best
    assert best is not None
    assert best.name == kind


def test_the_load_that_tells_most_is_asked_for() -> None:
    """3 V behind 337.5 ohm, or 8 mA up to 3 V: into 300 ohm 1.41 or 2.4 V, into 150 ohm 0.92 or 1.2 V."""
    found = read((OPEN, 3.0), (37.5, 0.3))
    assert {one.name for one in found.rivals} == {"linear", "current"}
    assert found.ask == 300.0
    assert [round(one.predict(300.0), 3) for one in sorted(found.rivals, key=lambda one: one.name)] == [2.4, 1.412]
