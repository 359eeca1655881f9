"""The form of a capture file's table: separators, headings, units. Expected values are written by hand."""

from __future__ import annotations

import pytest

from guardcheck.errors import InputError
from guardcheck.measure.capture.dialect import (
    Column,
    _column,
    _common_width,
    _form,
    _interval,
    _known_unit,
    _metadata,
    _name_and_unit,
    _numeric_width,
    _rows,
    _trimmed,
    _unquoted,
    sniff,
    split,
)

ROWS = ["1,2", "2,3", "3,4"]


@pytest.mark.parametrize(
    ("unit", "kind", "scale"),
    [
        *((one, "time", 1.0) for one in ("s", "sec", "Second", "seconds", "(s)", "[S]")),
        *(("ms", "time", 1e-3), ("us", "time", 1e-6), ("\u00b5s", "time", 1e-6), ("\u03bcs", "time", 1e-6)),
        *(("ns", "time", 1e-9), ("ps", "time", 1e-12)),
        *((one, "volts", 1.0) for one in ("V", "volt", "Volts")),
        *(("mV", "volts", 1e-3), ("uV", "volts", 1e-6), ("kV", "volts", 1e3)),
        *((one, "other", 1.0) for one in ("A", "mA", "dB", "%", "div")),
    ],
)
def test_units_of_a_column(unit: str, kind: str, scale: float) -> None:
    assert _column("name", unit) == Column("name", kind, scale, unit)
    assert _known_unit(unit)
    assert _column("", unit).name == ("time" if kind == "time" else "")


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        *((one, "time") for one in ("Time", "t", "X", "Zeit", "x-axis", "timestamp", "time base")),
        *((one, "count") for one in ("n", "#", "Index", "sample", "points")),
        *((one, "volts") for one in ("", "CH1", "red", "nn")),
    ],
)
def test_names_of_a_column_without_a_unit(name: str, kind: str) -> None:
    assert _column(name, "") == Column(name, kind, 1.0, "")
    assert not _known_unit("CH1")


@pytest.mark.parametrize(
    ("heading", "expected"),
    [
        ("Time (s)", ("Time", "s")),
        ("CH1 [ mV ]", ("CH1", "mV")),
        ("CH1 in V", ("CH1", "V")),
        ("CH1/uV", ("CH1", "uV")),
        ("(s)", ("(s)", "s")),
        ("CH1 (probe)", ("CH1 (probe)", "")),
        ("CH1", ("CH1", "")),
        ("s", ("s", "s")),
        ("V", ("V", "V")),
        ("A", ("A", "")),
    ],
)
def test_a_heading_is_a_name_and_a_unit(heading: str, expected: tuple[str, str]) -> None:
    assert _name_and_unit(heading) == expected


def test_empty_fields_at_the_end_are_taken_off() -> None:
    assert _trimmed(["a", "", ""]) == ["a"]
    assert _trimmed(["", "a", "b"]) == ["", "a", "b"]
    assert _trimmed(["a", "b", ""]) == ["a", "b"]
    assert _trimmed(["a", "b", "c", "", "", ""]) == ["a", "b", "c"]
    assert _trimmed(["", ""]) == []


@pytest.mark.parametrize(
    ("key", "text", "seconds"),
    [
        ("sample interval", "1e-7", 1e-7),
        ("sample interval", "0.5", 0.5),
        ("sample interval", "100 ns", 1e-7),
        ("time increment", "+0,5 ms", 5e-4),
        ("dt", "2 us", 2e-6),
        ("sampling period (ns)", "40", 4e-8),
        ("sampling period (ns)", "40 - about", 4e-8),
        ("sampling period (ns)", "40 [us]", 4e-5),
        *(("sample rate", f"4 {unit}", 0.25) for unit in ("Hz", "Sa/s", "S/s")),
        *(("sampling rate", f"4 {unit}", 0.25e-3) for unit in ("kHz", "kSa/s", "kS/s")),
        *(("samplerate", f"4 {unit}", 0.25e-6) for unit in ("MHz", "MSa/s", "MS/s")),
        *(("sample frequency", f"4 {unit}", 0.25e-9) for unit in ("GHz", "GSa/s", "GS/s")),
        ("sample rate", "4", 0.25),
        ("sample interval", "0", None),
        ("sample interval", "-1e-7", None),
        ("sample interval", "5 yards", None),
        ("sample interval", "auto", None),
        ("sample rate", "0 MHz", None),
        ("sample rate", "4 us", None),
        ("line width", "5 us", None),  # dt is a word only by itself
        ("bandwidth", "20 MHz", None),
        ("record length", "4000", None),
    ],
)
def test_an_interval_stated_above_the_table(key: str, text: str, seconds: float | None) -> None:
    found = _interval({"model": "5 us", key: text})
    assert found == (seconds if seconds is None else pytest.approx(seconds, rel=1e-12, abs=0))


