"""Line numbers, which the standard TOML reader does not tell."""

from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.job.where import dotted, line_numbers, nearest_line

TEXT = '''# a comment with [a header] and key = "value"
format = 1
"quoted key" = 'literal # not a comment'
a.b = """
x = 1
[no.header]
"""
after = { x = "1", y = { z = [1, 2] } }

[one]  # comment
k = [
  { p = 1 }, # [[fake]]
  { p = "]" },

  { p = \'\'\'
two = 2
\'\'\', q = 3 },
]
last = true
[[many]]
k = 1
[[many]]
k = 2
[many.sub]
k = 3
[[many.deep]]
k = 4
[[many.deep]]
k = 5
'''
EXPECTED = {
    "format": 2, "quoted key": 3, "a.b": 4, "after": 8, "after.x": 8, "after.y.z[1]": 8, "one": 10, "one.k": 11,
    "one.k[0].p": 12, "one.k[1].p": 13, "one.k[2].p": 15, "one.k[2].q": 17, "one.last": 19, "many": 20, "many[0]": 20,
    "many[0].k": 21, "many[1]": 22, "many[1].k": 23, "many[1].sub.k": 25, "many[1].deep[0].k": 27,
    "many[1].deep[1].k": 29,
}  # fmt: skip


def test_lines_of_every_kind_of_key() -> None:
    tomllib.loads(TEXT)
    found = line_numbers(TEXT)
    assert {key: found.get(key) for key in EXPECTED} == EXPECTED


def test_windows_line_ends_count_once() -> None:
    assert line_numbers(TEXT.replace("\n", "\r\n")) == line_numbers(TEXT)


def test_a_missing_key_has_the_line_of_its_table() -> None:
    found = line_numbers(TEXT)
    assert nearest_line(found, "many[1].sub.missing") == 24
    assert nearest_line(found, "many[1].missing[3].x") == 22
    assert nearest_line(found, "one.k[7]") == 11
    assert nearest_line(found, "nowhere") is None
    assert nearest_line(found, "") is None


def test_dotted_keys() -> None:
    assert dotted(("line", 0, "stage_values", "series")) == "line[0].stage_values.series"
    assert dotted(()) == ""


def test_broken_text_ends_the_scan_quietly() -> None:
    assert line_numbers("a = 1\nb = [[[\n") == {"a": 1, "b": 2, "b[0]": 2, "b[0][0]": 2}
    assert line_numbers("= =") == {}


FIXED = settings(derandomize=True, deadline=None, database=None, max_examples=300)
names = st.sampled_from(["a", "b", "c-d", "e_1", "9"])
scalars = st.sampled_from(
    ["1", '"x"', "'y # z'", '"q\\"]}"', "true", "1979-05-27", "'''m\nn = 1\n'''", '"""\n[h]\n"""', "[ ]"]
)
inline = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda items: "[\n" + ", # c\n".join(items) + "\n]"),
        st.dictionaries(names, inner, max_size=3).map(
            lambda d: "{ " + ", ".join(f"{k} = {v}" for k, v in d.items()) + " }"
        ),
    ),
    max_leaves=6,
)


@st.composite
def documents(draw: st.DrawFn) -> str:
    rows: list[str] = [f"{key} = {value}" for key, value in draw(st.dictionaries(names, inline, max_size=3)).items()]
    for number in range(draw(st.integers(0, 3))):
        table = draw(st.sampled_from([f"[t{number}]", "[[many]]", f"[t{number}.x]"]))
        rows += [
            table,
            *(f"{key} = {value}" for key, value in draw(st.dictionaries(names, inline, max_size=3)).items()),
        ]
    return "\n".join(rows) + "\n"


def paths(node: Any, path: tuple[str | int, ...] = ()) -> list[str]:
    entries = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [text for key, inner in entries for text in (dotted((*path, key)), *paths(inner, (*path, key)))]


@FIXED
@given(documents())
def test_every_key_of_a_random_document_has_a_line_that_holds_it(text: str) -> None:
    found = line_numbers(text)
    rows = text.split("\n")
    for path in paths(tomllib.loads(text)):
        assert path in found
        last = path.rpartition(".")[2]
        assert "[" in last or last in rows[found[path] - 1]
