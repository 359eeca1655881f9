"""What the rules ask of the simulator before they judge: probe netlists, run once, answered by number or not at all.

A probe is a closed circuit in ``circuits/probes/<name>``: its sources stand inside, its ports are only looked at. They
come from the supplied library alone: a safety figure must not change with a folder of the user's own.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np

from guardcheck.engine import Engine
from guardcheck.errors import CircuitError, InputError
from guardcheck.files import sha256_of
from guardcheck.library import Library
from guardcheck.model import Ask, CircuitUsed, Deck, Operating, Subcircuit, Sweep, Trace
from guardcheck.netlist import flatten, models_of, read_file

FOLDER = "probes"
_READ = re.compile(r"(?P<kind>[vi])\((?P<name>[a-z0-9_]+)\)")
_INSTANCE = "probe"
_BAND = 1.0 + 1e-6
"""A sweep needs two points; the second lies this factor above the frequency asked for."""


def answer(engine: Engine, library: Library, asks: Iterable[Ask]) -> Mapping[str, float | None]:
    """Return the answers to some asks by key; None where the circuit is impossible or the simulation failed.

    Raises
    ------
    CircuitError
        a probe the rules name does not exist: a mistake of ours, never of the user
    EngineMissing
        no simulator could be started

    """
    wanted = tuple(asks)
    circuits = {name: _read(library, name) for name in sorted({ask.probe for ask in wanted})}
    decks: list[Deck] = []
    places: dict[str, tuple[int, str]] = {}
    for ask in wanted:
        deck = _deck(circuits[ask.probe], ask)
        if deck is not None:
            places[ask.key] = len(decks), deck.save[0]
            decks.append(deck)
    traces = engine.run(decks) if decks else ()
    found: dict[str, float | None] = {ask.key: None for ask in wanted}
    for key, (index, vector) in places.items():
        found[key] = _number(traces[index], vector)
    return found


def probes_used(library: Library, asks: Iterable[Ask]) -> tuple[CircuitUsed, ...]:
    """Return the probe files some asks use, by name."""
    names = sorted({ask.probe for ask in asks})
    files = {name: _file(library, name) for name in names}
    return tuple(
        CircuitUsed(name, "probe", f"circuits/{FOLDER}/{name}/{path.name}", sha256_of(path))
        for name, path in files.items()
    )


def _file(library: Library, name: str) -> Path:
    return library.shelves[-1].path / FOLDER / name / f"{name}.cir"


def _read(library: Library, name: str) -> Subcircuit:
    path = _file(library, name)
    if not path.is_file():
        raise CircuitError(f"there is no probe '{name}'", file=f"circuits/{FOLDER}")
    return read_file(path, within=library.shelves[-1].path)


def _deck(circuit: Subcircuit, ask: Ask) -> Deck | None:
    """Return the deck of one ask, or None when its values make no circuit."""
    if not all(math.isfinite(value) for value in (*ask.values.values(), ask.frequency or 1.0)):
        return None
    ports = {port: "0" if port == "gnd" else port for port in circuit.ports}
    try:
        cards = flatten(circuit, name=_INSTANCE, ports=ports, values=ask.values)
    except InputError:
        return None
    return Deck(
        name=f"probe {ask.probe} for {ask.key}",
        cards=cards,
        models=models_of(circuit),
        analysis=Operating() if ask.frequency is None else Sweep(ask.frequency, ask.frequency * _BAND, 2),
        save=(_vector(ask.read),),
    )


def _vector(read: str) -> str:
    match = _READ.fullmatch(read)
    if match is None:
        raise CircuitError(f"a probe is read as v(port) or i(element), not '{read}'")
    name = match["name"] if match["kind"] == "v" else f"{match['name']}_{_INSTANCE}"
    return f"{match['kind']}({name})"


def _number(trace: Trace, vector: str) -> float | None:
    """Return the first value of a trace: the magnitude of a complex one."""
    if trace.failure is not None or not bool(np.all(trace.solved)):
        return None
    first = np.ravel(trace.vectors[vector])[0]
    number = float(abs(first)) if np.iscomplexobj(first) else float(first)
    return number if math.isfinite(number) else None
