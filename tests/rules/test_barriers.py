"""Barriers: what a sheet, a film and a bag are by name and by reading."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from guardcheck.engine import Engine
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, Fact, Facts, Finding, Value
from guardcheck.rules import judge_all
from guardcheck.rules.bar01_barriers import material_of
from tests.rules.jobs import BAG, job, judged

quiet = settings(derandomize=True, deadline=None, database=None, max_examples=80)


def test_the_bag_of_the_example_job_is_a_short(engine: Engine) -> None:
    found = judged(job(BAG), engine)
    assert found["BAR01/barrier.resistance/under the add-on board"].outcome == DOES_NOT_CONFORM
    leak = found["BAR01/barrier.leakage/under the add-on board"]
    assert leak.outcome == DOES_NOT_CONFORM
    assert leak.estimate
    assert leak.value == pytest.approx(12.0 / 9.5, rel=1e-3)
    assert "polyimide" in (leak.remedy or "")
    assert "solder tail" in leak.why


def test_over_range_on_a_sheet_proves_the_range_end_and_no_insulation(engine: Engine) -> None:
    found = judged(job(BAG.replace("metallised shielding bag", "polyimide film")), engine)
    resistance = found["BAR01/barrier.resistance/under the add-on board"]
    assert resistance.value == pytest.approx(60e6)
    assert resistance.outcome == NOT_PROVEN
    assert "3.2 decades" in resistance.why
    leak = found["BAR01/barrier.leakage/under the add-on board"]
    assert leak.value == pytest.approx(12.0 / 6e6, rel=1e-3)


@pytest.mark.parametrize(
    ("told", "layers"),
    [
        ("metallised shielding bag", "metal"),
        ("Aluminium foil tape", "metal"),
        ("black conductive foam", "metal"),
        ("silver ESD bag", "metal"),
        ("pink poly bag", "film"),
        ("antistatic bag", "unknown"),
        ("cardboard", "unknown"),
        ("Polyimide film, 0.1 mm", "sheet"),
        ("non-conductive polyimide tape", "sheet"),
        ("pink poly with aluminium layer", "metal"),
        ("polyester mirror film", "metal"),
        ("reflective polyester sheet", "metal"),
        ("chrome polyester film", "metal"),
        ("silvered polyester film", "metal"),
        ("vapour-coated polyester", "metal"),
        ("Vapor coated PET film", "metal"),
        ("polyester holographic film", "unknown"),
        ("non-reflective polyimide film", "sheet"),
        ("amber polyimide tape, 0.05 mm thick, two layers", "sheet"),
        ("gold polyimide tape", "sheet"),  # its own colour
        ("polyester film, two layers, gold", "unknown"),  # of polyester, gold is a coat of metal
        ("thick gold PET film", "unknown"),
    ],
)
def test_materials(told: str, layers: str) -> None:
    assert material_of(told).layers == layers


def barrier(material: str, faces: tuple[str, ...], **more: object) -> dict[str, Finding]:
    one = {
        "value": "over range",
        "meter_range": Value.exact(60e6, "ohm"),
        "probe_spacing": Value.exact(1e-3, "m"),
        "test_voltage": Value.exact(1.0, "V"),
    } | more
    entries = {
        "where": "x",
        "material": material,
        "working_voltage": Value.exact(12.0, "V"),
        "node_resistance": Value.exact(75.0, "ohm"),
        "readings": tuple({**one, "face": face} for face in faces),
    }
    facts = Facts(declared=(Fact("barrier", 0, "x", entries),), answers={"BAR01/x": -2e-6})
    return {found.quantity: found for found in judge_all(facts) if found.rule == "BAR01"}


@pytest.mark.parametrize(
    ("ohms", "accuracy", "outcome"),
    [  # 5 % is U = 5.77 %; a meter whose accuracy nobody states may show half; insulative from 1e11 ohm on
        (0.96e11, "5%", NOT_PROVEN),
        (0.93e11, "5%", DOES_NOT_CONFORM),
        (0.51e11, None, NOT_PROVEN),
        (0.49e11, None, DOES_NOT_CONFORM),
    ],
)
def test_a_reading_fails_where_it_is_too_low_with_all_its_uncertainty(
    ohms: float, accuracy: str | None, outcome: str
) -> None:
    read = {"value": Value.exact(ohms, "ohm"), "test_voltage": Value.exact(100.0, "V")}
    found = barrier("polyimide film", ("through",), **read, **({} if accuracy is None else {"accuracy": accuracy}))
    assert found["barrier.resistance"].outcome == outcome


def test_what_is_said_of_metal_and_of_a_name_nobody_knows() -> None:
    metal = barrier("metallised shielding bag", ("inner",))["barrier.resistance"]
    what = material_of("metallised shielding bag").what
    assert metal.why.startswith(f"{what[0].upper()}{what[1:]} is a short between every two nodes it spans")
    assert material_of("polyester holographic film").nameable
    assert not material_of("metallised shielding bag").nameable


TESTER = {"meter_range": Value.exact(2e12, "ohm"), "test_voltage": Value.exact(100.0, "V")}


def test_a_sheet_of_unknown_kind_needs_its_makers_designation() -> None:
    faces = ("upper", "lower", "edge")
    mirror = barrier("polyester mirror film", faces, **TESTER)
    assert {one.outcome for one in mirror.values()} == {DOES_NOT_CONFORM}
    nameless = barrier("polyester holographic film", faces, **TESTER)["barrier.resistance"]
    assert (nameless.outcome, nameless.codes) == (NOT_PROVEN, ("barrier-layers",))
    assert "'holographic'" in nameless.why
    assert "`designation`" in nameless.why
    assert barrier("polyester film", faces, **TESTER)["barrier.resistance"].outcome == CONFORMS


@pytest.mark.parametrize(
    ("material", "designation", "layers"),
    [
        ("polyester holographic film", "PX-125 (invented)", "sheet"),
        ("some blue sheet", "PX-125 (invented)", "sheet"),
        ("some blue sheet", "", "unknown"),
        ("some blue sheet", "PX-125 aluminised", "metal"),
        ("antistatic bag", "PX-125 (invented)", "unknown"),
    ],
)
def test_a_designation_settles_a_kind_but_no_bag_and_no_metal(material: str, designation: str, layers: str) -> None:
    assert material_of(material, designation).layers == layers


def test_what_readings_leave_open_has_codes() -> None:
    found = barrier("polyimide film", ("upper",), probe_spacing=Value.exact(0.1, "m"))
    wanted = ("barrier-faces", "barrier-edge", "barrier-spacing", "barrier-voltage", "barrier-open-below")
    assert found["barrier.resistance"].codes == wanted
    film = barrier("pink poly film", ("inner", "edge"))["barrier.leakage"]
    assert film.codes == ("barrier-faces",)


def test_a_film_takes_the_leak_route_only_when_read_all_over() -> None:
    whole = barrier("pink poly film", ("inner", "outer", "edge"))
    assert whole["barrier.leakage"].outcome == CONFORMS
    assert not whole["barrier.resistance"].needed
    assert barrier("pink poly film", ("inner", "outer"))["barrier.leakage"].outcome == NOT_PROVEN
    assert barrier("pink poly film", ("inner", "edge"))["barrier.leakage"].outcome == NOT_PROVEN
    far = barrier("pink poly film", ("inner", "outer", "edge"), probe_spacing=Value.exact(0.1, "m"))
    assert far["barrier.leakage"].outcome == NOT_PROVEN


def test_a_film_that_conducts_is_no_film() -> None:
    found = barrier("pink poly film", ("inner", "outer", "edge"), value=Value.exact(5e3, "ohm"))
    assert found["barrier.resistance"].outcome == DOES_NOT_CONFORM
    assert found["barrier.resistance"].needed


def test_a_bag_is_never_insulation_by_any_meter() -> None:
    tester = {"meter_range": Value.exact(2e12, "ohm"), "test_voltage": Value.exact(100.0, "V")}
    found = barrier("antistatic bag", ("inner", "outer", "edge"), **tester)
    assert found["barrier.resistance"].outcome == NOT_PROVEN
    assert found["barrier.leakage"].outcome == NOT_PROVEN


@given(st.text(max_size=60))
@quiet
def test_any_name_of_a_material_is_read_and_never_conforms_by_name(told: str) -> None:
    assert material_of(told).layers in ("metal", "film", "unknown", "sheet")
    assert barrier(told, ())["barrier.leakage"].outcome != CONFORMS
    assert barrier(told, ())["barrier.resistance"].outcome != CONFORMS
