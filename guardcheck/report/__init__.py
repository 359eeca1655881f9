"""Results as text, pages, JSON and pictures. Nothing here can run anything or hold a limit."""

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
from guardcheck.report.pictures.svg import prepare as prepare_pictures
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
