"""The readings file to fill in, written for the lines of one job."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardcheck.measure.readings.records import DIRECT, READABLE
from guardcheck.model import QUANTITIES

_HEAD = """\
# Readings taken after the build. Fill in what your instrument showed; leave "unknown" where you have not measured.
# A value that stays "unknown" is reported as not proven, never as conforming.
#
# How to take a level: show a white field or colour bars, plug the cable into the display (or fit a 75 ohm terminator at
# the connector), put the scope on direct coupling, and read from blanking (the flat part after the sync pulse).
#
# The clip of a mains-powered scope is mains earth: clip it to 0 V only, never to the mains side of a supply or to a
# chassis you have not shown to be isolated. Isolate the unit under test, not the scope. Never load a logic pin with
# 75 ohm: a level is read behind the stage, at the connector or the display.
#
# value       what the screen showed: "4.0 div" with a scale, or a voltage such as "703 mV"
# scale       volts per division, "200 mV/div"; for times "1 us/div"
# probe       "x1", "x10" or "x100"; leave the key out for a direct cable
# scale_at    with a x10 probe: "tip" when the scope was told about the probe, "input" when it was not
# place       "display" (at its input, cable plugged in), "connector" (at the unit), "pin" (at the chip)
# load        "terminated" (75 ohm connected) or "open"
# picture     what was on the screen: "white", "bars-100", "bars-75" or "other". Only a known picture can conform. Bars
#             of 75 % whose white bar stands at 100 % count as "bars-100"
# coupling    "dc" or "ac", as the scope stood: a direct voltage needs "dc", and to say it once under [scope] is enough
# accuracy    as the instrument's data sheet prints it: "3%" or, for a meter, "1.0% + 2 counts"
# resolution  the smallest step you could read: "0.1 div" or "5 mV"
# also        instrument = "scope" | "meter", range, termination = "1%", probe_tolerance = "2%", note; steady = true
#             when the line carried no signal (only then can a meter read it)
# A table [scope] or [meter] at the top, with accuracy = "1.5%", holds for all readings of that instrument. A table
# [[capture]] says the same of a scope's file: line, picture, load, place, coupling, probe, scale_at, offset,
# scale = "200 mV/div", timebase = "25 ppm". A scope of two channels shows sync and one line at a time: in the
# [[capture]] of the next line, joins = "red" says that its file goes with that of red, both with the channel of --sync

format = 1
"""


def new_readings_text(lines: Iterable[tuple[str, Sequence[str]]]) -> str:
    """Return a readings file with one `[[reading]]` for each line and quantity, every value still unknown.

    Parameters
    ----------
    lines
        name of each line with the quantities its standard has; those no reading can give are left out

    """
    parts = [_HEAD]
    for name, quantities in lines:
        parts.extend(_one(name, quantity) for quantity in quantities if quantity in READABLE)
    return "".join(parts)


def _one(line: str, quantity: str) -> str:
    kind = QUANTITIES[quantity]
    picture = quantity in ("level.white", "level.pp", "level.black")
    rows = ["", "[[reading]]", f'line = "{line}"', f'quantity = "{quantity}"  # {kind.title}: {kind.meaning}']
    rows.append('value = "unknown"')
    if kind.unit == "V":
        rows += ['# scale = "200 mV/div"', '# probe = "x10"', '# scale_at = "tip"']
        rows += ['place = "display"', 'load = "terminated"']
        rows += ['# picture = "bars-75"'] if picture else []
        rows += ['# coupling = "dc"'] if quantity in DIRECT else []
    rows.append('# accuracy = "3%"')
    return "\n".join(rows) + "\n"
