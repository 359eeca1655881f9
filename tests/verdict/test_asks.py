"""Questions still owed: each fact once, that which decides most first."""

from __future__ import annotations

from guardcheck.model import ASKS, CONFORMS, NOT_PROVEN, RATING_NOT_STATED, UNKNOWN_OF, Finding
from guardcheck.verdict.asks import asks_of


def row(line: str, *codes: str, outcome: str = NOT_PROVEN, needed: bool = True) -> Finding:
    return Finding("EVT01", "event.margin", line, True, -3.0, "dB", outcome, "", needed=needed, codes=codes)


def test_the_fact_that_decides_most_comes_first() -> None:
    coupling = f"{ASKS}supply.y_coupling"
    rows = [row("red", coupling, RATING_NOT_STATED), row("green", coupling), row("blue", f"{UNKNOWN_OF}source")]
    found = asks_of(rows)
    assert [one.key for one in found] == ["supply.y_coupling", "blue.source", "red.pin"]
    assert (found[0].decides, found[0].safe) == (2, False)
    assert "person trained for it" in found[0].where
    assert found[0].findings == tuple(sorted(one.id for one in rows[:2]))
    assert found[2].question == "What may the chip's pin take on red?"


def test_what_is_decided_or_decides_nothing_asks_nothing() -> None:
    code = f"{ASKS}supply.mains"
    assert asks_of([row("red", code, outcome=CONFORMS), row("red", code, needed=False)]) == ()
