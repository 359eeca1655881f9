"""Wiring systems (`circuits/wirings`) and the roles their contacts have (`circuits/roles.toml`)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from guardcheck.errors import CircuitError, accepted, nearest
from guardcheck.files import digest_of
from guardcheck.model import ACTIONS, GROUND, KNOWN_BY, OPEN, Role, Side, Wiring
from guardcheck.toml_tables import Table, read_table

FOLDER, ROLES_FILE = "wirings", "roles.toml"
NUMBERS: Mapping[str, str] = {
    "volts": "V",
    "ohms": "ohm",
    "amps": "A",
    "watts": "W",
    "load": "ohm",
    "low": "V",
    "high": "V",
    "most": "V",
    "load_watts": "W",
}
_CONTACT = re.compile(r"[a-z0-9][a-z0-9-]{0,23}")


def read_roles(path: Path, *, shown: str) -> Mapping[str, Role]:
    """Return every role of a file by its name."""
    top, _ = read_table(path, error=CircuitError, shown_as=shown)
    roles: dict[str, Role] = {}
    for name in top:
        row = top.table(name)
        row.only("title", "accepts", "steady", "reference", "known_by", *NUMBERS)
        numbers = {key: row.real(key, unit) for key, unit in NUMBERS.items()}
        for key, value in numbers.items():
            if value <= 0.0:
                row.refuse(key, "a value above zero is wanted")
        if not numbers["low"] < numbers["high"] <= numbers["most"]:
            row.refuse("high", "low < high <= most is wanted")
        roles[name] = Role(
            name=name,
            title=row.text("title"),
            accepts=row.texts("accepts"),
            steady="steady" in row and row.flag("steady"),
            reference=row.text("reference"),
            known_by=row.word("known_by", tuple(KNOWN_BY)),
            **numbers,
        )
    for role in roles.values():
        for other in role.accepts:
            if other not in roles:
                top.table(role.name).refuse("accepts", f"'{other}' is no role{nearest(other, roles)}")
    return roles


def read_wiring(name: str, path: Path, roles: Mapping[str, Role], *, shown: str) -> Wiring:
    """Return one wiring system.

    Raises
    ------
    CircuitError
        the file is no table of contacts, or names a role there is not

    """
    top, data = read_table(path, error=CircuitError, shown_as=shown)
    top.only("title", "connector", "purpose", "reference", "known_by", "crossed", "contacts")
    table = top.table("contacts")
    contacts: dict[str, tuple[Side, Side]] = {}
    for contact in table:
        if not _CONTACT.fullmatch(contact):
            table.refuse(contact, "a contact is named by small letters, digits and hyphens")
        row = table.table(contact)
        row.only("unit", "display")
        contacts[contact] = _side(row, "unit", roles), _side(row, "display", roles)
    if not any(unit.action == GROUND for unit, _ in contacts.values()):
        table.refuse(None, "names no ground; a signal needs its return")
    return Wiring(
        name=name,
        title=top.text("title"),
        connector=top.text("connector"),
        purpose=top.text("purpose"),
        contacts=contacts,
        crossed=_crossed(top, contacts),
        reference=top.text("reference"),
        known_by=top.word("known_by", tuple(KNOWN_BY)),
        file=shown,
        sha256=digest_of(data),
    )


def _side(row: Table, key: str, roles: Mapping[str, Role]) -> Side:
    action, _, name = row.text(key).partition(" ")
    if action not in ACTIONS:
        row.refuse(key, f"'{action}' is not accepted; write {accepted(ACTIONS)}{nearest(action, ACTIONS)}")
    if action in (GROUND, OPEN):
        if name:
            row.refuse(key, f"'{action}' stands alone")
        return Side(action)
    if name not in roles:
        row.refuse(key, f"'{name}' is no role; {action} one of {accepted(roles)}{nearest(name, roles)}")
    return Side(action, roles[name])


def _crossed(top: Table, contacts: Mapping[str, object]) -> tuple[tuple[str, str], ...]:
    pairs = top.entries.get("crossed", [])
    if not isinstance(pairs, list):
        top.refuse("crossed", 'a list of pairs is wanted, such as [["1", "2"]]')
    found = []
    for pair in pairs:
        if not (isinstance(pair, list) and len(pair) == 2 and all(one in contacts for one in pair)):
            top.refuse("crossed", 'each is a pair of contacts, such as ["1", "2"]')
        found.append((str(pair[0]), str(pair[1])))
    return tuple(found)
