"""The hand-over checklist: the customer's pages in plain words, the technician's with every number."""

from guardcheck.report.handover.document import document
from guardcheck.report.handover.page import to_checklist_html
from guardcheck.report.handover.pdf import PAPERS, to_checklist_pdf
from guardcheck.report.saved.write import result_hash
from guardcheck.verdict.handover import Evidence, evidence

__all__ = ["PAPERS", "Evidence", "document", "evidence", "result_hash", "to_checklist_html", "to_checklist_pdf"]
