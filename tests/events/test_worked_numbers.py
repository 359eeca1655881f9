"""Worked examples of the stress events: two sets of device parameters, solved by hand (closed forms, Newton, Radau).

The numbers were computed twice outside this program, in closed form or by a scalar solver; the parameters are those of
the worked examples (1N4148, BAT54 and the chip's own diode without capacitance), the rail is stiff unless said.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from guardcheck.compose import Chain, Rail, event_deck
from guardcheck.engine import Engine
from guardcheck.simulate.stress.runs import seen_of
from tests.events.bench import Ran, at, case, chain, finer, run

FIRST, SECOND = "first", "second"
PIN = {"white": "0 V", "impedance": "10 kohm", "capacitance": "10 pF", "esd_resistance": "5 ohm"}
"""The examples' pin: its diodes, 5 ohm in series with each, and a bleed of 10 kohm."""
SOFT = {**PIN, "esd_resistance": "3 ohm"}


def in_diodes(ran: Ran) -> float:
    """Return the peak current in the pin's own diodes [A]: what the examples call pin current when nothing drives."""
    return max(float(amps.max()) for amps, _ in ran.waves.diodes)


def clamp_at_chip(guard: str) -> Chain:
    """Connector, 75 ohm, clamp and chip on one node."""
    return chain(
        source_values=PIN, stage="series-resistor", stage_values={"series": "75 ohm"}, guard=guard, models=FIRST
    )


def clamp_at_connector(guard: str, source: dict[str, str], models: str) -> Chain:
    """Connector, clamp, 75 ohm, chip: the order whose result hardly depends on the chip."""
    return chain(
        source_values=source,
        stage="series-resistor",
        stage_values={"series": "75 ohm"},
        guard=guard,
        guard_values={"place": "connector"},
        models=models,
    )


def with_after(after: str = "100 ohm") -> Chain:
    """75 ohm, clamp, 100 ohm, chip."""
    return chain(
        source_values=PIN,
        guard="resistor-and-pair",
        guard_values={"before": "75 ohm", "after": after},
        models=FIRST,
    )


HOT_PLUG = {
    # 325 V behind 2.35 nF (two of 4.7 nF on opposed plugs), 75 ohm of the display, 1 uH: peak current into the pin
    "on-chip diodes only": (lambda: chain(source_values=PIN, models=FIRST), 3.47),
    "75 ohm": (
        lambda: chain(source_values=PIN, stage="series-resistor", stage_values={"series": "75 ohm"}, models=FIRST),
        1.95,
    ),
    "75 ohm, 1N4148 pair": (lambda: clamp_at_chip("silicon-pair"), 0.227),
    "75 ohm, BAT54S": (lambda: clamp_at_chip("schottky-pair"), 0.625),
    "75 ohm, 1N4148 pair, 100 ohm": (with_after, 12e-3),
    "1N4148 pair at the connector, 75 ohm": (lambda: clamp_at_connector("silicon-pair", PIN, FIRST), 28e-3),
}


@pytest.mark.parametrize("name", HOT_PLUG)
def test_hot_plug_peak_current(name: str, engine: Engine) -> None:
    make, wanted = HOT_PLUG[name]
    ran = run(engine, case("hot-plug", make(), contact=1e-3, models=FIRST))
    assert in_diodes(ran) == pytest.approx(wanted, rel=0.03)
    assert ran.pin.current == pytest.approx(in_diodes(ran), rel=0.05)


def test_clamp_at_the_connector_takes_the_whole_surge(engine: Engine) -> None:
    ran = run(engine, case("hot-plug", clamp_at_connector("silicon-pair", PIN, FIRST), contact=1e-3, models=FIRST))
    clamp = max(ran.seen.beyond, key=lambda item: item[2])
    assert clamp[0] == "1N4148"
    assert clamp[1] == pytest.approx(3.6, rel=0.03)


@pytest.mark.parametrize(
    ("capacitance", "rise"), [(100e-9, 7.30), (1e-6, 0.75), (10e-6, 75e-3), (100e-6, 7.5e-3)], ids=lambda v: f"{v:g}"
)
def test_the_rail_rises_by_sharing_the_charge(capacitance: float, rise: float, engine: Engine) -> None:
    """Q-sharing: all clamp charge goes into the rail's capacitance, for no regulator takes current back."""
    rail = Rail(5.0, capacitance, 0.0, 1e6)
    on = chain(source_values=PIN, stage="series-resistor", stage_values={"series": "75 ohm"}, models=FIRST)
    ran = run(engine, case("hot-plug", on, rail=rail, contact=1e-3, models=FIRST))
    assert ran.pin.rail - 5.0 == pytest.approx(rise, rel=0.03)


