"""BND01: shield and earth bonds.

Hazard
    A shield that hangs on paint is an aerial; a protective earth that only looks connected kills when it is needed.
What is read
    Two-wire or four-wire readings with lead resistance and meter accuracy; the purpose of the bond; how many bonds a
    shield has.
Limit and source
    Protective earth: 0.1 ohm (IEC 60065, 60950-1, 62368-1) and the test current of the standard. Shield and functional
    earth: no published limit was found; at most 1 ohm counts as connected (common practice). See data/bonds.toml.
Not covered
    Corrosion, vibration, contact at radio frequency. A hand meter never proves a protective earth: what is thin burns
    away only at test current, and that test is for a licensed person.
What to do at the bench
    Short the probes and note what they read; read each bond between bare metal, twice, moving the screw. A unit of
    class II has no protective earth and must not be given one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError
from guardcheck.metrology import LEADS, LowOhms, low_ohms
from guardcheck.model import (
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    INTERFACE,
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
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding

RULE = Rule(
    code="BND01",
    title="Shield and earth bonds",
    klass=SAFETY,
    quantities=("bond.resistance", "bond.current_proof"),
    tables=("bond",),
    kind=PERSON,
)

PROTECTIVE, SHIELD = "protective-earth", "shield"
OVER_RANGE, NOT_FITTED = "over range", "not fitted"
_LICENSED = "have the protective earth tested by a licensed person"
_NEVER = "A class II unit has no protective earth and must not be given one"


@dataclass(frozen=True)
class _Data:
    limits: Mapping[str, Limit]
    rated: tuple[float, float, Limit]
    unrated: tuple[float, float, Limit]
    untold: float
    untold_share: float
    surfaces: tuple[str, ...]


@cache
def _data() -> _Data:
    top, _ = read_table(Path(__file__).parent / "data" / "bonds.toml", error=InputError)
    proof, method = top.table("proof"), top.table("method")
    rated, unrated = proof.table("rated"), proof.table("unrated")
    return _Data(
        {
            row.text("name"): _limit("bond.resistance", None, row.real("resistance", "ohm"), row)
            for row in top.tables("purpose")
        },
        (rated.real("times_rating", "1"), rated.real("time", "s"), _limit("bond.current_proof", None, None, rated)),
        (unrated.real("current", "A"), unrated.real("time", "s"), _limit("bond.current_proof", None, None, unrated)),
        method.real("untold", "ohm"),
        method.real("untold_share", "1"),
        top.table("surface").texts("words"),
    )


def _limit(quantity: str, low: float | None, high: float | None, row: Table) -> Limit:
    return Limit(quantity, low, high, None, row.text("reference"), row.text("known_by"))


def _missing_bond(fact: Fact) -> bool:
    reading = fact.entries.get("reading")
    over = isinstance(reading, Mapping) and reading.get("value") == OVER_RANGE
    return over or fact.entries.get("state") == NOT_FITTED


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Judge every declared bond: its resistance, its test current if it is a protective earth."""
    bonds = facts.table("bond")
    findings = [
        replace(one, kind=PERSON if fact.entries.get("purpose") == PROTECTIVE else INTERFACE)
        for where, fact in bonds
        for one in _bond(facts, where, fact)
    ]
    findings += _lone_shields(bonds)
    if not bonds:
        why = "Not applicable: the job declares no bond."
        findings.append(_row("bond.resistance", None, None, NOT_APPLICABLE, why, needed=False))
    return tuple(findings)


def _bond(facts: Facts, where: str, fact: Fact) -> Iterator[Finding]:
    purpose = str(fact.entries.get("purpose", SHIELD))
    class_two = facts.supply.get("protection_class") == "II"
    if purpose == PROTECTIVE and class_two:
        yield _contradiction(where, fact)
        return
    yield _judge_resistance(where, fact, _data().limits[purpose])
    if purpose == PROTECTIVE:
        yield _current_proof(where, fact)


