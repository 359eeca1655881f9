"""What a good job file becomes."""

from __future__ import annotations

import hashlib
import pickle
from pathlib import Path

import pytest

from guardcheck.errors import JobError
from guardcheck.job import parse_job, read_job
from guardcheck.model import Job, Value

BASE_FILE = Path(__file__).parent / "base.toml"
BASE = BASE_FILE.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def job() -> Job:
    return read_job(BASE_FILE)


def parsed(text: str, folder: Path) -> Job:
    return parse_job(text, file="demo.toml", folder=folder)


def test_unit_and_supply(job: Job) -> None:
    assert (job.unit, job.unit_kind) == ("DEMO-01", "16-bit home console (invented)")
    assert job.sha256 == hashlib.sha256(BASE_FILE.read_bytes()).hexdigest()
    assert job.supply["rail"] == Value.exact(5.0, "V", text="5 V")
    assert job.supply["rail_load"].unit == "A"
    assert job.supply["y_coupling"] == "unknown"
    assert job.supply["protection_class"] == "II"
    assert job.warnings == ()


def test_display_and_cable(job: Job) -> None:
    assert (job.display.kind, job.display.name, job.display.netlist) == ("display", "terminated", None)
    assert job.display_facts == {
        "earthed": False, "y_capacitance": Value.exact(2.2e-9, "F", text="2.2 nF"), "y_coupling": "unknown",
    }  # fmt: skip
    assert (job.cable.name, job.cable.values["length"]) == ("coax-75", Value.exact(1.8, "m", text="1.8 m"))


def test_lines(job: Job) -> None:
    assert [(line.name, line.table) for line in job.lines] == [("red", 0), ("green", 0), ("blue", 0), ("sync", 1)]
    red, sync = job.lines[0], job.lines[3]
    assert red.stage.values["series"] == "100 ohm 1%"
    assert (red.stage.key, red.stage.values_key) == ("line[0].stage", "line[0].stage_values")
    assert red.pin["hbm"] == Value.exact(2000.0, "V", text="2 kV")
    assert red.has_guard
    assert not sync.has_guard
    assert sync.source.values == {}
    assert sync.event is None


def test_facts(job: Job) -> None:
    bond, barrier = job.facts
    assert (bond.table, bond.index, bond.label) == ("bond", 0, "board shield to connector shell (unit 0 V)")
    assert bond.entries["reading"]["leads"].nominal == 0.10
    assert bond.entries["reading"]["accuracy"] == "1.0% + 2 counts"
    assert (barrier.table, barrier.label) == ("barrier", "under the add-on board")
    assert barrier.entries["readings"][0]["value"] == "over range"
    assert barrier.entries["readings"][0]["meter_range"].nominal == 60e6


def test_line_numbers(job: Job) -> None:
    rows = BASE.split("\n")
    for key, words in {
        "format": "format",
        "supply.rail": 'rail = "5 V"',
        "line[0].stage_values.series": "stage_values",
        "line[1].stage_values.series": "470 ohm",
        "line[1].names[0]": '"sync"',
        "bond[0].reading.leads": "leads",
        "barrier[0].readings[0].face": "face",
    }.items():
        assert words in rows[job.lines_of[key] - 1]
    assert rows[job.lines_of["line[1]"] - 1] == "[[line]]"


def test_records_travel_between_processes(job: Job) -> None:
    assert pickle.loads(pickle.dumps(job)) == job


def test_unknown_is_kept_as_a_word(tmp_path: Path) -> None:
    text = BASE.replace('rail_load = "100 mA"', 'rail_load = "unknown"').replace(
        "earthed = false", 'earthed = "unknown"'
    )
    text = text.replace('impedance = "10 ohm"', 'impedance = "unknown"')
    text = text.replace('pin = { over_voltage = "0.5 V", clamp_current = "20 mA", hbm = "2 kV" }', 'pin = "unknown"')
    job = parsed(text, tmp_path)
    assert job.supply["rail_load"] == job.display_facts["earthed"] == "unknown"
    assert job.lines[0].source.values["impedance"] == "unknown"
    assert job.lines[0].pin == {}


def test_a_load_may_be_a_resistance(tmp_path: Path) -> None:
    load = parsed(BASE.replace('"100 mA"', '"50R 10%"'), tmp_path).supply["rail_load"]
    assert (load.nominal, load.unit, load.low, load.high) == (50.0, "ohm", 45.0, 55.0)


