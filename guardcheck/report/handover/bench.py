"""The technician's pages: remedies, every reason, every number with its source, and what the sheet belongs to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from guardcheck.formatting import line_rank, quantity_rank, show
from guardcheck.model import (
    COMPUTED,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    SIMULATED,
    Finding,
)
from guardcheck.report.arrange.advice import not_proven, to_do
from guardcheck.report.arrange.view import subject
from guardcheck.report.arrange.words import clean, in_order, rule_word, sentence
from guardcheck.report.handover.blocks import Block, Bullets, Cell, Grid, GridRow, Item, Section, Text
from guardcheck.report.handover.rows import (
    Sources,
    digits_for,
    family,
    finding_table,
    limit_cell,
    note_of,
    place,
    places,
    title,
    unjudged_text,
    value_cell,
)
from guardcheck.report.handover.strings import Words
from guardcheck.report.saved.write import hashes
from guardcheck.verdict.handover import Evidence


def bench_pages(found: Evidence, say: Words) -> tuple[Section, ...]:
    """Return the technician's sections, what asks for action first."""
    sources = Sources(found.findings, say)
    sections = [
        _fails(found, say),
        _open(found, say),
        _settled(found, say),
        _measured(found, say, sources),
        _listed("simulated", (SIMULATED, COMPUTED), found, say, sources),
        _listed("declared", (DECLARED_ORIGIN,), found, say, sources),
        _idle(found, say),
        _cautions(found, say),
        _plan(found, say),
        _sources(sources, say),
        _made(found, say),
    ]
    return tuple(section for section in sections if section is not None)


def _fails(found: Evidence, say: Words) -> Section:
    bad = [one for one in in_order(found.counting) if one.outcome == DOES_NOT_CONFORM]
    blocks: list[Block] = []
    if bad:
        blocks.append(Bullets(_by_reason(bad, say), style="fails"))
    else:
        blocks.append(Text(say("bench.fails_none")))
    remedies = to_do(found.joined)
    blocks.append(Text(say("bench.todo"), "lead"))
    if remedies:
        items = tuple(Item(one.text, "; ".join(one.subjects), one.outcome) for one in remedies)
        blocks.append(Bullets(items, ordered=True))
    else:
        blocks.append(Text(say("bench.todo_none")))
    return Section("bench-fails", say("bench.fails"), tuple(blocks), "fails" if bad else "plain")


def _by_reason(findings: Sequence[Finding], say: Words) -> tuple[Item, ...]:
    """Return one item per reason with everything it holds for: what three lines share is said once."""
    alike: dict[tuple[str, str], list[Finding]] = {}
    for one in findings:
        alike.setdefault((sentence(one.why), one.outcome), []).append(one)
    items = []
    for (reason, outcome), found in alike.items():
        about: dict[str, list[str | None]] = {}
        for one in found:
            about.setdefault(f"{subject(one)} ({rule_word(one.rule)})", []).append(one.line)
        subjects = "; ".join(f"{places(lines, say)}: {what}" for what, lines in about.items())
        items.append(Item(reason, subjects, outcome))
    return tuple(items)


def _about(one: Finding, say: Words) -> str:
    return f"{place(one.line, say)}: {subject(one)} ({rule_word(one.rule)})"


def _open(found: Evidence, say: Words) -> Section:
    items = tuple(
        Item(
            one.reason, ("" if one.needed else f"({say('bench.information')}) ") + "; ".join(one.subjects), "not_proven"
        )
        for one in not_proven(found.joined)
    )
    blocks: tuple[Block, ...] = (Bullets(items, style="open"),) if items else (Text(say("bench.open_none")),)
    return Section("bench-open", say("bench.open"), blocks, "open")


def _settled(found: Evidence, say: Words) -> Section | None:
    blocks: list[Block] = []
    if found.settled:
        blocks.append(Text(say("bench.settled_lead"), "soft"))
        blocks.append(Bullets(tuple(Item(_about(one, say), sentence(one.why)) for one in in_order(found.settled))))
    if found.contradicted:
        blocks.append(Text(say("bench.contradicted"), "stop"))
        items = tuple(Item(_about(one, say), sentence(one.why), one.outcome) for one in in_order(found.contradicted))
        blocks.append(Bullets(items, style="fails"))
    return Section("bench-settled", say("bench.settled"), tuple(blocks)) if blocks else None


