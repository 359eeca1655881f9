"""The checklist as one HTML file: no network, no script, readable on paper and by a screen reader."""

from __future__ import annotations

from guardcheck.model import Result
from guardcheck.report.handover.document import document
from guardcheck.report.handover.strings import DEFAULT
from guardcheck.report.page.result import SIGNS, environment


def to_checklist_html(
    check: Result, readings: Result | None = None, *, workshop: str = "", language: str = DEFAULT
) -> str:
    """Return the hand-over checklist as one self-contained page. Same results, same bytes.

    Parameters and errors are those of `document`. Text from a job file is cleaned and escaped.
    """
    sheet = document(check, readings, workshop=workshop, language=language)
    return str(environment().get_template("checklist.html").render(sheet=sheet, signs=SIGNS))
