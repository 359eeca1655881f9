"""A latch at its point of balance is a solution of its equations and no place to rest: nothing computed there holds."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from guardcheck.compose.nudge import GAINS
from guardcheck.engine import Engine
from guardcheck.job import parse_job, read_job
from guardcheck.library import Library
from guardcheck.model import CONFORMS, NOT_PROVEN, Finding
from guardcheck.pipeline import Options, check_job
from guardcheck.pipeline.options import plan_of
from guardcheck.simulate.rest import LEAVES, leaves
from guardcheck.simulate.signal import solve_signals
from tests.pipeline import jobs

LATCH = """* two transistors that hold each other, leaking into the line
.subckt mine in out vdd gnd
r1 vdd a 1k
r2 vdd b 1k
q1 a b gnd npn
q2 b a gnd npn
rs in out 74
rl a out 2k
.model npn npn (is=1e-14 bf=100)
.ends mine
"""
FOLLOWER = """* a follower: one operating point, and it comes back to it
.subckt mine in out vdd gnd
q1 vdd in e npn
re e gnd 470
rs e out 74
.model npn npn (is=1e-14 bf=100)
.ends mine
"""


def checked(folder: Path, engine: Engine, netlist: str) -> list[Finding]:
    (folder / "mine.cir").write_text(netlist, encoding="utf-8")
    own = (
        jobs.line().replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"').replace('series = "74 ohm"', "")
    )
    (folder / "job.toml").write_text(jobs.text(own), encoding="utf-8")
    result = check_job(read_job(folder / "job.toml"), engine, Options(samples=0, events=False))
    return [one for one in result.findings if one.line == "red" and one.needed]


def test_a_latch_at_its_balance_is_not_proven(tmp_path: Path, engine: Engine) -> None:
    found = {one.quantity: one for one in checked(tmp_path, engine, LATCH)}
    assert found["level.white"].outcome == NOT_PROVEN
    assert LEAVES in found["level.white"].why
    assert CONFORMS not in {one.outcome for one in found.values() if one.quantity.startswith(("level.", "response."))}


def test_a_circuit_that_comes_back_is_judged_as_before(tmp_path: Path, engine: Engine) -> None:
    assert not any(LEAVES in one.why for one in checked(tmp_path, engine, FOLLOWER))


@pytest.mark.parametrize(
    ("conductances", "falls"),
    [
        ([[1.0, -0.2], [-0.2, 1.0]], False),  # resistors
        ([[1.0, 5.0], [5.0, 1.0]], True),  # two inverting gains of 5 in a ring: a latch
        ([[1.0, 0.9], [0.9, 1.0]], False),  # the same with a gain below one
        ([[1.0, 0.0], [-100.0, 1.0]], False),  # an amplifier without a way back
        ([[1.0, 100.0], [-100.0, 1.0]], False),  # negative feedback, however strong
        ([[-0.5, 0.0], [0.0, 1.0]], True),  # a negative resistance
        ([[1.0, 5.0, 0, 0], [5.0, 1.0, 0, 0], [0, 0, 1.0, 5.0], [0, 0, 5.0, 1.0]], True),  # two latches: det > 0
    ],
)
def test_what_falls_by_hand(conductances: list[list[float]], falls: bool) -> None:
    """Roots of det(G + s C) = 0 with C = 1: the eigenvalues of -G; a positive real one is a fall."""
    g = np.array(conductances)
    roots = np.linalg.eigvals(-g)
    assert bool(np.any((roots.real > 0.0) & (np.abs(roots.imag) < 1e-9))) == falls
    assert leaves(np.linalg.inv(g)) == falls
    wired = np.pad(np.linalg.inv(g), ((0, 1), (0, 1)))  # a node held by a source answers no push
    assert leaves(wired) == falls


STAGES = Library.load().names("stage")


def test_every_stage_on_the_shelf_stays(engine: Engine) -> None:
    """One job with a line for each stage that can be built from its defaults, into one batch of decks."""
    library = Library.load()
    active = [name for name in STAGES if any(e.name[0] in GAINS for e in library.get("stage", name).circuit.elements)]
    assert len(active) >= 4
    names = [f"line-{n}" for n in range(len(active))]
    rows = [jobs.line(name, stage=stage, stage_values="") for name, stage in zip(names, active, strict=True)]
    job = parse_job(jobs.text(*rows, rail="5 V"))
    solved = solve_signals(engine, [o.experiment(c) for o in plan_of(job, Options(samples=0)).lines for c in o.chains])
    assert [one.unrest for one in solved] == [None] * len(active)
