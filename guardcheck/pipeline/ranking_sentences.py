"""The sentence that says which guard buys most, and what a reader of the ranking must know."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from guardcheck.formatting import times
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, Ranked
from guardcheck.simulate.stress.bench import Bench

SAME = 0.1
"""Margins that differ by less [dB] are equal."""


def called(row: Ranked) -> str:
    """Return a guard's name with its place."""
    return row.name if row.place is None else f"{row.name} at the {row.place}"


def _times(margin: float) -> str:
    """Return 20 log10 of rating over stress as a bench says it: ``5.0 x too much``, ``1.4 x to spare``."""
    return f"{times(10.0 ** (abs(margin) / 20.0))} {'too much' if margin < 0.0 else 'to spare'}"


def summary_of(line: str, rows: Sequence[Ranked], bare: Ranked, decides: Mapping[str, bool]) -> str:
    """Return one sentence or two: the best guard, what it buys most against, and what still fails with it."""
    best = rows[0]
    if not best.fits:
        return f"On {line} every guard on the shelf breaks the picture: none is fit for it as it is built."
    if best.name == bare.name:
        return f"On {line} no guard on the shelf leaves less failing than the bare line: fit none of them for this."
    gains = {
        name: (before, after)
        for name, after in best.margins.items()
        if (before := bare.margins.get(name)) is not None and after is not None
    }
    deciding = [name for name in gains if decides.get(name)] or list(gains)
    bought = ""
    if deciding:
        name = max(deciding, key=lambda one: gains[one][1] - gains[one][0])
        if gains[name][1] - gains[name][0] < SAME:
            return (
                f"On {line} no guard buys anything: with the best, {called(best)}, every margin stays what it is bare. "
                "What drives the line takes the stress itself; a resistor in front of it would have to."
            )
        bought = f": {name} goes from {_times(gains[name][0])} to {_times(gains[name][1])}"
    sentence = f"On {line}, {called(best)} buys most{bought}."
    if best.as_planned:
        sentence = f"On {line}, what is planned is the best of them, {called(best)}{bought}."
    failing = sorted(one for one, outcome in best.outcomes.items() if decides.get(one) and outcome == DOES_NOT_CONFORM)
    if failing:
        return f"{sentence} It does not save the line from {', '.join(failing)}."
    if all(outcome == CONFORMS for one, outcome in best.outcomes.items() if decides.get(one)):
        return f"{sentence} With it every event that decides conforms."
    return f"{sentence} With it nothing that decides fails, but not everything is proven."


def notes_of(rows: Sequence[Ranked], bench: Bench) -> tuple[str, ...]:
    """Return what a reader must know before he picks a row."""
    notes = [
        "Margins are rating over stress in dB at the hardest level of each event; +1.5 dB or more conforms, -1.5 dB or "
        "less does not. A tilde (≈ on a page) marks an estimate beyond a device's data sheet: it may rank a guard, not "
        "certify it.",
        "The order connector, clamp, resistor, chip is the only one whose result hardly depends on the chip's own "
        "diodes, which no data sheet gives; with the clamp straight at the pin, the two share the current.",
    ]
    if any(row.rail is not None and row.rail > bench.rail_max[0] for row in rows):
        notes.append("Guards that dump into the rail lift it, and with it every chip on it; suppressors to 0 V do not.")
    if any(row.signal.get("guard.level_error") == DOES_NOT_CONFORM for row in rows):
        notes.append(
            "A guard with resistors of its own lies in the signal's way: take their sum out of the stage's series "
            "resistor, and check again."
        )
    assumed = [*bench.assumed, *bench.chassis.assumed]
    if assumed:
        notes.append(f"Not declared, worst usual value used: {'; '.join(assumed)}.")
    return tuple(notes)


__all__ = ["called", "notes_of", "summary_of"]
