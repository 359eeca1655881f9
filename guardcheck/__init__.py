"""Check analogue-video mods: are the levels right, and does the pin survive the bench.

What a notebook needs is here: `check`, `verify`, `rank_guards`, `propose`, `expect`, `read_result`. Each is
loaded when it is first used.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from guardcheck.version import __version__

if TYPE_CHECKING:
    from guardcheck.door import (
        Expected,
        Finding,
        GuardcheckError,
        Proposals,
        Ranking,
        Result,
        check,
        check_text,
        expect,
        propose,
        rank_guards,
        read_result,
        verify,
    )

__all__ = [
    "Expected",
    "Finding",
    "GuardcheckError",
    "Proposals",
    "Ranking",
    "Result",
    "__version__",
    "check",
    "check_text",
    "expect",
    "propose",
    "rank_guards",
    "read_result",
    "verify",
]


def __getattr__(name: str) -> Any:
    """Return a name of the door; importing the package alone loads nothing else."""
    if name not in __all__:
        raise AttributeError(f"module 'guardcheck' has no attribute '{name}'")
    from guardcheck import door

    return getattr(door, name)


def __dir__() -> list[str]:
    return __all__
