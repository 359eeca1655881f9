"""Advice that cannot harm: what every paper says before a live reading, and no fact made of an unknown."""

from __future__ import annotations

import json
import re
from functools import partial
from pathlib import Path

import pytest

import guardcheck
from guardcheck.cautions import cautions_for, general_cautions, hazards
from guardcheck.job import new_job_text, parse_job
from guardcheck.job.new import family_job_text, family_names
from guardcheck.library import BENCH_LOAD, Library
from guardcheck.measure.readings import new_readings_text
from guardcheck.model import ASKS, DOES_NOT_CONFORM, NOT_PROVEN, Fact, Facts, Finding, Result, Value
from guardcheck.pipeline import describe
from guardcheck.pipeline.judgement import READ_IT, READ_SO
from guardcheck.report import to_short_reading
from guardcheck.report.bench_sheet.page import to_bench_sheet
from guardcheck.report.text.expect import expected_text
from guardcheck.report.text.shelf import sheet as to_sheets
from guardcheck.rules import all_rules, judge_all
from guardcheck.rules.bar01_barriers import material_of
from guardcheck.rules.haz01_hazards import class_1_limit, class_3r_limit
from guardcheck.units import parse
from guardcheck.verdict.asks import asks_of
from tests.rules.benches import leak

CLIP = (
    "The clip of a mains-powered scope is mains earth: clip it to 0 V only, never to the mains side of a supply or to "
    "a chassis you have not shown to be isolated."
)
RECIPE = re.compile(r"wand|discharg|ground of|Mohm|minute", re.IGNORECASE)


def cautions(**entries: object) -> tuple[str, ...]:
    """Return the cautions of a job that declares these hazards and nothing else."""
    rows = "\n".join(f"{key} = {json.dumps(value)}" for key, value in entries.items())
    job = parse_job(f'format = 1\n[unit]\nlabel = "X-1"\n[hazards]\n{rows}\n')
    return cautions_for(job, ())


def told(**entries: object) -> list[Finding]:
    facts = Facts(declared=(Fact("hazards", 0, "hazards 1", {"others": False} | entries),))
    return [one for one in judge_all(facts) if one.rule == "HAZ01"]


def plain(text: str) -> str:
    """Return text as it reads: comment marks and line breaks gone."""
    return " ".join(re.sub(r"(?m)^#\s*", "", re.sub(r"<[^>]+>", " ", text)).split())


@pytest.mark.parametrize(
    "paper",
    [
        lambda: general_cautions()["scope-earth"],
        new_job_text,
        lambda: new_readings_text((("red", ("level.white",)),)),
        lambda: to_bench_sheet((("red", ("level.white",)),)),
        to_bench_sheet,
        *(partial(family_job_text, name) for name in family_names()),
        lambda: to_sheets(describe("video-pin", None)),
    ],
    ids=["result", "new job", "new readings", "bench sheet", "bench sheet without a job", *family_names(), "show"],
)
def test_every_paper_that_asks_for_a_live_reading_warns_of_the_scopes_earth(paper) -> None:
    said = plain(paper())
    assert CLIP in said
    assert "solate the unit under test, not the scope" in said


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("charge", "proven on a known voltage, and prove it again afterwards"),
        ("scope-earth", "behind an isolating transformer an RCD does not protect"),
        ("wrist-strap", "off before a mains plug goes in with the case open"),
        ("wrist-strap", "only when the unit is unplugged and its capacitors are proven discharged"),
        ("solder", "Cleaning alcohol burns"),
        ("leaking", "electrolytic or a cell is caustic"),
        ("unplug", "Local electrical codes come first"),
    ],
)
def test_every_job_is_told(code: str, words: str) -> None:
    assert words in general_cautions()[code]
    assert general_cautions()[code] in cautions()


