"""SRV01: the two checks that service manuals print for after a repair.

Hazard
    A repair or a mod can leave a path from the mains to metal that people touch: a pinched wire, a wrong capacitor, a
    sheet left out. The declared parts do not show it; a reading does.
What is read
    The AC voltage across 1.5 kohm with 0.15 uF beside it, from each exposed metal part to earth, plug both ways round,
    no isolating transformer (`service_reading`); the resistance from the joined prongs of the mains plug, out of the
    socket and its switch on, to exposed metal (`insulation_reading`). What this unit should show is simulated.
Limit and source
    At most 0.75 V rms (service manuals). Insulation: 1 Mohm for class I, else 2 Mohm (EN 50678, known only
    second-hand, from memory). Below 250 V of test voltage an insulation reading can fail and never conform.
Not covered
    The test of a repaired unit as a whole: EN 50678 asks an electrically skilled person with a tester. Direct current,
    leakage above mains frequency, flash-over.
What to do at the bench
    Only a person trained for it works on a unit that is plugged in with the case open; local codes come first. The
    resistor of the network is rated 10 W. Nobody touches the unit while it is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError
from guardcheck.leakage import DISPLAY, SERVICE_READING, UNIT, halves, known, service_check
from guardcheck.metrology import expanded, width_of
from guardcheck.model import (
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    PERSON,
    SAFETY,
    Ask,
    Case,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
    Value,
)
from guardcheck.toml_tables import read_table
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding, inside

TOUCH, INSULATION = "touch.voltage", "insulation.resistance"
RULE = Rule(code="SRV01", title="Checks after repair", klass=SAFETY, quantities=(TOUCH, INSULATION), kind=PERSON)
INSULATION_READING, OVER_RANGE = "insulation_reading", "over range"
REMEDY = (
    "leave it unplugged and have a person trained for it find the path from the mains to metal; local codes come first"
)


@dataclass(frozen=True)
class _Data:
    touch: Limit
    insulation: Mapping[str, Limit]
    enough: float


@cache
def _data() -> _Data:
    top, _ = read_table(Path(__file__).parent / "data" / "service.toml", error=InputError)
    touch, insulation = top.table("touch"), top.table("insulation")
    return _Data(
        Limit(TOUCH, None, touch.real("voltage", "V"), None, touch.text("reference"), touch.text("known_by")),
        {
            row.text("class"): Limit(
                INSULATION, row.real("resistance", "ohm"), None, None, row.text("reference"), row.text("known_by")
            )
            for row in insulation.tables("limit")
        },
        insulation.real("test_voltage", "V"),
    )


def _places(facts: Facts) -> tuple[tuple[str, Mapping[str, Any], str], ...]:
    """Return unit and display with their entries and the class whose limit holds: II unless I is said."""
    earthed = "I" if facts.display.get("earthed") is True else "II"
    unit = "I" if facts.supply.get("protection_class") == "I" else "II"
    return (UNIT, facts.supply, unit), (DISPLAY, facts.display, earthed)


def asks(facts: Facts) -> tuple[Ask, ...]:
    """Return the simulations wanted: what the touch check should show of each apparatus that was read."""
    mains, frequency = known(facts.supply, "mains"), known(facts.supply, "mains_frequency")
    if mains is None or frequency is None:
        return ()
    found = []
    for where, entries, _ in _places(facts):
        farads = known(entries, "y_capacitance")
        if farads is not None and SERVICE_READING in entries:
            live, neutral = halves(entries, farads.value)
            values = {"mains": mains.value, "y_live": live, "y_neutral": neutral}
            found.append(Ask(f"SRV01/{where}", "touch-service", values, "v(chassis)", frequency.value))
    return tuple(found)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge the checks that were done; one that was not done is no fault of the unit and is not asked for here."""
    found = [one for where, entries, klass in _places(facts) for one in _rows(facts, where, entries, klass)]
    if found:
        return tuple(found)
    row = finding(RULE.code, Quantity(TOUCH, "", None, None, origin=DECLARED_ORIGIN, where=UNIT), None, needed=False)
    return (replace(row, why="Not applicable: neither check was declared as done."),)


def _rows(facts: Facts, where: str, entries: Mapping[str, Any], klass: str) -> Iterator[Finding]:
    touch = _touch(facts, where, entries)
    if touch is not None:
        yield touch
    insulation = _insulation(where, entries.get(INSULATION_READING), _data().insulation[klass])
    if insulation is not None:
        yield insulation


