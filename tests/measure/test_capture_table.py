"""A capture file's table, piece by piece: its form, its numbers, its time base. Expected values are written by hand."""

from __future__ import annotations

import io
from pathlib import Path
from typing import BinaryIO, cast

import numpy as np
import pytest
from numpy.testing import assert_allclose

from guardcheck.errors import InputError
from guardcheck.measure.capture import reader, table
from guardcheck.measure.capture.dialect import (
    Column,
    Dialect,
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
from tests.measure.drawn import Array

ROWS = ["1,2", "2,3", "3,4"]


def array(*values: float) -> Array:
    return np.array(values, dtype=np.float64)


# The form of a table -------------------------------------------------------------------------------------------------


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


def test_a_comma_that_is_both_separator_and_decimal_sign_is_refused() -> None:
    with pytest.raises(InputError, match="f:2: the header names 2 columns but the rows hold 4 numbers"):
        sniff(["model", "a,b", *["0,1,0,2"] * 3], file="f")
    assert len(sniff(["a;b", *["1;2;3;4"] * 3], file="f").columns) == 4
    assert len(sniff(["a,b,c", *["1,2,3,4"] * 3], file="f").columns) == 4


# Numbers of a table --------------------------------------------------------------------------------------------------

COMMA, SEMICOLON, QUOTED = Dialect(",", ".", (), 0), Dialect(";", ",", (), 0), Dialect('"', ",", (), 0)


@pytest.mark.parametrize(
    ("block", "dialect"),
    [
        (b"1,2\n3,4.5\n", COMMA),
        (b"1,2,\r\n\n 3 ,\t4.5\n", COMMA),
        (b'"1","2"\n"3","4.5"\n', COMMA),
        (b"1;2\n3;4,5\n", SEMICOLON),
        (b"1;2\n3;4.5\n", SEMICOLON),
        (b'"1","2"\n"3","4,5"\n', QUOTED),
        (b"1\t2\n3\t4.5\n", Dialect("\t", ".", (), 0)),
        (b"1  2\n3 4.5\n", Dialect(" ", ".", (), 0)),
    ],
)
def test_a_block_of_rows(block: bytes, dialect: Dialect) -> None:
    assert_allclose(table.to_numbers(block, dialect, 2, 10, "f"), ((1, 2), (3, 4.5)))


@pytest.mark.parametrize(
    ("block", "dialect", "words"),
    [
        (b"1,2\n3\n", COMMA, "f:11: this row holds 1 numbers, the rows above it hold 2"),
        (b"1,2\n\n3,4,5\n", COMMA, "f:12: this row holds 3 numbers"),
        (b"1,2\n3,,nan\n", COMMA, "f:11: 'nan' is not a number this table can hold"),
        (b"1,2\n3,x\n5,y\n", COMMA, "f:11: 'x' is not a number"),
        (b"1,2\n3,1_0\n", COMMA, "f:11: '1_0' is not a number"),
        (b"1,2\n3,x!\n", COMMA, "accepted are finite numbers such as 1.25e-3"),
        (b"1;2\n3;x\n", SEMICOLON, "accepted are finite numbers such as 1.25 (or 1,25) and 1.25e-3"),
        (b"1;2\n3,5;x\n", SEMICOLON, "f:11: 'x' is not"),
        (b"1;2\n3;4,5,6\n", SEMICOLON, "f:11: '4,5,6' is not a number"),
        (b"1,2\n3," + b"x" * 50 + b"\n", COMMA, f"'{'x' * 40}' is"),
        (b"1,2\n3,a\x01b\n", COMMA, "f:11: 'a?b' is not"),
        (b"1,2\n3,4\xb2\n", COMMA, "f:11: '4\u00b2' is not"),
        (b"1,2\n3,oops,7\n", COMMA, "f:11: 'oops' is not"),
    ],
)
def test_a_row_that_cannot_be_read_is_named_by_its_line(block: bytes, dialect: Dialect, words: str) -> None:
    with pytest.raises(InputError) as caught:
        table.to_numbers(block, dialect, 2, 10, "f")
    assert words in str(caught.value)


@pytest.mark.parametrize("octet", [b"\x1c", b"\x1d", b"\x1e", b"\x1f", b"\x85", b"\xa0"])
def test_a_rare_blank_behind_a_number_is_a_blank(octet: bytes) -> None:
    """Separators of information and the hard space of Latin-1; inside a number they are refused where they stand."""
    assert_allclose(table.to_numbers(b"1,2\n3,4" + octet + b"\n", COMMA, 2, 10, "f"), ((1, 2), (3, 4)))
    with pytest.raises(InputError, match=r"f:11: '4.5' is not a number"):
        table.to_numbers(b"1,2\n3,4" + octet + b"5\n", COMMA, 2, 10, "f")


def test_a_word_by_itself_is_no_number() -> None:
    with pytest.raises(InputError, match="'x' is not a number"):
        table.to_numbers(b"x\n", Dialect("\t", ".", (), 0), 1, 10, "f")


def test_blocks_end_at_a_line_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table, "BLOCK", 4)
    assert list(table.whole_lines(b"1\n2", io.BytesIO(b"3\n4\n5\n67"), "f")) == [b"1\n23\n4\n", b"5\n", b"67\n"]
    assert list(table.whole_lines(b"", io.BytesIO(), "f")) == []
    assert list(table.whole_lines(b"1\n", io.BytesIO(), "f")) == [b"1\n"]


