"""Tables read strictly: every mistake has its place, and no file makes the reader fail in any other way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guardcheck.errors import CircuitError, InputError
from guardcheck.model import Range
from guardcheck.toml_tables import Table, read_table

WORDS = st.sampled_from(["value", "range", "text", "flag", "list", "inner", "rows", "odd"])
LEAVES = (
    st.text(max_size=12)
    | st.integers(-9, 9)
    | st.booleans()
    | st.floats()
    | st.sampled_from(["75 ohm", "5 V", "10 mohm", "unknown", "1 kohm"])
)
ENTRIES = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3))


def table(**entries: Any) -> Table:
    return Table(entries, "mine.toml", "part[2]", CircuitError)


def test_values_come_out_in_si_units() -> None:
    row = table(series="4k7 5%", span=["10 mohm", "1 Mohm"], names=["a", "b"], on=True)
    assert row.value("series", "ohm").low == pytest.approx(4465.0)
    assert row.real("series", "ohm") == 4700.0
    assert row.span("span", "ohm") == Range(0.01, 1e6)
    assert row.span("absent", "ohm") is None
    assert row.texts("names") == ("a", "b")
    assert (row.flag("on"), row.flag("off")) == (True, False)
    assert row.text("absent", "stand-in") == "stand-in"


def test_inner_tables_know_their_dotted_key() -> None:
    row = table(check=[{"read": "v(a)"}, {"red": "v(a)"}])
    with pytest.raises(CircuitError, match=r"^mine\.toml: part\[2\]\.check\[1\]\.red: unknown key 'red'.*'read'"):
        row.tables("check")[1].only("read")


@pytest.mark.parametrize(
    ("entries", "call", "sentence"),
    [
        ({"x": 5}, lambda row: row.text("x"), r"part\[2\]\.x: '5' is not a text"),
        ({"x": "  "}, lambda row: row.text("x"), r"is not a text; write a text in quotes"),
        ({"x": "a\x1b[31m"}, lambda row: row.text("x"), r"printable characters on one line"),
        ({}, lambda row: row.text("x"), r"part\[2\]\.x: is missing; write a text in quotes"),
        ({"x": "tru"}, lambda row: row.flag("x"), r"'tru' is not accepted; write true or false"),
        ({"x": "a"}, lambda row: row.texts("x"), r"'a' is not a list of texts"),
        ({"x": "far"}, lambda row: row.word("x", ("near", "afar")), r"write one of afar, near; did you mean 'afar'"),
        ({"x": 5}, lambda row: row.value("x", "V"), r"'5' is not accepted; write the value in quotes with its unit"),
        ({"x": "5"}, lambda row: row.value("x", "V"), r"part\[2\]\.x: '5' has no unit; write a voltage"),
        ({"x": ["1 V"]}, lambda row: row.span("x", "V"), r"is not a range; write two values, lowest first"),
        ({"x": ["2 V", "1 V"]}, lambda row: row.span("x", "V"), r"is upside down"),
        ({"x": [1]}, lambda row: row.tables("x"), r"write each under \[\[part\[2\]\.x\]\]"),
        ({"x": 1}, lambda row: row.table("x"), r"is not a table; write it under \[part\[2\]\.x\]"),
    ],
)
def test_every_mistake_has_a_sentence(entries: dict[str, Any], call: Any, sentence: str) -> None:
    with pytest.raises(CircuitError, match=sentence):
        call(table(**entries))


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(CircuitError, match=r"none\.toml: cannot be read"):
        read_table(tmp_path / "none.toml", error=CircuitError)
    with pytest.raises(CircuitError, match="is a folder"):
        read_table(tmp_path, error=CircuitError)


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"\xff\xfe\x00", "is not UTF-8 text"),
        (b"a = ", "is not TOML"),
        (b"a = 1\na = 2\n", "is not TOML"),
        (b"a = " + b"[" * 5000, "is not TOML"),
        (b"#" * 200_000, "is larger than 128 kB"),
    ],
)
def test_a_file_that_is_no_table_is_said(data: bytes, sentence: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(data)
    with pytest.raises(CircuitError, match=sentence):
        read_table(path, error=CircuitError)


@settings(max_examples=150, deadline=None, derandomize=True, database=None)
@given(entries=st.dictionaries(WORDS, ENTRIES, max_size=5), name=WORDS)
def test_nothing_but_its_own_error_comes_out(entries: dict[str, Any], name: str) -> None:
    row = table(**entries)
    for call in (
        lambda: row.only("value", "range"),
        lambda: row.text(name),
        lambda: row.word(name, ("a", "b")),
        lambda: row.flag(name),
        lambda: row.texts(name),
        lambda: row.value(name, "ohm"),
        lambda: row.span(name, "ohm"),
        lambda: row.table(name).text("text"),
        lambda: [inner.value("value", "V") for inner in row.tables(name)],
    ):
        try:
            call()
        except InputError as error:
            assert (type(error), "\n" in str(error)) == (CircuitError, False)  # noqa: PT017 - some calls succeed


@settings(
    max_examples=200,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.binary(max_size=80) | st.text(alphabet='ab=[]{}".\n#1 ', max_size=80).map(str.encode))
def test_random_files_give_a_table_or_a_sentence(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "random.toml"
    path.write_bytes(data)
    try:
        top, read = read_table(path, error=CircuitError)
    except CircuitError as error:
        assert str(error).startswith(str(path))  # noqa: PT017 - some of the files are good
    else:
        assert read == data
        assert list(top) == list(top.entries)
