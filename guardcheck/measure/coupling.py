"""Voltage on coupling capacitors in the steady state: the one at which no net charge flows over a field.

A coupling capacitor is so large that its voltage does not move within a scan line; over a field its mean current is
zero. With a duty (share of time) for each signal state this is one equation per capacitor, solved by Newton's method
for all builds at once. It finds what a small-signal or DC-only model misses: a clamp that eats the sync tip on a white
picture, a follower that cannot sink.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEP_LIMIT = 2.0
"""Largest change of a capacitor's voltage in one Newton step [V]."""


def duties(states: Sequence[str], *, picture_level: float, blanking: float, sync: float) -> Array:
    """Return the share of time of each signal state, shape ``(n_states,)``, summing to 1.

    `blanking` is the share of time outside the active picture (sync included) and `sync` that of sync alone;
    `picture_level` is the average picture level, the share of the active picture that is white. A state the signal
    does not have gives its share to blanking.

    Parameters
    ----------
    states : signal states, ``n_states`` of them
    picture_level : average picture level, 0 to 1
    blanking : share of time outside the active picture, 0 to 1
    sync : share of time of sync alone, 0 to 1

    """
    share = {
        "white": (1.0 - blanking) * picture_level,
        "black": (1.0 - blanking) * (1.0 - picture_level),
        "sync": sync,
    }
    known = {state: share[state] for state in states if state in share}
    rest = 1.0 - sum(known.values())
    return np.array([known.get(state, rest if state == "blank" else 0.0) for state in states])


def mean_current(currents: Array, duty: Array) -> Array:
    """Return the mean over the states: currents ``(n_rows, n_states, n_caps)`` [A] to ``(n_rows, n_caps)``."""
    return np.asarray(np.einsum("rsc,s->rc", currents, duty))


def newton_step(volts: Array, residual: Array, jacobian: Array) -> Array:
    """Return the next capacitor voltages, shapes ``(n_rows, n_caps)``, jacobian ``(n_rows, n_caps, n_caps)``.

    A capacitor no current depends on keeps its voltage (least-squares step); a step is limited to `STEP_LIMIT`.

    Parameters
    ----------
    volts : capacitor voltages, shape ``(n_rows, n_caps)`` [V]
    residual : mean current of each, shape ``(n_rows, n_caps)`` [A]
    jacobian : of the residual, shape ``(n_rows, n_caps, n_caps)`` [A/V]

    """
    step = -np.einsum("rij,rj->ri", np.linalg.pinv(jacobian, rcond=1e-9), residual)
    return np.asarray(volts + np.clip(step, -STEP_LIMIT, STEP_LIMIT))


def as_held(names: Sequence[str], volts: Array) -> Mapping[str, Array]:
    """Return the voltages ``(n_rows, n_caps)`` by capacitor name."""
    return {name: volts[:, index] for index, name in enumerate(names)}
