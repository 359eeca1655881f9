"""The shelf and its sheets as text: what `guardcheck list` and `guardcheck show` print."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardcheck.model import Sheet, ShelfItem
from guardcheck.report.arrange.words import clean, sentence
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
