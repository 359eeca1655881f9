"""The keys of the bench facts: bonds, barriers, capacitors, hazards, setpoints, links. See `keys` for what a row is."""

from __future__ import annotations

from guardcheck.job.schema import Key, Measure, Table, choice, flag, measure, text, value
from guardcheck.model import UNKNOWN_WORD

METER = "the meter's data sheet"


def _meter(resolution: Measure, full_scale: Measure) -> dict[str, Key]:
    """Return what every reading says of its meter: an accuracy may be a share of full scale, so that is there too."""
    return {
        "accuracy": Key(
            "accuracy",
            "the meter's accuracy as its data sheet prints it",
            f"{METER}: '1.0% + 2 counts'",
            measures=(resolution,),
        ),
        "resolution": value("one count of the meter in the range used", "last digit of the display", resolution),
        "meter_range": value("the range the meter stood in", METER, full_scale),
    }


TOUCH_READING = Table(
    {
        "value": value("a touch current read with the weighted network of IEC 60990", "worse of both plug ways",
                       measure("A", (1e-6, 10e-3), (0.0, 0.1)), unknown=False, required=True),
        **_meter(measure("A", (1e-8, 1e-4), (1e-12, 1e-2)), measure("A", (1e-5, 0.1), (1e-7, 10.0))),
    }
)  # fmt: skip

SERVICE_READING = Table(
    {
        "value": value("the AC voltage across 1.5 kohm parallel 0.15 uF from an exposed metal part to earth",
                       "the worst of all parts and both plug ways; only by a person trained for it",
                       measure("V", (0.0, 5.0), (0.0, 50.0)), unknown=False, required=True),
        "both_plug_ways": flag("whether it was read with the plug both ways round", "turn the plug, read again"),
        "isolating_transformer": flag("whether an isolating transformer fed it", "then the reading proves nothing"),
        **_meter(measure("V", (1e-5, 0.1), (1e-7, 10.0)), measure("V", (0.1, 1000.0), (1e-3, 1e5))),
    }
)  # fmt: skip

INSULATION_READING = Table(
    {
        "value": value("the resistance between the joined mains prongs and the exposed metal", "unplugged, switch on",
                       measure("ohm", (1e5, 1e12), (0.0, 1e14)), over_range=True, unknown=False, required=True),
        "test_voltage": value("the voltage it was tested with", f"{METER}: 500 V of an insulation tester",
                              measure("V", (0.2, 1000.0), (0.01, 5e3))),
        **_meter(measure("ohm", (1e2, 1e9), (1e-2, 1e12)), measure("ohm", (1e6, 1e13), (1e2, 1e14))),
    }
)  # fmt: skip

BOND_READING = Table(
    {
        "value": value(
            "a bond reading as the meter showed it",
            "leads not yet subtracted",
            measure("ohm", (0.0, 100.0), (0.0, 1e7)),
            over_range=True,
            unknown=False,
            required=True,
        ),
        "method": choice("how the bond was read", "two probes, or two for current and two for voltage",
                         "two-wire", "four-wire", UNKNOWN_WORD),
        "leads": value("the reading with the probes shorted", "short the probes and read",
                       measure("ohm", (0.01, 1.0), (0.0, 10.0))),
        "test_current": value("the current the tester drove through the bond", METER,
                              measure("A", (1e-4, 40.0), (1e-6, 100.0))),
        "test_time": value("how long that current flowed", "watch", measure("s", (1.0, 300.0), (1e-3, 3600.0))),
        **_meter(measure("ohm", (1e-5, 1.0), (1e-7, 1e3)), measure("ohm", (0.1, 1e4), (1e-3, 1e9))),
    }
)  # fmt: skip

BOND = Table(
    {
        "from": text("one end of the bond", "as you would name it to a colleague", required=True),
        "to": text("the other end of the bond", required=True),
        "purpose": choice("what the bond is for", "", "shield", "functional-earth", "protective-earth", required=True),
        "state": choice("that the bond was not fitted", "instead of a reading", "not fitted"),
        "protective_rating": value("the rating of the fuse that protects the earthed circuit", "type plate, fuse",
                                   measure("A", (0.5, 20.0), (0.01, 100.0))),
        "surface": text("what lies under the screw or clamp", "bare metal, paint, solder mask: look"),
        "reading": Key("table", "what the meter showed", table=BOND_READING),
    },
    not_both=(("reading", "state"),),
)  # fmt: skip

BARRIER_READING = Table(
    {
        "face": choice("which face was probed", "through: from one face to the other",
                       "inner", "outer", "upper", "lower", "edge", "through", required=True),
        "value": value(
            "an insulation reading as the meter showed it",
            "a reading beyond the range is 'over range', not a value",
            measure("ohm", (1e5, 1e13), (1.0, 1e14)),
            over_range=True,
            unknown=False,
            required=True,
        ),
        "probe_spacing": value("the distance between the probes", "ruler", measure("m", (1e-3, 0.1), (1e-5, 1.0))),
        "test_voltage": value("the meter's voltage in that range", f"{METER}: about 1 V for a multimeter",
                              measure("V", (0.2, 1000.0), (0.01, 10e3))),
        **_meter(measure("ohm", (1.0, 1e8), (1e-4, 1e12)), measure("ohm", (1e6, 1e13), (1e2, 1e14))),
    }
)  # fmt: skip

