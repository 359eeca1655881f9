"""The keys of a job file: one row each, with dimension, ranges, meaning and where a technician finds the value.

The *possible* range refuses slips of a prefix; the *usual* range only warns. Both are common practice, no published
source: they are meant to catch typing errors, not to judge a design. Nothing here is a limit of a standard.
"""

from __future__ import annotations

from guardcheck.job.keys_facts import (
    BARRIER,
    BOND,
    CAPACITOR,
    HAZARDS,
    INSULATION_READING,
    LINK,
    SERVICE_READING,
    SETPOINT,
    TOUCH_READING,
)
from guardcheck.job.schema import (
    Key,
    Table,
    choice,
    flag,
    labels,
    measure,
    path,
    text,
    value,
    value_list,
    values,
    word,
    words,
)
from guardcheck.model import UNKNOWN_WORD

LABEL_PLATE = "type plate or manual"
DATA_SHEET = "data sheet, absolute maximum ratings"

Y_CAPACITANCE = value(
    "the total capacitance from the mains to signal 0 V",
    "sum of the Y capacitors in the supply (printed on them: Y1, Y2), or unknown",
    measure("F", (10e-12, 10e-9), (0.0, 100e-9)),
)
Y_COUPLING = choice(
    "how the mains couples to 0 V: a pair of Y capacitors, one alone, one behind the bridge, a transformer's windings",
    "only if the supply is open anyway and you are trained for it; unknown is judged at the worst",
    "symmetric",
    "single",
    "bridge",
    "transformer",
    UNKNOWN_WORD,
)
TOUCH = Key("table", "the touch current as measured", "by a person trained for it", table=TOUCH_READING)

SERVICE = Key("table", "the touch check of service manuals", "by a person trained for it", table=SERVICE_READING)
INSULATION = Key(
    "table", "the insulation as measured", "unplugged, by a person trained for it", table=INSULATION_READING
)

UNIT = Table(
    {
        "label": text("the name of the unit on the bench", "your job number", required=True),
        "kind": text("what the unit is", "a few words for the report"),
    }
)

SUPPLY = Table(
    {
        "rail": value(
            "the supply rail that feeds the stage and the guards",
            "meter at the stage's supply pin, unit on",
            measure("V", (1.8, 12.0), (0.5, 60.0)),
        ),
        "rail_capacitance": value(
            "the capacitance on that rail, which takes what a clamp dumps into it",
            "sum of the values printed on the electrolytics of the rail",
            measure("F", (1e-7, 1e-2), (1e-10, 1.0)),
        ),
        "rail_load": value(
            "what the unit draws from the rail",
            "meter in series with the rail (a current), or volts over amperes (a resistance)",
            measure("A", (1e-3, 5.0), (0.0, 50.0)),
            measure("ohm", (1.0, 1e4), (1e-2, 1e8)),
        ),
        "rail_max": value(
            "the highest voltage the rail may be lifted to",
            f"{DATA_SHEET}: lowest supply rating of the chips on the rail",
            measure("V", (1.8, 16.0), (0.5, 100.0)),
        ),
        "rail_esr": value(
            "the series resistance of the rail's capacitors",
            "data sheet of the capacitor or an ESR meter",
            measure("ohm", (1e-3, 10.0), (0.0, 1e3)),
        ),
        "mains": value("the mains voltage", LABEL_PLATE, measure("V", (85.0, 265.0), (10.0, 500.0))),
        "mains_frequency": value("the mains frequency", LABEL_PLATE, measure("Hz", (49.0, 61.0), (10.0, 500.0))),
        "protection_class": choice(
            "the class of protection against electric shock",
            "type plate: a square in a square is II, an earthed plug is I, a supply by extra-low voltage alone is III",
            "I",
            "II",
            "III",
            UNKNOWN_WORD,
        ),
        "y_capacitance": Y_CAPACITANCE,
        "y_coupling": Y_COUPLING,
        "touch_reading": TOUCH,
        "service_reading": SERVICE,
        "insulation_reading": INSULATION,
        "phases": choice(
            "how the mains of the unit and of the display relate",
            "same: one phase; opposite: two legs of a split-phase supply; different: two of three phases",
            "same",
            "opposite",
            "different",
            UNKNOWN_WORD,
        ),
    }
)

