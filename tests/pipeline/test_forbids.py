"""What a workshop forbids by a label at the socket: a condition of use, printed first, and never a person's safety.

House rules, no published source. The bench: two supplies with one 1 nF Y capacitor each, plugs opposed, 325 V behind
0.5 nF onto a logic sync through 1.2 kohm: 0.25 A go into a powered pin whose latch-up test ended at 100 mA.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import CONFORMS, FORBIDDEN, NOT_PROVEN, Result
from guardcheck.pipeline import check_job
from guardcheck.pipeline.named import check_labels
from guardcheck.pipeline.options import Options
from guardcheck.report import to_short
from guardcheck.report.handover.customer import sheet_of
from guardcheck.simulate.planning import plan_job

JOB = Path(__file__).parents[2] / "reports-demo" / "gorse-3" / "job.toml"
OPPOSED = JOB.read_text(encoding="utf-8").replace('y_coupling = "symmetric"', 'y_coupling = "single"')
UNPLUGGED = "Connect and disconnect the leads only with both mains plugs pulled out"


def checked(engine: Engine, use: str = "") -> Result:
    return check_job(parse_job(OPPOSED + use, file="job.toml"), engine, Options(samples=5))


def test_a_forbidden_event_is_a_condition_and_stands_first(engine: Engine) -> None:
    assert checked(engine).outcome == NOT_PROVEN
    found = checked(engine, '\n[use]\nforbids = ["hot-plug"]\n')
    assert found.outcome == CONFORMS
    first = found.conditions[0]
    assert (first.event, first.kind, first.text, first.lines) == ("hot-plug", FORBIDDEN, UNPLUGGED, ("sync",))
    assert [one.event for one in found.conditions].count("hot-plug") == 1  # "in one go" is contained in it
    assert not any(one.needed for one in found.findings if one.event == "hot-plug" and one.outcome != CONFORMS)
    short = " ".join(to_short(found).split())
    assert "CONFORMS UNDER" in short
    assert f"on the label at the socket: - {UNPLUGGED}. " in short
    sheet = sheet_of(found)
    assert sheet.conditions.items[0].startswith("Connect and disconnect the leads")
    assert sheet.label.items[1].startswith("Connect and disconnect the leads")  # after "the plug goes in"


def refusal(name: str) -> str:
    text = OPPOSED + f'\n[use]\nforbids = ["{name}"]\n'
    plan = plan_job(parse_job(text, file="job.toml"), Library.load(None), samples=0, seed=1)
    with pytest.raises(JobError) as caught:
        check_labels(plan)
    return str(caught.value)


LINE = OPPOSED.count("\n") + 3


@pytest.mark.parametrize("name", ["touch.current", "TCH01", "touch-current", "Touch current", "bond.resistance"])
def test_what_protects_a_person_cannot_be_forbidden_away(name: str) -> None:
    told = refusal(name)
    assert told.startswith(f"job.toml:{LINE}: use.forbids: '{name}' protects a person: no label at the socket")
    assert told.endswith("power-step, short-to-ground")


@pytest.mark.parametrize("name", ["level.white", "mating.voltage", "LVL01"])
def test_what_another_apparatus_is_owed_cannot_be_forbidden_away(name: str) -> None:
    assert f"use.forbids: '{name}' is what the other apparatus is owed: no label" in refusal(name)


def test_an_unknown_label_names_its_neighbour() -> None:
    told = refusal("hot-plugging")
    assert told.startswith(f"job.toml:{LINE}: use.forbids: no event 'hot-plugging'; accepted: back-power, ")
    assert told.endswith("did you mean 'hot-plug'?")


def test_it_is_refused_without_events_as_well(engine: Engine) -> None:
    job = parse_job(OPPOSED + '\n[use]\nforbids = ["hotplug"]\n', file="job.toml")
    with pytest.raises(JobError, match=r"did you mean 'hot-plug'\?"):
        check_job(job, engine, Options(samples=0, events=False))
