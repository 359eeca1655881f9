"""Declared benches for every rule, and what a finding says in one line, for ``test_tables.py``.

The expected lines stand in ``tables.txt``. Beside each bench stands how its numbers come about by hand; a changed line
is to be worked out again, not copied. ``python -m tests.rules.benches`` prints what the rules say now.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from typing import Any

from guardcheck.model import Fact, Facts, Finding, Limit, Quantity, Value
from guardcheck.rules import all_rules

NOTE = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")


def v(number: float, unit: str, low: float | None = None, high: float | None = None, text: str = "") -> Value:
    """Return a value, exact or with a range."""
    return Value(number, unit, number if low is None else low, number if high is None else high, text=text)


def fact(table: str, label: str, **entries: Any) -> Fact:
    return Fact(table, 0, label, entries)


def line(one: Finding) -> str:
    """Return a finding as one line: place, value, outcome, whether needed, limit, uncertainty, codes, figures said."""
    value = "-" if one.value is None else f"{one.value:.6g}"
    ends = ["" if end is None else f"{end:.6g}" for end in (one.low, one.high)]
    unsure = "" if one.uncertainty is None else f" U={one.uncertainty:.6g}"
    figures = " ".join(NOTE.findall(one.why))
    cure = "" if one.remedy is None else f" | do {' '.join(NOTE.findall(one.remedy))}".rstrip()
    codes = f" {{{' '.join(one.codes)}}}" if one.codes else ""
    needed = "" if one.needed else " (info)"
    guess = " ~" if one.estimate else ""
    return (
        f"{one.quantity} @{one.where or '-'}: {value}{guess}{unsure} [{ends[0]}..{ends[1]}] {one.outcome}{needed} "
        f"{one.origin}{codes} | {figures}{cure}"
    )


def capacitor(**entries: Any) -> Facts:
    usual = {"capacitance": v(220e-6, "F"), "voltage": v(325.0, "V"), "connected": "internal"}
    return Facts(declared=(fact("capacitor", "C1", **{**usual, **entries}),))


def read(value: float, unit: str, **more: Any) -> dict[str, Any]:
    """Return a reading of a meter of 1 % + 2 counts."""
    return {"value": v(value, unit), "accuracy": "1.0% + 2 counts", "resolution": v(0.01, unit), **more}


def stored() -> Iterator[tuple[str, Facts]]:
    """ES1 for 220 uF: 60 V (last row). tau = R C; V(t) = V exp(-t/tau); energy C V^2 / 2; wait tau ln(V/60)."""
    bleeder = v(100e3, "ohm")  # tau 22 s
    yield "no bleeder", capacitor()  # 325 V kept; 11.6 J
    yield "bleeder", capacitor(bleeder=bleeder)  # wait 22 ln(325/60) = 37.17 s
    # capacitance 242 uF at most: tau 26.6 s with the bleeder's 110 kohm; wait 26.62 ln(330/60) = 45.38 s
    yield (
        "tolerances",
        capacitor(
            bleeder=v(100e3, "ohm", 90e3, 110e3),
            capacitance=v(220e-6, "F", 198e-6, 242e-6),
            voltage=v(325.0, "V", 320.0, 330.0),
        ),
    )
    yield "harmless voltage", capacitor(voltage=v(60.0, "V"))
    yield "just above", capacitor(voltage=v(60.1, "V"))
    # 100 nF: between 91 nF (100 V) and 170 nF (75 V): 100 - 25 * 9/79 = 97.15 V
    yield "100 nF", capacitor(capacitance=v(100e-9, "F"), voltage=v(98.0, "V"))
    yield "0.1 nF", capacitor(capacitance=v(0.1e-9, "F"), voltage=v(25e3, "V"))  # below the table: 25 kV
    # 330 nF, 10 Mohm: tau 3.3 s; after 2 s 373.4 exp(-2/3.3) = 203.7 V; wait 3.3 ln(373.4/60) = 6.03 s
    plug = {"capacitance": v(330e-9, "F"), "voltage": v(373.4, "V"), "connected": "plug"}
    yield "plug, 10 Mohm", capacitor(bleeder=v(10e6, "ohm"), **plug)
    # 1 Mohm: tau 0.33 s; after 2 s 0.871 V; wait 0.603 s
    yield "plug, 1 Mohm", capacitor(bleeder=v(1e6, "ohm"), **plug)
    yield "plug, no bleeder", capacitor(**plug)
    yield "nothing known", Facts(declared=(fact("capacitor", "C1"),))
    yield "500 V", capacitor(voltage=v(500.0, "V"))
    yield "450 V", capacitor(voltage=v(450.0, "V"))
    # U = 2 (0.01 * 1.2 + 0.02)/sqrt 3 = 36.95 mV; credible: 0.5 * 325 exp(-2 * 120/22) = 2.96 mV
    yield "read 1.2 V after 2 min", capacitor(bleeder=bleeder, reading=read(1.2, "V", after=v(120.0, "s")))
    # nominal after 10 s 325 exp(-10/22) = 206.3 V; least credible 0.5 * 325 exp(-20/22) = 65.5 V
    yield "read 1 V after 10 s", capacitor(bleeder=bleeder, reading=read(1.0, "V", after=v(10.0, "s")))
    # least credible after 22 s: 162.5 exp(-2) = 21.99 V; U = 2 (0.2 + 0.02)/sqrt 3 = 0.254 V at 20 V, 21.8 V at 21.7 V
    yield "read 21.7 V after 22 s", capacitor(bleeder=bleeder, reading=read(21.7, "V", after=v(22.0, "s")))
    yield "read 21.8 V after 22 s", capacitor(bleeder=bleeder, reading=read(21.8, "V", after=v(22.0, "s")))
    yield "read 12 V, no time", capacitor(bleeder=bleeder, reading=read(12.0, "V"))
    yield "read -12 V, no time", capacitor(bleeder=bleeder, reading=read(-12.0, "V"))
    yield "read 200 V", capacitor(reading=read(200.0, "V"))
    yield "read 60 V", capacitor(bleeder=bleeder, reading=read(60.0, "V", after=v(120.0, "s")))
    bare = {"after": v(300.0, "s")}
    yield "read 121 V, no accuracy", capacitor(reading={"value": v(121.0, "V"), **bare})
    yield "read 120 V, no accuracy", capacitor(reading={"value": v(120.0, "V"), **bare})
    yield "plug read after 3 s", capacitor(bleeder=v(1e6, "ohm"), **plug, reading=read(1.0, "V", after=v(3.0, "s")))
    yield "plug read after 2 s", capacitor(bleeder=v(1e6, "ohm"), **plug, reading=read(1.0, "V", after=v(2.0, "s")))
    yield "read, voltage unknown", capacitor(voltage="unknown", reading=read(1.0, "V", after=v(60.0, "s")))
    yield "low voltage read", capacitor(voltage=v(12.0, "V"), reading=read(0.1, "V", after=v(1.0, "s")))


def bond(purpose: str, reading: Any, times: int = 2, **more: Any) -> Facts:
    supply = more.pop("supply", {})
    entries = {"from": "board shield", "to": "connector shell", "purpose": purpose, **more}
    if reading is not None:
        entries["reading"] = reading
    return Facts(
        declared=tuple(Fact("bond", n, f"bond {n}", entries) for n in range(times)),
        supply=supply,
    )


def wire(value: float, leads: float | None = 0.1, **more: Any) -> dict[str, Any]:
    told = {"method": "two-wire", **more}
    if leads is not None:
        told["leads"] = v(leads, "ohm")
    return read(value, "ohm", **told)


def bonds() -> Iterator[tuple[str, Facts]]:
    """U of bond less leads: 2 sqrt((a^2 + b^2)/3), a = 1 % + 0.02 ohm of each reading."""
    yield "shield 20 mohm", bond("shield", wire(0.12))  # a 21.2 mohm, b 21 mohm: U 34.46 mohm
    yield "shield once", bond("shield", wire(0.12), 1)
    yield "shield 0.97 ohm", bond("shield", wire(1.07))  # U 43.4 mohm: 0.97 + U > 1
    yield "shield 1.2 ohm", bond("shield", wire(1.3))
    yield "leads not read, 1.2 ohm", bond("shield", wire(1.2, None))  # 1.2 - 0.5 is no failure
    yield "leads not read, 1.6 ohm", bond("shield", wire(1.6, None))  # 1.6 - 0.5 - 0.04 > 1
    yield "leads not read, 0.5 ohm", bond("shield", wire(0.5, None))
    yield "leads higher than both", bond("shield", wire(0.10, 0.20))
    plain = {"method": "two-wire", "leads": v(0.1, "ohm")}
    # without accuracy: R - 0.5 - 0.5 - 0.1 R <= 1, so up to 2.222 ohm proves nothing
    yield "no accuracy, 2.2 ohm", bond("shield", {"value": v(2.3, "ohm"), **plain})
    yield "no accuracy, 2.3 ohm", bond("shield", {"value": v(2.4, "ohm"), **plain})
    yield "over range", bond("functional-earth", {"value": "over range"})
    yield "not fitted", bond("shield", None, state="not fitted")
    yield "not read", bond("shield", None)
    yield "paint under the screw", bond("shield", wire(0.12), surface="paint")
    yield "earth by hand meter", bond("protective-earth", wire(0.12))
    tester = {"method": "four-wire", "resolution": v(1e-3, "ohm")}
    for amps, seconds, times in ((25.0, 60.0, ""), (24.9, 60.0, " low"), (25.0, 59.0, " short")):
        told = wire(0.02, **{**tester, "test_current": v(amps, "A"), "test_time": v(seconds, "s")})
        yield f"earth at {amps:g} A{times}", bond("protective-earth", told)
    told = wire(0.02, **{**tester, "test_current": v(20.0, "A"), "test_time": v(120.0, "s")})
    yield "earth rated 10 A at 20 A", bond("protective-earth", told, protective_rating=v(10.0, "A"))
    yield "earth rated 11 A at 20 A", bond("protective-earth", told, protective_rating=v(11.0, "A"))
    two_wire = {**told, "method": "two-wire"}
    yield "earth at 20 A, two-wire", bond("protective-earth", two_wire, protective_rating=v(10.0, "A"))
    yield "class II", bond("protective-earth", wire(0.12), supply={"protection_class": "II"})
    yield "class II, not fitted", bond("protective-earth", None, state="not fitted", supply={"protection_class": "II"})


def barrier(material: str, *faces: str, answer: float | None = None, **more: Any) -> Facts:
    entries: dict[str, Any] = {
        "material": material,
        "working_voltage": more.pop("working", v(12.0, "V")),
        "node_resistance": more.pop("node", v(75.0, "ohm")),
        "designation": more.pop("designation", ""),
    }
    entries = {key: value for key, value in entries.items() if value is not None}
    usual = {
        "value": "over range",
        "meter_range": v(60e6, "ohm"),
        "probe_spacing": v(1e-3, "m"),
        "test_voltage": v(1.0, "V"),
    }
    given = {key: value for key, value in {**usual, **more}.items() if value is not None}
    entries["readings"] = tuple({**given, "face": face} for face in faces)
    return Facts(declared=(fact("barrier", "B1", **entries),), answers={"BAR01/B1": answer})


SHEET = ("upper", "lower", "edge")


def barriers() -> Iterator[tuple[str, Facts]]:
    """Yield barriers: a ring reads R / 0.3183 acosh(d/2a) / 9.996 of two points.

    12 V above the meter's 1 V leaves a tenth of 60 Mohm. 1 % of 0.7 V is 7 mV: into 75 ohm 93.3 uA.
    log10(1e11/60e6) = 3.2 decades.
    """
    tera = {"meter_range": v(2e12, "ohm"), "test_voltage": v(100.0, "V")}
    yield "sheet by tester", barrier("polyimide film", *SHEET, answer=-6e-12, **tera)
    yield "sheet by hand meter", barrier("polyimide film", *SHEET, answer=-2e-6)
    yield "sheet, one face", barrier("polyimide film", "upper", answer=-6e-12, **tera)
    yield "sheet, no edge", barrier("polyimide film", "inner", "outer", answer=-6e-12, **tera)
    yield "sheet, meter at 12 V", barrier("polyimide film", *SHEET, **{**tera, "test_voltage": v(12.0, "V")})
    yield "sheet, meter at 11.9 V", barrier("polyimide film", *SHEET, **{**tera, "test_voltage": v(11.9, "V")})
    yield "sheet, probes 6 mm", barrier("polyimide film", *SHEET, **{**tera, "probe_spacing": v(6e-3, "m")})
    yield "sheet, probes 5 mm", barrier("polyimide film", *SHEET, **{**tera, "probe_spacing": v(5e-3, "m")})
    yield "sheet, no spacing", barrier("polyimide film", *SHEET, **{**tera, "probe_spacing": None})
    yield "sheet, no working voltage", barrier("polyimide film", *SHEET, working="unknown", **tera)
    low = {"value": v(5e6, "ohm"), "accuracy": "10%", "meter_range": None}
    yield "sheet read 5 Mohm", barrier("polyimide film", *SHEET, answer=-2e-6, **low)
    wild = {"value": v(5e6, "ohm"), "meter_range": None}
    yield "sheet read 5 Mohm, no accuracy", barrier("polyimide film", *SHEET, answer=-2e-6, **wild)
    high = {"value": v(80e9, "ohm"), "accuracy": "10%", "meter_range": None, "test_voltage": v(100.0, "V")}
    yield "sheet read 80 Gohm", barrier("polyimide film", *SHEET, answer=-2e-12, **high)
    yield "through 80 Gohm", barrier("polyimide film", "through", answer=-2e-12, **high)
    yield "sheet not read", barrier("polyimide film")
    # one bad face decides: 5 Mohm, U = 2 * 10 %/sqrt 3 = 11.55 %: 4.42 Mohm at least, a tenth above the meter's 1 V
    whole = barrier("polyimide film", "lower", "edge", answer=-2e-6, **tera).declared[0]
    bad = barrier("polyimide film", "upper", **low).declared[0]
    entries = {**whole.entries, "readings": (*whole.entries["readings"], *bad.entries["readings"])}
    yield "sheet, one bad face", Facts(declared=(fact("barrier", "B1", **entries),), answers={"BAR01/B1": -2e-6})
    yield "film, 2 uA", barrier("pink poly film", "inner", "outer", "edge", answer=-2e-6)
    yield "film, 93 uA", barrier("pink poly film", "inner", "outer", "edge", answer=93e-6)
    yield "film, 94 uA", barrier("pink poly film", "inner", "outer", "edge", answer=94e-6)
    yield "film, one face", barrier("pink poly film", "inner", answer=-2e-6)
    yield "film, no node", barrier("pink poly film", "inner", "outer", "edge", answer=-2e-6, node=None)
    yield "film, not simulated", barrier("pink poly film", "inner", "outer", "edge")
    for ohms in (30e3, 70e3, 90e3):  # a ring reads a seventh of two points 1 mm apart: 70 kohm lies about the 1e4 edge
        told = {"value": v(ohms, "ohm"), "accuracy": "1%", "meter_range": None}
        yield f"film read {ohms:g}", barrier("pink poly film", "inner", "outer", "edge", answer=-1e-4, **told)
    yield "metal, 1.26 A", barrier("metallised shielding bag", "inner", answer=-1.26)
    yield "metal, not simulated", barrier("mirror film", "inner")
    yield "unknown bag", barrier("antistatic bag", "inner", "outer", "edge", answer=-2e-6)
    yield "odd polyester", barrier("polyester pearlescent film", *SHEET, answer=-6e-12, **tera)
    yield "odd polyester, named", barrier("pearlescent film", *SHEET, answer=-6e-12, designation="XY 75", **tera)


def setpoint(after: Any, **more: Any) -> Facts:
    entries = {
        "quantity": "video level",
        "before": v(0.66, "V", text="0.66 V"),
        "target": Value(0.70, "V", 0.665, 0.735, text="0.70 V 5%"),
        "after": after if isinstance(after, str) else v(after, "V", text=f"{after} V"),
        "accuracy": "1.0% + 2 counts",
        "resolution": v(1e-3, "V"),
        **more,
    }
    return Facts(declared=(fact("setpoint", "VR1", **entries),))


def setpoints() -> Iterator[tuple[str, Facts]]:
    """U at 0.7 V: 2 (0.007 + 0.002)/sqrt 3 = 10.4 mV; the window is 35 mV either way."""
    yield "set", setpoint(0.70)
    yield "far off", setpoint(0.90)
    yield "at the edge", setpoint(0.735)
    yield "just below", setpoint(0.66)
    yield "coarse meter", setpoint(0.70, accuracy="0.05 V")  # U 57.7 mV > 35 mV: no setting could be shown
    yield "coarse meter, off", setpoint(0.74, accuracy="0.05 V")
    yield "no accuracy, inside", setpoint(0.735, accuracy=None)
    yield "no accuracy, outside", setpoint(0.7351, accuracy=None)
    yield "no accuracy, below", setpoint(0.6649, accuracy=None)
    yield "no value before", setpoint(0.70, before="unknown")
    yield "no value after", setpoint("unknown")
    yield "no target", setpoint(0.70, target="unknown")
    yield "no tolerance", setpoint(0.70, target=v(0.7, "V", text="0.7 V"))
    yield "other units", setpoint(0.70, before=v(0.66, "A", text="0.66 A"))


def link(on: float | None, off: float | None, rail: float | None, **more: Any) -> Facts:
    entries = {
        "to": "disc board",
        "drive": v(5.0, "V"),
        "series": v(4.7e3, "ohm"),
        "supply": v(3.3, "V"),
        "clamp_current": v(2e-3, "A"),
        **more,
    }
    answers = {f"LNK01/L/{state}": one for state, one in (("on", on), ("off", off), ("rail", rail))}
    return Facts(declared=(fact("link", "L", **entries),), answers=answers)


def links() -> Iterator[tuple[str, Facts]]:
    """Yield links: the larger of both currents against the declared clamp current, the rail against 0.3 V."""
    yield "harmless", link(-0.2e-3, -0.9e-3, 0.09)
    yield "on is worse", link(-1.9e-3, 0.1e-3, 0.3)
    yield "too much", link(0.1e-3, 2.1e-3, 0.31)
    yield "half simulated", link(None, 0.1e-3, 0.1)
    yield "half simulated, other", link(0.1e-3, None, None)
    yield "no rating", link(0.0, -0.9e-3, 0.09, clamp_current="unknown")
    yield "loaded by a current", link(0.0, -0.9e-3, 0.09, load=v(0.1, "A"))  # 3.3 V / 0.1 A = 33 ohm
    yield "loaded by a resistor", link(0.0, -0.9e-3, 0.09, load=v(47.0, "ohm"), series=v(0.0, "ohm"))
    yield "loaded by nothing", link(0.0, -0.9e-3, 0.09, load=v(0.0, "A"))
    yield "not driven", link(0.0, 0.0, 0.0, drive="unknown")
    yield "no series", link(0.0, 0.0, 0.0, series="unknown")
    yield "aerial", link(0.0, 0.0, 0.0, drive="unknown", carries="aerial", y_capacitance=v(1e-9, "F"))
    yield "aerial, no capacitor", link(0.0, 0.0, 0.0, drive="unknown", carries="aerial")


def hum(reading: Any, answers: dict[int, float | None], *, state: str | None = None, **more: Any) -> Facts:
    entries: dict[str, Any] = {"from": "shield", "to": "shell", "purpose": "shield"}
    entries |= {} if reading is None else {"reading": reading}
    entries |= {} if state is None else {"state": state}
    chassis = {"y_capacitance": v(4.7e-9, "F"), "y_coupling": "single"}
    mains = {"mains": v(230.0, "V"), "mains_frequency": v(50.0, "Hz")}
    return Facts(
        declared=(fact("bond", "S", **entries),),
        supply={**chassis, **mains, **more.get("supply", {})},
        display={**chassis, **more.get("display", {})},
        answers={f"HUM01/{number}/S": one for number, one in answers.items()},
    )


def hums() -> Iterator[tuple[str, Facts]]:
    """I (R || 150): 170 uA x 0.05 ohm = 8.5 uV; into the loop alone 170 uA x 150 ohm = 25.5 mV rms, 72.1 mV p-p."""
    four = {"value": v(0.05, "ohm"), "method": "four-wire"}
    yield "bonded", hum(four, {0: 170e-6})
    yield "the worst way counts", hum(four, {0: 10e-6, 3: 170e-6, 7: None})
    yield "30 ohm", hum({"value": v(30.0, "ohm"), "method": "four-wire"}, {0: 100e-6})  # 30 || 150 = 25 ohm
    yield "over range", hum({"value": "over range"}, {0: 170e-6})
    yield "not fitted", hum(None, {0: 170e-6}, state="not fitted")
    yield "not read", hum(None, {0: 170e-6})
    yield "not simulated", hum(four, {})
    yield "leads above the bond", hum(wire(0.1, 0.2), {0: 170e-6})
    yield "class I, earthed", hum(four, {0: 170e-6}, supply={"protection_class": "I"}, display={"earthed": True})
    alone = {"earthed": False, "other_leads": False}
    yield "class II, floating", hum(four, {0: 170e-6}, supply={"protection_class": "II"}, display=alone)
    phases = {"supply": {"protection_class": "II", "phases": "opposite", "y_coupling": "symmetric"}}
    yield "opposite phases", hum(four, {0: 1e-4}, display=alone, **phases)  # 0.6 and 0.4 of 4.7 nF
    yield "no mains told", hum(four, {0: 1e-4}, supply={"mains": None})
    yield "no frequency told", hum(four, {0: 1e-4}, supply={"mains_frequency": None})
    yield "no capacitor told", hum(four, {0: 1e-4}, supply={"y_capacitance": None})
    yield "class I, no capacitor told", hum(four, {0: 1e-4}, supply={"y_capacitance": None, "protection_class": "I"})
    yield "display's not told", hum(four, {0: 1e-4}, display={"y_capacitance": None})
    earthed = {"y_capacitance": None, "earthed": True}
    yield "earthed display's not told", hum(four, {0: 1e-4}, display=earthed)


def hazard(**entries: Any) -> Facts:
    return Facts(declared=(fact("hazards", "hazards 1", **{"others": False} | entries),))


def hazards() -> Iterator[tuple[str, Facts]]:
    """Class 1 rises by C4 = 10^(0.002 (nm - 700)): at 780 nm 1.445, at 785 nm 1.479; class 3R is five times class 1."""
    lens = {"laser": True}
    for nm, watts in ((780.0, 0.3e-3), (780.0, 5e-3), (785.0, 0.6e-3), (650.0, 0.3e-3), (650.0, 0.5e-3), (405.0, 1e-4)):
        told = {**lens, "laser_wavelength": v(nm * 1e-9, "m"), "laser_power": v(watts, "W")}
        yield f"{nm:g} nm, {watts:g} W", hazard(**told)
    yield (
        "power with tolerance",
        hazard(**lens, laser_wavelength=v(780e-9, "m"), laser_power=v(0.5e-3, "W", 0.4e-3, 0.6e-3)),
    )
    yield "1500 nm", hazard(**lens, laser_wavelength=v(1500e-9, "m"), laser_power=v(1e-3, "W"))
    yield "no wavelength", hazard(**lens, laser_power=v(1e-3, "W"))
    yield "no power", hazard(**lens, laser_wavelength=v(780e-9, "m"))
    yield "lid switch bridged", hazard(**lens, interlock_defeated=True)
    yield "lid switch as built", hazard(**lens, interlock_defeated=False)
    yield "mains inside", hazard(mains_inside=True)
    yield "mains inside unknown", hazard(mains_inside="unknown")
    yield "no mains inside", hazard(mains_inside=False)
    yield "picture tube", hazard(crt=True)
    yield "picture tube unknown", hazard(crt="unknown")
    yield "no mains inside, no word of the rest", hazard(mains_inside=False, others="unknown")
    yield "more than is named", hazard(mains_inside=False, others=True)
    shown = (fact("hazards", "hazards 1", crt=True, others=False), fact("capacitor", "anode", voltage=v(25e3, "V")))
    yield "picture tube, charge declared", Facts(declared=shown)


def order(*margins: float | None, **more: Any) -> Facts:
    rows = [Quantity("event.margin", "red", False, one, event="hot-plug-live", severity="x") for one in margins]
    rows += more.get("extra", [])
    return Facts(tuple(rows), display=more.get("display", {}), guarded_lines=more.get("guarded", frozenset()))


def orders() -> Iterator[tuple[str, Facts]]:
    """Yield orders: the worst hot-plug margin decides, 1.5 dB and more conforms, -1.5 dB and less does not."""
    yield "12 dB", order(12.0, 1.5)
    yield "between", order(12.0, 1.4)
    yield "beyond", order(12.0, -1.5)
    yield "one not solved", order(12.0, None)
    yield "earthed display", order(12.0, display={"earthed": True})
    yield "floating display", order(12.0, display={"earthed": False})
    yield "no event", order(extra=[Quantity("level.white", "red", False, 0.7)])
    other = [Quantity("event.margin", "red", False, -9.0, event="misplug", severity="12 V")]
    yield "other events do not count", order(12.0, extra=other)
    yield (
        "the bare line does not count",
        order(
            -9.0,
            guarded=frozenset({"red"}),
            extra=[Quantity("event.margin", "red", True, 9.0, event="hot-plug", severity="x")],
        ),
    )
    yield "nothing", Facts()


def service(volts: float | None = None, ohms: Any = None, **more: Any) -> Facts:
    """Return a unit read by the checks of service manuals, the meters of 5 % and no counts."""
    supply: dict[str, Any] = {"mains": v(230.0, "V"), "mains_frequency": v(50.0, "Hz"), "y_coupling": "single"}
    supply |= {"protection_class": more.pop("klass", "II"), "y_capacitance": v(2.2e-9, "F")}
    display = {"earthed": more.pop("earthed", False)}
    answers = more.pop("answers", {})
    plain = {"both_plug_ways": True, "isolating_transformer": False, "test_voltage": v(500.0, "V"), "accuracy": "5%"}
    if volts is not None:
        supply["service_reading"] = {"value": v(volts, "V"), **plain, **more}
    if ohms is not None:
        value = ohms if isinstance(ohms, str) else v(ohms, "ohm")
        supply["insulation_reading"] = {"value": value, **plain, **more}
    return Facts(supply=supply, display=display, answers=answers)


def services() -> Iterator[tuple[str, Facts]]:
    """Yield touch checks and insulation: 0.75 V, 1 Mohm (I), 2 Mohm (II); U = 2 sqrt((meter^2 + network^2) / 3).

    Meter and network 5 % each of 0.6 V: 30 mV twice, U = 2 x 30 mV x sqrt(2/3) = 48.99 mV; 0.6 + 0.049 < 0.75.
    """
    yield "0.6 V", service(0.6, answers={"SRV01/unit": 0.2378})
    yield "0.7 V", service(0.7)  # U = 57.15 mV reaches over 0.75
    yield "0.82 V", service(0.82)  # U = 66.95 mV: 0.82 - 0.067 = 0.753 V
    yield "0.81 V", service(0.81)  # U = 66.14 mV: 0.81 - 0.066 = 0.744 V
    yield "one way", service(0.6, both_plug_ways=False)
    yield "transformer", service(0.6, isolating_transformer=True)
    # 5 % of 50 Mohm is 2.5 Mohm, U = 2 x 2.5 / sqrt(3) = 2.887 Mohm
    yield "50 Mohm", service(ohms=50e6)
    yield "1.5 Mohm, II", service(ohms=1.5e6)  # U = 86.6 kohm
    yield "1.5 Mohm, I", service(ohms=1.5e6, klass="I")
    yield "50 Mohm at 250 V", service(ohms=50e6, test_voltage=v(250.0, "V"))
    yield "50 Mohm at 249 V", service(ohms=50e6, test_voltage=v(249.0, "V"))
    yield "50 Mohm, voltage unknown", service(ohms=50e6, test_voltage="unknown")
    yield "over range of 2 Mohm", service(ohms="over range", meter_range=v(2e6, "ohm"))
    yield "over range of 1.9 Mohm", service(ohms="over range", meter_range=v(1.9e6, "ohm"))
    yield "over range of nothing known", service(ohms="over range")
    yield "neither", service()


def leak(unit: float | None, other: float | None = None, joined: float | None = None, **more: Any) -> Facts:
    """Return two class II apparatus of 2.2 nF, and what the body network shows across its 500 ohm [V]."""
    chassis = {"y_capacitance": v(2.2e-9, "F"), "y_coupling": "symmetric"}
    mains = {"mains": v(230.0, "V"), "mains_frequency": v(50.0, "Hz"), "protection_class": "II"}
    answers = {"TCH01/unit": unit, "TCH01/display": other, "TCH01/joined": joined}
    named = more.pop("standard", None)
    return Facts(
        supply={**mains, **chassis, **more.pop("supply", {})},
        display={**chassis, **more.pop("display", {})},
        settings={} if named is None else {"touch_standard": named},
        answers=answers,
    )


def leaks() -> Iterator[tuple[str, Facts]]:
    """Yield touch currents: V / 500 ohm, judged at 1.1 x the mains; class II 0.25 mA (strictest) to 0.5 mA."""
    # 0.2, 0.23 and 0.46 mA; times 1.1: 0.22 below all, 0.253 above the lowest only, 0.506 above every one
    yield "100, 115 and 230 mV", leak(0.1, 0.115, 0.23)
    yield "named, 0.25 mA", leak(0.1, 0.115, 0.23, standard="iec-60950-1")
    yield "named, 0.5 mA", leak(0.1, 0.115, 0.23, standard="iec-62368-1")
    # class I: 0.75 mA lowest, 5 mA highest: 0.69 x 1.1 = 0.759, 4.6 x 1.1 = 5.06
    yield "class I", leak(0.345, 0.115, 2.3, supply={"protection_class": "I"})
    yield "earthed display", leak(0.1, 0.345, 2.3, display={"earthed": True})
    # unknown: 4.7 nF taken, 0.1 nF certain; 0.46 mA x 0.1/4.7 = 9.8 uA certain
    yield "unknown capacitance", leak(0.23, 0.1, 0.33, supply={"y_capacitance": "unknown", "y_coupling": "unknown"})
    # 100 V certain of 240, 50 Hz of 60: 0.46 mA x 0.3472 = 0.16 mA
    yield "unknown mains", leak(0.23, 0.1, 0.33, supply={"mains": "unknown", "mains_frequency": "unknown"})
    yield "no mains", Facts(supply={"y_capacitance": v(2.2e-9, "F")})
    # a reading of 0.2 mA +/- 5 %: U = 11.55 uA; times 1.1: 0.22 +/- 0.0127; the sum 0.4 +/- 0.01633
    half = {"touch_reading": {"value": v(0.2e-3, "A"), "accuracy": "5%"}}
    yield "read", leak(None, supply=half, display=half)
    # 0.3 V through hypot(1/1500, 2 pi 50 x 0.15 uF) = 668.3 uS is 200.5 uA; U = 24.49 mV, so 16.37 uA
    check = {"value": v(0.3, "V"), "accuracy": "5%", "both_plug_ways": True, "isolating_transformer": False}
    yield "touch check", leak(None, supply={"service_reading": check})
    yield "not solved", leak(None)
    yield "nothing", Facts()


def contact(value: float | None, low: float | None, high: float | None, **more: Any) -> Facts:
    limit = None if low is None and high is None else Limit("mating.voltage", low, high, None, "made for it", "read")
    return Facts((Quantity("mating.voltage", "", None, value, where="contact 20", limit=limit, **more),))


def contacts() -> Iterator[tuple[str, Facts]]:
    """Yield contacts: inside 0.496 to 0.989 V fits, a misfit never does, one that was not solved is open."""
    yield "fits", contact(0.7, 0.496, 0.989)
    yield "too high", contact(1.2, 0.496, 0.989)
    yield "misfit, harmless", contact(0.7, None, 2.7, codes=("misfit",), notes=("Green on blue.",))
    yield "misfit, harmful", contact(3.0, None, 2.7, codes=("misfit",))
    yield "misfit, not solved", contact(None, None, 2.7, codes=("misfit",), failure="no convergence")
    yield "no wiring named", contact(None, None, None, failure="the unit's wiring is not named", needed=False)
    yield "shown only", contact(0.7, None, None)
    yield "not solved", contact(None, None, 2.7, failure="no convergence")


def scan(rate: float | None, *taken: str, needed: bool = False) -> Facts:
    quantity = Quantity("scan.line_rate", "", None, rate, origin="computed", needed=needed)
    return Facts((quantity,), display={"line_rates": taken} if taken else {})


def scans() -> Iterator[tuple[str, Facts]]:
    """Yield line rates: within 7 % of 15.7 (14.601 to 16.799), 24.8 (23.064 to 26.536), 31.5 kHz (29.295 to 33.705)."""
    for name, inside, outside in (
        ("15 kHz", (14610.0, 16790.0), (14590.0, 16810.0)),
        ("24 kHz", (23080.0, 26520.0), (23050.0, 26550.0)),
        ("31 kHz", (29310.0, 33690.0), (29280.0, 33720.0)),
    ):
        for rate in (*inside, *outside):
            yield f"{rate:g} into {name}", scan(rate, name)
    yield "one of two", scan(15625.0, "31 kHz", "15 kHz")
    yield "shared connector", scan(15625.0, needed=True)
    yield "usual", scan(15625.0)
    yield "no rate", scan(None, "15 kHz", needed=True)


def simple(name: str, value: float | None, low: float | None, high: float | None, **more: Any) -> Facts:
    limit = Limit(name, low, high, None, "as printed", "read")
    return Facts((Quantity(name, "red", None, value, limit=limit, **more),))


def sources() -> Iterator[tuple[str, Facts]]:
    """Yield deviations over their uncertainty: at most 1."""
    yield "at the limit", simple("source.fit", 1.0, None, 1.0)
    yield "off by 1.3", simple("source.fit", 1.3, None, 1.0, notes=("The pin gives a current.",))
    yield "failed with a value", simple("source.fit", 0.2, None, 1.0, failure="two kinds fit")
    yield "none", simple("source.fit", None, None, 1.0)


def locks() -> Iterator[tuple[str, Facts]]:
    """Yield sync in a window of 0.14 to 0.6 V: beside it not proven; above what the input stands it fails."""
    for value in (0.14, 0.6, 0.139, 0.601):
        yield f"lock {value:g}", simple("sync.lock", value, 0.14, 0.6)
        yield f"input {value:g}", simple("sync.input", value, None, 0.6)


def margin(*rows: tuple[str, float | None, float | None, float | None], **more: Any) -> Facts:
    """Return margins of one event, each by severity, value, least and most [dB]."""
    found = []
    for level, value, least, most in rows:
        spread = None if least is None or most is None else (least, most)
        found.append(Quantity("event.margin", "red", False, value, spread=spread, event="zap", severity=level, **more))
    return Facts(tuple(found))


def margins() -> Iterator[tuple[str, Facts]]:
    """Yield margins: 1.5 dB and more holds, -1.5 dB at its most is exceeded, between them nothing is proven."""
    yield "to spare", margin(("a", 9.0, 1.5, 20.0), ("b", 9.0, 1.4, 20.0), ("c", 4.0, None, None))
    yield "exceeded", margin(("a", -9.0, -20.0, -1.5), ("b", -9.0, -20.0, -1.4), ("c", -4.0, None, None))
    yield "near", margin(("a", 0.0, -1.5, 1.5), ("b", 0.0, -1.6, 1.5))  # 3.0 dB apart, and 3.1
    yield "no bound", margin(("a", -9.0, -9.0, 100.0), ("b", -9.0, -9.0, 99.0))
    yield "not solved", margin(("a", None, None, None), failure="no convergence")
    yield "estimated", margin(("a", 9.0, 9.0, 9.0), failure="beyond the data sheet")
    beside = {"against_original": "worse", "original": 7.0}
    yield "worse in daily use", margin(("a", 4.0, 4.0, 4.0), use="daily", **beside)
    yield "worse by a mistake", margin(("a", 4.0, 4.0, 4.0), use="mistake", **beside)
    yield "better", margin(("a", 9.5, 9.5, 9.5), against_original="better", original=7.0)
    yield "the same", margin(("a", 7.0, 7.0, 7.0), against_original="same", original=7.0)
    # strikes: the hardest level up to which all hold; the second level's two rows count as its worse one
    held, lost = (9.0, 9.0, 9.0), (-9.0, -9.0, -9.0)
    yield "all held", margin(("2 kV", *held), ("4 kV", *held), use="strike")
    yield "held to 2 kV", margin(("2 kV", *held), ("4 kV", *held), ("4 kV", *lost), ("8 kV", *held), use="strike")
    yield "held nowhere", margin(("2 kV", *lost), ("4 kV", *held), use="strike")
    yield "open at 2 kV", margin(("2 kV", 0.0, 0.0, 0.0), ("4 kV", *lost), use="strike")


BENCHES = {
    "EVT01": margins,
    "STO01": stored,
    "BND01": bonds,
    "BAR01": barriers,
    "SET01": setpoints,
    "LNK01": links,
    "HUM01": hums,
    "HAZ01": hazards,
    "ORD01": orders,
    "SRV01": services,
    "TCH01": leaks,
    "MAT01": contacts,
    "SCN01": scans,
    "SRC01": sources,
    "SYN01": locks,
}


def said(code: str) -> Iterator[str]:
    """Yield what one rule says of its benches: what it asks of the simulator, then its findings."""
    one = next(one for one in all_rules() if one.rule.code == code)
    for name, facts in BENCHES[code]():
        yield f"{code} {name}"
        for ask in sorted(one.asks(facts) if one.asks else (), key=lambda ask: ask.key):
            values = " ".join(f"{key}={value:.6g}" for key, value in ask.values.items())
            at = "" if ask.frequency is None else f" at {ask.frequency:g}"
            yield f"  ask {ask.key} {ask.probe} {ask.read}{at}: {values}"
        for finding in one.judge(facts):
            yield f"  {line(finding)}"


if __name__ == "__main__":
    for code in BENCHES:
        sys.stdout.write("\n".join(said(code)) + "\n")
