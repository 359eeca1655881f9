"""The search through its simulations: properties of its answer, and what it says beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import Build, Facts, LineProposals, Quantity, Spread
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.proposal.candidates import Tally, look
from guardcheck.proposal.picture import beside
from guardcheck.proposal.search import Search, Seen, _check_binds, _notes, titles_of
from guardcheck.proposal.space import Candidate, Drawer, GuardChoice, guards_of, stages_of
from guardcheck.rules import judge_all
from guardcheck.simulate.planning import JobPlan
from tests.pipeline.jobs import line, text

SUPPLY = '\nrail_capacitance = "100 uF"\nrail_load = "100 mA"\nrail_max = "5.5 V"\nrail_esr = "0.1 ohm"'
PAD = line(
    source_values='white = "2.0 V", impedance = "10 ohm"',
    stage="two-resistor-pad",
    stage_values='series = "22 ohm 1%", shunt = "470 ohm 1%"',
)
FEW = (91.0, 180.0)


def plan(*lines: str) -> JobPlan:
    job = text(*(lines or (PAD,))).replace('rail = "5 V"', f'rail = "5 V"{SUPPLY}')
    return plan_of(parse_job(job, file="job.toml"), Options(samples=0))


def search(engine: Engine, made: JobPlan, *resistors: float) -> Search:
    drawer = Drawer(dict.fromkeys(resistors, 0.01), frozenset())
    return Search(engine, made, made.lines, drawer, 0, 1, lambda done, total, what: None)


def answer(one: Search) -> list[Seen]:
    return one.checked(one.stressed(one.solved(one.shortlisted()[0])), 2)


def test_another_resistor_in_the_drawer_never_makes_the_simulated_answer_worse(engine: Engine) -> None:
    """Property, simulated to the end: what fails, what an eye sees, what stays open, what a margin leaves in dB."""
    best = []
    for more in ((), (100.0, 270.0)):
        found = answer(search(engine, plan(), *FEW, *more))
        best.append((found[0].rank[:4], round(min(one.error for one in found if not one.fails), 6)))
    ranks, errors = zip(*best, strict=True)
    assert list(ranks) == sorted(ranks, reverse=True)
    assert list(errors) == sorted(errors, reverse=True)
    # behind 10 ohm, into 75 ohm: 91 and 180 ohm give 2 V x 180/281 behind 64.7 ohm, 687.8 mV; 100 and 270 ohm give
    # 2 V x 270/380 behind 78.2 ohm, 695.9 mV
    assert errors == pytest.approx((0.0174, 0.0059), abs=1e-4)


def test_a_tighter_limit_never_makes_the_simulated_answer_better(engine: Engine) -> None:
    made = plan()
    white = made.lines[0].standard.limits["level.white"]
    counts, errors = [], []
    for share in (1.0, 0.2, 0.01):
        low, high = 0.7 - share * (0.7 - (white.low or 0.0)), 0.7 + share * ((white.high or 0.0) - 0.7)
        limits = {**made.lines[0].standard.limits, "level.white": replace(white, low=low, high=high)}
        lines = tuple(replace(one, standard=replace(one.standard, limits=limits)) for one in made.lines)
        one = search(engine, replace(made, lines=lines), *FEW, 240.0)
        seen = one.solved(one.shortlisted()[0])
        counts.append(one.shortlisted()[1].passing)
        errors.append(min((each.error for each in seen), default=float("inf")))
    assert counts == sorted(counts, reverse=True)
    assert errors == sorted(errors)
    assert counts[0] > 0
    assert errors[-1] == float("inf")


def test_a_guard_with_resistors_of_its_own_is_tried_on_a_stage_that_acts(engine: Engine) -> None:
    """A buffer's output is near nothing: what is seen into the connector is every resistor behind it, in a row."""
    made = plan()
    one = made.lines[0]
    stage = next(each for each in stages_of(made, one, Drawer()) if each.fitted.part.name == "video-buffer")
    every = guards_of(made, one, Drawer())
    guards = [each for each in every if each.name == "resistor-and-pair" and each.place == "connector"]
    looked = look(engine, one, [stage], guards, Tally(), frozenset())
    assert len(looked) == 1
    values, ohms = looked[0].values, looked[0].rows["response.impedance"]
    assert len({key for key in values if key[0] == "guard"}) >= 1
    row = sum(values.values())
    assert len(ohms) > 3
    # 2 kohm of the amplifier's feedback to 0 V and 50 milliohm of its output: far below a hundredth
    assert ohms == pytest.approx(row, rel=0.02)


def test_a_stage_made_for_sync_is_fitted_to_no_picture() -> None:
    made = plan()
    names = {each.fitted.part.name for each in stages_of(made, made.lines[0], Drawer())}
    assert {"two-resistor-pad", "video-buffer"} <= names
    assert not {"sync-attenuator", "npn-sync-amplifier"} & names
    sync = plan(line("sync", "scart-sync", "logic-pin", 'high = "5 V", low = "0 V", impedance = "50 ohm"'))
    assert "sync-attenuator" in {each.fitted.part.name for each in stages_of(sync, sync.lines[0], Drawer())}


