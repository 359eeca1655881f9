"""The questions as a page, in real Chromium: what it hears, what it says and what it saves are the terminal's."""

from __future__ import annotations

from pathlib import Path

import pytest

from guardcheck.errors import InputError
from guardcheck.job import heard, job_text, next_question, parse_job, questions
from guardcheck.report import to_questions_page
from guardcheck.simulate.planning import plan_job
from tests.cli.test_cli import guardcheck
from tests.job.test_asking import ASKED_AGAIN, BY_ID, SHELF, WORDS

TYPED = {
    "name": "TIDE-16",
    "connector": "1",
    "rate": "50 hz",
    "open": "1,4",
    "loaded": "0.7 V",
    "stage": "ac buffer",
    "series": "75R",
    "capacitor": "220u",
    "shift": "0.3 V",
    "guard": "BAV99",
    "logic": "74HC04",
    "sync_series": "1k2 5%",
    "rail": "5",
    "rail_capacitance": "220 uF",
    "earthed": "2",
    "shield": "OL",
    "inside": "3, 5",
    "lid": "no",
    "trimmer": "0.92 V",
}
"""Answers by question; what is not here is not known."""

SPELLED = [
    (question, word.strip())
    for question, written in (
        ("series", "75R| 0R5| 4k7 5%| 1.5kohm| 75 \u2126| 2M2| 1 kiloohm| 75 +/- 1 ohm| R47| 75 ohm 120%| 75 ohm -5%"),
        ("series", "4,7k| 1 2| 75 m| 5 V| 0x10| 1e3| 1e-400 ohm"),
        ("capacitor", "100n| 2u2| 22 \u00b5F| 220 uF +50/-10%| 10 microfarads| 4n7| 0.1uF| 103| F"),
        ("open", "3V3| 1.4| 700 mV| 5V| -0.3 V| 1 Vpp| .7V| 1.4 V 5%| 12 dBu| V| 1 volt"),
        ("inside", "1 4| none| battery| 3,none| 7| cd, trimmer| picture tube"),
        ("sheet", "none| NONE| PET film, 0.25 mm| a\\b"),
    )
    for word in written.split("|")
]


@pytest.fixture
def opened(page, tmp_path):
    """Return the page of questions, open in the browser."""
    file = tmp_path / "mine.html"
    file.write_text(to_questions_page("mine.toml"), encoding="utf-8")
    page.goto(file.as_uri())
    return page


def asked(typed: dict[str, str]) -> dict[str, str | None]:
    """Answer the terminal's questions with what was typed."""
    answers: dict[str, str | None] = {}
    while (question := next_question(answers)) is not None:
        answers[question.id] = heard(question, typed.get(question.id, ""), answers).value
    return answers


def saved(page, act) -> str:
    with page.expect_download() as download:
        act()
    assert download.value.suggested_filename == "mine.toml"
    return download.value.path().read_text(encoding="utf-8")


def test_with_the_keyboard_alone_the_page_saves_what_the_terminal_writes(opened):
    """WCAG 2.1.1: Tab reaches every question in the order of the terminal, Enter on the button saves."""
    press = opened.keyboard.press
    reached = []
    for _ in range(120):
        press("Tab")
        here = opened.evaluate("document.activeElement.id")
        if here in BY_ID:
            reached.append(here)
            opened.keyboard.type(TYPED.get(here, ""))
        if here == "save":
            break
    text = saved(opened, lambda: press("Enter"))
    answers = asked(TYPED)
    assert reached == list(answers)
    assert text == job_text(answers)
    assert 'capacitor = "220 uF"' in text
    assert len(plan_job(parse_job(text, file="mine.toml"), SHELF, samples=0, seed=1).lines) == 4


