"""What a readings file may say: every key and edge of what is accepted, the line of a mistake, the empty form."""

from __future__ import annotations

from pathlib import Path

import pytest

from guardcheck.errors import JobError
from guardcheck.measure.readings import READABLE, CaptureNote, Reading, new_readings_text, parse_file, parse_readings
from guardcheck.measure.readings.json_schema import readings_schema
from guardcheck.measure.readings.reader import CAPTURE_KEYS, KEYS, read_readings
from guardcheck.measure.readings.records import PICTURES, PROBES
from guardcheck.metrology import Accuracy


def table(kind: str = "reading", **keys: str) -> str:
    rows = {"line": "red", **({"quantity": "level.white", "value": "0.7 V"} if kind == "reading" else {}), **keys}
    return f"[[{kind}]]\n" + "".join(f'{name} = "{value}"\n' for name, value in rows.items())


def one(**keys: str) -> Reading:
    (reading,) = parse_readings(table(**keys))
    return reading


def refused(body: str) -> str:
    with pytest.raises(JobError) as caught:
        parse_file(body, file="x")
    return str(caught.value)


EDGES = [
    ("level.white", "100 V", 100.0),
    ("level.white", "-100 V", -100.0),
    ("timing.line_period", "0 s", 0.0),
    ("timing.line_period", "1 s", 1.0),
    ("burst.frequency", "0 Hz", 0.0),
    ("burst.frequency", "1 GHz", 1e9),
    ("response.impedance", "0 ohm", 0.0),
    ("response.impedance", "10 Mohm", 1e7),
]
BEYOND = [
    ("level.white", "101 V"),
    ("level.white", "-101 V"),
    ("timing.line_period", "1.1 s"),
    ("timing.line_period", "-1 ns"),
    ("burst.frequency", "1.1 GHz"),
    ("burst.frequency", "-1 Hz"),
    ("response.impedance", "11 Mohm"),
    ("response.impedance", "-1 ohm"),
]


@pytest.mark.parametrize(("quantity", "value", "seen"), EDGES)
def test_the_last_value_an_instrument_can_show(quantity: str, value: str, seen: float) -> None:
    assert one(quantity=quantity, value=value).seen == pytest.approx(seen, rel=1e-12)


@pytest.mark.parametrize(("quantity", "value"), BEYOND)
def test_what_no_instrument_of_this_bench_shows(quantity: str, value: str) -> None:
    assert "not possible" in refused(table(quantity=quantity, value=value))


def test_divisions_of_a_screen() -> None:
    for written, seen in (("20 div", 4.0), ("-20 div", -4.0), ("1.5 divisions", 0.3)):
        reading = one(value=written, scale="200 mV/div")
        assert (reading.seen, reading.by_eye, reading.division) == (pytest.approx(seen), True, 0.2)
    assert "more than a screen" in refused(table(value="20.5 div", scale="200 mV/div"))
    assert "more than a screen" in refused(table(value="-20.5 div", scale="200 mV/div"))
    typed = one(value="0.7 V", scale="200 mV/div")
    assert (typed.seen, typed.by_eye, typed.division) == (0.7, False, 0.2)


def test_scales_of_a_screen() -> None:
    assert one(scale="100 V/div").division == 100.0
    assert one(quantity="timing.front_porch", value="1 us", scale="1 ns/division").division == 1e-9
    assert "not possible" in refused(table(scale="101 V/div"))
    assert "not possible" in refused(table(quantity="timing.front_porch", value="1 us", scale="0.9 ns/div"))
    assert "write one such as '200 mV/div'" in refused(table(scale="200 mV"))
    assert "write one such as '1 us/div'" in refused(table(quantity="timing.front_porch", value="1 us", scale="1 us"))
    assert "write one such as '-'" in refused(table(quantity="burst.frequency", value="4 MHz", scale="1 MHz/div"))


def test_steps_ranges_and_shares() -> None:
    assert one(scale="200 mV/div", resolution="0.1 div").resolution == pytest.approx(0.02)
    assert one(resolution="5 mV").resolution == pytest.approx(0.005)
    assert one(range="0.5 V").range == 0.5
    for keys in ({"resolution": "0 V"}, {"range": "0 V"}, {"range": "-1 V"}):
        assert "not above zero; write a value such as '700 mV'" in refused(table(**keys))
    assert "resolution" in refused(table(scale="200 mV/div", resolution="0 div"))
    assert "resolution" in refused(table(resolution="0.1 div"))
    assert one(termination="75 ohm 2%").termination == pytest.approx(0.02)
    assert one(probe_tolerance="2%").probe_tolerance == pytest.approx(0.02)
    for share in ("2 counts", "0.1 div", "1% of range", "1% + 1 count", "0.01"):
        assert "not a tolerance; write a share such as '1%'" in refused(table(termination=share))
    assert "is not an accuracy" in refused(table(termination="75 ohm"))
    assert "nothing is read without error" in refused(table(termination="0%"))


