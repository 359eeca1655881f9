"""A job file with a chosen build in place of the planned one: comments, order and everything else kept."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit

from guardcheck.model import Build


def with_build(text: str, builds: Mapping[int, Build]) -> str:
    """Return a job file's text with builds written into its `[[line]]` tables, by the number of the table."""
    document = tomlkit.parse(text)
    tables: Any = document["line"]
    for index, build in builds.items():
        table = tables[index]
        if not build.own:
            _put(table, "stage", build.stage)
        _values(table, "stage", build.stage_values)
        _put(table, "guard", build.guard)
        _values(table, "guard", build.guard_values)
    return tomlkit.dumps(document)


def _put(table: Any, kind: str, name: str) -> None:
    """Name a part of the shelf, in the place of an own netlist if there was one."""
    if f"{kind}_netlist" in table:
        del table[f"{kind}_netlist"]
    table[kind] = name


def _values(table: Any, kind: str, values: Mapping[str, str]) -> None:
    key = f"{kind}_values"
    if values:
        inline = tomlkit.inline_table()
        inline.update(dict(values))
        table[key] = inline
    elif key in table:
        del table[key]
