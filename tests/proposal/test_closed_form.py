"""Closed forms against published equations and against the solver; preferred values against their series."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.proposal.candidates import Tally, look
from guardcheck.proposal.linear import closed_form
from guardcheck.proposal.remedies import closest
from guardcheck.proposal.space import Drawer, GuardChoice, stages_of
from guardcheck.simulate.planning import JobPlan
from guardcheck.simulate.preferred import E12, E24, E96, values_between
from tests.pipeline.jobs import finding, line, run, text


def plan(*lines: str, **more: str) -> JobPlan:
    return plan_of(parse_job(text(*lines, **more), file="job.toml"), Options(samples=0))


def pad(white: float, ohms: float) -> JobPlan:
    return plan(
        line(
            source_values=f'white = "{white} V", impedance = "{ohms} ohm"',
            stage="two-resistor-pad",
            stage_values='series = "100 ohm 1%", shunt = "240 ohm 1%"',
        )
    )


# IEC 60063: so many values in a decade, each the geometric step rounded (E24 has historical exceptions)
def test_series_have_their_number_of_values() -> None:
    assert [len(one) for one in (E12, E24, E96)] == [12, 24, 96]
    assert set(E12) < set(E24)
    assert E96[1] == 1.02
    assert values_between(E24, 75.0, 110.0) == (75.0, 82.0, 91.0, 100.0, 110.0)


# A pad that gives half of 1.4 V and looks like 75 ohm (two equations, two unknowns, any circuit textbook):
# k = 2 x 0.7 / E, series = 75/k - Z, shunt = 75/(1 - k); feasible where E >= 1.4 V and Z <= 75 E/1.4
@pytest.mark.parametrize(("white", "ohms"), [(2.0, 10.0), (5.0, 1.0), (3.3, 25.0), (1.6, 50.0), (2.5, 75.0)])
def test_the_exact_pad_is_a_zero_of_the_closed_form(white: float, ohms: float) -> None:
    k = 1.4 / white
    series, shunt = 75.0 / k - ohms, 75.0 / (1.0 - k)
    chain = pad(white, ohms).lines[0].bare
    found = closed_form(chain, {("stage", "series"): np.array([series]), ("stage", "shunt"): np.array([shunt])})
    assert found is not None
    # the lead of no length is two wires of a milliohm: 13 parts in a million of 75 ohm each
    assert found.gain[0] * white == pytest.approx(0.7, rel=2e-5)
    assert found.impedance[0] == pytest.approx(75.0, rel=2e-5)


@pytest.mark.parametrize(("white", "ohms"), [(2.0, 10.0), (3.3, 25.0), (1.6, 50.0), (2.5, 75.0)])
def test_the_pair_found_is_the_best_of_all_pairs(white: float, ohms: float) -> None:
    """Exhaustive: the largest of relative level and impedance error over every E24 pair, worked out by hand here."""
    one = pad(white, ohms).lines[0]
    parameters = one.bare.stage.part.parameters
    spans = [parameters[name].usual for name in ("series", "shunt")]
    grids = [values_between(E24, span.low, span.high) for span in spans if span is not None]

    def worst(series: float, shunt: float) -> float:
        inner = 1.0 / (1.0 / (ohms + series) + 1.0 / shunt)
        level = white * shunt / (ohms + series + shunt) * 75.0 / (75.0 + inner)
        return max(abs(level / 0.7 - 1.0), abs(inner / 75.0 - 1.0))

    best = min(product(*grids), key=lambda pair: worst(*pair))
    found = closest(one, one.bare, ("series", "shunt"))[0]
    assert (found["series"].nominal, found["shunt"].nominal) == best


def test_the_closed_form_is_what_the_solver_finds(engine: Engine) -> None:
    job = text(
        line(
            source_values='white = "2.0 V", black = "0.3 V", impedance = "10 ohm"',
            stage="two-resistor-pad",
            stage_values='series = "91 ohm", shunt = "300 ohm"',
        )
    )
    result = run(engine, job)
    one = plan_of(parse_job(job, file="job.toml"), Options(samples=0)).lines[0]
    found = closed_form(one.bare, {("stage", "series"): np.array([91.0])})
    assert found is not None
    assert 1.7 * found.gain[0] == pytest.approx(finding(result, "level.white").value, rel=1e-5)
    assert found.impedance[0] == pytest.approx(finding(result, "response.impedance").value, rel=1e-3)


def test_what_acts_has_no_closed_form() -> None:
    for stage in ("npn-follower", "video-buffer"):
        one = plan(line(stage=stage, stage_values="")).lines[0]
        assert closed_form(one.bare, {}) is None


def test_a_coupled_line_keeps_its_swing_and_says_that_its_direct_voltage_is_not_known() -> None:
    one = plan(line(stage="ac-coupled", stage_values='capacitor = "470 uF", series = "74 ohm"')).lines[0]
    found = closed_form(one.bare, {})
    assert found is not None
    assert found.coupled
    assert found.gain[0] * 1.4 == pytest.approx(0.7, rel=1e-3)


def test_every_build_of_a_small_grid_is_looked_at_and_judged_as_by_hand(engine: Engine) -> None:
    """Three by three values of a pad: which of them keep level (496 to 989 mV) and match (61.4 to 91.7 ohm)."""
    one = pad(2.0, 10.0)
    drawer = Drawer(dict.fromkeys((68.0, 100.0, 150.0, 180.0, 240.0, 330.0), 0.01), frozenset())
    stage = next(each for each in stages_of(one, one.lines[0], drawer) if each.fitted.part.name == "two-resistor-pad")
    tally = Tally()
    looked = look(engine, one.lines[0], [stage], [GuardChoice(None, None, {})], tally, frozenset())[0]
    good = set()
    for series, shunt in product(*stage.moves.values()):
        inner = 1.0 / (1.0 / (10.0 + series) + 1.0 / shunt)
        level = 2.0 * shunt / (10.0 + series + shunt) * 75.0 / (75.0 + inner)
        if 0.4955 <= level <= 0.9889 and 61.4 <= inner <= 91.7:
            good.add((series, shunt))
    rows = np.flatnonzero(looked.passing)
    found = {(looked.values["stage", "series"][row], looked.values["stage", "shunt"][row]) for row in rows}
    assert tally.searched == len(stage.moves["series"]) * len(stage.moves["shunt"])
    assert found == good
    assert good
