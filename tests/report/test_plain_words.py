"""Sentences a second-language reader at the bench takes the right way, and one word for one thing."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

import guardcheck
from guardcheck.model import DOES_NOT_CONFORM, MEASURED, NOT_PROVEN, Finding, Limit, Quantity
from guardcheck.report.arrange.view import subject
from guardcheck.report.arrange.words import MARKS, rule_word, topic
from guardcheck.rules import all_rules
from guardcheck.verdict.outcome import finding

HOME = Path(guardcheck.__file__).parent
SHELF = HOME.parent / "circuits"
SHOWN = [
    file
    for place in (HOME, SHELF)
    for kind in ("py", "toml", "html", "typ", "js")
    for file in sorted(place.rglob(f"*.{kind}"))
]
BROKEN = re.compile(r"[\"']\s*\n\s*[fr]*[\"']")
"""A sentence goes on in the next piece of text."""
MISREAD = (
    "rating is passed by",
    "already passed inside",
    "hardest with",
    "Taken at the worst",
    "taken where it protects least:",
    "Taken at the stressing end",
    "screening flag",
    "goes on flowing",
    "models of chips are no better",
    "by the rating and tolerances taken",
    "margin of the parts",
    "declared fact",
    "take the worse",
    "that stand the heat",
    "guard buys most on this line",
    "did not hold within",
    "No time makes it safe",
    "must be there within",
    "decide nothing, come or gone",
    "limits moved in by its",
    "join and part",
    "bond the two 0 V",
    "Sources of the limits",
    "Limits, sources",
    "limits and their sources",
    "riser board",
)


@cache
def texts() -> tuple[tuple[Path, str], ...]:
    return tuple((file, BROKEN.sub("", file.read_text(encoding="utf-8"))) for file in SHOWN)


@pytest.mark.parametrize("words", MISREAD)
def test_no_report_holds_a_sentence_that_is_easily_misread(words: str) -> None:
    said = re.compile(rf"[\"'>][^\"'\n]*{re.escape(words)}", re.IGNORECASE)
    assert [file.name for file, text in texts() if said.search(text)] == []


def row(quantity: str, where: str | None = None, **more: object) -> Finding:
    return Finding("TST01", quantity, None, None, None, "1", NOT_PROVEN, "x", where=where, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("quantity", "where", "said"),
    [
        ("declared.fact", "crt", "picture tube"),
        ("declared.fact", "connecting order", "connecting order"),
        ("touch.current", "joined", "touch current, unit and display joined"),
        ("touch.current", "unit", "touch current, unit"),
        ("level.white", None, "white level"),
    ],
)
def test_a_place_is_named_as_a_reader_calls_it(quantity: str, where: str | None, said: str) -> None:
    assert topic(quantity, where) == said
    assert subject(row(quantity, where)) == said


def test_marks_are_words_and_rules_are_known_by_words() -> None:
    assert all(re.fullmatch(r"[A-Za-z]+|-", mark) for mark in MARKS.values())
    assert len(set(MARKS.values())) == len(MARKS)
    assert rule_word("TCH01") == "touch-current"
    assert rule_word("XYZ99") == "XYZ99"
    assert not any(re.search(r"\d", one.slug) for one in all_rules())


def test_a_measured_value_outside_says_which_end_it_breaks() -> None:
    limit = Limit("level.mismatch", None, 0.5, None, "r", "read")
    found = finding(
        "LVL01", Quantity("level.mismatch", "red", True, 9.51, origin=MEASURED, uncertainty=0.1), limit, needed=True
    )
    assert found.outcome == DOES_NOT_CONFORM
    assert found.why.startswith("9.51 dB ± 0.1 dB is above 0.5 dB by more than its uncertainty")
    assert "probability of conformity under 0.1 %" in found.why


def test_no_measurement_is_sure_to_the_last() -> None:
    limit = Limit("level.white", 0.0, 1.0, None, "r", "read")
    sure = Quantity("level.white", "red", True, 0.5, origin=MEASURED, uncertainty=0.001)
    assert "probability of conformity over 99.9 %" in finding("LVL01", sure, limit, needed=True).why