def _contradiction(where: str, fact: Fact) -> Finding:
    limit = _data().limits[PROTECTIVE]
    if fact.entries.get("state") == NOT_FITTED:
        return _row("bond.resistance", where, None, NOT_APPLICABLE, f"Not applicable: {_NEVER}.", needed=False)
    why = f"{_NEVER}; this job declares one. If the terminal is a functional earth, declare it as that."
    return _row("bond.resistance", where, limit, DOES_NOT_CONFORM, why, remedy="read the type plate again; add nothing")


def _judge_resistance(where: str, fact: Fact, limit: Limit) -> Finding:
    purpose = fact.entries.get("purpose")
    remedy = _LICENSED if purpose == PROTECTIVE else f"fit the bond from {where} between bare metal and read it again"
    if _missing_bond(fact):
        state = "is not fitted" if fact.entries.get("state") == NOT_FITTED else "reads over range: nothing is connected"
        return _row("bond.resistance", where, limit, DOES_NOT_CONFORM, f"The bond {state}.", remedy=remedy)
    reading = fact.entries.get("reading")
    read = low_ohms(reading) if isinstance(reading, Mapping) else None
    if read is None:
        bench = f"read the bond from {where} between bare metal, probes shorted first, and note the meter's accuracy"
        return _row("bond.resistance", where, limit, NOT_PROVEN, "Not proven: the bond was not read.", remedy=bench)
    quantity = Quantity(
        "bond.resistance",
        "",
        None,
        read.value,
        origin=MEASURED,
        uncertainty=read.uncertainty,
        where=where,
    )
    judged = _doubted(finding(RULE.code, quantity, limit, needed=True), read, limit)
    surface = _surface(fact)
    if surface is not None and judged.outcome == CONFORMS:
        why = f"Not proven: {judged.why} But a screw on {surface} makes contact by chance."
        bench = f"take the {surface} off under the screw, add a toothed washer, and read it again"
        return replace(judged, outcome=NOT_PROVEN, why=why, remedy=bench)
    if purpose == PROTECTIVE:
        why = f"{judged.why} This is a meter reading; see bond.current_proof."
        return replace(judged, why=why, remedy=_LICENSED)
    return judged if judged.outcome == CONFORMS else replace(judged, remedy=remedy)


def _doubted(judged: Finding, read: LowOhms, limit: Limit) -> Finding:
    """Weigh what the arithmetic of one reading cannot know: the meter's accuracy, the leads, a contradiction."""
    data, high = _data(), limit.high or 0.0
    if read.uncertainty is None:
        if read.value - LEADS[1] - data.untold - data.untold_share * read.value <= high:
            return replace(judged, remedy="state the meter's accuracy and resolution for that range")
        why = (
            f"{format_si(read.value, 'ohm')} lies far above {format_si(high, 'ohm')}, whatever the meter's accuracy is."
        )
        return replace(judged, outcome=DOES_NOT_CONFORM, why=why)
    if read.leads is None:
        why = f"{judged.why} The leads were not read, so the bond is no higher than this."
        fails = read.value - LEADS[1] - read.uncertainty > high
        failing = judged.outcome == DOES_NOT_CONFORM
        return replace(judged, outcome=NOT_PROVEN if failing and not fails else judged.outcome, why=why)
    if read.value < -read.uncertainty:
        why = "Not proven: the leads alone read higher than bond and leads together; read both again."
        return replace(judged, outcome=NOT_PROVEN, why=why)
    why = f"{judged.why} Leads of {format_si(read.leads, 'ohm')} are taken off." if read.leads else judged.why
    return replace(judged, why=why)


def _surface(fact: Fact) -> str | None:
    told = " ".join(str(fact.entries.get(name, "")) for name in ("from", "to", "surface")).casefold()
    return next((word for word in _data().surfaces if word in told), None)


