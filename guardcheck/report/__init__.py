"""Results as text, pages, JSON and pictures. Nothing here can run anything or hold a limit."""

from guardcheck.report.batch import summary, unique_names
from guardcheck.report.files import write_bytes, write_text
from guardcheck.report.load import from_json
from guardcheck.report.page import to_html
from guardcheck.report.pictures import pictures
from guardcheck.report.save import to_json
from guardcheck.report.sheets import sheet, shelf
from guardcheck.report.terminal import to_outcome, to_terminal

__all__ = [
    "from_json",
    "pictures",
    "sheet",
    "shelf",
    "summary",
    "to_html",
    "to_json",
    "to_outcome",
    "to_terminal",
    "unique_names",
    "write_bytes",
    "write_text",
]
