"""Which builds of a circuit to run: the nominal one, the worst-case corners, and the seeded samples."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from guardcheck.model import Value

FULL_FACTORIAL = 7
"""Up to this many toleranced values every corner is run (2**7 = 128); beyond it, one at a time (`Builds.summed`)."""

Key = tuple[str, str]
"""A varying value: the role of its part (``stage``) and its parameter (``series``)."""


@dataclass(frozen=True)
class Builds:
    """Rows of values, shape ``(n_rows, n_keys)`` [SI]: row 0 nominal, then corners, then samples.

    When `summed` is true the corner rows change one value at a time, low then high for each key, and the worst case
    is the sum of the one-at-a-time deviations.
    """

    keys: tuple[Key, ...]
    rows: NDArray[np.float64]
    n_corners: int
    summed: bool

    @property
    def n_rows(self) -> int:
        """Number of builds, nominal and corners included."""
        return len(self.rows)

    @property
    def corners(self) -> slice:
        """Rows that are worst-case corners."""
        return slice(1, 1 + self.n_corners)

    @property
    def samples(self) -> slice:
        """Rows that are seeded samples."""
        return slice(1 + self.n_corners, len(self.rows))

    def column(self, key: Key) -> NDArray[np.float64]:
        """Return the values of one key, shape ``(n_rows,)``."""
        return self.rows[:, self.keys.index(key)]

    def without_samples(self) -> Builds:
        """Return the same builds without the seeded samples."""
        return Builds(self.keys, self.rows[: 1 + self.n_corners], self.n_corners, self.summed)

    def one_at_a_time(self) -> Builds:
        """Return the nominal build and each value at its low and high end alone: few rows for costly decks."""
        nominal, keys = self.rows[:1], len(self.keys)
        if not keys or not self.n_corners:
            return self.nominal()
        ends = self.rows[self.corners]
        rows = np.repeat(nominal, 2 * keys, axis=0)
        for column in range(keys):
            rows[2 * column, column] = ends[:, column].min()
            rows[2 * column + 1, column] = ends[:, column].max()
        return Builds(self.keys, np.vstack([nominal, rows]), 2 * keys, True)

    def single(self, row: int) -> Builds:
        """Return one build alone, as its own nominal."""
        return Builds(self.keys, self.rows[row : row + 1], 0, self.summed)

    def nominal(self) -> Builds:
        """Return the nominal build alone."""
        return Builds(self.keys, self.rows[:1], 0, self.summed)


def plan_builds(values: Mapping[Key, Value], *, n_samples: int, seed: Sequence[int]) -> Builds:
    """Return the builds of a circuit whose `values` carry tolerances.

    Samples are uniform within the declared bounds, independent of each other: the widest distribution a tolerance
    allows, stated wherever a yield is shown. `seed` makes them reproducible whatever else the job holds.

    Parameters
    ----------
    values : every value with its bounds [SI], by role and parameter
    n_samples : rows drawn at random, 0 or more
    seed : of the generator, one or more whole numbers

    """
    varying = {key: value for key, value in sorted(values.items()) if value.varies}
    keys = tuple(varying)
    nominal = np.array([value.nominal for value in varying.values()])
    low = np.array([value.low for value in varying.values()])
    high = np.array([value.high for value in varying.values()])
    if not keys:
        return Builds((), np.zeros((1, 0)), 0, False)
    summed = len(keys) > FULL_FACTORIAL
    if summed:
        corners = np.repeat(nominal[None, :], 2 * len(keys), axis=0)
        for column in range(len(keys)):
            corners[2 * column, column] = low[column]
            corners[2 * column + 1, column] = high[column]
    else:
        corners = np.array(list(product(*zip(low, high, strict=True))))
    draws = np.random.default_rng(list(seed)).uniform(low, high, size=(n_samples, len(keys)))
    return Builds(keys, np.vstack([nominal[None, :], corners, draws]), len(corners), summed)
