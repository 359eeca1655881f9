"""A part of an own netlist is rated as one of the shelf is, or what it takes is not proven."""

from __future__ import annotations

from pathlib import Path

import pytest

from guardcheck.engine import Engine
from guardcheck.errors import CircuitError
from guardcheck.job import parse_job
from guardcheck.library.own import stated_ratings
from guardcheck.model import PART_NOT_RATED, Facts, Finding
from guardcheck.rules import judge_all
from guardcheck.simulate.stress.convergence import groups_of, human_body, run_groups
from guardcheck.simulate.stress.events import library_events, subjects_of
from guardcheck.simulate.stress.quantities import quantities_of
from tests.events.jobs import job_text, plan_of

STAGE = """* a stage of my own
{comment}
.subckt mine in out vdd gnd
r1 in out {ohms}
{more}
.ends mine
"""


def misplugged(engine: Engine, folder: Path, comment: str = "", ohms: str = "330", more: str = "") -> list[Finding]:
    """Return what is judged of 12 V on the contact of a line with an own stage."""
    return judged_misplug(engine, folder, STAGE.format(comment=comment, ohms=ohms, more=more))


def judged_misplug(engine: Engine, folder: Path, netlist: str) -> list[Finding]:
    (folder / "mine.cir").write_text(netlist, encoding="utf-8")
    text = job_text(stage_values="").replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"')
    return judged(engine, folder, text.replace("stage_values = {  }", ""))


def judged(engine: Engine, folder: Path, text: str) -> list[Finding]:
    """Return what is judged of 12 V on the contact of a job's one line, as it is built."""
    plan = plan_of(parse_job(text, file=str(folder / "job.toml"), folder=folder))
    *_, subject = subjects_of(plan)
    events = [one for one in library_events(plan) if one.name in ("misplug", "human-body")]
    groups = [one for one in groups_of(subject, events) if one.severity != "5 V"]
    run_groups(engine, groups, lambda done, total, what: None)
    group = next(one for one in groups if one.event.name == "misplug")
    return list(judge_all(Facts(quantities_of(group, human_body(groups), claims=()))))


def power(found: list[Finding]) -> Finding:
    return next(one for one in found if one.quantity == "part.power")


def test_a_resistor_nobody_rates_is_a_quarter_watt_film(engine: Engine, tmp_path: Path) -> None:
    """12 V across 330 ohm and 10 ohm of driver: (12 / 340)^2 x 330 = 0.411 W."""
    row = power(misplugged(engine, tmp_path))
    assert row.value == pytest.approx(0.411, rel=0.01)
    assert (row.high, row.outcome) == (0.25, "does_not_conform")


def test_a_rating_in_a_comment_stands(engine: Engine, tmp_path: Path) -> None:
    row = power(misplugged(engine, tmp_path, "* rating r1 power=1W"))
    assert (row.high, row.outcome) == (1.0, "conforms")


def test_a_capacitor_nobody_rates_is_not_proven_and_one_that_is_rated_holds(engine: Engine, tmp_path: Path) -> None:
    across = "c1 out gnd 100n"
    rows = {one.quantity: one for one in misplugged(engine, tmp_path, more=across)}
    assert rows["event.part_margin"].outcome == "not_proven"
    assert "nobody states what it may take" in rows["event.part_margin"].why
    assert PART_NOT_RATED in rows["event.part_margin"].codes
    rows = {one.quantity: one for one in misplugged(engine, tmp_path, "* rating c1 working_voltage=50V", more=across)}
    assert rows["event.part_margin"].outcome == "conforms"
    assert rows["event.part_margin"].codes == ()


@pytest.mark.parametrize(
    ("rating", "outcome", "told"),
    [
        # 12 V on a collector whose emitter is at 0 V and whose base lies on it: it stands at 12 V and carries nothing
        ("collector_voltage=20V", "conforms", ""),
        ("collector_voltage=10V", "does_not_conform", "sees 12 V against 10 V"),
        # its base fed through 1 kohm it carries (12 V - 0.2 V) / 330 ohm and heats by volts times amperes
        ("power=100uW", "does_not_conform", "turns into heat"),
        ("power=1W", "conforms", ""),
    ],
)
def test_a_transistor_is_held_to_its_voltage_and_to_its_heat(
    engine: Engine, tmp_path: Path, rating: str, outcome: str, told: str
) -> None:
    base = "rb out base 1k" if rating.startswith("power") else "rb base gnd 1k"
    more = f"rc out coll 330\n{base}\nq1 coll base gnd qown\n.model qown npn (is=1e-14 bf=100 rb=10)"
    rated = f"* rating q1 {rating}\n* rating rc power=5W\n* rating rb power=5W\n* rating r1 power=5W"
    if not rating.startswith("power"):
        more = more.replace("rc out coll 330", "rc out coll 1")
    rows = {one.quantity: one for one in misplugged(engine, tmp_path, rated, "10k", more)}
    assert rows["event.part_margin"].outcome == outcome, rows["event.part_margin"].why
    assert told in rows["event.part_margin"].why


@pytest.mark.parametrize(
    "more",
    [
        # each of them carries 12 V / (330 ohm + 10 ohm of driver) = 35 mA where the resistor beside it carries 1 mA
        "b1 in out i={v(in,out)/330}",
        "g1 in out in out 3.03m",
        "s1 in out vdd gnd sw\n.model sw sw (ron=330 roff=1g vt=2 vh=0.1)",
        "m1 out vdd in gnd nm w=100u l=1u\n.model nm nmos (vto=0.5 kp=1m)",
    ],
    ids=["behaviour", "controlled", "switch", "mosfet"],
)
def test_whatever_else_may_take_the_heat_is_not_proven(engine: Engine, tmp_path: Path, more: str) -> None:
    (row,) = (one for one in misplugged(engine, tmp_path, ohms="12k", more=more) if one.quantity == "event.part_margin")
    assert row.outcome == "not_proven"
    assert "nobody states what it may take" in row.why


