"""Ratings and gains of fitted parts: declared they decide, assumed they prove half, and gain has a spread."""

from __future__ import annotations

import math

import pytest
from scipy.optimize import brentq

from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Finding, Result
from guardcheck.pipeline import Options, check_job
from tests.pipeline.jobs import finding, line, run, text


def feed(rating: str = "", series: str = "75 ohm") -> str:
    """Return a job: 5 V through a series resistor into 75 ohm."""
    return text(
        line(
            "feed",
            standard="scart-sync",
            source="logic-pin",
            source_values='high = "5 V", impedance = "1 mohm"',
            stage_values=f'series = "{series}"{rating}',
        )
    )


def power(result: Result, where: str = "stage series") -> Finding:
    return next(one for one in result.findings if one.quantity == "part.power" and one.where == where)


# 5 V through 75 + 75 ohm: 2.5 V across the resistor, 2.5**2 / 75 = 83.3 mW. A quarter watt that nobody declared proves
# up to 125 mW, an eighth proves 83 mW only because it is declared.
@pytest.mark.parametrize(
    ("rating", "outcome"),
    [
        ("", CONFORMS),
        (', power_rating = "0.125 W"', CONFORMS),
        (', power_rating = "0.0625 W"', DOES_NOT_CONFORM),
        (', power_rating = "0.5 W"', CONFORMS),
    ],
)
def test_a_declared_rating_is_the_limit(engine: Engine, rating: str, outcome: str) -> None:
    found = power(run(engine, feed(rating)))
    assert found.value == pytest.approx(1 / 12, rel=1e-3)
    assert found.outcome == outcome
    assert (found.reference or "").startswith("rating declared in the job file") == bool(rating)
    assert ("assumed, not declared" in (found.reference or "")) != bool(rating)


def test_an_assumed_rating_proves_only_half(engine: Engine) -> None:
    """5 V through 22 + 75 ohm: 51.5 mA, 0.2 W in the termination: more than half of the quarter watt assumed."""
    found = power(run(engine, feed(series="22 ohm")), "display termination")
    assert found.value == pytest.approx((5 / 97) ** 2 * 75, rel=1e-3)
    assert found.outcome == NOT_PROVEN
    assert "assumed" in found.why


def test_a_rating_of_what_has_none_is_refused(engine: Engine) -> None:
    with pytest.raises(JobError, match="power_rating"):
        run(engine, text(line(stage="pass-through", stage_values='power_rating = "1 W"')))


@pytest.mark.parametrize(("rating", "outcome"), [("", NOT_PROVEN), (', voltage_rating = "16 V"', CONFORMS)])
def test_the_capacitor_under_a_wrong_plug(engine: Engine, rating: str, outcome: str) -> None:
    """5 V from outside onto an output at rest: 5 V of 6.3 V assumed are 2 dB and no proof, of 16 V declared 10.1 dB."""
    job = text(line(stage="ac-coupled", stage_values=f'capacitor = "470 uF", series = "75 ohm"{rating}'))
    result = check_job(parse_job(job, file="job.toml"), engine, Options(samples=0))
    found = [
        one
        for one in result.findings
        if one.quantity == "event.part_margin" and one.event == "misplug" and one.severity == "5 V"
    ]
    assert len(found) == 1
    assert found[0].outcome == outcome, found[0].why


def follower(gain: str) -> str:
    return text(
        line(
            source_values='white = "3.0 V", black = "1.6 V", impedance = "1 mohm"',
            stage="npn-follower",
            stage_values=f'base = "4.7 kohm", emitter = "220 ohm", series = "22 ohm"{gain}',
        )
    )


def output_impedance(volts: float, gain: float) -> float:
    """Return series + emitter || (VT/IE + base/(hFE+1)) by Ebers-Moll with IS = 1e-14 A at 27 degC."""
    vt, load = 8.617333262e-5 * 300.15, 1.0 / (1.0 / 220.0 + 1.0 / 97.0)

    def left(current: float) -> float:
        return volts - current / (gain + 1) * 4.7e3 - vt * math.log(current / 1e-14) - current * load

    emitter = float(brentq(left, 1e-6, 0.1))
    inner = vt / emitter + 4.7e3 / (gain + 1)
    return 22.0 + 1.0 / (1.0 / 220.0 + 1.0 / inner)


@pytest.mark.parametrize("gain", [100.0, 150.0, 300.0])
def test_the_gain_of_a_transistor_shows_at_the_output(engine: Engine, gain: float) -> None:
    found = finding(run(engine, follower(f', gain = "{gain:g}"')), "response.impedance")
    at = [output_impedance(volts, gain) for volts in (1.6, 3.0)]
    # the gain is stated at 10 mA; at the 20 mA of white the transistor has some 15 % less of it, and 10 ohm of its own
    assert found.value == pytest.approx(max(at, key=lambda ohms: abs(ohms - 75.0)), abs=4.0)


def test_every_transistor_of_the_shelf_has_a_spread_of_gain() -> None:
    """2N3904 and 2N3906 data sheets: hFE 100 to 300 at 10 mA, three to one whichever was fitted."""
    library = Library.load()
    gains = [
        (name, value.nominal)
        for name in library.names("stage")
        for key, value in library.get("stage", name).parameters.items()
        if key.endswith("gain")
        and any(row["what"] == "transistor" for row in library.get("stage", name).extra["parts"])
    ]
    assert {name for name, _ in gains} == {"complementary-follower", "npn-follower", "npn-sync-amplifier"}
    assert len(gains) == 4
    for name, gain in gains:
        assert (gain.low, gain.high) == (100.0, 300.0), name


def test_a_gain_nobody_declared_has_the_spread_of_its_kind(engine: Engine) -> None:
    """2N3904 data sheet: hFE 100 to 300 at 10 mA."""
    found = finding(run(engine, follower("")), "response.impedance")
    assert found.spread is not None
    assert found.spread[1] > output_impedance(1.6, 100.0) * 0.93
    assert found.spread[1] - found.spread[0] > 15.0
