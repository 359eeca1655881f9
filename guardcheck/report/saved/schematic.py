"""The picture of a line read back from a saved result, every entry checked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.model import Schematic, SchematicNode, SchematicPart
from guardcheck.model.schematic import SYMBOLS
from guardcheck.report.saved import checks

MOST = 400
"""Most parts or nodes of one picture; a netlist that is accepted has fewer."""


def schematic(row: Mapping[str, Any], key: str) -> Schematic:
    """Return one picture. Raises `InputError` with the key of the first entry that is wrong."""
    states = checks.take(row, "states", checks.texts, prefix=key)
    return Schematic(
        lines=checks.take(row, "lines", checks.texts, prefix=key),
        guarded=checks.take(row, "guarded", checks.flag, prefix=key),
        states=states,
        path=tuple(_node(one, place, len(states)) for one, place in _rows(row, "path", key)),
        parts=tuple(_part(one, place, len(states)) for one, place in _rows(row, "parts", key)),
        titles=tuple(_title(one, f"{key}.titles") for one in checks.list_(row.get("titles", []), f"{key}.titles")),
        rail=checks.take(row, "rail", checks.or_null(checks.number), None, key),
    )


def _rows(row: Mapping[str, Any], name: str, key: str) -> list[tuple[Mapping[str, Any], str]]:
    place = f"{key}.{name}"
    found = checks.list_(row.get(name, []), place)
    if len(found) > MOST:
        raise InputError(f"found {len(found)} entries; accepted: at most {MOST}", key=place)
    return [(checks.object_(one, f"{place}[{n}]"), f"{place}[{n}]") for n, one in enumerate(found)]


def _node(row: Mapping[str, Any], key: str, states: int) -> SchematicNode:
    return SchematicNode(
        checks.take(row, "name", checks.text, prefix=key),
        checks.take(row, "point", checks.text, prefix=key),
        _numbers(row, "volts", key, states),
    )


def _part(row: Mapping[str, Any], key: str, states: int) -> SchematicPart:
    symbol = checks.take(row, "symbol", checks.text, prefix=key)
    if symbol not in SYMBOLS:
        raise InputError(
            f"found {checks.short(symbol)}; accepted: {accepted(SYMBOLS)}{nearest(symbol, SYMBOLS)}",
            key=f"{key}.symbol",
        )
    return SchematicPart(
        role=checks.take(row, "role", checks.text, prefix=key),
        name=checks.take(row, "name", checks.text, prefix=key),
        symbol=symbol,
        nodes=checks.take(row, "nodes", checks.texts, prefix=key),
        title=checks.take(row, "title", checks.text, "", key),
        key=checks.take(row, "key", checks.text, "", key),
        value=checks.take(row, "value", checks.or_null(checks.number), None, key),
        unit=checks.take(row, "unit", checks.text, "", key),
        cards=checks.take(row, "cards", checks.texts, (), key),
        currents=_numbers(row, "currents", key, states),
    )


def _numbers(row: Mapping[str, Any], name: str, key: str, states: int) -> tuple[float | None, ...]:
    """Return one number or null for each signal state, or none at all."""
    place = f"{key}.{name}"
    found = checks.list_(row.get(name, []), place)
    if len(found) not in (0, states):
        raise InputError(f"found {len(found)} numbers; accepted: {states}, one for each signal state", key=place)
    return tuple(checks.or_null(checks.number)(one, place) for one in found)


def _title(value: Any, key: str) -> tuple[str, str]:
    pair = checks.texts(value, key)
    if len(pair) != 2:
        checks.refuse(value, key, "two texts")
    return pair[0], pair[1]
