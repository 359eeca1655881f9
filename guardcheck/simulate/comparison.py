"""Quantities that compare: the guarded chain with its bare one, and the lines of one picture with each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from guardcheck.engine import Engine
from guardcheck.measure import decibels, level_rows, mismatch_rows, relative_change
from guardcheck.model import Curve, Job, Quantity, Standard
from guardcheck.simulate.clipping import distortions
from guardcheck.simulate.experiment import Experiment, Plateaus

AMPLITUDES = ("level.white", "level.sync")


@dataclass(frozen=True)
class Solved:
    """Everything simulated of one line in one state: plateaus by picture level, quantities, curves.

    `unrest` says why its operating points do not hold, if they do not.
    """

    experiment: Experiment
    plateaus: tuple[Plateaus, ...]
    quantities: tuple[Quantity, ...]
    curves: tuple[Curve, ...] = ()
    unrest: str | None = None

    def named(self, name: str) -> Quantity | None:
        """Return the quantity of that name, if this line has it."""
        return next((one for one in self.quantities if one.name == name), None)


def amplitude_of(standard: Standard) -> str | None:
    """Return the amplitude a line is judged by: the first of white and sync its standard limits.

    A logic signal has two levels and no amplitude of its own: what a guard takes from it is read from the swing.
    """
    swing = "level.pp" if "level.high" in standard.limits else None
    return next((name for name in AMPLITUDES if name in standard.limits), swing)


def guard_errors(engine: Engine, solved: Sequence[Solved]) -> list[Quantity]:
    """Return what the guard of every guarded line does to its signal, against the bare chain."""
    bare = {one.experiment.chain.line: one for one in solved if not one.experiment.chain.guarded}
    pairs = [
        (bare[one.experiment.chain.line], one)
        for one in solved
        if one.experiment.chain.guarded and one.experiment.chain.line in bare
    ]
    errors = [
        _guard_error(one, other, name)
        for other, one in pairs
        if "guard.level_error" in one.experiment.standard.quantities
        and (name := amplitude_of(one.experiment.standard)) is not None
    ]
    bent = [pair for pair in pairs if "guard.distortion" in pair[1].experiment.standard.quantities]
    return [*errors, *distortions(engine, [(other.plateaus, one.plateaus) for other, one in bent])]


def _guard_error(one: Solved, other: Solved, name: str) -> Quantity:
    """Compare a guarded chain with its bare one, build by build, at every picture level both were solved for."""
    bare = {plateaus.picture_level: plateaus for plateaus in other.plateaus}
    chain, judged = one.experiment.chain, one.plateaus[0]
    value, samples = None, None
    spread: tuple[float, float] | None = None
    pictures: list[float] = []
    for plateaus in one.plateaus:
        without = bare.get(plateaus.picture_level, other.plateaus[0])
        shared = min(plateaus.builds.n_rows, without.builds.n_rows)
        change = relative_change(_rows(plateaus, name)[:shared], _rows(without, name)[:shared])
        corners = change[: 1 + plateaus.builds.n_corners]
        ends = (float(np.min(corners)), float(np.max(corners)))
        if plateaus is judged:
            value, spread = (float(change[0]) if np.isfinite(change[0]) else None), ends
            drawn = change[plateaus.builds.samples]
            samples = drawn if drawn.size else None
        else:
            pictures += ends
    return Quantity(
        "guard.level_error",
        chain.line,
        True,
        value,
        spread=spread,
        samples=samples,
        unknowns=chain.unknowns,
        pictures=(min(pictures), max(pictures)) if pictures else None,
        failure=judged.failure or other.plateaus[0].failure,
    )


def _rows(plateaus: Plateaus, name: str) -> NDArray[np.float64]:
    return level_rows(plateaus.experiment.states, plateaus.volts)[name]


def mismatches(job: Job, solved: Sequence[Solved]) -> list[Quantity]:
    """Return `level.mismatch` for the lines of one picture, all bare and all as built."""
    out: list[Quantity] = []
    guarded_lines = {line.name for line in job.lines if line.has_guard}
    for guarded in (False, True):
        groups: dict[str, list[Solved]] = {}
        for one in solved:
            chain, standard = one.experiment.chain, one.experiment.standard
            as_built = chain.guarded == (guarded and chain.line in guarded_lines)
            if standard.group is not None and "level.mismatch" in standard.quantities and as_built:
                groups.setdefault(standard.group, []).append(one)
        for members in groups.values():
            if len(members) > 1 and (not guarded or any(one.experiment.chain.guarded for one in members)):
                out += _mismatch(members, guarded)
    return out


def _mismatch(members: Sequence[Solved], guarded: bool) -> list[Quantity]:
    """Return the mismatch of one picture for each of its lines that is guarded or bare as asked."""
    whites = [white for one in members if (white := one.named("level.white")) is not None]
    nominal = [white.value for white in whites if white.value is not None]
    value: float | None = None
    spread: tuple[float, float] | None = None
    samples: NDArray[np.float64] | None = None
    failure = next((white.failure for white in whites if white.failure), None)
    if len(nominal) < len(members):
        failure = failure or "a line of this picture could not be simulated"
    else:
        value = float(mismatch_rows([np.array([level]) for level in nominal])[0])
        ends = [white.spread or (level, level) for white, level in zip(whites, nominal, strict=True)]
        lowest, highest = min(abs(low) for low, _ in ends), max(abs(high) for _, high in ends)
        spread = (0.0, decibels(highest / lowest) if lowest > 0.0 else float("inf"))
        drawn = [white.samples for white in whites if white.samples is not None]
        if len(drawn) == len(members) and len({len(one) for one in drawn}) == 1:
            samples = mismatch_rows(drawn)
    return [
        Quantity(
            "level.mismatch",
            one.experiment.chain.line,
            guarded,
            value,
            spread=spread,
            samples=samples,
            failure=failure,
        )
        for one in members
        if one.experiment.chain.guarded == guarded
    ]
