"""Probe netlists in ngspice: each `[[check]]` row, and what happens when a probe cannot be answered."""

from __future__ import annotations

from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import CircuitError, InputError
from guardcheck.library import Library
from guardcheck.model import KNOWN_BY, Ask, Facts
from guardcheck.netlist import defaults, read_file
from guardcheck.rules import all_rules, asks_of
from guardcheck.simulate.probes import answer, probes_used
from guardcheck.toml_tables import Table, read_table

FOLDER = Path(__file__).parents[2] / "circuits" / "probes"
NAMES = sorted(path.name for path in FOLDER.iterdir())


def table(name: str) -> Table:
    return read_table(FOLDER / name / f"{name}.toml", error=InputError)[0]


def units(name: str) -> dict[str, str]:
    rows = table(name).table("parameters")
    return {key: rows.table(key).text("unit") for key in rows}


ROWS = [(name, row) for name in NAMES for row in table(name).tables("check")]


@pytest.mark.parametrize(("name", "row"), ROWS, ids=[f"{name} {row.text('what')}" for name, row in ROWS])
def test_check_row_holds(name: str, row: Table, engine: Engine) -> None:
    unit = {"v": "V", "i": "A"}[row.text("read")[0]]
    given = row.table("values")
    values = {key: given.real(key, units(name)[key]) for key in given}
    frequency = row.real("frequency", "Hz") if "frequency" in row else None
    (found,) = answer(engine, Library.load(), [Ask("row", name, values, row.text("read"), frequency)]).values()
    assert found is not None
    span = row.span("between", unit)
    if span is not None:
        assert found in span
    else:
        assert found == pytest.approx(row.real("value", unit), abs=row.real("tolerance", unit), rel=0)


@pytest.mark.parametrize("name", NAMES)
def test_metadata_and_netlist_agree(name: str) -> None:
    top, circuit = table(name), read_file(FOLDER / name / f"{name}.cir")
    assert circuit.name == name.replace("-", "_")
    assert tuple(top.table("ports")) == circuit.ports
    assert "gnd" in circuit.ports
    assert set(units(name)) == set(circuit.parameters)
    assert top.text("known_by") in KNOWN_BY
    for key, value in defaults(circuit).items():
        row = top.table("parameters").table(key)
        assert row.text("meaning")
        assert row.real("nominal", row.text("unit")) == pytest.approx(value)
        assert value in (row.span("possible", row.text("unit")) or ())
    assert top.tables("check")


def test_every_ask_of_every_case_names_a_probe_and_its_parameters() -> None:
    asked = [ask for one in all_rules() for case in one.cases for ask in asks_of(case.facts)]
    assert {ask.probe for ask in asked} == set(NAMES)
    for ask in asked:
        assert set(ask.values) <= set(units(ask.probe))


def test_impossible_values_and_failed_runs_answer_none(engine: Engine) -> None:
    asks = [
        Ask("endless", "barrier-leak", {"leak": float("inf")}, "i(vworking)"),
        Ask("nothing", "touch-current", {"y_live": 0.0}, "v(weighted)", 50.0),
        Ask("no such parameter", "barrier-leak", {"resistance": 1.0}, "i(vworking)"),
        Ask("no such port", "barrier-leak", {}, "v(elsewhere)"),
        Ask("good", "barrier-leak", {}, "v(node)"),
    ]
    found = answer(engine, Library.load(), asks)
    assert [key for key, value in found.items() if value is not None] == ["good"]


def test_a_probe_that_is_not_there_is_our_mistake(engine: Engine) -> None:
    with pytest.raises(CircuitError, match="there is no probe 'nosuch'"):
        answer(engine, Library.load(), [Ask("a", "nosuch", {}, "v(x)")])


def test_nothing_asked_nothing_run(engine: Engine) -> None:
    assert answer(engine, Library.load(), asks_of(Facts())) == {}


def test_used_probes_are_named_with_their_hash() -> None:
    asks = [Ask("a", "touch-current", {}, "v(weighted)", 50.0), Ask("b", "touch-current", {}, "v(chassis)", 50.0)]
    (used,) = probes_used(Library.load(), asks)
    assert (used.name, used.kind, used.file) == (
        "touch-current",
        "probe",
        "circuits/probes/touch-current/touch-current.cir",
    )
    assert len(used.sha256) == 64
