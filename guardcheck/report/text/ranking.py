"""The ranking of guards as text for a terminal, as a page, and as JSON."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from guardcheck.formatting import times
from guardcheck.model import DOES_NOT_CONFORM, NOT_APPLICABLE, Ranked, Ranking
from guardcheck.report.arrange.words import MARKS, OUTCOME_WORDS, clean
from guardcheck.report.page.result import environment
from guardcheck.report.text.grid import columns, indent, row
from guardcheck.units import format_si

FORMAT = "guardcheck-ranking/1"
NARROWEST, WIDEST = 72, 120
_EVENT, _RANK, _LEAST_NAME = 6, 3, 19
_SIGNAL_WORDS = {
    "guard.level_error": "level",
    "guard.distortion": "grey scale",
    "response.bandwidth": "bandwidth",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """One guard as shown: name, margin and outcome by event, and its side effects in words."""

    rank: str
    name: str
    place: str
    title: str
    planned: bool
    cells: tuple[tuple[str, str], ...]
    effects: tuple[tuple[str, str], ...]


def entries(ranking: Ranking) -> tuple[Entry, ...]:
    """Return the rows of a ranking in words."""
    return tuple(_entry(place, one, ranking) for place, one in enumerate(ranking.rows, 1))


def _entry(place: int, one: Ranked, ranking: Ranking) -> Entry:
    where = "" if one.place is None else f"at the {one.place}"
    cells = tuple((_margin(one, event), one.outcomes.get(event, NOT_APPLICABLE)) for event, _, _ in ranking.events)
    where = where if one.fits else f"{where}{', ' if where else ''}not fit: breaks the picture"
    return Entry(
        str(place), clean(one.name), clean(where), clean(one.title), one.as_planned, cells, tuple(_effects(one))
    )


def _margin(one: Ranked, event: str) -> str:
    """Return ``-31``, with a tilde before an estimate, or a dash where there is none."""
    value = one.margins.get(event)
    if value is None:
        return "-"
    return f"{'~' if event in one.estimates else ''}{value:.0f}"


def _effects(one: Ranked) -> Iterable[tuple[str, str]]:
    """Yield what a guard does besides: to the signal, to the rail, to itself."""
    for quantity, share in (("guard.level_error", one.level_error), ("guard.distortion", one.distortion)):
        if share is not None:
            yield f"{_SIGNAL_WORDS[quantity]} {_percent(share)}", one.signal.get(quantity, NOT_APPLICABLE)
    if one.sync_error is not None:
        yield f"sync tip {_percent(one.sync_error)}", NOT_APPLICABLE
    if one.bandwidth is not None:
        yield f"bandwidth {format_si(one.bandwidth, 'Hz')}", one.signal.get("response.bandwidth", NOT_APPLICABLE)
    if one.rail is not None:
        yield f"rail up to {format_si(one.rail, 'V')}", NOT_APPLICABLE
    if one.part_margin is not None:
        yield f"own parts {one.part_margin:.0f} dB", NOT_APPLICABLE
    yield f"{one.parts} part{'' if one.parts == 1 else 's'}", NOT_APPLICABLE


def _percent(share: float) -> str:
    return "unchanged" if abs(share) < 5e-4 else f"{100.0 * share:+.1f} %"


def ranking_to_terminal(ranking: Ranking, *, width: int = 80) -> str:
    """Return the ranking as lines of at most `width` columns (72 to 120), ending in a newline."""
    wide = min(WIDEST, max(NARROWEST, width))
    found = entries(ranking)
    room = (wide - _RANK - 2 - _LEAST_NAME) // (_EVENT + 2)
    blocks = [range(start, min(start + room, len(ranking.events))) for start in range(0, len(ranking.events), room)]
    lines = [*_head(ranking, wide)]
    for number, block in enumerate(blocks):
        lines += ["", *_table(ranking, found, block, wide, last=number == len(blocks) - 1)]
    lines += ["", *indent("; ".join(f"{MARKS[o]} {OUTCOME_WORDS[o]}" for o in MARKS), wide, "Marks: ")]
    lines += indent(_levels(ranking), wide, "Events: ")
    for note in ranking.notes:
        lines += indent(clean(note), wide, "  - ")
    return "\n".join(lines) + "\n"


_SHOWN, _UNFIT = 8, 3


def ranking_to_short(ranking: Ranking, *, job: str = "") -> str:
    """Return the ranking in at most 30 lines: what saves most and keeps the picture right, then what is not fit."""
    able = [one for one in ranking.rows if DOES_NOT_CONFORM not in one.signal.values()]
    unfit = [one for one in ranking.rows if DOES_NOT_CONFORM in one.signal.values()]
    events = [name for name, _, decides in ranking.events if decides] or [name for name, _, _ in ranking.events]
    planned = [one for one in able if one.as_planned and one not in able[:_SHOWN]]
    widths = (31, 22, 11, 10)
    lines = [
        *indent(f"Guards for {_lines(ranking)}: {clean(ranking.unit)}, {len(ranking.rows)} tried", 80),
        "=" * 80,
        *indent(clean(ranking.summary), 80)[:5],
        "",
        *row([["guard, best first"], ["hardest that decides"], ["too much"], ["fails"]], widths),
    ]
    for one in [*able[: _SHOWN - len(planned)], *planned]:
        lines += _short_row(one, events, widths)[:2]
    if any(one.as_planned for one in able):
        lines.append("* as planned")
    if unfit:
        names = [f"{clean(one.name)}{f' at the {clean(one.place)}' if one.place else ''}" for one in unfit[:_UNFIT]]
        more = f" and {len(unfit) - _UNFIT} more" if len(unfit) > _UNFIT else ""
        lines += indent(f"{', '.join(names)}{more}: the picture would not be right.", 80, "NOT FIT  ")[:3]
    ending = f"~ an estimate. Every event, every side effect: guardcheck guards {clean(job) or 'JOB'} --all"
    return "\n".join([*lines, "", *indent(ending, 80)]) + "\n"


def _short_row(one: Ranked, events: Sequence[str], widths: Sequence[int]) -> list[str]:
    known = [(margin, name) for name in events if (margin := one.margins.get(name)) is not None]
    name = f"{clean(one.name)}{f', {clean(one.place)}' if one.place else ''}{' *' if one.as_planned else ''}"
    fails = sum(one.outcomes.get(event) == DOES_NOT_CONFORM for event in events)
    if not known:
        return row([[name], ["-"], ["-"], [str(fails)]], widths)
    least, event = min(known)
    about = "~" if event in one.estimates else ""
    worst = f"{about}{times(10.0 ** (-least / 20.0))}" if least < 0.0 else "holds"
    return row([[name], [clean(event)], [worst], [f"{fails} of {len(events)}"]], widths)


def _head(ranking: Ranking, wide: int) -> Iterable[str]:
    kind = f", {clean(ranking.unit_kind)}" if ranking.unit_kind else ""
    yield from indent(f"Guards for {_lines(ranking)}: {clean(ranking.unit)}{kind}", wide)
    yield "=" * wide
    yield from indent(clean(ranking.summary), wide)


def _lines(ranking: Ranking) -> str:
    return ", ".join(clean(name) for name in ranking.lines)


def _levels(ranking: Ranking) -> str:
    """Return the level each event was run at, and which of them only inform."""
    parts = [
        f"{clean(event)} ({clean(level)}{'' if decides else ', for information'})"
        for event, level, decides in ranking.events
    ]
    return f"{', '.join(parts)}."


def _table(ranking: Ranking, found: Sequence[Entry], block: range, wide: int, *, last: bool) -> Iterable[str]:
    name = wide - _RANK - 2 - len(block) * (_EVENT + 2)
    widths = [_RANK, name, *(_EVENT for _ in block)]
    yield "-" * wide
    yield from row([[""], ["guard"], *(_heading(ranking.events[index][0]) for index in block)], widths)
    yield "-" * wide
    for one in found:
        cells = [[one.cells[index][0], MARKS[one.cells[index][1]]] for index in block]
        title = [one.name, *([one.place] if one.place else []), *(["as planned"] if one.planned else [])]
        yield from row([[one.rank], title, *cells], widths)
        if last:
            words = [f"{text} {MARKS[o]}" if o != NOT_APPLICABLE else text for text, o in one.effects]
            yield from indent(", ".join(words), wide, " " * (_RANK + 2))
    yield "-" * wide


def _heading(event: str) -> list[str]:
    """Return an event's name in pieces that fit its column; a word that is too long is parted with a hyphen."""
    pieces: list[str] = []
    for word in clean(event).split("-"):
        while columns(word) > _EVENT:
            cut = min(_EVENT - 1, (len(word) + 1) // 2)
            pieces.append(f"{word[:cut]}-")
            word = word[cut:]
        pieces.append(word)
    return pieces


def ranking_to_html(ranking: Ranking) -> str:
    """Return the ranking as one self-contained page. Same ranking, same bytes."""
    return str(
        environment()
        .get_template("page/ranking.html")
        .render(ranking=ranking, entries=entries(ranking), lines=_lines(ranking), levels=_levels(ranking))
    )


def ranking_to_json(ranking: Ranking) -> str:
    """Return the ranking as JSON, best guard first."""
    record: dict[str, Any] = {
        "format": FORMAT,
        "command": "guards",
        "unit": ranking.unit,
        "lines": list(ranking.lines),
        "engine": None if ranking.engine is None else {"name": ranking.engine.name, "version": ranking.engine.version},
        "summary": ranking.summary,
        "events": [{"event": name, "severity": level, "needed": need} for name, level, need in ranking.events],
        "guards": [_record(one) for one in ranking.rows],
        "notes": list(ranking.notes),
        "circuits": [{"name": one.name, "file": one.file, "sha256": one.sha256} for one in ranking.circuits],
    }
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _record(one: Ranked) -> dict[str, Any]:
    return {
        "guard": one.name,
        "place": one.place,
        "title": one.title,
        "parts": one.parts,
        "as_planned": one.as_planned,
        "margins": dict(one.margins),
        "outcomes": dict(one.outcomes),
        "estimates": sorted(one.estimates),
        "level_error": one.level_error,
        "sync_error": one.sync_error,
        "distortion": one.distortion,
        "bandwidth": one.bandwidth,
        "signal": dict(one.signal),
        "rail": one.rail,
        "part_margin": one.part_margin,
        "why": dict(one.why),
    }
