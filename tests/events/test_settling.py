"""A run must be fine enough for its edge and long enough for its tail: closed forms of a charged line and of RC."""

from __future__ import annotations

import math

import pytest

from guardcheck.engine import Engine
from tests.events.bench import case, chain, finer, run
from tests.events.jobs import findings, job_text


@pytest.mark.parametrize(("metres", "volts"), [(10.0, 500.0), (10.0, 1000.0), (100.0, 500.0), (500.0, 1000.0)])
def test_a_long_charged_lead_gives_its_plateau_and_never_more_than_its_impedance_lets_it(
    engine: Engine, metres: float, volts: float
) -> None:
    """75 ohm into 5 ohm and a diode above a dead rail of one farad: (V - Vd) / (75 + 5 + 0.1)."""
    on = chain(cable="coax-75", cable_values={"length": f"{metres} m"})
    one = case("cable-discharge", on, mated="cable", unit="off", volts=volts, polarity=1.0, stop=3e-7)
    first, second = run(engine, one), run(engine, finer(one, 2.0))
    if metres < 30.0:  # of a longer lead the simulator bears no finer steps than the first run's
        assert second.seen.step == pytest.approx(first.seen.step / 2.0)
    drop = 25.865e-3 * math.log(volts / 80.1 / 1e-14)
    for ran in (first, second):
        assert ran.pin.current == pytest.approx((volts - drop) / 80.1, rel=0.01)
        assert ran.pin.current < volts / 75.0


@pytest.mark.parametrize(("ohms", "microfarads"), [(10e3, 2200.0), (10e3, 1000.0), (10e3, 470.0), (10e3, 100.0)])
def test_the_step_of_a_coupled_output_lasts_as_long_as_its_capacitor_takes(
    engine: Engine, ohms: float, microfarads: float
) -> None:
    """2 V through 85 ohm into 10 kohm: 1.98 V, beyond 0.3 V for R C ln(1.98 / 0.3)."""
    text = job_text(
        stage="ac-coupled",
        stage_values=f'capacitor = "{microfarads} uF", series = "75 ohm"',
        source_values='white = "2 V", black = "1.9 V", impedance = "10 ohm"',
    )
    row = findings(engine, text, "power-step")["red/bare/event.margin/power-step/power on"]
    told = row.why.partition("sees a step of ")[2]
    volts, seconds = float(told.split(" V")[0]), float(told.partition("up to ")[2].split(" s")[0])
    assert volts == pytest.approx(2.0 * ohms / (ohms + 85.0), rel=0.01)
    assert seconds == pytest.approx((ohms + 85.0) * microfarads * 1e-6 * math.log(volts / 0.3), rel=0.05)
