"""The saved result: the contract's keys, finite numbers, and a reader that believes nothing."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.errors import InputError
from guardcheck.model import CONFORMS, NOT_PROVEN, Bearing, Condition, Curve, Finding, Question, Result
from guardcheck.report import from_json, to_html, to_json, to_terminal

STEADY = settings(derandomize=True, deadline=None, database=None, max_examples=60)

# The result contract of the design, section 6: names and order of a finding's keys.
FINDING_KEYS = [
    "id", "needed", "where", "rule", "quantity", "line", "guarded", "event", "severity", "value", "unit", "low", "high",
    "spread", "interval", "yield", "uncertainty", "outcome", "origin", "planned", "estimate", "reference", "why",
    "remedy", "kind", "use", "condition", "against_original", "original", "codes",
]  # fmt: skip
CONTRACT_KEYS = {
    "format",
    "guardcheck",
    "digest",
    "command",
    "unit",
    "outcome",
    "seed",
    "engine",
    "findings",
    "conditions",
    "asks",
    "circuits",
}
REPORT_KEYS = {
    "limits", "curves", "warnings", "not_examined", "cautions", "plan", "unit_kind", "n_samples", "job_file",
    "job_sha256", "extra", "schematics",
}  # fmt: skip


def strict(text: str) -> Any:
    """Read JSON as RFC 8259 has it: no NaN, no Infinity."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    return json.loads(text, parse_constant=refuse)


def test_keys_are_those_of_the_contract(result: Result) -> None:
    whole = strict(to_json(result))
    assert set(whole) == CONTRACT_KEYS | REPORT_KEYS
    assert whole["format"] == "guardcheck-result/2"
    assert whole["engine"] == {"name": "ngspice", "version": "39"}
    for row in whole["findings"]:
        assert list(row) == FINDING_KEYS
    for row in whole["circuits"]:
        assert set(row) == {"name", "kind", "file", "sha256"}


def test_conditions_and_asks_come_back(result: Result, make_finding: Callable[..., Finding]) -> None:
    one = make_finding(
        "EVT01", "event.margin", "red", True, -9.0, outcome="does_not_conform", why="too much", event="x"
    )
    one = replace(one, kind="withstand", use="mistake", condition="Not that", against_original="worse", original=-3.0)
    conditions = (Condition("x", "Not that", ("red",), "mistake"),)
    asks = (Question("supply.mains", "How much?", "type plate", 1, (one.id,), safe=False),)
    first = replace(result, findings=(one,), conditions=conditions, asks=asks, outcome="not_applicable")
    again = from_json(to_json(first))
    assert (again.findings, again.conditions, again.asks) == ((one,), conditions, asks)


def test_a_result_of_the_first_edition_is_still_read(result: Result) -> None:
    whole = strict(to_json(result))
    whole["format"] = "guardcheck-result/1"
    for name in ("conditions", "asks"):
        del whole[name]
    for row in whole["findings"]:
        for name in FINDING_KEYS[-6:]:
            del row[name]
    again = from_json(json.dumps(whole))
    assert (again.outcome, again.conditions, again.asks) == (result.outcome, (), ())
    assert {one.kind for one in again.findings} == {""}


def test_what_a_margin_rests_on_comes_back_and_is_said_only_where_there_is_a_margin(
    result: Result, make_finding: Callable[..., Finding]
) -> None:
    """A file without such figures, as one saved before there were any, keeps its digest and is still read."""
    one = make_finding("EVT01", "event.margin", "red", True, -9.0, outcome="does_not_conform", why="x", event="x")
    rated = replace(one, bearing=Bearing(0.5, (0.001, 0.02), "A", "guard upper diode"))
    unrated = replace(one, severity="harder", bearing=Bearing(0.5, None, "A"))
    first = replace(result, findings=(rated, unrated, replace(one, severity="none")), outcome="not_applicable")
    rows = {row["severity"]: row for row in strict(to_json(first))["findings"]}
    assert rows[None]["bearing"] == {
        "stress": 0.5, "allowed": [0.001, 0.02], "unit": "A", "part": "guard upper diode", "harm": False
    }  # fmt: skip
    assert rows["harder"]["bearing"]["allowed"] is None
    assert list(rows["none"]) == FINDING_KEYS
    again = {finding.severity: finding for finding in from_json(to_json(first)).findings}
    assert (again[None].bearing, again["harder"].bearing) == (rated.bearing, unrated.bearing)
    assert again["none"].bearing is None


