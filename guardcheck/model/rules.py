"""What a rule is given and what it says about itself."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from guardcheck.model.findings import Quantity
from guardcheck.model.job import Fact
from guardcheck.model.standard import INTERFACE, Limit

SAFETY, SIGNAL, ADVICE = "safety", "signal", "advice"


@dataclass(frozen=True)
class Ask:
    """One number a rule wants from a simulation before it judges.

    `probe` names a netlist in circuits/probes, `values` its parameters [SI]. `read` is ``v(port)`` or ``i(element)``.
    With `frequency` [Hz] the answer is the magnitude at that frequency (rms when the values are rms), without it the
    signed value at the operating point. `key` is how the rule finds the answer in `Facts.answers`.
    """

    key: str
    probe: str
    values: Mapping[str, float]
    read: str
    frequency: float | None = None


@dataclass(frozen=True)
class Facts:
    """Everything rules may look at. Rules get limits handed in; they fetch nothing.

    `limits` holds, by line name, the limits of that line's standard. `guarded_lines` are the lines whose job names a
    guard: there the bare rows are shown for comparison and decide nothing. `declared` are the bench facts of the job,
    `supply` and `display` its declared values. `answers` holds what the simulator answered to the rules' asks: None,
    or no entry at all, when it could not. `forbids` names the events the workshop forbids by label.
    """

    quantities: tuple[Quantity, ...] = ()
    limits: Mapping[str, Mapping[str, Limit]] = field(default_factory=dict)
    guarded_lines: frozenset[str] = frozenset()
    declared: tuple[Fact, ...] = ()
    supply: Mapping[str, Any] = field(default_factory=dict)
    display: Mapping[str, Any] = field(default_factory=dict)
    settings: Mapping[str, Any] = field(default_factory=dict)
    answers: Mapping[str, float | None] = field(default_factory=dict)
    forbids: frozenset[str] = frozenset()

    def table(self, name: str) -> tuple[tuple[str, Fact], ...]:
        """Return the bench facts of one job table, each with a label no other one of them has."""
        found: dict[str, Fact] = {}
        for fact in self.declared:
            if fact.table == name:
                label = fact.label if fact.label not in found else f"{fact.label} ({name} {fact.index + 1})"
                found[label] = fact
        return tuple(found.items())

    def named(self, names: tuple[str, ...]) -> Iterator[Quantity]:
        """Yield the quantities with one of these names."""
        return (quantity for quantity in self.quantities if quantity.name in names)

    def limit(self, quantity: Quantity) -> Limit | None:
        """Return the quantity's own limit, or the one in its line's standard."""
        return quantity.limit or self.limits.get(quantity.line, {}).get(quantity.name)

    def decides(self, quantity: Quantity) -> bool:
        """Tell whether it decides: always, unless it is the bare row of a line that names a guard."""
        return quantity.guarded is not False or quantity.line not in self.guarded_lines


@dataclass(frozen=True, slots=True)
class Rule:
    """Code (three letters, two digits, never reused), title, class, quantities judged, job tables it handles.

    `kind` is the kind of claim of its findings, where neither the finding nor its limit says another.
    """

    code: str
    title: str
    klass: str
    quantities: tuple[str, ...]
    tables: tuple[str, ...] = ()
    kind: str = INTERFACE


@dataclass(frozen=True)
class Case:
    """A worked case of a rule: facts, and the worst outcome the rule must find in them."""

    name: str
    facts: Facts
    outcome: str