def _measured(found: Evidence, say: Words, sources: Sources) -> Section:
    measured = [one for one in found.findings if one.origin == MEASURED and one.outcome != NOT_APPLICABLE]
    rest = [one for one in found.findings if one.origin == MEASURED and one.outcome == NOT_APPLICABLE]
    if not measured and not rest:
        return Section("measured", say("bench.measured"), (Text(say("bench.measured_none")),), "open")
    blocks: list[Block] = [Text(say("bench.measured_note"), "soft")]
    rows = []
    for one in sorted(measured, key=lambda f: (line_rank(f.line), quantity_rank(f.quantity), f.id)):
        digits = digits_for([one])
        about = [clean(one.where)] if one.where else []
        planned = "" if one.planned is None else show(one.planned, one.unit, digits)
        cells = (
            Cell(place(one.line, say), (title(one.quantity, say), *about, rule_word(one.rule))),
            value_cell(one, say, digits),
            limit_cell(one, say, digits, sources),
            Cell("", (planned,) if planned else ()),
            Cell(outcome=one.outcome),
        )
        rows.append(GridRow(cells, quiet=not one.needed, note=note_of(one, (), say)))
    names = ("line", "measured", "limits", "planned", "outcome")
    if rows:
        heads = tuple(say(f"column.{name}") for name in names)
        blocks.append(Grid(say("bench.measured"), heads, (0.2, 0.22, 0.25, 0.15, 0.18), tuple(rows)))
    if rest:
        blocks.append(Text(unjudged_text(rest, say), "soft"))
    return Section("measured", say("bench.measured"), tuple(blocks))


def _listed(name: str, origins: Sequence[str], found: Evidence, say: Words, sources: Sources) -> Section:
    """Return the findings of these origins, a table per line for what stands still and one for events."""
    chosen = [one for one in found.findings if one.origin in origins and not _is_idle(one)]
    if name == "simulated":  # an origin nobody here knows must not vanish
        chosen += [one for one in found.findings if one.origin not in (SIMULATED, COMPUTED, MEASURED, DECLARED_ORIGIN)]
    if not chosen:
        return Section(name, say(f"bench.{name}"), (Text(say(f"bench.{name}_none")),))
    blocks: list[Block] = [Text(say(f"bench.{name}_note"), "soft")]
    alike: dict[frozenset[object], list[str | None]] = {}
    for line in sorted({one.line for one in chosen}, key=line_rank):
        alike.setdefault(_shape(one for one in chosen if one.line == line), []).append(line)
    for lines in alike.values():
        blocks += _tables([one for one in chosen if one.line in lines], say, sources)
    return Section(name, say(f"bench.{name}"), tuple(blocks))


def _shape(findings: Iterable[Finding]) -> frozenset[object]:
    """Return which rows a line's tables have: lines of the same shape share their tables."""
    return frozenset((family(one), one.guarded, one.outcome == NOT_APPLICABLE) for one in findings)


def _named(block: Block, lines: str, say: Words) -> Block:
    """Return the table or sentence with the lines it holds for in front."""
    if isinstance(block, Grid):
        caption = say("bench.table", line=lines, what=block.caption)
        return replace(block, caption=caption[:1].upper() + caption[1:])
    return replace(block, text=say("bench.table", line=lines, what=block.text)) if isinstance(block, Text) else block


def _is_idle(one: Finding) -> bool:
    """Tell whether the row only says that a rule found nothing to judge."""
    return one.outcome == NOT_APPLICABLE and one.value is None


def _tables(findings: Sequence[Finding], say: Words, sources: Sources) -> Iterable[Block]:
    """Return the tables of lines of one shape, and their values without a limit, each told once."""
    wanted: tuple[tuple[str, Callable[[Finding], bool]], ...] = (
        ("levels", lambda one: one.event is None and one.guarded is not None),
        ("facts", lambda one: one.event is None and one.guarded is None),
        ("events", lambda one: one.event is not None),
    )
    everyone = places((one.line for one in findings), say)
    for key, belongs in wanted:
        here = [one for one in findings if belongs(one)]
        judged = [one for one in here if one.outcome != NOT_APPLICABLE]
        if judged:
            yield _named(finding_table(say(f"bench.{key}"), judged, say, sources), everyone, say)
        texts: dict[str, list[str | None]] = {}
        for line in sorted({one.line for one in here}, key=line_rank):
            rest = [one for one in here if one.line == line and one.outcome == NOT_APPLICABLE]
            if rest:
                texts.setdefault(unjudged_text(rest, say), []).append(line)
        for text, lines in texts.items():
            yield _named(Text(text, "soft"), places(lines, say), say)


def _idle(found: Evidence, say: Words) -> Section | None:
    idle = [one for one in found.findings if _is_idle(one) and one.origin != MEASURED]
    if not idle:
        return None
    items = tuple(Item(sentence(one.why), _about(one, say)) for one in sorted(idle, key=lambda f: f.id))
    return Section("idle", say("bench.idle"), (Bullets(items),))


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
