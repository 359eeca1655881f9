"""A result is the same on every machine: what the last bits of a double do, no reader and no hash may see.

Two processors round a sum of doubles differently in the last place (IEEE 754 leaves the order of a sum and fused
multiply-add to the compiler), so every number of a result is moved as far as such differences reach, and further.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import pypdf
import pytest

from guardcheck.model import QUANTITIES, Curve, Limit, Result
from guardcheck.report import from_json, to_html, to_json, to_terminal
from guardcheck.report.handover import result_hash, to_checklist_html, to_checklist_pdf
from guardcheck.units import format_si, settled, steady
from guardcheck.verdict.outcome import inside, judge_margin
from tests.checklist.conftest import BLANK, WHITE, planned, result, row

Nudge = Callable[[float], float]
NUDGES: dict[str, Nudge] = {
    "up": lambda x: math.nextafter(x, math.inf),
    "down": lambda x: math.nextafter(x, -math.inf),
    "more": lambda x: x * (1.0 + 1e-12),
    "less": lambda x: x * (1.0 - 1e-12),
}
# Halves between two digits at three and at six digits, and what solvers leave in the place of nothing.
EDGES = (0.3125, 0.70250, 0.0015625, 1.953125, 0.6875, 0.70312550, 12.125, 1e-16, 3.08e-28, 0.0, -1e-14)


def nudged(value: Any, by: Nudge) -> Any:
    """Return a value with every float in it moved; curves stay, they are drawn and not read."""
    if isinstance(value, float):
        return by(value)
    if isinstance(value, Curve):
        return value
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: nudged(getattr(value, f.name), by) for f in fields(value) if f.init})
    if isinstance(value, tuple):
        return tuple(nudged(one, by) for one in value)
    if isinstance(value, dict):
        return {key: nudged(one, by) for key, one in value.items()}
    return value


@pytest.fixture
def edgy() -> Result:
    """Make a unit whose every number lies on an edge between two digits, or is next to nothing."""
    aside = {"outcome": "not_applicable", "needed": False}
    rows = [row("level.white", f"line {n}", True, value, limit=WHITE, spread=(value, value), uncertainty=abs(value),
                planned=value, **aside) for n, value in enumerate(EDGES)]  # fmt: skip
    rows += [row("level.blank", f"line {n}", True, value, limit=BLANK, **aside) for n, value in enumerate(EDGES)]
    rows += [row("guard.level_error", f"line {n}", True, value, **aside) for n, value in enumerate(EDGES)]
    return result((*planned(), *rows), extra={"budgets": {"a": [{"standard": 1.953125}]}})


@pytest.mark.parametrize("by", NUDGES.values(), ids=NUDGES)
def test_last_bits_change_nothing_a_reader_sees(edgy: Result, by: Nudge) -> None:
    moved = nudged(edgy, by)
    assert moved != edgy
    assert result_hash(moved) == result_hash(edgy)
    assert to_json(moved) == to_json(edgy)
    assert to_terminal(moved) == to_terminal(edgy)
    assert to_html(moved) == to_html(edgy)
    assert to_checklist_html(moved) == to_checklist_html(edgy)


@pytest.mark.parametrize("by", [NUDGES["up"], NUDGES["less"]], ids=["up", "less"])
def test_last_bits_change_no_word_of_the_pdf(edgy: Result, by: Nudge) -> None:
    def text(one: Result) -> list[str]:
        return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(to_checklist_pdf(one))).pages]

    assert text(nudged(edgy, by)) == text(edgy)


def test_what_was_saved_reads_the_same_as_what_was_computed(edgy: Result) -> None:
    again = from_json(to_json(edgy))
    assert to_json(again) == to_json(edgy)
    assert to_checklist_html(again) == to_checklist_html(edgy)


def test_the_hash_sees_what_a_reader_sees(edgy: Result) -> None:
    """Every change of a word, an outcome or a sixth digit is another content; the machine is none."""
    one = edgy.findings[0]

    def with_(**changes: Any) -> str:
        return result_hash(replace(edgy, findings=(replace(one, **changes), *edgy.findings[1:])))

    seen = {with_(), with_(value=0.700001), with_(why="other"), with_(needed=True), with_(outcome="not_proven")}
    seen |= {result_hash(replace(edgy, **{name: "other"})) for name in ("unit", "job_sha256", "guardcheck")}
    assert len(seen) == 8
    there = replace(edgy, engine=replace(edgy.engine, version="45"), curves=())  # type: ignore[type-var]
    assert result_hash(there) == result_hash(edgy)


@pytest.mark.parametrize(
    ("value", "unit", "kept"),
    [
        (0.1 + 0.2, "V", 0.3),
        (1.953125, "V", 1.95312),  # a half goes to the even digit, whichever way its last bit points
        (1.9531250000004, "V", 1.95312),
        (123456.7, "ohm", 123457.0),
        (4.9e-8, "V", 0.0),
        (5.1e-13, "A", 1e-12),
        (4.4e-13, "A", 0.0),
        (2.2e-15, "C", 2e-15),
        (-1e-18, "1", 0.0),
        (math.inf, "V", math.inf),
    ],
)
def test_settled_numbers(value: float, unit: str, kept: float) -> None:
    assert settled(value, unit) == kept
    assert math.copysign(1.0, settled(value, unit)) == 1.0
    assert settled(settled(value, unit), unit) == settled(value, unit)


@pytest.mark.parametrize("by", NUDGES.values(), ids=NUDGES)
def test_a_last_bit_decides_nothing(by: Nudge) -> None:
    limit = Limit("level.mismatch", 0.1, 0.5, None, "an invented limit", "read")
    assert inside(by(0.5), limit)
    assert inside(by(0.1), limit)
    assert not inside(0.500001, limit)
    assert not inside(0.099999, limit)
    assert judge_margin(by(1.5)) == "conforms"
    assert judge_margin(by(-1.5)) == "does_not_conform"
    assert judge_margin(1.49999) == "not_proven"
    assert format_si(by(0.3125), "V") == "312 mV"
    assert steady(by(0.3125), 3) == 0.312


def test_every_unit_of_the_table_has_something_that_is_nothing() -> None:
    for kind in QUANTITIES.values():
        assert settled(1e-16, kind.unit) == 0.0
        assert settled(1.25, kind.unit) == 1.25
    assert np.isnan(settled(math.nan))
