"""What `verify` adds to a report: the causes simulated for a wrong level, and what was seen in the captures.

Both come from `Result.extra`, and a saved result may come from anybody: whatever has not the right shape is left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from guardcheck.formatting import line_rank, show
from guardcheck.model import QUANTITIES, Result
from guardcheck.report.arrange.words import clean, quantity_title, sentence

STEPS = 4
"""How many readings ahead are told."""
OVER_RANGE = 1e6
"""A resistance from this on [ohm] reads over range in a circuit like these."""


@dataclass(frozen=True, slots=True)
class CauseRow:
    """One simulated fault that gives the readings: its mark, what it is, and the levels it would give."""

    mark: str
    what: str
    levels: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ThenView:
    """A reading that follows another: after what was shown, what to measure, and what each value points to."""

    after: str
    measure: str
    expect: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ExplanationView:
    """The causes of one line's readings, best first, the measurement that tells them apart, and those after it."""

    line: str
    readings: str
    simulated: int
    causes: tuple[CauseRow, ...]
    measure: str | None
    expect: tuple[tuple[str, str], ...]
    then: tuple[ThenView, ...]
    do: str


@dataclass(frozen=True, slots=True)
class CaptureView:
    """One capture: the line it shows, its file, and what was seen, in sentences."""

    line: str
    file: str
    seen: tuple[str, ...]


def explanations(result: Result) -> tuple[ExplanationView, ...]:
    """Return the explanations of a result, in bench order of the lines."""
    found = [_explanation(row) for row in _rows(result.extra.get("explanations"))]
    return tuple(sorted(found, key=lambda one: line_rank(one.line)))


def captures(result: Result) -> tuple[CaptureView, ...]:
    """Return what was seen in each capture of a result."""
    return tuple(_capture(row) for row in _rows(result.extra.get("captures")))


def _rows(value: Any) -> list[Mapping[str, Any]]:
    return [row for row in _list(value) if isinstance(row, Mapping)]


def _list(value: Any) -> Sequence[Any]:
    return value if isinstance(value, list | tuple) else ()


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _text(row: Mapping[str, Any], name: str) -> str:
    value = row.get(name)
    return clean(value) if isinstance(value, str) else ""


def _explanation(row: Mapping[str, Any]) -> ExplanationView:
    readings = _rows(row.get("readings"))
    next_ = row.get("next")
    measure = _text(next_, "measure") if isinstance(next_, Mapping) else ""
    simulated = _number(row.get("simulated"))
    return ExplanationView(
        line=_text(row, "line"),
        readings="; ".join(_reading(one) for one in readings),
        simulated=int(simulated or 0),
        causes=tuple(_cause(one, readings) for one in _rows(row.get("causes"))),
        measure=measure or None,
        expect=_expected(next_) if isinstance(next_, Mapping) else (),
        then=tuple(_then(next_, (), STEPS)) if isinstance(next_, Mapping) else (),
        do=sentence(_text(row, "do")),
    )


def _reading(row: Mapping[str, Any]) -> str:
    name = _text(row, "quantity")
    unit = _unit(name)
    open_ = ", line open" if row.get("bench") == "open" else ""
    value, width = _number(row.get("value")), _number(row.get("uncertainty"))
    return f"{quantity_title(name)} {show(value, unit)} ± {show(width, unit)}{open_}"


def _unit(name: str) -> str:
    kind = QUANTITIES.get(name)
    return "1" if kind is None else kind.unit


def _cause(row: Mapping[str, Any], readings: Sequence[Mapping[str, Any]]) -> CauseRow:
    values = [_number(value) for value in _list(row.get("values"))]
    units = [_unit(_text(reading, "quantity")) for reading in readings]
    levels = tuple(show(value, unit) for value, unit in zip(values, units, strict=False))
    return CauseRow(_text(row, "mark"), sentence(_text(row, "what")), levels)


def _expected(row: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    unit = _text(row, "unit")
    found = []
    for one in _rows(row.get("expect")):
        value = _number(one.get("value"))
        over = unit == "ohm" and value is not None and value >= OVER_RANGE
        marks = ", ".join(f"({clean(mark)})" for mark in _list(one.get("causes")))
        found.append(("over range" if over else show(value, unit), marks or "as planned"))
    return tuple(found)


def _then(row: Mapping[str, Any], before: tuple[str, ...], steps: int) -> Iterator[ThenView]:
    """Yield the readings after one, each under the values that lead to it, as they would be taken."""
    for one, (shown, _) in zip(_rows(row.get("expect")), _expected(row), strict=True):
        next_ = one.get("then")
        if isinstance(next_, Mapping) and steps:
            path = (*before, shown)
            yield ThenView(", then ".join(path), _text(next_, "measure"), _expected(next_))
            yield from _then(next_, path, steps - 1)


def _capture(row: Mapping[str, Any]) -> CaptureView:
    lines, system = _number(row.get("lines")), _text(row, "system")
    seen = [f"channel {_text(row, 'channel')}, {int(lines or 0)} scan lines used"]
    if system:
        scan = _text(row, "scan")
        seen.append(f"{system}-line system{', ' + scan if scan else ''}, sync {_text(row, 'polarity') or 'not seen'}")
    termination = _text(row, "termination")
    seen += [termination] if termination else []
    seen += [clean(note) for note in _list(row.get("notes")) if isinstance(note, str)]
    return CaptureView(_text(row, "line"), _text(row, "file"), tuple(sentence(one) for one in seen))
