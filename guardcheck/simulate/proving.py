"""The bench a `[[check]]` row describes, as a deck, and what is read on it: ours and a stranger's parts alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from guardcheck.errors import CircuitError
from guardcheck.library import Device, Hanging, hanging
from guardcheck.measure.stress import peak, rise_time
from guardcheck.model import Card, Check, Deck, EventPlan, Model, Operating, Part, Sweep, Trace, Transient, Value
from guardcheck.netlist import card, flatten, models_of

NO_CURRENT = "a current is read where a source or a resistor hangs"
LETTERS = {"d": "d", "npn": "q", "pnp": "q", "njf": "j", "pjf": "j"}


@dataclass(frozen=True)
class Bench:
    """One check, set up: its deck and which member it belongs to."""

    member: str
    check: Check
    deck: Deck

    def read(self, trace: Trace) -> float:
        """Return what the check reads [SI].

        Raises
        ------
        CircuitError
            the run failed, or the row reads a current where none can be read

        """
        if trace.failure is not None:
            raise CircuitError(trace.failure)
        kind, _, inside = self.check.read.rstrip(")").partition("(")
        ports = [port.strip() for port in inside.split(",")]
        if self.check.time is not None:
            return self._waveform(trace, kind, ports[0], self.check.time)
        volts = {port: np.ravel(trace.vectors[f"v({_node(port)})"])[0] for port in ports}
        if kind == "v":
            return float(np.real(volts[ports[0]]))
        if kind == "z":
            return float(abs(volts[ports[0]]))
        if kind == "gain":
            return float(abs(volts[ports[1]] / volts[ports[0]]))
        hung = hanging(self.check.ports[ports[0]])
        if hung.volts is not None:
            return -float(np.real(np.ravel(trace.vectors[f"i(vhung_{ports[0]})"])[0]))
        if hung.ohms is None:
            raise CircuitError(NO_CURRENT)
        return -float(np.real(volts[ports[0]])) / hung.ohms

    def _waveform(self, trace: Trace, kind: str, port: str, when: float | str) -> float:
        """Return a waveform at a time, its extreme, or how fast it gets there."""
        if trace.axis is None:
            raise CircuitError("the run has no time axis")
        values = np.real(np.ravel(trace.vectors[f"v({_node(port)})"]))
        if kind == "i":
            hung = hanging(self.check.ports[port])
            if hung.volts is not None:
                values = -np.real(np.ravel(trace.vectors[f"i(vhung_{port})"]))
            else:
                if hung.ohms is None:
                    raise CircuitError(NO_CURRENT)
                values = -values / hung.ohms
        if when == "peak":
            return peak(values)
        if when == "rise":
            return rise_time(trace.axis, values)
        return float(np.interp(float(when), trace.axis, values))


def resting(part: Part) -> Deck:
    """Return a part with every port held by 75 ohm: one that needs help at rest has a node that hangs in the air."""
    defaults = {name: given.nominal for name, given in part.parameters.items() if given.nominal is not None}
    cards, models = default_cards(part, defaults)
    held = [card(f"rheld_{port}", (_node(port), "0"), 75.0) for port in part.circuit.ports]
    first = _node(part.circuit.ports[0])
    return Deck(f"{part.kind} {part.name} at rest", (*cards, *held), models, Operating(), (f"v({first})",))


def part_benches(part: Part) -> tuple[Bench, ...]:
    """Return the benches of every check of a part."""
    plan = part.plan
    return tuple(_bench(f"{part.kind} {part.name}", check, *_part_cards(part, check), plan) for check in part.checks)


def device_benches(device: Device, model: Model | None = None) -> tuple[Bench, ...]:
    """Return the benches of every check of a device, with another `model` in its place if one is given."""
    tried = model or device.model
    element = card(f"{LETTERS[tried.type]}_tried", tuple(_node(port) for port in device.ports), tail=tried.name)
    return tuple(_bench(f"model {device.name}", check, (element,), (tried,)) for check in device.checks)


def default_cards(part: Part, values: Mapping[str, Value | str]) -> tuple[tuple[Card, ...], tuple[Model, ...]]:
    """Return a part's cards with its ports on nodes of their own names, parameters not in `values` at their nominal."""
    numbers: dict[str, float] = {}
    for name in part.circuit.parameters:
        given = values.get(name, part.parameters[name].nominal)
        if not isinstance(given, Value):
            raise CircuitError(f"a check gives no value for '{name}', which has no nominal one", file=part.file)
        numbers[name] = given.nominal
    cards = flatten(
        part.circuit, name="tried", ports={port: _node(port) for port in part.circuit.ports}, values=numbers
    )
    return cards, (*part.models, *models_of(part.circuit))


def _part_cards(part: Part, check: Check) -> tuple[tuple[Card, ...], tuple[Model, ...]]:
    return default_cards(part, check.values)


def _bench(
    member: str, check: Check, cards: Sequence[Card], models: tuple[Model, ...], plan: EventPlan | None = None
) -> Bench:
    kind, _, inside = check.read.rstrip(")").partition("(")
    ports = [port.strip() for port in inside.split(",")]
    driven = ports[0] if kind == "gain" else None
    hung = [one for port, text in check.ports.items() for one in _hung(port, hanging(text), port == driven)]
    save = [f"v({_node(port)})" for port in ports]
    if kind == "z":
        hung.append(card("iprobe", ("0", _node(ports[0])), 0.0, "ac 1.0"))
    if kind == "i" and hanging(check.ports[ports[0]]).volts is not None:
        save.append(f"i(vhung_{ports[0]})")
    analysis: Operating | Sweep | Transient = Operating()
    if check.frequency is not None:
        analysis = Sweep(check.frequency, 2 * check.frequency, 2)
    if check.time is not None:
        if plan is None:
            raise CircuitError(f"{member}: a waveform is read of an event, which says how long it is")
        analysis = Transient(plan.step / 10, plan.stop, plan.step / 10)
    deck = Deck(f"{member}: {check.what}", (*cards, *hung), models, analysis, tuple(save))
    return Bench(member, check, deck)


def _node(port: str) -> str:
    return f"at_{port}"


def _hung(port: str, what: Hanging, driven: bool) -> list[Card]:
    tail = "ac 1.0" if driven else ""
    if what.amps is not None:
        return [card(f"ihung_{port}", ("0", _node(port)), what.amps, tail)]
    if what.volts is None:
        return [] if what.ohms is None else [card(f"rhung_{port}", (_node(port), "0"), what.ohms)]
    if what.ohms is None:
        return [card(f"vhung_{port}", (_node(port), "0"), what.volts, tail)]
    behind = f"behind_{port}"
    return [
        card(f"vhung_{port}", (behind, "0"), what.volts, tail),
        card(f"rhung_{port}", (behind, _node(port)), what.ohms),
    ]
