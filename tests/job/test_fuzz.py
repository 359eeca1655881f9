"""Whatever stands in a job file, the reader returns a job or raises one printable sentence.

``GUARDCHECK_FUZZ=deep`` runs a hundred times as many examples, with another seed each time.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guardcheck.errors import JobError
from guardcheck.job import parse_job
from guardcheck.job.document import decode
from guardcheck.job.keys import JOB
from guardcheck.job.schema import Key, Table
from guardcheck.model import Job

DEEP = os.environ.get("GUARDCHECK_FUZZ") == "deep"
BASE = (Path(__file__).parent / "base.toml").read_text(encoding="utf-8")
TOKENS = [line for line in BASE.split("\n") if line] + [
    "[[line]]", "[[bond]]", "[line.pin]", "[supply]", "=", "\n", '"', "'''", '"""', "{", "}", "[", "]", ",", ".", "#",
    "\\u001b", "\ufeff", "\x00", "unknown", "over range", "5 V", "10 M", "1e999", "inf", "-", "1979-05-27", "true",
    "names", "\r", "\u202e",
]  # fmt: skip


def fuzz(examples: int) -> settings:
    return settings(
        derandomize=not DEEP,
        deadline=None,
        database=None,
        max_examples=examples * (100 if DEEP else 1),
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
    )


def outcome(text: str) -> str:
    """Return the refusal, or a word for a job; any other exception fails the test."""
    try:
        job = parse_job(text, file="demo.toml", folder=Path(__file__).parent)
    except JobError as error:
        return str(error)
    assert isinstance(job, Job)
    assert all(warning.isprintable() for warning in job.warnings)
    return "a job"


@fuzz(1000)
@given(st.lists(st.sampled_from(TOKENS), max_size=40), st.sampled_from(["", " ", "\n"]))
def test_shuffled_tokens(tokens: list[str], joint: str) -> None:
    assert outcome(joint.join(tokens)).isprintable()


@fuzz(600)
@given(st.binary(max_size=300))
def test_random_bytes(data: bytes) -> None:
    try:
        text = decode(data, file="demo.toml")
    except JobError as error:
        text = str(error)
        assert "\n" not in text
    assert outcome(text).isprintable()


@fuzz(1000)
@given(st.integers(0, len(BASE) - 1), st.integers(0, 40), st.one_of(st.text(max_size=12), st.sampled_from(TOKENS)))
def test_damaged_jobs(at: int, cut: int, put: str) -> None:
    assert outcome(BASE[:at] + put + BASE[at + cut :]).isprintable()


strings = st.one_of(
    st.text(max_size=20),
    st.sampled_from(
        ["unknown", "over range", "5 V", "4k7 5%", "1 kohm", "2.2 nF", "II", "not fitted", "1% + 2 counts", ".", "../x"]
    ),
)
junk = st.recursive(
    st.one_of(strings, st.integers(), st.floats(), st.booleans()),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3), st.dictionaries(st.sampled_from(["a", "value", "x y"]), inner, max_size=2)
    ),
    max_leaves=5,
)


def toml(value: Any) -> str:
    """Write a value as TOML."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{toml(key)} = {toml(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(inner) for inner in value) + "]"
    if isinstance(value, str):
        return '"' + "".join(c if c.isalnum() and c.isascii() else f"\\U{ord(c):08x}" for c in value) + '"'
    return str(value)


def plausible(key: Key) -> st.SearchStrategy[Any]:
    """Return values of roughly the right kind for a key, mixed with junk."""
    if key.table is not None:
        table = tables(key.table)
        return st.one_of(junk, st.lists(table, max_size=3) if key.kind == "tables" else table)
    lists = st.lists(strings, max_size=3)
    options = [junk, strings, st.sampled_from([*key.also, *key.choices, "a-name"]), lists]
    if key.measures:
        options.append(st.floats(1e-12, 1e12).map(lambda size: f"{size:.3g} {key.measures[0].unit}"))
    if key.kind == "values":
        options.append(st.dictionaries(st.sampled_from(["series", "place", "Bad", "x y"]), strings, max_size=3))
    return st.one_of(options)


def tables(table: Table) -> st.SearchStrategy[dict[str, Any]]:
    required = {name: plausible(key) for name, key in table.keys.items() if key.required}
    optional = {name: plausible(key) for name, key in table.keys.items() if not key.required}
    return st.fixed_dictionaries(required, optional=optional)


@fuzz(400)
@given(tables(JOB))
def test_random_documents_of_the_right_shape(document: dict[str, Any]) -> None:
    document["format"] = 1
    text = "\n".join(f"{name} = {toml(value)}" for name, value in document.items())
    assert outcome(text).isprintable()
