"""What a display makes of a line beyond its levels: whether it finds sync, and whether it takes the line rate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from guardcheck.model import COMPUTED, Limit, Quantity, Standard
from guardcheck.simulate.comparison import Solved


def sync_quantities(solved: Sequence[Solved]) -> tuple[Quantity, ...]:
    """Return, for every line with sync into a display that has a window for it, sync amplitude and whole swing.

    The window is the display's own: inside it the display locks. `sync.input` is held against what the input stands.
    """
    found = []
    for one in solved:
        window = one.experiment.chain.display.part.sync_window
        sync, swing = one.named("level.sync"), one.named("level.pp")
        if window is None or sync is None or swing is None or "sync" not in one.experiment.states:
            continue
        locks = Limit("sync.lock", window.low, window.high, None, window.reference, window.known_by)
        stands = Limit("sync.input", None, window.most, None, window.reference, window.known_by)
        found.append(replace(sync, name="sync.lock", limit=locks))
        found.append(replace(swing, name="sync.input", limit=stands))
    return tuple(found)


def line_rates(standards: Iterable[Standard]) -> tuple[Quantity, ...]:
    """Return every line rate the unit's lines have, once, whatever the lines are called.

    A rate is needed to be known where the same connector also carries others.
    """
    rates: dict[float, bool] = {}
    for standard in standards:
        if (standard.signal != "control" and "level.white" in standard.quantities) or standard.signal == "sync":
            rate = standard.line_rate
            rates[rate] = rates.get(rate, False) or standard.shared_rate
    return tuple(
        Quantity("scan.line_rate", "", None, rate, origin=COMPUTED, needed=shared) for rate, shared in rates.items()
    )
