"""Proposed builds, as lines for a terminal and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from guardcheck.formatting import show
from guardcheck.model import Build, LineProposals, Proposals, Spread
from guardcheck.report.arrange.words import clean
from guardcheck.report.text.grid import indent

FORMAT = "guardcheck-proposals/1"
_COST = {1: "resistors and capacitors", 2: "discrete semiconductors", 3: "an integrated circuit"}


def proposals_to_json(found: Proposals) -> str:
    """Return the proposals as JSON, best build of each line first."""
    record: dict[str, Any] = {
        "format": FORMAT,
        "command": "propose",
        "unit": found.unit,
        "engine": None if found.engine is None else {"name": found.engine.name, "version": found.engine.version},
        "job_sha256": found.job_sha256,
        "lines": [_line(one) for one in found.lines],
        "circuits": [{"name": one.name, "file": one.file, "sha256": one.sha256} for one in found.circuits],
        "warnings": list(found.warnings),
    }
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _line(one: LineProposals) -> dict[str, Any]:
    return {
        "line": one.line,
        "lines": list(one.lines),
        "searched": one.searched,
        "confirmed": one.confirmed,
        "builds": [_build(build) for build in one.builds],
        "none_because": one.none_because,
        "nearest": None if one.nearest is None else _build(one.nearest),
        "notes": list(one.notes),
    }


def _build(one: Build) -> dict[str, Any]:
    return {
        "rank": one.rank,
        "outcome": one.outcome,
        "stage": one.stage,
        "stage_values": dict(one.stage_values),
        "guard": one.guard,
        "guard_values": dict(one.guard_values),
        "white": _spread(one.white),
        "sync": _spread(one.sync),
        "impedance": _spread(one.impedance),
        "yield": one.yield_,
        "margins": dict(one.margins),
        "level_error": one.level_error,
        "binding": one.binding,
        "parts": one.parts,
        "cost_class": one.cost_class,
        "say": one.say,
        "open": list(one.open_),
        "conditions": list(one.conditions),
    }


def _spread(one: Spread | None) -> dict[str, float] | None:
    return None if one is None else {"value": one.value, "low": one.low, "high": one.high}


def proposals_to_terminal(found: Proposals, *, width: int = 80, short: bool = False) -> str:
    """Return the proposals as lines of at most `width` columns, ending in a newline; `short` keeps the first build."""
    lines = [*indent(f"What to fit: {clean(found.unit)}", width), "=" * width]
    if not found.lines:
        lines += indent("Every line conforms as planned. Name one with --line, or take them all with --all.", width)
    for one in found.lines:
        lines += ["", *_said(one, width, short=short)]
    return "\n".join(lines) + "\n"


def _said(one: LineProposals, width: int, *, short: bool) -> Iterable[str]:
    names = " ".join(clean(name) for name in one.lines)
    yield from indent(f"{names}: {one.searched} builds searched, {one.confirmed} checked to the end", width)
    if not one.builds:
        yield from indent(f"NO BUILD PASSES: {clean(one.none_because or '')}.", width)
        if one.nearest is not None and not short:
            yield from _rows(one.nearest, width, "nearest")
        return
    for build in one.builds[:1] if short else one.builds:
        yield from _rows(build, width, str(build.rank))
    for note in one.notes:
        yield from indent(clean(note), width, "    ")


def _rows(one: Build, width: int, number: str) -> Iterable[str]:
    yield from indent(clean(one.say), width, f" {number} ")
    figures = [f"{name} {_range(spread, unit)}" for name, spread, unit in _figures(one) if spread is not None]
    if one.yield_ is not None:
        figures.append(f"{100 * one.yield_:.3g} % of builds inside")
    yield from indent("; ".join(figures), width, "     ")
    margins = [f"{clean(name)} {'no value' if db is None else f'{db:+.1f} dB'}" for name, db in one.margins.items()]
    if margins:
        yield from indent(f"margins: {', '.join(margins)}", width, "     ")
    yield from indent(f"binds: {clean(one.binding)}; {one.parts} parts, {_COST[one.cost_class]}", width, "     ")
    if one.open_:
        yield from indent(f"not proven yet: {', '.join(clean(name) for name in one.open_)}", width, "     ")
    if one.conditions:
        yield from indent(f"on condition: no {', no '.join(clean(name) for name in one.conditions)}", width, "     ")


def _figures(one: Build) -> tuple[tuple[str, Spread | None, str], ...]:
    return (("white", one.white, "V"), ("sync", one.sync, "V"), ("output", one.impedance, "ohm"))


def _range(one: Spread, unit: str) -> str:
    value, low, high = (show(number, unit) for number in (one.value, one.low, one.high))
    return value if low == high else f"{value} ({low} to {high})"