def test_every_advice_to_take_a_live_reading_says_what_the_clip_is_tied_to() -> None:
    told = [READ_IT, *READ_SO.values()]
    assert all("scope clip to 0 V only, it is mains earth" in one for one in told)
    nobody = Result("verify", "X-1", "", NOT_PROVEN, 1, 0, None, (), ())
    assert "scope = mains earth: to 0 V only" in to_short_reading(nobody)
    job = parse_job('format = 1\n[unit]\nlabel = "X-1"\n[hazards]\n')
    assert "mains-powered scope is mains earth" in expected_text(job, ())


def test_no_question_sends_anybody_into_a_supply() -> None:
    codes = ("asks:supply.y_coupling", "asks:supply.y_capacitance", "asks:display.y_coupling")
    codes = tuple(f"{ASKS}{code.removeprefix('asks:')}" for code in codes)
    found = asks_of((Finding("TST01", "event.margin", "red", True, 1.0, "dB", NOT_PROVEN, "x", codes=codes),))
    assert len(found) == 3
    for one in found:
        assert not one.safe
        assert one.where.startswith(("look only if the supply is open anyway", "do not open it to look"))


def test_the_blank_bench_sheet_defers_and_takes_the_strap_off_before_power() -> None:
    said = plain(to_bench_sheet())
    assert "Local electrical codes come first; mains wiring, high voltage and lasers are for licensed practice." in said
    assert "Wrist strap on; class" not in said
    assert said.index("Wrist strap on only now") < said.index("Wrist strap off")


def test_the_bench_sheet_loads_a_pin_only_as_far_as_its_source_bears() -> None:
    lines = (("red", ("level.white",)), ("sync", ("level.sync",)), ("own", ("level.white",)))
    said = plain(to_bench_sheet(lines, loads={"red": "75 ohm", "sync": "1 kohm"}))
    assert "red: chip pin with 75 ohm to 0 V" in said
    assert "sync: chip pin with 1 kohm to 0 V" in said
    assert "own: chip pin with" not in said
    assert "into 75 ohm" not in said


def test_a_new_job_sends_nobody_into_a_mains_supply_and_loads_no_logic_pin() -> None:
    said = plain(new_job_text())
    assert "Look into the supply" not in said
    assert "only if the supply is open anyway, unplugged and discharged, and you are trained for it" in said
    assert "Never load a logic pin with 75 ohm" in said


@pytest.mark.parametrize("name", ["README.md", "guardcheck/schemas/job.schema.json", "guardcheck/job/questions.toml"])
def test_whoever_is_told_to_load_a_pin_with_75_ohm_is_told_which(name: str) -> None:
    """5 V behind 50 ohm into 75 ohm is 40 mA: twice what most families of logic may give."""
    told = plain((Path(guardcheck.__file__).parents[1] / name).read_text(encoding="utf-8"))
    assert re.search(r"never (of|load) a logic pin", told, re.IGNORECASE)


@pytest.mark.parametrize(
    ("name", "amps"), [("logic-pin", 20e-3), ("ttl-pin", 20e-3), ("nmos-pin", 5e-3), ("switch-pin", 20e-3)]
)
def test_no_load_asked_of_a_digital_pin_draws_more_than_it_may_give(name: str, amps: float) -> None:
    """The clamp current of common logic, and of n-channel MOS chips; the strongest driver gives the most."""
    part = Library.load().get("source", name)
    names = part.two_readings
    emf, inner = (part.parameters[names[role]].usual for role in ("emf", "impedance"))
    assert emf is not None
    assert inner is not None
    assert emf.high / (inner.low + parse(names[BENCH_LOAD], "ohm")[0].nominal) < amps
    assert emf.high / (inner.low + 75.0) > amps


def test_a_picture_tube_gets_no_recipe_and_one_caution() -> None:
    found = [one for one in cautions(crt=True, crt_anode="25 kV") if "anode" in one]
    assert len(found) == 1
    assert "Do not remove the anode cap: only a person trained on that set may" in found[0]
    (row,) = told(crt=True, crt_anode=Value.exact(25e3, "V"))
    assert not RECIPE.search(found[0])
    assert not RECIPE.search(row.why.replace("nothing in this job shows", ""))


