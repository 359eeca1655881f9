"""The customer's sheet and the technician's record as HTML: no network, no script, readable on paper and aloud."""

from __future__ import annotations

from markupsafe import Markup

from guardcheck.model import Result
from guardcheck.report.handover.customer import sheet_of
from guardcheck.report.handover.document import record
from guardcheck.report.handover.strings import DEFAULT
from guardcheck.report.page.result import SIGNS, environment


def to_checklist_html(
    check: Result, readings: Result | None = None, *, workshop: str = "", language: str = DEFAULT
) -> str:
    """Return the customer's sheet as one self-contained page. Same results, same bytes.

    Parameters and errors are those of `sheet_of`. Text from a job file is cleaned and escaped.
    """
    sheet = sheet_of(check, readings, workshop=workshop, language=language)
    drawings = {name: Markup(svg) for name, svg in sheet.drawings.items()}  # our own files
    return str(environment().get_template("handover/sheet.html").render(sheet=sheet, drawings=drawings, signs=SIGNS))


def to_record_html(
    check: Result, readings: Result | None = None, *, workshop: str = "", language: str = DEFAULT
) -> str:
    """Return the technician's record as one self-contained page: every needed finding once. Same results, same bytes.

    Parameters and errors are those of `record`.
    """
    sheet = record(check, readings, workshop=workshop, language=language)
    drawings = {name: Markup(svg) for name, svg in sheet.drawings.items()}  # drawn here, every text in them escaped
    return str(environment().get_template("handover/record.html").render(sheet=sheet, drawings=drawings, signs=SIGNS))
