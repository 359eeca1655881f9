"""A newcomer adds one of each kind to a copy of the tree, by what DEVELOPERS.md says, and touches one place each."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RULE = '''"""NEW01: a newcomer's rule.

Hazard
    None: it only shows that a rule is one file.
What is read
    The peak-to-peak level of every line.
Limit and source
    3 V, invented for this test.
Not covered
    Everything else.
What to do at the bench
    Nothing.
"""

from __future__ import annotations

from dataclasses import replace

from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, INTERFACE, SIGNAL, Case, Facts, Finding, Limit, Quantity, Rule
from guardcheck.verdict.outcome import finding

RULE = Rule(code="NEW01", title="A newcomer's rule", klass=SIGNAL, quantities=("level.pp",), kind=INTERFACE)
LIMIT = Limit("level.pp", None, 3.0, None, "invented for a test", "read")


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold the peak-to-peak level of every line against 3 V."""
    seen = (one for one in facts.quantities if one.name == "level.pp")
    return tuple(finding(RULE.code, replace(one, limit=None), LIMIT, needed=one.needed) for one in seen)


CASES = (
    Case("below", Facts((Quantity("level.pp", "red", False, 1.0),)), CONFORMS),
    Case("above", Facts((Quantity("level.pp", "red", False, 3.5),)), DOES_NOT_CONFORM),
)
'''
FORMAT = '''"""A result as comma-separated values, for a spreadsheet."""

from __future__ import annotations

import csv
import io

from guardcheck.model import Result


def to_csv(result: Result) -> str:
    """Return one row per finding: id, value, unit, outcome."""
    out = io.StringIO()
    rows = csv.writer(out)
    rows.writerow(("id", "value", "unit", "outcome"))
    rows.writerows((one.id, one.value, one.unit, one.outcome) for one in result.findings)
    return out.getvalue()
'''
TRY = """
import sys
import guardcheck
from guardcheck import pipeline, report
from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.rules import new01_newcomer as rule

assert guardcheck.__file__.startswith(sys.argv[1]), guardcheck.__file__
for kind, name in (("stage", "my-stage"), ("guard", "my-guard"), ("event", "my-event"), ("standard", "my-standard")):
    assert name in {item.name for item in pipeline.shelf(kind, None)}, name
for case in rule.CASES:
    assert {one.outcome for one in rule.judge(case.facts)} == {case.outcome}, case
with Engine(workers=1) as engine:
    result = pipeline.check_job(parse_job(sys.stdin.read(), file="job.toml"), engine, pipeline.Options(samples=0))
rows = {row.split(",")[0] for row in report.to_csv(result).splitlines()}
assert "NEW01/red/guarded/level.pp" in rows
assert "LVL01/red/guarded/level.white" in rows
assert any("/my-event/" in row for row in rows)
assert {"my-stage", "my-guard", "my-event"} <= {one.name for one in result.circuits}
"""


def copied(folder: Path, kind: str, old: str, new: str) -> None:
    """Copy a part under a new name: folder, two files, the name of its subcircuit."""
    place = folder / "circuits" / kind / new
    shutil.copytree(folder / "circuits" / kind / old, place)
    for end in ("cir", "toml"):
        file = place / f"{old}.{end}"
        body = file.read_text(encoding="utf-8").replace(old.replace("-", "_"), new.replace("-", "_"))
        file.write_text(body, encoding="utf-8")
        file.rename(place / f"{new}.{end}")


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the tree with one more of each."""
    folder = tmp_path_factory.mktemp("newcomer")
    for name in ("guardcheck", "circuits"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", folder)
    copied(folder, "stages", "series-resistor", "my-stage")
    copied(folder, "guards", "silicon-pair", "my-guard")
    copied(folder, "events", "short-to-ground", "my-event")
    for event in (folder / "circuits" / "events").iterdir():
        if event.name not in ("my-event", "human-body"):
            shutil.rmtree(event)  # the others would only take their time
    shutil.copy(
        folder / "guardcheck" / "standards" / "scart-rgb.toml",
        folder / "guardcheck" / "standards" / "my-standard.toml",
    )
    (folder / "guardcheck" / "rules" / "new01_newcomer.py").write_text(RULE, encoding="utf-8")
    (folder / "guardcheck" / "report" / "text" / "spreadsheet.py").write_text(FORMAT, encoding="utf-8")
    with (folder / "guardcheck" / "report" / "__init__.py").open("a", encoding="utf-8") as face:
        face.write("from guardcheck.report.text.spreadsheet import to_csv as to_csv\n")
    return folder


def test_one_of_each_is_found_run_judged_and_reported(tree: Path) -> None:
    from tests.pipeline.jobs import line, text

    job = text(line(standard="my-standard", stage="my-stage", guard="my-guard"))
    ran = subprocess.run(
        [sys.executable, "-c", TRY, str(tree)],
        input=job,
        capture_output=True,
        text=True,
        check=False,
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
    )
    assert ran.returncode == 0, ran.stderr


def contract(tree: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(Path(sys.executable).with_name("lint-imports")), "--no-cache"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
    )


def test_the_import_contract_holds_for_what_was_added_and_refuses_a_room_without_a_floor(tree: Path) -> None:
    held = contract(tree)
    assert held.returncode == 0, held.stdout
    stray = tree / "guardcheck" / "helpers.py"
    stray.write_text('"""A room nobody gave a floor."""\n', encoding="utf-8")
    refused = contract(tree)
    stray.unlink()
    assert refused.returncode == 1
    assert "helpers" in refused.stdout
