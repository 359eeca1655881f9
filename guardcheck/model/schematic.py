"""The picture of a line as data: real parts joined node to node, with the levels simulated at each node."""

from __future__ import annotations

from dataclasses import dataclass

RESISTOR, CAPACITOR, INDUCTOR, DIODE, ZENER = "resistor", "capacitor", "inductor", "diode", "zener"
NPN, PNP, CHIP, CABLE = "npn", "pnp", "chip", "cable"
SYMBOLS = (RESISTOR, CAPACITOR, INDUCTOR, DIODE, ZENER, NPN, PNP, CHIP, CABLE)
GROUND, SUPPLY, DISPLAY_GROUND = "0", "vdd", "far_gnd"
RAILS = (GROUND, SUPPLY, DISPLAY_GROUND)
"""Nodes that are drawn as a sign of their own wherever they occur, and never as a wire."""


@dataclass(frozen=True, slots=True)
class SchematicPart:
    """One thing a technician can point at.

    Parameters
    ----------
    role : ``source``, ``guard``, ``stage``, ``cable`` or ``display``
    name : its name in the netlist (``rs``), or the role for a chip
    symbol : one of `SYMBOLS`
    nodes : the nodes it joins; a diode's anode first, a transistor's collector, base, emitter
    title : what it is in words: ``1N4148``, ``Video output pin of a chip``; empty for a plain resistor
    key : what findings call it (``stage series``), empty if they do not name it
    value : its value [SI], None where it has none
    unit : unit of the value
    cards : the netlist's elements it stands for
    currents : current through it in each signal state, along the signal or towards 0 V [A]; None where not known

    """

    role: str
    name: str
    symbol: str
    nodes: tuple[str, ...]
    title: str = ""
    key: str = ""
    value: float | None = None
    unit: str = ""
    cards: tuple[str, ...] = ()
    currents: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class SchematicNode:
    """One node the signal passes, in signal order; `point` is its mark (``M1``), `volts` against the unit's 0 V."""

    name: str
    point: str
    volts: tuple[float | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Schematic:
    """Lines that are the same circuit, drawn once.

    `states` are the signal states shown, `path` the nodes the signal passes from the chip's pin to the display input.
    `titles` names what stands behind each role; `rail` is the supply [V].
    """

    lines: tuple[str, ...]
    guarded: bool
    states: tuple[str, ...]
    path: tuple[SchematicNode, ...]
    parts: tuple[SchematicPart, ...]
    titles: tuple[tuple[str, str], ...] = ()
    rail: float | None = None
