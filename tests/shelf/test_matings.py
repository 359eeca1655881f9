"""Plugs in sockets: published contact tables, cases worked out by hand, and leads turned round."""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from guardcheck.appraisal import Appraisal
from guardcheck.compose import Joint, mating_deck, node_vectors
from guardcheck.engine import Engine
from guardcheck.errors import CircuitError, JobError
from guardcheck.library import Library
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, DRIVES, TAKES, Finding, Side
from guardcheck.simulate.mating import ADAPTER, CROSSED, STRAIGHT, fits, lead_of, swapped
from tests.pipeline.jobs import line, text
from tests.shelf.appraised import run

EN, JP = "en-50049-1", "eiaj-cpr-1201"
LIBRARY = Library.load()

# system, contact, what the display does there, where the table was published
CONTACTS = [
    (EN, "7", "takes blue", "petricli.com scart; TV handbook, AV connector page"),
    (EN, "8", "takes switching", "petricli.com scart; MAX9595 data sheet"),
    (EN, "11", "takes green", "petricli.com scart; TV handbook"),
    (EN, "15", "takes red", "petricli.com scart; TV handbook"),
    (EN, "16", "takes blanking", "petricli.com scart; silicon-heaven.org"),
    (EN, "19", "drives composite", "wikimili SCART: 19 video out"),
    (EN, "20", "takes composite", "wikimili SCART: 20 video in"),
    (EN, "3", "drives audio-left", "wikimili SCART: 3 audio out left"),
    (EN, "1", "drives audio-right", "wikimili SCART: 1 audio out right"),
    (EN, "6", "takes audio-left", "wikimili SCART: 6 audio in left"),
    (EN, "2", "takes audio-right", "wikimili SCART: 2 audio in right"),
    (EN, "13", "ground", "wikimili SCART: 13 red ground"),
    (JP, "1", "takes audio-left", "es.msx.org/wiki/RGB21"),
    (JP, "5", "takes audio-right", "es.msx.org/wiki/RGB21"),
    (JP, "9", "takes composite", "es.msx.org/wiki/RGB21"),
    (JP, "11", "takes control", "es.msx.org/wiki/RGB21"),
    (JP, "12", "takes darkening", "es.msx.org/wiki/RGB21"),
    (JP, "15", "takes red", "es.msx.org/wiki/RGB21"),
    (JP, "16", "takes blanking", "es.msx.org/wiki/RGB21"),
    (JP, "19", "takes green", "es.msx.org/wiki/RGB21"),
    (JP, "20", "takes blue", "es.msx.org/wiki/RGB21"),
    ("s-video", "3", "takes luma", "IEC 60933-5 pin-out in service manuals: 3 luma"),
    ("s-video", "4", "takes chroma", "IEC 60933-5 pin-out in service manuals: 4 chroma"),
    ("vga-15", "1", "takes red", "15-pin connector in monitor service manuals"),
    ("vga-15", "13", "takes line-sync", "15-pin connector in monitor service manuals"),
    ("vga-15", "14", "takes field-sync", "15-pin connector in monitor service manuals"),
    ("din-45322", "2", "takes composite", "DIN 45322, from memory, unverified"),
]


@pytest.mark.parametrize(("system", "contact", "display", "where"), CONTACTS)
def test_contact_is_what_was_published(system: str, contact: str, display: str, where: str) -> None:
    side = LIBRARY.wiring(system).contacts[contact][1]
    assert where
    assert display == (side.action if side.role is None else f"{side.action} {side.role.name}")


@pytest.mark.parametrize("name", LIBRARY.wiring_names())
class TestEveryWiring:
    def test_a_straight_lead_to_its_own_kind_fits_everywhere(self, name: str) -> None:
        wiring = LIBRARY.wiring(name)
        for here, there in lead_of(wiring, wiring, STRAIGHT):
            near, far = wiring.contacts[here][0], wiring.contacts[there][1]
            assert near.action not in (DRIVES, TAKES) or far.action == "open" or fits(near, far), here

    def test_turning_a_lead_twice_is_the_identity(self, name: str) -> None:
        wiring = LIBRARY.wiring(name)
        for kind in (STRAIGHT, CROSSED, ADAPTER):
            lead = lead_of(wiring, wiring, kind)
            assert swapped(swapped(lead)) == lead

    def test_crossing_twice_is_the_identity(self, name: str) -> None:
        wiring = LIBRARY.wiring(name)
        crossed = dict(lead_of(wiring, wiring, CROSSED))
        assert all(crossed[there] == here for here, there in crossed.items())


@given(st.lists(st.tuples(st.text("0123456789", min_size=1), st.text("0123456789", min_size=1))))
def test_any_lead_turned_twice_is_itself(wires: list[tuple[str, str]]) -> None:
    assert swapped(swapped(tuple(wires))) == tuple(wires)