def test_lines_and_files_too_long_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def blocks(first: bytes, rest: bytes = b"\n") -> list[bytes]:
        return list(table.whole_lines(first, io.BytesIO(rest), "f"))

    assert len(blocks(b"1" * 4095, b"1")) == 1
    with pytest.raises(InputError, match="longer than 4096 characters"):
        blocks(b"1" * 4096, b"1")

    class Long(bytes):
        def __len__(self) -> int:
            return (4 << 30) + 1

    with pytest.raises(InputError, match="more than 4 GiB"):
        blocks(Long(b"1\n"))
    monkeypatch.setattr(table, "MAX_BYTES", 6)
    assert blocks(b"1\n2\n", b"3\n") == [b"1\n2\n3\n"]
    with pytest.raises(InputError, match="GiB of text"):
        blocks(b"1\n2\n", b"34\n")


def test_a_file_that_cannot_be_read_says_why() -> None:
    class Broken(io.BytesIO):
        def __init__(self, error: Exception) -> None:
            super().__init__()
            self.error = error

        def read(self, size: int | None = -1, /) -> bytes:
            raise self.error

    for error, words in (
        (OSError(5, "bad disk"), "f: cannot be read: bad disk"),
        (OSError("odd"), "f: cannot be read: odd"),
        (EOFError("short"), "f: the compressed file is damaged (short)"),
    ):
        with pytest.raises(InputError) as caught:
            table.read_block(cast(BinaryIO, Broken(error)), 10, "f")
        assert str(caught.value) == words


