"""The result as one HTML file: no network, no script, readable on paper, without colour and by a screen reader."""

from __future__ import annotations

import re
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
from guardcheck.report.arrange.explanations import captures, explanations
from guardcheck.report.arrange.overview import overview
from guardcheck.report.arrange.view import outcome_word, sections
from guardcheck.report.arrange.words import COMMAND_TITLES, KNOWN_WORDS, STATE_WORDS, WORST_FIRST, clean
from guardcheck.report.pictures.panels import Picture, drawn

SIGNS = {"conforms": "✓", "does_not_conform": "✕", "not_proven": "?", "not_applicable": "–"}
"""Shapes beside the words, hidden from screen readers: they only help the eye to find a word again."""

SHOWN = 5
"""How many rows of a list stand on the first screen."""


def to_html(result: Result) -> str:
    """Return the whole result as one self-contained HTML document. Same result, same bytes.

    Everything that came from a job file is cleaned of control characters and escaped.
    """
    bad = result.outcome in WORST_FIRST[:2]
    pictures = drawn(result)
    return str(
        environment()
        .get_template("page.html")
        .render(
            result=result,
            title=COMMAND_TITLES.get(result.command, clean(result.command)),
            headline=headline(result),
            meaning=meaning(result),
            tally=[(outcome, count) for outcome, count in counts(result).items() if outcome != NOT_APPLICABLE],
            todo=to_do(result),
            no_todo=NO_REMEDY if bad else NOTHING_TO_DO,
            open=not_proven(result),
            explanations=explanations(result),
            captures=captures(result),
            sections=sections(result),
            overview=overview(result),
            pictures=_by_line(pictures),
            sources=sources(result),
            computed=computed_with(result),
        )
    )


def first_screen(result: Result) -> str:
    """Return the answer, what to do and what decides but is open, as a piece of HTML for a notebook."""
    acts = [(one.text, one.subjects) for one in to_do(result)]
    unknown = [(one.reason, one.subjects) for one in not_proven(result) if one.needed]
    lists = [(title, found[:SHOWN], len(found[SHOWN:])) for title, found in (("To do", acts), ("Not proven", unknown))]
    template = environment().get_template("first_screen.html")
    return str(template.render(result=result, headline=headline(result), meaning=meaning(result), lists=lists))


def _by_line(pictures: tuple[Picture, ...]) -> dict[str, list[Picture]]:
    found: dict[str, list[Picture]] = {}
    for picture in pictures:
        found.setdefault(picture.line, []).append(picture)
    return found


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
        loader=PackageLoader("guardcheck.report", "templates"),
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
    environment.globals.update(signs=SIGNS, states=STATE_WORDS, known=KNOWN_WORDS)
    return environment
