"""Voltage and current sources: direct value, small-signal value, waveform."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from guardcheck.netlist.expression import Expr, Num
from guardcheck.netlist.fields import Fields
from guardcheck.netlist.place import quoted
from guardcheck.netlist.records import Source

MAX_POINTS = 700
"""The simulator's cost grows with the square of the points of a `pwl` source."""


@dataclass(frozen=True, slots=True)
class Wave:
    """A waveform: the names of its numbers, how many must be given, and which must be above zero.

    More must be given than a simulator asks for: what is left out there becomes the print step or the end of the run,
    so the same netlist would mean another pulse in every analysis.
    """

    numbers: tuple[str, ...]
    needed: int
    positive: tuple[str, ...] = ()


WAVES: Mapping[str, Wave] = {
    "pulse": Wave(("v1", "v2", "td", "tr", "tf", "pw", "per"), 5, ("tr", "tf", "pw", "per")),
    "sin": Wave(("vo", "va", "freq", "td", "theta", "phase"), 3, ("freq",)),
    "exp": Wave(("v1", "v2", "td1", "tau1", "td2", "tau2"), 6, ("tau1", "tau2")),
}
_REFUSED = ("sffm", "am", "trnoise", "trrandom", "external", "distof1", "distof2", "portnum")


def read_source(fields: Fields) -> Source:
    """Return what follows the nodes of a V or I card; raises CircuitError."""
    value: Expr | None = None
    small: tuple[Expr, ...] = ()
    wave, numbers = "", tuple[Expr, ...]()
    while (token := fields.peek()) is not None:
        word = "" if token.expression else token.text.lower()
        if word == "ac" and not small:
            fields.take()
            small = _small_signal(fields)
        elif word in (*WAVES, "pwl") and not wave:
            wave, numbers = word, _wave(fields)
        elif word in _REFUSED:
            raise fields.place.error(f"{quoted(word)} is not accepted; accepted waveforms: exp, pulse, pwl, sin")
        elif value is None and word not in (*WAVES, "pwl", "ac"):
            fields.accept("dc")
            value = fields.value("the direct value")
        else:
            raise fields.place.error(f"{quoted(token.text)} is one too many; write {fields.usage}")
    if value is None and not wave and not small:
        raise fields.missing("a value, such as dc 0,")
    return Source(value, small, wave, numbers)


def _small_signal(fields: Fields) -> tuple[Expr, ...]:
    values = [fields.value("the small-signal magnitude")]
    token = fields.peek()
    if token is not None and (token.expression or token.text[0] in "+-.0123456789"):
        values.append(fields.value("the phase"))
    return tuple(values)


def _wave(fields: Fields) -> tuple[Expr, ...]:
    name = fields.word("a waveform").lower()
    if fields.accept("(") is None:
        raise fields.missing(f"'(' behind {name}")
    if fields.word_is("file"):
        raise fields.place.error(f"{name} reads no file; write its numbers")
    numbers: list[Expr] = []
    while fields.left and not fields.word_is(")"):
        numbers.append(fields.value(f"a number of {name}"))
        if len(numbers) > 2 * MAX_POINTS:
            raise fields.place.error(f"a pwl source may have {MAX_POINTS} points")
    fields.expect(")")
    if fields.word_is("r", "td"):
        raise fields.place.error("a repeated or delayed pwl is not accepted; write all its points, or use pulse(...)")
    if name == "pwl":
        _check_points(fields, numbers)
    else:
        _check_count(fields, name, len(numbers))
    return tuple(numbers)


def _check_count(fields: Fields, name: str, found: int) -> None:
    wave = WAVES[name]
    if not wave.needed <= found <= len(wave.numbers):
        wanted = " ".join(wave.numbers[: wave.needed]) + "".join(f" [{item}]" for item in wave.numbers[wave.needed :])
        raise fields.place.error(f"{name} has {found} numbers; write {name}({wanted})")


def _check_points(fields: Fields, numbers: list[Expr]) -> None:
    if len(numbers) < 4 or len(numbers) % 2:
        raise fields.place.error(
            f"pwl has {len(numbers)} numbers; write pairs of time and value, at least two: pwl(0 0 1u 5)"
        )
    problem = unrising([item.value for item in numbers[::2] if isinstance(item, Num)])
    if problem is not None:
        raise fields.place.error(problem)


def unrising(times: Sequence[float]) -> str | None:
    """Return what is wrong with the times of a pwl source [s], or None when they start at 0 or later and rise."""
    if times and times[0] < 0.0:
        return f"the times of a pwl source begin at 0 or later, not at {times[0]:g}"
    for before, after in pairwise(times):
        if after <= before:
            return f"the times of a pwl source must rise; {after:g} follows {before:g}"
    return None