def test_an_interval_that_says_nothing_leaves_it_to_the_next() -> None:
    assert _interval({"sample interval": "auto", "dt": "1 us"}) == pytest.approx(1e-6)
    assert _interval({"sample interval": "5 yards", "sample rate": "2 MHz"}) == pytest.approx(0.5e-6)
    assert _interval({"sample interval": "0", "sample rate": "2 MHz"}) == pytest.approx(0.5e-6)


def test_rows_above_the_table() -> None:
    lines = ['"Model","Bench"', "Sample rate: 10 MHz", "a=b=c", "p;q;;r", "title", ": nothing", "# Note,  x ,y"]
    assert _rows(lines) == (
        ("model", ("Bench",)),
        ("sample rate", ("10 MHz",)),
        ("a", ("b=c",)),
        ("p", ("q", "r")),
        ("note", ("x", "y")),
    )
    assert _rows(["k" * 90 + ",v"]) == (("k" * 80, ("v",)),)
    assert _metadata(["a,1,2", "a,3", "b," + "x" * 300]) == {"a": "1 2", "b": "x" * 200}


@pytest.mark.parametrize(
    ("row", "delimiter", "decimal", "width"),
    [
        ("1;2", ";", ".", 2),
        ("1;;2;", ";", ".", 2),
        ("", ";", ".", 0),
        ("1.5;-.5e3;nan;+INF", ";", ".", 4),
        ("1,5;2,5", ";", ",", 2),
        ("1,5;2,5", ";", ".", 0),
        ("1.2.3;4", ";", ".", 0),
        ("1.234,5;4", ";", ",", 0),
        ("1;x", ";", ".", 0),
        ("1;0x1F", ";", ".", 0),
        ('"1,5","2,5"', '"', ",", 2),
    ],
)
def test_how_many_numbers_a_row_holds(row: str, delimiter: str, decimal: str, width: int) -> None:
    assert _numeric_width(row, delimiter, decimal) == width
    assert _common_width([row, row], delimiter, decimal) == width
    assert _common_width([row, "7"], delimiter, decimal) == 0


def test_fields_of_a_row() -> None:
    assert split('"1,5","2,5"\r\n', '"') == ["1,5", "2,5"]
    assert split("  1   2 ", " ") == ["1", "2"]
    assert split(' 1 ; "2" ;;', ";") == ["1", "2", "", ""]
    assert _unquoted(' "1,5","2" ') == "1,5;2"
    assert _unquoted('"1') is None
    assert _unquoted('1"') is None


@pytest.mark.parametrize(
    ("rows", "form"),
    [
        (ROWS, (",", ".", 2)),
        (ROWS[:2], None),
        ([*ROWS, "x"], (",", ".", 2)),
        (["1", "2", "3"], ("\t", ".", 1)),
        (["1 2", "3  4", "5 6"], (" ", ".", 2)),
        (["1 2", "3\t4", "5 6"], (" ", ".", 2)),
        (["1;2,5", "2;3", "3;4"], (";", ",", 2)),
        (["1;2", "2;3", "3;4", "4;5,5"], (";", ",", 2)),
        (["1;2", "2;3", "3;4"], (";", ".", 2)),
        (['"1.5","2"'] * 3, (",", ".", 2)),
        (['"1,5","2"'] * 3, ('"', ",", 2)),
        (['"1,5","x"'] * 3, None),
        (['"1";"2,5"', "1;2", "3;4"], (";", ",", 2)),  # one row in quotes makes no table in quotes
        (["1,2", "2,3", "3"], None),
    ],
)
def test_the_form_of_the_first_rows(rows: list[str], form: tuple[str, str, int] | None) -> None:
    assert _form(rows) == form