# The reader ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (b" \n", "the file is empty"),
        (b"\xff\xfea", "UTF-16"),
        (b"\xfe\xffa", "UTF-16"),
        (b"T\x00i\x00", "UTF-16"),
        (b"abc\x00", "not a text file"),
        (b"a\rb", "lone carriage return"),
    ],
)
def test_what_is_no_text(head: bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        reader._head_lines(head, "f")


@pytest.mark.parametrize(
    ("head", "lines"),
    [
        (b"abc", ["abc"]),
        (b"a\r\nb\r\n", ["a", "b", ""]),
        (b"\xef\xbb\xbfa\n", ["a", ""]),
        (b"a\nb\nc\nd", ["a", "b", "c", "d"]),
        (b"a\nb\nc\nd\ne", ["a", "b", "c", "d"]),  # the last may be cut
        (b"a\nb\nc\nd\ne\n", ["a", "b", "c", "d", "e", ""]),
    ],
)
def test_lines_of_the_head(head: bytes, lines: list[str]) -> None:
    assert reader._head_lines(head, "f") == lines


def test_a_table_begins_in_the_first_128_kib(tmp_path: Path) -> None:
    path = tmp_path / "scope.csv"
    body = "".join(f"{i}e-6,0.5\n" for i in range(20))
    path.write_text("x" * 130_000 + "\n" + body)
    assert reader.read_capture(path).n_points == 20
    path.write_text("x" * 140_000 + "\n" + body)
    with pytest.raises(InputError, match="no table of numbers"):
        reader.read_capture(path)


TIME, CH1 = Column("t", "time", 1e-6, "us"), Column("CH1", "volts", 1e-3, "mV")


def collected(
    *blocks: Array, columns: tuple[Column, ...] = (TIME, CH1), interval: float | None = None, channel: str | None = None
) -> reader._Collector:
    """Return what is gathered from blocks of rows; the first stands at line 4."""
    dialect = Dialect(",", ".", columns, 3, interval)
    collector = reader._Collector(dialect, "f", channel)
    line = 4
    for block in blocks:
        collector.add(block, line)
        line += len(block)
    return collector


def rows(times: Array, volts: float = 500.0) -> Array:
    return np.column_stack((times, np.full(len(times), volts)))


def test_a_capture_of_two_blocks() -> None:
    t = np.arange(40.0) * 0.5 + 7
    found = collected(rows(t[:10]), np.empty((0, 2)), rows(t[10:], 250.0)).capture()
    assert (found.start, found.time_step) == pytest.approx((7e-6, 0.5e-6))
    assert_allclose(found.volts["CH1"], [0.5] * 10 + [0.25] * 30)
    assert found.notes == ()
    assert found.resolution["CH1"] == pytest.approx(0.25)


def test_a_capture_has_sixteen_points_at_least_and_not_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    assert collected(rows(np.arange(16.0))).capture().n_points == 16
    with pytest.raises(InputError, match="only 15 points; at least 16"):
        collected(rows(np.arange(15.0))).capture()
    assert reader.MAX_POINTS == 20_000_000
    monkeypatch.setattr(reader, "MAX_POINTS", 20)
    assert collected(rows(np.arange(10.0)), rows(np.arange(10.0, 20.0))).points == 20
    with pytest.raises(InputError, match="more than 20 points"):
        collected(rows(np.arange(10.0)), rows(np.arange(10.0, 21.0)))


def test_times_and_voltages_that_cannot_be() -> None:
    t = np.arange(10.0)
    collected(rows(t), rows(t + 9))  # the same time twice is printed coarsely, not backwards
    with pytest.raises(InputError, match="f:14: time runs backwards"):
        collected(rows(t), rows(t + 8.9))
    with pytest.raises(InputError, match="f:7: time runs backwards"):
        collected(rows(array(0, 1, 2, 1.9, 5, 4)))
    collected(rows(t, 1e8), rows(t + 10, -1e8))
    wild = rows(t + 10)
    wild[3:, 1] = -1.001e8
    with pytest.raises(InputError, match=r"f:17: -1\.001e\+08 is no voltage"):
        collected(rows(t), wild)


def test_a_stated_interval_may_differ_by_a_hundredth() -> None:
    t = np.arange(40.0) * 0.5
    for stated, right in ((0.5045e-6, True), (0.4955e-6, True), (0.5055e-6, False), (0.4945e-6, False)):
        gathered = collected(rows(t), interval=stated)
        if right:
            assert gathered.capture().time_step == pytest.approx(0.5e-6)
        else:
            with pytest.raises(InputError, match=rf"advances by 0.5 us, and .* stands {stated * 1e6:.4g} us"):
                gathered.capture()


@pytest.mark.parametrize(("by", "even"), [(1.0639, True), (1.08, False), (2.0, False)])
def test_a_sample_may_stand_one_step_from_its_place(by: float, even: bool) -> None:
    """A gap of `by` steps more at the 190th of 200: point 189 is 189 by / 199 from its place, a step 1 + by / 199."""
    t = np.arange(200.0)
    t[190:] += by
    gathered = collected(rows(t[:100] * 0.5), rows(t[100:] * 0.5))
    if even:
        assert gathered.capture().time_step == pytest.approx(0.5e-6 * (1 + by / 199))
        return
    away = 189 * by / (199 + by)
    with pytest.raises(InputError, match=rf"f:193: .*row 190 of the table is {away:.3g} steps from its place"):
        gathered.capture()


def test_times_that_do_not_advance() -> None:
    with pytest.raises(InputError, match="does not advance"):
        collected(rows(np.full(20, 3.0))).capture()


def test_an_interval_stands_in_for_a_time_column() -> None:
    found = collected(np.ones((20, 1)), columns=(CH1,), interval=2e-7).capture()
    assert (found.start, found.time_step) == (0.0, 2e-7)
    with pytest.raises(InputError, match="no time column and no sample interval"):
        collected(np.arange(20.0)[:, None], columns=(Column("", "volts", 1.0),))


def test_names_of_columns_without_any() -> None:
    none = Column("", "volts", 1.0)
    t = np.arange(20.0)
    found = collected(np.column_stack((t, t, t)), columns=(none, none, none)).capture()
    assert list(found.volts) == ["column 2", "column 3"]
    assert found.time_step == 1.0
    assert found.notes == (
        "the first column rises evenly and is taken as time in seconds",
        "no unit stands beside 'column 2': volts are presumed",
        "no unit stands beside 'column 3': volts are presumed",
    )
    found = collected(np.column_stack((t, t, t, t)), columns=(TIME, CH1, CH1, CH1)).capture()
    assert list(found.volts) == ["CH1", "CH1'", "CH1''"]
    assert collected(np.column_stack((10 * t, t)), columns=(none, TIME)).time_column == 1
    assert collected(np.column_stack((t, -t)), columns=(none, CH1)).time_column == 0
    with pytest.raises(InputError, match="no time column"):
        collected(np.column_stack((-t, t)), columns=(none, CH1))
    with pytest.raises(InputError, match="no time column"):
        collected(np.column_stack((t, -t)), columns=(CH1, none))
    count = Column("n", "count", 1.0)
    assert collected(np.column_stack((t, t)), columns=(count, CH1), interval=1e-6).capture().notes == ()


def test_the_channel_asked_for() -> None:
    t = np.arange(20.0)
    columns = (TIME, CH1, Column("n", "count", 1.0), Column("ref", "other", 1.0, "A"))
    block = np.column_stack((t, t, t, t))
    assert list(collected(block, columns=columns, channel="ch1").capture().volts) == ["CH1"]
    for channel, words in (("n", "'n' holds count, volts"), ("REF", "'ref' holds A, volts"), ("x", "no channel 'x'")):
        with pytest.raises(InputError, match=words):
            collected(block, columns=columns, channel=channel)
    with pytest.raises(InputError, match=r"found 't' in us, 'n' in \?, 'ref' in A"):
        collected(block[:, :3], columns=(columns[0], columns[2], columns[3]))


@pytest.mark.parametrize(
    ("values", "like"),
    [
        ((0, 1, 2), True),
        ((0, 1), True),
        ((0, 0, 1), True),
        ((0, 100, 200), True),
        ((0, 1, 3, 2), False),
        ((3, 2, 1), False),
        ((1, 1, 1), False),
        ((5,), False),
        ((), False),
        ((*range(40), 39 + 38), True),  # 39 steps of 1 and one of 38, below 20 times their mean of 1.925
        ((*range(40), 39 + 39), False),  # 39 is 20 times 1.95
        ((*range(40), 39 + 40), False),
    ],
)
def test_a_column_that_rises_evenly_looks_like_time(values: tuple[float, ...], like: bool) -> None:
    assert reader._looks_like_time(np.array(values, dtype=np.float64)) == like


def test_the_step_times_are_printed_in() -> None:
    for times, step, expected in (
        ((0, 0, 0, 3, 3, 3, 6), 1.0, 3.03),
        ((0, 0, 1, 2, 3, 4), 0.8, 0.0),  # one in five is the same
        ((0, 0, 1, 2, 3), 0.75, 1.01),  # one in four
        ((0, 0.0012, 1, 2), 1.0, 0.0),
        ((0, 0.0015, 2, 4), 2.0, 2.02),  # a thousandth of a step is the same
        ((0, 1, 2), 1.0, 0.0),
        ((0,), 1.0, 0.0),
    ):
        one = np.array(times, dtype=np.float64)
        assert reader._print_step([one], step) == pytest.approx(expected)
    parts = [array(0, 0, 1), array(5, 6), array(9, 9, 13)]
    assert reader._print_step(parts, 1.0) == pytest.approx(4.04)


@pytest.mark.parametrize(
    ("levels", "each", "step"),
    [
        (np.arange(10) * 0.01, 4, 0.01),
        (np.arange(11) * 0.01, 3.9, 0.0),  # fewer than four samples a level
        (array(0.5), 40, 0.0),
        (array(0.5, 0.75), 4, 0.25),
        (np.arange(2048) / 1024, 4, 1 / 1024),
        (np.arange(2049) / 1024, 4, 0.0),
        (np.cumsum(array(0, 0.010, 0.012, 0.014, 0.016)), 4, 0.012),  # up to one and a half of the smallest
        (array(-2, -1, -0.9998, 2), 4, 0.9999),  # 0.2 mV of 4 V over four levels is rounding; the median of 1 and 3
    ],
)
def test_the_step_of_a_quantised_trace(levels: Array, each: float, step: float) -> None:
    sample = np.resize(levels, round(len(levels) * each)).astype(np.float32)
    assert reader.voltage_step(sample) == pytest.approx(step, rel=1e-3)


def test_the_first_quarter_million_of_samples_tells_the_step() -> None:
    sample = np.concatenate((np.tile([0.0, 1.0], 1 << 17), np.full(1 << 12, 0.5))).astype(np.float32)
    assert reader.voltage_step(sample) == 1.0
