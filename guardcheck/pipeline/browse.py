"""`list`, `show` and `new`: what is on the shelf, and a job file to start from."""

from __future__ import annotations

from pathlib import Path

from guardcheck.cautions import general_cautions
from guardcheck.errors import CircuitError, InputError, StandardError, accepted, nearest
from guardcheck.files import write_text
from guardcheck.formatting import limits
from guardcheck.job import family_job_text, new_job_text
from guardcheck.library import Library
from guardcheck.model import (
    KINDS,
    QUANTITIES,
    EventPlan,
    Limit,
    Parameter,
    Part,
    PinFamily,
    Range,
    Row,
    Sheet,
    ShelfItem,
    Side,
    Standard,
    Wiring,
)
from guardcheck.standards import load_standard, standard_names
from guardcheck.units import format_si

__all__ = ["describe", "family_job_text", "new_job_text", "shelf", "write_new"]

STANDARDS, PINS, WIRINGS = "standard", "pin", "wiring"


def schema_file(name: str) -> Path:
    """Return the JSON schema that comes with guardcheck: of a ``job``, of ``readings`` or of a ``result``."""
    return Path(__file__).resolve().parents[1] / "schemas" / f"{name}.schema.json"


def write_new(path: Path, text: str, *, schema: str = "") -> None:
    """Write a file to fill in, whole or not at all, and never over one that is there (`InputError`).

    Its first line names its schema in the way TOML editors read, so that they complete keys and mark mistakes.
    """
    first = f"#:schema {schema_file(schema).as_uri()}\n" if schema else ""
    write_text(path, first + text, replace=False)


def shelf(kind: str | None, circuits: Path | None) -> tuple[ShelfItem, ...]:
    """Return the members of one kind, or of all."""
    library = Library.load(circuits)
    kinds: tuple[str, ...] = (*KINDS, PINS, WIRINGS, STANDARDS)
    if kind is not None:
        wanted = kind.removesuffix("s").replace("_", "-")
        if wanted not in kinds:
            plurals = [f"{one}s" for one in kinds]
            raise InputError(f"no kind '{kind}'; accepted: {accepted(plurals)}{nearest(kind, plurals)}", key="list")
        kinds = (wanted,)
    items: list[ShelfItem] = []
    own = library.own_standards
    for one in kinds:
        if one == STANDARDS:
            items += [_standard(name, own) for name in standard_names(own)]
        elif one == WIRINGS:
            items += [ShelfItem(one, name, library.wiring(name).title) for name in library.wiring_names()]
        elif one == PINS:
            items += [ShelfItem(one, name, library.pin(name).title) for name in library.pin_names()]
        else:
            items += [_item(library, one, name) for name in library.names(one)]
    return tuple(items)


def _standard(name: str, own: Path | None) -> ShelfItem:
    try:
        return ShelfItem(STANDARDS, name, load_standard(name, own).title)
    except StandardError as error:
        return ShelfItem(STANDARDS, name, f"cannot be used: {error}")


def _item(library: Library, kind: str, name: str) -> ShelfItem:
    """Return a part as it is listed; one that cannot be read says so and hides no other."""
    try:
        return ShelfItem(kind, name, library.get(kind, name).title)
    except CircuitError as error:
        return ShelfItem(kind, name, f"cannot be used: {error}")


def describe(name: str, circuits: Path | None) -> tuple[Sheet, ...]:
    """Return the sheets of every part and standard of that name."""
    library = Library.load(circuits)
    sheets = [_part_sheet(library, library.get(kind, name)) for kind in KINDS if name in library.names(kind)]
    standards = standard_names(library.own_standards)
    if name in standards:
        sheets.append(_standard_sheet(load_standard(name, library.own_standards)))
    if name in library.pin_names():
        sheets.append(_pin_sheet(library.pin(name)))
    if name in library.wiring_names():
        sheets.append(_wiring_sheet(library.wiring(name)))
    if not sheets:
        known = [
            *library.wiring_names(),
            *standards,
            *library.pin_names(),
            *(one for kind in KINDS for one in library.names(kind)),
        ]
        raise InputError(
            f"nothing on the shelf is called '{name}'{nearest(name, known)}; guardcheck list shows all names"
        )
    return tuple(sheets)


