"""Numbers as shown. Prefixes: The International System of Units (SI Brochure), 9th edition, table 7."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.formatting import limits, line_rank, show, span, telling_digits, times
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Finding, Result, Schematic
from guardcheck.report.arrange.advice import counts, not_proven, sources, to_do
from guardcheck.report.arrange.view import decisive, natural, sections, share, unique_slugs
from guardcheck.report.arrange.words import sentence

STEADY = settings(derandomize=True, deadline=None, database=None, max_examples=80)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.703, "V", "703 mV"), (4.43361875e6, "Hz", "4.43 MHz"), (75.4, "ohm", "75.4 ohm"), (0.012, "A", "12 mA"),
        (-0.0041, "1", "-0.41 %"), (0.15, "1", "15 %"), (-26.44, "dB", "-26.4 dB"), (0.0, "V", "0 V"),
        (None, "V", "-"), (float("nan"), "V", "-"), (float("inf"), "dB", "-"), (7.64e-7, "C", "764 nC"),
        (-2.59e-9, "1", "0 %"), (-5.99e-6, "1", "-0.001 %"),
    ],
)  # fmt: skip
def test_values(value: float | None, unit: str, text: str) -> None:
    assert show(value, unit) == text


@pytest.mark.parametrize(
    ("low", "high", "unit", "text"),
    [
        (0.496, 0.989, "V", "496 to 989 mV"), (0.0, 2.0, "V", "0 to 2 V"), (None, 0.02, "A", "at most 20 mA"),
        (5e6, None, "Hz", "at least 5 MHz"), (None, None, "V", "no limit"), (0.4, 1.2, "V", "400 mV to 1.2 V"),
        (-0.06, 0.06, "1", "-6 to 6 %"),
    ],
)  # fmt: skip
def test_limits(low: float | None, high: float | None, unit: str, text: str) -> None:
    assert limits(low, high, unit) == text


@pytest.mark.parametrize(
    ("ratio", "text"),
    [(48.8, "49 x"), (5.44, "5.4 x"), (0.8, "0.8 x"), (9.94, "9.9 x"), (9.96, "10 x"), (9.95, "10 x"), (1.0, "1.0 x")],
)
def test_a_ratio_is_said_in_one_way(ratio: float, text: str) -> None:
    assert times(ratio) == text
    assert times(ratio * (1.0 + 2e-16)) == text


def test_an_interval_of_one_value_is_one_value() -> None:
    assert span((0.7, 0.70001), "V") == "700 mV"
    assert span(None, "V") == "-"


def test_a_value_just_outside_never_looks_equal_to_its_limit(
    make_finding: Callable[..., Finding], result: Result
) -> None:
    just = make_finding(
        "LVL01", "level.white", "red", False, 0.98915, outcome=DOES_NOT_CONFORM, why="high", low=0.496, high=0.989
    )
    (section,) = sections(replace(result, findings=(just,), curves=()))
    row = section.tables[0].groups[0].rows[0]
    assert (row.cells[False].value, row.limits) == ("989.1 mV", "496 to 989 mV")


@STEADY
@given(st.floats(1e-9, 1e9), st.floats(-1e-5, 1e-5))
def test_telling_digits_tell(bound: float, part: float) -> None:
    value = bound * (1 + part)
    digits = telling_digits([value], [bound, None], "V")
    assert 3 <= digits <= 6
    if abs(part) > 2e-5 or digits < 6:
        assert value == bound or show(value, "V", digits) != show(bound, "V", digits)


# A share is a claim about builds: it must never round up to all of them, nor down to none.
@pytest.mark.parametrize(
    ("fraction", "text"),
    [
        (1.0, "100 %"),
        (0.9996, "over 99.9 %"),
        (0.995, "99.5 %"),
        (0.0004, "under 0.1 %"),
        (0.0, "0 %"),
        (0.925, "92.5 %"),
    ],
)
def test_shares_never_round_to_all_or_none(fraction: float, text: str) -> None:
    assert share(fraction) == text


def test_severities_sort_as_numbers() -> None:
    words = ["15 kV", "2 kV", "first contact", "0.5 kV"]
    assert sorted(words, key=natural) == ["0.5 kV", "2 kV", "15 kV", "first contact"]


@STEADY
@given(st.lists(st.text(max_size=6), max_size=6))
def test_slugs_differ_and_are_safe(names: list[str]) -> None:
    slugs = unique_slugs(names)
    assert len(set(slugs)) == len(names)
    assert all(slug.replace("-", "").isalnum() and slug.isascii() for slug in slugs)


def test_lines_stand_in_bench_order() -> None:
    lines = [None, "zulu", "sync", "blue", "red", "alpha", "green"]
    assert sorted(lines, key=line_rank) == ["red", "green", "blue", "sync", "alpha", "zulu", None]


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("fit it", "Fit it."),
        ("+12 V", "+12 V."),
        ("", ""),
        ("done.", "Done."),
        ("mV", "mV."),
        ("1.31 V lies above", "1.31 V lies above."),
    ],
)
def test_reasons_read_as_sentences(text: str, whole: str) -> None:
    assert sentence(text) == whole


def test_the_worst_needed_finding_speaks_for_a_row(make_finding: Callable[..., Finding]) -> None:
    def one(guarded: bool, outcome: str, needed: bool) -> Finding:
        return make_finding("LVL01", "level.white", "red", guarded, 0.7, outcome=outcome, needed=needed)

    bare, planned = one(False, DOES_NOT_CONFORM, False), one(True, CONFORMS, True)
    assert decisive([bare, planned]) is planned
    assert decisive([replace(bare, needed=True), planned]).guarded is False
    assert decisive([bare, replace(planned, needed=False)]).guarded is True
    assert decisive([bare]) is bare


def test_a_remedy_is_given_once_and_only_where_needed(result: Result) -> None:
    found = to_do(result)
    assert [item.outcome for item in found] == [DOES_NOT_CONFORM, NOT_PROVEN, NOT_PROVEN]
    assert len({item.text for item in found}) == len(found)
    twice = to_do(
        replace(
            result,
            findings=(
                *result.findings,
                replace(
                    result.findings[0],
                    line="zulu",
                    outcome=NOT_PROVEN,
                    needed=True,
                    remedy=" fit  parts of closer tolerance, or measure the level after soldering. ",
                ),
            ),
        )
    )
    both = next(item for item in twice if item.text.startswith("Fit parts"))
    assert both.subjects == ("red: guarded white level", "zulu: bare white level")


def test_every_open_finding_is_listed(result: Result) -> None:
    listed = sum(item.count for item in not_proven(result))
    assert listed == sum(finding.outcome == NOT_PROVEN for finding in result.findings)
    silent = replace(result.findings[0], outcome=NOT_PROVEN, why="")
    assert not_proven(replace(result, findings=(silent,)))[0].reason == "No reason was given."


def test_an_interval_that_repeats_the_value_is_left_out(make_finding: Callable[..., Finding], result: Result) -> None:
    flat = make_finding("LVL01", "level.white", "red", True, 0.7, spread=(0.7, 0.7), interval=(0.69, 0.71))
    (section,) = sections(replace(result, findings=(flat,), curves=()))
    cell = section.tables[0].groups[0].rows[0].cells[True]
    assert (cell.spread, cell.interval) == (None, "690 to 710 mV")


def test_counts_are_of_needed_findings_only(result: Result) -> None:
    shown = replace(result, findings=tuple(replace(one, needed=False) for one in result.findings))
    assert sum(counts(shown).values()) == 0
    assert sum(counts(result).values()) == sum(finding.needed for finding in result.findings)


def test_lines_of_one_circuit_count_once(result: Result) -> None:
    """Five colour rows of red, green and blue: as three circuits 15 claims, as one 5."""
    colours = ("red", "green", "blue")
    mine = replace(result, findings=tuple(one for one in result.findings if one.line in colours and not one.event))
    apart = counts(mine)
    one = Schematic(("red", "green", "blue"), True, (), (), ())
    together = counts(replace(mine, schematics=(one,)))
    assert (sum(apart.values()), sum(together.values())) == (15, 5)
    assert (apart[NOT_PROVEN], together[NOT_PROVEN]) == (1, 1)


def test_every_limit_has_a_source_row(result: Result) -> None:
    rows = sources(result)
    for finding in result.findings:
        if finding.limit is not None:
            assert any(row.reference.startswith(finding.limit.reference) for row in rows)
