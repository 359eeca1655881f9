"""The shelf and its sheets as text: what `guardcheck list` and `guardcheck show` print."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardcheck.formatting import show
from guardcheck.model import CONFORMS, Proof, Sheet, ShelfItem
from guardcheck.report.arrange.words import OUTCOME_WORDS, clean, sentence
from guardcheck.report.text.grid import columns, indent, row

_WIDE = 80
_NAME = 26


def shelf(items: Sequence[ShelfItem]) -> str:
    """Return the members of the shelf, one line each, under a heading per kind."""
    lines: list[str] = []
    for kind in dict.fromkeys(item.kind for item in items):
        members = [item for item in items if item.kind == kind]
        lines += ["", f"{clean(kind)}s", "-" * (columns(clean(kind)) + 1)]
        for item in members:
            lines += row([[clean(item.name)], [clean(item.title)]], (_NAME, _WIDE - _NAME - 2))
    return "\n".join(lines[1:]) + "\n" if lines else "The shelf is empty.\n"


def sheet(sheets: Sequence[Sheet]) -> str:
    """Return one page of text per sheet: parameters, ranges, limits, checks, sources."""
    return "\n".join("\n".join(_page(one)) + "\n" for one in sheets)


def _page(one: Sheet) -> Iterable[str]:
    yield from indent(f"{clean(one.kind)} {clean(one.name)}: {clean(one.title)}", _WIDE)
    yield "=" * _WIDE
    if one.purpose:
        yield from indent(sentence(one.purpose), _WIDE)
    for heading, rows in one.sections:
        if not rows:
            continue
        yield ""
        yield clean(heading)
        yield "-" * columns(clean(heading))
        for entry in rows:
            cells = [[clean(entry.name)], [clean(entry.value)], [clean(entry.remark)]]
            yield from row(cells, (_NAME, 22, _WIDE - _NAME - 22 - 4))
            if entry.meaning:
                yield from indent(clean(entry.meaning), _WIDE, "    ")
    if one.text:
        yield ""
        yield from indent(clean(one.text), _WIDE)
    if one.reference:
        yield ""
        yield from indent(clean(one.reference), _WIDE, "Reference: ")


def proofs(found: Sequence[Proof]) -> str:
    """Return what became of every check: a line per part that holds, every row of one that does not, and a count."""
    lines: list[str] = []
    for member in dict.fromkeys(one.member for one in found):
        rows = [one for one in found if one.member == member]
        bad = [one for one in rows if one.outcome != CONFORMS]
        words = f"all {len(rows)} checks hold" if not bad else f"{len(bad)} of {len(rows)} checks do not hold"
        lines += row([[clean(member)], [words]], (38, _WIDE - 40))
        for one in bad:
            lines += indent(f"{clean(one.what)}: {OUTCOME_WORDS[one.outcome]}. {_proof(one)}", _WIDE, "    ")
    failing = sum(one.outcome != CONFORMS for one in found)
    total = f"{len(found)} checks run, {len(found) - failing} hold." if found else "There is no part here to check."
    return "\n".join([*lines, *indent(total, _WIDE)]) + "\n"


def _proof(one: Proof) -> str:
    if one.found is None or one.wanted is None or one.tolerance is None:
        return sentence(clean(one.why))
    ends = f"{show(one.wanted - one.tolerance, one.unit)} to {show(one.wanted + one.tolerance, one.unit)}"
    return f"Found {show(one.found, one.unit)}, declared {ends}."
