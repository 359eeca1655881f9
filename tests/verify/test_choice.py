"""The chooser of the next reading against closed forms and brute force.

For a linear reading y = h x of Gaussian unknowns x ~ N(0, S) with Gaussian error of variance s, conditioning gives
(C. Bishop, Pattern Recognition and Machine Learning, 2.3; D. MacKay, Neural Computation 4, 1992):
posterior covariance S - S h h' S / (h' S h + s), and the entropy falls by 1/2 ln(1 + h' S h / s).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from guardcheck.verification.choice import Candidate, apart, best, information, laid_out, uncertainty

S = np.array([[1.0, 0.4], [0.4, 0.5]])
"""Covariance of two unknowns."""
READINGS = {"first": (1.0, 0.0), "second": (0.0, 1.0), "sum": (1.0, 1.0), "difference": (1.0, -1.0), "weak": (0.1, 0.1)}


def grid() -> tuple[np.ndarray, np.ndarray]:
    """Return points of the unknowns and their shares: a fine lattice under the Gaussian density."""
    axis = np.linspace(-4.2, 4.2, 21)
    u = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2)
    weights = np.exp(-0.5 * (u**2).sum(axis=1))
    return u @ np.linalg.cholesky(S).T, weights / weights.sum()


def closed_form(h: tuple[float, float], error: float) -> float:
    """Return the fall of entropy [nat] from the determinants before and after conditioning."""
    row = np.array(h)
    after = S - np.outer(S @ row, row @ S) / (row @ S @ row + error**2)
    return 0.5 * math.log(np.linalg.det(S) / np.linalg.det(after))


@pytest.mark.parametrize("name", READINGS)
@pytest.mark.parametrize("error", [0.6, 1.0])
def test_a_linear_gaussian_reading_says_what_conditioning_takes_away(name: str, error: float) -> None:
    points, weights = grid()
    reads = points @ np.array(READINGS[name])
    kept = np.unique(np.round(reads, 6), return_inverse=True)
    mass = np.bincount(kept[1], weights)
    found = information(kept[0], np.full(len(kept[0]), error), mass)
    assert found == pytest.approx(closed_form(READINGS[name], error), rel=5e-3)


def test_the_order_of_the_readings_is_that_of_the_closed_form() -> None:
    """1/2 ln(1 + h'Sh/s) by hand: h'Sh = 1, 0.5, 2.3, 0.7, 0.023, so sum, first, difference, second, weak."""
    points, weights = grid()
    order = sorted(
        READINGS, key=lambda one: -information(points @ np.array(READINGS[one]), np.ones(len(points)), weights)
    )
    assert order == ["sum", "first", "difference", "second", "weak"]


def brute_force(reads: np.ndarray, sigmas: np.ndarray) -> float:
    """Return prior less expected posterior entropy, Bayes' rule on a fine lattice of values read."""
    values = np.linspace((reads - 8 * sigmas).min(), (reads + 8 * sigmas).max(), 40001)
    density = np.exp(-0.5 * ((values - reads[:, None]) / sigmas[:, None]) ** 2) / (
        sigmas[:, None] * math.sqrt(2 * math.pi)
    )
    mixed = density.mean(axis=0)
    posterior = np.divide(density / len(reads), mixed, out=np.zeros_like(density), where=mixed > 1e-300)
    left = -(posterior * np.log(np.maximum(posterior, 1e-300))).sum(axis=0)
    return math.log(len(reads)) - float(np.trapezoid(mixed * left, values))


def rounds() -> list[list[tuple[float, ...]]]:
    rng = np.random.default_rng(5)
    return [[tuple(rng.uniform(0.05, 1.5, count)) for _ in range(4)] for count in (2, 3, 5, 8)]


@pytest.mark.parametrize("rivals", rounds(), ids=["2", "3", "5", "8"])
def test_the_best_reading_is_the_one_brute_force_finds(rivals: list[tuple[float, ...]]) -> None:
    said = []
    for reads in rivals:
        sigmas = np.array([uncertainty(value, "V") for value in reads])
        said.append(brute_force(np.array(reads), sigmas))
        assert information(reads, sigmas) == pytest.approx(said[-1], abs=0.02)
    chosen = best([Candidate(str(place), "", "V", reads) for place, reads in enumerate(rivals)])
    assert chosen is not None
    assert said[int(chosen.key)] >= 0.93 * max(said)


def test_equal_readings_say_nothing_and_far_ones_everything() -> None:
    """Two rivals: 0 nat when they read alike, ln 2 when they cannot be confused."""
    assert information((1.0, 1.0), (0.1, 0.1)) == pytest.approx(0.0, abs=1e-12)
    assert information((1.0, 9.0), (0.1, 0.1)) == pytest.approx(math.log(2), rel=1e-9)
    assert information((1.0, 9.0), (0.1, 0.1), (0.9, 0.1)) == pytest.approx(0.325, abs=1e-3)  # -0.9 ln 0.9 - 0.1 ln 0.1


def test_the_easier_of_readings_that_say_alike_comes_first() -> None:
    easy, hard = Candidate("easy", "", "V", (0.7, 1.4)), Candidate("hard", "", "ohm", (75.0, 7.5e3))
    assert best([easy, hard]) == easy
    assert best([hard, easy]) == hard
    assert best([Candidate("blind", "", "V", (0.7, 0.71)), hard]) == hard
    assert best([Candidate("blind", "", "V", (0.7, 0.71))]) is None


def test_what_a_hand_instrument_tells_apart() -> None:
    """Levels: 5 % of each (root sum of squares) and 10 mV; resistances: 2 % and half an ohm."""
    assert not apart(0.70, 0.755, "V")  # sqrt(0.035^2 + 0.0378^2) + 0.01 = 0.0615
    assert apart(0.70, 0.765, "V")  # 0.065 > 0.0618
    assert not apart(75.0, 77.6, "ohm")  # sqrt(1.5^2 + 1.552^2) + 0.5 = 2.66
    assert apart(75.0, 77.8, "ohm")
    assert uncertainty(1.0, "V") == pytest.approx(0.03)
    assert uncertainty(100.0, "ohm") == pytest.approx(1.25)


def test_readings_are_laid_out_until_the_rivals_are_told_apart() -> None:
    """Four rivals, two readings of two groups each: the second reading splits what the first leaves."""
    one, two = Candidate("one", "", "V", (1.0, 1.0, 2.0, 2.0)), Candidate("two", "", "V", (1.0, 2.0, 1.0, 2.0))
    step = laid_out([one, two], range(4))
    assert step is not None
    assert (step.key, [(found.value, found.rivals) for found in step.outcomes]) == (
        "one",
        [(2.0, (2, 3)), (1.0, (0, 1))],
    )
    then = step.outcomes[0].then
    assert then is not None
    assert [(found.value, found.rivals, found.then) for found in then.outcomes] == [
        (2.0, (3,), None),
        (1.0, (2,), None),
    ]
    short = laid_out([one, two], range(4), steps=1)
    assert short is not None
    assert all(found.then is None for found in short.outcomes)
    assert laid_out([one, two], [0]) is None


def test_what_lies_beyond_the_meters_range_reads_alike() -> None:
    """A gigohm and a hundred megohm are both over range; 10 Mohm is not."""
    assert best([Candidate("r", "", "ohm", (1e9, 1e8))]) is None
    step = laid_out([Candidate("r", "", "ohm", (1e9, 1e8, 1e7))], range(3))
    assert step is not None
    assert [found.rivals for found in step.outcomes] == [(0, 1), (2,)]
