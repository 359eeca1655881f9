"""The guided start: scripted answers, words a beginner types, and a job that can be checked whatever was answered."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.job import heard, job_text, next_question, parse_job, questions
from guardcheck.job.asking import CONDITION, PLACE, pieces, shading
from guardcheck.library import Library
from guardcheck.model import Value
from guardcheck.simulate.levels import solve
from guardcheck.simulate.planning import plan_job
from guardcheck.simulate.response import studies_of

BY_ID = {one.id: one for one in questions()}
SHELF = Library.load()


def answered(*given: str) -> dict[str, str | None]:
    """Answer the questions as they come; what is left over is not known."""
    answers: dict[str, str | None] = {}
    rest = iter(given)
    while (question := next_question(answers)) is not None:
        answers[question.id] = heard(question, next(rest, "")).value
    return answers


def test_a_job_of_thirteen_answers_and_a_few_more() -> None:
    given = (
        "TIDE-16",
        "1",
        "2",
        "1.4",
        "0.7",
        "6",
        "75",
        "220u",
        "0.3 V",
        "BAV99",
        "74HC04",
        "1k2",
        "5",
        "220 uF",
        "2",
        "",
        "OL",
    )
    job = parse_job(job_text(answered(*given)), file="mine.toml")
    assert job.unit == "TIDE-16"
    assert [line.name for line in job.lines] == ["red", "green", "blue", "sync"]
    red, sync = job.lines[0], job.lines[3]
    assert (red.stage.name, red.guard.name) == ("video-buffer-ac", "fast-pair")
    assert red.stage.values["shift"] == "0.3 V"
    assert red.stage.values["capacitor"] == "220 uF"
    assert red.source.values["open_white"] == "1.4 V"
    assert (sync.pin["family"], job.picture["field_rate"].nominal) == ("hc-logic", 60.0)
    assert job.supply["y_coupling"] == "unknown"
    assert [(fact.table, fact.entries.get("state")) for fact in job.facts] == [("bond", "not fitted")]


@pytest.mark.parametrize(
    ("connector", "rate", "stage"),
    list(product("12345", ("", "1", "2"), ("1", "6"))) + list(product("1", "1", "2345")),
)
def test_whatever_comes_out_the_job_can_be_fitted(connector: str, rate: str, stage: str) -> None:
    text = job_text(answered("X", connector, rate, "1.4", "0.7", stage))
    plan = plan_job(parse_job(text, file="mine.toml"), SHELF, samples=0, seed=1)
    assert plan.lines
    assert all(not one.as_built.missing for one in plan.lines)


def test_knowing_nothing_still_makes_a_job_that_claims_nothing() -> None:
    job = parse_job(job_text(answered()), file="mine.toml")
    plan_job(job, SHELF, samples=0, seed=1)
    assert job.lines[0].source.values["white"] == "unknown"
    assert (job.supply["protection_class"], job.supply["y_capacitance"]) == ("unknown", "unknown")
    assert job.facts == ()


WORDS = [
    ("connector", "VGA", "vga"),
    ("connector", "S-Video", "svideo"),
    ("stage", "3", "two-resistor-pad"),
    ("stage", "buffer", "video-buffer"),
    ("series", "4k7", "4k7"),
    ("series", "100R", "100R"),
    ("series", "75", "75 ohm"),
    ("capacitor", "220u", "220 uF"),
    ("capacitor", "0.47 mF", "0.47 mF"),
    ("guard", "bav99", "fast-pair"),
    ("guard", "1N4148", "silicon-pair"),
    ("guard", "schottky-pair", "schottky-pair"),
    ("logic", "74HCT04", "hc-logic"),
    ("logic", "74 LS 00", "ls-ttl"),
    ("open", "1,4", "1.4 V"),
    ("shield", "ol", "over range"),
    ("y", "", None),
    ("rate", "?", None),
    ("rate", "60", "60"),
    ("rate", "50 Hz", "50"),
    ("inside", "4, 1", "mains, cell"),
    ("inside", "3 5", "disc, trimmer"),
    ("inside", "mains lead", "mains"),
    ("inside", "None", "none"),
    ("lid", "2", "yes"),
]


@pytest.mark.parametrize(("question", "answer", "value"), WORDS)
def test_words_a_beginner_types(question: str, answer: str, value: str | None) -> None:
    assert heard(BY_ID[question], answer).value == value


ASKED_AGAIN = [
    ("connector", "RGB", "21-pin connector / VGA"),
    ("connector", "9", "a number from 1 to 5"),
    ("capacitor", "220", "220 uF or 220 nF"),
    ("capacitor", "102", "means 1 nF"),
    ("rail_capacitance", "104", "means 100 nF"),
    ("series", "75 V", "resistance"),
    ("series", "abc", "resistance"),
    ("guard", "XYZ9", "BAV99"),
    ("name", 'a"b', "without quotes"),
    ("connector", "RED", "21-pin connector / component: Y, Pb, Pr / VGA"),
    ("inside", "1, none", "not both"),
    ("inside", "1, 9", "a number from 1 to 5"),
]


@pytest.mark.parametrize(("question", "answer", "words"), ASKED_AGAIN)
def test_what_may_mean_two_things_is_asked_again(question: str, answer: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        heard(BY_ID[question], answer)
    assert words in caught.value.problem


@pytest.mark.parametrize(
    ("capacitor", "series", "rate", "said"),
    [
        ("220u", None, None, "220 uF; a white screen gets up to 15 % darker{down} (with 470 uF: 7.1 %)"),
        ("470 uF", None, None, "470 uF; a white screen gets up to 7.1 % darker{down}"),
        ("220u", "150R", "60", "220 uF; a white screen gets up to 8.4 % darker{down} (with 470 uF: 3.9 %)"),
        ("1 uF", None, "50", "1 uF; a white screen gets up to 100 % darker{down} (with 470 uF: 7.1 %)"),
    ],
)  # fmt: skip
def test_what_a_coupling_capacitor_does_to_a_white_screen(capacitor, series, rate, said) -> None:
    """Half a field of 10 ms before 150 ohm and 220 uF: tanh(10 / (2 * 33)) = 15.0 % (circuit law)."""
    assert heard(BY_ID["capacitor"], capacitor, {"series": series, "rate": rate}).said == "heard: " + said.replace(
        "{down}", " from top to bottom"
    )


def test_the_shading_is_that_of_the_simulated_line(engine: Engine) -> None:
    """The closed form against the tilt ngspice finds of 220 uF behind a buffer and 75 ohm, at 50 Hz."""
    answers = answered("X", "4", "1", "2", "1", "6", "75", "220u")
    assert answers["capacitor"] == "220 uF"
    job = parse_job(job_text(answers), file="mine.toml")
    (line,) = plan_job(job, SHELF, samples=0, seed=1).lines
    one = line.experiment(line.as_built)
    one = replace(one, standard=replace(one.standard, quantities=("response.field_tilt",)))
    (group,) = solve(engine, [one], (0.5,))
    (study,) = studies_of(one, group)
    (found,) = study.read(engine.run(study.decks))
    assert found.value == pytest.approx(shading().share(220e-6, 75.0, 50.0), rel=0.05)


def test_hazards_are_asked_for_and_only_what_was_answered_is_declared() -> None:
    def hazards(inside: str, *more: str) -> dict[str, object]:
        given = {"inside": inside, **dict(zip(("lid", "trimmer"), more, strict=False))}
        answers: dict[str, str | None] = {}
        while (question := next_question(answers)) is not None:
            answers[question.id] = heard(question, given.get(question.id, "")).value
        facts = parse_job(job_text(answers), file="mine.toml").facts
        return {fact.table: dict(fact.entries) for fact in facts}

    assert hazards("") == {}
    assert hazards("none") == {"hazards": {}}
    assert hazards("1 2 4") == {"hazards": {"mains_inside": True, "crt": True, "battery": True}}
    assert hazards("3") == {"hazards": {"laser": True, "interlock_defeated": "unknown"}}
    assert hazards("3", "yes")["hazards"]["interlock_defeated"] is True
    assert hazards("3", "no")["hazards"]["interlock_defeated"] is False
    left = hazards("5", "", "0.92 V")["setpoint"]
    assert left["before"] == Value.exact(0.92, "V", text="0.92 V")
    assert hazards("5")["setpoint"]["before"] == "unknown"


def test_nobody_is_asked_about_the_mains_side_of_a_unit_that_has_none() -> None:
    """Fed by low voltage alone, there are no Y capacitors to tell of."""
    asked = answered("X", "4", "1", "1.4", "0.7", "2", "75", "none", "5", "220u", "3")
    assert "y" not in asked
    assert "y_coupling" not in job_text(asked)
    assert "y" in answered("X", "4", "1", "1.4", "0.7", "2", "75", "none", "5", "220u", "")


def test_conditions_of_questions_and_of_the_file_name_what_there_is() -> None:
    """A name mistyped in a condition would never hold, and nobody would see it."""
    known = {one.id: one for one in questions()}
    made = {piece.name for piece in pieces()}
    whens = [one.when for one in questions()] + [when for piece in pieces() for when, _ in piece.parts]
    for one in (part for when in whens if when for part in when.split(" and ")):
        _, name, _, sign, keys = re.fullmatch(CONDITION, one).groups()
        assert name in {*known, *made}, one
        choices = {choice.key for choice in known[name].choices} if name in known else set()
        assert not sign or not choices or set(keys.split(", ")) <= choices, one
    for _, lines in (part for piece in pieces() for part in piece.parts):
        assert all(found[0] in {*known, *made} for line in lines for found in re.findall(PLACE, line)), lines


def test_no_question_sends_anyone_into_a_mains_supply() -> None:
    for one in questions():
        said = f"{one.ask} {one.note}".casefold()
        assert one.cost
        assert "open the" not in said.replace("do not open", "")
        if "y1" in said:
            assert "do not open a supply to look" in said
        if "75 ohm to 0 v" in said:
            assert "never load a logic pin" in said
        if one.id == "open":
            assert "clip it to 0 v only" in said


def run(folder: Path, text: str) -> subprocess.CompletedProcess[str]:
    root = Path(__file__).parents[2]
    return subprocess.run(
        [sys.executable, "-m", "guardcheck", "new", "mine.toml", "--ask"],
        input=text,
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(root)},
        check=False,
        timeout=60,
    )


def test_on_a_terminal_answers_that_end_early_write_nothing(tmp_path: Path) -> None:
    stopped = run(tmp_path, "TIDE-16\n1\n")
    assert (stopped.returncode, stopped.stderr.count("\n")) == (2, 1)
    assert "nothing was written" in stopped.stderr
    assert list(tmp_path.iterdir()) == []
    done = run(tmp_path, "TIDE-16\n1\n" + "\n" * 20)
    assert done.returncode == 0, done.stderr
    assert parse_job((tmp_path / "mine.toml").read_text(encoding="utf-8"), file="mine.toml").unit == "TIDE-16"
    typed_behind = (line.rpartition(" > ")[2] for line in done.stdout.splitlines())  # no ENTER is echoed here
    assert max(len(line) for line in typed_behind) <= 80
    again = run(tmp_path, "")
    assert (again.returncode, "exists already" in again.stderr) == (2, True)