def test_an_adapter_joins_what_belongs_together() -> None:
    unit, display = LIBRARY.wiring(EN), LIBRARY.wiring(JP)
    lead = dict(lead_of(unit, display, ADAPTER))
    assert {one: lead[one] for one in ("7", "11", "15", "16", "20")} == {
        "7": "20",
        "11": "19",
        "15": "15",
        "16": "16",
        "20": "9",
    }
    assert "8" not in lead


def test_plugs_that_do_not_mate_need_an_adapter() -> None:
    with pytest.raises(CircuitError, match="does not go into 'vga-15'"):
        lead_of(LIBRARY.wiring(EN), LIBRARY.wiring("vga-15"), STRAIGHT)


def job(unit: str, display: str, more: str = "") -> str:
    return text(line()).replace(
        'input = "terminated"',
        f'input = "terminated"\nwiring = "{display}"\n[socket]\nwiring = "{unit}"\n{more}',
    )


def mating(engine: Engine, unit: str, display: str, more: str = "") -> dict[str, Finding]:
    result = run(engine, job(unit, display, more))
    return {one.id.split("/", 1)[1]: one for one in result.findings if one.rule == "MAT01"}


@pytest.fixture(scope="module")
def european_into_japanese(engine: Engine) -> dict[str, Finding]:
    return mating(engine, EN, JP)


@pytest.fixture(scope="module")
def japanese_into_european(engine: Engine) -> dict[str, Finding]:
    return mating(engine, JP, EN)


class TestEuropeanIntoJapanese:
    """Every figure by hand from the two contact tables: Thevenin ports, one common return."""

    # contact, quantity, by hand [SI]
    BY_HAND: ClassVar = [
        ("contact 20/mating.voltage", 5 * 75 / 125),  # logic sync behind 50 ohm on the 75 ohm of blue
        ("contact 20/mating.current", 5 / 125),
        ("contact 20/mating.power", (5 * 75 / 125) ** 2 / 75),
        ("contact 8/mating.current", 12 / 1000),  # switching through its resistor onto ground
        ("contact 7/mating.current", 1.4 / 75),  # blue shorted
        ("contact 11/mating.voltage", 1.4 * 22e3 / (22e3 + 75)),  # green on the 22 kohm control input
        ("contact 6/mating.current", 2.83 / 940),  # two audio outputs of 470 ohm against each other
    ]

    @pytest.mark.parametrize(("where", "value"), BY_HAND)
    def test_contact(self, european_into_japanese: dict[str, Finding], where: str, value: float) -> None:
        contact, quantity = where.split("/")
        found = european_into_japanese[f"{quantity}/{contact}"]
        assert found.value == pytest.approx(value, rel=2e-3)

    def test_3_v_on_blue_harms_and_12_ma_does_not(self, european_into_japanese: dict[str, Finding]) -> None:
        assert european_into_japanese["mating.voltage/contact 20"].outcome == DOES_NOT_CONFORM
        assert "composite sync" in european_into_japanese["mating.voltage/contact 20"].why
        assert european_into_japanese["mating.current/contact 8"].outcome == CONFORMS

    def test_red_and_blanking_happen_to_agree(self, european_into_japanese: dict[str, Finding]) -> None:
        for contact in ("15", "16"):
            found = european_into_japanese[f"mating.voltage/contact {contact}"]
            assert found.outcome == CONFORMS
            assert found.needed is False

    def test_a_supply_straight_on_contact_8_burns_its_75_ohm(self, engine: Engine) -> None:
        """12 V through 75 ohm onto ground: 160 mA, 1.92 W."""
        drives = 'drives = [ { contact = "8", voltage = "12 V", resistance = "75 ohm" } ]'
        found = mating(engine, EN, JP, drives)
        assert found["mating.current/contact 8"].value == pytest.approx(0.160, rel=2e-3)
        assert found["mating.power/contact 8"].value == pytest.approx(1.92, rel=3e-3)
        assert found["mating.power/contact 8"].outcome == DOES_NOT_CONFORM


