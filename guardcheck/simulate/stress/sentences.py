"""Sentences that go with an event's margin: what was worst, what was assumed, what a pulse above a rating means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from guardcheck.measure import Stress
from guardcheck.model import EventPlan
from guardcheck.simulate.stress.bench import Bench
from guardcheck.simulate.stress.margins import flashovers
from guardcheck.simulate.stress.pulses import DEVICE_WIDTH, BodyPulse
from guardcheck.simulate.stress.ratings import PinRatings
from guardcheck.simulate.stress.runs import Seen
from guardcheck.units import format_si

LEAST_LIKE = 5.0
"""Human-body voltage below which a pulse is not worth a comparison [V]."""


def beyond_words(seen: Sequence[Seen]) -> str | None:
    """Return ``beyond the data sheet of BAT54S at 2 A`` for the device driven farthest past its data sheet."""
    found = [item for one in seen for item in one.beyond]
    if not found:
        return None
    device, value, _ = max(found, key=lambda item: (item[2], item[0]))
    known = any(letter.isdigit() for letter in device.split(" ")[0])
    what = f"the data sheet of {device}" if known else f"what is known of the {device}"
    return f"beyond {what} at {format_si(value, 'A')}"


def pulse_words(pulses: Sequence[Stress], reference: BodyPulse | None, ratings: PinRatings) -> tuple[str, ...]:
    """Return the human-body pulse that is as hard as the hardest of some pulses, beside what the pin is rated for."""
    if reference is None:
        return ()
    like = max((reference.like(one) for one in pulses if one.diode_charge > 0.0), default=0.0)
    if like < LEAST_LIKE:
        return ()
    rated = (
        "nobody states what the pin is rated for"
        if ratings.human_body is None
        else f"the pin is rated for {format_si(ratings.human_body, 'V')}"
    )
    words = [f"For the pin's own diodes it is like a human-body pulse of {format_si(like, 'V', 2)}; {rated}."]
    if ratings.device is not None and min(one.width for one in pulses) > DEVICE_WIDTH:
        words.append("Its charged-device rating is for a nanosecond or two, and proves nothing of so long a pulse.")
    return tuple(words)


def bench_words(bench: Bench, filled: Mapping[str, object]) -> tuple[str, ...]:
    """Return what the job does not say about the bench, as far as the event depends on it."""
    assumed, ends = [*bench.assumed], [*bench.ends]
    sentences: list[str] = []
    if "chassis_volts" in filled:
        chassis = bench.chassis
        assumed += chassis.assumed
        ends += chassis.ends
        sentences += [f"Found with {chassis.told}.", *chassis.notes]
        if chassis.volts > 0.0:
            pumped = 2.0 * chassis.frequency * chassis.capacitance * chassis.volts
            sentences.append(
                f"While the 0 V contacts stay apart, {format_si(chassis.amps, 'A')} rms keeps flowing through the "
                f"signal contact; rectified by clamps and pin diodes it can feed {format_si(pumped, 'A')} into the "
                f"rail, {format_si(pumped * bench.rail.load, 'V')} across its load if the unit is off."
            )
    if ends:
        sentences.append(f"Worst end of the declared tolerance: {'; '.join(ends)}.")
    if assumed:
        sentences.append(f"Not declared, worst usual value used: {'; '.join(assumed)}.")
    return tuple(sentences)


def other_words(seen: Sequence[Seen], plan: EventPlan, states: Sequence[str]) -> tuple[str, ...]:
    """Return flash-over of series resistors, and what a display sees while the unit is switched."""
    across = [pair for one in seen for pair in one.across]
    words = [*flashovers(across)]
    if set(states) <= {"rising", "falling"}:
        volts = max((one.display[0] for one in seen), key=abs, default=0.0)
        longest = max((one.display[1] for one in seen), default=0.0)
        if volts != 0.0:
            words.append(
                f"The far end of the lead sees a step of {format_si(volts, 'V')}, up to {format_si(longest, 's')} of "
                "it beyond 0.3 V."
            )
    return tuple(words)
