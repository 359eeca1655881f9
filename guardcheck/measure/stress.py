"""What a stress does at a chip's pin: from waveforms to peaks, charge, energy and time over the ratings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

OUTSIDE = 0.3
"""How far beyond either rail [V] a pin's current counts as forced: the strictest voltage limit seen in data sheets.
Between that a current is what its driver delivers or takes."""


@dataclass(frozen=True)
class PinWaves:
    """One run seen at a pin, arrays of shape ``(n_points,)``: time [s], pin and rail voltage [V], current into it [A].

    `diodes` pairs the forward current [A] of each of the pin's own diodes with the voltage of the rail it ends on [V].
    """

    time: Array
    volts: Array
    rail: Array
    amps: Array
    diodes: tuple[tuple[Array, Array], ...] = ()

    @property
    def over(self) -> Array:
        """Voltage above the rail at each instant [V], negative while below it."""
        return self.volts - self.rail

    @property
    def forced(self) -> NDArray[np.bool_]:
        """Tell at each instant whether the current is forced on the pin: while it stands beyond either rail.

        Between the rails the driver delivers or takes it, and has a rating of its own for that.
        """
        return (self.volts > self.rail + OUTSIDE) | (self.volts < -OUTSIDE)

    def until(self, end: float) -> PinWaves:
        """Return the same waves up to a time [s]."""
        keep = self.time <= end
        return self.where(keep)

    def where(self, keep: NDArray[np.bool_]) -> PinWaves:
        """Return the points of the waves where `keep` is true."""
        diodes = tuple((amps[keep], rail[keep]) for amps, rail in self.diodes)
        return PinWaves(self.time[keep], self.volts[keep], self.rail[keep], self.amps[keep], diodes)


@dataclass(frozen=True)
class Stress:
    """What one run did to a pin: magnitudes [SI].

    `injected` is the largest current forced on the pin (diodes and driver together), `delivered` the largest its driver
    delivers or takes inside its rails; `current` the larger of the two. `top` is the highest voltage against 0 V.
    `charge` is what the event moves, less the steady current it ends with. `diode_current`, `diode_charge`, `energy`
    and `power` are those of the pin's own diodes, `width` how long their power lies above half its peak [s];
    `delivered_charge` is the share of the charge that the driver carries.
    """

    over: float
    under: float
    injected: float
    delivered: float
    charge: float
    energy: float
    rail: float
    top: float = 0.0
    diode_current: float = 0.0
    diode_charge: float = 0.0
    power: float = 0.0
    width: float = 0.0
    delivered_charge: float = 0.0

    @property
    def current(self) -> float:
        """Largest current into or out of the pin [A]."""
        return max(self.injected, self.delivered)


def stress_of(waves: PinWaves) -> Stress:
    """Return the stress of one run."""
    size, forced = np.abs(waves.amps), waves.forced
    between = max(_crossing(end, waves.amps) for end in (waves.volts + OUTSIDE, waves.over - OUTSIDE))
    moved = np.abs(waves.amps - waves.amps[-1]) if waves.amps.size else size
    own = sum((np.abs(amps) for amps, _ in waves.diodes), start=np.zeros_like(waves.volts))
    power = sum((np.abs(amps * (waves.volts - rail)) for amps, rail in waves.diodes), start=np.zeros_like(waves.volts))
    return Stress(
        over=_peak(waves.over),
        under=_peak(-waves.volts),
        injected=_peak(size[forced]),
        delivered=max(_peak(size[~forced]), between),
        charge=_integral(moved, waves.time),
        energy=_integral(power, waves.time),
        rail=_peak(waves.rail),
        top=_peak(waves.volts),
        diode_current=_peak(own),
        diode_charge=_integral(own, waves.time),
        power=_peak(power),
        width=width_over(waves.time, power, _peak(power) / 2.0),
        delivered_charge=_integral(moved * ~forced, waves.time),
    )


def time_outside(waves: PinWaves, *, over: float, under: float, current: float) -> float:
    """Return how long the pin lies outside the given ratings [s]; infinite ones are never passed.

    Parameters
    ----------
    waves : voltage, current and rail of the pin over time
    over : highest voltage above the rail [V]
    under : lowest below 0 V, as a positive number [V]
    current : largest of either sign [A]

    """
    beyond = (waves.over > over) | (-waves.volts > under) | (waves.forced & (np.abs(waves.amps) > current))
    return _integral(beyond.astype(float), waves.time)


def worst_of(stresses: Sequence[Stress]) -> Stress:
    """Return the largest of each magnitude."""
    return Stress(*(max(getattr(one, each.name) for one in stresses) for each in fields(Stress)))


def peak(values: Array) -> float:
    """Return the largest magnitude, with its sign; 0 where there is nothing."""
    if not values.size:
        return 0.0
    return float(values[int(np.argmax(np.abs(values)))])


def rise_time(time: Array, values: Array) -> float:
    """Return the time from 10 to 90 % of the peak, before the peak, found between the points [s]."""
    top = int(np.argmax(np.abs(values)))
    size = np.abs(values[: top + 1]) / abs(float(values[top]))
    low, high = (float(np.interp(share, np.maximum.accumulate(size), time[: top + 1])) for share in (0.1, 0.9))
    return high - low


LEAST_CHANGE = 1e-3
"""Change of a capacitor's voltage over a fifth of a run [V] below which it counts as charged."""


