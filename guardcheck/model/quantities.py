"""The one table of quantity names, their units and what they mean. A new *kind* of quantity starts here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from guardcheck.errors import UnknownQuantity


@dataclass(frozen=True, slots=True)
class Kind:
    """What a quantity is: SI unit (``1`` for a ratio, ``dB`` for a level ratio), short title, full meaning."""

    unit: str
    title: str
    meaning: str


def _table(*rows: tuple[str, str, str, str]) -> Mapping[str, Kind]:
    return {name: Kind(unit, title, meaning) for name, unit, title, meaning in rows}


QUANTITIES = _table(
    ("level.white", "V", "white level", "white minus blanking, at the display input"),
    ("level.black", "V", "black level", "black minus blanking, at the display input"),
    ("level.blank", "V", "DC at blanking", "direct voltage of the blanking level at the display input"),
    ("level.sync", "V", "sync amplitude", "blanking minus sync tip, at the display input"),
    ("level.pp", "V", "peak to peak", "lowest to highest level, at the display input"),
    ("level.high", "V", "high level", "the highest steady level at the display input, against its 0 V"),
    ("level.low", "V", "low level", "the lowest steady level at the display input, against its 0 V"),
    ("level.mismatch", "dB", "line mismatch", "worst ratio between the lines of one picture"),
    ("level.headroom", "V", "headroom", "least distance to clipping, average picture level from 10 % to 90 %"),
    ("response.impedance", "ohm", "output impedance", "magnitude seen into the unit's connector at 100 kHz"),
    ("response.return_loss", "dB", "return loss", "against 75 ohm, worst in the standard's band"),
    ("response.bandwidth", "Hz", "bandwidth", "-3 dB at the display input, cable included"),
    ("response.field_tilt", "1", "field tilt", "(start - end of the flat half) / step, square wave at field rate"),
    ("response.line_tilt", "1", "line tilt", "(start - end of the flat half) / step, square wave at line rate"),
    ("response.overshoot", "1", "overshoot", "on a 0-100 % step with the standard's rise time"),
    ("guard.level_error", "1", "guard level error", "what the guard changes of white or sync, relative"),
    ("guard.distortion", "1", "guard distortion", "worst change of small-signal gain over the signal's range"),
    ("sync.lock", "V", "sync to lock to", "sync amplitude at a display that has a window for it"),
    ("sync.input", "V", "swing into sync", "lowest to highest level at a sync separator's input"),
    ("scan.line_rate", "Hz", "line rate", "line rate of the unit's picture, against what the display takes"),
    (
        "source.fit",
        "1",
        "source as read",
        "deviation of the source from its readings over their uncertainty",
    ),
    ("grey.step", "1", "grey step", "a step of a ladder's grey scale as a share of white, black being 0"),
    ("grey.rise", "1", "least grey rise", "smallest rise from one grey step to the next, an even step being 100 %"),
    ("part.power", "W", "part power", "dissipation of one part, worst case"),
    ("event.pin_over", "V", "pin above rail", "peak voltage at the pin beyond the rail"),
    ("event.pin_under", "V", "pin below 0 V", "peak voltage at the pin below 0 V"),
    ("event.pin_current", "A", "pin current", "peak current into the pin itself, beyond the guard"),
    ("event.pin_charge", "C", "pin charge", "charge through the pin"),
    ("event.pin_energy", "J", "pin energy", "energy in the pin's own diodes"),
    ("event.time_over", "s", "time over rating", "time outside the pin's ratings"),
    ("event.rail", "V", "rail lifted to", "highest voltage the supply rail is lifted to"),
    (
        "event.part_margin",
        "dB",
        "margin of guard and stage parts",
        "rating over stress of guard and stage, worst of the parts",
    ),
    ("event.latch_up", "dB", "latch-up margin", "latch-up test current over the current injected into a powered pin"),
    ("event.withstands", "V", "withstands", "hardest level of a strike that the line is shown to take"),
    ("event.margin", "dB", "margin", "rating over stress, worst of the rated quantities"),
    ("timing.line_period", "s", "line period", "time from sync edge to sync edge"),
    ("timing.sync_width", "s", "sync width", "width of line sync at half amplitude"),
    ("timing.front_porch", "s", "front porch", "end of picture to sync edge"),
    ("timing.back_porch", "s", "back porch", "end of sync to start of picture"),
    ("timing.sync_fall", "s", "fall of sync", "10 to 90 % time of the falling edge of line sync"),
    ("timing.sync_rise", "s", "rise of sync", "10 to 90 % time of the rising edge of line sync"),
    ("timing.picture_rise", "s", "rise of picture", "10 to 90 % time from blanking to the picture's left edge"),
    ("timing.burst_start", "s", "burst start", "sync edge to the colour burst, both at half amplitude"),
    ("burst.amplitude", "V", "burst", "colour burst, peak to peak"),
    ("burst.frequency", "Hz", "burst frequency", "frequency of the colour burst"),
    ("noise.rms", "V", "noise", "rms on the back porch"),
    ("noise.hum", "V", "hum", "slow movement of the blanking level, peak to peak"),
    ("picture.bars", "1", "steps of the bars", "rms distance from the line's own colour bars, share of their swing"),
    ("bond.resistance", "ohm", "bond resistance", "resistance of a bond, leads subtracted"),
    ("bond.current_proof", "A", "bond test current", "test current the standard wants for a protective bond"),
    ("bond.hum", "V", "bond hum", "voltage the leakage current makes across the bond"),
    ("barrier.resistance", "ohm", "barrier resistance", "what the readings prove of a barrier"),
    ("barrier.leakage", "A", "barrier leakage", "worst leak through the barrier at its working voltage"),
    ("touch.current", "A", "touch current", "weighted touch current, from the declared Y capacitance"),
    ("touch.voltage", "V", "touch check", "voltage across 1.5 kohm parallel 0.15 uF from exposed metal to earth"),
    ("insulation.resistance", "ohm", "insulation", "from the joined mains prongs to exposed metal, unplugged"),
    ("stored.voltage", "V", "stored voltage", "voltage left on a declared capacitor"),
    ("stored.energy", "J", "stored energy", "energy left on a declared capacitor"),
    ("stored.wait", "s", "wait before touching", "time until a declared capacitor is safe"),
    ("laser.power", "W", "laser power", "power at the lens of an optical pick-up, as declared"),
    ("link.current", "A", "link current", "current a link drives into the other board, worst of on and off"),
    ("link.rail", "V", "rail fed through a link", "voltage a link puts on the rail of a board that is off"),
    (
        "mating.voltage",
        "V",
        "volts",
        "greatest voltage a plug puts across a contact",
    ),
    ("mating.current", "A", "amps", "greatest current one contact of a plug carries"),
    ("mating.power", "W", "watts", "greatest power in what drives or ends one contact"),
    ("declared.fact", "1", "bench fact", "a bench fact the job declares, judged or not yet"),
)


def unit_of_quantity(name: str) -> str:
    """Return the unit of a quantity. Raises `UnknownQuantity` for one that has no row in the table."""
    if name not in QUANTITIES:
        raise UnknownQuantity(
            f"the quantity '{name[:60]}' has no row in model/quantities.py; a new one starts there: name, unit, title, "
            "meaning"
        )
    return QUANTITIES[name].unit
