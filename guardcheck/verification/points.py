"""What an instrument shows at one point of a line: a probe on the unit that runs, a meter on the unit without power."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from guardcheck.compose import Builds, Chain, distinct, level_deck
from guardcheck.compose.chain import RAIL_CARD
from guardcheck.compose.meters import AT_METER, meter_deck
from guardcheck.measure.readings import presumed
from guardcheck.model import Deck, Trace
from guardcheck.simulate.experiment import Experiment, Plateaus, emf_of
from guardcheck.units import parse

Array = NDArray[np.float64]

PIN = "pin"
"""The node of the chip's own pin."""
DECADES = (400.0, 4e3, 40e3, 400e3, 4e6, 40e6)
"""Full scale of a hand meter's ohms ranges [ohm]."""
TEST_CURRENTS = (1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8)
"""Test current of each of them into a short [A]."""


@dataclass(frozen=True)
class Instruments:
    """What the instruments load a point with, as instruments.toml has them.

    `probe` and `meter` [ohm], the meter's open voltage on ohms [V], what its diode test shows at most [V] and drives
    into a short [A].
    """

    probe: float
    meter: float
    volts: float
    diode_limit: float
    diode_amps: float


@cache
def instruments() -> Instruments:
    """Return the usual scope probe and hand meter."""
    loading = presumed()["loading"]

    def number(name: str, unit: str) -> float:
        return parse(loading[name].text, unit)[0].nominal

    return Instruments(
        number("probe", "ohm"),
        number("meter", "ohm"),
        number("ohms_volts", "V"),
        number("diode_limit", "V"),
        number("diode_current", "A"),
    )


def unpowered_deck(chain: Chain, builds: Builds, point: str, rail_ohms: float) -> Deck:
    """Return the deck of every range of a meter at a point, and of its diode test, both ways round."""
    meter = instruments()
    tests = np.array([*(meter.volts / amps for amps in TEST_CURRENTS), meter.volts / meter.diode_amps])
    volts = np.full(len(tests), meter.volts)
    both = np.concatenate((volts, -volts)), np.concatenate((tests, tests))
    return meter_deck(chain, builds, point, volts=both[0], ranges=both[1], rail_ohms=rail_ohms)


def unpowered_reads(trace: Trace, rows: int, turned: int) -> tuple[Array, Array]:
    """Return the ohms and the diode voltage a meter shows, shape ``(n_rows,)`` each, NaN for over range.

    Parameters
    ----------
    trace : what an `unpowered_deck` gave
    rows : how many builds that deck has, ``n_rows``
    turned : 1 with the meter's leads swapped, else 0

    """
    if trace.failure is not None:
        return np.full(rows, np.nan), np.full(rows, np.nan)
    ranges = len(DECADES)
    tip, amps = (np.real(trace.vectors[name]).reshape(rows, 2, ranges + 1)[:, turned] for name in AT_METER)
    with np.errstate(divide="ignore", invalid="ignore"):
        ohms = np.abs(tip / amps)[:, :ranges]
    ohms = np.where(np.isfinite(ohms), ohms, np.inf)
    fits = ohms <= np.array(DECADES)
    first = fits.argmax(axis=1)
    shown = np.where(fits.any(axis=1), ohms[np.arange(rows), first], np.nan)
    diode = np.abs(tip[:, ranges])
    return shown, np.where(diode <= instruments().diode_limit, diode, np.nan)


def probed(one: Experiment, point: str) -> Experiment:
    """Return an experiment with a scope's probe on a point."""
    return replace(one, chain=replace(one.chain, probe=(point, instruments().probe)))


def node_deck(plateaus: Plateaus, point: str) -> Deck:
    """Return the level deck of solved plateaus that also keeps the voltage of a point and the rail's current."""
    one = plateaus.experiment
    emf, _ = distinct(emf_of(one, plateaus.builds))
    deck, _ = level_deck(one.chain, emf, plateaus.builds, plateaus.held)
    return replace(deck, save=tuple(dict.fromkeys((*deck.save, f"v({point})", f"i({RAIL_CARD})"))))


def node_levels(plateaus: Plateaus, trace: Trace, point: str) -> Mapping[str, Array]:
    """Return the levels at a node against blanking, blanking against 0 V, and the rail's current, for every build."""
    one = plateaus.experiment
    emf, own = distinct(emf_of(one, plateaus.builds))
    rows = plateaus.builds.n_rows
    if trace.failure is not None or plateaus.failure is not None:
        return {}
    volts = np.real(trace.vectors[f"v({point})"]).reshape(emf.shape)[:, own]
    by = dict(zip(one.states, volts.T, strict=True))
    found = {"level.blank": by["blank"]}
    for state, sign in (("white", 1.0), ("black", 1.0), ("sync", -1.0)):
        if state in by:
            found[f"level.{state}"] = sign * (by[state] - by["blank"])
    amps = -np.real(trace.vectors[f"i({RAIL_CARD})"]).reshape(emf.shape)
    found["current"] = np.asarray(amps.max(axis=1)).reshape(rows)
    return found
