"""The demo's four lines in Chromium: budgets of screen, telephone, paper and file; and the first screen alone answers.

Budgets are this product's own. The five questions are those a technician asks with the iron in hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from guardcheck.engine import Engine
from guardcheck.job import read_job
from guardcheck.model import Result
from guardcheck.pipeline import check_job
from guardcheck.pipeline.options import Options
from guardcheck.report import to_html, to_short
from guardcheck.report.text.grid import columns

JOB = Path(__file__).parents[2] / "reports-demo" / "lantern-16" / "job.toml"
WIDE, TALL = 1280, 800
PHONE = (390, 844)


@pytest.fixture(scope="module")
def lantern() -> Iterator[Result]:
    with Engine(workers=2) as engine:
        yield check_job(read_job(JOB), engine, Options(samples=20))


@pytest.fixture(scope="module")
def html(lantern: Result) -> str:
    return to_html(lantern)


@pytest.fixture
def opened(page: Any, html: str, tmp_path: Path) -> Any:
    file = tmp_path / "page.html"
    file.write_text(html, encoding="utf-8")
    page.set_viewport_size({"width": WIDE, "height": TALL})
    page.goto(file.as_uri())
    return page


def bottom(page: Any, selector: str) -> float:
    return float(page.evaluate("s => document.querySelector(s).getBoundingClientRect().bottom", selector))


SEEN = """
tall => [...document.querySelectorAll('h1,h2,h3,p,li,text,.mark')]
  .filter(n => { const r = n.getBoundingClientRect(); return r.height > 0 && r.bottom <= tall && r.left >= 0 })
  .map(n => n.textContent).join(' ')
"""


def test_the_short_answer_fits_a_terminal(lantern: Result) -> None:
    lines = to_short(lantern, job="job.toml").splitlines()
    assert len(lines) <= 45
    assert max(columns(line) for line in lines) <= 80


def test_the_answer_fits_one_screen_and_the_page_six(opened: Any, html: str) -> None:
    assert bottom(opened, ".screen") <= TALL
    assert opened.evaluate("document.documentElement.scrollHeight") <= 6 * TALL
    assert opened.evaluate("document.documentElement.scrollWidth") <= WIDE
    assert len(html.encode()) <= 400_000


def test_on_a_telephone_the_answer_takes_two_screens_and_nothing_scrolls_sideways(opened: Any) -> None:
    opened.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
    assert bottom(opened, ".screen") <= 2 * PHONE[1]
    assert opened.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert opened.locator(".line-picture .narrow svg").first.is_visible()
    opened.goto(f"{opened.url}#record")
    assert opened.evaluate("document.documentElement.scrollWidth") <= PHONE[0], "all folds open"


def test_it_prints_on_four_pages(opened: Any) -> None:
    pdf = opened.pdf(format="A4", prefer_css_page_size=True)
    assert len(PdfReader(BytesIO(pdf)).pages) <= 4


def test_full_record_opens_every_fold_without_a_script(opened: Any) -> None:
    closed = opened.evaluate("document.documentElement.scrollHeight")
    opened.locator("a.full").click()
    assert opened.evaluate("document.documentElement.scrollHeight") > 3 * closed
    assert opened.evaluate("document.scripts.length") == 0


def test_axe_finds_nothing_on_the_first_screen_and_in_its_folds(opened: Any) -> None:
    """The tables of the lines are judged on a shorter page, with every other page a reader gets."""
    from axe_playwright_python.sync_playwright import Axe

    opened.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    places = {"include": [["header"], [".tiles"], [".screen"], ["#record > details"]]}
    judged = Axe().run(opened, context=places, options={"resultTypes": ["violations"]})
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in judged.response["violations"]] == []


@pytest.mark.parametrize(
    ("question", "answers"),
    [
        ("May I plug it in now?", [r"STOP|NOT PROVEN", r"live plugging|Nobody has shown that it is safe to touch"]),
        ("Which part do I change?", [r"100 Ω", r"[x?]\d 100 ohm: |[x?]\d chip: "]),
        ("What do I measure first?", [r"M1, M2 \.\.\.: measuring points", r"Ask, then run again \S+"]),
        (
            "What is the chip's worst moment?",
            [r"live plugging, (first contact|re-contact): ", r"\d x (too much|what is proven)"],
        ),
        ("What do I tell the customer?", [r"Print these \d rules on the label", r"Only the lead made for this socket"]),
    ],
)
def test_the_first_screen_alone_answers(opened: Any, question: str, answers: list[str]) -> None:
    text = " ".join(opened.evaluate(SEEN, TALL).split())
    for answer in answers:
        assert re.search(answer, text), f"{question} nothing like '{answer}' on the first screen: {text}"
