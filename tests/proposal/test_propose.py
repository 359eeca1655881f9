"""`propose`: promises that `check` keeps, limits that bind, and a job file that keeps its comments."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import InputError, JobError
from guardcheck.formatting import show
from guardcheck.job import parse_job
from guardcheck.model import NOT_PROVEN, LineProposals, PartUse, Proposals
from guardcheck.pipeline import Options, check_job, job_with
from guardcheck.pipeline.options import plan_of
from guardcheck.proposal.candidates import Tally, look
from guardcheck.proposal.remedies import NOTHING
from guardcheck.proposal.search import Search, propose_lines
from guardcheck.proposal.space import Candidate, Drawer, GuardChoice, stages_of
from guardcheck.proposal.trials import Trial, _plans, appraised
from guardcheck.report import proposals_to_json, proposals_to_terminal
from guardcheck.simulate.fitting import Fitter
from guardcheck.verdict.outcome import misses
from tests.pipeline.jobs import line, text

DRAWER = '[drawer]\nresistors = ["75 ohm", "91 ohm", "100 ohm", "240 ohm", "270 ohm"]\nparts = ["silicon-pair"]\n'
PAD = line(
    source_values='white = "2.0 V", impedance = "10 ohm"',
    stage="two-resistor-pad",
    stage_values='series = "22 ohm 1%", shunt = "470 ohm 1%"',
)
PART = "two-resistor-pad"
SUPPLY = '\nrail_capacitance = "100 uF"\nrail_load = "100 mA"\nrail_max = "5.5 V"\nrail_esr = "0.1 ohm"'


def job_text(*lines: str, drawer: str = DRAWER) -> str:
    return text(*lines).replace('rail = "5 V"', f'rail = "5 V"{SUPPLY}') + drawer


def search(engine: Engine, job: str, name: str = "red", **more: int) -> LineProposals:
    plan = plan_of(parse_job(job, file="job.toml"), Options(samples=0))
    return propose_lines(engine, plan, name, samples=20, seed=1, say=lambda done, total, what: None)


@pytest.fixture(scope="module")
def found(engine: Engine) -> LineProposals:
    return search(engine, job_text(PAD))


def proposals(*lines: LineProposals) -> Proposals:
    return Proposals("BENCH-1", "invented", lines, None)


def test_what_is_proposed_is_what_check_says_of_the_written_job(
    engine: Engine, found: LineProposals, tmp_path: Path
) -> None:
    assert found.builds
    path = tmp_path / "job.toml"
    path.write_text("# my own words\n" + job_text(PAD), encoding="utf-8")
    for build in found.builds[:2]:
        written = job_with(path, proposals(found), build.rank)
        assert written.startswith("# my own words\n")
        result = check_job(parse_job(written, file=str(path)), engine, Options(samples=20))
        rows = [one for one in result.findings if one.line == "red" and one.guarded == (build.guard != "none")]
        white = next(one for one in rows if one.quantity == "level.white")
        assert build.white is not None
        assert white.value == pytest.approx(build.white.value, abs=1e-12)
        assert white.spread == pytest.approx((build.white.low, build.white.high), abs=1e-12)
        assert not [one.id for one in rows if misses(one)]
        for event, margin in build.margins.items():
            values = [
                one.value
                for one in rows
                if one.event == event and one.needed and one.quantity in ("event.margin", "event.part_margin")
            ]
            assert min(value for value in values if value is not None) == pytest.approx(margin, abs=1e-9)


def test_no_build_is_beaten_by_another(found: LineProposals) -> None:
    figures = [
        (
            -min((m for m in one.margins.values() if m is not None), default=0.0),
            one.level_error,
            one.parts,
            one.cost_class,
        )
        for one in found.builds
    ]
    for one in figures:
        assert not any(all(a <= b for a, b in zip(other, one, strict=True)) and other != one for other in figures)
    assert len(found.builds) <= 5


def test_the_drawer_alone_is_used(found: LineProposals) -> None:
    for one in found.builds:
        assert set(one.stage_values.values()) <= {"75 ohm 1%", "91 ohm 1%", "100 ohm 1%", "240 ohm 1%", "270 ohm 1%"}
        assert one.guard in ("none", "silicon-pair", "resistor-and-pair")


def test_the_same_job_gives_the_same_bytes(engine: Engine, found: LineProposals) -> None:
    assert proposals_to_json(proposals(search(engine, job_text(PAD)))) == proposals_to_json(proposals(found))


def test_the_words_and_the_record(found: LineProposals) -> None:
    record = json.loads(proposals_to_json(proposals(found)))
    assert record["format"] == "guardcheck-proposals/1"
    one = record["lines"][0]
    assert {"line", "searched", "confirmed", "builds", "none_because"} <= set(one)
    keys = "rank stage stage_values guard guard_values white impedance yield margins binding parts cost_class"
    assert set(keys.split()) <= set(one["builds"][0])
    assert set(one["builds"][0]["white"]) == {"value", "low", "high"}
    shown = proposals_to_terminal(proposals(found))
    assert max(len(row) for row in shown.splitlines()) <= 80
    first = shown.split(" 2 On red")[0]
    assert first.index("gives: white") < first.index("takes: ") < first.index(" dB")
    for name in found.builds[0].conditions:
        assert name not in first.partition("holds: ")[2].partition("\n     not proven")[0].partition("lives only")[0]
    assert "100 % of the builds drawn within tolerance keep every limit" in " ".join(first.split())


def test_a_source_too_weak_is_said_to_be(engine: Engine) -> None:
    """0.2 V behind 75 ohm: no pad makes 0.7 V of it, and the drawer has no amplifier."""
    weak = search(engine, job_text(line(source_values='white = "0.2 V", impedance = "75 ohm"')))
    assert not weak.builds
    assert weak.none_because is not None
    assert "white level binds" in weak.none_because
    assert "searched again without it" in weak.none_because


def test_a_sync_attenuator_goes_through_the_same_door(engine: Engine) -> None:
    """5 V logic into 75 ohm: 0.3 V need 5 V x 75/0.3 - 75 = 1175 ohm in all, the next E24 values 1.1 and 1.2 kohm."""
    levels = 'high = "5 V", low = "0 V", impedance = "50 ohm"'
    sync = line("sync", "scart-sync", "logic-pin", levels, "pass-through", "") + 'pin = { family = "hc-logic" }\n'
    one = search(engine, job_text(sync, drawer='[drawer]\nparts = ["silicon-pair"]\n'), "sync")
    assert one.builds
    first = one.builds[0]
    assert first.white is None
    assert first.sync is not None
    assert first.sync.value == pytest.approx(0.3, rel=0.1)


def test_a_better_drawer_never_makes_the_answer_worse(engine: Engine) -> None:
    """Property: with more resistors at hand, more builds pass in closed form, and the best level is no worse."""
    draw = random.Random(7)
    pool = [47.0, 56.0, 68.0, 75.0, 82.0, 91.0, 100.0, 110.0, 120.0, 180.0, 220.0, 240.0, 270.0, 330.0]
    plan = plan_of(parse_job(job_text(PAD), file="job.toml"), Options(samples=0))
    for _ in range(20):
        few = sorted(draw.sample(pool, 6))
        more = sorted({*few, *draw.sample(pool, 3)})
        best = []
        for values in (few, more):
            drawer = Drawer(dict.fromkeys(values, 0.01), frozenset())
            stages = [
                one for one in stages_of(plan, plan.lines[0], drawer) if one.fitted.part.name == "two-resistor-pad"
            ]
            tally = Tally()
            looked = look(engine, plan.lines[0], stages, [GuardChoice(None, None, {})], tally, frozenset())
            errors = [float(one.error[one.passing].min()) for one in looked if one.passing.any()]
            best.append((tally.passing, -min(errors, default=float("inf"))))
        assert best[0] <= best[1] or best[0][1] <= best[1][1]
        assert best[0][0] <= best[1][0]


def test_a_tighter_limit_never_makes_the_answer_better(engine: Engine) -> None:
    plan = plan_of(parse_job(job_text(PAD), file="job.toml"), Options(samples=0))
    one = plan.lines[0]
    stages = [each for each in stages_of(plan, one, Drawer()) if each.fitted.part.name == PART]
    white = one.standard.limits["level.white"]
    before = None
    for share in (1.0, 0.7, 0.4, 0.1, 0.02):
        low, high = 0.7 - share * (0.7 - (white.low or 0.0)), 0.7 + share * ((white.high or 0.0) - 0.7)
        limits = {**one.standard.limits, "level.white": replace(white, low=low, high=high)}
        tight = replace(one, standard=replace(one.standard, limits=limits))
        tally = Tally()
        look(engine, tight, stages, [GuardChoice(None, None, {})], tally, frozenset())
        assert before is None or tally.passing <= before
        before = tally.passing


def test_a_rank_nobody_proposed_is_refused(found: LineProposals, tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(job_text(PAD), encoding="utf-8")
    with pytest.raises(InputError, match="no build number 9"):
        job_with(path, proposals(found), 9)


def test_a_resistor_that_is_none_is_refused() -> None:
    with pytest.raises(JobError, match=r"drawer\.resistors\[0\]"):
        parse_job(job_text(PAD, drawer='[drawer]\nresistors = ["75 V"]\n'), file="job.toml")


def test_a_part_the_shelf_does_not_have_is_refused(engine: Engine) -> None:
    with pytest.raises(JobError, match="silicon-pair"):
        search(engine, job_text(PAD, drawer='[drawer]\nparts = ["silicone-pair"]\n'))


def test_a_value_the_stage_does_not_have_cannot_move(engine: Engine) -> None:
    moving = PAD.replace('stage = "two-resistor-pad"', 'stage = "two-resistor-pad"\nmoves = ["serie"]')
    with pytest.raises(JobError, match="series"):
        search(engine, job_text(moving))


def test_check_names_the_best_build_when_a_search_was_asked_for(engine: Engine, found: LineProposals) -> None:
    job = parse_job(job_text(PAD), file="job.toml")
    result = check_job(job, engine, Options(samples=20, propose=True))
    white = next(one for one in result.findings if one.id == "LVL01/red/bare/level.white")
    assert white.remedy is not None
    assert found.builds[0].say.rstrip(".") in white.remedy
    told = found.builds[0]
    assert told.white is not None
    assert f"(simulated: white {show(told.white.value, 'V')}, output " in white.remedy
    assert ("; not proven: " in white.remedy) == bool(told.open_)
    assert "dB" not in white.remedy


def test_a_build_without_a_guard_keeps_its_events_beside_a_guarded_one(engine: Engine) -> None:
    """The bare chain of the guarded trial is the other trial's build: it is stressed for the one, not for the other."""
    plan = plan_of(parse_job(job_text(PAD), file="job.toml"), Options(samples=0))
    bare = plan.lines[0].line
    guarded = replace(bare, guard=PartUse("guard", "silicon-pair", values={"place": "chip"}))
    alone = appraised(engine, plan, [Trial((bare,))], events=True)[0]
    beside = appraised(engine, plan, [Trial((guarded,)), Trial((bare,))], events=True)
    margins = {one.id: one.value for one in alone if one.quantity == "event.margin"}
    assert margins
    assert {one.id: one.value for one in beside[1] if one.quantity == "event.margin"} == margins
    assert {one.guarded for one in beside[0] if one.quantity == "event.margin"} == {True}


