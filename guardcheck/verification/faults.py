"""Faults a bench sees, done to one job's own chain: from rows of faults.toml to changed chains ready to simulate."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from guardcheck.compose import Chain
from guardcheck.compose.chain import chain_cards
from guardcheck.compose.changes import OPEN, SHORT, Change
from guardcheck.errors import CircuitError
from guardcheck.model import Card, PartUse, Value
from guardcheck.simulate.planning import JobPlan
from guardcheck.simulate.preferred import E24, shown_ohms
from guardcheck.toml_tables import Table, read_table
from guardcheck.units import format_si

FILE = Path(__file__).parent / "faults.toml"
ROLES = ("stage", "guard")
"""What the mod adds: the parts a bench may have fitted wrongly."""
WIRE = 2e-3
"""A resistor up to this size [ohm] stands for a wire."""
FAR = 30.0
"""How many times too large or too small a wrong resistor is thought of beyond the faults named one by one."""
MODELLED = "begfh"
"""First letters of cards that model what is inside a chip; of such a part only the fitted parts it lists are tried."""


@dataclass(frozen=True)
class Fault:
    """One fault in one chain.

    `id` is unique within the chain, `what` says it at the bench. `ohms` gives the resistance a meter would read across
    each resistor the fault changes, by card name. `other_value` marks one of the many values a resistor might have;
    `tilts` a fault that shows in the tilt of a field rather than in a level.
    """

    id: str
    what: str
    chain: Chain
    ohms: Mapping[str, float] = field(default_factory=dict)
    other_value: bool = False
    tilts: bool = False


@dataclass(frozen=True)
class Fittable:
    """A part a bench fits: its card, and its name with its value."""

    card: Card
    name: str

    @property
    def value(self) -> float:
        """Its nominal value [SI]."""
        return float(np.ravel(self.card.value)[0]) if self.card.value is not None else 0.0


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of faults.toml: what is done to what, how much [SI], and how it is said."""

    of: str
    act: str
    by: float
    what: str


_UNITS: Mapping[str, str] = {"line": "ohm", "rail": "V"}
"""What `by` is measured in; a factor where nothing is said."""


@cache
def _rows() -> tuple[_Row, ...]:
    top, _ = read_table(FILE, error=CircuitError)
    top.only("fault")
    return tuple(_row(row) for row in top.tables("fault"))


def _row(row: Table) -> _Row:
    row.only("of", "act", "by", "what")
    of = row.word("of", tuple(_MAKERS))
    by = row.real("by", _UNITS.get(of, "1")) if "by" in row else 1.0
    return _Row(of, row.text("act"), by, row.text("what"))


def faults_of(chain: Chain, job: JobPlan, states: Mapping[str, str]) -> tuple[Fault, ...]:
    """Return every fault of faults.toml this chain can have, each once.

    Parameters
    ----------
    chain : the line as built
    job : fits the displays a fault puts in the display's place
    states : source parameter of each signal state

    """
    bench = _Bench(chain, job, states, fittable(chain))
    found: dict[str, Fault] = {}
    for row in _rows():
        for fault in _MAKERS[row.of](bench, row):
            found.setdefault(fault.id, fault)
    return tuple(found.values())


def fittable(chain: Chain) -> tuple[Fittable, ...]:
    """Return the resistors, capacitors and guard diodes of stage and guard that somebody soldered in."""
    builds = chain.builds(n_samples=0, seed=(0,)).nominal()
    found: list[Fittable] = []
    for role in ROLES:
        fitted = chain.parts.get(role)
        if fitted is None:
            continue
        cards = [one for one in chain_cards(chain, builds, 1, roles=(role,))[0] if one.name.endswith(f"_{role}")]
        listed = {f"{used['element']}_{role}": str(used["name"]) for used in fitted.part.extra.get("parts", ())}
        chip = any(one.name[0] in MODELLED for one in cards)
        found += [
            Fittable(one, _name(one, listed.get(one.name), role))
            for one in cards
            if one.name[0] in _KINDS and (one.name in listed or not chip) and not _wire(one)
        ]
    return tuple(found)


def _wire(one: Card) -> bool:
    return one.name[0] == "r" and one.value is not None and float(np.max(one.value)) <= WIRE


_KINDS: Mapping[str, tuple[str, str]] = {
    "r": ("resistor", "ohm"),
    "c": ("capacitor", "F"),
    "d": ("diode", ""),
    "q": ("transistor", ""),
}


def _name(one: Card, listed: str | None, role: str) -> str:
    kind, unit = _KINDS[one.name[0]]
    name = listed or one.name.removesuffix(f"_{role}")
    noun = name if listed is not None and kind in name else f"{name} {kind}" if listed is not None else f"{kind} {name}"
    size = "" if one.value is None else f" ({format_si(float(np.ravel(one.value)[0]), unit)})"
    return f"the {role}'s {noun}{size}"


@dataclass(frozen=True)
class _Bench:
    chain: Chain
    job: JobPlan
    states: Mapping[str, str]
    parts: tuple[Fittable, ...]

    def of_kind(self, letter: str) -> Iterator[Fittable]:
        return (one for one in self.parts if one.card.name[0] == letter)

    def changed(self, *changes: Change) -> Chain:
        return replace(self.chain, changes=(*self.chain.changes, *changes))


def _resistors(bench: _Bench, row: _Row) -> Iterator[Fault]:
    for part in bench.of_kind("r"):
        for new in _new_ohms(part.value, row):
            change = Change(part.card.name, "set", new)
            what = row.what.format(part=part.name, new=shown_ohms(new))
            yield Fault(
                f"{part.card.name} {shown_ohms(new)}",
                what,
                bench.changed(change),
                {part.card.name: new},
                other_value=row.act == "other",
            )


