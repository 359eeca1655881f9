"""Results as text, pages, JSON and pictures. Nothing here can run anything or hold a limit."""

from guardcheck.report.batch import summary, unique_names
from guardcheck.report.bench_sheet import to_bench_sheet
from guardcheck.report.checklist import PAPERS, evidence, to_checklist_html, to_checklist_pdf
from guardcheck.report.compare import compare
from guardcheck.report.files import write_bytes, write_text
from guardcheck.report.load import from_json, read_result
from guardcheck.report.page import to_html
from guardcheck.report.pictures import pictures
from guardcheck.report.ranking import ranking_to_html, ranking_to_json, ranking_to_terminal
from guardcheck.report.save import to_json
from guardcheck.report.sheets import sheet, shelf
from guardcheck.report.terminal import to_outcome, to_terminal

__all__ = [
    "PAPERS",
    "compare",
    "evidence",
    "from_json",
    "pictures",
    "ranking_to_html",
    "ranking_to_json",
    "ranking_to_terminal",
    "read_result",
    "sheet",
    "shelf",
    "summary",
    "to_bench_sheet",
    "to_checklist_html",
    "to_checklist_pdf",
    "to_html",
    "to_json",
    "to_outcome",
    "to_terminal",
    "unique_names",
    "write_bytes",
    "write_text",
]
