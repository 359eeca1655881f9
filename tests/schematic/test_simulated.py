"""The levels in a line's picture against dividers worked by hand, and every shelf part drawn without a card lost."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from guardcheck.compose import drawn
from guardcheck.compose.chain import chain_cards
from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.job import read_job
from guardcheck.library import Library
from guardcheck.model import KINDS, Finding, Result, Schematic
from guardcheck.pipeline.options import Options, plan_of
from guardcheck.report import from_json, to_json
from guardcheck.simulate.schematic import schematics
from guardcheck.simulate.signal import solve_signals
from tests.schematic.lines import PAD

JOB = """
format = 1
[unit]
label = "DRAWN-1"
[supply]
rail = "5 V"
[display]
input = "terminated"
[cable]
kind = "none"
[[line]]
names = ["red", "green"]
standard = "scart-rgb"
source = "video-pin"
source_values = { white = "2 V", black = "1 V", impedance = "75 ohm" }
stage = "two-resistor-pad"
stage_values = { series = "100 ohm", shunt = "240 ohm" }
guard = "silicon-pair"
[[line]]
names = ["sync"]
standard = "scart-sync"
source = "logic-pin"
source_values = { high = "5 V", low = "0 V", impedance = "30 ohm" }
stage = "npn-sync-amplifier"
"""


@pytest.fixture(scope="module")
def pictures(engine: Engine, tmp_path_factory: pytest.TempPathFactory) -> tuple[Schematic, ...]:
    path = tmp_path_factory.mktemp("drawn") / "job.toml"
    path.write_text(JOB, encoding="utf-8")
    plan = plan_of(read_job(path), Options(samples=0))
    solved = solve_signals(engine, [one.experiment(chain) for one in plan.lines for chain in one.chains], drawn=False)
    return schematics(engine, solved)


def test_lines_that_are_alike_are_one_picture(pictures: tuple[Schematic, ...]) -> None:
    assert [one.lines for one in pictures] == [("red", "green"), ("sync",)]
    assert [one.guarded for one in pictures] == [True, False]


def test_levels_and_currents_are_those_of_the_divider(pictures: tuple[Schematic, ...]) -> None:
    """2 V behind 75 ohm into 100 ohm, then 240 ohm beside 75 ohm: 57.143 ohm; i = 2 / 232.143 = 8.615 mA."""
    red = pictures[0]
    current = 2.0 / (75.0 + 100.0 + 240.0 * 75.0 / 315.0)
    volts = {node.point: node.volts for node in red.path}
    assert red.states == ("white", "black")
    assert volts["M1"][0] == pytest.approx(2.0 - 75.0 * current, rel=1e-4)
    assert volts["M2"][0] == pytest.approx(57.1429 * current, rel=1e-4)
    assert volts["M2"][1] == pytest.approx(volts["M2"][0] / 2.0, rel=1e-4), "black is half of white here"
    currents = {part.name: part.currents[0] for part in red.parts if part.currents}
    assert currents["rs"] == pytest.approx(current, rel=1e-4)
    assert currents["rp"] == pytest.approx(current * 75.0 / 315.0, rel=1e-4)
    assert currents["rterm"] == pytest.approx(current * 240.0 / 315.0, rel=1e-4)


def test_a_wire_joins_its_nodes_and_a_transistors_breakdown_belongs_to_it(pictures: tuple[Schematic, ...]) -> None:
    assert [node.name for node in pictures[0].path] == ["pin", "near"], "without a lead the socket is the display input"
    sync = {part.name: part for part in pictures[1].parts}
    assert sync["qa"].symbol == "npn"
    assert {"qa", "dbe"} <= set(sync["qa"].cards)
    assert sync["rc"].nodes[0] == "vdd"
    assert all(value is None or value >= 0.0 for value in sync["rc"].currents), "counted from the rail"


def test_a_saved_picture_comes_back_whole(pictures: tuple[Schematic, ...]) -> None:
    row = Finding("LVL01", "level.white", "red", True, None, "V", "not_proven", "no value")
    result = Result("check", "u", "", "not_proven", 1, 0, None, (row,), (), schematics=(*pictures, PAD))
    again = from_json(to_json(result))
    assert from_json(to_json(again)).schematics == again.schematics
    assert again.schematics[-1] == PAD, "numbers of few digits come back as they were"
    assert [one.parts[0] for one in again.schematics] == [one.parts[0] for one in result.schematics]


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ('"symbol": "resistor"', '"symbol": "resister"', "did you mean .resistor"),
        ('"volts": [1.88, 0.0]', '"volts": [1.88]', "one for each signal state"),
        ('"lines": ["red", "green", "blue"]', '"lines": "red"', "a list"),
    ],
)
def test_a_saved_picture_that_was_altered_is_refused_in_one_sentence(old: str, new: str, told: str) -> None:
    row = Finding("LVL01", "level.white", "red", True, None, "V", "not_proven", "no value")
    text = to_json(Result("check", "u", "", "not_proven", 1, 0, None, (row,), (), schematics=(PAD,)))
    assert old in text
    with pytest.raises(InputError, match=told):
        from_json(text.replace(old, new, 1))


AT_REST = ("source", "stage", "guard", "cable", "display")


@pytest.mark.parametrize(
    ("kind", "name"),
    [(kind, name) for kind in KINDS if kind in AT_REST for name in Library.load().names(kind)],
)
def test_every_shelf_part_says_which_cards_are_parts_and_loses_none(kind: str, name: str, tmp_path: Path) -> None:
    library = Library.load()
    part = library.get(kind, name)
    assert part.real is not None, f"{part.file}: write real = [...]: the elements a technician can point at"
    if kind != "stage":
        return
    text = JOB.replace('stage = "npn-sync-amplifier"', f'stage = "{name}"')
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    line = plan_of(read_job(path), Options(samples=0)).lines[-1]
    picture = drawn(line.bare, line.builds)
    shown = {card for one in picture.parts if one.role == "stage" for card in one.cards}
    cards, _ = chain_cards(line.bare, line.builds.nominal(), 1, roles=("stage",))
    names = {one.name.removesuffix("_stage"): one.value for one in cards if one.name != "vrail"}
    wires = {
        name
        for name, value in names.items()
        if name[0] in "rv" and value is not None and float(np.ravel(value)[0]) < 2e-3
    }
    assert set(names) - wires <= shown
    assert picture.path[0] == "pin"
    assert picture.path[-1] == picture.joined.get("far", "far")