def test_a_driven_pin_sinks_part_of_the_surge_itself(engine: Engine) -> None:
    """Driver of 25 ohm at low behind 75 ohm: 1.44 A in the diode and 0.52 A in the driver, 1.96 A in all."""
    on = chain(
        source_values={**PIN, "impedance": "25 ohm"},
        stage="series-resistor",
        stage_values={"series": "75 ohm"},
        models=FIRST,
    )
    ran = run(engine, case("hot-plug", on, contact=1e-3, models=FIRST))
    diode = max(float(amps.max()) for amps, _ in ran.waves.diodes)
    assert diode == pytest.approx(1.44, rel=0.03)
    assert ran.pin.current == pytest.approx(1.96, rel=0.03)


def test_ground_first_is_no_event(engine: Engine) -> None:
    """Two supplies with symmetric Y pairs, or 0 V that met first: no step, nothing at the pin."""
    ran = run(engine, case("hot-plug", chain(source_values=PIN, models=FIRST), chassis_volts=0.0, models=FIRST))
    assert ran.pin.current < 1e-9


ESD_RC = {
    # the RC part of the generator alone (150 pF, 330 ohm) at 8 kV
    "on-chip diodes only": (lambda: chain(source_values=PIN, models=FIRST), 23.5),  # given as 23
    "75 ohm, 1N4148 pair": (lambda: clamp_at_chip("silicon-pair"), 2.0),
    "75 ohm, 1N4148 pair, 100 ohm": (with_after, 0.106),
}


@pytest.mark.parametrize("name", ESD_RC)
def test_esd_through_the_rc_part_alone(name: str, engine: Engine) -> None:
    make, wanted = ESD_RC[name]
    only_rc = {"tip_capacitance": 1e-16, "inductance": 1e-10, "common": 1e-11, "tip_inductance": 1e-10}
    ran = run(engine, finer(case("esd-contact", make(), models=FIRST, **only_rc)))
    assert in_diodes(ran) == pytest.approx(wanted, rel=0.03)


ESD_FULL = {
    # the whole generator at 8 kV, second set of parameters, rail of 10 uF and 0.1 ohm: amperes and microjoules
    "none": (lambda: chain(source_values=SOFT, models=SECOND), 29.8, 68e-6),
    "75 ohm": (
        lambda: chain(source_values=SOFT, stage="series-resistor", stage_values={"series": "75 ohm"}, models=SECOND),
        23.4,
        52e-6,
    ),
    "1N4148 pair at the connector, 75 ohm": (lambda: clamp_at_connector("silicon-pair", SOFT, SECOND), 0.25, 0.015e-6),
    "BAT54S at the connector, 75 ohm": (lambda: clamp_at_connector("schottky-pair", SOFT, SECOND), 0.38, 0.024e-6),
}


@pytest.mark.parametrize("name", ESD_FULL)
def test_esd_from_the_whole_generator(name: str, engine: Engine) -> None:
    make, amps, joules = ESD_FULL[name]
    ran = run(engine, case("esd-contact", make(), rail=Rail(5.0, 10e-6, 0.1, 1e6), step=0.1e-9, models=SECOND))
    assert ran.pin.current == pytest.approx(amps, rel=0.03)
    assert ran.pin.energy == pytest.approx(joules, rel=0.06)


def test_a_clamp_into_the_rail_lifts_it_by_its_series_resistance(engine: Engine) -> None:
    on = clamp_at_connector("silicon-pair", SOFT, SECOND)
    ran = run(engine, case("esd-contact", on, rail=Rail(5.0, 10e-6, 0.1, 1e6), step=0.1e-9, models=SECOND))
    assert ran.pin.rail == pytest.approx(8.0, rel=0.03)


def test_charged_line_is_a_flat_source_of_its_impedance(engine: Engine) -> None:
    """500 V on 3 m of 75 ohm, through 75 ohm into a 5 V chip: (V0 - VDD - Vf) / (Z0 + R) = 3.28 A for 30 ns."""
    on = chain(
        source_values={**PIN, "capacitance": "1 pF", "esd_resistance": "10 mohm"},
        stage="series-resistor",
        stage_values={"series": "75 ohm"},
        cable="coax-75",
        cable_values={"length": "3 m", "core": "0 ohm/m", "screen": "0 ohm/m"},
        models=FIRST,
    )
    ran = run(engine, case("cable-discharge", on, step=0.4e-9, stop=0.2e-6, models=FIRST, contact=1e-3))
    assert ran.pin.current == pytest.approx(3.28, rel=0.01)
    above = ran.waves.time[ran.waves.amps > 3.2]
    assert above[-1] - above[0] == pytest.approx(30e-9, rel=0.05)


