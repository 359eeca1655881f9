"""The questions of a guided start as a page."""

from guardcheck.report.asking.page import to_questions_page

__all__ = ["to_questions_page"]
