"""STO01: charge that stays on capacitors.

Hazard
    A reservoir capacitor keeps more than 300 V for hours or days after unplugging; a blown fuse does not empty it.
What is read
    Declared capacitance, voltage in use, bleeder, where it can be touched, and a voltage read after unplugging. Time to
    the limit and energy are computed from the declared values.
Limit and source
    IEC 62368-1, table 5 (ES1), interpolated by capacitance; pins of a mains plug must be there after 2 s
    (data/stored.toml). What was only declared can fail, never conform. A reading far below the declared decay, or one
    without its time, proves nothing: one of the declarations is wrong (common practice, no published source).
Not covered
    Charge that comes back (dielectric absorption), picture tubes, a bleeder that has gone open: hence the reading.
What to do at the bench
    Unplug, wait, measure; if above the limit, discharge through a power resistor, never with a screwdriver; then
    measure again. Work on a mains supply is for a licensed person.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from math import exp
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError
from guardcheck.metrology import discharge_time, expanded, interpolate, stored_energy, width_of
from guardcheck.model import (
    COMPUTED,
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    PERSON,
    SAFETY,
    Case,
    Fact,
    Facts,
    Finding,
    Limit,
    Quantity,
    Rule,
    Value,
)
from guardcheck.toml_tables import Table, read_table
from guardcheck.units import format_si, parse
from guardcheck.verdict.outcome import finding

VOLTAGE, ENERGY, WAIT = "stored.voltage", "stored.energy", "stored.wait"
RULE = Rule(
    code="STO01",
    title="Stored charge",
    klass=SAFETY,
    quantities=(VOLTAGE, ENERGY, WAIT),
    tables=("capacitor",),
    kind=PERSON,
)
PLUG, INTERNAL = "plug", "internal"
QUICKEST, LOWEST = 2.0, 0.5
"""How much faster than declared a capacitor may empty, and from what part of its voltage, before a reading contradicts
the declaration: room for tolerances, the meter's own load and low mains (common practice, no published source)."""
LARGEST = 1.0
"""Capacitance [F] that stands for one nobody declared: the table's lowest voltage holds for it."""
_INSTANT = 1e-12
"""Shortest time constant reckoned with [s]."""
_TRY_METER = "try the meter and its leads on a known voltage, check what is declared, and read it again"


@dataclass(frozen=True)
class _Data:
    table: tuple[tuple[float, float], ...]
    harmless: Limit
    plug: Limit
    bleed_ohms: float
    bleed_watts: float
    bleed_up_to: float


@cache
def _data() -> _Data:
    top, _ = read_table(Path(__file__).parent / "data" / "stored.toml", error=InputError)
    table, plug, bleed = top.table("table"), top.table("plug"), top.table("bleed")
    farads = (parse(text, "F")[0].nominal for text in table.texts("capacitance"))
    volts = (parse(text, "V")[0].nominal for text in table.texts("voltage"))
    return _Data(
        tuple(zip(farads, volts, strict=True)),
        _limit(VOLTAGE, None, table),
        _limit(WAIT, plug.real("time", "s"), plug),
        bleed.real("resistor", "ohm"),
        bleed.real("power", "W"),
        bleed.real("up_to", "V"),
    )


def _limit(quantity: str, high: float | None, row: Table) -> Limit:
    return Limit(quantity, None, high, None, row.text("reference"), row.text("known_by"))


def harmless_voltage(capacitance: float) -> float:
    """Return the voltage [V] up to which a charged capacitor [F] is harmless (ES1 of IEC 62368-1, table 5)."""
    return interpolate(_data().table, capacitance)