def _range(range_: Range | None, unit: str) -> str:
    return "" if range_ is None else f"usual {format_si(range_.low, unit)} to {format_si(range_.high, unit)}"


def _parameter(parameter: Parameter) -> Row:
    if parameter.choices:
        value, remark = parameter.word or "", f"one of {', '.join(parameter.choices)}"
    else:
        if parameter.same_as is not None:
            value = f"as {parameter.same_as}"
        elif parameter.nominal is not None:
            value = parameter.nominal.text or format_si(parameter.nominal.nominal, parameter.unit)
        else:
            value = "must be given"
        remark = _range(parameter.usual, parameter.unit)
    return Row(parameter.name, value, remark, parameter.meaning)


def _part_sheet(library: Library, part: Part) -> Sheet:
    checks = tuple(
        Row(one.read, format_si(one.value, one.unit), one.basis, f"{one.what} [{one.reference}]") for one in part.checks
    )
    sections = [("Parameters", tuple(_parameter(one) for one in part.parameters.values()))]
    if part.kind == "source":  # what a pin does is read at the pin, with the unit on
        sections.append(("Before a live reading", (Row("scope", "", "", general_cautions()["scope-earth"]),)))
    plan = part.plan
    if plan is not None:
        sections.insert(0, ("Levels", tuple(_level(part, plan, name) for name in plan.severities)))
        if plan.mating:
            sections.append(("Order of the contacts", (Row("mating", plan.mating, "", ""),)))
    if checks:
        ours = library.supplied(part)
        sections.append(
            (
                "Checked in ngspice" if ours else "Declared checks, not run for this page (guardcheck prove runs them)",
                checks,
            )
        )
    ports = f"ports: {' '.join(part.circuit.ports)}; file: {part.file}; sha256 {part.sha256[:12]}"
    return Sheet(part.kind, part.name, part.title, part.purpose, tuple(sections), ports, part.reference)


def _level(part: Part, plan: EventPlan, name: str) -> Row:
    values = [f"{key} {format_si(value, part.parameters[key].unit)}" for key, value in plan.severities[name].items()]
    counts = "only when it is claimed" if plan.claimed else "always"
    return Row(name, ", ".join(values), f"unit {' and '.join(plan.units(name))}; counts {counts}", "")


def _pin_sheet(family: PinFamily) -> Sheet:
    rows = tuple(Row(rating, format_si(value, _unit(rating)), "", "") for rating, value in family.ratings.items())
    note = "the voltage limits may be passed as long as the clamp current is kept" if family.voltage_by_current else ""
    text = f"{note}; file: {family.file}" if note else f"file: {family.file}"
    return Sheet(PINS, family.name, family.title, family.purpose, (("Ratings", rows),), text, family.reference)


def _wiring_sheet(wiring: Wiring) -> Sheet:
    rows = tuple(
        Row(contact, f"unit {_side(unit)}", f"display {_side(display)}", "")
        for contact, (unit, display) in wiring.contacts.items()
    )
    crossed = ", ".join(f"{one} with {other}" for one, other in wiring.crossed)
    text = f"{wiring.connector}; a crossed lead exchanges {crossed}; file: {wiring.file}"
    return Sheet(
        WIRINGS,
        wiring.name,
        wiring.title,
        wiring.purpose,
        (("Contacts", rows),),
        text if crossed else f"{wiring.connector}; file: {wiring.file}",
        wiring.reference,
    )


def _side(side: Side) -> str:
    return side.words if side.role is None else f"{side.action} {side.role.title}"


def _unit(rating: str) -> str:
    return "A" if rating.endswith("current") or rating == "latch_up" else "V"


def _limit(limit: Limit) -> Row:
    kind = QUANTITIES[limit.quantity]
    note = f" {limit.note}" if limit.note else ""
    return Row(limit.quantity, limits(limit.low, limit.high, kind.unit), kind.title, f"{limit.cited()}{note}")


def _standard_sheet(standard: Standard) -> Sheet:
    rows = tuple(_limit(limit) for limit in standard.limits.values())
    free = [name for name in standard.quantities if name not in standard.limits]
    text = f"shown without a limit: {', '.join(free)}" if free else ""
    return Sheet(
        "standard", standard.name, standard.title, standard.edition, (("Limits", rows),), text, standard.reference
    )
