"""The picture of a line: everything stands in it, it fits screen, paper and telephone, and it says what it shows."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from guardcheck.model import Schematic, SchematicPart
from guardcheck.report.arrange.line import FAILS, OPEN, RULED, Trouble, description, part_rows
from guardcheck.report.pictures.line.layout import SMALL, UNIT, lay_out, together
from guardcheck.report.pictures.line.structure import structure
from guardcheck.report.pictures.line.svg import NARROW, PAPER, WIDE, line_svg
from tests.schematic.lines import PAD, part, with_stage

SVG = "{http://www.w3.org/2000/svg}"
MARKS = (
    Trouble("chip", FAILS, "chip: lead plugged in live: 976 mA, allowed 20 mA: 49 x too much"),
    Trouble("stage series", OPEN, "100 ohm: 207 mW, allowed 250 mW (not proven)"),
)


def texts(svg: str) -> list[str]:
    return ["".join(one.itertext()) for one in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def drawn(line: Schematic, widest: float = WIDE) -> list[str]:
    return texts(line_svg(line, (), "words", widest=widest))


def test_every_part_stands_with_its_value_and_current() -> None:
    found = drawn(PAD)
    for text in ("chip", "100 Ω", "240 Ω", "75 Ω", "75-ohm coaxial lead", "socket", "5 V", "display: Terminated input"):
        assert text in found
    assert found.count("1N4148") == 2
    assert {"12 / 0 mA", "2.85 / 0 mA", "9.1 / 0 mA"} <= set(found)


def test_every_node_has_its_mark_and_its_levels() -> None:
    found = drawn(PAD)
    assert [text for text in found if re.fullmatch(r"M\d", text)] == ["M1", "M2", "M3"]
    assert {"1.88 / 0 V", "685 / 0 mV", "683 / 0 mV"} <= set(found)


def test_levels_share_one_unit() -> None:
    assert together((1.88043, 2.4e-8), "V") == "1.88 / 0 V"
    assert together((0.30170, -0.180847), "V") == "302 / -181 mV"
    assert together((None, 0.5), "V") == "? / 500 mV"
    assert together((0.0, 0.0), "V") == "0 / 0 V"
    assert together((7.55e-5, 1.65e-5), "A") == "75.5 / 16.5 µA"


def test_trouble_has_a_shape_a_number_and_words_not_colour_alone() -> None:
    svg = line_svg(PAD, MARKS, "words")
    found = texts(svg)
    assert found.count("x1") == 2, "once at the part, once in the list under the picture"
    assert found.count("?2") == 2
    assert any("49 x too much" in text for text in found)
    dashed = re.findall(r"stroke-dasharray:[^-;][^;]*", line_svg(PAD, MARKS[1:], "words"))
    assert len(dashed) > len(re.findall(r"stroke-dasharray:[^-;][^;]*", line_svg(PAD, (), "words")))


def test_a_mistake_that_a_rule_keeps_away_is_not_red() -> None:
    """Red is for what nobody keeps away; a rule of use has a mark of its own."""
    svg = line_svg(PAD, (Trouble("chip", RULED, "chip: wrong plug, 12 V: 160 mA, allowed 20 mA"),), "words")
    assert texts(svg).count("r1") == 2
    assert "#8c1919" not in svg
    assert "#8c1919" in line_svg(PAD, (MARKS[0],), "words")
    assert "Kept away by a rule of use: Chip" in description(PAD, (Trouble("chip", RULED, "chip: wrong plug"),))


def test_a_box_without_a_title_is_called_by_its_role() -> None:
    guard = SchematicPart("guard", "guard", "chip", ("near", "0"), "", cards=("dline", "dgnd"))
    found = drawn(replace(PAD, parts=(*(one for one in PAD.parts if one.role != "guard"), guard)))
    assert "guard" in found


def test_same_line_same_bytes() -> None:
    assert line_svg(PAD, MARKS, "words") == line_svg(PAD, MARKS, "words")


@pytest.mark.parametrize("widest", [WIDE, PAPER, NARROW])
def test_no_row_is_wider_than_asked(widest: float) -> None:
    assert lay_out(PAD, MARKS, widest=widest).width <= widest


def test_it_folds_to_two_rows_on_paper_and_more_on_a_telephone() -> None:
    long = with_stage(
        *(part(f"r{n}", "resistor", "pin" if n == 0 else f"n{n}", "near" if n == 5 else f"n{n + 1}") for n in range(6)),
        path=("pin", "n1", "n2", "n3", "n4", "n5", "near", "far"),
    )
    assert lay_out(PAD, MARKS, widest=WIDE).rows == 1
    assert lay_out(long, MARKS, widest=PAPER).rows == 2
    assert lay_out(long, MARKS, widest=NARROW).rows > 2


def test_text_on_a4_is_never_smaller_than_eight_points() -> None:
    """A4 leaves 182 mm between margins of 14 mm: 516 points for the widest row and half a unit beside it."""
    layout = lay_out(PAD, MARKS, widest=PAPER)
    scale = min(1.0, 516.0 / ((PAPER + 0.7) * UNIT))
    smallest = min([SMALL - 1.0, *(stroke.size for stroke in layout.strokes if stroke.kind == "text")])
    assert smallest * scale >= 7.0
    assert SMALL * scale >= 8.0 - 1e-9 or SMALL * scale == pytest.approx(8.0, abs=0.01)


def test_a_name_from_outside_cannot_leave_its_place() -> None:
    evil = replace(PAD, lines=('<script>"&', "gre\u202een"), titles=(("source", "</svg><b>x"), ("display", "&amp;")))
    svg = line_svg(evil, (Trouble("chip", FAILS, "<img src=x>"),), "</desc><script>")
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    assert "<img" not in svg
    assert "\u202e" not in svg


def test_a_transistor_carries_the_signal_and_its_third_leg_goes_where_the_netlist_says() -> None:
    follower = with_stage(
        part("rb", "resistor", "pin", "b"),
        SchematicPart("stage", "qf", "npn", ("vdd", "b", "e"), "2N3904", cards=("qf",)),
        part("re", "resistor", "e", "0"),
        part("rs", "resistor", "e", "near"),
        path=("pin", "b", "e", "near", "far"),
    )
    _, _, stops = structure(follower)
    assert [stop.onward.name if stop.onward else None for stop in stops] == ["rb", "qf", "rs", "cable", None]
    assert [branch.rail for branch in stops[1].third] == ["vdd"]
    assert [branch.parts[0].name for branch in stops[2].branches] == ["re"]
    assert "2N3904" in drawn(follower)


def test_a_series_of_parts_to_0_v_is_drawn_as_one_branch() -> None:
    line = with_stage(
        part("rs", "resistor", "pin", "near"),
        part("cx", "capacitor", "near", "x", value=1e-9),
        part("rx", "resistor", "x", "0", value=330.0),
        path=("pin", "near", "far"),
    )
    _, _, stops = structure(line)
    assert [one.name for one in stops[1].branches[0].parts] == ["cx", "rx"]
    assert {"1 nF", "330 Ω"} <= set(drawn(line))


def test_what_fits_no_such_picture_becomes_a_box_and_no_card_is_lost() -> None:
    tangled = with_stage(
        part("r1", "resistor", "pin", "x"),
        part("r2", "resistor", "x", "near"),
        part("r3", "resistor", "x", "y"),
        part("c3", "capacitor", "y", "0", value=1e-9),
        part("c4", "capacitor", "y", "vdd", value=1e-9),
        path=("pin", "x", "near", "far"),
    )
    _, _, stops = structure(tangled)
    box = stops[0].onward
    assert box is not None
    assert box.symbol == "chip"
    assert box.cards == ("r1", "r2", "r3", "c3", "c4")
    assert "5 parts: see list" in drawn(tangled)
    listed = " ".join(row.what for row in part_rows(tangled))
    assert all(value in listed for value in ("47 ohm", "1 nF"))


def test_the_words_say_what_the_picture_shows() -> None:
    words = description(PAD, MARKS)
    for text in ("M1 (chip's pin): white 1.88 V, black 0 V", "M2 (socket)", "resistor 100 ohm between M1 and M2",
                 "resistor 240 ohm between M2 and 0 V", "Fails: Chip: lead plugged in live"):  # fmt: skip
        assert text in words
    assert "rcore" in words, "what only models a part is named with it"