def test_an_anode_voltage_alone_declares_the_tube() -> None:
    (row,) = told(crt_anode=Value.exact(25e3, "V"))
    assert row.outcome == NOT_PROVEN


@pytest.mark.parametrize("key", [hazard.keys[0] for hazard in hazards()])
def test_an_unknown_hazard_is_told_as_unknown_and_never_as_a_fact(key: str) -> None:
    hazard = next(one for one in hazards() if key in one.keys)
    (unknown,) = set(cautions(**{key: "unknown"})) - set(general_cautions().values())
    (known,) = set(cautions(**{key: True})) - set(general_cautions().values())
    assert unknown.startswith("Nobody knows yet")
    assert hazard.known not in unknown
    assert known.startswith(hazard.known)
    assert set(cautions(**{key: False})) == set(general_cautions().values())
    assert all(hazard.known not in one.why for one in told(**{key: "unknown"}))


def test_a_fact_beats_an_unknown_of_the_same_hazard() -> None:
    found = set(cautions(battery="unknown", lithium_cell=True)) - set(general_cautions().values())
    assert [one.startswith("There is a lithium cell.") for one in found] == [True]


@pytest.mark.parametrize("key", ["optical_pickup", "lithium_cell"])
def test_both_words_for_a_hazard_are_accepted_with_their_caution(key: str) -> None:
    assert len(set(cautions(**{key: True})) - set(general_cautions().values())) == 1


def test_hot_air_is_told_with_what_it_bursts_and_lights() -> None:
    (told,) = set(cautions(hot_air=True)) - set(general_cautions().values())
    assert "bursts electrolytics and lithium cells, and lights dust and alcohol vapour" in told
    assert "let alcohol dry, extract fumes" in told


def test_no_beam_is_called_invisible_and_none_safe() -> None:
    (beam,) = [one for one in cautions(optical_pickup=True) if "pick-up's beam" in one]
    assert "a DVD pick-up's is visible red; neither is safe to look into" in beam
    assert "invisible" not in beam


def test_saved_data_is_the_customers_to_know() -> None:
    assert any("Saved data is lost when the cell goes: tell the customer" in one for one in cautions(battery=True))


# IEC 60825-1: class 3R is five times class 1 for invisible light; for 400 nm to 700 nm it is five times class 2 of
# 1 mW (from memory, unverified): 650 nm is 5 mW, not 5 x 0.39 mW; 780 nm is 5 x 0.39 mW x 10^(0.002 x 80) = 2.82 mW
@pytest.mark.parametrize(("metres", "watts"), [(650e-9, 5e-3), (700e-9, 5e-3), (780e-9, 2.819e-3)])
def test_class_3r_ends_at_five_milliwatts_where_light_is_visible(metres: float, watts: float) -> None:
    limit = class_1_limit(metres)
    assert limit is not None
    assert limit.high is not None
    assert class_3r_limit(metres, limit.high) == pytest.approx(watts, rel=1e-3)
    (row,) = told(laser_wavelength=Value.exact(metres, "m"), laser_power=Value.exact(4e-3, "W"))
    assert row.outcome == DOES_NOT_CONFORM


def test_only_a_sheet_of_unknown_kind_is_settled_by_its_makers_name() -> None:
    assert not material_of("polyester film").nameable
    assert material_of("shiny stuff").nameable
    assert not material_of("shiny stuff", "X-100").nameable
    assert not material_of("copper tape").nameable