def test_words_ratios_and_levels_in_part_values(tmp_path: Path) -> None:
    values = '{ place = "chip", gain = "2.0 1%", boost = "6 dB", series = "unknown" }'
    job = parsed(BASE.replace('guard = "none"', f'guard = "silicon-pair"\nguard_values = {values}'), tmp_path)
    given = job.lines[3].guard.values
    assert (given["place"], given["series"]) == ("chip", "unknown")
    assert (given["gain"], given["boost"]) == ("2.0 1%", "6 dB")


def test_unusual_values_are_accepted_with_a_warning_that_has_its_place(tmp_path: Path) -> None:
    job = parsed(BASE.replace('rail_esr = "0.1 ohm"', 'rail_esr = "50 ohm"'), tmp_path)
    assert len(job.warnings) == 1
    assert job.warnings[0].startswith("demo.toml:12: supply.rail_esr: '50 ohm' is unusual for the series resistance")


def test_a_job_of_bench_facts_alone_needs_no_line(tmp_path: Path) -> None:
    text = BASE[: BASE.index("[display]")] + BASE[BASE.index("[[bond]]") :]
    job = parsed(text, tmp_path)
    assert (job.lines, len(job.facts), job.display.name) == ((), 2, None)


def test_values_that_nothing_takes_are_told(tmp_path: Path) -> None:
    spare = parsed(BASE.replace('guard = "none"', 'guard = "none"\nguard_values = { place = "chip" }'), tmp_path)
    (warning,) = spare.warnings
    assert warning.endswith("line[1].guard_values: there is no guard, so its values say nothing")
    text = BASE[: BASE.index("[display]")] + BASE[BASE.index("[[bond]]") :]
    alone = parsed(text + '\n[cable]\nkind = "coax-75"\nvalues = { loss = "1 dB" }\n', tmp_path)
    assert [one.partition(": ")[2] for one in alone.warnings] == [
        "cable.values: there is no line, so these values say nothing"
    ]


def test_own_netlists_and_folders_are_resolved_beside_the_job(tmp_path: Path) -> None:
    for name in ("stage.cir", "guard.cir", "event.cir", "display.cir", "cable.cir"):
        (tmp_path / name).write_text("* mine")
    (tmp_path / "parts").mkdir()
    text = BASE.replace('stage = "series-resistor"', 'stage_netlist = "stage.cir"')
    text = text.replace('guard = "none"', 'guard_netlist = "./guard.cir"\nevent_netlist = "event.cir"')
    text = text.replace('input = "terminated"', 'input_netlist = "display.cir"')
    text = text.replace('kind = "coax-75"', 'netlist = "cable.cir"')
    job = parsed(text.replace("format = 1", 'format = 1\ncircuits = "parts"\ntouch_standard = "invented-1"'), tmp_path)
    sync = job.lines[3]
    assert sync.stage.netlist == str((tmp_path / "stage.cir").resolve())
    assert sync.stage.name is None
    assert sync.has_guard
    assert sync.event is not None
    assert sync.event.netlist == str((tmp_path / "event.cir").resolve())
    assert job.display.netlist is not None
    assert job.cable.netlist is not None
    assert job.circuits == str((tmp_path / "parts").resolve())
    assert job.settings == {"touch_standard": "invented-1"}


def test_paths_may_leave_the_folder_only_when_allowed(tmp_path: Path) -> None:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "shared.cir").write_text("* shared")
    path = inside / "demo.toml"
    for written in ("../shared.cir", str(tmp_path / "shared.cir")):
        path.write_text(BASE.replace('stage = "series-resistor"', f'stage_netlist = "{written}"'))
        with pytest.raises(JobError, match="leaves the job file's folder"):
            read_job(path)
        stage = read_job(path, allow_outside=True).lines[3].stage
        assert stage.netlist == str((tmp_path / "shared.cir").resolve())


