"""The technician's record: every needed finding once, remedies, references, and what the sheet belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from guardcheck.formatting import line_rank, quantity_rank, show
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, MEASURED, NOT_APPLICABLE, NOT_MEASURED, NOT_PROVEN, Finding
from guardcheck.report.arrange.advice import to_do
from guardcheck.report.arrange.view import SUMMARY_QUANTITY, event_title, natural, subject
from guardcheck.report.arrange.words import clean, in_order, place_word, rule_word, sentence
from guardcheck.report.handover.blocks import Block, Bullets, Cell, Drawing, Grid, GridRow, Item, Section, Text
from guardcheck.report.handover.rows import Sources, digits_for, family, limit_cell, place, places, title, value_cell
from guardcheck.report.handover.strings import Words
from guardcheck.report.pictures.line.paper import drawn_lines
from guardcheck.report.saved.write import hashes
from guardcheck.verdict.handover import Evidence

_BAD = (DOES_NOT_CONFORM, NOT_PROVEN)


def record_pages(found: Evidence, say: Words) -> tuple[Section, ...]:
    """Return the technician's sections, what asks for action first."""
    sources = Sources([one for one in found.findings if one.needed], say)
    sections = [
        _drawn(found, say),
        _remedies(found, say),
        _judged(found, say, sources),
        _settled(found, say),
        _unexamined(found, say),
        _information(found, say),
        _cautions(found, say),
        _plan(found, say),
        _sources(sources, say),
        _made(found, say),
    ]
    return tuple(section for section in sections if section is not None)


def _remedies(found: Evidence, say: Words) -> Section:
    conditions = tuple(Item(sentence(one.text), places(one.lines, say)) for one in found.check.conditions)
    blocks: list[Block] = []
    if conditions:
        blocks += [Text(say("sheet_of.conditions"), "lead"), Bullets(conditions, style="open")]
    remedies = to_do(found.joined)
    blocks.append(Text(say("bench.todo"), "lead"))
    if remedies:
        items = tuple(Item(one.text, "; ".join(one.subjects), one.outcome) for one in remedies)
        blocks.append(Bullets(items, ordered=True))
    else:
        blocks.append(Text(say("bench.todo_none")))
    return Section("todo", say("bench.fails"), tuple(blocks))


def _drawn(found: Evidence, say: Words) -> Section | None:
    """Return the lines as pictures, with what happens to their parts marked in them."""
    blocks = tuple(Drawing(name, one.told, one.width) for name, one in drawn_lines(found.check).items())
    return Section("drawn", say("sheet.drawn"), blocks) if blocks else None


def _judged(found: Evidence, say: Words, sources: Sources) -> Section:
    """Return every needed finding in one table, each once: alike lines share a row, worst rows first."""
    needed = [one for one in found.findings if one.needed]
    rows = _merged(needed, found, say, sources)
    numbered = tuple(
        replace(row, cells=(replace(row.cells[0], main=f"{number}. {row.cells[0].main}"), *row.cells[1:]))
        for number, row in enumerate(rows, 1)
    )
    heads = tuple(say(f"column.{name}") for name in ("quantity", "line", "value", "limits", "outcome"))
    blocks: list[Block] = [Text(say("record.judged_note"), "soft")]
    if numbered:
        blocks.append(Grid(say("record.judged"), heads, (0.25, 0.15, 0.25, 0.2, 0.15), numbered))
    return Section("judged", say("record.judged"), tuple(blocks))


def _merged(findings: Sequence[Finding], found: Evidence, say: Words, sources: Sources) -> list[GridRow]:
    """Return rows worst first; findings that say the same of several lines are one row with all their ids."""
    settled = {one.id for one in found.settled}
    groups: dict[GridRow, list[Finding]] = {}
    for one in in_order(findings):
        groups.setdefault(_row(one, say, sources, settled=one.id in settled), []).append(one)
    ordered = sorted(groups.items(), key=lambda pair: (_worst_first(pair[1][0]), _place(pair[1][0])))
    return [
        replace(
            row,
            cells=(row.cells[0], Cell("", (places((one.line for one in group), say),)), *row.cells[2:]),
            ids=tuple(sorted(one.id for one in group)),
        )
        for row, group in ordered
    ]