def test_a_reading_that_says_nothing_presumes_nothing() -> None:
    reading = one(value="unknown")
    assert (reading.unread, reading.seen, reading.by_eye, reading.steady) == (True, 0.0, False, False)
    plain = one()
    assert plain == Reading(
        "red", "level.white", 0.7, "0.7 V", "scope", file="readings", key="reading[0]", presumed=plain.presumed
    )
    assert (plain.unread, plain.by_eye, plain.steady, plain.presumed) == (False, False, False, {})


@pytest.mark.parametrize(
    ("keys", "kind"),
    [
        ({}, "scope"),
        ({"accuracy": "3%"}, "scope"),
        ({"accuracy": "1% + 2 counts"}, "meter"),
        ({"accuracy": "1% + 2 dgts"}, "meter"),
        ({"accuracy": "2 digits"}, "meter"),
        ({"accuracy": "1% + 2 counts", "probe": "x1"}, "scope"),
        ({"accuracy": "1% + 2 counts", "scale": "1 V/div"}, "scope"),
        ({"accuracy": "1% + 2 counts", "instrument": "scope"}, "scope"),
        ({"instrument": "meter"}, "meter"),
        ({"instrument": "scope", "probe": "x1"}, "scope"),
    ],
)
def test_counts_and_digits_are_a_meters_words(keys: dict[str, str], kind: str) -> None:
    assert one(**keys).instrument == kind


@pytest.mark.parametrize("keys", [{"probe": "x1"}, {"scale": "1 V/div"}, {"value": "4 div", "scale": "1 V/div"}])
def test_a_meter_has_no_screen(keys: dict[str, str]) -> None:
    assert "neither divisions nor a probe" in refused(table(instrument="meter", **keys))


def test_divisions_of_accuracy_need_a_scale() -> None:
    assert one(accuracy="0.1 div", scale="1 V/div").accuracy == Accuracy(divisions=0.1, text="0.1 div")
    assert "no scale was given" in refused(table(accuracy="1% + 0.1 div"))


def test_what_is_said_of_the_scope_holds_for_its_readings_only() -> None:
    body = '[scope]\ncoupling = "ac"\naccuracy = "2%"\nbits = "12"\n[meter]\naccuracy = "0.5% + 1 count"\n'
    scope, meter, own = parse_readings(
        body + table() + table(instrument="meter") + table(coupling="dc", quantity="level.blank")
    )
    assert (scope.coupling, meter.coupling, own.coupling) == ("ac", None, "dc")
    assert scope.presumed == {"accuracy": "2%", "bits": "12"}
    assert meter.presumed == {"accuracy": "0.5% + 1 count"}
    for bits in ("0", "100", "8.5", "eight"):
        assert "write a whole number such as '8'" in refused(f'[scope]\nbits = "{bits}"\n' + table())
    assert "unknown key 'coupling'" in refused('[meter]\ncoupling = "dc"\n' + table())


def test_every_word_of_a_capture() -> None:
    body = table(
        "capture",
        picture="bars-75",
        load="open",
        place="connector",
        coupling="ac",
        probe="x100",
        scale_at="input",
        scale="500 mV/div",
        offset="-0.3 V",
        accuracy="1.5%",
        timebase="25 ppm",
        probe_tolerance="2%",
        termination="1%",
        note="seen twice",
        joins="green",
    )
    (note,) = parse_file(body, file="x").captures
    assert note == CaptureNote(
        "red", "bars-75", "open", "connector", "ac", 100.0, "input", 0.5, -0.3, Accuracy(of_reading=0.015, text="1.5%"),
        pytest.approx(25e-6), pytest.approx(0.02), pytest.approx(0.01), "green", "x", "capture[0]",
    )  # fmt: skip
    (bare,) = parse_file(table("capture"), file="x").captures
    assert bare == CaptureNote("red", file="x", key="capture[0]")


def test_what_is_said_of_every_capture_fills_in_what_one_leaves_open() -> None:
    general = '[scope]\ncoupling = "dc"\naccuracy = "2%"\ntimebase = "50 ppm"\n'
    told = parse_file(
        general + table("capture") + table("capture", line="green", coupling="ac", accuracy="1%", timebase="10 ppm")
    )
    for line, coupling, share, base in (
        ("red", "dc", 0.02, 5e-5),
        ("green", "ac", 0.01, 1e-5),
        ("blue", "dc", 0.02, 5e-5),
    ):
        note = told.capture(line)
        assert (note.line, note.coupling, note.timebase) == (line, coupling, pytest.approx(base))
        assert note.accuracy is not None
        assert note.accuracy.of_reading == pytest.approx(share)
    bare = parse_file(table("capture")).capture("blue")
    assert bare == CaptureNote("blue")
    assert "'red' has a [[capture]] already" in refused(table("capture") + table("capture"))


def test_the_longest_file() -> None:
    row = "[[reading]]\nline='a'\nquantity='level.white'\nvalue='1 V'\n"
    captures = "".join(f"[[capture]]\nline='{name}'\n" for name in "ab")
    assert len(parse_file(row * 499 + table("capture")).readings) == 499
    assert len(parse_readings(row * 500)) == 500
    assert refused(row * 499 + captures).endswith(
        "499 readings and 2 captures were found; at most 500 together are accepted"
    )