class TestJapaneseIntoEuropean:
    BY_HAND: ClassVar = [
        ("contact 11/mating.voltage", 5 * 75 / 75.12),  # the 5 V control on the 75 ohm of green
        ("contact 11/mating.current", 5 / 75.12),
        ("contact 11/mating.power", 0.333),
        ("contact 9/mating.current", 5 / 50.03),  # sync onto ground
        ("contact 20/mating.voltage", 0.7),  # blue on the composite input
        ("contact 19/mating.current", 2 / 150),  # green against the set's composite output
        ("contact 5/mating.current", 2.83 / 470),  # audio onto ground
        ("contact 3/mating.current", 2.83 / 470),  # the set's audio output onto ground
    ]

    @pytest.mark.parametrize(("where", "value"), BY_HAND)
    def test_contact(self, japanese_into_european: dict[str, Finding], where: str, value: float) -> None:
        contact, quantity = where.split("/")
        assert japanese_into_european[f"{quantity}/{contact}"].value == pytest.approx(value, rel=5e-3)

    def test_67_ma_is_more_than_a_control_drives_and_a_quarter_watt_burns(
        self, japanese_into_european: dict[str, Finding]
    ) -> None:
        for quantity in ("voltage", "current", "power"):
            assert japanese_into_european[f"mating.{quantity}/contact 11"].outcome == DOES_NOT_CONFORM


def test_the_right_display_has_nothing_to_say_against_it(engine: Engine) -> None:
    found = mating(engine, EN, EN)
    assert {one.outcome for one in found.values() if "contact 20" not in one.id} == {CONFORMS}
    # 5 V behind 50 ohm is too much for any sync input: 3 V where 0.949 V is the most
    assert found["mating.voltage/contact 20"].outcome == DOES_NOT_CONFORM
    assert not any(one.needed for one in found.values())


def test_the_other_socket_the_plug_goes_into_is_a_condition_of_use(engine: Engine) -> None:
    """Wired as in Europe, in a European set: right. In the other system's socket the same plug harms blue."""
    result = run(engine, job(EN, EN))
    (found,) = (one for one in result.conditions if one.event == "wrong-socket")
    assert JP in found.text
    assert "contact 20" in found.text
    assert run(engine, job("vga-15", "vga-15")).conditions == ()


def test_half_a_connection_proves_nothing(engine: Engine) -> None:
    half = job(EN, EN).replace(f'wiring = "{EN}"\n[socket]', "[socket]")
    rows = [one for one in run(engine, half).findings if one.rule == "MAT01"]
    assert [(one.outcome, one.needed) for one in rows] == [("not_proven", True)]
    assert "display.wiring is not declared" in rows[0].why


def test_parts_in_the_hood_count(engine: Engine) -> None:
    """470 ohm in the wire of sync: 5 V x 75 / 595 = 0.630 V; a capacitor keeps 12 V from contact 8."""
    parts = (
        '[lead]\nparts = [ { contact = "20", part = "series-resistor", value = "470 ohm" }, '
        '{ contact = "8", part = "series-capacitor", value = "220 uF" } ]'
    )
    found = mating(engine, EN, EN, parts)
    assert found["mating.voltage/contact 20"].value == pytest.approx(5 * 75 / 595, rel=2e-3)
    assert found["mating.voltage/contact 20"].outcome == CONFORMS
    assert found["mating.voltage/contact 8"].value == pytest.approx(0.0, abs=0.02)


def test_a_line_of_the_job_drives_its_contact(engine: Engine) -> None:
    """Red of the job is 1.4 V behind 75 ohm in all: 0.7 V; doubled, 1.4 V at the contact."""
    doubled = job(EN, EN).replace('white = "1.4 V"', 'white = "2.8 V"')
    result = run(engine, doubled)
    found = {one.id: one for one in result.findings}["MAT01/mating.voltage/contact 15"]
    assert found.value == pytest.approx(1.4, rel=5e-3)
    assert found.outcome == DOES_NOT_CONFORM


def plan_of(result: Appraisal) -> list[tuple[str, str, str]]:
    assert result.mating is not None
    return list(result.mating.told)


def test_the_plan_says_what_to_beep_before_power(engine: Engine) -> None:
    rows = plan_of(run(engine, job(EN, JP)))
    assert rows[0][1] == "label at the socket"
    blue = next(row[2] for row in rows if row[1] == "before power: contact 20")
    assert "STOP" in blue
    red = next(row[2] for row in rows if row[1] == "before power: contact 15")
    assert "STOP" not in red


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ('drives = [ { contact = "13", voltage = "5 V" } ]', r"socket\.drives\[0\]\.contact.*drives nothing"),
        ('[lead]\nparts = [ { contact = "99", part = "shunt-resistor", value = "75 ohm" } ]', r"has no contact '99'"),
        ('[lead]\nwiring = "strait"', r"lead\.wiring.*did you mean 'straight'"),
    ],
)
def test_a_lead_that_cannot_be_is_refused(engine: Engine, more: str, sentence: str) -> None:
    with pytest.raises(JobError, match=sentence):
        run(engine, job(EN, JP, more))
    with pytest.raises(JobError, match=r"there is no wiring system 'en-50049'.*did you mean 'en-50049-1'"):
        run(engine, job("en-50049", JP))


