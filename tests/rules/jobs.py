"""A job as a technician writes it, and what the rules find on it once their probes have run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.model import Facts, Finding
from guardcheck.rules import asks_of, judge_all
from guardcheck.simulate.probes import answer

JOB = """
format = 1
{top}
[unit]
label = "DEMO-01"
kind = "16-bit home console (invented)"
[supply]
rail = "5 V"
mains = "230 V"
mains_frequency = "50 Hz"
protection_class = "II"
y_capacitance = "{y}"
y_coupling = "{coupling}"
[display]
input = "terminated"
earthed = {earthed}
other_leads = false
y_capacitance = "{y}"
y_coupling = "{coupling}"
{tables}
"""

SHIELD = """
[[bond]]
from = "board shield"
to = "connector shell (unit 0 V)"
purpose = "shield"
[bond.reading]
value = "0.12 ohm"
method = "two-wire"
leads = "0.10 ohm"
accuracy = "1.0% + 2 counts"
resolution = "0.01 ohm"
"""
BAG = """
[[barrier]]
where = "under the add-on board"
material = "metallised shielding bag"
working_voltage = "12 V"
[[barrier.readings]]
face = "inner"
value = "over range"
meter_range = "60 Mohm"
probe_spacing = "1 mm"
test_voltage = "1 V"
"""


def job(tables: str = SHIELD, *, standard: str | None = None, y: str = "4.7 nF", **words: str) -> Facts:
    """Return the facts of a job as the pipeline hands them to the rules."""
    top = "" if standard is None else f'touch_standard = "{standard}"'
    text = JOB.format(top=top, tables=tables, y=y, **{"coupling": "single", "earthed": "false", **words})
    read = parse_job(text)
    return Facts(declared=read.facts, supply=read.supply, display=read.display_facts, settings=read.settings)


def judged(facts: Facts, engine: Engine) -> Mapping[str, Finding]:
    """Return every finding by id, after the probes were run."""
    return {one.id: one for one in judge_all(replace(facts, answers=answer(engine, Library.load(), asks_of(facts))))}
