"""Job files to start from, by kind of output: each is valid as it stands and gives the levels of the sheet it cites."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from guardcheck.appraisal import Appraisal
from guardcheck.cli import app
from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.job import family_job_text, family_names, parse_job
from guardcheck.model import DOES_NOT_CONFORM, NOT_PROVEN
from guardcheck.pipeline.options import Options, plan_of
from tests.shelf.appraised import run

FAMILIES = ("bipolar-encoder", "current-converter", "ladder", "nmos-luma-chroma", "rgbi")

# family, line, quantity, value, tolerance, where the figure was published
SHEETS = [
    ("bipolar-encoder", "composite", "level.pp", 1.0, 0.015, "AD724, AD725 data sheets: 2 V peak to peak, halved"),
    ("bipolar-encoder", "composite", "level.sync", 0.3, 0.005, "AD724, AD725 data sheets: twice 0.3 V"),
    ("current-converter", "red", "level.white", 0.700, 0.003, "317607-001 table 11-6: 0.700 V"),
    ("current-converter", "red", "response.impedance", 75.0, 0.5, "VP101 data sheet p.4: 75 ohm at either end"),
    ("ladder", "red", "level.white", 0.6971, 0.001, "Millman: 5 V x 100/364.6 behind 72.6 ohm, into 75 ohm"),
    ("ladder", "red", "grey.rise", 0.999, 0.06, "Millman: steps of 460, 940 and 1830 ohm"),
    ("nmos-luma-chroma", "composite", "level.pp", 1.0, 0.01, "IEC 60933-1: 1 V peak to peak"),
    ("rgbi", "red", "level.high", 3.4, 0.05, "LS-TTL data sheets: VOH 3.4 V typical"),
]


@pytest.fixture(scope="module")
def results(engine: Engine) -> dict[str, Appraisal]:
    return {family: run(engine, family_job_text(family)) for family in FAMILIES}


def test_there_is_one_for_every_family() -> None:
    assert family_names() == FAMILIES
    with pytest.raises(JobError, match=r"no template for 'lader'.*did you mean 'ladder'"):
        family_job_text("lader")


@pytest.mark.parametrize(("family", "line", "quantity", "value", "tolerance", "where"), SHEETS)
def test_levels_are_those_of_the_sheet(
    results: dict[str, Appraisal], family: str, line: str, quantity: str, value: float, tolerance: float, where: str
) -> None:
    rows = [one for one in results[family].findings if one.line == line and one.quantity == quantity]
    found = min(rows, key=lambda one: not one.guarded)  # the line as it is built: guarded where there is a guard
    assert where
    assert found.value == pytest.approx(value, abs=tolerance)


@pytest.mark.parametrize("family", FAMILIES)
class TestEveryFamily:
    def test_nothing_needed_fails(self, results: dict[str, Appraisal], family: str) -> None:
        failing = [one.id for one in results[family].findings if one.needed and one.outcome == DOES_NOT_CONFORM]
        assert failing == []
        job = parse_job(family_job_text(family), file="job.toml")
        assert plan_of(job, Options()).warnings == ()
        open_levels = [one.id for one in results[family].findings if one.rule == "LVL01" and one.outcome == NOT_PROVEN]
        assert open_levels == []

    def test_has_pin_ratings_test_points_and_the_original(self, results: dict[str, Appraisal], family: str) -> None:
        text = family_job_text(family)
        assert re.search(r"(?m)^pin = ", text)
        assert "# Test points" in text
        assert "# The original output" in text
        assert "\noriginal = {" in text
        assert "Levels as printed in" in text
        assert max(map(len, text.split("\n"))) < 320

    def test_is_written_and_not_over_another(self, family: str, tmp_path: Path) -> None:
        path = tmp_path / "job.toml"
        done = CliRunner().invoke(app, ["new", str(path), "--for-family", family])
        assert done.exit_code == 0
        assert path.read_text(encoding="utf-8").endswith(family_job_text(family))
        assert CliRunner().invoke(app, ["new", str(path), "--for-family", family]).exit_code != 0