NESTED = "x1 in out rr\n.ends mine\n.subckt rr a b\nr1 a b 330\nc1 a b 1n\n.ends rr"


def test_a_part_inside_a_call_is_rated_like_any_other(engine: Engine, tmp_path: Path) -> None:
    """12 V across 330 ohm and 10 ohm of driver, as if it stood outside: 0.411 W, and 12 V across the capacitor."""
    netlist = STAGE.replace("\n.ends mine\n", "\n").format(comment="", ohms="1meg", more=NESTED)
    found = judged_misplug(engine, tmp_path, netlist)
    rows = {one.where: one for one in found if one.quantity == "part.power"}
    assert rows["stage x1.r1"].value == pytest.approx(0.411, rel=0.01)
    assert rows["stage x1.r1"].outcome == "does_not_conform"
    margins = [one for one in found if one.quantity == "event.part_margin"]
    assert [one.outcome for one in margins] == ["not_proven"]
    rated = netlist.replace("* a stage", "* rating x1.r1 power=1W\n* rating x1.c1 working_voltage=50V\n* a stage")
    found = judged_misplug(engine, tmp_path, rated)
    assert {one.outcome for one in found if one.quantity in ("part.power", "event.part_margin")} == {"conforms"}


def test_diodes_of_the_shelf_keep_their_data_sheet_in_an_own_guard(engine: Engine, tmp_path: Path) -> None:
    """12 V behind nothing but a lead, onto a Schottky pair at the socket: far above its 200 mA, whoever wrote it."""
    netlist = "rwire chip line 1m\ndup line vdd dbat54s\nddn gnd line dbat54s\n"
    (tmp_path / "mine.cir").write_text(f".subckt mine chip line vdd gnd\n{netlist}.ends\n", encoding="utf-8")
    shelf = job_text(guard="schottky-pair", guard_values='place = "connector"')
    own = shelf.replace('guard = "schottky-pair"', 'guard_netlist = "mine.cir"')
    assert own != shelf
    rows = [
        [one for one in judged(engine, tmp_path, text) if (one.quantity, one.guarded) == ("event.part_margin", True)]
        for text in (shelf, own)
    ]
    assert [one.outcome for (one,) in rows] == ["not_proven"] * 2  # so far beyond its data sheet nobody knows the model
    assert rows[0][0].value < -6.0
    assert rows[1][0].value == pytest.approx(rows[0][0].value, abs=0.1)
    assert "BAT54S" in rows[1][0].why


@pytest.mark.parametrize(
    ("comment", "more"),
    [
        ("* rating c1 power=1W", "c1 out gnd 100n"),  # no word of the voltage it may hold
        ("* rating d1 reverse_voltage=50V", "d1 out in dx\n.model dx d (is=1e-14 rs=1)"),  # none of any current
        # 35 mA at some volts: a collector voltage says nothing of the heat
        (
            "* rating q1 collector_voltage=50V\n* rating rb power=5W",
            "rb out base 10k\nq1 out base in qx\n.model qx npn (is=1e-14 bf=100 rb=10)",
        ),
    ],
    ids=["capacitor", "diode", "transistor"],
)
def test_a_rating_of_another_kind_proves_nothing(engine: Engine, tmp_path: Path, comment: str, more: str) -> None:
    (row,) = (
        one
        for one in misplugged(engine, tmp_path, comment + "\n* rating r1 power=5W", "12k", more)
        if one.quantity == "event.part_margin"
    )
    assert row.outcome == "not_proven", row.why


@pytest.mark.parametrize(
    ("call", "inner", "beside", "words"),
    [
        ("x_long_name_of_a_call_indeed_x1", "r_series_input", "r9", "r_series_input is too long to be rated by: 40"),
        ("x1", "r", "r_x1", "x1.r and r_x1 cannot be told apart"),
    ],
)
def test_a_name_that_may_be_taken_for_another_is_refused(
    tmp_path: Path, call: str, inner: str, beside: str, words: str
) -> None:
    outer = f".subckt mine in out vdd gnd\n{beside} in out 75\n{call} in out rr\n.ends mine\n"
    (tmp_path / "mine.cir").write_text(f"{outer}.subckt rr a b\n{inner} a b 75\n.ends rr\n", encoding="utf-8")
    text = job_text(stage_values="").replace('stage = "series-resistor"', 'stage_netlist = "mine.cir"')
    job = parse_job(text.replace("stage_values = {  }", ""), file=str(tmp_path / "job.toml"), folder=tmp_path)
    with pytest.raises(CircuitError, match=words):
        plan_of(job)


def test_what_nobody_judges_by_is_no_rating() -> None:
    with pytest.raises(CircuitError, match=r"m\.cir:1: 'leakage' is no rating"):
        stated_ratings("* rating d1 leakage=1uA\n", file="m.cir")


def test_ratings_are_read_with_their_units_and_refused_with_their_line() -> None:
    found = stated_ratings("* a\n* rating R1 power=0.5W working_voltage=350V\n", file="m.cir")
    assert found == {"r1": {"power": 0.5, "working_voltage": 350.0}}
    with pytest.raises(CircuitError, match=r"m\.cir:2: 'powr' is no rating; .*did you mean 'power'"):
        stated_ratings("*\n* rating r1 powr=1W\n", file="m.cir")
    with pytest.raises(CircuitError, match=r"m\.cir:1: the rating power of r1"):
        stated_ratings("* rating r1 power=1V\n", file="m.cir")
