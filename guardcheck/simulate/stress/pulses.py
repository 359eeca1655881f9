"""What ratings prove of a pulse at a chip's pin: a bound below which it holds, one above which it is harm.

Proof: below the steady ratings; or peak current, charge and energy in the pin's own diodes each at most what the rated
human-body pulse (100 pF, 1.5 kohm, JS-001) does through the same diodes. Harm: more than `HARM` times the rating,
carried over to the width of the pulse. A junction fails by heat, at constant energy below some tens of nanoseconds and
at a power that falls with the square root of the width beyond (Wunsch and Bell, IEEE Trans. Nucl. Sci. NS-15, 1968;
from memory, unverified). Between the two nothing is proven.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from guardcheck.measure import Stress
from guardcheck.model import Bearing
from guardcheck.simulate.stress.margins import CAP, HARM, Margin, bearing_of, ratio, steady_margins
from guardcheck.simulate.stress.ratings import PinRatings
from guardcheck.units import format_si, steady

LASTS = 1e-2
"""From this width on [s] a pulse is judged as if it stayed: by the steady ratings."""
USUAL_BODY = 2000.0
"""Human-body rating that chips whose maker states none seldom exceed [V] (from memory, unverified): it bounds harm and
proves nothing."""
DEVICE_WIDTH, DEVICE_AMPS = 2e-9, 4.0 / 500.0
"""The charged-device pulse lasts a nanosecond or two and carries about 4 A at 500 V (from memory, unverified): it
proves the peak of a pulse no longer than that [s, A/V]."""


@dataclass(frozen=True)
class BodyPulse:
    """A human-body pulse of `volts` in a chip's own diodes: peak [A], charge [C], energy [J], power [W], width [s]."""

    volts: float
    peak: float
    charge: float
    energy: float
    power: float
    width: float

    @classmethod
    def seen(cls, stress: Stress, volts: float) -> BodyPulse:
        """Return the pulse a run showed."""
        return cls(volts, stress.diode_current, stress.diode_charge, stress.energy, stress.power, stress.width)

    @property
    def ohms(self) -> float:
        """Resistance of the diodes [ohm]: what the energy of a decaying exponential leaves beside a fixed drop."""
        return max(2.0 * (self.power / self.peak - self.energy / self.charge) / self.peak, 0.0)

    @property
    def drop(self) -> float:
        """Fixed drop of the diodes [V]: what is left of energy over charge."""
        return self.energy / self.charge - self.ohms * self.peak / 2.0

    def at(self, volts: float) -> BodyPulse:
        """Return the pulse of another voltage through the same diodes."""
        return self._times((volts - self.drop) / (self.volts - self.drop))

    def _times(self, share: float) -> BodyPulse:
        peak, charge = self.peak * share, self.charge * share
        energy = charge * (self.drop + self.ohms * peak / 2.0)
        power = peak * (self.drop + self.ohms * peak)
        volts = self.drop + (self.volts - self.drop) * share
        width = self.width * self._decays(peak) / self._decays(self.peak)
        return BodyPulse(volts, peak, charge, energy, power, width)

    def _decays(self, peak: float) -> float:
        """Return after how many time constants an exponential from `peak` [A] has half its power in the diodes left."""
        across = self.drop + self.ohms * peak
        root = math.sqrt(self.drop * self.drop + 2.0 * self.ohms * peak * across)
        return math.log((root + self.drop) / across)

    def like_energy(self, joules: float) -> float:
        """Return the voltage whose pulse puts as much energy into the diodes [V]."""
        linear, square = self.charge * self.drop, self.charge * self.ohms * self.peak / 2.0
        if square <= 1e-12 * linear:
            share = joules / linear
        else:
            share = (math.sqrt(linear * linear + 4.0 * square * joules) - linear) / (2.0 * square)
        return self._times(share).volts

    def like(self, stress: Stress) -> float:
        """Return the voltage whose pulse is as hard, in energy or in peak current, whichever says more [V]."""
        return max(self.like_energy(stress.energy), self._times(stress.diode_current / self.peak).volts)

    def power_for(self, width: float) -> float:
        """Return the rating carried over to another width [W]: by the root of it, below the own width by energy."""
        if width <= 0.0:
            return math.inf
        share = self.width / width
        return self.power * (share if share > 1.0 else math.sqrt(share))