def test_findings_are_sorted_and_carry_values(result: Result) -> None:
    rows = strict(to_json(result))["findings"]
    assert [row["id"] for row in rows] == sorted(row["id"] for row in rows)
    white = next(row for row in rows if row["id"] == "LVL01/green/guarded/level.white")
    assert (white["value"], white["low"], white["high"], white["unit"]) == (0.703, 0.496, 0.989, "V")
    assert white["spread"] == [0.68191, 0.72409]  # 0.703 V less and more 3 %
    assert white["yield"] == 1.0
    assert (
        white["reference"]
        == "Invented standard 1, 2nd edition, table 1 (computed from values read in the reference named)"
    )
    event = next(
        row for row in rows if row["event"] == "hot-plug" and row["severity"] == "re-contact" and row["guarded"]
    )
    assert event["outcome"] == "not_proven"
    bond = next(row for row in rows if row["rule"] == "GND01")
    assert (bond["guarded"], bond["line"], bond["where"]) == (None, None, "board shield to connector shell")


def test_numbers_are_finite_or_null(result: Result, make_finding: Callable[..., Finding]) -> None:
    odd = make_finding(
        "LVL01", "level.white", "red", True, float("nan"), outcome=NOT_PROVEN, why="failed",
        low=float("-inf"), high=0.9, spread=(0.1, float("inf")), interval=(0.1, 0.2), needed=True,
    )  # fmt: skip
    curve = Curve(
        "red", None, "waveform", "", np.array([0.0, 1.0]), np.array([np.nan, 1e300]), "s", "V", (None, np.inf)
    )
    text = to_json(replace(result, findings=(odd,), curves=(curve,), extra={"a": np.float64("nan"), "b": np.arange(2)}))
    whole = strict(text)
    row = whole["findings"][0]
    assert (row["value"], row["low"], row["spread"], row["interval"]) == (None, None, None, [0.1, 0.2])
    assert whole["curves"][0]["y"] == [None, None]
    assert whole["curves"][0]["band"] == [None, None]
    assert whole["extra"] == {"a": None, "b": [0, 1]}
    assert to_json(from_json(text)) == text


def test_extra_refuses_what_json_cannot_hold(result: Result) -> None:
    with pytest.raises(TypeError, match="a result cannot hold object"):
        to_json(replace(result, extra={"a": object()}))


@pytest.mark.parametrize("which", ["result", "hostile"])
def test_round_trip_renders_the_same(which: str, request: pytest.FixtureRequest) -> None:
    first: Result = request.getfixturevalue(which)
    text = to_json(first)
    assert text.isascii()
    again = from_json(text)
    assert to_json(again) == text
    assert to_terminal(again) == to_terminal(first)
    assert to_html(again) == to_html(first)


def test_limits_come_back_with_how_they_are_known(result: Result) -> None:
    again = {finding.id: finding for finding in from_json(to_json(result)).findings}
    for finding in result.findings:
        assert again[finding.id].limit == finding.limit