PICTURE = Table(
    {
        "field_rate": value(
            "the field rate the unit makes",
            "50 or 60 Hz: the unit's region; a frequency counter or scope on field sync",
            measure("Hz", (49.0, 76.0), (20.0, 250.0)),
        ),
        "lines_per_field": value(
            "the scan lines of one field, half lines included",
            "262.5 or 312.5 interlaced; 262, 263, 312 where a console does not interlace; a capture counts them",
            measure("1", (256.0, 630.0), (100.0, 2500.0)),
        ),
        "scan": choice("whether its fields interlace", "a capture tells", "interlaced", "progressive", UNKNOWN_WORD),
    }
)

DISPLAY = Table(
    {
        "input": word("the display's input network, a part of the library", "guardcheck list displays"),
        "input_netlist": path("your own netlist of the display's input", "ports: in gnd"),
        "values": values("the parameters of the display's input", "guardcheck show NAME"),
        "wiring": word("the wiring system of the display's socket", "guardcheck list wirings"),
        "line_rates": Key(
            "choices",
            "the line rates the display takes",
            "its manual or type plate; a television takes 15 kHz",
            choices=("15 kHz", "24 kHz", "31 kHz"),
        ),
        "earthed": flag("whether the display's 0 V is tied to mains earth", "meter from its connector shell to earth"),
        "other_leads": flag(
            "whether another lead stays in the display: aerial, network, audio, computer",
            "look; such a lead may earth a display that is not earthed itself",
        ),
        "y_capacitance": Y_CAPACITANCE,
        "y_coupling": Y_COUPLING,
        "touch_reading": TOUCH,
        "service_reading": SERVICE,
        "insulation_reading": INSULATION,
    },
    not_both=(("input", "input_netlist"),),
)

SOCKET = Table(
    {
        "wiring": word("the wiring system of the plug at the unit's end", "guardcheck list wirings", required=True),
        "drives": Key(
            "tables",
            "what a contact of the unit stands at, where it differs from what is usual",
            "meter, nothing connected",
            table=Table(
                {
                    "contact": word("the contact", "guardcheck show NAME of the wiring system", required=True),
                    "voltage": value("its voltage without load", "meter", measure("V", (0.1, 12.6), (-60.0, 60.0))),
                    "resistance": value(
                        "the resistance it comes through", "colour code", measure("ohm", (0.1, 1e4), (0.0, 1e7))
                    ),
                }
            ),
        ),
    }
)

LEAD = Table(
    {
        "wiring": choice(
            "how the lead joins its contacts: equal ones, crossed ones, or role to role",
            "straight: 1 to 1; crossed: outputs to inputs; adapter: made for two different systems",
            "straight",
            "crossed",
            "adapter",
        ),
        "swapped": flag("whether the lead is plugged in with its ends exchanged", "look"),
        "parts": Key(
            "tables",
            "the parts in the hoods of the plugs",
            "open the hood",
            table=Table(
                {
                    "contact": word("the unit's contact whose wire it sits in", "look", required=True),
                    "part": choice(
                        "what it is and where",
                        "series: in the wire; shunt: from the wire to 0 V",
                        "series-resistor",
                        "series-capacitor",
                        "shunt-resistor",
                        required=True,
                    ),
                    "value": value(
                        "its value",
                        "printed on it",
                        measure("ohm", (10.0, 1e4), (0.0, 1e7)),
                        measure("F", (1e-8, 1e-3), (1e-12, 1.0)),
                        unknown=False,
                        required=True,
                    ),
                }
            ),
        ),
    }
)

