"""The short answer for a terminal: at most 45 lines of 80 columns, whatever the job; `--all` has the full record."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from guardcheck.formatting import NO_VALUE
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Result
from guardcheck.report.arrange.answer import Answer, AnswerRow, Bar, Step, Tile, Wanted, answer, group_name
from guardcheck.report.arrange.words import clean
from guardcheck.report.text.grid import columns, indent, pad, wrap

WIDE = 80
MOST_LINES = 45
_SIGN = {CONFORMS: "", DOES_NOT_CONFORM: "x", NOT_PROVEN: "?"}
_WORD = {CONFORMS: "OK", DOES_NOT_CONFORM: "NO  x", NOT_PROVEN: "NOT PROVEN ?", None: "nothing to say"}
_TITLES = {
    "picture": "1  PICTURE at the display",
    "chip": "2  CHIP: what its pin must take",
    "people": "3  PEOPLE",
}
_BAR = 24
_PICTURE_ROWS, _PEOPLE_ROWS, _STEPS, _ASKS, _RULES = 6, 2, 3, 3, 4
_LEAST_CHIP = 9
CAUTION = "Mains off, leads off, capacitors measured, before you open it."


def to_short(result: Result, *, job: str = "") -> str:
    """Return the short answer of a check as text that ends in a newline; `job` is the job file as typed."""
    found = answer(result)
    chip = found.tile("chip")
    before = [
        *head_lines(result, "plan only, nothing measured"),
        *indent(f"{found.state}. {found.verdict}", WIDE),
        *(indent(found.first, WIDE) if found.first else []),
        "",
        *_tile(found.tile("picture"), _picture(found.tile("picture"))),
    ]

    def after(rules: int, steps: int) -> list[str]:
        """Return what follows the chip, with at most so many rules of use and steps."""
        return [
            *_tile(found.tile("people"), _people(found.tile("people"))),
            *_do(found.do, steps, rules),
            *_ask(found.ask),
            "",
            *_foot(found, job or result.job_file or "JOB"),
        ]

    steps, rules = _STEPS, _RULES
    while MOST_LINES - len(before) - len(after(rules, steps)) - 1 < min(_LEAST_CHIP, len(chip.rows) + 4) and rules > 1:
        rules -= 1
    ending = after(rules, steps)
    most = MOST_LINES - len(before) - len(ending) - 1
    return "\n".join([*before, *_tile(chip, _chip(chip, most)), *ending]) + "\n"


def head_lines(result: Result, right: str) -> Iterable[str]:
    """Yield the title with what kind of evidence this is, and a rule."""
    left = clean(result.unit)
    kind = f"   {clean(result.unit_kind)}" if result.unit_kind else ""
    if columns(left + kind) + columns(right) + 3 > WIDE:
        kind = ""
    room = WIDE - columns(right) - 3
    head = fit(left + kind, room)
    yield pad(head, WIDE - columns(right)) + right
    yield "=" * WIDE


def fit(text: str, width: int) -> str:
    """Return a text in at most `width` columns, cut with dots where it is longer."""
    if columns(text) <= width:
        return text
    cut = text
    while cut and columns(cut) > max(1, width - 3):
        cut = cut[:-1]
    return f"{cut.rstrip(' ,;:')}..."


def _tile(tile: Tile, rows: Iterable[str]) -> Iterable[str]:
    title = _TITLES[tile.name]
    if tile.outcome is None:
        yield f"{title}: {tile.said}."
        return
    word = _WORD.get(tile.outcome, "")
    yield pad(title, WIDE - columns(word)) + word
    yield from rows


def _split(rows: Sequence[AnswerRow]) -> list[tuple[tuple[str, ...], list[AnswerRow]]]:
    found: dict[tuple[str, ...], list[AnswerRow]] = {}
    for row in rows:
        found.setdefault(row.lines, []).append(row)
    return list(found.items())


def _picture(tile: Tile) -> Iterable[str]:
    left = _PICTURE_ROWS
    hidden = 0
    for lines, rows in _split(tile.rows):
        name = fit(" ".join(clean(one) for one in lines), 15) if lines else "unit"
        for row in rows:
            if left == 0:
                hidden += 1
                continue
            left -= 1
            yield _value_line(name, row)
            name = ""
    yield from _rest(tile, hidden)


def _rest(tile: Tile, hidden: int) -> Iterable[str]:
    parts = [f"{hidden} more that do not conform or are not proven: --all"] if hidden else []
    if tile.fine:
        other = "other " if tile.rows else ""
        parts.append(f"{tile.fine} {other}check{'' if tile.fine == 1 else 's'} conform{'s' if tile.fine == 1 else ''}")
    if parts:
        yield from indent(f"{'; '.join(parts)}.", WIDE, "   ")


def _value_line(name: str, row: AnswerRow) -> str:
    mark = _SIGN.get(row.outcome, "")
    bar = drawn_bar(row.bar) if row.bar is not None and " to " in row.allowed else ""
    if bar:
        low, _, high = row.allowed.partition(" to ")
        end = f"{low.partition(' ')[0]} {bar} {high}"
    else:
        end = row.allowed
    text = f"   {pad(name, 15)} {pad(fit(row.what, 17), 17)} {pad(row.value, 9)} {fit(end, 32)}"
    return f"{pad(text, WIDE - 1)}{mark}".rstrip()


def drawn_bar(bar: Bar | None) -> str:
    """Return a value between its limits as a row of characters: ``|....#......|``; outside, the mark stands outside."""
    if bar is None or bar.low is None or bar.high is None:
        return ""
    at = (bar.at - bar.low) / (bar.high - bar.low)
    inner = _BAR - 12
    if at < 0.0:
        return f"#|{'.' * inner}|"
    if at > 1.0:
        return f"|{'.' * inner}|#"
    place = min(inner - 1, int(at * inner))
    return f"|{'.' * place}#{'.' * (inner - 1 - place)}|"