def pulse_margins(
    stress: Stress, ratings: PinRatings, body: BodyPulse | None, *, diodes: bool = True
) -> tuple[Margin, ...]:
    """Return the margins of a pin under one pulse.

    Parameters
    ----------
    stress : what was simulated
    ratings : what the pin may take
    body : a human-body pulse through the same diodes, of any voltage; None compares with none
    diodes : whether the pin has diodes of its own; without them its voltage is all there is to judge

    """
    for_good = steady_margins(stress, ratings)
    body = body if diodes else None
    if stress.width > LASTS:
        return for_good
    forced = [one for one in for_good if one.field != "delivered"]
    held = min(forced, key=lambda one: steady(one.strict))
    rated = None if body is None or ratings.human_body is None else body.at(ratings.human_body)
    found = [held if rated is None else _proof(stress, rated, ratings, held)]
    harm = _harm(stress, body, ratings, forced)
    loose = max(harm.loose, found[0].strict)
    bearing = found[0].bearing
    if loose < 0.0 and bearing is not None and bearing.open:
        bearing = harm.bearing
    found[0] = replace(found[0], loose=loose, told=_told(found[0], harm), bearing=bearing)
    found.append(_delivered(stress, rated, next(one for one in for_good if one.field == "delivered")))
    return tuple(found)


def _proof(stress: Stress, rated: BodyPulse, ratings: PinRatings, held: Margin) -> Margin:
    """Return the margin by the rated pulse, or by the steady ratings where they leave more."""
    peak = ratio(rated.peak, stress.diode_current)
    if ratings.device is not None and stress.width <= DEVICE_WIDTH:
        peak = max(peak, ratio(DEVICE_AMPS * ratings.device, stress.diode_current))
    rows = {
        "injected": (peak, "A", stress.diode_current, rated.peak),
        "charge": (ratio(rated.charge, stress.diode_charge), "C", stress.diode_charge, rated.charge),
        "energy": (ratio(rated.energy, stress.energy, 10.0), "J", stress.energy, rated.energy),
    }
    name = min(rows, key=lambda key: steady(rows[key][0]))
    margin, unit, seen, allowed = rows[name]
    if held.strict >= margin:
        return held
    like = rated.like(stress)
    told = (
        f"the pulse is like a {format_si(like, 'V', 2)} human-body pulse; the pin is rated for "
        f"{format_si(rated.volts, 'V')} ({format_si(seen, unit)} in its diodes against {format_si(allowed, unit)})"
    )
    bearing = bearing_of(float(f"{like:.1e}"), rated.volts, rated.volts, "V")  # alike to two digits, no closer
    if like <= rated.volts and seen > allowed:  # its charge alone is too much
        bearing = bearing_of(seen, allowed, allowed, unit)
    return Margin(margin, CAP, told, name, bearing, pulse=True)


def _harm(stress: Stress, body: BodyPulse | None, ratings: PinRatings, forced: list[Margin]) -> Margin:
    """Return the loosest margin: `HARM` times the rating carried over to the width, never below the steady one."""
    if body is None or stress.power <= 0.0:
        return Margin(CAP, CAP, "", "")
    rated = body.at(ratings.human_body or USUAL_BODY)
    allowed = HARM * rated.power_for(stress.width)
    steady = min(one.loose for one in forced)
    found = ratio(allowed, stress.power, 10.0)
    words = (
        f"{format_si(stress.power, 'W')} for {format_si(stress.width, 's')}; {HARM:g} times the rating carried over to "
        f"that width (an assumption) is {format_si(allowed, 'W')}"
    )
    bearing = Bearing(stress.power, (allowed, allowed), "W", harm=True)
    return Margin(found, max(found, steady), words, "energy", bearing)


def _told(proof: Margin, harm: Margin) -> str:
    return f"{proof.told}; {harm.told}" if proof.strict < 0.0 and harm.told else proof.told


def latch_up_margin(stress: Stress, ratings: PinRatings) -> Margin:
    """Return the margin of a powered pin to the current of the latch-up test: passing it is no proof of harm."""
    tested = ratings.latch_up
    clamp = ratings.strict("clamp_current")
    limit = clamp if tested is None else max(tested, clamp)
    words = "the clamp current, since no latch-up test is stated" if tested is None else "of the latch-up test (JESD78)"
    told = (
        f"{format_si(stress.injected, 'A')} is injected while the unit is on against {format_si(limit, 'A')} {words}; "
        "above that it may latch up: a short between the rails inside the chip"
    )
    return Margin(ratio(limit, stress.injected), CAP, told, "injected", bearing_of(stress.injected, limit, limit, "A"))


def _delivered(stress: Stress, rated: BodyPulse | None, steady: Margin) -> Margin:
    """Return the margin of the driver inside its rails: by its rating, or by peak and charge of the rated pulse."""
    proof = steady.strict
    if rated is not None:
        proof = max(proof, min(ratio(rated.peak, stress.delivered), ratio(rated.charge, stress.delivered_charge)))
    return replace(steady, strict=proof, loose=CAP)
