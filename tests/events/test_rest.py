"""Where a decaying voltage comes to rest, and what a coupling capacitor leaves of a lasting misplug."""

from __future__ import annotations

import numpy as np
import pytest

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.measure import at_rest, charges
from guardcheck.model import Deck, Trace
from guardcheck.pipeline import Options, check_job
from guardcheck.simulate.levels import solve
from guardcheck.simulate.planning import LinePlan
from tests.pipeline.jobs import line, text


@pytest.mark.parametrize(("end", "size", "tau"), [(0.0, 10.0, 1.0), (2.0, -5.0, 0.7), (3.0, 0.0, 1.0)])
def test_an_exponential_is_followed_to_its_end(end: float, size: float, tau: float) -> None:
    time = np.linspace(0.0, 1.0, 2001)
    assert at_rest(time, end + size * np.exp(-time / tau)) == pytest.approx(end, abs=1e-4)


def test_what_grows_or_swings_is_taken_as_it_stands() -> None:
    time = np.linspace(0.0, 1.0, 2001)
    for volts in (time**2, np.sin(20.0 * time), 5.0 - time):
        assert at_rest(time, volts) == pytest.approx(float(volts[-1]), abs=1e-6)


def test_a_current_that_only_charges_is_told_from_one_that_lasts() -> None:
    time = np.linspace(0.0, 0.02, 2001)
    steady = np.full(2001, 0.1)
    assert charges(time, steady, 0.1 * time / 470e-6)
    assert charges(time, 0.1 * np.exp(-time / 0.07), -(0.1 * 0.07 / 470e-6) * np.expm1(-time / 0.07))
    assert not charges(time, steady, np.full(2001, 5.0))
    assert not charges(time, steady, 3.0 * np.exp(-time / 0.01))


def test_a_charging_pulse_is_no_steady_power(engine: Engine) -> None:
    """12 V from outside charge 470 uF through 150 ohm in some 70 ms; then no direct current flows: 0 W, not 0.75 W."""
    job = text(line(stage="ac-coupled", stage_values='capacitor = "470 uF", series = "75 ohm"'))
    found = check_job(parse_job(job, file="job.toml"), engine, Options(samples=0)).findings
    heat = [one for one in found if one.quantity == "part.power" and one.event == "misplug"]
    assert heat
    for one in heat:
        assert one.value is not None
        assert one.value < 0.125


class Silent:
    """An engine whose every run fails, as one does that has used up its time."""

    def run(self, decks: list[Deck]) -> tuple[Trace, ...]:
        return tuple(
            Trace(deck.name, {}, np.zeros(deck.n_variants, dtype=bool), failure="left undone") for deck in decks
        )


def test_a_coupled_line_that_cannot_be_solved_fails_and_does_not_crash() -> None:
    job = text(line(stage="ac-coupled", stage_values='capacitor = "470 uF", series = "75 ohm"'))
    from guardcheck.pipeline.options import plan_of

    one: LinePlan = plan_of(parse_job(job, file="job.toml"), Options(samples=0)).lines[0]
    group = solve(Silent(), [one.experiment(one.bare)])[0]  # type: ignore[arg-type]
    assert all(plateaus.failure for plateaus in group)