def test_a_charged_line_into_three_ohm_rings_between_the_rails(engine: Engine) -> None:
    """1 kV on 75 ohm into about 3 ohm: +12.8, -11.8, +10.9 A, each for twice the delay."""
    on = chain(
        source_values={**PIN, "capacitance": "1 pF", "esd_resistance": "3 ohm"},
        cable="coax-75",
        cable_values={"length": "2 m", "core": "0 ohm/m", "screen": "0 ohm/m"},
        models=FIRST,
    )
    ran = run(engine, case("cable-discharge", on, step=0.25e-9, stop=0.2e-6, volts=1000.0, contact=1e-3, models=FIRST))
    middle = [1e-9 + (index + 0.5) * 20e-9 for index in range(3)]
    found = [at(ran.waves, time) for time in middle]
    assert found == pytest.approx([12.8, -11.8, 10.9], rel=0.03)


def test_no_charged_line_gives_more_than_its_surge_impedance(engine: Engine) -> None:
    """1 kV on 75 ohm against a pin at 5 V: (1000 + 5) / 75 = 13.4 A at most; a run that shows more is refused."""
    on = chain(
        source_values={**PIN, "capacitance": "1 pF", "esd_resistance": "3 ohm"},
        cable="coax-75",
        cable_values={"length": "2 m", "core": "0 ohm/m", "screen": "0 ohm/m"},
        models=FIRST,
    )
    one = case("cable-discharge", on, volts=1000.0, step=0.25e-9, stop=0.1e-6, contact=1e-3, models=FIRST)
    deck, probes = event_deck(one)
    assert probes.surge is not None
    assert (probes.surge.most, probes.surge.ohms) == (pytest.approx(13.4), 75.0)
    (trace,) = engine.run([deck])
    given = abs(np.real(trace.vectors[probes.surge.amps][0])).max()
    assert given == pytest.approx(12.8, rel=0.03)  # about 3 ohm more resist, as above
    for share, believed in ((1.03, False), (1.01, True)):
        surge = replace(probes.surge, most=float(given) / share)
        seen = seen_of(one, one.step, replace(probes, surge=surge), trace, lasting=False)
        assert (seen.failure is None) is believed
    refused = seen_of(one, one.step, replace(probes, surge=replace(probes.surge, most=6.7)), trace, lasting=False)
    assert "the charged lead gave 12." in str(refused.failure)
    assert "more than the 6.7 A that its surge impedance of 75 ohm lets through" in str(refused.failure)
    assert event_deck(case("hot-plug", on, models=FIRST))[1].surge is None


@pytest.mark.parametrize(
    ("load", "rail"), [(500.0, 9.8), (1e6, 11.6), (167.0, 7.7), (10e3, 11.3)], ids=["500", "none", "30 mA", "0.5 mA"]
)
def test_misplug_lifts_a_rail_that_only_sources(load: float, rail: float, engine: Engine) -> None:
    """12 V through 75 ohm and a 1N4148 pair: the rail goes where its load lets it."""
    one = case("misplug", clamp_at_chip("silicon-pair"), rail=Rail(5.0, 1e-6, 0.0, load), models=FIRST)
    assert run(engine, one).pin.rail == pytest.approx(rail, rel=0.03)


def test_misplug_current_and_heat_when_the_load_takes_it(engine: Engine) -> None:
    """12 V through 75 ohm into a 5 V rail with load enough: 82 mA and 0.51 W in the 75 ohm, for as long as it lasts."""
    ran = run(engine, case("misplug", clamp_at_chip("silicon-pair"), rail=Rail(5.0, 1e-4, 0.0, 50.0), models=FIRST))
    heat = {power.where: power.watts for power in ran.seen.powers}
    assert heat["stage series"] == pytest.approx(0.51, rel=0.03)
    assert (heat["stage series"] / 75.0) ** 0.5 == pytest.approx(82e-3, rel=0.03)
    assert ran.pin.rail == pytest.approx(5.0, abs=0.01)