def _worst_first(one: Finding) -> int:
    return (DOES_NOT_CONFORM, NOT_PROVEN, CONFORMS, NOT_APPLICABLE).index(one.outcome)


def _place(one: Finding) -> tuple[object, ...]:
    event, severity, quantity, where, rule = family(one)
    order = (event, natural(severity), quantity != SUMMARY_QUANTITY, quantity_rank(quantity), where, rule)
    return (*order, one.origin != MEASURED, line_rank(one.line), one.id)


def _row(one: Finding, say: Words, sources: Sources, *, settled: bool) -> GridRow:
    """Return the row of one finding without its line: what is equal in it holds for several lines alike."""
    digits = digits_for([one])
    event = event_title(one.event or "", one.severity or "")
    about = (
        event,
        place_word(one.where) if one.where else "",
        _state(one, say),
        say.known(f"origin.{one.origin}", one.origin),
    )
    under = ", ".join(part for part in (*about, rule_word(one.rule)) if part)
    planned = () if one.planned is None else (f"{say('column.planned').lower()} {show(one.planned, one.unit, digits)}",)
    value = value_cell(one, say, digits)
    note = [sentence(one.why)] if one.outcome in _BAD else []
    note += [say("bench.settled_lead")] if settled else []
    cells = (
        Cell(title(one.quantity, say), (under,)),
        Cell(),
        replace(value, small=(*value.small, *planned)),
        limit_cell(one, say, digits, sources),
        Cell(outcome=one.outcome),
    )
    return GridRow(cells, note=tuple(note))


def _unexamined(found: Evidence, say: Words) -> Section | None:
    """Return what neither the check nor the readings looked at, each under whose work it was."""
    blocks: list[Block] = []
    for result, key in ((found.check, "front.unexamined_check"), (found.readings, "front.unexamined_verify")):
        notes = () if result is None else result.not_examined
        if found.readings is not None:
            notes = tuple(note for note in notes if note != NOT_MEASURED)
        if notes:
            blocks.append(Text(say(key), "lead"))
            blocks.append(Bullets(tuple(Item(sentence(note)) for note in notes), style="open"))
    return Section("unexamined", say("bench.unexamined"), tuple(blocks), "open") if blocks else None


def _information(found: Evidence, say: Words) -> Section | None:
    """Return the margins that were judged and decide nothing, one line of text for each event and set of lines."""
    aside = [
        one
        for one in found.findings
        if not one.needed and one.quantity == SUMMARY_QUANTITY and one.outcome != NOT_APPLICABLE and one.event
    ]
    aside.sort(key=lambda one: (one.event or "", line_rank(one.line), str(one.guarded), natural(one.severity or "")))
    by_line: dict[tuple[str, str, str | None], list[str]] = {}
    for one in aside:
        margin, outcome = show(one.value, one.unit, 2), say(f"outcome.{one.outcome}")
        told = f"{clean(one.severity or '')} {margin}, {outcome}".strip()
        by_line.setdefault((clean(one.event or ""), _state(one, say), one.line), []).append(told)
    alike: dict[tuple[str, str, tuple[str, ...]], list[str | None]] = {}
    for (event, state, line), margins in by_line.items():
        alike.setdefault((event, state, tuple(margins)), []).append(line)
    items = tuple(
        Item("; ".join(margins), title=", ".join(part for part in (event, places(lines, say), state) if part))
        for (event, state, margins), lines in alike.items()
    )
    return Section("information", say("record.informed"), (Bullets(items, tight=True),)) if items else None


def _state(one: Finding, say: Words) -> str:
    """Return ``bare`` or ``guarded``, nothing where a finding is neither."""
    return "" if one.guarded is None else say("state.in_text_guarded" if one.guarded else "state.in_text_bare")


def _about(one: Finding, say: Words) -> str:
    return f"{place(one.line, say)}: {subject(one)} ({rule_word(one.rule)})"


def _settled(found: Evidence, say: Words) -> Section | None:
    blocks: list[Block] = []
    if found.settled:
        blocks.append(Text(say("bench.settled_lead"), "soft"))
        blocks.append(Bullets(tuple(Item(_about(one, say)) for one in in_order(found.settled))))
    if found.contradicted:
        blocks.append(Text(say("bench.contradicted"), "stop"))
        items = tuple(Item(_about(one, say), "", one.outcome) for one in in_order(found.contradicted))
        blocks.append(Bullets(items, style="fails"))
    return Section("bench-settled", say("bench.settled"), tuple(blocks)) if blocks else None