@dataclass(frozen=True)
class _Capacitor:
    """One capacitor as declared: nominal and greatest capacitance [F], voltage in use [V], bleeder [ohm], at most.

    `least` is the lowest voltage in use [V] and the shortest time constant [s] the declared tolerances allow; the time
    constant is endless where no bleeder, or no capacitance, is declared.
    """

    farads: float | None
    most: float
    volts: float | None
    bleeder: float | None
    place: str
    reading: Mapping[str, Any]
    least: tuple[float, float]

    @property
    def limit(self) -> Limit:
        """The voltage limit of this capacitance."""
        return replace(_data().harmless, high=harmless_voltage(self.most))

    @property
    def wait(self) -> float | None:
        """Longest time to the limit [s], None when nothing is declared that discharges it."""
        if self.volts is None:
            return None
        if self.volts <= (self.limit.high or 0.0):
            return 0.0
        if self.bleeder is None or self.farads is None:
            return None
        return discharge_time(self.bleeder, self.most, self.volts, self.limit.high or 0.0)

    @property
    def after(self) -> float | None:
        """Time from unplugging to the reading [s], None when nobody noted it."""
        after = self.reading.get("after")
        return after.nominal if isinstance(after, Value) else None

    def expected(self, after: float) -> tuple[float, float] | None:
        """Return what the declared values leave after a time [V]: nominally, and the least that is credible.

        None without a declared voltage. A voltage that is harmless in use needs no decay to become so.
        """
        if self.volts is None:
            return None
        if self.volts <= (self.limit.high or 0.0):
            return self.volts, 0.0
        volts, quick = self.least
        tau = math.inf if self.bleeder is None or self.farads is None else self.bleeder * self.farads
        return self.volts * exp(-after / tau), LOWEST * volts * exp(-QUICKEST * after / quick)


