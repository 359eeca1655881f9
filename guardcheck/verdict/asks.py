"""What an answer is still owed: the facts nobody knows, sorted by how many findings each would decide."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import NamedTuple

from guardcheck.model import ASKS, NOT_PROVEN, PART_NOT_RATED, RATING_NOT_STATED, UNKNOWN_OF, Finding, Question
from guardcheck.verdict.claims import claims_of


class _Fact(NamedTuple):
    question: str
    where: str
    safe: bool = True


_TRAINED = "only a person trained for it, supply unplugged and discharged; otherwise leave it unknown"
_OPEN_ANYWAY = "look only if the supply is open anyway"
_FACTS: Mapping[str, _Fact] = {
    "supply.rail_capacitance": _Fact(
        "Which capacitance hangs on the unit's rail?", "sum of the values printed on the rail's electrolytics"
    ),
    "supply.rail_load": _Fact("What does the unit draw from its rail?", "meter in series with the rail, or its plate"),
    "supply.rail_esr": _Fact(
        "Which series resistance have the rail's capacitors?",
        "their data sheet, or an ESR meter, unit unplugged and the rail proven discharged",
    ),
    "supply.mains": _Fact("What is the mains voltage?", "type plate"),
    "supply.mains_frequency": _Fact("What is the mains frequency?", "type plate"),
    "supply.phases": _Fact("Do unit and display hang on one phase?", "ask the electrician; in one room nearly always"),
    "supply.protection_class": _Fact("Which protection class has the unit's supply?", "type plate, mains plug"),
    "supply.y_capacitance": _Fact("How large are the unit's Y capacitors?", f"{_OPEN_ANYWAY}: {_TRAINED}", False),
    "supply.y_coupling": _Fact("How do the unit's Y capacitors sit?", f"{_OPEN_ANYWAY}: {_TRAINED}", False),
    "display.earthed": _Fact("Is the display's 0 V at mains earth?", "meter from its connector shell to its earth pin"),
    "display.other_leads": _Fact("Does another lead stay in the display?", "look: aerial, network, audio, computer"),
    "link.earthed": _Fact(
        "Is what else is linked to the unit at mains earth?", "meter from its shell to its earth pin"
    ),
    "link.y_capacitance": _Fact(
        "How large are the linked set's Y capacitors?", f"do not open it to look: {_TRAINED}", False
    ),
    "link.y_coupling": _Fact("How do the linked set's Y capacitors sit?", f"do not open it to look: {_TRAINED}", False),
    "display.y_capacitance": _Fact(
        "How large are the display's Y capacitors?", f"do not open it to look: {_TRAINED}", False
    ),
    "display.y_coupling": _Fact("How do the display's Y capacitors sit?", f"do not open it to look: {_TRAINED}", False),
}
_ROLES: Mapping[str, _Fact] = {
    "pin": _Fact("What may the chip's pin take?", "its data sheet, absolute maximum ratings and ESD; or its family"),
    "pin.short_circuit": _Fact(
        "At which current does the chip's driver give way?",
        "its data sheet: short-circuit output current",
    ),
    "parts": _Fact(
        "What may the parts of your own netlist take?",
        "their data sheets; write it into the netlist, a line each: * rating NAME power=... working_voltage=...",
    ),
}
MOST_TOLD = 2
"""Most questions told in one sentence; all of them are asked."""


def asks_of(findings: Iterable[Finding], leads: Mapping[str, str] = MappingProxyType({})) -> tuple[Question, ...]:
    """Return one question for every fact that leaves a needed finding not proven, that which decides most first.

    What it decides is counted by claims: `leads` names for a line the one that stands for all of the same circuit.
    """
    found: dict[str, list[Finding]] = {}
    for one in findings:
        if one.needed and one.outcome == NOT_PROVEN:
            for key in _keys(one):
                found.setdefault(key, []).append(one)
    questions = []
    for key, rows in found.items():
        fact, ids = _fact(key), tuple(sorted(one.id for one in rows))
        questions.append(Question(key, fact.question, fact.where, len(claims_of(rows, leads)), ids, fact.safe))
    return tuple(sorted(questions, key=lambda one: (-one.decides, one.key)))


def to_find_out(one: Finding) -> str | None:
    """Return what to find out where what nobody knows leaves a finding not proven; None where no answer is missing."""
    facts = [_fact(key) for key in _keys(one)] if one.outcome == NOT_PROVEN else []
    if not facts:
        return None
    left = len(facts) - MOST_TOLD
    more = [f"{left} more {'is' if left == 1 else 'are'} asked"] if left > 0 else []
    told = "; ".join([*(f"{fact.question} ({fact.where})" for fact in facts[:MOST_TOLD]), *more])
    return f"nobody knows yet whether it holds: find out, then check again: {told}"


def _keys(one: Finding) -> tuple[str, ...]:
    """Return the keys of the facts a finding hangs on."""
    keys = []
    for code in one.codes:
        if code.startswith(ASKS):
            key = code.removeprefix(ASKS)
            keys.append(f"{one.line}.{key}" if key in _ROLES else key)
        elif code == RATING_NOT_STATED and one.line:
            keys.append(f"{one.line}.pin")
        elif code == PART_NOT_RATED and one.line:
            keys.append(f"{one.line}.parts")
        elif code.startswith(UNKNOWN_OF) and one.line:
            keys.append(f"{one.line}.{code.removeprefix(UNKNOWN_OF)}")
    return tuple(dict.fromkeys(keys))


def _fact(key: str) -> _Fact:
    """Return the question a key stands for; a part's unknown values are asked for by the part."""
    if key in _FACTS:
        return _FACTS[key]
    line, _, role = key.partition(".")
    if role in _ROLES:
        fact = _ROLES[role]
        return fact._replace(question=f"{fact.question.removesuffix('?')} on {line}?")
    where = "read it at the part, or measure it, and write it into the job file"
    return _Fact(f"What are the unknown values of the {role} on {line}?", where)