def build(white: float, open_: tuple[str, ...] = ()) -> Build:
    level = Spread(white, white, white)
    return Build(1, "conforms", "pass-through", {}, "none", {}, level, None, None, None, {}, 0.0, "", 1, 1, "", open_)


def proposals(name: str, white: float) -> LineProposals:
    return LineProposals(name, (name,), 1, 1, (build(white),))


def test_whites_that_lie_apart_are_said(engine: Engine) -> None:
    """20 log10(700/600) = 1.34 dB, more than the half decibel of one picture; 700 beside 690 mV is 0.13 dB."""
    made = plan(PAD, PAD.replace('"red"', '"green"'))
    apart = beside(engine, made, [proposals("red", 0.7), proposals("green", 0.6)])
    assert all("600 mV on green and 700 mV on red, 1.3 dB apart" in one.notes[0] for one in apart)
    near = beside(engine, made, [proposals("red", 0.7), proposals("green", 0.69)])
    assert [one.notes for one in near] == [(), ()]


def test_a_line_without_a_proposal_counts_as_it_is_planned(engine: Engine) -> None:
    """22 and 470 ohm behind 10 ohm: 2 V x 470/502 behind 30 ohm are 1.338 V into 75 ohm."""
    made = plan(PAD, PAD.replace('"red"', '"green"'))
    found = beside(engine, made, [proposals("red", 0.7)])
    assert "700 mV on red and 1.34 V on green, 5.6 dB apart" in found[0].notes[0]


def test_an_unknown_source_says_whether_the_builds_hold_over_its_range(engine: Engine) -> None:
    made = plan(PAD.replace('impedance = "10 ohm"', 'impedance = "unknown"'))
    one = search(engine, made, *FEW)
    assert "the levels hold over all that is usual" in _notes(one, [build(0.7)])[0]
    assert "not every build keeps its levels" in _notes(one, [build(0.7, ("level.white",))])[0]
    assert "impedance" in _notes(one, [build(0.7)])[0]
    assert _notes(search(engine, plan(), *FEW), [build(0.7)]) == ()


def test_events_that_are_called_alike_are_told_apart() -> None:
    told = titles_of(plan(), ("plug-short", "short-to-ground", "misplug", "own"))
    assert told["misplug"] == "wrong plug"
    assert told["plug-short"] != told["short-to-ground"]
    assert "own" not in told


class Eased(Search):
    """A search whose last check passes once `cure` is forbidden, or left out: nothing is simulated."""

    cure, loose = "", 0

    def stressed(self, seen: Sequence[Seen]) -> list[Seen]:
        return list(seen)

    def checked(self, seen: Sequence[Seen], most: int = 5) -> list[Seen]:
        cured = self.cure in self.plan.job.forbids or self.cure in self.dropped
        return [replace(seen[0], fails=0 if cured else 1, open_=self.loose)]


def told(engine: Engine, cure: str, *wrong: Quantity) -> str:
    made = plan()
    one = Eased(engine, made, made.lines, Drawer(), 0, 1, lambda done, total, what: None)
    limits = {"red": made.lines[0].standard.limits}
    stage = next(
        each for each in stages_of(made, made.lines[0], Drawer()) if each.fitted.part.name == "series-resistor"
    )
    candidate = Candidate(stage, GuardChoice(None, None, {}), {"series": 100.0})
    seen = Seen(candidate, one.trial(candidate), judge_all(Facts(wrong, limits)), 1, 0, 0.0, 0.0)
    Eased.cure = cure
    return _check_binds(one, [seen], [seen])


def event(name: str) -> Quantity:
    return Quantity("event.margin", "red", False, -44.9, spread=(-44.9, -44.9), event=name, severity="hard")


def test_what_fails_is_forbidden_or_left_out_and_searched_again(engine: Engine) -> None:
    dark = Quantity("level.white", "red", False, 0.2, spread=(0.2, 0.2))
    by_label = told(engine, "back-power", event("back-power"))
    assert by_label.startswith("the nearest build fails fed while off; with a label at the socket that forbids it")
    assert '([use] forbids = ["back-power"]), series-resistor with no guard passes (searched again so)' in by_label
    assert "alone does not help" in told(engine, "misplug", event("back-power"))
    by_limit = told(engine, "level.white", dark)
    assert by_limit == (
        "the nearest build fails white level; with no limit on white level, series-resistor with no guard passes "
        "(searched again so)"
    )
    Eased.loose = 1
    assert "no guard fails nothing, though not all of it is proven (searched" in told(engine, "level.white", dark)
    Eased.loose = 0
    # nobody can forbid that the unit is switched on: no label is offered
    assert told(engine, "power-step", event("power-step")) == "the nearest build fails switching"


def test_a_figure_nobody_found_is_named(engine: Engine) -> None:
    """A search that ran out of time says which figure is lacking, not that something fails."""
    lacking = Quantity("level.white", "red", False, None)
    assert told(engine, "level.white", lacking) == "no figure was found for the white level of the nearest build"
