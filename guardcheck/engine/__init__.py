"""Turn decks into traces with ngspice. Nothing else in the package knows the simulator."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from guardcheck.engine.deckrules import check_deck
    from guardcheck.engine.library import find_library
    from guardcheck.engine.pool import Engine

__all__ = ["Engine", "check_deck", "find_library"]

_HOMES = {"Engine": "pool", "check_deck": "deckrules", "find_library": "library"}


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for: a worker process needs none of them and must start fast."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