def edited(result: Result, *path: Any, value: Any = None, drop: bool = False) -> str:
    whole = json.loads(to_json(result))
    place = whole
    for step in path[:-1]:
        place = place[step]
    if drop:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return json.dumps(whole)


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        (("format",), "other/2", r'format: .*found "other/2"; accepted: guardcheck-result/2, guardcheck-result/1'),
        (("seed",), "1", r'seed: found "1"; accepted: a whole number'),
        (("seed",), True, r"seed: found true; accepted: a whole number"),
        (("findings",), {}, r"findings: found \{\}; accepted: a list"),
        (("findings", 0, "value"), "0.7 V", r'findings\[0\]\.value: found "0.7 V"; accepted: a finite number'),
        (("findings", 0, "spread"), [1], r"findings\[0\]\.spread: found \[1\]; accepted: a list of 2"),
        (("findings", 0, "needed"), None, r"findings\[0\]\.needed: found null; accepted: true or false"),
        (("findings", 0, "outcome"), "conform", r"accepted: conforms, .*did you mean 'conforms'\?"),
        (("findings", 0, "line"), "teal", r"findings\[0\]\.id: found .*, but the entry describes "),
        (("limits", 0, "known_by"), "recaled", r"limits\[0\]\.known_by: .*did you mean 'recalled'\?"),
        (("curves", 0, "x"), [1.0], r"curves\[0\]: x has 1 numbers but y has 900"),
        (
            ("curves", 0, "marks"),
            {"a\x1b[2J": "b"},
            r"^curves\[0\]\.marks: an entry is wrong; accepted: a finite number",
        ),
        (("plan", 0), ["a"], r"plan\[0\]: found \[\"a\"\]; accepted: a list of 3"),
        (("engine",), "ngspice", r"engine: .*an object"),
        (("warnings",), [1], r"warnings\[0\]: found 1; accepted: text"),
        (("findings", 0, "kind"), "persons", r"findings\[0\]\.kind: .*did you mean 'person'\?"),
        (("findings", 0, "value"), 10**400, r"findings\[0\]\.value: Number out of range"),
        (("curves", 0, "x"), ["1"], r"curves\[0\]\.x"),
        (("findings", 0), 7, r"findings\[0\]: found 7; accepted: an object"),
        (("limits",), {}, r"limits: found \{\}; accepted: a list"),
        (("outcome",), CONFORMS, r"calls itself conforms, but a needed finding is does_not_conform"),
        (("outcome",), NOT_PROVEN, r"calls itself not_proven, but a needed finding is does_not_conform"),
    ],
)
def test_wrong_entries_are_named(result: Result, path: tuple[Any, ...], value: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        from_json(edited(result, *path, value=value))


@pytest.mark.parametrize("path", [("outcome",), ("findings",), ("findings", 0, "why"), ("circuits", 0, "sha256")])
def test_missing_keys_are_named(result: Result, path: tuple[Any, ...]) -> None:
    with pytest.raises(InputError, match=f"{path[-1]}: the key is missing"):
        from_json(edited(result, *path, drop=True))


def test_unknown_keys_are_ignored(result: Result) -> None:
    text = edited(result, "later", value={"a": [1]})
    assert to_json(from_json(text)) == to_json(result)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", r"line 1: this is not JSON"),
        ("[]", r"the file: found \[\]; accepted: an object"),
        ('{"format": NaN}', r"NaN is no finite number"),
        ('{"format": 1e999}', r"not a saved result"),
        ('{"a": 1, "a": 2}', r"a: the key stands twice"),
        ("[" * 100_000, r"nested too deeply"),
        ('{"a":' + "[" * 40 + "]" * 40 + "}", r"nested too deeply"),
        ("9" * 5000, r"this is not a saved result"),
    ],
    ids=["empty", "list", "nan", "huge", "twice", "bottomless", "deep", "long number"],
)
def test_hostile_files_get_one_sentence(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        from_json(text)
    assert len(str(caught.value)) < 200


SMALL = Result("check", "U", "", NOT_PROVEN, 1, 0, None, (
    Finding("LVL01", "level.white", "red", True, 0.7, "V", CONFORMS, "inside", spread=(0.6, 0.8)),
    Finding("LVL01", "level.black", "red", True, None, "V", NOT_PROVEN, "lost"),
), ())  # fmt: skip
SCALARS = st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
ANYTHING = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=4), inner)
)


@STEADY
@given(st.text(max_size=200))
def test_any_text_is_refused_in_words(text: str) -> None:
    with pytest.raises(InputError):
        from_json(text)


@STEADY
@given(data=st.data(), value=ANYTHING)
def test_any_edit_is_read_or_refused_in_words(data: st.DataObject, value: Any) -> None:
    whole: Any = copy.deepcopy(json.loads(to_json(SMALL)))
    place: Any = whole if data.draw(st.booleans()) else whole["findings"][data.draw(st.integers(0, 1))]
    key = data.draw(st.sampled_from(sorted(place)))
    place[key] = value
    text = json.dumps(whole)
    read = read_or_refused(text)
    if isinstance(read, Result):
        assert to_json(from_json(to_json(read))) == to_json(read)
    else:
        assert read
        assert "\n" not in read


def read_or_refused(text: str) -> Result | str:
    try:
        return from_json(text)
    except InputError as refused:
        return str(refused)
