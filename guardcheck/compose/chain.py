"""One signal path as flat cards: source, guard, stage, cable, display, joined node to node."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

import numpy as np

from guardcheck.compose.changes import SHORT, Change, changed
from guardcheck.compose.variants import Builds, Key, plan_builds
from guardcheck.model import Card, Fitted, Model, Number, Value
from guardcheck.netlist import card, flatten, models_of

NEAR, FAR, FAR_GND, RAIL, EMF = "near", "far", "far_gnd", "vdd", "emf"
"""Node names every chain has: unit's connector, display input, display 0 V, supply rail, the source's EMF."""

SUPPLY: Key = ("supply", "rail")
RAIL_CARD = "vrail"
"""The card that feeds the rail."""


@dataclass(frozen=True)
class Chain:
    """The parts one line is made of, in the order the signal takes.

    `guard` is None for the bare chain. Its ``place`` word decides whether it sits at the chip or at the connector.
    `rail` is the supply voltage [V]. Node 0 is the unit's 0 V; the cable carries the display's 0 V node.
    `series` and `shunt` are resistors [ohm] tried between the unit and its connector when a remedy is sought. `changes`
    are made to the flat cards when the cause of a reading is sought. `probe` is an instrument: the node it is on, and
    its resistance to 0 V [ohm].
    """

    line: str
    guarded: bool
    source: Fitted
    stage: Fitted
    guard: Fitted | None
    cable: Fitted
    display: Fitted
    rail: Value
    series: float | None = None
    shunt: float | None = None
    changes: tuple[Change, ...] = ()
    probe: tuple[str, float] | None = None

    @property
    def parts(self) -> Mapping[str, Fitted]:
        """Parts by role."""
        fitted = {"source": self.source, "stage": self.stage, "cable": self.cable, "display": self.display}
        return fitted if self.guard is None else {**fitted, "guard": self.guard}

    @property
    def missing(self) -> tuple[str, ...]:
        """Declared unknowns nothing can be simulated without, as ``role parameter``."""
        return tuple(f"{role} {name}" for role, fitted in self.parts.items() for name in fitted.missing)

    @property
    def unknowns(self) -> tuple[str, ...]:
        """Declared unknowns that are judged over their usual range, as ``role parameter``."""
        values = {**self.values, SUPPLY: self.rail}
        return tuple(f"{role} {name}" for (role, name), value in sorted(values.items()) if value.known == "unknown")

    @property
    def values(self) -> Mapping[Key, Value]:
        """All values of all parts; a parameter that copies another one is left out."""
        return {
            (role, name): value
            for role, fitted in self.parts.items()
            for name, value in fitted.values.items()
            if name not in fitted.same and name not in fitted.follows
        }

    def builds(self, *, n_samples: int, seed: tuple[int, ...]) -> Builds:
        """Return the builds this chain's declared tolerances allow."""
        return plan_builds({**self.values, SUPPLY: self.rail}, n_samples=n_samples, seed=seed)

    def number(self, role: str, name: str, builds: Builds, repeat: int) -> Number:
        """Return one parameter over the builds, each repeated `repeat` times: an array, or a float if it is fixed."""
        fitted = self.parts[role]
        read = fitted.follows.get(name)
        if read is not None:
            unloaded, loaded, load = (
                self.number(role, one, builds, repeat) for one in (read.open, read.loaded, read.load)
            )
            return cast(Number, np.maximum(load * (unloaded / loaded - 1.0), SHORT))
        key = (role, fitted.same.get(name, name))
        if key in builds.keys:
            return np.repeat(builds.column(key), repeat)
        return fitted.values[name].nominal


def nodes_of(chain: Chain) -> Mapping[str, Mapping[str, str]]:
    """Return the node each port of each part is tied to."""
    pin = "pin"
    signal = pin
    exit_node = NEAR if chain.series is None else "unpadded"
    nodes: dict[str, dict[str, str]] = {"source": {"emf": EMF, "pin": pin, "vdd": RAIL, "gnd": "0"}}
    at_chip = chain.guard is not None and chain.guard.words.get("place", "chip") == "chip"
    if at_chip:
        signal = "guarded"
        nodes["guard"] = {"chip": pin, "line": signal, "vdd": RAIL, "gnd": "0"}
    if chain.guard is not None and not at_chip:
        nodes["stage"] = {"in": signal, "out": "driven", "vdd": RAIL, "gnd": "0"}
        nodes["guard"] = {"chip": "driven", "line": exit_node, "vdd": RAIL, "gnd": "0"}
    else:
        nodes["stage"] = {"in": signal, "out": exit_node, "vdd": RAIL, "gnd": "0"}
    nodes["cable"] = {"near": NEAR, "far": FAR, "near_gnd": "0", "far_gnd": FAR_GND}
    nodes["display"] = {"in": FAR, "gnd": FAR_GND}
    return nodes


def chain_cards(
    chain: Chain, builds: Builds, repeat: int, *, roles: tuple[str, ...] | None = None
) -> tuple[tuple[Card, ...], tuple[Model, ...]]:
    """Return the flat cards of a chain and the models they need, without any source but the rail.

    Values that vary are arrays of shape ``(builds.n_rows * repeat,)``. `roles` limits the parts that are joined.

    Parameters
    ----------
    chain : the parts to join
    builds : rows of varying values, ``n_rows`` of them
    repeat : how often each row stands, once for each signal state
    roles : the parts that are joined, all unless given

    """
    cards: list[Card] = []
    models: dict[str, Model] = {}
    for role, ports in nodes_of(chain).items():
        if roles is not None and role not in roles:
            continue
        fitted = chain.parts[role]
        circuit = fitted.part.circuit
        values = {
            name: chain.number(role, name, builds, repeat) for name in circuit.parameters if name in fitted.values
        }
        prefix = f"{role}_"
        cards += flatten(circuit, name=role, ports=ports, values=values, prefix=prefix)
        for model in (*fitted.part.models, *models_of(circuit, prefix=prefix)):
            models[model.name] = model
    rail: Number = chain.rail.nominal
    if SUPPLY in builds.keys:
        rail = np.repeat(builds.column(SUPPLY), repeat)
    cards.append(card(RAIL_CARD, (RAIL, "0"), rail))
    if chain.series is not None and "stage" in (roles or ("stage",)):
        cards.append(card("rseries_tried", ("unpadded", NEAR), chain.series))
    if chain.shunt is not None and "stage" in (roles or ("stage",)):
        cards.append(card("rshunt_tried", (NEAR, "0"), chain.shunt))
    if chain.probe is not None and roles is None:
        cards.append(card("rprobe", (chain.probe[0], "0"), chain.probe[1]))
    return changed(cards, chain.changes), tuple(models.values())