def test_a_trial_draws_the_samples_that_check_draws_of_the_line() -> None:
    """A yield promised from other samples than those `check` draws would be another yield."""
    plan = plan_of(parse_job(job_text(PAD), file="job.toml"), Options(samples=5))
    fitter = Fitter(plan.job, plan.library)
    made = next(iter(_plans(fitter, plan, Trial((plan.lines[0].line,)), 3, 5, 1)))
    assert made.name != plan.lines[0].name
    assert made.bare.line == made.name
    assert made.builds.rows.tolist() == plan.lines[0].builds.rows.tolist()


def test_a_build_whose_white_level_could_not_be_solved_is_none(engine: Engine) -> None:
    plan = plan_of(parse_job(job_text(PAD), file="job.toml"), Options(samples=0))
    search = Search(engine, plan, plan.lines, Drawer(), 0, 1, lambda done, total, what: None)
    stage = next(one for one in stages_of(plan, plan.lines[0], Drawer()) if one.fitted.part.name == PART)
    one = Candidate(stage, GuardChoice(None, None, {}), {"series": 120.0, "shunt": 180.0})
    found = appraised(engine, plan, [search.trial(one)], events=False)[0]
    blind = [
        replace(each, value=None, outcome=NOT_PROVEN) if each.quantity == "level.white" else each for each in found
    ]
    assert search._seen(one, search.trial(one), found).fails == 0
    assert search._seen(one, search.trial(one), blind).fails == 1


def test_an_event_that_fails_has_a_simulated_cure_or_says_that_there_is_none(engine: Engine) -> None:
    """A bare pin against 12 V and live plugging: whatever fails says what was simulated, or that nothing was."""
    result = check_job(parse_job(job_text(line()), file="job.toml"), engine, Options(samples=0))
    failing = [one for one in result.findings if one.event is not None and one.needed and misses(one)]
    for one in failing:
        assert one.remedy is not None
        assert "(simulated: " in one.remedy or NOTHING in one.remedy
