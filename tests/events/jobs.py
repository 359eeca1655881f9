"""Job files for the tests of stress events, and their margins without the rest of a check."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import Facts, Finding, Job
from guardcheck.rules.evt01_stress import judge
from guardcheck.simulate.planning import JobPlan, plan_job
from guardcheck.simulate.stress.convergence import Group, groups_of, human_body, run_groups
from guardcheck.simulate.stress.events import library_events, own_events, subjects_of
from guardcheck.simulate.stress.quantities import quantities_of

SUPPLY = """
rail = "5 V"
rail_capacitance = "100 uF"
rail_load = "100 mA"
rail_max = "5.5 V"
rail_esr = "0.1 ohm"
mains = "230 V"
mains_frequency = "50 Hz"
protection_class = "II"
y_capacitance = "4.7 nF"
"""
DISPLAY = """
earthed = false
other_leads = false
y_capacitance = "4.7 nF"
"""


def job_text(
    *,
    supply: str = SUPPLY + 'y_coupling = "single"\n',
    display: str = DISPLAY + 'y_coupling = "single"\n',
    pin: str = '{ over_voltage = "0.5 V", under_voltage = "0.5 V", clamp_current = "20 mA", hbm = "2 kV" }',
    source: str = "video-pin",
    source_values: str = 'white = "2 V", impedance = "10 ohm"',
    standard: str = "scart-rgb",
    stage: str = "series-resistor",
    stage_values: str = 'series = "75 ohm 1%"',
    guard: str = "none",
    guard_values: str = "",
    names: str = '"red"',
    more: str = "",
    tail: str = "",
) -> str:
    return f"""
format = 1
[unit]
label = "BENCH-3"
kind = "invented test unit"
[supply]
{supply}
[display]
input = "terminated"
{display}
[cable]
kind = "coax-75"
length = "1.8 m"
[[line]]
names = [{names}]
standard = "{standard}"
source = "{source}"
source_values = {{ {source_values} }}
{f"pin = {pin}" if pin else ""}
stage = "{stage}"
stage_values = {{ {stage_values} }}
guard = "{guard}"
{f"guard_values = {{ {guard_values} }}" if guard_values else ""}
{more}
{tail}
"""


def read(text: str, file: str = "job.toml") -> Job:
    return parse_job(text, file=file)


def plan_of(job: Job) -> JobPlan:
    return plan_job(job, Library.load(Path(job.circuits) if job.circuits else None), samples=0, seed=1)


def groups(engine: Engine, job: Job, names: Sequence[str]) -> list[Group]:
    """Return the groups of the named events, run; the comparison pulse always runs along."""
    plan = plan_of(job)
    events = [one for one in library_events(plan) if one.name in (*names, "human-body")]
    found: list[Group] = []
    for subject in subjects_of(plan):
        found += groups_of(subject, (*events, *own_events(plan, subject)))
    run_groups(engine, found, lambda done, total, what: None)
    return found


def findings(engine: Engine, text: str, *names: str) -> dict[str, Finding]:
    """Return what EVT01 says of the named events, by id without the rule's code."""
    job = read(text)
    found = groups(engine, job, names)
    quantities = []
    for group in found:
        if group.event.plan.role == "stress":
            mine = [one for one in found if one.subject is group.subject]
            quantities += quantities_of(group, human_body(mine), claims=job.claims)
    guarded = frozenset(line.name for line in job.lines if line.has_guard)
    return {one.id.removeprefix("EVT01/"): one for one in judge(Facts(tuple(quantities), guarded_lines=guarded))}