_CHIP_WIDTHS = (38, 14, 8, 11)


def _columns(cells: Sequence[str], mark: str, lead: str) -> str:
    texts = [pad(fit(text, width), width) for text, width in zip(cells, _CHIP_WIDTHS, strict=True)]
    return f"{pad(lead + ' '.join(texts), WIDE - 1)}{mark}".rstrip()


def _chip(tile: Tile, most: int) -> Iterable[str]:
    """Return the rows of the chip in at most `most` lines, every group of lines with its worst."""
    groups = _split(tile.rows)
    ending = _chip_ending(tile)
    if not groups:
        return ending
    room = most - 1 - len(ending) - sum(1 for lines, _ in groups if lines)
    share = [min(len(rows), 1) for _, rows in groups]
    while sum(share) < room and any(have < len(rows) for have, (_, rows) in zip(share, groups, strict=True)):
        least = min((n for n, (_, rows) in enumerate(groups) if share[n] < len(rows)), key=lambda n: share[n])
        share[least] += 1
    if len(groups) > room:
        groups, share = groups[: max(1, room // 2)], share[: max(1, room // 2)]
    lines = [_columns(("", "allowed", "planned", "too much"), "", "     ")]
    for have, (names, rows) in zip(share, groups, strict=True):
        if names:
            lines.append(fit(f"   {group_name(names)}", WIDE))
        for row in rows[:have]:
            mark = "r" if row.rule_of_use else _SIGN.get(row.outcome, "")
            lines.append(_columns((row.what, row.allowed, row.value, row.told), mark, "     "))
    hidden = len(tile.rows) - sum(share)
    if hidden:
        ending[0] = f"{ending[0]} {hidden} more: --all" if ending and len(ending[0]) < 60 else ending[0]
    return [*lines, *ending]


def _chip_ending(tile: Tile) -> list[str]:
    lines = []
    if any(row.rule_of_use for row in tile.rows):
        lines.append("   r: a mistake, kept away by a rule of use (see DO).")
    elif tile.rows:
        lines.append("   x does not conform, ? not proven.")
    if tile.quiet:
        lines += indent(f"Lives through: {', '.join(tile.quiet)}.", WIDE, "   ")
    elif not tile.rows and tile.fine:
        lines.append("   Every event that counts conforms.")
    return lines


def _people(tile: Tile) -> Iterable[str]:
    for row in tile.rows[:_PEOPLE_ROWS]:
        limit = f" ({row.allowed})" if row.allowed else ""
        mark = _SIGN.get(row.outcome, "")
        value = "" if row.value == NO_VALUE else f"  {row.value}"
        text = f"   {fit(row.what, WIDE - 6 - columns(value + limit))}{value}{limit}"
        yield f"{pad(text, WIDE - 1)}{mark}".rstrip()
    hidden = max(0, len(tile.rows) - _PEOPLE_ROWS)
    yield from _rest(tile, hidden)


def _do(steps: Sequence[Step], most: int, most_rules: int) -> Iterable[str]:
    if not steps:
        return
    yield "DO, in this order"
    rules = [one for one in steps if one.rules]
    plain = [one for one in steps if not one.rules]
    kept = [*plain[: most - len(rules)], *rules]
    for number, one in enumerate(kept, 1):
        yield from _numbered(number, _step(one))
        for rule in one.rules[:most_rules]:
            yield f"   - {brief(rule, WIDE - 5)}"
        if len(one.rules) > most_rules:
            yield f"   - {len(one.rules) - most_rules} more: --all"
    if len(kept) < len(steps):
        yield f"   {len(steps) - len(kept)} more: --all"


def _step(one: Step) -> str:
    """Return a step with what it is for, in what two numbered lines hold."""
    names = [clean(line) for line in one.lines]
    named = all(re.search(rf"(?<![\w-]){re.escape(name)}(?![\w-])", one.text) for name in names)
    lead = [] if named and not one.about else [" ".join(names)] if names else []
    text = f"{', '.join([*lead, *([one.about] if one.about else [])])}: {one.text}" if lead or one.about else one.text
    room = 2 * (WIDE - 3) - 10
    if not one.tried or "simulated" in brief(text, room):
        return brief(text, room)
    return f"{brief(text, room - 12).rstrip('.')} (simulated)."


def brief(text: str, width: int) -> str:
    """Return as many whole clauses of a text as fit, the first one cut where even that does not."""
    if columns(text) <= width:
        return text
    cuts = [place for mark in ("; ", ". ", ": ", ", and ", " (") for place in _places(text, mark)]
    fitting = [place for place in cuts if columns(text[:place]) < width and place > 20 and _whole(text[:place])]
    return f"{text[: max(fitting)]}." if fitting else fit(text, width)


def _whole(text: str) -> bool:
    """Tell whether every bracket of a text is closed."""
    return text.count("(") == text.count(")")


def _places(text: str, mark: str) -> Iterable[int]:
    place = text.find(mark)
    while place >= 0:
        yield place
        place = text.find(mark, place + 1)


def _numbered(number: int, text: str, end: str = "") -> list[str]:
    """Return a numbered entry in at most two lines, with what it ends in at the right of the first."""
    width = WIDE - 3 - (columns(end) + 2 if end else 0)
    pieces = wrap(text, width)
    if len(pieces) > 2:
        pieces = wrap(brief(text, 2 * width - 12), width)
    if len(pieces) > 2:
        pieces = [pieces[0], fit(" ".join(pieces[1:]), width)]
    first = f"{number:>2} {pieces[0]}"
    first = pad(first, WIDE - columns(end)) + end if end else first
    return [first, *(f"   {piece}" for piece in pieces[1:])]


def _ask(asks: Sequence[Wanted]) -> Iterable[str]:
    if not asks:
        return
    yield "ASK, then run again"
    for number, one in enumerate(asks[:_ASKS], 1):
        safe = "" if one.safe else "(a trained person only) "
        yield from _numbered(number, f"{safe}{one.text}", f"decides {one.decides}")
    if len(asks) > _ASKS:
        yield f"   {len(asks) - _ASKS} more: --all"


def _foot(found: Answer, job: str) -> Iterable[str]:
    yield from indent(f"{found.count} Limits, references, static, charged leads, reasons:", WIDE)
    end = " --all   (or --line NAME, --why ID)"
    yield f"guardcheck check {fit(clean(job), WIDE - 17 - columns(end))}{end}"
    yield CAUTION