BARRIER = Table(
    {
        "where": text("where the barrier lies", required=True),
        "material": text("what the barrier is made of", "what it is sold as", required=True),
        "designation": text("its maker's designation", "printed on the roll, or its data sheet"),
        "working_voltage": value("the voltage across the barrier in use", "highest voltage of the parts it parts",
                                 measure("V", (1.0, 400.0), (0.0, 30e3))),
        "node_resistance": value("the resistance from the node it keeps apart to 0 V", "schematic; meter, unit off",
                                 measure("ohm", (10.0, 1e6), (1e-3, 1e12))),
        "readings": Key("tables", "what the meter showed, one entry for each face", table=BARRIER_READING),
    }
)  # fmt: skip

CAPACITOR_READING = Table(
    {
        "value": value("a voltage read across the capacitor", "unplugged, before touching",
                       measure("V", (0.0, 450.0), (0.0, 50e3)), unknown=False, required=True),
        "after": value("the time from unplugging to that reading", "watch", measure("s", (0.0, 600.0), (0.0, 1e6))),
        **_meter(measure("V", (1e-4, 1.0), (1e-6, 100.0)), measure("V", (0.1, 1000.0), (1e-3, 1e5))),
    }
)  # fmt: skip

CAPACITOR = Table(
    {
        "where": text("which capacitor", "designator or place", required=True),
        "capacitance": value("its capacitance", "printed on it", measure("F", (1e-9, 1e-2), (1e-12, 1.0))),
        "voltage": value("the voltage it is charged to in use", "meter, or the supply's rectified peak",
                         measure("V", (5.0, 450.0), (0.1, 50e3))),
        "bleeder": value("the resistor that discharges it", "printed on it; unknown counts as none",
                         measure("ohm", (1e3, 1e7), (1.0, 1e12))),
        "connected": choice("what can be touched: the pins of the mains plug, or parts inside", "",
                            "plug", "internal", UNKNOWN_WORD),
        "reading": Key("table", "the voltage left after unplugging", table=CAPACITOR_READING),
    }
)  # fmt: skip

HAZARDS = Table(
    {
        "mains_inside": flag("whether mains voltage is inside the unit", "an internal supply"),
        "crt": flag("whether a picture tube was opened up", "its anode holds charge"),
        "crt_anode": value("the anode voltage of the picture tube", "service manual",
                           measure("V", (15e3, 40e3), (500.0, 60e3))),
        "laser": flag("whether there is an optical pick-up or another laser", "a disc drive"),
        "optical_pickup": flag("whether there is an optical pick-up: another word for laser", "a disc drive"),
        "laser_wavelength": value("its wavelength", "service manual", measure("m", (4e-7, 1e-6), (1e-7, 2e-5))),
        "laser_power": value("its power at the lens", "service manual", measure("W", (1e-5, 5e-3), (1e-9, 10.0))),
        "interlock_defeated": flag("whether a cover switch was bridged", "look"),
        "battery": flag("whether there is a lithium cell", "look"),
        "lithium_cell": flag("whether there is a lithium cell: another word for battery", "look"),
        "switch_mode_primary": flag("whether a switch-mode supply was opened on its mains side", "look"),
        "hot_air": flag("whether hot air was used, or will be", "your own tools"),
        "others": flag("whether there is any of the hazards this table does not name",
                       "false says that you looked and found none of them"),
    }
)  # fmt: skip

SETPOINT = Table(
    {
        "where": text("which trimmer or adjustment", "designator or place", required=True),
        "quantity": text("what it sets", "such as video level or laser current", required=True),
        "before": Key("any", "the value found before touching it", "meter or scope", also=(UNKNOWN_WORD,)),
        "target": Key("any", "the value wanted, with its tolerance", "service manual", also=(UNKNOWN_WORD,)),
        "after": Key("any", "the value left", "meter or scope", also=(UNKNOWN_WORD,)),
        "accuracy": Key("accuracy", "the instrument's accuracy", f"{METER}: '1.0% + 2 counts'"),
        "resolution": Key("any", "one count of the instrument", "last digit of the display", also=(UNKNOWN_WORD,)),
        "meter_range": Key("any", "the range the instrument stood in", METER, also=(UNKNOWN_WORD,)),
    }
)

LINK = Table(
    {
        "to": text("the other apparatus", "amplifier, capture device, aerial ...", required=True),
        "carries": choice("what the lead carries", "",
                          "video", "audio", "data", "aerial", "power", "ground", UNKNOWN_WORD),
        "earthed": flag("whether its 0 V is tied to mains earth", "meter from its connector shell to earth"),
        "y_capacitance": value("the total capacitance from the mains to its 0 V", "printed on its Y capacitors",
                               measure("F", (10e-12, 10e-9), (0.0, 100e-9))),
        "y_coupling": choice("how its Y capacitors sit", "", "symmetric", "single", UNKNOWN_WORD),
        "drive": value("the voltage that drives the link", "meter at the driving end, link open",
                       measure("V", (1.0, 12.0), (0.0, 60.0))),
        "series": value("the resistance in the link", "printed on the resistor",
                        measure("ohm", (10.0, 1e5), (0.0, 1e9))),
        "supply": value("the supply of the board that receives", "meter at its rail, on",
                        measure("V", (1.8, 12.0), (0.0, 60.0))),
        "load": value("what the receiving board draws from its rail: a current or a resistance", "meter in series",
                      measure("A", (1e-4, 2.0), (1e-9, 50.0)), measure("ohm", (1.0, 1e5), (1e-3, 1e9))),
        "clamp_current": value("the current the receiving pin's own diodes may carry",
                               "data sheet: clamp or injection current", measure("A", (1e-3, 0.1), (1e-6, 1.0))),
    }
)  # fmt: skip