def _cautions(found: Evidence, say: Words) -> Section:
    blocks: list[Block] = []
    results = [one for one in (found.check, found.readings) if one is not None]
    cautions = dict.fromkeys(note for one in results for note in one.cautions)
    if cautions:
        blocks.append(Bullets(tuple(Item(sentence(note)) for note in cautions)))
    else:
        blocks.append(Text(say("bench.cautions_none")))
    warnings = dict.fromkeys(note for one in results for note in one.warnings)
    if warnings:
        blocks.append(Text(say("bench.warnings"), "lead"))
        blocks.append(Bullets(tuple(Item(sentence(note)) for note in warnings)))
    return Section("cautions", say("bench.cautions"), tuple(blocks))


def _plan(found: Evidence, say: Words) -> Section | None:
    if not found.check.plan:
        return None
    by_line: dict[str, list[tuple[str, str]]] = {}
    for line, what, described in found.check.plan:
        by_line.setdefault(line, []).append((what, described))
    alike: dict[tuple[tuple[str, str], ...], list[str]] = {}
    for line, entries in by_line.items():
        alike.setdefault(tuple(entries), []).append(line)
    rows = tuple(
        GridRow(
            (
                Cell(", ".join(clean(line) or say("plan.all") for line in lines)),
                Cell("", (say.known(f"plan.{what}", clean(what)),)),
                Cell("", (clean(described),)),
            )
        )
        for entries, lines in alike.items()
        for what, described in entries
    )
    heads = tuple(say(f"column.{name}") for name in ("line", "what", "declared"))
    return Section("plan", say("bench.plan"), (Grid(say("bench.plan"), heads, (0.18, 0.24, 0.58), rows),))


def _sources(sources: Sources, say: Words) -> Section:
    if not sources.rows:
        return Section("sources", say("bench.sources"), (Text(say("bench.sources_none")),))
    rows = tuple(
        GridRow(
            (
                Cell(f"[{one.number}]"),
                Cell("", (one.reference, *one.notes)),
                Cell("", (one.known,)),
                Cell("", (", ".join(one.quantities),)),
            )
        )
        for one in sources.rows
    )
    heads = tuple(say(f"column.{name}") for name in ("number", "source", "known", "used"))
    table = Grid(say("bench.sources"), heads, (0.07, 0.5, 0.2, 0.23), rows)
    return Section("sources", say("bench.sources"), (Text(say("bench.sources_note"), "soft"), table))


def _made(found: Evidence, say: Words) -> Section:
    check = found.check
    if check.engine is None:
        made = say("made.no_engine")
    else:
        engine = f"{clean(check.engine.name)} {clean(check.engine.version)}".strip()
        made = say("made.engine", engine=engine, samples=check.n_samples, seed=check.seed)
    rows = [
        GridRow((Cell(say(f"made.{name}")), Cell(hash_, code=True)))
        for name, hash_ in zip(("result", "readings"), hashes(found), strict=False)
    ]
    if check.job_sha256:
        rows.append(GridRow((Cell(clean(check.job_file)), Cell(clean(check.job_sha256), code=True))))
    heads = (say("column.what"), say("column.hash"))
    blocks: list[Block] = [
        Text(made),
        Text(say("bench.identity_note")),
        Grid(say("bench.identity"), heads, (0.26, 0.74), tuple(rows)),
    ]
    results = [one for one in (check, found.readings) if one is not None]
    circuits = list(dict.fromkeys(used for one in results for used in one.circuits))
    if circuits:
        lines = tuple(
            GridRow(
                (
                    Cell(clean(used.name)),
                    Cell("", (clean(used.kind),)),
                    Cell(clean(used.file), (clean(used.sha256),), code=True),
                )
            )
            for used in circuits
        )
        names = (say("column.name"), say("column.kind"), f"{say('column.file')}, {say('column.hash')}")
        blocks.append(Grid(say("made.circuits"), names, (0.2, 0.12, 0.68), lines))
    return Section("made", say("bench.made"), tuple(blocks))
