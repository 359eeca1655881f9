"""What changes hands with a unit: the customer's two pages, and the technician's record with every number."""

from guardcheck.report.handover.customer import Sheet, sheet_of
from guardcheck.report.handover.document import record
from guardcheck.report.handover.page import to_checklist_html, to_record_html
from guardcheck.report.handover.pdf import PAPERS, to_checklist_pdf, to_record_pdf
from guardcheck.report.saved.write import result_hash
from guardcheck.verdict.handover import Evidence, evidence

__all__ = [
    "PAPERS",
    "Evidence",
    "Sheet",
    "evidence",
    "record",
    "result_hash",
    "sheet_of",
    "to_checklist_html",
    "to_checklist_pdf",
    "to_record_html",
    "to_record_pdf",
]