def _capacitor(fact: Fact) -> _Capacitor:
    def given(name: str) -> Value | None:
        value = fact.entries.get(name)
        return value if isinstance(value, Value) else None

    farads, volts, bleeder = given("capacitance"), given("voltage"), given("bleeder")
    reading = fact.entries.get("reading")
    tau = math.inf if farads is None or bleeder is None else max(bleeder.low * farads.low, _INSTANT)
    return _Capacitor(
        None if farads is None else farads.nominal,
        LARGEST if farads is None else farads.high,
        None if volts is None else volts.high,
        None if bleeder is None else bleeder.high,
        str(fact.entries.get("connected", INTERNAL)),
        reading if isinstance(reading, Mapping) else {},
        (0.0 if volts is None else volts.low, tau),
    )


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every declared capacitor: voltage left, energy, time until it is harmless."""
    findings = [one for where, fact in facts.table("capacitor") for one in _rows(where, _capacitor(fact))]
    if findings:
        return tuple(findings)
    why = "Not applicable: the job declares no capacitor that holds charge."
    return (_row(Quantity(VOLTAGE, "", None, None), None, NOT_APPLICABLE, why, needed=False),)


def _rows(where: str, one: _Capacitor) -> Iterator[Finding]:
    measured = _measured(where, one)
    voltage = _voltage(where, one) if measured is None else _by_reading(one, measured)
    safe = voltage.outcome == CONFORMS
    remedy = None if safe else _bleed(one)
    yield replace(voltage, remedy="; ".join(text for text in (voltage.remedy, remedy) if text) or None)
    yield _energy(where, one, measured)
    yield replace(_wait(where, one, settled=safe), remedy=remedy)


def _measured(where: str, one: _Capacitor) -> Quantity | None:
    value = one.reading.get("value")
    if not isinstance(value, Value):
        return None
    width = width_of(one.reading, value.nominal, "V")
    uncertainty = None if width is None else expanded(width)
    return Quantity(VOLTAGE, "", None, abs(value.nominal), origin=MEASURED, uncertainty=uncertainty, where=where)


def _by_reading(one: _Capacitor, measured: Quantity) -> Finding:
    judged = finding(RULE.code, measured, one.limit, needed=True)
    volts, high = measured.value or 0.0, one.limit.high or 0.0
    if measured.uncertainty is None and volts > 2.0 * high:
        return replace(judged, outcome=DOES_NOT_CONFORM, why=f"{format_si(volts, 'V')} was read, far above the limit.")
    if judged.outcome != CONFORMS:
        return judged
    after, seconds = one.after, _data().plug.high or 0.0
    if after is None:
        why = f"Not proven: {format_si(volts, 'V')} was read, but not how long after unplugging, so it shows nothing."
        return replace(judged, outcome=NOT_PROVEN, why=why, remedy="note the time from unplugging to the reading")
    doubt = _contradicted(one, volts + (measured.uncertainty or 0.0), after)
    if doubt is not None:
        why = f"Not proven: {format_si(volts, 'V')} was read {format_si(after, 's')} after unplugging, {doubt}."
        return replace(judged, outcome=NOT_PROVEN, why=why, remedy=_TRY_METER)
    if one.place != INTERNAL and after > seconds:
        soon = format_si(seconds, "s")
        why = f"Not proven: {judged.why} But pins of a plug must be below the limit within {soon} of unplugging."
        return replace(judged, outcome=NOT_PROVEN, why=why)
    return replace(judged, why=f"{judged.why} Charge can come back: measure again before touching.")


def _contradicted(one: _Capacitor, most: float, after: float) -> str | None:
    """Return why a reading of at most `most` [V] is not to be believed, None where the declared decay bears it out."""
    expected = one.expected(after)
    if expected is None:
        return "but the voltage in use is not declared, so nothing bears that reading out"
    nominal, least = expected
    if most >= least:
        return None
    return (
        f"where the declared values leave {format_si(nominal, 'V')}: the reading, the bleeder or the capacitor is not "
        "what is declared, or something else emptied it"
    )


def _voltage(where: str, one: _Capacitor) -> Finding:
    """Judge what is left without a reading: only declared, so it can fail and never conform."""
    if one.volts is None:
        why = "Not proven: neither the voltage in use nor a reading is declared."
        return _row(Quantity(VOLTAGE, "", None, None, where=where), one.limit, NOT_PROVEN, why)
    high = one.limit.high or 0.0
    seconds = _data().plug.high or 0.0
    left = one.volts
    if one.place == PLUG and one.bleeder is not None and one.farads is not None:
        left = one.volts * exp(-seconds / (one.bleeder * one.most))
    quantity = Quantity(VOLTAGE, "", None, left, origin=COMPUTED, where=where)
    allowed = format_si(high, "V")
    if left <= high:
        after = f" {format_si(seconds, 's')} after unplugging" if left < one.volts else ""
        why = f"Not proven: {format_si(left, 'V')}{after} would be within {allowed}, but nobody measured it."
        return _row(quantity, one.limit, NOT_PROVEN, why)
    if one.place == PLUG:
        told = f"{format_si(left, 'V')} is left on the plug {format_si(seconds, 's')} after unplugging"
        why = f"{told}; {allowed} is harmless."
        return _row(quantity, one.limit, DOES_NOT_CONFORM, why)
    if one.wait is None:
        why = f"It keeps {format_si(left, 'V')} and nothing is declared that discharges it; {allowed} is harmless."
        return _row(quantity, one.limit, DOES_NOT_CONFORM, why)
    why = (
        f"Not proven: {format_si(left, 'V')} at switch-off, harmless at {allowed} after {format_si(one.wait, 's')} if "
        "the declared bleeder works; nobody measured it."
    )
    return _row(quantity, one.limit, NOT_PROVEN, why)


def _energy(where: str, one: _Capacitor, measured: Quantity | None) -> Finding:
    volts = one.volts if measured is None else measured.value
    if one.farads is None or volts is None:
        why = "Not computed: capacitance and voltage are needed."
        return _row(Quantity(ENERGY, "", None, None, where=where), None, NOT_APPLICABLE, why, needed=False)
    joules = stored_energy(one.most, volts)
    why = f"{format_si(joules, 'J')} at {format_si(volts, 'V')}; the limit is one of voltage, so this decides nothing."
    quantity = Quantity(ENERGY, "", None, joules, origin=COMPUTED, where=where)
    return _row(quantity, None, NOT_APPLICABLE, why, needed=False)


def _wait(where: str, one: _Capacitor, *, settled: bool) -> Finding:
    """Show how long the bleeder needs; for pins of a plug there is a limit, inside a unit there is none."""
    quantity = Quantity(WAIT, "", None, one.wait, origin=COMPUTED, where=where)
    limit = None if one.place == INTERNAL else _data().plug
    if one.wait is None:
        why = "Waiting time unknown: declare bleeder, capacitance and voltage; discharge and measure."
        return _row(quantity, limit, NOT_APPLICABLE if settled else NOT_PROVEN, why, needed=not settled)
    told = f"{format_si(one.wait, 's')} until it is harmless, by the declared values"
    if limit is None or settled:
        return _row(quantity, limit, NOT_APPLICABLE, f"{told}; wait, then measure.", needed=False)
    if one.wait > (limit.high or 0.0) and one.place == PLUG:
        return _row(quantity, limit, DOES_NOT_CONFORM, f"{told}; a plug must be harmless after 2 s.")
    return _row(quantity, limit, NOT_PROVEN, f"Not proven: {told}; a declaration is not a measurement.")


def _bleed(one: _Capacitor) -> str:
    """Return how to discharge this capacitor, with the rating its resistor needs."""
    data = _data()
    last = "then measure again, and again before touching; a mains supply is for a licensed person"
    if one.volts is None or one.farads is None:
        return f"find out its voltage with a meter rated for it before anything else; {last}"
    if one.volts > data.bleed_up_to:
        return f"leave it to somebody trained for high voltage; {last}"
    seconds = discharge_time(data.bleed_ohms, one.most, one.volts, one.limit.high or 0.0)
    watts = one.volts * one.volts / data.bleed_ohms
    return (
        f"unplug, wait, measure; if it is still charged, bleed it for at least {format_si(max(2 * seconds, 1.0), 's')} "
        f"through {format_si(data.bleed_ohms, 'ohm')}, {format_si(data.bleed_watts, 'W')} wire-wound, insulated and "
        f"rated for {format_si(one.volts, 'V')} (it takes {format_si(watts, 'W')} at first, "
        f"{format_si(stored_energy(one.most, one.volts), 'J')} in all), never with a screwdriver; {last}"
    )


def _row(quantity: Quantity, limit: Limit | None, outcome: str, why: str, *, needed: bool = True) -> Finding:
    made = finding(RULE.code, quantity, limit, needed=needed)
    origin = DECLARED_ORIGIN if quantity.value is None else quantity.origin
    return replace(made, outcome=outcome, why=why, needed=needed, origin=origin)


def _case(**entries: Any) -> Facts:
    usual = {"capacitance": Value.exact(220e-6, "F"), "voltage": Value.exact(325.0, "V"), "connected": INTERNAL}
    return Facts(declared=(Fact("capacitor", 0, "C1", {**usual, **entries}),))


_METER = {"accuracy": "0.5% + 2 counts", "resolution": Value.exact(0.1, "V")}
_BLEEDER = Value.exact(100e3, "ohm")
CASES = (
    Case(
        "read 1.2 V after 2 min",
        _case(bleeder=_BLEEDER, reading={"value": Value.exact(1.2, "V"), "after": Value.exact(120.0, "s"), **_METER}),
        CONFORMS,
    ),
    Case(
        "read 1 V after 10 s, 206 V expected",
        _case(bleeder=_BLEEDER, reading={"value": Value.exact(1.0, "V"), "after": Value.exact(10.0, "s"), **_METER}),
        NOT_PROVEN,
    ),
    Case(
        "read 12 V, nobody knows when",
        _case(bleeder=_BLEEDER, reading={"value": Value.exact(12.0, "V"), **_METER}),
        NOT_PROVEN,
    ),
    Case("read 200 V", _case(reading={"value": Value.exact(200.0, "V"), **_METER}), DOES_NOT_CONFORM),
    Case("325 V and no bleeder", _case(), DOES_NOT_CONFORM),
    Case("325 V, 100 kohm, not read", _case(bleeder=_BLEEDER), NOT_PROVEN),
    Case(
        "330 nF across the plug, 10 Mohm",
        _case(
            capacitance=Value.exact(330e-9, "F"),
            voltage=Value.exact(373.4, "V"),
            bleeder=Value.exact(10e6, "ohm"),
            connected=PLUG,
        ),
        DOES_NOT_CONFORM,
    ),
    Case("no capacitor declared", Facts(), NOT_APPLICABLE),
)
