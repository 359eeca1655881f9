"""The open level of every code of a weighted ladder: Millman's theorem."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def code_levels(legs: Array, low: Array, high: Array) -> Array:
    """Return the open-circuit level of every code, shape ``(n_rows, 2**n_legs)`` [V].

    Every leg goes to `high` where its bit is set and to `low` where it is not; the node stands at the mean of these,
    weighted by the legs' conductances (J. Millman, Proc. IRE 28, 1940, p. 413).

    Parameters
    ----------
    legs : resistance of each leg with its driver, most significant first, shape ``(n_rows, n_legs)`` [ohm]
    low, high : levels of the drivers, shape ``(n_rows,)`` [V]

    """
    weights = 1.0 / legs
    share = weights / weights.sum(axis=1, keepdims=True)
    count = legs.shape[1]
    bits = (np.arange(2**count)[:, None] >> np.arange(count - 1, -1, -1)) & 1
    set_share = share @ bits.T.astype(np.float64)
    return np.asarray(low[:, None] + (high - low)[:, None] * set_share)