def test_the_largest_file(tmp_path: Path) -> None:
    body = table().encode()
    path = tmp_path / "readings.toml"
    path.write_bytes(body + b"#" * (256_000 - len(body)))
    assert len(read_readings(path).readings) == 1
    path.write_bytes(body + b"#" * (256_001 - len(body)))
    with pytest.raises(JobError, match="larger than"):
        read_readings(path)


def test_the_format_may_be_left_out_and_a_file_needs_one_table() -> None:
    assert len(parse_readings("format = 1\n" + table())) == 1
    assert len(parse_readings(table())) == 1
    assert parse_file(table("capture")).readings == ()
    assert "write format = 1" in refused("format = 2\n" + table())
    assert "there is no reading in this file" in refused("format = 1\n")


WHERE = {
    "a key": (table() + table(value="1 V", place="cable"), "x:9: reading[1].place: "),
    "the first of two": (table(place="cable") + table(place="display"), "x:5: reading[0].place: "),
    "a table": (table() + '[[reading]]\nline = "red"\nquantity = "level.white"\n', "x:5: reading[1].value: "),
    "a capture": (table() + table("capture") + table("capture", line="green", load="half"), "x:9: capture[1].load: "),
    "a capture among readings": (table("capture", load="half") + table(load="open"), "x:3: capture[0].load: "),
    "an instrument": ("\n[scope]\n" + 'bits = "many"\n' + table(), "x:3: scope.bits: "),
    "the second instrument": (
        table() + '[meter]\naccuracy = "1%"\n[scope]\ncoupling = "dc"\naccuracy = "fine"\n',
        "x:9: scope.accuracy: ",
    ),
    "the format": ("format = 2\n" + table(), "x:1: format: "),
    "nothing to point at": ("format = 1\n", "x: reading: "),
    "indented": ('  [[ reading ]]\n  line = "red"\n  "quantity" = "level.whit"\n', "x:3: reading[0].quantity: "),
    "grammar": (table() + "value = \n", "x:5: is not TOML: "),
}


@pytest.mark.parametrize("name", list(WHERE))
def test_a_mistake_is_found_at_its_line(name: str) -> None:
    body, place = WHERE[name]
    assert refused(body).startswith(place)


def test_the_words_by_hand() -> None:
    assert PICTURES == {"white": 1.0, "bars-100": 1.0, "bars-75": 0.75, "other": None}
    assert PROBES == {"x1": 1.0, "x10": 10.0, "x100": 100.0}
    assert set(READABLE) == {
        "level.white", "level.black", "level.blank", "level.sync", "level.pp", "level.high", "level.low",
        "response.impedance", "response.field_tilt", "response.line_tilt", "response.overshoot",
        "timing.line_period", "timing.sync_width", "timing.front_porch", "timing.back_porch",
        "timing.picture_rise", "timing.sync_rise", "timing.sync_fall", "timing.burst_start",
        "burst.amplitude", "burst.frequency", "noise.rms", "noise.hum",
    }  # fmt: skip


def test_the_schema_knows_the_keys_the_reader_knows() -> None:
    schema = readings_schema()
    properties = schema["properties"]
    assert properties["format"] == {"const": 1}
    assert schema["additionalProperties"] is False
    reading, capture = properties["reading"]["items"], properties["capture"]["items"]
    assert set(reading["properties"]) == set(KEYS)
    assert set(capture["properties"]) == set(CAPTURE_KEYS)
    assert reading["required"] == ["line", "quantity", "value"]
    assert capture["required"] == ["line"]
    assert reading["additionalProperties"] is False
    assert reading["properties"]["steady"] == {
        "description": "True when the line carried no signal while it was read",
        "type": "boolean",
    }
    assert reading["properties"]["probe"] == {"description": "X1, x10 or x100", "enum": ["x1", "x10", "x100"]}
    assert reading["properties"]["note"] == {"description": "Anything worth remembering", "type": "string"}
    assert properties["scope"]["properties"]["coupling"] == {"enum": ["dc", "ac"]}
    assert set(properties["meter"]["properties"]) == {"accuracy"}


def test_the_empty_form_asks_for_what_each_quantity_needs() -> None:
    names = ["level.white", "level.blank", "level.sync", "timing.sync_width", "level.mismatch"]
    form = new_readings_text([("red", names)])
    keys = [
        [row.removeprefix("# ").split(" = ")[0] for row in part.splitlines() if row]
        for part in form.split("\n[[reading]]\n")[1:]
    ]
    voltage = ["line", "quantity", "value", "scale", "probe", "scale_at", "place", "load"]
    assert keys == [
        [*voltage, "picture", "accuracy"],
        [*voltage, "coupling", "accuracy"],
        [*voltage, "accuracy"],
        ["line", "quantity", "value", "accuracy"],
    ]
    assert [reading.quantity for reading in parse_readings(form)] == names[:-1]