def _new_ohms(ohms: float, row: _Row) -> tuple[float, ...]:
    made: Mapping[str, Callable[[], tuple[float, ...]]] = {
        "open": lambda: (OPEN,),
        "short": lambda: (SHORT,),
        "scale": lambda: (ohms * row.by,),
        "next_above": lambda: (neighbour(ohms, above=True),),
        "next_below": lambda: (neighbour(ohms, above=False),),
        "other": lambda: other_values(ohms),
    }
    return made[row.act]()


def other_values(ohms: float) -> tuple[float, ...]:
    """Return the E12 values within a factor `FAR` of a resistance [ohm], without those that are next to it."""
    decade = 10.0 ** np.floor(np.log10(ohms))
    values = (float(value * decade * scale) for scale in (0.01, 0.1, 1.0, 10.0, 100.0) for value in E24[::2])
    return tuple(value for value in values if ohms / FAR <= value <= ohms * FAR and not 0.9 < value / ohms < 1.1)


def neighbour(ohms: float, *, above: bool) -> float:
    """Return the E24 value next above or below a resistance [ohm], never that value itself."""
    decade = 10.0 ** np.floor(np.log10(ohms))
    values = [value * decade * scale for value in E24 for scale in (0.1, 1.0, 10.0)]
    if above:
        return float(min(value for value in values if value > ohms * 1.005))
    return float(max(value for value in values if value < ohms * 0.995))


def _swapped(bench: _Bench, row: _Row) -> Iterator[Fault]:
    for one, other in combinations(bench.of_kind("r"), 2):
        same_part = one.card.name.rpartition("_")[2] == other.card.name.rpartition("_")[2]
        if not same_part or 0.9 < one.value / other.value < 1.1:
            continue
        changes = (Change(one.card.name, "set", other.value), Change(other.card.name, "set", one.value))
        yield Fault(
            f"{one.card.name} swapped with {other.card.name}",
            row.what.format(part=one.name, other=other.name),
            bench.changed(*changes),
            {one.card.name: other.value, other.card.name: one.value},
        )


def _cards(letter: str) -> Callable[[_Bench, _Row], Iterator[Fault]]:
    def make(bench: _Bench, row: _Row) -> Iterator[Fault]:
        for part in bench.of_kind(letter):
            scaled = row.act == "scale"
            new = format_si(part.value * row.by, _KINDS[letter][1]) if scaled else ""
            what = row.what.format(part=part.name, new=new)
            id_ = f"{part.card.name} {new or row.act}"
            yield Fault(id_, what, bench.changed(Change(part.card.name, row.act, row.by)), tilts=scaled)

    return make


def _diodes(bench: _Bench, row: _Row) -> Iterator[Fault]:
    names = [part.card.name for part in bench.of_kind("d")]
    if len(names) > 1:
        yield Fault(f"diodes {row.act}", row.what, bench.changed(*(Change(name, row.act) for name in names)))


def _guard(bench: _Bench, row: _Row) -> Iterator[Fault]:
    if bench.chain.guard is not None:
        yield Fault(f"guard {row.act}", row.what, replace(bench.chain, guard=None, guarded=False))


def _display(bench: _Bench, row: _Row) -> Iterator[Fault]:
    use = PartUse("display", row.act, key="display.input", values_key="display.values")
    yield Fault(f"display {row.act}", row.what, replace(bench.chain, display=bench.job.fit(use)))


def _line(bench: _Bench, row: _Row) -> Iterator[Fault]:
    changes: dict[str, Any] = {row.act: row.by}
    yield Fault(f"line {row.act} {shown_ohms(row.by)}", row.what, replace(bench.chain, **changes))


def _source(bench: _Bench, row: _Row) -> Iterator[Fault]:
    source = bench.chain.source
    names = {source.same.get(name, name) for name in bench.states.values()}
    base = source.values[bench.states["blank"]].nominal if len(bench.states) > 1 else 0.0
    if row.act == "stuck":
        if len(names) < 2:
            return
        base = max((source.values[name].nominal for name in names), key=abs)
    by = 0.0 if row.act == "stuck" else row.by
    levels = {name: base + by * (source.values[name].nominal - base) for name in names}
    unit = source.values[bench.states["blank"]].unit
    values = {**source.values, **{name: Value.exact(level, unit) for name, level in levels.items()}}
    copies = {name: target for name, target in source.same.items() if target in names}
    values |= {name: values[target] for name, target in copies.items()}
    changed = replace(source, values=values, follows={})  # another level behind the same impedance
    yield Fault(
        "source stuck" if row.act == "stuck" else f"source {row.by:g}", row.what, replace(bench.chain, source=changed)
    )


def _rail(bench: _Bench, row: _Row) -> Iterator[Fault]:
    if row.by and not row.by < 0.9 * bench.chain.rail.nominal:
        return
    name = f"rail {row.by:g} V" if row.by else "rail off"
    yield Fault(name, row.what, replace(bench.chain, rail=Value.exact(row.by, "V")))


_MAKERS: Mapping[str, Callable[[_Bench, _Row], Iterator[Fault]]] = {
    "resistor": _resistors,
    "resistors": _swapped,
    "transistor": _cards("q"),
    "capacitor": _cards("c"),
    "diode": _cards("d"),
    "diodes": _diodes,
    "guard": _guard,
    "display": _display,
    "line": _line,
    "source": _source,
    "rail": _rail,
}
