"""Expected readings against an independent solution: nodal analysis in numpy, and a diode equation solved here.

Nodal analysis is G v = i with the conductances of the drawn circuit (circuit law). The chip's diodes are those its part
names: saturation current 1e-14 A, 5 ohm, at 27 C a thermal voltage of 25.865 mV (Shockley equation).
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import Expected
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.report import expected_json, expected_text
from guardcheck.verification.expect import expectations
from tests.cli.test_cli import guardcheck
from tests.pipeline.jobs import line, text

PROBE = 10e6


def expected(engine: Engine, job: str) -> tuple[Expected, ...]:
    return expectations(engine, plan_of(parse_job(job, file="job.toml"), Options(samples=0)))


def one(rows: tuple[Expected, ...], where: str, state: str, quantity: str, instrument: str = "") -> Expected:
    found = [
        row
        for row in rows
        if where in row.where and (row.state, row.quantity) == (state, quantity) and instrument in row.instrument
    ]
    assert len(found) == 1, [(row.where, row.state, row.instrument, row.quantity) for row in found or rows]
    return found[0]


def nodal(conductors: list[tuple[int, int, float]], driven: tuple[int, float], nodes: int) -> np.ndarray:
    """Return node voltages; node 0 is 0 V, `conductors` are (node, node, ohm), `driven` is a node at a voltage."""
    g, i = np.zeros((nodes, nodes)), np.zeros(nodes)
    for a, b, ohms in conductors:
        for p, q in ((a, b), (b, a)):
            g[p, p] += 1 / ohms
            g[p, q] -= 1 / ohms
    for node, volts in ((0, 0.0), driven):
        g[node] = 0.0
        g[node, node], i[node] = 1.0, volts
    return np.linalg.solve(g, i)


PAD = line(
    "red",
    source_values='white = "3 V", black = "0.2 V", impedance = "50 ohm"',
    stage="two-resistor-pad",
    stage_values='series = "267 ohm 1%", shunt = "105 ohm 1%"',
)


@pytest.fixture(scope="module")
def pad(engine: Engine) -> tuple[Expected, ...]:
    return expected(engine, text(PAD))


@pytest.mark.parametrize(("where", "probed"), [("pin", 2), ("connector", 3), ("display", 3)])
@pytest.mark.parametrize("state", ["into its display", "lead out"])
@pytest.mark.parametrize(("quantity", "emf"), [("level.white", 3.0 - 0.2), ("level.blank", 0.2)])
def test_levels_with_the_probe_on_the_point(
    pad: tuple[Expected, ...], where: str, probed: int, state: str, quantity: str, emf: float
) -> None:
    """Nodes: 1 the EMF, 2 the pin, 3 the connector (no lead between it and the display)."""
    if where == "display" and state == "lead out":
        return
    circuit = [(1, 2, 50.0), (2, 3, 267.0), (3, 0, 105.0), (probed, 0, PROBE)]
    circuit += [(3, 0, 75.0)] if state == "into its display" else []
    row = one(pad, where, state, quantity)
    assert row.expected == pytest.approx(nodal(circuit, (1, emf), 4)[probed], rel=5e-3)
    assert row.unit == "V"
    assert row.low is not None
    assert row.high is not None
    assert row.low <= row.expected <= row.high


def test_the_spread_is_that_of_the_build(pad: tuple[Expected, ...]) -> None:
    """Both resistors at their ends of 1 %: the divider's extremes by the same nodal analysis, EMF 2.8 V."""
    corners = [
        nodal([(1, 2, 50.0), (2, 3, 267.0 * a), (3, 0, 105.0 * b), (3, 0, 75.0), (3, 0, PROBE)], (1, 2.8), 4)[3]
        for a in (0.99, 1.01)
        for b in (0.99, 1.01)
    ]
    row = one(pad, "display", "into its display", "level.white")
    assert (row.low, row.high) == pytest.approx((min(corners), max(corners)), rel=1e-3)


@pytest.mark.parametrize("state", ["no power, lead out", "no power, lead out, leads of the meter swapped"])
@pytest.mark.parametrize(("where", "ohms"), [("pin", 267 + 105), ("connector", 105)])
def test_resistance_without_power(pad: tuple[Expected, ...], state: str, where: str, ohms: float) -> None:
    row = one(pad, where, state, "resistance")
    assert row.expected == pytest.approx(ohms, rel=5e-3)
    assert (row.low, row.high) == pytest.approx((0.99 * ohms, 1.01 * ohms), rel=5e-3)
    volts = one(pad, where, state, "voltage")
    assert volts.expected == pytest.approx(3 * ohms / (3000 + ohms), rel=2e-2)


