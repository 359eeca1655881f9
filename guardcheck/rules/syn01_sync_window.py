"""SYN01: whether the display's sync separator finds sync.

Hazard
    Sync outside a separator's window gives a picture that rolls or none at all; far above it the input's rating is
    passed.
What is read
    Sync amplitude and whole swing at the display's input, against the window the display's own data sheet prints.
Limit and source
    The display's `sync_window` (circuits/displays): inside it locks, beside it it may not lock, which is not proven
    either way; above what the input stands it does not conform.
Not covered
    Noise, jitter and copy protection on sync; displays that declare no window.
What to do at the bench
    Scope on the sync line at the display's input, terminated; then the series resistor that sets it.
"""

from __future__ import annotations

from dataclasses import replace

from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    SIGNAL,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
)
from guardcheck.verdict.outcome import hold

RULE = Rule(code="SYN01", title="Sync window of the display", klass=SIGNAL, quantities=("sync.lock", "sync.input"))


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Hold sync against the window, and the whole swing against what the input stands."""
    return tuple(_may_not_lock(one) if one.quantity == "sync.lock" else one for one in hold(RULE, facts))


def _may_not_lock(one: Finding) -> Finding:
    """Beside its window a separator may still lock: that fails nothing and proves nothing."""
    if one.outcome != DOES_NOT_CONFORM:
        return one
    return replace(one, outcome=NOT_PROVEN, why=f"The display may not lock. {one.why}")


_WINDOW = Limit("sync.lock", 0.14, 0.6, None, "LMH1981 data sheet, p.3", "read")
_STANDS = Limit("sync.input", None, 3.6, None, "LMH1981 data sheet, p.3", "read")
CASES = (
    Case("0.3 V: typical", Facts((Quantity("sync.lock", "green", None, 0.3, limit=_WINDOW),)), CONFORMS),
    Case("0.1 V: may not lock", Facts((Quantity("sync.lock", "green", None, 0.1, limit=_WINDOW),)), NOT_PROVEN),
    Case("1.3 V: may not lock", Facts((Quantity("sync.lock", "green", None, 1.3, limit=_WINDOW),)), NOT_PROVEN),
    Case("5 V of logic", Facts((Quantity("sync.input", "green", None, 5.0, limit=_STANDS),)), DOES_NOT_CONFORM),
)
