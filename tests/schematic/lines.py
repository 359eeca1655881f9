"""A line drawn by hand: a pad of 100 and 240 ohm with a diode pair behind a video pin, into 75 ohm."""

from __future__ import annotations

from dataclasses import replace

from guardcheck.model import Schematic, SchematicNode, SchematicPart

SOURCE = SchematicPart("source", "source", "chip", ("pin", "0", "vdd"), "Video output pin of a chip", cards=("rout",))
UPPER = SchematicPart("guard", "dup", "diode", ("pin", "vdd"), "1N4148", "guard upper diode", cards=("dup",))
LOWER = SchematicPart("guard", "ddn", "diode", ("0", "pin"), "1N4148", "guard lower diode", cards=("ddn",))
SERIES = SchematicPart(
    "stage", "rs", "resistor", ("pin", "near"), "", "stage series", 100.0, "ohm", ("rs",), (0.012, 0.0)
)
SHUNT = SchematicPart(
    "stage", "rp", "resistor", ("near", "0"), "", "stage shunt", 240.0, "ohm", ("rp",), (0.00285, 0.0)
)
CABLE = SchematicPart("cable", "cable", "cable", ("near", "far"), "75-ohm coaxial lead", cards=("t1", "rcore"))
LOAD = SchematicPart(
    "display",
    "rterm",
    "resistor",
    ("far", "far_gnd"),
    "",
    "display termination",
    75.0,
    "ohm",
    ("rterm",),
    (0.0091, 0.0),
)
PAD = Schematic(
    lines=("red", "green", "blue"),
    guarded=True,
    states=("white", "black"),
    path=(
        SchematicNode("pin", "M1", (1.88, 0.0)),
        SchematicNode("near", "M2", (0.685, 0.0)),
        SchematicNode("far", "M3", (0.683, 0.0)),
    ),
    parts=(SOURCE, UPPER, LOWER, SERIES, SHUNT, CABLE, LOAD),
    titles=(("source", "Video output pin of a chip"), ("display", "Terminated input")),
    rail=5.0,
)


def with_stage(*parts: SchematicPart, path: tuple[str, ...]) -> Schematic:
    """Return the same line with another stage and the nodes its signal passes."""
    kept = [part for part in PAD.parts if part.role not in ("stage", "guard")]
    nodes = tuple(SchematicNode(name, f"M{n}", (1.0, 0.0)) for n, name in enumerate(path, 1))
    return replace(PAD, parts=(*kept[:1], *parts, *kept[1:]), path=nodes)


def part(name: str, symbol: str, *nodes: str, value: float | None = 47.0) -> SchematicPart:
    """Return a part of the stage with a value of its own."""
    unit = {"capacitor": "F", "inductor": "H"}.get(symbol, "ohm")
    return SchematicPart("stage", name, symbol, nodes, "", "", value, unit, (name,))