def test_the_marks_are_those_of_the_drawn_line(pad: tuple[Expected, ...]) -> None:
    assert {row.where: row.point for row in pad} == {
        "the supply rail": "rail",
        "the chip's pin": "M1",
        "the unit's connector": "M2",
        "the display's input": "M2",  # no lead between them: one point
    }


def test_a_reading_tells_the_faults_it_shows(pad: tuple[Expected, ...]) -> None:
    """Without the 105 ohm the connector reads over range, without the 267 ohm it still reads 105 ohm."""
    told = one(pad, "connector", "no power, lead out", "resistance").tells
    assert any("connector is shorted" in what for what in told)
    pin = one(pad, "pin", "no power, lead out", "resistance").tells
    assert any("is open" in what for what in pin)
    assert all(len(row.tells) <= 6 for row in pad)


def test_diodes_of_the_chip_both_ways(engine: Engine) -> None:
    """3 V behind 3 kohm: up through the chip's diode into a dead rail of 5 V / 100 mA, or down to 0 V."""
    job = text(line("red", source_values='white = "1.4 V", impedance = "75 ohm"', stage_values='series = "75 ohm"'))
    rows = expected(engine, job.replace('rail = "5 V"', 'rail = "5 V"\nrail_load = "100 mA"'))

    def reads(ohms: float) -> float:
        def left(volts: float) -> float:
            amps = (3 - volts) / 3000
            return amps * ohms + 25.865e-3 * math.log(amps / 1e-14 + 1) - volts

        return float(brentq(left, 0.1, 2.9))

    up = one(rows, "pin", "no power, lead out", "voltage")
    down = one(rows, "pin", "no power, lead out, leads of the meter swapped", "voltage")
    assert up.expected == pytest.approx(reads(5.0 + 50.0), rel=2e-2)
    assert down.expected == pytest.approx(reads(5.0), rel=2e-2)
    assert one(rows, "connector", "no power, lead out", "voltage").expected == pytest.approx(reads(130.0), rel=2e-2)
    first = one(rows, "rail", "first power-up", "current")
    assert first.expected == pytest.approx(0.1, rel=0.02)
    assert first.high == pytest.approx(0.15, rel=0.02)


def test_a_rail_nobody_described_widens_the_reading(engine: Engine) -> None:
    """10 ohm to 1 Mohm: the way up reads like a diode at one end and like nothing at the other."""
    job = text(line("red", source_values='white = "1.4 V", impedance = "75 ohm"', stage_values='series = "75 ohm"'))
    row = one(expected(engine, job), "pin", "no power, lead out", "voltage")
    assert row.high is None
    assert row.low == pytest.approx(0.65, abs=0.02)
    assert not [one for one in expected(engine, job) if one.quantity == "current"]


def test_behind_a_capacitor_a_meter_sees_the_bleed_alone(engine: Engine) -> None:
    """A capacitor passes no direct current: the shelf's bleed of 1 Mohm across the connector is all that is left."""
    values = 'capacitor = "470 uF", series = "75 ohm"'
    rows = expected(engine, text(line("red", stage="ac-coupled", stage_values=values)))
    for state in ("no power, lead out", "no power, lead out, leads of the meter swapped"):
        row = one(rows, "connector", state, "resistance")
        assert row.expected == pytest.approx(1e6, rel=5e-3)


def test_lines_built_alike_are_one_row_and_every_line_is_there(engine: Engine) -> None:
    logic = 'high = "5 V", low = "0 V", impedance = "30 ohm"'
    sync = line("sync", "scart-sync", "logic-pin", logic, stage_values='series = "1.2 kohm"')
    job = text(line("red green"), sync)
    rows = expected(engine, job)
    assert {row.lines for row in rows} == {("red", "green"), ("sync",), ("red", "green", "sync")}
    said = expected_text(parse_job(job, file="job.toml"), rows)
    assert "clip it to 0 V only" in said
    assert "red, green\n" in said
    assert max(len(line) for line in said.splitlines()) <= 80
    record = json.loads(expected_json(parse_job(job, file="job.toml"), rows))
    assert record["format"] == "guardcheck-expect/1"
    keys = ["lines", "point", "where", "when", "state", "instrument", "quantity", "expected", "low", "high", "unit"]
    assert all(list(row) == [*keys, "tells"] for row in record["rows"])
    assert {row["when"]: row["state"] for row in record["rows"]} == {
        "unpowered": "no power, lead out",
        "unpowered_turned": "no power, lead out, leads of the meter swapped",
        "lead_out": "lead out",
        "into_display": "into its display",
        "running": "on",
    }