@pytest.mark.parametrize(
    ("metres", "watts"),
    [
        (399.9e-9, None),
        (400e-9, 39e-6),
        (450e-9, 39e-6),
        (450.1e-9, None),
        (499.9e-9, None),
        (500e-9, 390e-6),
        (1050.1e-9, None),
    ],
)
def test_a_class_1_limit_holds_at_both_ends_of_its_row_and_no_further(metres: float, watts: float | None) -> None:
    found = class_1_limit(metres)
    assert (None if found is None else found.high) == (None if watts is None else pytest.approx(watts))
    red = class_1_limit(700e-9)
    assert red is not None
    assert red.high == pytest.approx(390e-6)


@pytest.mark.parametrize(
    ("unit", "display", "told"),
    [
        ("I", True, "both are earthed"),
        ("I", False, ""),
        ("II", True, ""),
        ("II", False, ""),
        ("I", None, "tried earthed and floating"),
        (None, True, "tried earthed and floating"),
        ("unknown", False, "tried earthed and floating"),
    ],
)
def test_hum_says_which_earths_it_was_reckoned_with(unit: str | None, display: bool | None, told: str) -> None:
    chassis = {"y_capacitance": Value.exact(4.7e-9, "F"), "y_coupling": "single"}
    supply = {"mains": Value.exact(230.0, "V"), "mains_frequency": Value.exact(50.0, "Hz"), **chassis}
    supply |= {} if unit is None else {"protection_class": unit}
    entries = {"purpose": "shield", "reading": {"value": Value.exact(0.05, "ohm"), "method": "four-wire"}}
    facts = Facts(
        declared=(Fact("bond", 0, "shield", entries),),
        supply=supply,
        display={**chassis, **({} if display is None else {"earthed": display, "other_leads": False})},
        answers={"HUM01/0/shield": 170e-6},
    )
    why = next(one for one in all_rules() if one.rule.code == "HUM01").judge(facts)[0].why
    assert ("both are earthed" in why, "tried earthed and floating" in why) == (
        told == "both are earthed",
        told == "tried earthed and floating",
    )


def test_a_touch_current_spans_what_is_not_known_of_mains_and_capacitors() -> None:
    """0.46 mA: times 0.1/4.7 for an unknown capacitor, 100/240 x 50/60 for unknown mains, 0.8 to 1.2 for 20 %."""
    rule = next(one for one in all_rules() if one.rule.code == "TCH01")
    for supply, low, high in (
        ({"y_capacitance": "unknown"}, 0.1 / 4.7, 1.0),
        ({"mains": "unknown", "mains_frequency": "unknown"}, 100.0 / 240.0 * 50.0 / 60.0, 1.0),
        ({"y_capacitance": Value(2.2e-9, "F", 1.76e-9, 2.64e-9)}, 0.8, 1.2),
    ):
        found = rule.judge(leak(0.23, 0.1, 0.33, supply=supply))[0]
        assert found.spread == pytest.approx((0.46e-3 * low, 0.46e-3 * high))
    assert rule.judge(leak(0.23, 0.1, 0.33))[0].spread is None


# --- what a job does not say -----------------------------------------------------------------------------------------


def test_silence_about_a_hazard_does_not_pay() -> None:
    """A hazard left out proves no more than one declared unknown; only who says that he looked is believed."""
    silent = {hazard.name for hazard in hazards()}
    for entries, named in (
        ({"others": "unknown"}, silent),
        ({"mains_inside": False, "others": "unknown"}, silent - {"mains inside the case"}),
        ({"mains_inside": "unknown", "others": True}, silent - {"mains inside the case"}),
        ({"lithium_cell": False, "others": "unknown"}, silent - {"a lithium cell"}),
    ):
        (row,) = [one for one in told(**entries) if one.where == "not named"]
        assert (row.outcome, row.needed) == (NOT_PROVEN, True)
        assert row.remedy is not None
        assert "others = false" in row.remedy
        assert {name for name in silent if name in row.why} == named
    every = {hazard.keys[0]: False for hazard in hazards()}
    for entries in ({}, every | {"others": "unknown"}, every | {"others": True}):
        (row,) = told(**entries)
        assert (row.outcome, row.needed, row.where) == ("not_applicable", False, "none declared")