def _current_proof(where: str, fact: Fact) -> Finding:
    """Judge the test current of a protective earth against what the standard wants."""
    reading = fact.entries.get("reading")
    reading = reading if isinstance(reading, Mapping) else {}
    rating = fact.entries.get("protective_rating")
    if isinstance(rating, Value):
        factor, seconds, source = _data().rated
        amps = factor * rating.nominal
    else:
        amps, seconds, source = _data().unrated
    limit = replace(source, low=amps)
    current, time = reading.get("test_current"), reading.get("test_time")
    shown = current.nominal if isinstance(current, Value) else None
    asked = f"{format_si(amps, 'A')} for {format_si(seconds, 's')}"
    long_enough = isinstance(time, Value) and time.nominal >= seconds
    four_wire = reading.get("method") == "four-wire"
    if shown is not None and shown >= amps and long_enough and four_wire:
        outcome, why = CONFORMS, f"The bond was read at {format_si(shown, 'A')}, four-wire, for long enough ({asked})."
    else:
        outcome = NOT_PROVEN
        why = f"Not proven: a protective earth is tested four-wire with {asked}; a hand meter proves nothing about it."
    remedy = None if outcome == CONFORMS else _LICENSED
    return replace(_row("bond.current_proof", where, limit, outcome, why, remedy=remedy), value=shown, origin=MEASURED)


def _lone_shields(bonds: tuple[tuple[str, Fact], ...]) -> Iterator[Finding]:
    """Yield a row for every shield that has one bond only: nothing holds it when that one goes."""
    shields = [fact.entries.get("from") for _, fact in bonds if fact.entries.get("purpose") == SHIELD]
    for shield, count in sorted(Counter(str(one) for one in shields).items()):
        if count == 1:
            why = f"Not proven: '{shield}' has one bond only, so nothing shows that it stays connected."
            bench = "bond the shield at a second point, at the far end, and read both"
            yield _row("declared.fact", f"second bond of {shield}", None, NOT_PROVEN, why, remedy=bench)


def _row(
    quantity: str,
    where: str | None,
    limit: Limit | None,
    outcome: str,
    why: str,
    *,
    needed: bool = True,
    remedy: str | None = None,
) -> Finding:
    made = finding(
        RULE.code,
        Quantity(quantity, "", None, None, origin=DECLARED_ORIGIN, where=where),
        limit,
        needed=needed,
    )
    return replace(made, outcome=outcome, why=why, needed=needed, remedy=remedy)


def _case(purpose: str, reading: Mapping[str, Any] | None, *, twice: bool = True, **supply: Any) -> Facts:
    entries: dict[str, Any] = {"from": "board shield", "to": "connector shell", "purpose": purpose}
    if reading is not None:
        entries["reading"] = reading
    facts = [Fact("bond", 0, "shield to shell", entries)]
    if twice:
        facts.append(Fact("bond", 1, "shield to shell, far end", entries))
    return Facts(declared=tuple(facts), supply=supply)


def _meter(value: float) -> dict[str, Any]:
    return {
        "value": Value.exact(value, "ohm"),
        "method": "two-wire",
        "leads": Value.exact(0.10, "ohm"),
        "accuracy": "1.0% + 2 counts",
        "resolution": Value.exact(0.01, "ohm"),
    }


def _tester(value: float) -> dict[str, Any]:
    return {
        **_meter(value),
        "method": "four-wire",
        "resolution": Value.exact(1e-3, "ohm"),
        "test_current": Value.exact(25.0, "A"),
        "test_time": Value.exact(60.0, "s"),
    }


CASES = (
    Case("shield, two bonds of 20 mohm", _case(SHIELD, _meter(0.12)), CONFORMS),
    Case("shield with one bond", _case(SHIELD, _meter(0.12), twice=False), NOT_PROVEN),
    Case("shield, over range", _case(SHIELD, {"value": OVER_RANGE}), DOES_NOT_CONFORM),
    Case("shield, not read", _case(SHIELD, None), NOT_PROVEN),
    Case("protective earth by hand meter", _case(PROTECTIVE, _meter(0.12)), NOT_PROVEN),
    Case("protective earth at 25 A", _case(PROTECTIVE, _tester(0.02)), CONFORMS),
    Case("protective earth of 0.5 ohm at 25 A", _case(PROTECTIVE, _tester(0.5)), DOES_NOT_CONFORM),
    Case(
        "protective earth added to a class II unit",
        _case(PROTECTIVE, _tester(0.02), protection_class="II"),
        DOES_NOT_CONFORM,
    ),
    Case("no bond declared", Facts(), NOT_APPLICABLE),
)