@pytest.mark.parametrize("form", ["crlf", "bom"])
def test_files_as_other_systems_save_them(form: str, tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    data = BASE.encode()
    path.write_bytes(data.replace(b"\n", b"\r\n") if form == "crlf" else b"\xef\xbb\xbf" + data)
    assert read_job(path).lines_of == read_job(BASE_FILE).lines_of


def test_a_measured_touch_current(tmp_path: Path) -> None:
    reading = 'touch_reading = { value = "0.12 mA", accuracy = "2% + 5 counts", resolution = "1 uA" }'
    job = parsed(BASE.replace("earthed = false", reading).replace('rail_esr = "0.1 ohm"', reading), tmp_path)
    for facts in (job.supply, job.display_facts):
        assert facts["touch_reading"]["value"].nominal == pytest.approx(0.12e-3)
        assert facts["touch_reading"]["accuracy"] == "2% + 5 counts"


def test_claims_hazards_and_other_facts(tmp_path: Path) -> None:
    more = """
[hazards]
crt = false
laser = "unknown"
[[capacitor]]
where = "C1"
capacitance = "220 uF"
[[setpoint]]
where = "VR1"
quantity = "video level"
after = "0.71 V"
[[link]]
to = "audio amplifier"
[claims]
events = ["esd-contact", "cable-discharge"]
"""
    job = parsed(BASE + more, tmp_path)
    assert job.claims == ("esd-contact", "cable-discharge")
    facts = {fact.table: fact for fact in job.facts}
    assert list(facts) == ["bond", "barrier", "capacitor", "hazards", "setpoint", "link"]
    assert facts["hazards"].entries == {"crt": False, "laser": "unknown"}
    assert facts["setpoint"].entries["after"].unit == "V"
    assert [fact.label for fact in job.facts[2:]] == ["C1", "hazards 1", "VR1", "audio amplifier"]


def test_a_bond_without_reading_or_state_is_accepted(tmp_path: Path) -> None:
    """Its rule says that nobody read it: refusing the job would hide the bond."""
    more = '\n[[bond]]\nfrom = "rear shield"\nto = "0 V"\npurpose = "shield"\nsurface = "bare metal"\n'
    bond = parsed(BASE + more, tmp_path).facts[1]
    assert (bond.table, bond.entries["surface"]) == ("bond", "bare metal")
    assert "reading" not in bond.entries


def test_a_link_that_drives_another_board(tmp_path: Path) -> None:
    more = """
[[link]]
to = "disc board"
drive = "5 V"
series = "4.7 kohm"
supply = "5 V"
load = "20 mA"
clamp_current = "20 mA"
"""
    link = parsed(BASE + more, tmp_path).facts[-1].entries
    assert {name: (value.nominal, value.unit) for name, value in link.items() if name != "to"} == {
        "drive": (5.0, "V"),
        "series": (4700.0, "ohm"),
        "supply": (5.0, "V"),
        "load": (0.02, "A"),
        "clamp_current": (0.02, "A"),
    }


@pytest.mark.parametrize(
    ("written", "words"),
    [("2% of full scale + 1 mA", ""), ("0%", "no instrument has"), ("about right", "is not an accuracy")],
)
def test_a_bench_fact_takes_the_accuracies_a_readings_file_takes(tmp_path: Path, written: str, words: str) -> None:
    reading = f'touch_reading = {{ value = "0.12 mA", accuracy = "{written}", resolution = "1 uA" }}'
    body = BASE.replace("earthed = false", reading)
    if words:
        with pytest.raises(JobError, match=words):
            parsed(body, tmp_path)
    else:
        assert parsed(body, tmp_path).display_facts["touch_reading"]["accuracy"] == written


@pytest.mark.parametrize("table", ["supply", "display"])
def test_a_y_capacitance_alone_is_something_to_check(table: str) -> None:
    """Touch current follows from mains and Y capacitance: no line and no bond is needed for it."""
    head = 'format = 1\n[unit]\nlabel = "X-1"\n'
    assert parse_job(f'{head}[{table}]\ny_capacitance = "2.2 nF"\n').lines == ()
    with pytest.raises(JobError, match="nothing to check"):
        parse_job(f'{head}[supply]\nmains = "230 V"\n')


def test_the_picture_a_unit_makes(tmp_path: Path) -> None:
    made = BASE.replace(
        "[supply]", '[picture]\nfield_rate = "60 Hz"\nlines_per_field = "262"\nscan = "progressive"\n[supply]'
    )
    assert parsed(made, tmp_path).picture["field_rate"] == Value.exact(60.0, "Hz", text="60 Hz")
    assert parsed(BASE, tmp_path).picture == {}
    with pytest.raises(JobError, match="ends in half a line"):
        parsed(made.replace("progressive", "interlaced"), tmp_path)
    with pytest.raises(JobError, match="ends in half a line"):
        parsed(made.replace('"262"', '"262.5"'), tmp_path)