def _touch(facts: Facts, where: str, entries: Mapping[str, Any]) -> Finding | None:
    read = service_check(entries)
    if read is None:
        return None
    quantity = Quantity(TOUCH, "", None, read.volts, origin=MEASURED, uncertainty=read.uncertainty, where=where)
    judged = finding(RULE.code, quantity, _data().touch, needed=True)
    wanted = facts.answers.get(f"SRV01/{where}")
    beside = "" if wanted is None else f" The declared Y capacitance alone makes {format_si(wanted, 'V')}."
    if judged.outcome == CONFORMS and read.gap is not None:
        return replace(judged, outcome=NOT_PROVEN, why=f"Not proven: {read.gap}.{beside}")
    remedy = REMEDY if judged.outcome == DOES_NOT_CONFORM else None
    return replace(judged, why=f"{judged.why}{beside}", remedy=remedy)


def _insulation(where: str, reading: object, limit: Limit) -> Finding | None:
    if not isinstance(reading, Mapping):
        return None
    over = reading.get("value") == OVER_RANGE
    told = reading.get("meter_range") if over else reading.get("value")
    shown = told.nominal if isinstance(told, Value) else None
    width = 0.0 if over else None if shown is None else width_of(reading, shown, "ohm")
    unsure = None if width is None else expanded(width)
    quantity = Quantity(INSULATION, "", None, shown, origin=MEASURED, uncertainty=unsure, where=where)
    if shown is None:
        quantity = replace(quantity, failure="over range, but the end of the meter's range is not declared")
    judged = finding(RULE.code, quantity, limit, needed=True)
    if over and shown is not None:
        least = f"Over range proves more than {format_si(shown, 'ohm')}"
        proof = inside(shown, limit)
        why = f"{least}; at least {format_si(limit.low, 'ohm')} is wanted."
        judged = replace(judged, outcome=CONFORMS if proof else NOT_PROVEN, why=why if proof else f"Not proven: {why}")
    volts = reading.get("test_voltage")
    tested = volts.nominal if isinstance(volts, Value) else None
    if judged.outcome == CONFORMS and (tested is None or tested < _data().enough):
        said = "at a voltage nobody declared" if tested is None else f"at {format_si(tested, 'V')} only"
        why = f"Not proven: it was tested {said}; insulation is proven from {format_si(_data().enough, 'V')} up."
        return replace(judged, outcome=NOT_PROVEN, why=why)
    return replace(judged, remedy=REMEDY if judged.outcome == DOES_NOT_CONFORM else None)


_WAYS = {"both_plug_ways": True, "isolating_transformer": False}
_METER = {"accuracy": "1.5% + 5 counts", "resolution": Value.exact(1e-3, "V")}
_TESTER = {"accuracy": "5%", "resolution": Value.exact(1e5, "ohm"), "test_voltage": Value.exact(500.0, "V")}


def _case(volts: float, **more: Any) -> Facts:
    reading = {"value": Value.exact(volts, "V"), **_WAYS, **_METER, **more}
    mains = {"mains": Value.exact(230.0, "V"), "mains_frequency": Value.exact(50.0, "Hz")}
    supply = {**mains, "y_capacitance": Value.exact(2.2e-9, "F"), "y_coupling": "single", SERVICE_READING: reading}
    return Facts(supply=supply, answers={"SRV01/unit": 0.2378})


def _ohms(ohms: float, **more: Any) -> Facts:
    reading = {"value": Value.exact(ohms, "ohm"), **_TESTER, **more}
    return Facts(supply={INSULATION_READING: reading, "protection_class": "II"})


CASES = (
    Case("0.21 V, plug both ways", _case(0.21), CONFORMS),
    Case("0.9 V", _case(0.9), DOES_NOT_CONFORM),
    Case("0.74 V: too near for its uncertainty", _case(0.74), NOT_PROVEN),
    Case("0.21 V behind an isolating transformer", _case(0.21, isolating_transformer=True), NOT_PROVEN),
    Case("0.21 V, one plug way", _case(0.21, both_plug_ways=False), NOT_PROVEN),
    Case("50 Mohm at 500 V", _ohms(50e6), CONFORMS),
    Case("1.5 Mohm at 500 V, class II", _ohms(1.5e6), DOES_NOT_CONFORM),
    Case("50 Mohm by a hand meter", _ohms(50e6, test_voltage=Value.exact(1.0, "V")), NOT_PROVEN),
    Case("nothing read", Facts(), NOT_APPLICABLE),
)
