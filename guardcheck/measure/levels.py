"""Level and impedance quantities from solved builds. Plain arrays in, `Quantity` records out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from guardcheck.model import Quantity

Array = NDArray[np.float64]

RESIDUE = 1e-9
"""What a solver leaves where the answer is zero, in any unit used here: shown as zero."""


def level_rows(states: Sequence[str], volts: Array) -> Mapping[str, Array]:
    """Return the level quantities of every build.

    Parameters
    ----------
    states : names of the signal states, a subset of white, black, blank, sync; blank must be among them
    volts : plateau at the display input, shape ``(n_rows, n_states)`` [V]

    Returns
    -------
    Arrays of shape ``(n_rows,)`` [V] by quantity name; only those the states allow. Sync is a positive number.

    """
    at = {state: volts[:, index] for index, state in enumerate(states)}
    blank = at["blank"]
    high, low = np.max(volts, axis=1), np.min(volts, axis=1)
    rows: dict[str, Array] = {"level.blank": blank, "level.high": high, "level.low": low, "level.pp": high - low}
    for state in ("white", "black"):
        if state in at:
            rows[f"level.{state}"] = at[state] - blank
    if "sync" in at:
        rows["level.sync"] = blank - at["sync"]
    return rows


def worst_impedance(magnitude: Array, nominal: float) -> Array:
    """Return, per build, the impedance farthest from `nominal` [ohm] among the signal states, shape ``(n_rows,)``."""
    pick = np.argmax(np.abs(np.where(np.isfinite(magnitude), magnitude, np.inf) - nominal), axis=1)
    return np.asarray(magnitude[np.arange(len(magnitude)), pick])


def relative_change(guarded: Array, bare: Array) -> Array:
    """Return (guarded - bare) / bare for every build; NaN where the bare signal is zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(np.abs(bare) > 0.0, (guarded - bare) / bare, np.nan))


def decibels(ratio: float) -> float:
    """Return 20·log10 of a positive voltage ratio [dB]."""
    return float(20.0 * np.log10(ratio))


def magnitude_db(response: NDArray[np.complex128]) -> Array:
    """Return 20·log10 |response| with a floor of -200 dB, same shape."""
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(response), 1e-10)))


def mismatch_rows(whites: Sequence[Array]) -> Array:
    """Return the worst level ratio between lines, build by build [dB]; each array has shape ``(n_rows,)``."""
    stack = np.abs(np.stack(whites))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(20.0 * np.log10(np.max(stack, axis=0) / np.min(stack, axis=0)))


def summarise(
    name: str,
    rows: Array,
    *,
    line: str,
    guarded: bool | None,
    corners: slice,
    samples: slice,
    summed: bool = False,
    unknowns: tuple[str, ...] = (),
    notes: tuple[str, ...] = (),
    failure: str | None = None,
) -> Quantity:
    """Turn one quantity over all builds into a `Quantity`: row 0 nominal, corners to a spread, samples kept.

    `summed` says that the corner rows move one value at a time, low then high; the spread is then the nominal plus the
    sum of the deviations in each direction (exact for a linear circuit, first order otherwise).

    Parameters
    ----------
    name : of the quantity
    rows : its value in every build, shape ``(n_rows,)`` [SI]
    line, guarded : whose it is
    corners, samples : which rows are corners, which samples
    summed : whether corners move one value at a time
    unknowns : declared unknowns it depends on, as ``role parameter``
    notes : sentences that go with it
    failure : why there is no value

    """
    rows = np.where(np.abs(rows) < RESIDUE, 0.0, rows)
    nominal = float(rows[0])
    edge = rows[corners]
    spread: tuple[float, float] | None = None
    if edge.size and summed:
        pairs = edge.reshape(-1, 2) - nominal
        up = np.clip(pairs.max(axis=1), 0.0, None).sum()
        down = np.clip(pairs.min(axis=1), None, 0.0).sum()
        spread = (nominal + float(down), nominal + float(up))
    elif edge.size:
        spread = (float(min(edge.min(), nominal)), float(max(edge.max(), nominal)))
    drawn = rows[samples]
    value = nominal if np.isfinite(nominal) else None
    if value is None and failure is None:
        failure = "the simulation of the nominal circuit gave no value"
    return Quantity(
        name,
        line,
        guarded,
        value,
        spread=spread,
        samples=drawn if drawn.size else None,
        unknowns=unknowns,
        notes=notes,
        failure=failure,
    )