CABLE = Table(
    {
        "kind": word("the cable, a part of the library", "guardcheck list cables"),
        "netlist": path("your own netlist of the cable", "ports: near far near_gnd far_gnd"),
        "length": value("the cable's length", "tape measure", measure("m", (0.3, 20.0), (0.01, 500.0)), unknown=False),
        "values": values("the other parameters of the cable", "guardcheck show NAME"),
    },
    one_of=(("kind", "netlist"),),
)

PIN = Table(
    {
        "family": word("a family of chips whose ratings the library knows", "guardcheck list pins"),
        "over_voltage": value(
            "how far the pin may go above the rail", DATA_SHEET, measure("V", (0.0, 2.0), (0.0, 50.0))
        ),
        "under_voltage": value("how far the pin may go below 0 V", DATA_SHEET, measure("V", (0.0, 2.0), (0.0, 50.0))),
        "pin_voltage": value(
            "the highest voltage of the pin against 0 V, whatever the rail does",
            f"{DATA_SHEET}: chips without a diode to the rail print 7 V",
            measure("V", (3.0, 30.0), (0.5, 100.0)),
        ),
        "clamp_current": value(
            "the current the pin's own diodes may carry for good",
            f"{DATA_SHEET}: clamp, injection or input diode current",
            measure("A", (1e-3, 0.1), (1e-6, 1.0)),
        ),
        "output_current": value(
            "the current the pin may deliver itself",
            f"{DATA_SHEET}: output current, or short-circuit current",
            measure("A", (1e-3, 0.2), (1e-6, 5.0)),
        ),
        "short_circuit": value(
            "the current the output gives, or takes, into a short at most",
            f"{DATA_SHEET}: output short-circuit current",
            measure("A", (5e-3, 0.3), (1e-6, 10.0)),
        ),
        "over_voltage_if_current_kept": flag(
            "whether the voltage limits may be passed as long as the clamp current is kept",
            f"{DATA_SHEET}: the footnote at the voltage limits",
        ),
        "latch_up": value(
            "the current that the latch-up test proved harmless", "data sheet", measure("A", (0.05, 0.5), (1e-3, 5.0))
        ),
        "hbm": value("the pin's human-body-model rating", "data sheet, ESD", measure("V", (250.0, 8e3), (10.0, 30e3))),
        "cdm": value(
            "the pin's charged-device-model rating", "data sheet, ESD", measure("V", (100.0, 2e3), (10.0, 5e3))
        ),
    }
)


READINGS = Table(
    {
        "load": Key(
            "value",
            "the resistor from the pin to 0 V",
            "its colour code, or a meter",
            measures=(measure("ohm", (37.0, 1e4), (1.0, 1e9)),),
            also=("open",),
            required=True,
        ),
        "volts": value(
            "the level read with it, against black",
            "oscilloscope",
            measure("V", (0.05, 5.5), (-30.0, 30.0)),
            unknown=False,
            required=True,
        ),
    }
)
EDGES = Table(
    {
        "rise": value("the rise time, 10 to 90 %", "oscilloscope", measure("s", (1e-9, 1e-5), (1e-11, 1e-2))),
        "fall": value("the fall time, 90 to 10 %", "oscilloscope", measure("s", (1e-9, 1e-5), (1e-11, 1e-2))),
    }
)


def _part(kind: str, ports: str) -> dict[str, Key]:
    return {
        kind: word(f"the {kind}, a part of the library", f"guardcheck list {kind}s"),
        f"{kind}_values": values(f"the parameters of the {kind}", "guardcheck show NAME"),
        f"{kind}_netlist": path(f"your own netlist of the {kind}", f"ports: {ports}"),
    }


ORIGINAL = Table(
    {
        **_part("stage", "in out vdd gnd"),
        **_part("guard", "chip line vdd gnd"),
        "exposed": flag("whether the maker led this line to a socket", "look at the unit before the mod"),
    },
    one_of=(("stage", "stage_netlist"),),
    not_both=(("guard", "guard_netlist"),),
)

