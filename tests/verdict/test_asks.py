"""Questions still owed: each fact once, that which decides most first."""

from __future__ import annotations

from guardcheck.model import ASKS, CONFORMS, NOT_PROVEN, PART_NOT_RATED, RATING_NOT_STATED, UNKNOWN_OF, Finding
from guardcheck.verdict.asks import asks_of, to_find_out


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


def test_only_what_lies_inside_a_supply_or_a_display_is_not_safe_to_look_for() -> None:
    facts = ("mains", "phases", "protection_class", "y_capacitance", "y_coupling")
    keys = [f"supply.{one}" for one in facts]
    keys += [f"display.{one}" for one in ("earthed", "other_leads", "y_capacitance", "y_coupling")]
    found = {one.key: one.safe for one in asks_of([row("red", *(f"{ASKS}{key}" for key in keys))])}
    assert found == {key: not key.endswith(("y_capacitance", "y_coupling")) for key in keys}
    assert asks_of([row("red", RATING_NOT_STATED, f"{UNKNOWN_OF}source")])[1].safe


def test_what_a_rail_and_the_parts_of_an_own_netlist_leave_open_is_asked_for() -> None:
    codes = [f"{ASKS}supply.{name}" for name in ("rail_capacitance", "rail_load", "rail_esr", "mains_frequency")]
    found = {one.key: one for one in asks_of([row("red", PART_NOT_RATED, *codes)])}
    assert set(found) == {"red.parts", *(code.removeprefix(ASKS) for code in codes)}
    assert "on red?" in found["red.parts"].question
    assert "* rating NAME" in found["red.parts"].where
    assert "proven discharged" in found["supply.rail_esr"].where
    assert all("unknown values" not in one.question for one in found.values())


def test_what_nobody_knows_is_said_with_where_to_find_it() -> None:
    told = to_find_out(row("red", f"{ASKS}pin.short_circuit"))
    assert told is not None
    assert "At which current does the chip's driver give way on red? (its data sheet: short-circuit" in told
    three = to_find_out(row("red", *(f"{ASKS}display.{name}" for name in ("earthed", "other_leads", "y_capacitance"))))
    assert three is not None
    assert three.endswith("; 1 more is asked")
    assert to_find_out(row("red")) is None
    assert to_find_out(row("red", f"{ASKS}pin.short_circuit", outcome=CONFORMS)) is None


def test_a_code_that_asks_nothing_and_a_finding_without_a_line_owe_no_question() -> None:
    unit = Finding("EVT01", "event.margin", None, True, -3.0, "dB", NOT_PROVEN, "", codes=(RATING_NOT_STATED,))
    assert asks_of([unit, row("red", "something_else")]) == ()
    blank = Finding("EVT01", "event.margin", None, True, -3.0, "dB", NOT_PROVEN, "", codes=(f"{UNKNOWN_OF}source",))
    assert asks_of([blank]) == ()