def heat(volts: Array, ohms: float, time: Array) -> tuple[float, float]:
    """Return the power at the end of a run [W] and the energy of the whole run [J] in a resistor.

    Parameters
    ----------
    volts : across the resistor, shape ``(n_time,)`` [V]
    ohms : its resistance [ohm]
    time : shape ``(n_time,)`` [s]

    """
    power = volts * volts / ohms
    return float(power[-1]), _integral(power, time)


def at_rest(time: Array, volts: Array) -> float:
    """Return where a voltage that still decays will come to rest [V]: its last value once it has settled.

    Three values at equal distances over the last two fifths of a run give the end of one exponential exactly (Aitken's
    delta-squared process). What does not decay is taken as it stands at the end.

    Parameters
    ----------
    time, volts : shape ``(n_time,)`` [s], [V]

    """
    first, middle, last = (float(one) for one in np.interp(time[-1] * np.array([0.6, 0.8, 1.0]), time, volts))
    before, after = middle - first, last - middle
    if abs(before) < 1e-9 or not 0.0 < after / before < 0.98:
        return last
    return last + after * after / (before - after)


def charges(time: Array, amps: Array, volts: Array) -> bool:
    """Tell whether a current does nothing but charge a capacitor: then it will stop by itself.

    The charge that flows and the change of the capacitor's voltage keep one ratio, its capacitance, over the last two
    fifths of a run.

    Parameters
    ----------
    time, amps, volts : shape ``(n_time,)`` [s], the current [A], and the voltage on the capacitor [V]

    """
    flown = np.concatenate([[0.0], np.cumsum(np.diff(time) * (amps[1:] + amps[:-1]) / 2.0)])
    ends = time[-1] * np.array([0.6, 0.8, 1.0])
    charge, change = np.diff(np.interp(ends, time, flown)), np.diff(np.interp(ends, time, volts))
    if np.any(np.abs(change) < LEAST_CHANGE):
        return False
    first, last = charge / change
    return bool(abs(first - last) <= 0.02 * abs(last))


def width_over(time: Array, values: Array, level: float) -> float:
    """Return how long a magnitude lies above a level [s].

    Parameters
    ----------
    time : shape ``(n_time,)`` [s]
    values : voltage or current at those times, shape ``(n_time,)``; its sign does not count
    level : [unit of the values]

    """
    return _integral((np.abs(values) > level).astype(float), time)


def holds(one: float, other: float, floor: float, share: float = 0.01) -> bool:
    """Tell whether two results agree within a share of the larger, small ones within that share of `floor`.

    Parameters
    ----------
    one, other : two results [same unit]
    floor : what is small [same unit]
    share : how far they may differ, 0 to 1

    """
    return abs(one - other) <= share * max(abs(one), abs(other), floor)


def _crossing(volts: Array, amps: Array) -> float:
    """Return the largest current of a pin at the very points where `volts` passes zero [A].

    What a driver still carries as the pin leaves its rails would otherwise depend on where the time steps fall.
    """
    at = np.flatnonzero(volts[:-1] * volts[1:] < 0.0)
    if not at.size:
        return 0.0
    share = volts[at] / (volts[at] - volts[at + 1])
    return _peak(np.abs(amps[at] + share * (amps[at + 1] - amps[at])))


def _peak(values: Array) -> float:
    return max(float(values.max()), 0.0) if values.size else 0.0


def _integral(values: Array, time: Array) -> float:
    return float(np.sum((values[1:] + values[:-1]) * np.diff(time)) / 2.0) if len(time) > 1 else 0.0