def test_how_far_a_table_is_looked_for() -> None:
    assert sniff(["a"] * 199 + ROWS, file="f").skip == 199
    with pytest.raises(InputError, match="in the first 200 lines"):
        sniff(["a"] * 200 + ROWS, file="f")
    assert sniff(["", " ", *ROWS], file="f").skip == 2
    for rows, decimal in (
        (["1;2"] * 299 + ["1;2,5"], ","),  # three hundred rows are looked at for a decimal comma
        (["1;2"] * 300 + ["1;2,5"], "."),
        (["1;2"] * 3 + [""] * 396 + ["1;2,5"], ","),  # in four hundred lines
        (["1;2"] * 3 + [""] * 397 + ["1;2,5"], "."),
    ):
        assert sniff(rows, file="f").decimal == decimal
    assert len(sniff([",".join("123456789")] * 3, file="f").columns) == 9
    with pytest.raises(InputError, match="f:3: 10 columns were found; accepted are at most 9"):
        sniff(["a", "b", *[",".join("1234567890")] * 3], file="f")


@pytest.mark.parametrize(
    ("above", "names", "units", "note"),
    [
        ([], ["", ""], ["", ""], "names no columns"),
        (["Time (s),CH1 (mV)"], ["Time", "CH1"], ["s", "mV"], ""),
        (["Model,Bench", "Time,CH1", "(s),[mV]"], ["Time", "CH1"], ["s", "mV"], ""),
        (["s,mV"], ["s", "mV"], ["s", "mV"], ""),
        (["Model", "s,mV"], ["s", "mV"], ["s", "mV"], ""),
        (["Time,CH1", "s,foo"], ["s", "foo"], ["s", ""], ""),
        (["a,b,c"], ["", ""], ["", ""], "no header with one name"),
        (["x"], ["", ""], ["", ""], "no header with one name"),
        (["x,,"], ["", ""], ["", ""], "no header with one name"),
    ],
)
def test_headings_of_two_columns(above: list[str], names: list[str], units: list[str], note: str) -> None:
    found = sniff([*above, *ROWS], file="f")
    assert [one.name for one in found.columns] == names
    assert [one.unit for one in found.columns] == units
    assert (found.skip, len(found.notes)) == (len(above), 1 if note else 0)
    assert note in "".join(found.notes)


@pytest.mark.parametrize(
    ("heading", "row"),
    [
        ("Time (us);CH1 (mV)", "1;2,5"),
        ("Time (us)\tCH1 (mV)", "1\t2"),
        ("Time (us),CH1 (mV)", '"1,5","2"'),
        ('"Time (us)","CH1 (mV)"', '"1,5","2"'),
    ],
)
def test_headings_are_parted_as_the_table_is(heading: str, row: str) -> None:
    """Where numbers with decimal commas stand in quotes, headings may stand there without."""
    found = sniff([heading, row, row, row], file="f")
    assert [(one.name, one.unit) for one in found.columns] == [("Time", "us"), ("CH1", "mV")]
    assert found.notes == ()


def test_a_comma_that_is_both_separator_and_decimal_sign_is_refused() -> None:
    with pytest.raises(InputError, match="f:2: the header names 2 columns but the rows hold 4 numbers"):
        sniff(["model", "a,b", *["0,1,0,2"] * 3], file="f")
    assert len(sniff(["a;b", *["1;2;3;4"] * 3], file="f").columns) == 4
    assert len(sniff(["a,b,c", *["1,2,3,4"] * 3], file="f").columns) == 4
