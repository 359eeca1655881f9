"""Every member of the library on its bench: what its `[[check]]` rows say must be what ngspice finds.

A part or model added to circuits/ is tested here without a line of code. Sources stand in the rows themselves.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.library import Device, Library
from guardcheck.model import KINDS, KNOWN_BY, PORTS, UNKNOWN, Model, Part
from guardcheck.simulate.proving import Bench, device_benches, part_benches, resting
from guardcheck.standards import load_standard, standard_names

AT_REST = tuple(kind for kind in KINDS if kind != "event")
"""Kinds that are held to be sound at rest; the check rows of events run as well, over their time."""
CIRCUITS = Path(__file__).parents[2] / "circuits"


@cache
def library() -> Library:
    return Library.load()


def parts() -> list[Part]:
    return [library().get(kind, name) for kind in AT_REST for name in library().names(kind)]


def devices() -> list[Device]:
    return [library().model(name) for name in library().names("model")]


def events() -> list[Part]:
    return [library().get("event", name) for name in library().names("event")]


def benches() -> list[Bench]:
    ours = [bench for part in (*parts(), *events()) for bench in part_benches(part)]
    return ours + [bench for device in devices() for bench in device_benches(device)]


@pytest.fixture(scope="module")
def readings(engine: Engine) -> dict[str, float | str]:
    """Every bench run in one go: what it reads by deck name, or why it could not be read."""
    found: dict[str, float | str] = {}
    for bench, trace in zip(benches(), engine.run([bench.deck for bench in benches()]), strict=True):
        found[bench.deck.name] = trace.failure or bench.read(trace)
    return found


@pytest.mark.parametrize("bench", benches(), ids=lambda bench: bench.deck.name)
def test_check_row_holds_in_ngspice(bench: Bench, readings: dict[str, float | str]) -> None:
    assert readings[bench.deck.name] == pytest.approx(bench.check.value, abs=bench.check.tolerance, rel=0)


def test_every_event_has_a_row_that_runs() -> None:
    assert {part.name for part in events()} == {
        bench.member.removeprefix("event ") for bench in benches() if bench.member.startswith("event ")
    }


def test_no_two_checks_share_a_name() -> None:
    names = Counter(bench.deck.name for bench in benches())
    assert [name for name, count in names.items() if count > 1] == []


@pytest.mark.parametrize("part", parts(), ids=lambda part: f"{part.kind} {part.name}")
class TestEveryPart:
    def test_has_the_ports_of_its_kind_and_a_reference(self, part: Part) -> None:
        assert part.circuit.ports == PORTS[part.kind]
        assert part.reference
        assert part.extra["known_by"] in KNOWN_BY
        assert len(part.sha256) == 64

    def test_says_where_to_find_every_value_and_what_is_usual(self, part: Part) -> None:
        for parameter in part.parameters.values():
            what, _, where = parameter.meaning.partition(":")
            assert what, parameter.name
            assert where, f"{parameter.name}: the meaning says what it is, a colon, and where a technician finds it"
            if not parameter.choices:
                assert parameter.usual is not None, parameter.name
                assert parameter.possible is not None, parameter.name

    def test_says_how_far_its_models_reach(self, part: Part) -> None:
        assert set(part.extra["models"]) == {model.name for model in part.models} == set(part.circuit.model_names)
        assert all(facts["valid"] for facts in part.extra["models"].values())

    def test_no_node_floats_when_every_port_is_held(self, part: Part, engine: Engine) -> None:
        """A circuit that needs convergence help at rest has a node that hangs in the air."""
        (trace,) = engine.run([resting(part)])
        assert trace.failure is None
        assert trace.help_used == ()


def test_guards_name_their_place_and_their_parts() -> None:
    for name in library().names("guard"):
        guard = library().get("guard", name)
        assert guard.parameters["place"].choices == ("chip", "connector"), name
        if guard.models:
            assert {row["model"] for row in guard.extra["parts"] if "model" in row} == {m.name for m in guard.models}
            on_the_line = {one.name for one in guard.circuit.elements if {"chip", "line"} & set(one.nodes)}
            loads = [row for row in guard.extra["parts"] if "model" in row and row["element"] in on_the_line]
            assert all("capacitance" in row for row in loads), name


def test_published_rows_outweigh_regression_rows() -> None:
    bases = Counter(bench.check.basis for bench in benches())
    assert bases["published"] >= 50
    assert bases["regression"] == 0


PUBLIC_BAT54 = {
    "200 uA set": Model("tried", "d", {"is": 200e-6, "n": 1.0, "rs": 1.0, "cjo": 12e-12, "bv": 30.0, "ibv": 1e-4}),
    "2.2 uA set": Model("tried", "d", {"is": 2.2e-6, "n": 1.0, "rs": 2.2, "cjo": 12e-12, "bv": 30.0, "ibv": 1e-4}),
}


@pytest.mark.parametrize("model", PUBLIC_BAT54.values(), ids=PUBLIC_BAT54)
def test_public_parameter_sets_that_miss_the_data_sheet_are_rejected(model: Model, engine: Engine) -> None:
    """Public BAT54 sets: 0.13 V and 0.24 V at 10 mA where the data sheet has 0.35 V typical."""
    tried = device_benches(library().model("bat54s"), model)
    missed = [
        bench.check.what
        for bench, trace in zip(tried, engine.run([bench.deck for bench in tried]), strict=True)
        if abs(bench.read(trace) - bench.check.value) > bench.check.tolerance
    ]
    assert "forward voltage at 10 mA" in missed


def test_a_wrong_netlist_fails_its_own_check(engine: Engine) -> None:
    """The battery has teeth: a pad with its resistors swapped misses its level."""
    pad = library().get("stage", "two-resistor-pad")
    bench = next(bench for bench in part_benches(pad) if "E24" in bench.check.what)
    swapped = replace(
        bench.check, values={"series": bench.check.values["shunt"], "shunt": bench.check.values["series"]}
    )
    (wrong,) = part_benches(replace(pad, checks=(swapped,)))
    (trace,) = engine.run([wrong.deck])
    assert abs(wrong.read(trace) - swapped.value) > 10 * swapped.tolerance


def test_numbers_in_netlists_are_plain_exponents() -> None:
    """A simulator reads 1M as a thousandth; no suffix stands in any netlist, so none can be misread."""
    for path in CIRCUITS.rglob("*.cir"):
        for line in path.read_text(encoding="utf-8").splitlines():
            if not line.startswith("*"):
                assert not re.search(r"(?<![a-z_0-9.])[0-9.]+(meg|[tgkmunpf])\b", line.lower()), f"{path.name}: {line}"


def test_every_standard_finds_its_display_and_a_source() -> None:
    signals = {signal for name in library().names("source") for signal in library().get("source", name).states}
    for name in standard_names():
        standard = load_standard(name)
        assert standard.display in library().names("display"), name
        assert standard.signal in signals, name


def test_unknown_defaults_cover_their_usual_range() -> None:
    found = 0
    for part in parts():
        for parameter in part.parameters.values():
            if parameter.nominal is not None and parameter.nominal.known == UNKNOWN:
                found += 1
                assert parameter.usual is not None
                assert (parameter.nominal.low, parameter.nominal.high) == (parameter.usual.low, parameter.usual.high)
    assert found >= 5
