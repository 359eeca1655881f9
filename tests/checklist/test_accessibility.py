"""Every page a reader gets, judged by axe-core in Chromium against WCAG 2.0 to 2.2, levels A and AA."""

from __future__ import annotations

from itertools import pairwise

import pytest

from guardcheck.report import to_html, to_questions_page
from guardcheck.report.bench_sheet.page import to_bench_sheet
from guardcheck.report.handover import to_checklist_html, to_record_html

LEVELS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa")
RULES = {"runOnly": {"type": "tag", "values": [*LEVELS, "best-practice"]}, "resultTypes": ["violations"]}
LINES = (("red", ("level.white", "level.blank", "response.overshoot")), ("sync", ("level.sync",)))


@pytest.fixture
def pages(conforming, failing):
    return {
        "check report": to_html(failing),
        "checklist that conforms": to_checklist_html(*conforming),
        "checklist that fails": to_checklist_html(failing),
        "record": to_record_html(failing),
        "bench sheet": to_bench_sheet(LINES, unit="DEMO-01"),
        "bench sheet without a job": to_bench_sheet(),
        "questions": to_questions_page("mine.toml"),
    }


def test_no_violation_on_any_page(page, pages, tmp_path):
    from axe_playwright_python.sync_playwright import Axe

    found = {}
    for name, text in pages.items():
        file = tmp_path / "page.html"
        file.write_text(text, encoding="utf-8")
        page.goto(file.as_uri())
        judged = Axe().run(page, options=RULES)
        assert len(judged.response["passes"]) > 15, name
        found[name] = [(one["id"], one["nodes"][0]["html"][:120]) for one in judged.response["violations"]]
    assert found == {name: [] for name in pages}


def test_landmarks_headings_and_table_heads(page, pages, tmp_path):
    for name, text in pages.items():
        file = tmp_path / "page.html"
        file.write_text(text, encoding="utf-8")
        page.goto(file.as_uri())
        assert page.locator("main").count() == 1, name
        assert page.locator("header").count() == 1, name
        assert page.locator("h1").count() == 1, name
        levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3')].map((h) => +h.tagName[1])")
        assert all(after - before <= 1 for before, after in pairwise(levels)), name
        assert page.evaluate("[...document.querySelectorAll('th')].every((cell) => cell.scope)"), name
        assert page.evaluate("[...document.querySelectorAll('table')].every((table) => table.caption)"), name


def test_nothing_is_wider_than_a_phone(page, pages, tmp_path):
    """WCAG 1.4.10: at 360 px only tables scroll sideways, inside a region the keyboard reaches."""
    page.set_viewport_size({"width": 360, "height": 800})
    for name, text in pages.items():
        file = tmp_path / "page.html"
        file.write_text(text, encoding="utf-8")
        page.goto(file.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") <= 360, name
