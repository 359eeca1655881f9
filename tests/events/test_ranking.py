"""The ranking of guards: order, words, and the three ways it leaves the program."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, EngineInfo, Ranked, Ranking
from guardcheck.pipeline import Options, rank_guards
from guardcheck.pipeline import guards as ranking
from guardcheck.pipeline.ranking_sentences import _times, summary_of
from guardcheck.report import ranking_to_html, ranking_to_json, ranking_to_terminal
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.stress.events import library_events
from tests.events.jobs import job_text, plan_of, read

SEVEN = ("back-power", "hot-plug", "misplug", "power-step", "short-to-ground", "cable-discharge", "esd-contact")


def row(name: str, place: str | None = None, **more: object) -> Ranked:
    fields = {
        "title": f"{name} as a test sees it",
        "parts": 2,
        "as_planned": False,
        "margins": dict.fromkeys(SEVEN, -10.0),
        "outcomes": dict.fromkeys(SEVEN, DOES_NOT_CONFORM),
        "signal": {"guard.level_error": CONFORMS},
        "level_error": 0.0,
        "bandwidth": 1e8,
    }
    return Ranked(name=name, place=place, **{**fields, **more})  # type: ignore[arg-type]


def whole(*rows: Ranked, events: tuple[str, ...] = SEVEN) -> Ranking:
    return Ranking(
        unit="BENCH-3",
        unit_kind="invented <test> unit",
        lines=("red",),
        events=tuple((name, "12 V", name not in ("cable-discharge", "esd-contact")) for name in events),
        rows=rows,
        summary="On red, mine buys most.",
        notes=("A note.",),
        engine=EngineInfo("ngspice", "39"),
    )


DECIDES = {name: name not in ("cable-discharge", "esd-contact") for name in SEVEN}


class TestOrder:
    def order(self, *rows: Ranked) -> list[str]:
        bare = row("none")
        return [one.name for one in sorted(rows, key=lambda one: ranking._order(one, bare, DECIDES))]

    def test_what_fails_least_comes_first_then_what_is_least_unproven(self) -> None:
        one = row("fewer-fails", outcomes={**dict.fromkeys(SEVEN, DOES_NOT_CONFORM), "hot-plug": NOT_PROVEN})
        two = row("fewest-fails", outcomes={**dict.fromkeys(SEVEN, DOES_NOT_CONFORM), "hot-plug": CONFORMS})
        assert self.order(row("bad"), one, two) == ["fewest-fails", "fewer-fails", "bad"]

    def test_a_guard_that_spoils_the_signal_has_failed_too(self) -> None:
        spoiled = row("spoiler", signal={"guard.level_error": DOES_NOT_CONFORM})
        assert self.order(spoiled, row("gentle")) == ["gentle", "spoiler"]

    def test_what_breaks_the_picture_comes_last_whatever_it_saves(self) -> None:
        saves = {"outcomes": dict.fromkeys(SEVEN, CONFORMS), "margins": dict.fromkeys(SEVEN, 20.0)}
        spoiled = row("spoiler", signal={"guard.distortion": DOES_NOT_CONFORM}, **saves)
        assert self.order(spoiled, row("gentle")) == ["gentle", "spoiler"]
        assert "not fit" in ranking_to_terminal(whole(row("gentle"), spoiled))

    def test_then_how_far_it_falls_short_then_least_harm_then_fewest_parts(self) -> None:
        near = row("near", margins=dict.fromkeys(SEVEN, -5.0))
        assert self.order(row("far"), near) == ["near", "far"]
        harmful = row("harmful", level_error=-0.05)
        assert self.order(harmful, row("harmless")) == ["harmless", "harmful"]
        assert self.order(row("many", parts=4), row("few", parts=1)) == ["few", "many"]

    def test_a_margin_that_could_not_be_simulated_is_the_worst(self) -> None:
        blind = row("blind", margins={**dict.fromkeys(SEVEN, 0.0), "hot-plug": None})
        assert self.order(blind, row("seen", margins=dict.fromkeys(SEVEN, -20.0))) == ["seen", "blind"]


class TestSummary:
    def test_equal_margins_buy_nothing(self) -> None:
        bare = row("none", margins=dict.fromkeys(SEVEN, -39.968))
        best = row("mine", "chip", margins=dict.fromkeys(SEVEN, -39.968), as_planned=True)
        told = summary_of("red", [best, bare], bare, DECIDES)
        assert "no guard buys anything" in told

    def test_what_is_planned_is_not_advised_again(self) -> None:
        bare = row("none", margins=dict.fromkeys(SEVEN, -39.0))
        told = summary_of("red", [row("mine", "chip", as_planned=True), bare], bare, DECIDES)
        assert "what is planned is the best" in told
        assert "buys most" not in told


class TestShown:
    def test_terminal_keeps_to_80_columns_and_says_words_beside_numbers(self) -> None:
        rows = (row("mine", "connector", estimates=frozenset({"hot-plug"}), as_planned=True), row("none"))
        text = ranking_to_terminal(whole(*rows))
        assert max(len(line) for line in text.splitlines()) <= 80
        assert re.search(r"~-10 .*\n.* NO ", text)
        assert "at the connector" in text
        assert "as planned" in text
        assert "NO does not conform" in text
        assert "esd-contact (12 V, for information)" in " ".join(text.split())

    def test_more_events_than_columns_make_a_second_table(self) -> None:
        names = (*SEVEN, "mine-one", "mine-two")
        one = row("mine", margins=dict.fromkeys(names, 1.0), outcomes=dict.fromkeys(names, NOT_PROVEN))
        text = ranking_to_terminal(whole(one, events=names))
        assert max(len(line) for line in text.splitlines()) <= 80
        assert text.count("guard  ") == 2

    def test_page_is_whole_escaped_and_the_same_every_time(self) -> None:
        page = ranking_to_html(whole(row("mine", "chip", margins={**dict.fromkeys(SEVEN, 3.0), "misplug": None})))
        assert page == ranking_to_html(
            whole(row("mine", "chip", margins={**dict.fromkeys(SEVEN, 3.0), "misplug": None}))
        )
        assert "invented &lt;test&gt; unit" in page
        assert "no value" in page
        assert "http://" not in page.replace("http://www.w3.org", "")
        assert page.count('scope="col"') == 2 + len(SEVEN)

    def test_json_keeps_the_order_and_is_plain(self) -> None:
        record = json.loads(ranking_to_json(whole(row("best", "chip"), row("none"))))
        assert record["format"] == "guardcheck-ranking/1"
        assert [one["guard"] for one in record["guards"]] == ["best", "none"]
        assert record["events"][0] == {"event": "back-power", "severity": "12 V", "needed": True}


def test_candidates_are_every_guard_in_every_place_and_the_jobs_own_as_planned() -> None:
    job = read(job_text(guard="silicon-pair", guard_values='place = "connector"'))
    plan = plan_of(job)
    found = ranking.candidates_of(plan, plan.lines[0])
    places = [(one.name, one.place) for one in found]
    assert places[0] == ("none", None)
    titles = {(one.name, one.place, one.title) for one in found}  # one with its own resistor stands there twice
    assert len(titles) == len(places)
    for name in plan.library.names("guard"):
        if name != "none":
            assert {(name, "chip"), (name, "connector")} <= set(places)
    assert [(one.name, one.place) for one in found if one.as_planned] == [("silicon-pair", "connector")]


def test_ranking_a_line_end_to_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, engine: Engine) -> None:
    """Two guards and two events of the shelf, so that it is quick: the clamp at the connector wins."""
    wanted = ("hot-plug", "misplug")
    every = ranking.candidates_of

    def few(plan: JobPlan, line: LinePlan) -> tuple[ranking.Candidate, ...]:
        return tuple(one for one in every(plan, line) if one.name in ("none", "schottky-pair"))

    monkeypatch.setattr(ranking, "candidates_of", few)
    monkeypatch.setattr(
        ranking, "library_events", lambda plan: tuple(e for e in library_events(plan) if e.name in wanted)
    )
    job = read(job_text(stage_values='series = "470 ohm"', pin='{ family = "hc-logic" }'))
    found = ranking.rank_line(engine, plan_of(job), job.lines[0].name, lambda done, total, what: None)
    assert [name for name, _, _ in found.events] == list(wanted)
    assert {one.name for one in found.rows} == {"none", "schottky-pair"}
    by_place = {one.place: one for one in found.rows}
    assert by_place["connector"].margins["hot-plug"] > by_place[None].margins["hot-plug"] + 20.0
    assert by_place[None].level_error == 0.0
    assert "buys most" in found.summary
    assert "hot-plug" in found.summary
    assert max(len(line) for line in ranking_to_terminal(found).splitlines()) <= 80


def test_a_line_that_is_not_there_is_refused(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text(job_text(), encoding="utf-8")
    with pytest.raises(JobError, match="no line 'rad'; accepted: red; did you mean 'red'"):
        rank_guards(tmp_path / "job.toml", Options(), "rad")


def test_a_bare_line_may_be_the_best_and_is_said_to_be() -> None:
    from guardcheck.pipeline.ranking_sentences import summary_of

    bare = row("none")
    assert "fit none" in summary_of("red", (bare, row("worse")), bare, DECIDES)
    good = replace(row("good", "chip"), outcomes=dict.fromkeys(SEVEN, CONFORMS), margins=dict.fromkeys(SEVEN, 9.0))
    assert "every event that decides conforms" in summary_of("red", (good, bare), bare, DECIDES)


def test_what_a_guard_buys_is_said_in_multiples() -> None:
    """-14 dB is 10^(14/20) = 5.0 times too much, +3 dB 1.4 times to spare."""
    assert _times(-14.0) == "5.0 x too much"
    assert _times(3.0) == "1.4 x to spare"
    assert _times(0.0) == "1.0 x to spare"
