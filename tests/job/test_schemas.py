"""JSON schemas for editors: made of the very tables the readers go by, and no stricter than the readers are."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from guardcheck.job import family_job_text, family_names, new_job_text
from guardcheck.job.json_schema import _KINDS, job_schema
from guardcheck.job.read import READERS
from guardcheck.measure.readings import new_readings_text
from guardcheck.pipeline.browse import schema_file, write_new
from guardcheck.report import to_json
from tests.checklist.conftest import measured, planned, result
from tests.schemas import FOLDER, texts

DEMO = Path(__file__).parents[2] / "reports-demo"
JOBS = {path.parent.name: path.read_text(encoding="utf-8") for path in sorted(DEMO.glob("*/job.toml"))}
JOBS |= {"new": new_job_text(), **{name: family_job_text(name) for name in family_names()}}


def checked(name: str, document: Any) -> list[str]:
    schema = json.loads(schema_file(name).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    found = jsonschema.Draft202012Validator(schema).iter_errors(document)
    return [f"{'.'.join(map(str, one.absolute_path))}: {one.message[:80]}" for one in found]


@pytest.mark.parametrize("file", sorted(texts()))
def test_what_is_shipped_is_what_the_tables_say(file: str) -> None:
    assert (FOLDER / file).read_text(encoding="utf-8") == texts()[file], "run make schemas"


def test_every_kind_of_value_has_a_schema() -> None:
    assert set(_KINDS) == set(READERS)


@pytest.mark.parametrize("name", sorted(JOBS))
def test_a_job_that_is_read_fits_the_schema(name: str) -> None:
    assert checked("job", tomllib.loads(JOBS[name])) == []


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("format = 1", "format = 2", "format"),
        ('rail = "5 V"', 'raill = "5 V"', "supply"),
        ('rail = "5 V"', "rail = 5", "supply.rail"),
        ('protection_class = "II"', 'protection_class = "IV"', "supply.protection_class"),
        ('names = ["sync"]', 'names = "sync"', "line.0.names"),
        ('stage = "series-resistor"', "", "line.0"),
        ("[hazards]", '[hazards]\nlaser = "maybe"', "hazards.laser"),
    ],
)
def test_a_mistake_is_marked_where_it_stands(old: str, new: str, where: str) -> None:
    text = new_job_text()
    assert f"\n{old}" in text
    found = checked("job", tomllib.loads(text.replace(f"\n{old}", f"\n{new}", 1)))
    assert [one.partition(":")[0] for one in found] == [where]


def test_every_key_says_what_it_is() -> None:
    def bare(schema: Any, path: str = "") -> list[str]:
        found = []
        for name, one in schema.get("properties", {}).items():
            found += [] if len(one.get("description", "")) > 5 else [f"{path}.{name}"]
            found += bare(one.get("items", one), f"{path}.{name}")
        return found

    assert bare(job_schema()) == []


def test_readings_fit_their_schema() -> None:
    written = tomllib.loads(new_readings_text((("red", ("level.white", "level.blank")),)))
    assert checked("readings", written) == []
    for path in DEMO.glob("*/readings*.toml"):
        assert checked("readings", tomllib.loads(path.read_text(encoding="utf-8"))) == []
    written["reading"][0]["probe"] = "x11"
    assert [one.partition(":")[0] for one in checked("readings", written)] == ["reading.0.probe"]


def test_a_saved_result_fits_its_schema() -> None:
    for one in (result(planned()), result(measured(), command="verify")):
        whole = json.loads(to_json(one))
        assert checked("result", whole) == []
    whole["findings"][0]["value"] = "0.7 V"
    del whole["digest"]
    assert len(checked("result", whole)) == 2


def test_a_new_file_names_its_schema_for_the_editor(tmp_path: Path) -> None:
    write_new(tmp_path / "job.toml", new_job_text(), schema="job")
    first, *rest = (tmp_path / "job.toml").read_text(encoding="utf-8").splitlines(keepends=True)
    assert first == f"#:schema {schema_file('job').as_uri()}\n"
    assert "".join(rest) == new_job_text()