def test_misplug_through_the_sources_own_kilohm(engine: Engine) -> None:
    """A status line of 1 kohm: 6 mA."""
    one = case("misplug", clamp_at_chip("silicon-pair"), rail=Rail(5.0, 1e-4, 0.0, 50.0), resistance=1e3, models=FIRST)
    ran = run(engine, one)
    heat = {power.where: power.watts for power in ran.seen.powers}
    assert (heat["stage series"] / 75.0) ** 0.5 == pytest.approx(5.9e-3, rel=0.03)


def test_short_of_a_buffer(engine: Engine) -> None:
    """Buffer at 2.0 V behind 75 ohm: 26.7 mA and 53 mW."""
    on = chain(
        source_values={"white": "1 V", "impedance": "1 ohm"},
        stage="video-buffer",
        stage_values={"gain": "2", "series": "75 ohm"},
    )
    ran = run(engine, case("short-to-ground", on, level=1.0))
    out = ran.seen.pins[1].stress
    assert out.delivered == pytest.approx(26.7e-3, rel=0.03)
    assert {power.where: power.watts for power in ran.seen.powers}["stage back-match"] == pytest.approx(53e-3, rel=0.03)


@pytest.mark.parametrize(("ohms", "amps"), [("50 ohm", 0.1), ("30 ohm", 0.1667)])
def test_short_of_bare_logic(ohms: str, amps: float, engine: Engine) -> None:
    on = chain(source="logic-pin", source_values={"impedance": ohms})
    assert run(engine, case("short-to-ground", on, level=5.0)).pin.delivered == pytest.approx(amps, rel=0.01)


BACK = {
    # 5 V into a dead unit: series resistor, guard, rail load, where the rail settles
    "470 ohm, 1N4148, 10 kohm": ("470 ohm", "silicon-pair", FIRST, 10e3, 4.25),
    "direct, BAT54, 100 ohm": ("1 mohm", "schottky-pair", FIRST, 100.0, 4.56),
}


@pytest.mark.parametrize("name", BACK)
def test_back_power_settles_on_the_declared_load(name: str, engine: Engine) -> None:
    series, guard, models, load, wanted = BACK[name]
    on = chain(source_values=PIN, stage="series-resistor", stage_values={"series": series}, guard=guard, models=models)
    ran = run(engine, case("back-power", on, unit="off", rail=Rail(5.0, 1e-6, 0.0, load), models=models))
    assert ran.pin.rail == pytest.approx(wanted, rel=0.03)


@pytest.mark.parametrize(("load", "rail"), [(100.0, 2.37), (1e3, 3.97), (1e7, 4.46)])
def test_back_power_through_75_ohm(load: float, rail: float, engine: Engine) -> None:
    """5 V through 75 ohm: 2.37 V on 100 ohm (24 mA), 3.97 V on 1 kohm, 4.46 V unloaded; a chip diode alone."""
    on = chain(source_values=SOFT, stage="series-resistor", stage_values={"series": "75 ohm"}, models=SECOND)
    ran = run(engine, case("back-power", on, unit="off", rail=Rail(5.0, 1e-6, 0.0, load), models=SECOND))
    assert ran.pin.rail == pytest.approx(rail, rel=0.03)


@pytest.mark.parametrize(
    ("unit", "mated", "volts", "lasts", "stop"),
    [
        ("rising", "display", 1.25, 47e-3, 0.4),
        ("falling", "display", -1.25, 47e-3, 0.4),
        ("rising", "nothing", 2.48, 4.7, 20.0),
        ("falling", "nothing", -2.48, 4.7, 20.0),
    ],
    ids=["on, terminated", "off, terminated", "on, 10 kohm", "off, 10 kohm"],
)
def test_power_steps_of_an_ac_coupled_output(
    unit: str, mated: str, volts: float, lasts: float, stop: float, engine: Engine
) -> None:
    """2.5 V of direct voltage behind 75 ohm and 220 uF: V RL/(75 + RL); just as far below 0 V at power off."""
    on = chain(
        source_values={"white": "2.5 V", "impedance": "1 mohm", "capacitance": "0.01 pF"},
        stage="ac-coupled",
        stage_values={"capacitor": "220 uF", "series": "75 ohm", "bleed": "10 Mohm"},
    )
    one = case("power-step", on, unit=unit, mated=mated, level=2.5, stop=stop, step=stop / 400)
    step, width = run(engine, one).seen.display
    assert step == pytest.approx(volts, rel=0.03)
    assert width == pytest.approx(lasts, rel=0.03)
