"""Proposed builds, as lines for a terminal and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from guardcheck.formatting import share, show
from guardcheck.model import DOES_NOT_CONFORM, QUANTITIES, Build, LineProposals, Proposals, Spread
from guardcheck.report.arrange.words import clean
from guardcheck.report.text.grid import indent

FORMAT = "guardcheck-proposals/1"
AMPLE = 60.0
"""Margin [dB] from which its size tells nobody anything: a thousand times the rating."""
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
        "rules": list(one.rules),
    }


def _spread(one: Spread | None) -> dict[str, float] | None:
    return None if one is None else {"value": one.value, "low": one.low, "high": one.high}


def proposals_to_terminal(found: Proposals, *, width: int = 80, short: bool = False) -> str:
    """Return the proposals as lines of at most `width` columns, ending in a newline; `short` keeps the first build."""
    lines = [*indent(f"What to fit: {clean(found.unit)}", width), "=" * width]
    if not found.lines:
        lines += indent("Every line conforms as planned. Name one with --line, or take them all with --all.", width)
    for one in found.lines:
        lines += ["", *_said(one, found.titles, width, short=short)]
    return "\n".join(lines) + "\n"


def _said(one: LineProposals, titles: Mapping[str, str], width: int, *, short: bool) -> Iterable[str]:
    names = " ".join(clean(name) for name in one.lines)
    yield from indent(
        f"{names}: {one.searched} combinations looked at, the best {one.confirmed} simulated to the end", width
    )
    shown = one.builds[:1] if short else one.builds
    if not one.builds:
        yield from indent(f"NO BUILD PASSES: {clean(one.none_because or '')}.", width)
        shown = () if one.nearest is None or short else (one.nearest,)
    for build in shown:
        yield from _rows(build, titles, width, str(build.rank) if one.builds else "nearest")
    rules = dict.fromkeys(rule for build in shown for rule in build.rules)
    if rules:
        yield from indent("Rules of use, to be handed over with the unit:", width, " ")
        for rule in rules:
            yield from indent(f"{clean(rule).rstrip('.')}.", width, "   - ")
    for note in one.notes:
        yield from indent(clean(note), width, " ")


def _rows(one: Build, titles: Mapping[str, str], width: int, number: str) -> Iterable[str]:
    """Yield one build, the answer first: what to solder, what it gives, what it bears; decibels last."""

    def named(events: Iterable[str]) -> str:
        return ", ".join(_title(name, titles) for name in events)

    yield from indent(clean(one.say), width, f" {number} ")
    figures = [f"{name} {_range(spread, unit)}" for name, spread, unit in _figures(one) if spread is not None]
    if one.yield_ is not None:
        figures.append(f"{share(one.yield_)} of the builds drawn within tolerance keep every limit")
    rows = [("gives", "; ".join(figures))]
    if one.outcome != DOES_NOT_CONFORM:
        rows.append(("holds", named(name for name in one.margins if name not in (*one.open_, *one.conditions))))
    rows.append(("not proven", named(one.open_)))
    rows.append(("lives only if a rule of use keeps away", named(one.conditions)))
    rows.append(("takes", f"{one.parts} part{'' if one.parts == 1 else 's'}, {_COST[one.cost_class]}"))
    rows.append(("binds", clean(_retitled(one.binding, titles))))
    rows.append(("to spare", ", ".join(f"{_title(name, titles)} {_margin(db)}" for name, db in one.margins.items())))
    for title, text in rows:
        if text:
            yield from indent(f"{title}: {text}", width, "     ")


def _title(name: str, titles: Mapping[str, str]) -> str:
    """Return what an event, or a quantity, is called at the bench."""
    title = titles.get(name) or (QUANTITIES[name].title if name in QUANTITIES else name)
    return clean(title[0].lower() + title[1:] if title[1:2].islower() else title)


def _retitled(binding: str, titles: Mapping[str, str]) -> str:
    """Return what binds with the event it begins with under its title."""
    name, comma, rest = binding.partition(",")
    return f"{_title(name, titles)}{comma}{rest}"


def _margin(db: float | None) -> str:
    if db is None or db <= -AMPLE:
        return "no value"
    return f"more than {AMPLE:g} dB" if db >= AMPLE else f"{db:+.1f} dB"


def _figures(one: Build) -> tuple[tuple[str, Spread | None, str], ...]:
    return (("white", one.white, "V"), ("sync", one.sync, "V"), ("output", one.impedance, "ohm"))


def _range(one: Spread, unit: str) -> str:
    value, low, high = (show(number, unit) for number in (one.value, one.low, one.high))
    return value if low == high else f"{value} ({low} to {high})"