LINE = Table(
    {
        "names": words("the lines this table describes", "red, green, blue, sync, composite, luma ...", required=True),
        "standard": word("the video standard the line must meet", "guardcheck list standards", required=True),
        **_part("source", "emf pin vdd gnd"),
        "pin": Key(
            "table",
            "the ratings of the chip's pin",
            DATA_SHEET,
            also=(UNKNOWN_WORD,),
            table=PIN,
        ),
        "readings": Key(
            "tables",
            "what was read at the pin with different loads",
            "one picture for all of them; open, 150 ohm, 75 ohm of an analogue pin; never load a logic pin with 75 ohm",
            table=READINGS,
        ),
        "edges": Key("table", "the edges at the pin", "oscilloscope, nothing connected", table=EDGES),
        **_part("stage", "in out vdd gnd"),
        "stage_pin": Key(
            "table",
            "the ratings of the output pin of a chip in the stage: a buffer that stands at the connector",
            DATA_SHEET,
            also=(UNKNOWN_WORD,),
            table=PIN,
        ),
        **_part("guard", "chip line vdd gnd"),
        "moves": words(
            "the values of the stage that a search for a better build may change; all that usually vary if left out",
            "the names of its parameters",
        ),
        "original": Key(
            "table",
            "how the maker built this line: the same stresses run on it, and the mod is held against it",
            "the service manual, or the board before the mod",
            table=ORIGINAL,
        ),
        "event_values": values("the parameters of your own event"),
        "event_netlist": path("your own netlist of a stress event", "ports: near near_gnd far far_gnd"),
    },
    one_of=(("source", "source_netlist"), ("stage", "stage_netlist")),
    not_both=(("guard", "guard_netlist"),),
)

CLAIMS = Table(
    {
        "events": words(
            "the stress events the mod is claimed to survive, which makes them count", "guardcheck list events"
        )
    }
)

USE = Table(
    {
        "forbids": labels(
            "the stress events the workshop forbids by a label at the socket: each becomes a condition of use",
            "guardcheck list events",
        )
    }
)

DRAWER = Table(
    {
        "resistors": value_list(
            "the resistors at hand, each with its tolerance if it is not 1 %",
            'written as "75 ohm" or "100 ohm 5%"',
            measure("ohm", (1.0, 1e6), (0.1, 1e7)),
        ),
        "parts": words("the guards and active stages at hand, by their names on the shelf", "guardcheck list guards"),
    }
)

JOB = Table(
    {
        "format": Key("format", "the version of this file's format", "write format = 1", required=True),
        "circuits": Key("folder", "a folder with your own parts, searched first", "beside the job file"),
        "touch_standard": word("the standard that sets the touch-current limit", "such as iec-62368-1"),
        "unit": Key("table", "the unit on the bench", required=True, table=UNIT),
        "supply": Key("table", "the unit's supply", table=SUPPLY),
        "picture": Key("table", "the picture the unit makes", table=PICTURE),
        "display": Key("table", "the display", table=DISPLAY),
        "socket": Key("table", "the plug at the unit's end of the lead", table=SOCKET),
        "lead": Key("table", "the lead's contacts and the parts in its hoods", table=LEAD),
        "cable": Key("table", "the cable", table=CABLE),
        "line": Key("tables", "the signal conductors", table=LINE),
        "bond": Key("tables", "bonds that were read", table=BOND),
        "barrier": Key("tables", "insulating barriers", table=BARRIER),
        "capacitor": Key("tables", "capacitors that hold charge", table=CAPACITOR),
        "hazards": Key("table", "what else in the unit can hurt", table=HAZARDS),
        "setpoint": Key("tables", "adjustments that were made", table=SETPOINT),
        "link": Key("tables", "other apparatus that stays connected", table=LINK),
        "claims": Key("table", "what the mod is claimed to do", table=CLAIMS),
        "drawer": Key("table", "what is at hand, if a build is to be made of that alone", table=DRAWER),
        "use": Key("table", "what the unit may not be used for", table=USE),
    }
)
FACT_TABLES = ("bond", "barrier", "capacitor", "hazards", "setpoint", "link")
