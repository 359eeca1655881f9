"""The result as one HTML file: no network, no script, readable on paper, without colour and by a screen reader."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from guardcheck.model import NOT_APPLICABLE, Result
from guardcheck.report.arrange.advice import (
    NO_REMEDY,
    NOTHING_TO_DO,
    computed_with,
    counts,
    headline,
    meaning,
    not_proven,
    sources,
    to_do,
)
from guardcheck.report.arrange.answer import answer
from guardcheck.report.arrange.explanations import captures, explanations
from guardcheck.report.arrange.folds import SIGNAL, Fold, LineFolds, line_folds
from guardcheck.report.arrange.line import (
    PartRow,
    PointRow,
    description,
    part_rows,
    point_rows,
    state_word,
    troubles,
)
from guardcheck.report.arrange.overview import overview
from guardcheck.report.arrange.view import outcome_word
from guardcheck.report.arrange.words import COMMAND_TITLES, KNOWN_WORDS, STATE_WORDS, WORST_FIRST, clean
from guardcheck.report.pictures.curves import SAMPLES, Panel
from guardcheck.report.pictures.line.svg import NARROW, PAPER, WIDE, line_svg
from guardcheck.report.pictures.panels import Picture, drawn
from guardcheck.report.text.answer import brief

SIGNS = {"conforms": "✓", "does_not_conform": "✕", "not_proven": "?", "not_applicable": "–"}
"""Shapes beside the words, hidden from screen readers: they only help the eye to find a word again."""

SHOWN = 5
"""How many rows of a list stand on the first screen."""


def to_html(result: Result) -> str:
    """Return the whole result as one self-contained HTML document. Same result, same bytes.

    Everything that came from a job file is cleaned of control characters and escaped.
    """
    bad = result.outcome in WORST_FIRST[:2]
    groups = line_folds(result)
    pictures = drawn(result, _wanted(groups))
    found = answer(result)
    return str(
        environment()
        .get_template("page/page.html")
        .render(
            result=result,
            title=COMMAND_TITLES.get(result.command, clean(result.command)),
            answer=found,
            lines=_lines_drawn(result),
            headline=headline(result),
            meaning=meaning(result),
            tally=[(outcome, count) for outcome, count in counts(result).items() if outcome != NOT_APPLICABLE],
            todo=to_do(result),
            no_todo=NO_REMEDY if bad else NOTHING_TO_DO,
            open=not_proven(result),
            explanations=explanations(result),
            captures=captures(result),
            groups=groups,
            curves=lambda group, fold: _curves_of(pictures, group, fold),
            overview=overview(result),
            sources=sources(result),
            computed=computed_with(result),
        )
    )


def _event_of(subject: str) -> str:
    """Return the event a curve's subject names: ``hot-plug, re-contact`` of ``... (also green): pin current``."""
    return subject.rpartition(":")[0].partition(" (also")[0]


def _wanted(groups: Sequence[LineFolds]) -> Callable[[Panel], bool]:
    """Return which curves are drawn: of alike lines those of the first, of an event its current where it counts."""
    firsts = {group.section.line for group in groups}
    telling = {
        (group.section.line, key)
        for group in groups
        for fold in group.folds
        for key in fold.curves
        if fold.outcome == WORST_FIRST[0] or (fold.outcome == WORST_FIRST[1] and not fold.rule)
    }
    troubled = {line for line, key in telling if key == SAMPLES}

    def wanted(panel: Panel) -> bool:
        if panel.line not in firsts:
            return False
        if panel.picture == "event":
            subject = clean(panel.subject)
            return "current" in subject and (panel.line, f"event:{_event_of(subject)}") in telling
        return panel.picture != SAMPLES or panel.line in troubled

    return wanted


def _curves_of(pictures: Sequence[Picture], group: LineFolds, fold: Fold) -> list[Picture]:
    found = []
    for picture in pictures:
        if picture.line != group.section.line:
            continue
        event = f"event:{_event_of(picture.subject)}" if picture.kind == "event" else picture.kind
        if event in fold.curves or (fold.curves == SIGNAL and picture.kind not in ("event", *SIGNAL)):
            found.append(picture)
    return found


@dataclass(frozen=True, slots=True)
class LineDrawn:
    """One picture of a line for the page, in the widths it is needed in, and the same in words."""

    name: str
    svgs: tuple[tuple[str, str], ...]
    points: tuple[PointRow, ...]
    parts: tuple[PartRow, ...]
    states: tuple[str, ...]


WIDTHS = (("wide", WIDE), ("paper", PAPER), ("narrow", NARROW))


def _lines_drawn(result: Result) -> tuple[LineDrawn, ...]:
    found = []
    for number, line in enumerate(result.schematics, 1):
        marks = troubles(result, line)
        told = description(line, marks)
        svgs: dict[str, str] = {}
        for name, widest in WIDTHS:
            drawn_ = line_svg(line, marks, told, widest=widest, prefix=f"line-{number}-{name}")
            same = next((key for key, one in svgs.items() if _body(one) == _body(drawn_)), None)
            if same is None:
                svgs[name] = drawn_
            else:
                svgs[f"{same} {name}"] = svgs.pop(same)
        states = tuple(state_word(state) for state in line.states)
        name = ", ".join(clean(one) for one in line.lines)
        found.append(LineDrawn(name, tuple(svgs.items()), point_rows(line), part_rows(line), states))
    return tuple(found)


def _body(svg: str) -> str:
    return svg[svg.index("</desc>") :]


def first_screen(result: Result) -> str:
    """Return the answer, what to do and what decides but is open, as a piece of HTML for a notebook."""
    acts = [(one.text, one.subjects) for one in to_do(result)]
    unknown = [(one.reason, one.subjects) for one in not_proven(result) if one.needed]
    lists = [(title, found[:SHOWN], len(found[SHOWN:])) for title, found in (("To do", acts), ("Not proven", unknown))]
    template = environment().get_template("page/first_screen.html")
    return str(template.render(result=result, headline=headline(result), meaning=meaning(result), lists=lists))


def tight(text: str) -> Any:
    """Return the text with every number tied to its unit, so that no line break parts them."""
    from markupsafe import Markup

    return Markup(re.sub(r"(?<=\d) (?!to\b|of\b)", "&nbsp;", str(Markup.escape(clean(text)))))


def environment() -> Any:
    """Return the template environment every page is rendered with: escaping on, unknown names refused."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    def finalize(value: Any) -> Any:
        """Clean every text on its way into the page, so that no field can be forgotten."""
        return clean(value) if isinstance(value, str) and not isinstance(value, Markup) else value

    environment = Environment(
        loader=PackageLoader("guardcheck.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=finalize,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["picture"] = Markup
    environment.filters["tight"] = tight
    environment.filters["word"] = outcome_word
    environment.filters["brief"] = brief
    environment.globals.update(signs=SIGNS, states=STATE_WORDS, known=KNOWN_WORDS)
    return environment
