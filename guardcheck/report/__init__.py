"""Results as text, pages, JSON and pictures. Nothing here can run anything or hold a limit.

A name is loaded when it is first asked for: who waits for a check does not wait for papers nobody wants.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from guardcheck.files import write_bytes, write_text
    from guardcheck.report.arrange.advice import counts
    from guardcheck.report.asking import to_questions_page
    from guardcheck.report.bench_sheet.page import to_bench_sheet, to_bench_sheet_pdf
    from guardcheck.report.handover import (
        PAPERS,
        evidence,
        to_checklist_html,
        to_checklist_pdf,
        to_record_html,
        to_record_pdf,
    )
    from guardcheck.report.page.result import first_screen, to_html
    from guardcheck.report.pictures.line.svg import lines_svg
    from guardcheck.report.pictures.panels import drawings
    from guardcheck.report.pictures.svg import prepare_pictures
    from guardcheck.report.saved.compare import compare, worsened
    from guardcheck.report.saved.read import from_json, read_result
    from guardcheck.report.saved.write import to_json
    from guardcheck.report.text.answer import to_short
    from guardcheck.report.text.batch import summary, unique_names
    from guardcheck.report.text.expect import expected_json, expected_text
    from guardcheck.report.text.proposals import proposals_to_json, proposals_to_terminal
    from guardcheck.report.text.ranking import ranking_to_html, ranking_to_json, ranking_to_short, ranking_to_terminal
    from guardcheck.report.text.reading import to_short_reading
    from guardcheck.report.text.result import to_outcome, to_terminal
    from guardcheck.report.text.shelf import proofs, sheet, shelf
    from guardcheck.report.text.why import only_line, to_why


__all__ = [
    "PAPERS",
    "compare",
    "counts",
    "drawings",
    "evidence",
    "expected_json",
    "expected_text",
    "first_screen",
    "from_json",
    "lines_svg",
    "only_line",
    "prepare_pictures",
    "proofs",
    "proposals_to_json",
    "proposals_to_terminal",
    "ranking_to_html",
    "ranking_to_json",
    "ranking_to_short",
    "ranking_to_terminal",
    "read_result",
    "sheet",
    "shelf",
    "summary",
    "to_bench_sheet",
    "to_bench_sheet_pdf",
    "to_checklist_html",
    "to_checklist_pdf",
    "to_html",
    "to_json",
    "to_outcome",
    "to_questions_page",
    "to_record_html",
    "to_record_pdf",
    "to_short",
    "to_short_reading",
    "to_terminal",
    "to_why",
    "unique_names",
    "worsened",
    "write_bytes",
    "write_text",
]

_PLACES = {
    "files": ("write_bytes", "write_text"),
    "report.arrange.advice": ("counts",),
    "report.asking": ("to_questions_page",),
    "report.bench_sheet.page": ("to_bench_sheet", "to_bench_sheet_pdf"),
    "report.handover": (
        "PAPERS",
        "evidence",
        "to_checklist_html",
        "to_checklist_pdf",
        "to_record_html",
        "to_record_pdf",
    ),
    "report.page.result": ("first_screen", "to_html"),
    "report.pictures.line.svg": ("lines_svg",),
    "report.pictures.panels": ("drawings",),
    "report.pictures.svg": ("prepare_pictures",),
    "report.saved.compare": ("compare", "worsened"),
    "report.saved.read": ("from_json", "read_result"),
    "report.saved.write": ("to_json",),
    "report.text.answer": ("to_short",),
    "report.text.batch": ("summary", "unique_names"),
    "report.text.expect": ("expected_json", "expected_text"),
    "report.text.proposals": ("proposals_to_json", "proposals_to_terminal"),
    "report.text.ranking": ("ranking_to_html", "ranking_to_json", "ranking_to_short", "ranking_to_terminal"),
    "report.text.reading": ("to_short_reading",),
    "report.text.result": ("to_outcome", "to_terminal"),
    "report.text.shelf": ("proofs", "sheet", "shelf"),
    "report.text.why": ("only_line", "to_why"),
}
"""Where each name stands, below `guardcheck`."""


def __getattr__(name: str) -> Any:
    """Return what one of the names above stands for. Raises AttributeError for any other."""
    for place, names in _PLACES.items():
        if name in names:
            return getattr(import_module(f"guardcheck.{place}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
