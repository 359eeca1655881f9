"""Blocks of a capture file turned into numbers, and what cannot be. Expected values are written by hand."""

from __future__ import annotations

import gzip
import io
import random
from pathlib import Path
from typing import BinaryIO, cast

import pytest
from numpy.testing import assert_allclose

from guardcheck.errors import InputError
from guardcheck.measure.capture import table
from guardcheck.measure.capture.dialect import Dialect

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
        (b'"1","2"\n"3;","4,5"\n', QUOTED, "f:11: '3;' is not"),  # a semicolon parts nothing here
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


def test_letters_beyond_ascii_are_refused_where_they_stand() -> None:
    """A micro sign of Latin-1 and one of UTF-8, first and last of the octets above 127."""
    for octets, shown in ((b"\xb5", "\u00b5"), (b"\xc2\xb5", "\u00c2\u00b5"), (b"\x80", "?"), (b"\xff", "\u00ff")):
        with pytest.raises(InputError) as caught:
            table.to_numbers(b"1,2\n3,4\n5" + octets + b",6\n", COMMA, 2, 10, "f")
        assert f"f:12: '5{shown}' is not a number" in str(caught.value)


@pytest.mark.parametrize(
    ("delimiter", "decimal"),
    [(",", "."), (";", "."), (";", ","), ('"', ","), ("\t", "."), ("\t", ","), (" ", "."), (" ", ",")],
)
def test_a_row_that_is_not_read_is_refused_for_something_in_it(delimiter: str, decimal: str) -> None:
    """Random rows of what numbers and tables are made of: numpy and Python must agree which of them are numbers."""
    rng = random.Random(4)
    pieces = [bytes([octet]) for octet in range(256) if octet != 10]
    pieces += [*b"1 2.5 3,5 e5 - , ; inf 1e999 0x1 _".split(), b"\t", b" ", b'"', b'","'] * 20
    said = []
    for _ in range(300):
        block = b"1\n7" + b"".join(rng.choice(pieces) for _ in range(rng.randint(0, 6))) + b"\n"
        try:
            table.to_numbers(block, Dialect(delimiter, decimal, (), 0), 1, 10, "f")
        except InputError as error:
            said.append(str(error))
    assert len(said) > 100
    assert [words for words in said if not words.startswith("f:11: ")] == []
    assert [words for words in said if "holds 1 numbers" in words] == []


@pytest.mark.parametrize("text", [b"1,2\n3,4\n", b"\x1f", b""])
def test_a_file_is_opened_compressed_or_not(tmp_path: Path, text: bytes) -> None:
    path = tmp_path / "scope.csv"
    for written in (text, gzip.compress(text)):
        path.write_bytes(written)
        with table.open_capture(path) as stream:
            assert table.read_block(stream, 100, "f") == text


def test_two_mebibytes_are_read_at_a_time() -> None:
    """A capture of a gigabyte must not stand in memory as text."""
    sizes: set[int | None] = set()

    class Asked(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            sizes.add(size)
            return super().read(size)

    stream = Asked(b"1,2\n" * 10)
    assert b"".join(table.whole_lines(b"", stream, "f")) == b"1,2\n" * 10
    assert sizes == {2 * 1024 * 1024}


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
