"""The checklist as a tagged PDF (PDF/UA-1), set by the typst library from the same blocks as the page.

typst needs no system library, writes tags, language and title itself, and takes its data as JSON: text from a job file
is data to it, never markup. Only its own fonts are used and no date is written: same result, same bytes.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from importlib import resources
from typing import Any

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.model import Result
from guardcheck.report.arrange.words import clean
from guardcheck.report.handover.customer import sheet_of
from guardcheck.report.handover.document import record
from guardcheck.report.handover.strings import DEFAULT
from guardcheck.report.page.result import SIGNS

PAPERS = {"a4": "a4", "letter": "us-letter"}

_UNSET = re.compile(
    "[^\u0020-\u007e\u00a1-\u00ac\u00ae-\u017f\u0384-\u038a\u038c\u038e-\u03a1\u03a3-\u045f\u1e80-\u1e85\u2010-\u2027"
    "\u2030-\u2040\u2044-\u2052\u20a0-\u20bf\u2100-\u211e\u2122\u2126-\u214f\u2190-\u219f\u2200-\u226f\u2500-\u261f"
    "\u2713\u2715]"
)
"""What the embedded fonts lack, tried character by character; PDF/UA-1 refuses a document with a missing glyph."""

_LONG = re.compile(r"[^\s\u200b]{28,}")
_BREAK, _TIE = "\u200b", "\u00a0"
_UNIT = re.compile(r"(?<=\d) (?=[^\W\d_]{1,4}\b|%)(?!to\b|of\b|and\b)")


def to_checklist_pdf(
    check: Result, readings: Result | None = None, *, paper: str = "a4", workshop: str = "", language: str = DEFAULT
) -> bytes:
    """Return the customer's two pages as a tagged PDF. Same results, same bytes.

    `paper` is ``a4`` or ``letter``; the other parameters and the errors are those of `sheet_of`.
    """
    found = sheet_of(check, readings, workshop=workshop, language=language)
    blocks = asdict(found)
    return typeset("handover/sheet.typ", blocks, paper, drawings=blocks.pop("drawings"))


def to_record_pdf(
    check: Result, readings: Result | None = None, *, paper: str = "a4", workshop: str = "", language: str = DEFAULT
) -> bytes:
    """Return the technician's record as a tagged PDF: every needed finding once. Same results, same bytes.

    Parameters and errors are those of `to_checklist_pdf`.
    """
    blocks = asdict(record(check, readings, workshop=workshop, language=language))
    return typeset("handover/record.typ", blocks, paper, drawings=blocks.pop("drawings"))


def typeset(name: str, blocks: dict[str, Any], paper: str, *, drawings: Mapping[str, str] | None = None) -> bytes:
    """Return blocks set by one of our templates as a tagged PDF.

    Parameters
    ----------
    name : the template, with its room: ``handover/sheet.typ``
    blocks : texts, numbers, lists and tables; every text is set as text, never read as markup
    paper : ``a4`` or ``letter``; `InputError` for another
    drawings : SVG made here, by name: no text to be cleaned

    """
    import typst

    if paper not in PAPERS:
        problem = f"no paper '{paper[:20]}'; accepted: {accepted(PAPERS)}{nearest(paper, PAPERS)}"
        raise InputError(problem, key="paper")
    ours = {"drawings": dict(drawings or {}), "paper": PAPERS[paper], "signs": dict(SIGNS)}
    data = json.dumps(_plain(blocks) | ours)
    made = typst.compile(
        resources.files("guardcheck.report").joinpath(name).read_bytes(),
        format="pdf",
        font_paths=typst.Fonts(include_system_fonts=False, include_embedded_fonts=True),
        ignore_system_fonts=True,
        sys_inputs={"sheet": data},
        pdf_standards="ua-1",
    )
    return bytes(made)


def _plain(value: Any) -> Any:
    """Return the blocks with texts the fonts can set; long words get places where a line may break."""
    if isinstance(value, str):
        return settable(value)
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value


def settable(text: str) -> str:
    """Return text in characters the embedded fonts have; others stand as ``[U+6F22]``, so that none is lost.

    Long words get places to break, and numbers are tied to their units.
    """
    known = _UNSET.sub(lambda char: f"[U+{ord(char.group()):04X}]", clean(text))
    broken = _LONG.sub(lambda word: _BREAK.join(word.group()[n : n + 8] for n in range(0, len(word.group()), 8)), known)
    return _UNIT.sub(_TIE, broken)
