"""Flat names: unique within one instantiation, short enough for a simulator, the same every time."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from guardcheck.netlist.writer import MAX_NAME

_KEPT = 44


class Names:
    """Hands out flat names. Names given twice get a running number, long ones a digest of what was cut off."""

    def __init__(self, taken: Iterable[str] = ()) -> None:
        self._taken = set(taken)

    def unique(self, wanted: str) -> str:
        """Return `wanted`, or the nearest to it that is free and at most 60 characters long."""
        short = wanted
        if len(wanted) > MAX_NAME - 5:
            short = f"{wanted[:_KEPT]}_{hashlib.sha256(wanted.encode()).hexdigest()[:10]}"
        name, count = short, 1
        while name in self._taken:
            count += 1
            name = f"{short}_{count}"
        self._taken.add(name)
        return name