def test_the_deck_agrees_with_nodal_analysis(engine: Engine) -> None:
    """Three contacts with a resistor in the shared return: numpy solves the same network."""
    roles = LIBRARY.roles()
    joints = (
        Joint("1", "1", Side(DRIVES, roles["red"]), Side(TAKES, roles["red"]), series=33.0),
        Joint("2", "2", Side(DRIVES, roles["sync"]), Side(TAKES, roles["blue"]), shunt=82.0),
        Joint("3", "3", Side("ground"), Side("ground"), series=4.7),
    )
    deck = mating_deck(joints, steady=False)
    assert deck is not None
    (trace,) = engine.run([deck])
    # unknowns: d1, d2, dg; both drivers together (the last variant)
    back = 4.7 + 0.02 + 0.02
    red, sync = 75.0 + 33.0 + 0.02, 50.0 + 0.02
    load = 1 / (1 / 75.0 + 1 / 82.0)
    matrix = np.array(
        [
            [1 / red + 1 / 75, 0, -1 / 75],
            [0, 1 / sync + 1 / load, -1 / load],
            [-1 / 75, -1 / load, 1 / 75 + 1 / load + 1 / back],
        ]
    )
    d1, d2, dg = np.linalg.solve(matrix, np.array([1.4 / red, 5.0 / sync, 0.0]))
    for joint, volts in ((joints[0], d1), (joints[1], d2)):
        assert np.real(np.ravel(trace.vectors[node_vectors(joint)[1]]))[-1] == pytest.approx(volts, rel=1e-4)
    assert np.real(np.ravel(trace.vectors["v(dg)"]))[-1] == pytest.approx(dg, rel=1e-3)


WIRING = """
title = "Mine"
connector = "mine-2"
purpose = "A plug of my own"
reference = "my own table"
known_by = "practice"
[contacts]
1 = { unit = "drives red", display = "takes red" }
2 = { unit = "ground", display = "ground" }
"""


def test_a_wiring_of_ones_own_is_found_in_ones_own_folder(tmp_path: Path) -> None:
    (tmp_path / "wirings").mkdir()
    (tmp_path / "wirings" / "mine.toml").write_text(WIRING, encoding="utf-8")
    library = Library.load(tmp_path)
    assert "mine" in library.wiring_names()
    assert EN in library.wiring_names()
    assert library.wiring("mine").contacts["1"][1].words == "red"
    assert ("mine", "wiring") in {(one.name, one.kind) for one in library.used}


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            "drives red",
            "drive red",
            "'drive' is not accepted; write .*did you mean 'drives'",
        ),
        ("takes red", "takes read", "'read' is no role; takes one of .*did you mean 'red'"),
        ('unit = "ground", display = "ground"', 'unit = "ground red", display = "ground"', "'ground' stands alone"),
        ('unit = "ground", display = "ground"', 'unit = "open", display = "ground"', "names no ground"),
        ("[contacts]", 'crossed = [["1", "9"]]\n[contacts]', "each is a pair of contacts"),
        ('known_by = "practice"', 'known_by = "guessed"', "known_by: 'guessed' is not accepted"),
        ("title", "titel", "titel: unknown key 'titel'"),
    ],
)
def test_a_wiring_that_is_wrong_is_refused_with_its_place(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    (tmp_path / "wirings").mkdir()
    (tmp_path / "wirings" / "mine.toml").write_text(WIRING.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(CircuitError, match=sentence) as caught:
        Library.load(tmp_path).wiring("mine")
    assert "mine.toml" in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('low = "0.5 V"', 'low = "2 V"', "low < high <= most is wanted"),
        ('ohms = "75 ohm"', 'ohms = "0 ohm"', "a value above zero is wanted"),
        ('ohms = "75 ohm"', 'ohms = "75 V"', "a resistance is wanted"),
        ("[mine]", '[mine]\naccepts = ["yours"]', "'yours' is no role"),
    ],
)
def test_a_role_that_is_wrong_is_refused_with_its_place(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    role = (
        '[mine]\ntitle = "mine"\nvolts = "1 V"\nohms = "75 ohm"\namps = "20 mA"\nwatts = "0.25 W"\nload = "75 ohm"\n'
        'low = "0.5 V"\nhigh = "1 V"\nmost = "2 V"\nload_watts = "0.25 W"\nreference = "mine"\nknown_by = "practice"\n'
    )
    (tmp_path / "roles.toml").write_text(role.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(CircuitError, match=sentence):
        Library.load(tmp_path).roles()
    (tmp_path / "roles.toml").write_text(role, encoding="utf-8")
    assert "mine" in Library.load(tmp_path).roles()
    assert "red" in Library.load(tmp_path).roles()
