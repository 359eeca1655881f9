"""The library's door: a folder dropped in is a part; whatever is wrong with it is one sentence with its place."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pytest

from guardcheck.errors import CircuitError, UnitError
from guardcheck.library import Hanging, Library, hanging
from guardcheck.model import DEFAULT, KINDS, UNKNOWN

NETLIST = """* a pad of our own
.subckt my_pad in out vdd gnd series=100 shunt=330
rs in out {series}
rp out gnd {shunt}
dz gnd out dmine
.ends my_pad
"""
METADATA = """
title = "My pad"
purpose = "A part a user added"
reference = "Voltage divider"
known_by = "practice"
[ports]
in = "from the source"
out = "to the connector"
vdd = "unused"
gnd = "the unit's 0 V"
[parameters.series]
unit = "ohm"
nominal = "100 ohm 5%"
usual = ["10 ohm", "1 kohm"]
possible = ["1 mohm", "1 Mohm"]
meaning = "series resistor: colour code"
[parameters.shunt]
unit = "ohm"
nominal = "330 ohm"
usual = ["10 ohm", "1 kohm"]
possible = ["1 mohm", "1 Mohm"]
meaning = "shunt resistor: colour code"
[[part]]
name = "zener"
element = "dz"
what = "diode"
model = "mine"
surge_1us = "3 A"
[[check]]
what = "level"
ports = { in = "1 V", out = "75 ohm" }
read = "v(out)"
value = "0.379 V"
tolerance = "1 mV"
basis = "hand"
reference = "divider"
"""
MODEL = ".model dmine d (is=1e-12 n=1.2 rs=1 cjo=1e-11 bv=5.1 ibv=5e-3)\n"
MODEL_METADATA = """
title = "A diode of mine"
purpose = "A model a user added"
reference = "Data sheet of mine"
known_by = "read"
ports = ["a", "k"]
[valid]
forward_current = "10 mA"
[ratings]
surge_1us = "1 A"
capacitance = "10 pF"
[[check]]
what = "zener voltage"
ports = { a = "0 V", k = "5 mA" }
read = "v(k)"
between = ["4.8 V", "5.4 V"]
basis = "published"
reference = "data sheet"
"""


def shelf(folder: Path, *, netlist: str = NETLIST, metadata: str = METADATA, name: str = "my-pad") -> Path:
    place = folder / "stages" / name
    place.mkdir(parents=True, exist_ok=True)
    (place / f"{name}.cir").write_text(netlist, encoding="utf-8")
    (place / f"{name}.toml").write_text(metadata, encoding="utf-8")
    models = folder / "models"
    models.mkdir(exist_ok=True)
    (models / "mine.cir").write_text(MODEL, encoding="utf-8")
    (models / "mine.toml").write_text(MODEL_METADATA, encoding="utf-8")
    return folder


def test_a_folder_dropped_in_is_a_part(tmp_path: Path) -> None:
    library = Library.load(shelf(tmp_path / "own"))
    assert "my-pad" in library.names("stage")
    assert "series-resistor" in library.names("stage")
    part = library.get("stage", "my-pad")
    series = part.parameters["series"].nominal
    assert series is not None
    assert (series.nominal, series.low, series.high) == (100.0, 95.0, 105.0)
    assert part.file == f"{tmp_path / 'own'}/stages/my-pad/my-pad.cir"
    assert [model.name for model in part.models] == ["dmine"]


def test_a_row_of_a_part_outranks_the_ratings_of_its_model(tmp_path: Path) -> None:
    (row,) = Library.load(shelf(tmp_path)).get("stage", "my-pad").extra["parts"]
    assert row["surge_1us"] == 3.0
    assert row["capacitance"] == 10e-12
    assert row["reference"] == "Data sheet of mine"


def test_a_users_part_stands_in_for_ours_and_the_record_says_so(tmp_path: Path) -> None:
    own = NETLIST.replace("my_pad", "series_resistor")
    library = Library.load(shelf(tmp_path, netlist=own, name="series-resistor"))
    assert library.get("stage", "series-resistor").title == "My pad"
    library.get("guard", "silicon-pair")
    used = {(one.kind, one.name): one for one in library.used}
    assert used["stage", "series-resistor"].file == f"{tmp_path.name}/stages/series-resistor/series-resistor.cir"
    assert used["guard", "silicon-pair"].file == "circuits/guards/silicon-pair/silicon-pair.cir"
    assert used["model", "1n4148"].sha256 != used["model", "mine"].sha256
    assert library.warnings == (
        f"stage 'series-resistor' is the one in {tmp_path.name}/stages/series-resistor/series-resistor.cir, "
        "not the stage of that name that comes with guardcheck",
    )


def test_hash_follows_netlist_and_metadata(tmp_path: Path) -> None:
    first = Library.load(shelf(tmp_path / "a")).get("stage", "my-pad").sha256
    again = Library.load(shelf(tmp_path / "b")).get("stage", "my-pad").sha256
    other = Library.load(shelf(tmp_path / "c", metadata=METADATA.replace("My pad", "Mine"))).get("stage", "my-pad")
    assert first == again != other.sha256


def edited(old: str, new: str) -> Callable[[Path], Path]:
    assert old in METADATA
    return lambda folder: shelf(folder, metadata=METADATA.replace(old, new))


def netlist_edited(old: str, new: str) -> Callable[[Path], Path]:
    assert old in NETLIST
    return lambda folder: shelf(folder, netlist=NETLIST.replace(old, new))


WRONG = {
    "misspelt key": (edited("purpose", "purpos"), r"purpos: unknown key 'purpos'.*did you mean 'purpose'"),
    "a port not described": (edited('vdd = "unused"\n', ""), r"ports\.vdd: is missing"),
    "a port that is none": (edited("vdd =", "vcc ="), r"ports\.vcc: unknown key 'vcc'; accepted: gnd, in, out, vdd"),
    "no unit": (edited('"330 ohm"', '"330"'), r"parameters\.shunt\.nominal: '330' has no unit; write a resistance"),
    "wrong unit": (edited('"330 ohm"', '"330 V"'), r"parameters\.shunt\.nominal: '330 V' is a voltage"),
    "a bare number": (
        edited('"330 ohm"', "330"),
        r"parameters\.shunt\.nominal: '330' is not accepted; write the value",
    ),
    "nominal unlike the netlist": (edited('"330 ohm"', '"300 ohm"'), r"shunt: its nominal '300 ohm' is not .* 330"),
    "nominal outside usual": (
        edited('nominal = "330 ohm"\nusual = ["10 ohm", "1 kohm"]', 'nominal = "330 ohm"\nusual = ["1 ohm", "2 ohm"]'),
        r"shunt\.nominal: '330 ohm' lies outside the usual range",
    ),
    "range upside down": (
        edited('["1 mohm", "1 Mohm"]', '["1 Mohm", "1 mohm"]'),
        r"possible: the range .* upside down",
    ),
    "range of one": (edited('["1 mohm", "1 Mohm"]', '["1 mohm"]'), r"possible: .* is not a range; write two values"),
    "usual beyond possible": (edited('["1 mohm", "1 Mohm"]', '["50 ohm", "1 Mohm"]'), r"reaches outside the possible"),
    "parameter nobody has": (edited("parameters.shunt", "parameters.shnt"), r"parameters\.shunt: is missing"),
    "no check": (lambda f: shelf(f, metadata=METADATA.split("[[check]]")[0]), r"check: is missing; at least one"),
    "check of no port": (
        edited("v(out)", "v(exit)"),
        r"check\[0\]\.read: 'v\(exit\)' is not accepted; write v\(port\)",
    ),
    "check without place": (edited('"75 ohm" }', '"a lot" }'), r"check\[0\]\.ports\.out: 'a lot' is not accepted"),
    "check with no tolerance": (edited('"1 mV"', '"0 V"'), r"check\[0\]\.tolerance: must be above zero"),
    "impedance without frequency": (edited("v(out)", "z(out)"), r"check\[0\]\.frequency: an impedance or a gain"),
    "check basis": (edited('"hand"', '"guess"'), r"basis: 'guess' is not accepted; write one of hand, published, regr"),
    "element nobody has": (edited('"dz"', '"dy"'), r"part\[0\]\.element: 'dy' is not known here; accepted: dz, rp, rs"),
    "model nobody used": (
        edited('"mine"', '"bat54s"'),
        r"part\[0\]\.model: 'bat54s' is not known here; accepted: mine",
    ),
    "how it is known": (edited('known_by = "practice"', 'known_by = "sure"'), r"known_by: 'sure' is not accepted"),
    "a two-line text": (edited('"My pad"', '"My\\npad"'), r"title: a text of at most 600 printable characters"),
    "not TOML": (edited("[[part]]", "[[part"), r"my-pad\.toml: is not TOML: .*line"),
    "copies itself": (
        edited('nominal = "330 ohm"', 'same_as = "shunt"'),
        r"parameters\.shunt\.same_as: 'shunt' is no other parameter",
    ),
    "a copy and a nominal": (
        edited('nominal = "330 ohm"', 'nominal = "330 ohm"\nsame_as = "series"'),
        r"same_as: stands instead of a nominal",
    ),
    "unknown without a usual range": (
        edited('nominal = "330 ohm"\nusual = ["10 ohm", "1 kohm"]', 'nominal = "unknown"'),
        r"nominal: 'unknown' is judged over the usual range",
    ),
    "ports in another order": (
        netlist_edited("in out vdd gnd", "out in vdd gnd"),
        r"has the ports 'out in vdd gnd'; a stage has 'in out vdd gnd', in this order",
    ),
    "another name inside": (
        lambda f: shelf(f, netlist=NETLIST.replace("my_pad", "your_pad")),
        r"defines 'your_pad'; 'my_pad' is wanted",
    ),
    "no such model": (netlist_edited("dmine", "dmin"), r"my-pad\.cir: there is no model 'dmin'.*did you mean 'mine'"),
    "a parameter without description": (
        netlist_edited("shunt=330", "shunt=330 extra=1"),
        r"parameters\.extra: is missing; the netlist's parameter 'extra' needs unit, range and meaning",
    ),
    "a shell command": (netlist_edited("rs in", ".control\nshell id\n.endc\nrs in"), r"my-pad\.cir:3: .*control"),
}


@pytest.mark.parametrize(("spoil", "sentence"), WRONG.values(), ids=WRONG)
def test_a_part_that_is_wrong_is_refused_with_its_place(
    spoil: Callable[[Path], Path], sentence: str, tmp_path: Path
) -> None:
    with pytest.raises(CircuitError, match=sentence) as error:
        Library.load(spoil(tmp_path)).get("stage", "my-pad")
    assert str(error.value).startswith(str(tmp_path))
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("[valid]\nforward_current", "[valid]\nforward", r"valid\.forward: unknown key"),
        ('forward_current = "10 mA"\n', "", r"valid: says nothing; write up to which current"),
        ('["a", "k"]', '["k", "a"]', r"ports: a model of type d has the ports \['a', 'k'\]"),
        ('surge_1us = "1 A"', 'surge = "1 A"', r"ratings\.surge: unknown key 'surge'.*did you mean 'surge_1"),
    ],
)
def test_a_model_that_is_wrong_is_refused(old: str, new: str, sentence: str, tmp_path: Path) -> None:
    shelf(tmp_path)
    assert old in MODEL_METADATA
    (tmp_path / "models" / "mine.toml").write_text(MODEL_METADATA.replace(old, new), encoding="utf-8")
    with pytest.raises(CircuitError, match=sentence):
        Library.load(tmp_path).model("mine")


def test_a_model_file_of_another_name_is_refused(tmp_path: Path) -> None:
    shelf(tmp_path)
    (tmp_path / "models" / "mine.cir").write_text(MODEL.replace("dmine", "dyours"), encoding="utf-8")
    with pytest.raises(CircuitError, match="holds the models dyours; one model named mine or dmine is wanted"):
        Library.load(tmp_path).model("mine")


def test_an_unknown_name_lists_those_there_are() -> None:
    library = Library.load()
    with pytest.raises(CircuitError, match=r"there is no guard 'silicon-par'; accepted: .*none.*mean 'silicon-pair'"):
        library.get("guard", "silicon-par")
    with pytest.raises(CircuitError, match=r"there is no stage '\.\./guards/none'"):
        library.get("stage", "../guards/none")
    with pytest.raises(CircuitError, match=r"there is no kind of part 'gard'; accepted: .*did you mean 'guard'"):
        library.names("gard")


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(CircuitError, match="is not a folder"):
        Library.load(tmp_path / "nowhere")


def test_half_a_part_is_said(tmp_path: Path) -> None:
    shelf(tmp_path)
    (tmp_path / "stages" / "my-pad" / "my-pad.toml").unlink()
    with pytest.raises(CircuitError, match=r"my-pad\.toml: is missing; a part is a netlist and a metadata file"):
        Library.load(tmp_path).get("stage", "my-pad")


def test_a_link_out_of_the_folder_is_refused(tmp_path: Path) -> None:
    outside = tmp_path / "secret.toml"
    outside.write_text(METADATA, encoding="utf-8")
    inside = shelf(tmp_path / "own")
    metadata = inside / "stages" / "my-pad" / "my-pad.toml"
    metadata.unlink()
    metadata.symlink_to(outside)
    with pytest.raises(CircuitError, match="inside the folder"):
        Library.load(inside).get("stage", "my-pad")


def test_an_oversized_metadata_file_is_refused(tmp_path: Path) -> None:
    shelf(tmp_path, metadata=METADATA + "#" * 200_000)
    with pytest.raises(CircuitError, match="is larger than 128 kB"):
        Library.load(tmp_path).get("stage", "my-pad")


def test_own_netlist_takes_its_parameters_from_its_first_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.cir"
    path.write_text(NETLIST.replace("dmine", "d1n4148"), encoding="utf-8")
    part = Library.load().own("stage", path, tmp_path)
    assert part.own
    assert part.name == part.file.removesuffix(".cir") == "mine"
    shunt = part.parameters["shunt"]
    assert shunt.unit == ""
    assert shunt.nominal is not None
    assert (shunt.nominal.nominal, shunt.nominal.known) == (330.0, DEFAULT)
    assert [model.name for model in part.models] == ["d1n4148"]
    assert part.extra["models"]["d1n4148"]["valid"] == {"forward_current": 0.15}


def test_own_guard_may_be_placed_and_own_source_has_levels(tmp_path: Path) -> None:
    guard, source = tmp_path / "guard.cir", tmp_path / "source.cir"
    guard.write_text(".subckt g chip line vdd gnd\nr1 chip line 10\n.ends\n", encoding="utf-8")
    source.write_text(".subckt s emf pin vdd gnd z=50\nr1 emf pin {z}\n.ends\n", encoding="utf-8")
    library = Library.load()
    assert library.own("guard", guard, tmp_path).parameters["place"].word == "chip"
    own = library.own("source", source, tmp_path)
    assert own.states["picture"]["white"] == "white"
    assert own.states["sync"] == {"blank": "blank", "sync": "sync"}
    assert {"white", "black", "blank", "sync", "z"} == set(own.parameters)


@pytest.mark.parametrize("kind", KINDS)
def test_own_netlist_with_the_wrong_ports_is_told_the_right_ones(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "mine.cir"
    path.write_text(".subckt mine a b\nr1 a b 10\n.ends\n", encoding="utf-8")
    with pytest.raises(CircuitError, match=rf"'mine' has the ports 'a b'; an? {kind} has '.*', in this order"):
        Library.load().own(kind, path, tmp_path)


def test_own_netlist_may_not_lie_outside(tmp_path: Path) -> None:
    path = tmp_path / "mine.cir"
    path.write_text(NETLIST, encoding="utf-8")
    job = tmp_path / "job"
    job.mkdir()
    with pytest.raises(CircuitError):
        Library.load().own("stage", path, job)


def test_defaults_the_contract_names() -> None:
    library = Library.load()
    pin = library.get("source", "video-pin").parameters
    assert pin["blank"].same_as == "black"
    assert pin["sync"].same_as == "blank"
    for name in ("video-pin", "logic-pin", "follower-pin", "composite-pin"):
        parameters = library.get("source", name).parameters
        esd, capacitance = parameters["esd_resistance"].nominal, parameters["capacitance"].nominal
        assert esd is not None
        assert capacitance is not None
        assert (esd.nominal, capacitance.nominal) == (5.0, 10e-12)
    diode = library.model("chip_esd").model.parameters
    assert (diode["is"], diode["n"]) == (1e-14, 1.0)
    impedance = pin["impedance"].nominal
    assert impedance is not None
    assert impedance.known == UNKNOWN


CONTRACT = {
    ("source", "video-pin"): "white black blank sync impedance capacitance esd_resistance",
    ("source", "follower-pin"): "white black blank sync impedance capacitance esd_resistance",
    ("source", "composite-pin"): "white black blank sync impedance capacitance esd_resistance burst chroma",
    ("source", "logic-pin"): "high low impedance",
    ("source", "switch-pin"): "voltage impedance",
    ("source", "ladder-dac"): "full_scale resistance",
    ("stage", "series-resistor"): "series",
    ("stage", "two-resistor-pad"): "series shunt",
    ("stage", "sync-attenuator"): "series shunt",
    ("stage", "ac-coupled"): "capacitor series",
    ("stage", "video-buffer"): "gain series low_swing high_swing",
    ("stage", "video-buffer-ac"): "gain series low_swing high_swing capacitor",
    ("stage", "npn-follower"): "base emitter series",
    ("stage", "complementary-follower"): "base emitter series",
    ("stage", "npn-sync-amplifier"): "base collector emitter series",
    ("guard", "none"): "place",
    ("guard", "silicon-pair"): "place",
    ("guard", "schottky-pair"): "place",
    ("guard", "resistor-and-pair"): "place before after",
    ("guard", "bidirectional-array"): "place",
    ("guard", "varistor"): "place",
    ("guard", "two-step"): "place between",
    ("cable", "coax-75"): "length",
    ("cable", "unscreened-multicore"): "length",
    ("display", "terminated"): "termination",
    ("display", "unterminated"): "termination",
    ("display", "double-terminated"): "termination",
    ("display", "ac-coupled-clamped"): "termination capacitor",
    ("display", "logic-input"): "termination",
}


@pytest.mark.parametrize(("kind", "name"), CONTRACT)
def test_parameter_names_of_the_contract(kind: str, name: str) -> None:
    assert set(CONTRACT[kind, name].split()) <= set(Library.load().get(kind, name).parameters)


def test_the_whole_shelf_loads_fast() -> None:
    """About 0.15 s of processor time; a command that lists the shelf must not keep anybody waiting."""
    taken = []
    for _ in range(3):
        start = time.process_time()
        library = Library.load()
        for kind in KINDS:
            for name in library.names(kind):
                library.get(kind, name)
        taken.append(time.process_time() - start)
    assert min(taken) < 0.3


def test_nothing_is_read_before_it_is_asked_for() -> None:
    assert Library.load().used == ()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("open", Hanging()),
        ("5 V", Hanging(volts=5.0)),
        ("1.4 V via 75 ohm", Hanging(volts=1.4, ohms=75.0)),
        ("75 ohm", Hanging(ohms=75.0)),
        ("-20 mA", Hanging(amps=-0.02)),
    ],
)
def test_what_hangs_on_a_port(text: str, expected: Hanging) -> None:
    assert hanging(text) == expected


@pytest.mark.parametrize("text", ["", "5", "5 V via", "5 V via 2 V", "1 mA via 75 ohm", "closed", "3 nF"])
def test_what_cannot_hang_on_a_port(text: str) -> None:
    with pytest.raises(UnitError):
        hanging(text)
