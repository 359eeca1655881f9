"""Which source is it: two to five readings of one level into known loads, fitted by each kind of output.

Weighted least squares with the readings' standard uncertainties (JCGM 100:2008, rectangular limits over the root of
three); a kind that misses them beyond the 95 % point of chi-square does not fit. Two readings fit more than one kind.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LINEAR, CURRENT, FOLLOWER, OPEN_COLLECTOR = "linear", "current", "follower", "open-collector"
CHI_SQUARE_95 = {1: 3.841, 2: 5.991, 3: 7.815, 4: 9.488}
"""95 % points of chi-square by degrees of freedom (tables in any text on statistics)."""
SLOW_RISE = 3.0
"""From this ratio of rise to fall on a resistor pulls up, not a transistor (common practice, no published source)."""
COVERAGE = 2.0
"""Coverage factor of the intervals given (JCGM 100:2008, 6.2: about 95 %)."""
NEXT_LOADS = (150.0, 37.5, 300.0)
"""Loads a bench has at hand to tell kinds apart [ohm]: 75-ohm resistors in series and in parallel."""
_STEPS = 50
_FLAT = 1e14
"""Condition number from which EMF and impedance cannot be told apart: the readings lie on a line through zero."""


@dataclass(frozen=True, slots=True)
class LoadReading:
    """One reading: load [ohm], infinite for none, volts, and their standard uncertainty [V]."""

    ohms: float
    volts: float
    u: float


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of output fitted to readings.

    `values` holds name, value and expanded uncertainty (k = 2) [V, ohm or A]; ``emf``, ``impedance``, ``current`` or
    ``limit`` (the voltage a current stops at, or the current a follower stops at). `chi2` has `freedom` degrees; with
    none left every kind fits and nothing is shown.
    """

    name: str
    values: tuple[tuple[str, float, float], ...]
    chi2: float
    freedom: int

    @property
    def fits(self) -> bool:
        """Tell whether the readings allow this kind."""
        return self.freedom < 1 or self.chi2 <= CHI_SQUARE_95[self.freedom]

    def value(self, name: str) -> float | None:
        """Return a fitted value, None where the readings do not show it."""
        return next((value for key, value, _ in self.values if key == name), None)

    def predict(self, ohms: float) -> float:
        """Return the level into a load [V]."""
        return float(_MODELS[self.name](self, ohms))


@dataclass(frozen=True)
class Identified:
    """Every kind tried, the one the readings show if they show one, and what is left open.

    `rivals` are the kinds that fit and cannot be told apart; `ask` is the load [ohm] whose reading would tell, None
    where the pin bears none that would.
    """

    kinds: tuple[Kind, ...]
    best: Kind | None
    rivals: tuple[Kind, ...]
    ask: float | None = None

    def kind(self, name: str) -> Kind | None:
        """Return one kind as fitted, None where there are too few readings for it."""
        return next((one for one in self.kinds if one.name == name), None)


def identify(
    readings: Sequence[LoadReading], *, rise: float | None = None, fall: float | None = None, bears: float = 0.0
) -> Identified:
    """Return which kinds of output the readings allow.

    Parameters
    ----------
    readings : of one level, two or more, each into another load
    rise, fall : 10 to 90 % times of the level's edges [s], where they were read
    bears : the heaviest load the pin may be asked to bear [ohm]; no heavier one is asked for

    """
    found = sorted(readings, key=lambda one: -one.ohms)
    if len(found) < 2:
        raise ValueError("two readings are wanted")
    tried = [_linear(found), _current(found), _follower(found)]
    kinds = tuple(one for one in tried if one is not None)
    if rise is not None and fall is not None and rise >= SLOW_RISE * fall:
        kinds = tuple(Kind(OPEN_COLLECTOR, k.values, k.chi2, k.freedom) if k.name == LINEAR else k for k in kinds)
    fitting = [one for one in kinds if one.fits]
    if not fitting:
        return Identified(kinds, None, ())
    fewest = min(_size(one) for one in fitting)
    rivals = tuple(sorted((one for one in fitting if _size(one) == fewest), key=lambda one: one.chi2))
    if len(rivals) == 1:
        return Identified(kinds, rivals[0], ())
    return Identified(kinds, None, rivals, _telling(rivals, found, bears))


def _size(kind: Kind) -> int:
    return len(kind.values)


def _telling(rivals: Sequence[Kind], found: Sequence[LoadReading], bears: float) -> float | None:
    """Return the load into which the rivals differ most, among those at hand, borne and not yet read; None for none."""
    taken = {one.ohms for one in found}
    borne = [load for load in NEXT_LOADS if load >= bears]
    loads = [load for load in borne if load not in taken] or borne

    def apart(load: float) -> float:
        volts = [one.predict(load) for one in rivals]
        return (max(volts) - min(volts)) / max(volts)

    return max(loads, key=apart, default=None)


def _arrays(found: Sequence[LoadReading]) -> tuple[Array, Array, Array]:
    siemens = np.array([0.0 if math.isinf(one.ohms) else 1.0 / one.ohms for one in found])
    return siemens, np.array([one.volts for one in found]), np.array([one.u for one in found])