def test_expect_on_the_command_line(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(text(PAD), encoding="utf-8")
    done = guardcheck("expect", "job.toml", "--json", "out.json", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "what each reading shows" in done.stdout
    assert json.loads((tmp_path / "out.json").read_text())["rows"]
    (tmp_path / "none.toml").write_text(
        'format = 1\n[unit]\nlabel = "X"\n[[bond]]\nfrom = "a"\nto = "b"\npurpose = "shield"\n'
    )
    refused = guardcheck("expect", "none.toml", cwd=tmp_path)
    assert (refused.returncode, refused.stderr.count("\n")) == (2, 1)
    assert "no [[line]]" in refused.stderr


DEMO = Path(__file__).parents[2] / "reports-demo" / "lantern-16" / "job.toml"
CORE, SCREEN = 0.1 * 1.8 + 1e-3, 0.02 * 1.8 + 1e-3
"""Conductors of the demo's lead [ohm]: its own resistance a metre, and a milliohm of contacts."""
PICTURE = [(1, 2, 10.0), (2, 3, 100.0), (3, 0, 240.0)]
SYNC = [(1, 2, 30.0), (2, 3, 1200.0)]
INTO = [(3, 4, CORE), (4, 5, 75.0), (5, 0, SCREEN)]
NODES = {"the chip's pin": 2, "the unit's connector": 3, "the display's input": 4}
POWERED = {"lead out": [], "into its display": INTO}
DEAD = ("no power, lead out", "no power, lead out, leads of the meter swapped")
EMF = {"level.white": 2.0, "level.black": 0.0, "level.blank": 0.0}


def test_every_row_of_the_demo_is_what_nodal_analysis_gives(engine: Engine) -> None:
    """All rows but those of the sync chip's own diodes without power, which have a test of their own above.

    Points are read against the unit's 0 V, with 10 Mohm of probe on the point. Without power the meter's 3 V behind
    3 kohm, and its ohms, see the pad from the pin (100 + 240 ohm) and from the connector (240 ohm).
    """
    job = parse_job(DEMO.read_text(encoding="utf-8"), file=str(DEMO))
    rows = expectations(engine, plan_of(job, Options(samples=0)))
    seen, seen_dead = 0, 0
    for row in rows:
        node = NODES.get(row.where)
        if row.state in POWERED:
            circuit = [*(PICTURE if "red" in row.lines else SYNC), *POWERED[row.state], (node, 0, PROBE)]
            nodes = 6 if row.state == "into its display" else 4
            emf = EMF[row.quantity] if "red" in row.lines else 5.0
            volts = nodal(circuit, (1, emf), nodes)[node]
            assert row.expected == pytest.approx(volts, rel=5e-3, abs=1e-6), row
            seen += 1
        elif row.state in DEAD and "red" in row.lines:
            ohms = {2: 340.0, 3: 240.0}[node]
            if row.quantity == "resistance":
                assert row.expected == pytest.approx(ohms, rel=5e-3), row
            else:
                assert row.expected == pytest.approx(3.0 * ohms / (3000.0 + ohms), rel=2e-2), row
            seen_dead += 1
    assert (seen, seen_dead) == (3 * 5 + 2 * 5, 8)
    # the rail: 5 V of which the load takes 100 mA; a supply is set to half as much again
    (current,) = (row for row in rows if row.state == "first power-up")
    assert (current.expected, current.low, current.high) == pytest.approx((0.1, 0.05, 0.15), rel=5e-3)
    (rail,) = (row for row in rows if row.state == "on")
    assert (rail.expected, rail.low, rail.high) == pytest.approx((5.0, 4.95, 5.05), rel=5e-3)
    sync_dead = sum(row.state in DEAD and "red" not in row.lines for row in rows)
    assert len(rows) == seen + seen_dead + sync_dead + 2
    assert sync_dead == 8
