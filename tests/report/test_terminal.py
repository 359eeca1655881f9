"""Terminal text: 80 columns, words before colour, nothing a job file can do to the terminal."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_PROVEN,
    Finding,
    Result,
    Row,
    Sheet,
    ShelfItem,
)
from guardcheck.report import sheet, shelf, summary, to_outcome, to_terminal, unique_names
from guardcheck.report.arrange.words import clean
from guardcheck.report.text.grid import columns, pad, row, wrap

STEADY = settings(derandomize=True, deadline=None, database=None, max_examples=80)
ANSI = re.compile(r"\x1b\[[0-9;]*m")


@pytest.mark.parametrize("which", ["result", "hostile"])
@pytest.mark.parametrize("width", [1, 72, 80, 100])
def test_no_line_is_wider_than_asked(which: str, width: int, request: pytest.FixtureRequest) -> None:
    text = to_terminal(request.getfixturevalue(which), width=width)
    assert max(columns(line) for line in text.splitlines()) <= max(width, 72)
    assert text.endswith("\n")


def test_nothing_reaches_the_terminal_but_text(hostile: Result) -> None:
    for text in (to_terminal(hostile), to_outcome(hostile), summary([("\x1b[2J", hostile), ("b", "\x9b31m\u202e")])):
        assert not [char for char in text if char != "\n" and unicodedata.category(char) in ("Cc", "Cf", "Cs")]


def test_colour_only_repeats_words(result: Result) -> None:
    plain, painted = to_terminal(result), to_terminal(result, colour=True)
    assert "\x1b[" in painted
    assert ANSI.sub("", painted) == plain


def test_bare_stands_beside_guarded_with_limits_and_word(result: Result) -> None:
    lines = to_terminal(result).splitlines()
    head = next(line for line in lines if line.startswith("quantity"))
    assert head.split() == ["quantity", "limits", "bare", "guarded", "outcome"]
    found = [line for line in lines if re.match(r"white level +496 to 989 mV +706 mV +703 mV +conforms$", line)]
    assert len(found) == 1
    sync = [line for line in lines if line.startswith("sync amplitude")]
    assert sync[0].split()[-3:] == ["does", "not", "conform"]


def test_reasons_and_remedies_are_shown(result: Result) -> None:
    text = " ".join(to_terminal(result).split())
    for finding in result.findings:
        if finding.needed and finding.outcome in (DOES_NOT_CONFORM, NOT_PROVEN):
            assert clean(finding.why).removeprefix("Not proven: ").casefold() in text.casefold()
            assert finding.remedy is None or finding.remedy.casefold() in text.casefold()


def test_doubtful_limits_are_marked_in_the_row_and_explained(result: Result) -> None:
    text = to_terminal(result)
    assert "at most 0.5 dB [m]" in text
    flat = " ".join(text.split())
    assert "[m] limit from memory, unverified" in flat
    assert "[p] limit common practice, no published source" in flat


def test_the_first_and_the_last_thing_read_is_the_outcome(result: Result) -> None:
    lines = to_terminal(result).splitlines()
    assert lines[2].startswith("DOES NOT CONFORM: 1 of 22 needed checks does not conform. A further 4")
    assert sum(line.startswith("DOES NOT CONFORM") for line in lines[-6:]) == 1
    assert to_outcome(result).splitlines()[:2] == ["DEMO-01", lines[2]]


def test_not_proven_is_never_called_a_pass(result: Result, make_finding: Callable[..., Finding]) -> None:
    lost = make_finding("LVL01", "level.white", "red", False, None, outcome=NOT_PROVEN, why="no simulator", needed=True)
    text = to_terminal(replace(result, outcome=NOT_PROVEN, findings=(lost,), engine=None))
    assert text.splitlines()[2].startswith(
        "NOT PROVEN: Nothing needed fails, but 1 of 1 needed checks cannot be proven."
    )
    assert "Not proven is not a pass." in " ".join(text.split())
    assert "No simulator took part." in text
    empty = to_terminal(replace(result, outcome=NOT_PROVEN, findings=(), curves=()))
    assert "NOT PROVEN: No needed check has an answer. Not proven is not a pass." in empty


def test_all_conforming_says_what_it_does_not_say(result: Result, make_finding: Callable[..., Finding]) -> None:
    good = make_finding("LVL01", "level.white", "red", False, 0.7, outcome=CONFORMS, why="inside", needed=True)
    text = to_terminal(replace(result, outcome=CONFORMS, findings=(good,)))
    assert "CONFORMS: All needed checks conform (1)." in text
    assert "What was not examined is no part of this statement." in " ".join(text.split())


def test_measured_values_show_uncertainty_and_plan(result: Result, make_finding: Callable[..., Finding]) -> None:
    read = make_finding(
        "LVL01", "level.white", "red", None, 0.712, outcome=CONFORMS, why="inside", needed=True, uncertainty=0.014,
        planned=0.703, origin=MEASURED, low=0.496, high=0.989,
    )  # fmt: skip
    text = to_terminal(replace(result, findings=(read,), outcome=CONFORMS))
    for part in ("712 mV", "+/- 14 mV", "planned 703 mV", "expanded uncertainty, k = 2"):
        assert part in text


def test_rows_for_information_say_so(result: Result) -> None:
    lines = to_terminal(result).splitlines()
    place = next(n for n, line in enumerate(lines) if line == "esd-contact, 15 kV")
    assert lines[place + 2].strip() == "for information"
    assert lines.index("esd-contact, 2 kV") < place


def test_an_event_without_margin_shows_all_its_rows(result: Result, make_finding: Callable[..., Finding]) -> None:
    rows = [
        make_finding("EVT01", q, "red", False, 0.1, event="short", severity=None)
        for q in ("event.rail", "event.pin_over")
    ]
    text = to_terminal(replace(result, findings=tuple(rows), outcome=NOT_PROVEN))
    assert "rail lifted to" in text
    assert "pin above rail" in text


def test_summary_has_one_row_per_job(result: Result) -> None:
    text = summary([("a", result), ("b" * 60, "b.toml: no such stage"), ("c", replace(result, outcome=NOT_PROVEN))])
    assert max(map(len, text.splitlines())) <= 80
    assert re.search(r"^a +DEMO-01 +does not conform +1 +4$", text, re.M)
    assert "    b.toml: no such stage" in text
    assert "3 jobs: 1 does not conform, 1 no result, 1 not proven." in text


def test_unique_names_never_collide() -> None:
    from pathlib import Path

    names = unique_names([Path("a/job.toml"), Path("b/job.toml"), Path("c/job-2.toml"), Path("../é/..toml")])
    assert len(set(names)) == 4
    assert all(re.fullmatch(r"[a-z0-9-]+", name) for name in names)


def test_shelf_and_sheet_fit_80_columns() -> None:
    items = (
        ShelfItem("stage", "pad", "A pad " * 30),
        ShelfItem("guard", "pair", "Two diodes"),
        ShelfItem("stage", "x", "y"),
    )
    text = shelf(items)
    assert text.startswith("stages\n------\npad ")
    assert "\nguards\n" in text
    page = sheet(
        [
            Sheet(
                "stage",
                "pad",
                "A pad",
                "for levels",
                (("Parameters", (Row("series", "100 ohm", "usual", "R " * 60),)),),
                "text",
                "ref",
            )
        ]
    )
    assert "Reference: ref" in page
    assert max(map(len, (text + page).splitlines())) <= 80
    assert shelf(()) == "The shelf is empty.\n"


TEXT = st.text(max_size=60)


@STEADY
@given(TEXT)
def test_clean_leaves_one_line_of_harmless_text(text: str) -> None:
    result = clean(text)
    assert not [char for char in result if unicodedata.category(char) in ("Cc", "Cf", "Cs", "Zl", "Zp")]
    assert clean(result) == result


@STEADY
@given(TEXT, st.integers(2, 30))
def test_wrapping_keeps_every_character_and_the_width(text: str, width: int) -> None:
    lines = wrap(text, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(columns(line) <= width for line in lines)


@STEADY
@given(st.lists(st.lists(TEXT, min_size=1, max_size=2), min_size=2, max_size=2))
def test_columns_of_a_row_never_shift(cells: list[list[str]]) -> None:
    cells = [[clean(part) for part in cell] for cell in cells]
    marked = row([*cells, [">"]], (10, 12, 1), (None, lambda text: f"\x1b[1m{text}\x1b[0m"))
    assert columns(ANSI.sub("", marked[0])) == 10 + 2 + 12 + 2 + 1
    assert marked[0].endswith(">")


# Widths by Unicode Standard Annex 11 (East Asian Width): W and F take two cells; combining marks take none.
@pytest.mark.parametrize(("text", "width"), [("abc", 3), ("漢字", 4), ("ｗ", 2), ("e\u0301", 1), ("", 0)])
def test_display_width(text: str, width: int) -> None:
    assert columns(text) == width
    assert columns(pad(text, 6)) == 6
