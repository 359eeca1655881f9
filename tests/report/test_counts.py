"""One fault is counted once, and every count a user sees is the same: first screen, folds of the page, sheet, repr."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import guardcheck as gc
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Result
from guardcheck.report import to_short
from guardcheck.report.arrange.advice import counts
from guardcheck.report.arrange.folds import line_folds
from guardcheck.report.handover.customer import meaning, tally_of
from guardcheck.report.handover.strings import words
from guardcheck.verdict.claims import leads_of, tally
from guardcheck.verdict.handover import evidence

DEMO = Path(__file__).parents[2] / "reports-demo"
UNITS = sorted(path.parent.name for path in DEMO.glob("*/report.json"))
WORDS = {DOES_NOT_CONFORM: "do not conform", NOT_PROVEN: "not proven", CONFORMS: "conform"}


@pytest.fixture(params=UNITS)
def unit(request: pytest.FixtureRequest) -> Result:
    return gc.read_result(DEMO / request.param / "report.json")


def in_folds(result: Result) -> dict[str, int]:
    """Return what the headings of the page's folds count, and the claims of events, which have a word each."""
    found = dict(tally([one for one in result.findings if one.event is not None], leads_of(result.schematics)))
    for group in line_folds(result):
        for fold in group.folds:
            for outcome, word in WORDS.items():
                match = re.search(rf"(\d+) {word}\b", fold.said)
                found[outcome] += int(match[1]) if match else 0
    return found


def test_page_and_sheet_count_as_the_first_screen_does(unit: Result) -> None:
    first = counts(unit)
    assert {one: in_folds(unit)[one] for one in WORDS} == {one: first[one] for one in WORDS}
    sheet = {outcome: count for outcome, _, count in tally_of(evidence(unit), words("en"))}
    assert sheet == {one: first[one] for one in WORDS}
    judged = sum(sheet.values())
    assert re.search(rf"\b{judged}\b", " ".join(to_short(unit).split()))
    if first[DOES_NOT_CONFORM]:
        told = " ".join(meaning(evidence(unit), words("en")))
        assert {str(first[DOES_NOT_CONFORM]), str(judged)} <= set(re.findall(r"\d+", told))


def test_claims_are_fewer_than_findings_where_lines_are_alike() -> None:
    alike = gc.read_result(DEMO / "tern-2" / "report.json")
    needed = sum(one.needed for one in alike.findings)
    assert sum(counts(alike).values()) < needed / 2
