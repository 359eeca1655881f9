"""Ratings over stresses, in decibels: 20 log for volts and amperes, 10 log for joules and watts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from guardcheck.compose import Rail
from guardcheck.measure import Stress
from guardcheck.model import DOES_NOT_CONFORM, RAIL_PART, Bearing
from guardcheck.simulate.stress.ratings import RATED_BY, UNITS, PinRatings
from guardcheck.units import format_si, steady
from guardcheck.verdict.outcome import ASSUMED_FACTOR, judge_margin

CAP = 120.0
"""Largest margin that is shown, either way [dB]."""
HARM = 3.0
"""Times the rating, in power, from which a pulse counts as harm: parts commonly take more than they are rated for. An
assumption, no published source; wherever it decides the finding says so."""
FLASHOVER = 250.0
"""Working voltage of a quarter-watt film resistor [V] (common practice, no published source)."""
ADIABATIC = 1e-2
"""Below this width [s] a film resistor keeps the heat of a pulse: its steady power for so long is no more than it takes
at any moment anyway (manufacturers' pulse curves allow more; from memory, unverified)."""
OVERLOAD = 2.0
"""Times the working voltage a film resistor stands for a moment."""
DEAD_RAIL = 0.3
"""What the rail of a unit that is off may be lifted to [V]: less than a junction needs to conduct (common practice, no
published source; data sheets allow a pin VDD + 0.3 V, with VDD = 0)."""
LEAST_LIFT = 1e-3
"""A lift [V] that drowns in any supply's ripple, and so lifts nothing: a rail may stand at its highest unlifted."""
SURGES: tuple[tuple[str, float], ...] = (
    ("surge_1us", 1e-6),
    ("surge_8us", 2e-5),
    ("surge_1ms", 1e-3),
    ("surge_10_1000us", 1e-3),
    ("surge_10ms", 1e-2),
    ("surge_1s", 1.0),
)
"""Surge ratings by the length of the pulse they hold for [s]; a double exponential counts as its time to half value:
20 us for the 8/20 us pulse, 1 ms for the 10/1000 us pulse."""
CURVED: Mapping[str, float] = {"surge_10_1000us": 2e-5}
"""Ratings whose makers print a curve of pulse power over time beside them; down to which length it is believed [s]."""
CURVE_SLOPE = 0.4
"""How steeply that curve falls, in current. Power falls with about the root of the time, current by less, since a
smaller one is clamped lower: a 600 W suppressor is printed with 57 A for 10/1000 us and 298 A for 8/20 us, which is
0.42 (from memory, unverified)."""


@dataclass(frozen=True)
class Margin:
    """One rating over one stress: against the strictest and the loosest bound of the rating [dB].

    `told` says stress and rating in words, `bearing` in figures. `loose` is the cap where breaking the rating proves
    nothing. `field` names the quantity of the stress it rests on. `pulse` marks one told as a human-body pulse.
    """

    strict: float
    loose: float
    told: str
    field: str = ""
    bearing: Bearing | None = None
    pulse: bool = False


def ratio(rating: float, stress: float, factor: float = 20.0) -> float:
    """Return the margin of a rating over a stress [dB], capped; without stress it is the cap."""
    if math.isinf(rating) or stress <= 0.0:
        return CAP
    if rating <= 0.0:
        return -CAP
    return min(max(factor * math.log10(rating / stress), -CAP), CAP)


def worst(margins: Iterable[Margin]) -> Margin:
    """Return the margin that decides, its loose end the least of all.

    That is the one with the least to spare; where some are passed even at their loosest, the one of these, which is
    then proof. Margins that differ in their noise alone are alike, and the first of them is told.
    """
    found = list(margins)
    passed = [one for one in found if judge_margin(one.loose) == DOES_NOT_CONFORM]
    least = min(passed or found, key=lambda one: steady(one.strict))
    return replace(least, loose=min(one.loose for one in found))


def steady_margins(stress: Stress, ratings: PinRatings) -> tuple[Margin, ...]:
    """Return the margins of a pin against its steady ratings, one for each field of the stress they bound."""
    return tuple(
        Margin(
            ratio(ratings.bounds[name][0], getattr(stress, field)),
            ratio(ratings.bounds[name][1], getattr(stress, field)),
            f"{format_si(getattr(stress, field), UNITS[name])} against {ratings.shown(name)}",
            field,
            bearing_of(getattr(stress, field), *ratings.bounds[name], UNITS[name]),
        )
        for field, name in RATED_BY.items()
    )


def bearing_of(stress: float, strict: float, loose: float, unit: str, part: str = "") -> Bearing | None:
    """Return the figures of a margin [`unit`], None where there is no number or the rating is no bound at all."""
    finite = all(math.isfinite(one) for one in (stress, strict, loose))
    return Bearing(stress, (strict, loose), unit, part) if finite else None


def rail_margin(lifted: float, rail: Rail, rail_max: tuple[float, float], *, dead: bool, lasting: bool) -> Margin:
    """Return the margin of a rail that was lifted to a voltage [V].

    A live rail has the room between its own voltage and the highest supply, `rail_max` being the strictest and the
    loosest seen; a dead one has all of it while a pulse passes. What lifts a dead rail for long feeds every other chip
    on it by half: below `DEAD_RAIL` nothing runs, above the highest supply it is passed for sure, between the two
    nobody can say.
    """
    rest = 0.0 if dead else rail.volts
    which = "the rail of the unit that is off" if dead else "the rail"
    told = f"{which} is lifted to {format_si(lifted, 'V')}"
    if dead and lasting:
        told += (
            f": up to {format_si(DEAD_RAIL, 'V', 2)} leaves it dead (common practice, no published source), above that "
            f"the other chips on it run half-powered; {_allowed(rail_max, 0.0)}; its load counts as "
            f"{format_si(rail.load, 'ohm')}"
        )
        bearing = bearing_of(lifted, DEAD_RAIL, DEAD_RAIL, "V", RAIL_PART)
        return Margin(ratio(DEAD_RAIL, lifted), ratio(rail_max[1], lifted), told, "rail", bearing)
    over = lifted - rest if lifted - rest > LEAST_LIFT else 0.0
    if not dead:
        told = f"{which}, {format_si(rest, 'V')}, is lifted by {format_si(over, 'V')}"
    low, high = (ratio(end - rest, over) for end in rail_max)
    bearing = bearing_of(over, rail_max[0] - rest, rail_max[1] - rest, "V", RAIL_PART)
    return Margin(low, high, f"{told}, {_allowed(rail_max, rest)}", "rail", bearing)


def _allowed(rail_max: tuple[float, float], rest: float) -> str:
    low, high = (format_si(end - rest, "V") for end in rail_max)
    return f"at most {low} is allowed" if low == high else f"{low} to {high} is what such supplies allow"


def surge_margin(name: str, rated: Mapping[str, Any], amps: float, width: float, *, lasting: bool) -> Margin | None:
    """Return the margin of a diode under a current [A] that lasts `width` [s]; None when it has no current rating.

    The rating for the next longer pulse is proof where it is kept: a suppressor's 10/1000 us rating along its maker's
    curve. Harm is what passes the rating for the next shorter pulse, since a longer one is harder, or `HARM` times the
    rating at the width itself: between two printed widths on the straight line in logarithms, below the shortest by the
    root of the width. That line is no proof. What a junction takes falls ever less steeply with the width (constant
    energy, then the root, then steady), so that between two points it lies below the line.
    """
    if lasting:
        limit = rated.get("forward_current")
        return None if limit is None else _surge(name, float(limit), amps, "continuous", loose=float(limit))
    shorter: tuple[float, float] | None = None
    for key, length in SURGES:
        if key not in rated:
            continue
        limit = float(rated[key])
        if width > length:
            shorter = (length, limit)
            continue
        words, proof = f"for {format_si(length, 's')}", limit
        if shorter is None:
            carried = limit * math.sqrt(length / max(width, 1e-9))
        else:
            carried = between_widths(shorter, (length, limit), width)
        if key in CURVED and shorter is None and width < length:
            words = f"for {format_si(max(width, CURVED[key]), 's', 2)} by its maker's curve"
            proof = limit * (length / max(width, CURVED[key])) ** CURVE_SLOPE
        beyond = HARM * carried
        return _surge(name, proof, amps, words, loose=beyond if shorter is None else min(beyond, shorter[1]))
    limit = rated.get("repetitive_current", rated.get("forward_current"))
    return None if limit is None else _surge(name, float(limit), amps, "continuous", loose=shorter and shorter[1])


def between_widths(shorter: tuple[float, float], longer: tuple[float, float], width: float) -> float:
    """Return a rating between two printed ones, on the straight line in logarithms [A].

    Parameters
    ----------
    shorter, longer : length of a pulse [s] and what is printed for it [A]
    width : a length between the two [s]

    """
    slope = math.log(longer[1] / shorter[1]) / math.log(longer[0] / shorter[0])
    return float(shorter[1] * (width / shorter[0]) ** slope)


def by_test_margin(name: str, rated: float, volts: float) -> Margin:
    """Return the margin of a part in the very test it is rated by [V, V]: passing its level proves no harm."""
    told = (
        f"the {name} meets this test at {format_si(volts, 'V')} against {format_si(rated, 'V')}, its own rating by it"
    )
    return Margin(ratio(rated, volts), CAP, told, bearing=bearing_of(volts, rated, rated, "V"))


def _surge(name: str, limit: float, amps: float, words: str, *, loose: float | None) -> Margin:
    """Return the margin against `limit` [A]; `loose` is the current whose passing proves harm, if any is known."""
    strict = ratio(limit, amps)
    note = "" if loose in (None, limit) else f"; above {format_si(loose, 'A')} it would be harm"
    told = f"the {name} carries {format_si(amps, 'A')} against {format_si(limit, 'A')} {words}{note}"
    bearing = bearing_of(amps, limit, limit, "A")
    return Margin(strict, CAP if loose is None else max(strict, ratio(loose, amps)), told, bearing=bearing)


def plain_margin(
    name: str, what: str, value: float, limit: float, unit: str, factor: float = 20.0, *, lasting: bool = True
) -> Margin:
    """Return the margin of a part under a stress it has a plain rating for; a pulse that passes it proves no harm."""
    strict = ratio(limit, value, factor)
    return Margin(
        strict,
        strict if lasting else CAP,
        f"the {name} {what} {format_si(value, unit)} against {format_si(limit, unit)}",
        bearing=bearing_of(value, limit, limit, unit),
    )


def film_margin(name: str, rated: Mapping[str, Any], volts: float, joules: float, width: float) -> Margin:
    """Return the margin of a film resistor under a pulse: by its voltage, and by the heat it takes in.

    Keeping either is proof, passing it is none of harm. The heat is that of the steady power over `ADIABATIC`, or over
    the pulse where that lasts longer; the voltage twice the working voltage (overload test of IEC 60115-1: 2.5 times
    for 5 s; makers print twice the limiting voltage; from memory, unverified).
    """
    allowed = float(rated.get("pulse_energy", rated["power"] * max(ADIABATIC, width)))
    limit = OVERLOAD * float(rated.get("working_voltage", FLASHOVER))
    heat, held = ratio(allowed, joules, 10.0), ratio(limit, volts)
    if heat <= held:
        told = f"the {name} takes {format_si(joules, 'J')} in one pulse against {format_si(allowed, 'J')}"
        return Margin(heat, CAP, told, bearing=bearing_of(joules, allowed, allowed, "J"))
    told = f"the {name} sees {format_si(volts, 'V')} in one pulse against {format_si(limit, 'V')}"
    return Margin(held, CAP, told, bearing=bearing_of(volts, limit, limit, "V"))


def unrated_margin(name: str, value: float, unit: str, harmless: float) -> Margin | None:
    """Return a margin of nothing for a part nobody rates, so that it is not proven; None where it is not stressed."""
    if value <= harmless:
        return None
    told = f"the {name} takes {format_si(value, unit)} and nobody states what it may take"
    return Margin(0.0, CAP, told, bearing=Bearing(value, None, unit))


def halved(margin: Margin) -> Margin:
    """Return the margin over an assumed rating [V, A]: half of it proves, all of it must be passed to fail."""
    told = f"{margin.told} (rating assumed, not declared: half of it proves)"
    bearing = margin.bearing
    if bearing is not None and bearing.allowed is not None:
        strict, loose = (end / ASSUMED_FACTOR for end in bearing.allowed)
        bearing = replace(bearing, allowed=(strict, loose))
    return replace(margin, strict=margin.strict - 20.0 * math.log10(ASSUMED_FACTOR), told=told, bearing=bearing)


def flashovers(volts: Sequence[tuple[str, float]]) -> tuple[str, ...]:
    """Return a sentence for the series resistor with the most voltage across it, when that is more than film stands."""
    name, most = max(volts, key=lambda pair: pair[1], default=("", 0.0))
    if most <= FLASHOVER:
        return ()
    return (
        f"The {name} resistor sees {format_si(most, 'V')}: a quarter-watt film resistor is made for about "
        f"{format_si(FLASHOVER, 'V')} and may flash over (common practice, no published source).",
    )
