"""The short answer: it fits a screen, says the worst first, says nothing that says nothing, and trusts no name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from guardcheck.cli.app import Shown, printed
from guardcheck.errors import InputError
from guardcheck.formatting import times
from guardcheck.model import (
    ASSUMED,
    CONFORMS,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    PERSON,
    RAIL_PART,
    RATING_NOT_STATED,
    REMEDY_TRIED,
    SHORT_CIRCUIT,
    WITHSTAND,
    Bearing,
    Condition,
    Finding,
    Limit,
    Question,
    Ranked,
    Ranking,
    Result,
)
from guardcheck.report import only_line, ranking_to_short, to_short, to_short_reading, to_why
from guardcheck.report.arrange.answer import _why_open, answer, tile_of
from guardcheck.report.arrange.line import Bears, bears, troubles
from guardcheck.report.text.grid import columns
from guardcheck.report.text.reading import whole_values
from tests.report.conftest import WHITE, finding
from tests.schematic.lines import PAD, UPPER


def margin(line: str, db: float, event: str = "hot-plug", **more: object) -> Finding:
    outcome = DOES_NOT_CONFORM if db < -1.5 else CONFORMS
    base = {
        "needed": True, "kind": WITHSTAND, "use": "daily", "event": event, "severity": "first contact",
        "why": f"The rating is exceeded by {-db:.1f} dB. 976 mA against 20 mA (clamp current); worst case: unit on.",
        "bearing": Bearing(0.976, (0.02, 0.02), "A"),
    }  # fmt: skip
    outcome = str(more.pop("outcome", outcome))
    return Finding("EVT01", "event.margin", line, True, db, "dB", outcome, **{**base, **more})  # type: ignore[arg-type]


def white(line: str, value: float = 0.683, outcome: str = CONFORMS) -> Finding:
    return finding("LVL01", "level.white", line, True, value, limit=WHITE, outcome=outcome)


COLOURS = ("red", "green", "blue")


def whole(*rows: Finding, **more: object) -> Result:
    outcome = next(
        (o for o in (DOES_NOT_CONFORM, NOT_PROVEN) if any(r.needed and r.outcome == o for r in rows)), CONFORMS
    )
    fields = {"extra": {"events": {"hot-plug": "plugged in live"}}, **more}
    return Result("check", "UNIT-1", "", outcome, 1, 0, None, rows, (), **fields)  # type: ignore[arg-type]


def test_it_fits_a_screen_whatever_stands_in_it(result: Result, hostile: Result) -> None:
    for one in (result, hostile, whole(white("red"))):
        lines = to_short(one).splitlines()
        assert len(lines) <= 45
        assert max(columns(line) for line in lines) <= 80
        read = to_short_reading(replace(one, command="verify")).splitlines()
        assert len(read) <= 40
        assert max(columns(line) for line in read) <= 80


def test_a_hundred_troubles_still_fit_and_say_how_many_are_hidden() -> None:
    rows = [margin(line, -20.0 - n, f"event-{n}") for n in range(30) for line in ("red", "sync", "luma", "pb")]
    lines = to_short(whole(*rows, *(white(line) for line in COLOURS))).splitlines()
    assert len(lines) <= 45
    assert any("more: --all" in line for line in lines)


def test_alike_lines_are_one_row_with_the_worst() -> None:
    rows = (white("red"), white("green"), white("blue", 1.4, DOES_NOT_CONFORM))
    text = to_short(whole(*rows, schematics=(PAD,)))
    told = [line for line in text.splitlines() if "white level" in line]
    assert len(told) == 1
    assert "red green blue" in told[0]
    assert "1.4 V" in told[0]
    assert told[0].endswith("x")


def test_multiples_stand_where_decibels_stood() -> None:
    """20 log10 (0.976 / 0.02) = 33.77 dB: 48.8 times."""
    text = to_short(whole(margin("red", -33.77)))
    assert "49 x" in text
    assert "976 mA" in text
    assert "dB" not in text
    assert times(48.8) == "49 x"
    assert times(5.44) == "5.4 x"


def test_a_rating_nobody_stated_counts_its_loosest_end() -> None:
    seen = Bearing(0.506, (1e-3, 20e-3), "A")
    one = margin("sync", -54.1, bearing=seen, spread=(-54.1, -28.07), codes=(RATING_NOT_STATED,))
    found = bears(one)
    assert found is not None
    assert (found.value, found.allowed, found.ranged) == ("506 mA", "1 mA to 20 mA", True)
    assert found.times == pytest.approx(0.506 / 0.020, rel=1e-3)
    assert "25 x up" in to_short(whole(one))
    asked = answer(whole(one)).ask
    assert [(one.decides, "what may the chip's pin take" in one.text) for one in asked] == [(1, True)]


def test_a_lifted_rail_is_said_with_its_bound() -> None:
    """3.35 V above a 5 V rail where 0.5 V is allowed: 6.7 times, 16.5 dB."""
    lifted = Bearing(3.35, (0.5, 0.5), "V", RAIL_PART)
    found = bears(margin("red", -16.52, bearing=lifted))
    assert found is not None
    assert (found.value, found.allowed, found.of) == ("3.35 V", "500 mV", "rail")
    assert "rail: plugged in live" in to_short(whole(margin("red", -16.52, bearing=lifted)))
    assert found.times == pytest.approx(3.35 / 0.5, rel=1e-3)
    usual = replace(lifted, allowed=(0.25, 0.5))
    found = bears(margin("red", -22.54, bearing=usual, spread=(-22.54, -16.52)))
    assert found is not None
    assert found.allowed == "250 mV to 500 mV"
    assert found.times == pytest.approx(6.7, rel=1e-3)


@pytest.mark.parametrize(
    ("rows", "conditions", "state", "words"),
    [
        ((white("red"), margin("red", 9.0)), 0, "CONFORMS.", "The picture will be right."),
        ((white("red"), margin("red", 9.0)), 2, "CONFORMS UNDER 2 CONDITIONS.", "if 2 rules of use are kept"),
        ((white("red", 0.4, NOT_PROVEN),), 0, "NOT PROVEN.", "Nobody has shown that the picture will be right."),
        ((white("red"), margin("red", -20.0)), 0, "STOP: DOES NOT CONFORM.", "The chip can die: plugged in live"),
    ],
)
def test_the_headline_says_it_in_bench_words(
    rows: tuple[Finding, ...], conditions: int, state: str, words: str
) -> None:
    rules = tuple(Condition("misplug", f"Keep rule {n}", ("red",), "mistake") for n in range(conditions))
    text = " ".join(to_short(whole(*rows, conditions=rules)).split())
    assert state in text
    assert words in text


def test_people_come_first_when_it_can_hurt_them() -> None:
    shock = finding(
        "TCH01", "touch.current", None, None, 0.002, outcome=DOES_NOT_CONFORM, kind=PERSON, needed=True, high=0.00025,
        remedy="have the unit looked at by a licensed person",
    )  # fmt: skip
    found = answer(whole(shock, white("red")))
    assert found.verdict.startswith("IT IS NOT SAFE TO TOUCH")
    assert found.do[0].text.startswith("Have the unit looked at")
    assert tile_of(shock) == "people"


def test_an_ask_says_how_much_it_decides_and_who_may_find_it_out() -> None:
    rows = tuple(white(line, 0.5, NOT_PROVEN) for line in COLOURS)
    ids = tuple(row.id for row in rows)
    question = Question("supply.y_coupling", "Where do the Y capacitors go?", "Only a trained person", 3, ids, False)
    text = " ".join(to_short(whole(*rows, asks=(question,))).split())
    assert "decides 3" in text
    assert "a trained person only" in text
    assert "One answer decides 3 of the 3 open or failing checks" in text


def test_nothing_that_says_nothing_is_printed() -> None:
    rows = (
        white("red"),
        finding("LVL01", "level.pp", "red", True, 3e-28),
        finding("EVT01", "event.rail", "red", True, 5.0, event="hot-plug", severity="first contact"),
    )
    text = to_short(whole(*rows))
    for words in ("not applicable", "none declared", "no limit", "e-28", "rail"):
        assert words not in text


def test_one_line_no_line_and_bench_facts_only() -> None:
    assert "red" in to_short(whole(white("red")))
    bond = finding(
        "BND01", "touch.current", None, None, 0.0001, high=0.0005, kind=PERSON, outcome=CONFORMS, needed=True
    )
    facts = to_short(whole(bond))
    assert "no signal line was judged" in facts
    assert "Safe to touch, as far as declared." in facts
    empty = to_short(replace(whole(), outcome=NOT_PROVEN))
    assert "Not proven is not a pass." in empty


def test_a_hostile_name_cannot_paint_the_terminal() -> None:
    evil = replace(white("\x1b[31mred\u202e"), why="\x1b]0;x\x07")
    text = to_short(replace(whole(evil), unit="\x9b2J界" * 60, unit_kind="x" * 200), job="\x1b[2Jjob.toml")
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\x9b" not in text
    assert max(columns(line) for line in text.splitlines()) <= 80


def test_why_finds_a_row_by_words_of_its_id_and_refuses_what_is_not_there() -> None:
    found = whole(white("red"), margin("red", -20.0))
    text = to_why(found, "red hot-plug")
    assert text.splitlines()[0] == "EVT01/red/guarded/event.margin/hot-plug/first contact"
    assert "976 mA against 20 mA" in text
    with pytest.raises(InputError, match="no finding has 'nothing'"):
        to_why(found, "nothing")


def test_one_line_alone_keeps_only_its_rows() -> None:
    found = whole(white("red"), white("green"), schematics=(PAD,))
    assert {one.line for one in only_line(found, "red").findings} == {"red"}
    with pytest.raises(InputError, match="did you mean 'green'"):
        only_line(found, "gren")


def test_guards_fit_thirty_lines_and_put_what_spoils_the_picture_last() -> None:
    rows = tuple(
        Ranked(
            f"guard-{n}", "chip", "a guard", 2, n == 12, {"hot-plug": -20.0 - n}, {"hot-plug": DOES_NOT_CONFORM},
            signal={"guard.level_error": DOES_NOT_CONFORM} if n < 3 else {},
        )
        for n in range(20)
    )  # fmt: skip
    text = ranking_to_short(Ranking("U", "", ("red",), (("hot-plug", "x", True),), rows, "a summary " * 60, (), None))
    lines = text.splitlines()
    assert len(lines) <= 30
    assert max(columns(line) for line in lines) <= 80
    assert "guard-12, chip *" in text, "what is planned is shown even where others are better"
    assert text.index("guard-3,") < text.index("NOT FIT  guard-0 at the chip")
    assert "14 x" in text, "10 ** (23 / 20) = 14.1"


def test_verify_says_which_lines_are_wrong_and_what_is_left_to_read() -> None:
    read = [
        replace(white("red"), origin="measured", uncertainty=0.031, planned=0.683),
        replace(white("green", 0.455, DOES_NOT_CONFORM), origin="measured", uncertainty=0.021, planned=0.683),
        finding("LVL01", "level.sync", "sync", False, None, needed=True, outcome=NOT_PROVEN, origin="measured"),
    ]
    text = to_short_reading(replace(whole(*read), command="verify"))
    assert "1 OF 3 LINES IS WRONG: green. Not read: sync." in text
    assert "67 % x" in text, "455 mV of 683 mV"
    assert "STILL TO READ  Sync amplitude of sync." in text
    assert text.index("green") < text.index(" red "), "the worst first"


@pytest.mark.parametrize(
    ("quantity", "unit", "value", "planned", "end"),
    [
        ("level.white", "V", 1.4, 0.7, "200 % x"),
        ("level.white", "V", 7.0, 0.7, "x"),
        ("level.blank", "V", 0.5, 1e-9, "x"),
        ("level.blank", "V", -0.5, 0.5, "x"),
        ("response.overshoot", "1", 0.4, 3e-5, "x"),
    ],
)
def test_a_share_of_the_plan_is_told_of_levels_and_leaves_the_mark_its_place(
    quantity: str, unit: str, value: float, planned: float, end: str
) -> None:
    limit = Limit(quantity, None, 0.1, None, "sheet", "read")
    one = Finding(
        "LVL01", quantity, "red", True, value, unit, DOES_NOT_CONFORM, "x", planned=planned, limit=limit,
        origin="measured", uncertainty=0.01,
    )  # fmt: skip
    row = next(line for line in to_short_reading(replace(whole(one), command="verify")).splitlines() if " red " in line)
    assert row.split("  ")[-1].strip() == end
    assert len(row) <= 80


def test_the_options_choose_how_much_is_printed() -> None:
    found = whole(white("red"), margin("red", -33.77), white("sync"))
    short, full = printed(found, Shown(job="mine.toml")), printed(found, Shown(everything=True))
    assert "guardcheck check mine.toml --all" in short
    assert "-33.8 dB" in full
    assert "-33.8 dB" not in short
    one = printed(found, Shown(line="sync"))
    assert "sync: levels" in one
    assert "red: levels" not in one
    assert printed(found, Shown(why="red margin")).startswith("EVT01/red/guarded/event.margin")
    assert len(printed(found, Shown(quiet=True)).splitlines()) <= 4
    assert "finished unit, read" in printed(replace(found, command="verify"), Shown())


def test_what_is_to_be_done_on_alike_lines_is_said_once() -> None:
    rows = [margin(line, -20.0, remedy=f"guardcheck propose JOB --line {line} finds a build") for line in COLOURS]
    steps = answer(whole(*rows, schematics=(PAD,))).do
    assert [(step.text, step.lines) for step in steps] == [
        ("Guardcheck propose JOB --line red finds a build.", ("red", "green", "blue"))
    ]


def steps_of(*rows: Finding) -> list[str]:
    lines = to_short(whole(*rows)).splitlines()
    start = next(place for place, text in enumerate(lines) if text.startswith("DO, "))
    return [text.strip() for text in lines[start + 1 : lines.index("", start)]]


def test_what_nothing_cures_says_against_what() -> None:
    """Without the event, "nothing cures this" leaves a reader asking what `this` is."""
    remedy = "nothing tried cures this; guardcheck propose JOB --line red searches for a build that holds"
    one = steps_of(margin("red", -20.0, remedy=remedy))
    assert " ".join(one).startswith("1 red, plugged in live: Nothing tried cures this; guardcheck propose")
    two = steps_of(margin("red", -20.0, remedy=remedy), margin("red", -9.0, event="power", remedy=remedy))
    assert " ".join(two).startswith("1 red, plugged in live and 1 more: Nothing")
    three = steps_of(*(margin("red", -9.0, event=name, remedy=remedy) for name in ("a", "b", "c")))
    assert " ".join(three).startswith("1 red, a and 2 more: Nothing")


def test_a_step_names_its_line_once_and_ends_with_whole_brackets() -> None:
    long = "build red with another stage, " + "series-resistor with series 1.1 kohm 1% and more words " * 2
    cured = margin("red", -20.0, remedy=f"{long}(simulated: 311 mV)", codes=(REMEDY_TRIED,))
    text = " ".join(steps_of(cured))
    assert text.startswith("1 Build red with another stage")
    assert text.count("(") == text.count(")")
    assert text.endswith("(simulated).")
    short = margin("red", -20.0, remedy="fit 2 W resistors (simulated: 0.4 W)", codes=(REMEDY_TRIED,))
    assert " ".join(steps_of(short)) == "1 red: Fit 2 W resistors (simulated: 0.4 W)."


def test_a_pulse_is_told_as_the_human_body_pulse_it_is_like() -> None:
    """520 V of 2 kV: the pulse is 0.26 of the rated one."""
    found = bears(margin("red", 11.7, bearing=Bearing(520.0, (2000.0, 2000.0), "V"), outcome=NOT_PROVEN))
    assert found is not None
    assert (found.value, found.allowed) == ("520 V", "2 kV")
    assert found.times == pytest.approx(0.26, abs=0.001)


def test_no_figure_is_read_out_of_a_sentence() -> None:
    """A row without figures has none, whatever its words compare; one with figures has them in any words."""
    why = "Worse than the original build: 3.1 dB against 2.0 dB by what is proven. Not proven: x."
    assert bears(margin("red", 2.0, why=why, outcome=NOT_PROVEN, bearing=None)) is None
    assert bears(margin("red", -33.77, why="")) == Bears("976 mA", "20 mA", pytest.approx(48.8))
    unrated = Bearing(0.5, None, "A", "stage q1")
    assert bears(margin("red", 0.0, outcome=NOT_PROVEN, bearing=unrated)) is None


def test_multiples_are_those_of_the_two_figures_beside_them() -> None:
    """0.5 W against 0.25 W is twice as much, 3 dB; where nothing is allowed it is any number, a million at most."""
    heat = margin("red", -3.01, bearing=Bearing(0.5, (0.25, 0.25), "W", "stage series"))
    assert bears(heat) == Bears("500 mW", "250 mW", pytest.approx(2.0))
    none = bears(margin("red", -120.0, bearing=Bearing(0.1, (0.0, 0.0), "V", RAIL_PART)))
    assert none == Bears("100 mV", "0 V", 1e6, "rail")


def test_the_part_that_fails_is_marked_by_its_own_name_and_not_by_one_that_ends_alike() -> None:
    """Guard and stage may each have an upper diode: the one that carries too much is the one to change."""
    stage = replace(UPPER, role="stage", key="stage upper diode", name="dst")
    line = replace(PAD, parts=(UPPER, stage, *PAD.parts[2:]))
    for part in ("guard upper diode", "stage upper diode", "stage series"):
        over = Bearing(0.5, (0.2, 0.2), "A", part)
        one = replace(margin("red", -7.96, bearing=over, why=""), quantity="event.part_margin")
        (found,) = troubles(whole(one), line)
        assert (found.key, found.outcome) == (part, "fails")
        assert "500 mA, allowed 200 mA: 2.5 x too much" in found.text
    elsewhere = replace(one, bearing=replace(over, part="stage r9"))
    assert troubles(whole(elsewhere), line) == ()


def test_a_pulse_beyond_harm_stands_beside_what_would_be_harm() -> None:
    """2.13 A are 107 times 20 mA; what it is beyond is 12.8 W, by 22.3 / 12.8 = 1.74."""
    beyond = Bearing(22.3, (12.8, 12.8), "W", harm=True)
    one = margin("red", -66.6, bearing=beyond, spread=(-66.6, -2.9), outcome=NOT_PROVEN, codes=(RATING_NOT_STATED,))
    assert bears(one) == Bears("22.3 W", "12.8 W", pytest.approx(22.3 / 12.8), ranged=True, harm=True)
    assert "1.7 x up" in to_short(whole(one))
    (tile,) = (each for each in answer(whole(one)).tiles if each.name == "chip")
    assert tile.said.endswith("22.3 W, allowed 12.8 W: 1.7 x up what would be harm")
    (marked,) = troubles(whole(one), PAD)
    assert marked.text.endswith("22.3 W, allowed 12.8 W: 1.7 x what would be harm")
    holds = bears(replace(one, bearing=Bearing(2.13, (1e-3, 20e-3), "A"), spread=(-66.6, 3.0)))
    assert holds is not None
    assert (holds.value, holds.allowed, holds.times < 1.0) == ("2.13 A", "1 mA to 20 mA", True)


def test_an_open_stress_says_in_a_word_why_it_is_open() -> None:
    def told(**more: object) -> str:
        limit = Limit("part.power", None, 0.25, None, "sheet", "read")
        plain = Finding("PWR01", "part.power", "red", False, 0.1, "W", NOT_PROVEN, "", limit=limit)
        found = replace(plain, **more)  # type: ignore[arg-type]
        bearing = bears(found)
        assert bearing is not None
        return _why_open(found, bearing)

    assumed = Limit("part.power", None, 0.25, None, "a quarter-watt film", ASSUMED)
    assert told(limit=assumed) == "assumed"
    assert told(value=0.24) == "too near"
    assert told(estimate=True) == "model end"
    assert told() == "not proven"
    # 0.1 W with a weak driver and 0.3 W with a strong one, against 0.25 W: the worse figure stands beside the rating
    assert told(codes=(SHORT_CIRCUIT,), spread=(0.1, 0.3)) == "driver ?"
    plain = Finding("PWR01", "part.power", "red", False, 0.1, "W", NOT_PROVEN, "", limit=assumed)
    found = replace(plain, codes=(SHORT_CIRCUIT,), spread=(0.1, 0.3))
    assert bears(found) == Bears("300 mW", "250 mW", pytest.approx(1.2))


def test_levels_of_a_cause_are_whole_or_not_there() -> None:
    """472 mV and 1.42 V cut behind the 1 would read as 1."""
    assert whole_values(("472 mV", "1.42 V"), 26) == "472 mV, 1.42 V"
    assert whole_values(("472 mV", "1.42 V"), 14) == "472 mV, 1.42 V"
    assert whole_values(("472 mV", "1.42 V"), 13) == "472 mV"
    assert whole_values(("472 mV", "1.42 V", "300 mV"), 15) == "472 mV, 1.42 V"
    assert whole_values(("472 mV",), 3) == "472 mV"
    assert whole_values((), 26) == ""
