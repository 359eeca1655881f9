"""`list`, `show` and `new`: what is on the shelf, and a job file to start from."""

from __future__ import annotations

from pathlib import Path

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.job import new_job_text
from guardcheck.library import Library
from guardcheck.model import KINDS, QUANTITIES, Limit, Parameter, Part, Range, Row, Sheet, ShelfItem, Standard
from guardcheck.numbers import limits
from guardcheck.standards import load_standard, standard_names
from guardcheck.units import format_si

__all__ = ["describe", "new_job_text", "shelf"]

STANDARDS = "standard"


def shelf(kind: str | None, circuits: Path | None) -> tuple[ShelfItem, ...]:
    """Return the members of one kind, or of all."""
    library = Library.load(circuits)
    kinds: tuple[str, ...] = (*KINDS, STANDARDS)
    if kind is not None:
        wanted = kind.removesuffix("s").replace("_", "-")
        if wanted not in kinds:
            plurals = [f"{one}s" for one in kinds]
            raise InputError(f"no kind '{kind}'; accepted: {accepted(plurals)}{nearest(kind, plurals)}", key="list")
        kinds = (wanted,)
    items: list[ShelfItem] = []
    for one in kinds:
        if one == STANDARDS:
            items += [ShelfItem(one, name, load_standard(name).title) for name in standard_names()]
        else:
            items += [ShelfItem(one, name, library.get(one, name).title) for name in library.names(one)]
    return tuple(items)


def describe(name: str, circuits: Path | None) -> tuple[Sheet, ...]:
    """Return the sheets of every part and standard of that name."""
    library = Library.load(circuits)
    sheets = [_part_sheet(library.get(kind, name)) for kind in KINDS if name in library.names(kind)]
    if name in standard_names():
        sheets.append(_standard_sheet(load_standard(name)))
    if not sheets:
        known = [*standard_names(), *(one for kind in KINDS for one in library.names(kind))]
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


def _part_sheet(part: Part) -> Sheet:
    checks = tuple(
        Row(one.read, format_si(one.value, one.unit), one.basis, f"{one.what} [{one.reference}]") for one in part.checks
    )
    sections = [("Parameters", tuple(_parameter(one) for one in part.parameters.values()))]
    if checks:
        sections.append(("Checked in ngspice", checks))
    ports = f"ports: {' '.join(part.circuit.ports)}; file: {part.file}; sha256 {part.sha256[:12]}"
    return Sheet(part.kind, part.name, part.title, part.purpose, tuple(sections), ports, part.reference)


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
