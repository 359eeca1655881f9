"""Names of a job that only the rules know: a slip of the pen is bad input, not a finding."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.pipeline.named import check_settings
from guardcheck.rules.tch01_touch_current import touch_standards
from tests.pipeline.jobs import line, text

SLIP = text(line()).replace("format = 1", 'format = 1\ntouch_standard = "iec-6095"')


def test_an_unknown_touch_standard_names_its_place_and_its_neighbour(tmp_path: Path) -> None:
    job = parse_job(SLIP, file="job.toml", folder=tmp_path)
    with pytest.raises(JobError) as caught:
        check_settings(job)
    told = str(caught.value)
    assert told.startswith("job.toml:3: touch_standard: no touch standard 'iec-6095'; accepted: ")
    assert all(name in told for name in touch_standards())
    assert "did you mean 'iec-6" in told


@pytest.mark.parametrize("name", touch_standards())
def test_every_known_touch_standard_is_accepted(name: str, tmp_path: Path) -> None:
    check_settings(parse_job(SLIP.replace("iec-6095", name), file="job.toml", folder=tmp_path))


@pytest.mark.parametrize("command", [["check", "job.toml"], ["verify", "job.toml"]])
def test_both_commands_refuse_it_before_anything_is_computed(command: list[str], tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(SLIP, encoding="utf-8")
    if command[0] == "verify":
        (tmp_path / "readings.toml").write_text(
            'format = 1\n[[reading]]\nline = "red"\nquantity = "level.white"\nvalue = "0.7 V"\n', encoding="utf-8"
        )
        command = [*command, "--readings", "readings.toml"]
    done = subprocess.run(
        [sys.executable, "-m", "guardcheck", *command, "--json", "out.json"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 2, done.stdout
    assert "touch_standard" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "out.json").exists()