def test_choices_are_picked_with_the_arrows_and_a_tick_takes_the_word_away(opened, tmp_path):
    opened.locator("#connector").fill("vga")
    assert opened.locator("#connector-vga").is_checked()
    opened.locator("#connector-none").focus()
    opened.keyboard.press("ArrowUp")
    opened.keyboard.press("ArrowUp")
    assert opened.locator("#connector-composite").is_checked()
    assert opened.locator("#connector").input_value() == ""
    opened.locator("#inside-cell").focus()
    opened.keyboard.press("Space")
    text = saved(opened, lambda: opened.locator("#save").press("Enter"))
    assert text == job_text(asked({"connector": "composite", "inside": "battery"}))
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    done = guardcheck("check", "mine.toml", "--quiet", "--samples", "0", cwd=tmp_path)
    assert done.returncode in (10, 11), done.stderr


def test_nothing_answered_saves_a_job_of_unknowns(opened):
    assert saved(opened, lambda: opened.locator("#save").press("Enter")) == job_text(asked({}))


def said_by_the_terminal(question: str, answer: str) -> str:
    try:
        return heard(BY_ID[question], answer).said
    except InputError as error:
        return error.problem


ASKED_AFTER = {
    "series": {"stage": "pad"},
    "shunt": {"stage": "pad"},
    "capacitor": {"stage": "ac buffer"},
    "shift": {"stage": "ac buffer"},
    "loaded": {"open": "1.4"},
    "lid": {"inside": "3"},
    "trimmer": {"inside": "5"},
    "logic": {"connector": "vga"},
    "sync_series": {"connector": "scart"},
}
"""What has to be answered for a question to be asked at all."""


def test_every_word_means_the_same_on_the_page_and_on_the_terminal(opened):
    """The sentences are the same too, except where the terminal knows a nearer word or a unit's own trap."""
    words = [*((q, a) for q, a, _ in WORDS), *((q, a) for q, a, _ in ASKED_AGAIN), *SPELLED]
    differing = []
    for question, answer in words:
        for before, text in ASKED_AFTER.get(question, {}).items():
            opened.locator(f"#{before}").fill(text)
        opened.locator(f"#{question}").fill(answer)
        said = opened.locator(f"#{question}-said")
        shown, kind = said.inner_text(), said.get_attribute("data-kind")
        theirs = said_by_the_terminal(question, answer)
        understood = {"heard": True, "open": True, "wrong": False}[kind]
        if understood != theirs.startswith(("heard: ", "not known: ")) or (understood and shown != theirs):
            differing.append((question, answer, shown, theirs))
        if not understood and BY_ID[question].kind != "value":
            assert theirs.startswith(shown), (question, answer)
    assert differing == []


@pytest.mark.parametrize(("question", "answer", "words"), [
    ("capacitor", "102", "102 printed on a small capacitor means 1 nF"),
    ("capacitor", "220", "220 uF or 220 nF?"),
    ("connector", "RED", "21-pin connector / component"),
    ("series", "5 V", "'5 V' is a voltage; write a resistance such as '75 ohm'"),
])  # fmt: skip
def test_an_answer_not_understood_is_not_saved(opened, question, answer, words):
    opened.locator("#stage").fill("ac-coupled")
    opened.locator(f"#{question}").fill(answer)
    assert words in opened.locator(f"#{question}-said").inner_text()
    opened.locator("#save").press("Enter")
    assert opened.locator("#status").inner_text() == "One answer is not understood; it is marked."
    assert opened.evaluate("document.activeElement.id") == question
    assert opened.locator(f"#{question}").get_attribute("aria-invalid") == "true"


def test_what_an_empty_answer_costs_stands_below_every_question(opened):
    for one in questions():
        for before, text in ASKED_AFTER.get(one.id, {}).items():
            opened.locator(f"#{before}").fill(text)
        opened.locator(f"#{one.id}").fill("")
        assert opened.locator(f"#{one.id}-said").inner_text() == f"not known: {one.cost}"


def test_new_writes_the_page_and_never_over_another(tmp_path: Path) -> None:
    done = guardcheck("new", "mine.html", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "mine.html").read_text(encoding="utf-8") == to_questions_page("mine.toml")
    again = guardcheck("new", "mine.html", cwd=tmp_path)
    assert (again.returncode, "exists" in again.stderr) == (2, True)
    both = guardcheck("new", "other.html", "--ask", cwd=tmp_path)
    assert (both.returncode, both.stderr.count("\n")) == (2, 1)
    assert not (tmp_path / "other.html").exists()
