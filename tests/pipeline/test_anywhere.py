"""The same job gives the same bytes wherever it lies: no folder, host or user is part of a result."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.job import read_job
from guardcheck.model import Result
from guardcheck.pipeline import Options, check_job
from guardcheck.report import to_checklist_html, to_checklist_pdf, to_html, to_json, to_terminal
from tests.pipeline import jobs

OWN = """* a resistor of my own
.subckt my_stage in out vdd gnd series=74
rs in out {series}
.ends my_stage
"""
SHELF = Path(__file__).parents[2] / "circuits" / "stages" / "series-resistor"


def bench(folder: Path) -> Path:
    """Write a job with a netlist of its own, a shelf of its own, and values that are warned of."""
    (folder / "parts" / "stages").mkdir(parents=True)
    shutil.copytree(SHELF, folder / "parts" / "stages" / "series-resistor")
    (folder / "mine.cir").write_text(OWN, encoding="utf-8")
    own = jobs.line("green").replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"')
    text = jobs.text(jobs.line(stage_values='series = "9 kohm"'), own).replace(
        "format = 1", 'format = 1\ncircuits = "parts"'
    )
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")
    return job


def made(job: Path, engine: Engine) -> Result:
    return check_job(read_job(job), engine, Options(samples=5, events=False))


def test_a_job_gives_the_same_bytes_from_another_folder(
    tmp_path: Path, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    here, there = tmp_path / "here", tmp_path / "over" / "there"
    first = made(bench(here), engine)
    bench(there)
    monkeypatch.chdir(there.parent)
    second = made(Path("there/job.toml"), engine)
    assert any("9 kohm" in one for one in first.warnings)
    hidden = "stage 'series-resistor' is the one in parts/stages/series-resistor/series-resistor.cir"
    assert sum(one.startswith(hidden) for one in first.warnings) == 1
    assert {"mine.cir", "parts/stages/series-resistor/series-resistor.cir"} <= {one.file for one in first.circuits}
    for render in (to_json, to_html, to_terminal, to_checklist_html):
        assert render(first) == render(second)
        assert str(tmp_path) not in render(first)
    assert to_checklist_pdf(first) == to_checklist_pdf(second)