def _chi2(kind: Kind, found: Sequence[LoadReading]) -> float:
    return sum(((one.volts - kind.predict(one.ohms)) / one.u) ** 2 for one in found)


def _with_chi2(name: str, values: tuple[tuple[str, float, float], ...], found: Sequence[LoadReading]) -> Kind:
    bare = Kind(name, values, 0.0, len(found) - len(values))
    return Kind(name, values, _chi2(bare, found), bare.freedom)


def _thevenin(found: Sequence[LoadReading]) -> tuple[Array, Array] | None:
    """Return EMF and impedance with their covariance: Gauss-Newton steps from the straight line of 1/V over 1/R."""
    siemens, volts, u = _arrays(found)
    if len(found) < 2 or np.ptp(siemens) == 0.0 or np.any(volts <= 0.0):
        return None
    weight = volts**2 / u
    line = np.column_stack([np.ones_like(siemens), siemens]) * weight[:, None]
    (offset, slope), *_ = np.linalg.lstsq(line, weight / volts, rcond=None)
    if offset <= 0.0:
        return None
    at = np.array([1.0 / offset, slope / offset])
    jacobian = np.zeros((len(found), 2))
    for _ in range(_STEPS):
        share = 1.0 + at[1] * siemens
        jacobian = np.column_stack([1.0 / share, -at[0] * siemens / share**2]) / u[:, None]
        step, *_ = np.linalg.lstsq(jacobian, (volts - at[0] / share) / u, rcond=None)
        at = np.asarray(at + step, dtype=np.float64)
        if np.all(np.abs(step) <= 1e-12 * np.abs(at) + 1e-15):
            break
    information = jacobian.T @ jacobian
    if not np.all(np.isfinite(at)) or np.linalg.cond(information) > _FLAT:
        return None
    return at, np.asarray(np.linalg.inv(information), dtype=np.float64)


def _linear(found: Sequence[LoadReading]) -> Kind | None:
    solved = _thevenin(found)
    if solved is None:
        return None
    (emf, ohms), covariance = solved
    spread = COVERAGE * np.sqrt(np.diag(covariance))
    if emf <= spread[0] or ohms < -spread[1]:
        return None
    values = (("emf", float(emf), float(spread[0])), ("impedance", max(float(ohms), 0.0), float(spread[1])))
    return _with_chi2(LINEAR, values, found)


def _mean(values: Array, u: Array) -> tuple[float, float]:
    """Return the weighted mean and its expanded uncertainty."""
    weight = 1.0 / u**2
    return float(np.sum(weight * values) / np.sum(weight)), float(COVERAGE / math.sqrt(np.sum(weight)))


def _amps(found: Sequence[LoadReading]) -> tuple[float, float]:
    """Return the current that fits V = I R best, and its expanded uncertainty [A]."""
    ohms, volts, u = (np.array([getattr(one, name) for one in found]) for name in ("ohms", "volts", "u"))
    return _mean(volts / ohms, u / ohms)


def _current(found: Sequence[LoadReading]) -> Kind | None:
    """Fit a current that stops at a voltage: the lighter loads may stand at it, the heavier ones show the current."""
    made = []
    for split in range(len(found)):
        held, driven = found[:split], found[split:]
        if any(math.isinf(one.ohms) for one in driven):
            continue
        amps, spread = _amps(driven)
        values: tuple[tuple[str, float, float], ...] = (("current", amps, spread),)
        if held:
            _, volts, u = _arrays(held)
            values += (("limit", *_mean(volts, u)),)
        made.append(_with_chi2(CURRENT, values, found))
    made = [one for one in made if one.value("current")]
    return min(made, key=lambda one: (not one.fits, _size(one), one.chi2), default=None)


def _follower(found: Sequence[LoadReading]) -> Kind | None:
    """Fit a linear output whose current is limited: the heavier loads show the limit."""
    made = []
    for split in range(2, len(found)):
        linear = _linear(found[:split])
        if linear is None:
            continue
        amps, spread = _amps(found[split:])
        made.append(_with_chi2(FOLLOWER, (*linear.values, ("limit", amps, spread)), found))
    return min(made, key=lambda one: one.chi2, default=None)


def _volts_linear(kind: Kind, ohms: float) -> float:
    emf, inner = kind.value("emf") or 0.0, kind.value("impedance") or 0.0
    return emf if math.isinf(ohms) else emf * ohms / (ohms + inner)


def _volts_current(kind: Kind, ohms: float) -> float:
    limit = kind.value("limit")
    return min((kind.value("current") or 0.0) * ohms, math.inf if limit is None else limit)


def _volts_follower(kind: Kind, ohms: float) -> float:
    return min(_volts_linear(kind, ohms), (kind.value("limit") or 0.0) * ohms)


_MODELS: dict[str, Callable[[Kind, float], float]] = {
    LINEAR: _volts_linear,
    OPEN_COLLECTOR: _volts_linear,
    CURRENT: _volts_current,
    FOLLOWER: _volts_follower,
}
