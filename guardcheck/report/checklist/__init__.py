"""The hand-over checklist: the customer's pages in plain words, the technician's with every number."""

from guardcheck.report.checklist.document import document
from guardcheck.report.checklist.evidence import Evidence, evidence, result_hash
from guardcheck.report.checklist.page import to_checklist_html
from guardcheck.report.checklist.pdf import PAPERS, to_checklist_pdf

__all__ = ["PAPERS", "Evidence", "document", "evidence", "result_hash", "to_checklist_html", "to_checklist_pdf"]
