"""Quantities made of raw values that are given by hand, on a line that is known in full."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from guardcheck.measure.capture.found import NO_SYNC, Content, Found, Raw
from guardcheck.measure.capture.picture import Folded
from guardcheck.measure.capture.quantities import NAMES, Settings, to_quantities
from guardcheck.measure.readings import Circumstances
from guardcheck.metrology import Budget, Contribution
from guardcheck.model import Quantity
from tests.measure.drawn import Array

CASE = Settings(
    line="red",
    guarded=True,
    picture="white",
    load="terminated",
    place="display",
    coupling="dc",
    circumstances=Circumstances(75.0),
)
NOTHING = np.zeros(2)
FOLD = Folded(np.array([0.0, 1e-6]), NOTHING, np.zeros(2, dtype=np.int64), NOTHING)
WHOLE = Content(width=52e-6)


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


def raw_of(**values: Raw | float) -> dict[str, Raw]:
    """Return raw values, named with an underscore for the dot after the kind; a number stands for itself."""
    return {name.replace("_", ".", 1): Raw(one) if isinstance(one, float) else one for name, one in values.items()}


class Told:
    """What `to_quantities` makes of raw values; whatever is not given was not found."""

    def __init__(
        self,
        case: Settings = CASE,
        *,
        resolution: float = 0.01,
        step: float = 20e-9,
        volts: Array | None = None,
        sign: int = 1,
        noise: float = 0.0,
        lines: int = 50,
        drift: float = 0.0,
        has_picture: bool = True,
        content: Content = WHOLE,
        chroma: float | None = None,
        together: float = 0.0,
        **values: Raw | float,
    ) -> None:
        there = [name for name in NAMES if name not in ("level.pp", "noise.rms")]
        raw = {name: Raw(None, failure=f"{name} was not seen") for name in there}
        if "level_sync" not in values:
            raw["level.sync"] = Raw(None, failure=NO_SYNC)
        found = Found(
            {**raw, **raw_of(**values)}, FOLD, {}, {}, noise, lines, drift, has_picture, content, chroma,
            together=together,
        )  # fmt: skip
        seen = array(-0.3, 0.7) if volts is None else volts
        quantities, self.budgets = to_quantities(found, resolution, step, seen, case, sign=sign)
        self.quantities: Mapping[str, Quantity] = {one.name: one for one in quantities}
        assert tuple(self.quantities) == NAMES

    def __getitem__(self, name: str) -> Quantity:
        return self.quantities[name]

    def rows(self, name: str) -> list[tuple[str, float]]:
        """Return what each row of a budget adds to a quantity, half-width times sensitivity, [its unit x 1000]."""
        return [(row.name, 1e3 * row.half_width * abs(row.sensitivity)) for row in self.budget(name).contributions]

    def row(self, name: str, cause: str) -> Contribution:
        (found,) = {one for one in self.budget(name).contributions if one.name == cause}
        return found

    def budget(self, name: str) -> Budget:
        return self.budgets[name]


def alike(found: list[tuple[str, float]], expected: list[tuple[str, float]]) -> None:
    assert [name for name, _ in found] == [name for name, _ in expected]
    assert [size for _, size in found] == pytest.approx([size for _, size in expected], rel=1e-9)
