"""Small job files for tests: one text with the parts that matter filled in."""

from __future__ import annotations

from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import Finding, Result
from guardcheck.pipeline import Options, check_job

HEAD = """
format = 1
[unit]
label = "BENCH-1"
kind = "invented test unit"
[supply]
rail = "{rail}"
[display]
input = "{display}"
[cable]
kind = "{cable}"
"""

LINE = """
[[line]]
names = [{names}]
standard = "{standard}"
source = "{source}"
source_values = {{ {source_values} }}
stage = "{stage}"
stage_values = {{ {stage_values} }}
guard = "{guard}"
"""


def line(
    names: str = "red",
    standard: str = "scart-rgb",
    source: str = "video-pin",
    source_values: str = 'white = "1.4 V", impedance = "1 ohm"',
    stage: str = "series-resistor",
    stage_values: str = 'series = "74 ohm"',
    guard: str = "none",
) -> str:
    quoted = ", ".join(f'"{name}"' for name in names.split())
    return LINE.format(
        names=quoted,
        standard=standard,
        source=source,
        source_values=source_values,
        stage=stage,
        stage_values=stage_values,
        guard=guard,
    )


def text(*lines: str, rail: str = "5 V", display: str = "terminated", cable: str = "none") -> str:
    return HEAD.format(rail=rail, display=display, cable=cable) + "".join(lines)


def run(engine: Engine, job: str, *, samples: int = 0, seed: int = 1, folder: Path | None = None) -> Result:
    file = "job.toml" if folder is None else str(folder / "job.toml")
    return check_job(parse_job(job, file=file), engine, Options(samples=samples, seed=seed, events=False))


def finding(result: Result, quantity: str, line: str = "red", guarded: bool | None = False) -> Finding:
    found = [
        one
        for one in result.findings
        if one.quantity == quantity and one.line == line and one.guarded is guarded and one.event is None
    ]
    assert len(found) == 1, [one.id for one in result.findings]
    return found[0]
