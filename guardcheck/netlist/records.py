"""What an element line says, one frozen record per kind of element. They stand in `Element.fields`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

from guardcheck.netlist.expression import Amps, Expr, Name, Num, Op, Time, Volt


@dataclass(frozen=True, slots=True)
class Passive:
    """A resistor, capacitor or inductor; `initial` is what `ic=` gives."""

    value: Expr
    initial: Expr | None = None


@dataclass(frozen=True, slots=True)
class Coupling:
    """A coupling between two inductors of the same subcircuit."""

    first: str
    second: str
    value: Expr


@dataclass(frozen=True, slots=True)
class Source:
    """A voltage or current source: direct value, small-signal (magnitude, phase), waveform name and its numbers."""

    value: Expr | None
    small_signal: tuple[Expr, ...] = ()
    wave: str = ""
    numbers: tuple[Expr, ...] = ()


@dataclass(frozen=True, slots=True)
class Controlled:
    """An E, F, G or H source: its gain, and the voltage source whose current controls it (F and H)."""

    gain: Expr
    control: str | None = None


@dataclass(frozen=True, slots=True)
class Behaviour:
    """A B source: drives a voltage (`v`) or a current (`i`)."""

    drives: str
    expr: Expr


@dataclass(frozen=True, slots=True)
class Device:
    """A diode, transistor or switch: numbers behind the model by name (`area` stands alone), and a last word."""

    numbers: tuple[tuple[str, Expr], ...] = ()
    word: str = ""


@dataclass(frozen=True, slots=True)
class Delay:
    """A lossless line: characteristic impedance [ohm] and delay [s]."""

    impedance: Expr
    delay: Expr


@dataclass(frozen=True, slots=True)
class Call:
    """An X element: the subcircuit called and the parameters given to it."""

    subcircuit: str
    values: tuple[tuple[str, Expr], ...] = ()


Body = Passive | Coupling | Source | Controlled | Behaviour | Device | Delay | Call


def expressions(body: Body) -> Iterator[Expr]:
    """Yield every expression an element holds."""
    todo: list[object] = [getattr(body, field.name) for field in fields(body)]
    while todo:
        item = todo.pop()
        if isinstance(item, Num | Name | Volt | Amps | Time | Op):
            yield item
        elif isinstance(item, tuple):
            todo.extend(item)
