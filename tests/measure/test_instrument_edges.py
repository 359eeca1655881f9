"""A meter's dialogue without a line: a resource that says what it is told, up to the longest answer that is taken."""

from __future__ import annotations

from typing import Any

import pytest

from guardcheck.errors import InputError
from guardcheck.measure.instrument import Taken, take

pyvisa = pytest.importorskip("pyvisa", reason="the extra 'instruments' is not installed")

SOUND = {
    "*IDN?": b"BENCH,METER\n",
    "MEAS:VOLT:DC?": b"1.5\n",
    "READ?": b"-2.5\n",
    "FUNC?": b'"VOLT"\n',
    "SYST:ERR?": b'0,"No error"\n',
}


class Line:
    """A resource and its manager in one: answers byte by byte, or fails as told."""

    def __init__(self, told: dict[str, bytes], failure: Exception | None = None) -> None:
        self.told, self.failure, self.left, self.closed = told, failure, b"", 0
        self.timeout, self.write_termination = 0.0, ""

    def open_resource(self, address: str) -> Line:
        if self.failure is not None:
            raise self.failure
        return self

    def write(self, question: str) -> None:
        self.left = self.told[question]

    def read_bytes(self, count: int) -> bytes:
        assert count == 1
        if not self.left:
            raise OSError("the line is gone.")
        first, self.left = self.left[:1], self.left[1:]
        return first

    def close(self) -> None:
        self.closed += 1


def asked(
    monkeypatch: pytest.MonkeyPatch, address: str = "BENCH", failure: Exception | None = None, **keywords: Any
) -> tuple[Taken | str, Line]:
    """Return what a meter said, or the sentence of the error, and the line it was asked on."""
    names = {"idn": "*IDN?", "meas": "MEAS:VOLT:DC?", "read": "READ?", "func": "FUNC?", "err": "SYST:ERR?"}
    line = Line(SOUND | {names[name]: said for name, said in keywords.items() if name in names}, failure)
    monkeypatch.setattr(pyvisa, "ResourceManager", lambda backend: line)
    try:
        return take(address, "V", **{name: one for name, one in keywords.items() if name not in names}), line
    except InputError as error:
        return str(error), line


def test_a_sound_meter_is_given_five_seconds_an_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    found, line = asked(monkeypatch)
    assert found == Taken("BENCH,METER", (1.5, -2.5, -2.5))
    assert (line.timeout, line.write_termination, line.closed) == (5000.0, "\n", 2)
    _, line = asked(monkeypatch, patience=0.3)
    assert line.timeout == pytest.approx(300.0)


def test_mean_and_spread_of_what_was_read() -> None:
    taken = Taken("M", (1.5, -2.5, -2.0))
    assert (taken.mean, taken.spread) == (-1.0, 4.0)


def test_the_longest_answer_and_the_longest_name(monkeypatch: pytest.MonkeyPatch) -> None:
    found, _ = asked(monkeypatch, idn=b"M" * 256 + b"\n")
    assert isinstance(found, Taken)
    assert found.identity == "M" * 120
    assert asked(monkeypatch, idn=b"M" * 257 + b"\n")[0] == "BENCH: sends without end in answer to *IDN?"


SAID = {
    "no name": ({"idn": b"\n"}, "BENCH: does not say who it is (*IDN?)"),
    "no word": ({"idn": b"a\x07b\n"}, "BENCH: does not say who it is (*IDN?)"),
    "another kind": (
        {"func": b"X" * 30 + b"\n"},
        "BENCH: measures " + "X" * 17 + "... where MEAS:VOLT:DC? was asked: its answer is of another kind",
    ),
    "an error": ({"err": b"-" + b"1" * 100 + b"\n"}, "BENCH: reports an error: -" + "1" * 76 + "..."),
    "no number": ({"meas": b"x" * 60 + b"\n"}, "BENCH: answered '" + "x" * 37 + "...', which is no plain number"),
    "over range": ({"read": b"-9.9E37\n"}, "BENCH: shows over range: there is no value to keep"),
    "just in range": ({"read": b"9.8E37\n"}, None),
    "gone": ({"read": b"1"}, "BENCH: does not answer READ? (the line is gone)"),
    "signed": ({"err": b"+0,fine\n"}, None),
}


@pytest.mark.parametrize("name", list(SAID))
def test_what_is_said_of_a_meter(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    told, sentence = SAID[name]
    found, line = asked(monkeypatch, **told)
    assert found == sentence if sentence is not None else isinstance(found, Taken)
    assert line.closed == 2


def test_long_words_of_others_are_cut(monkeypatch: pytest.MonkeyPatch) -> None:
    found, _ = asked(monkeypatch, address="A" * 100, failure=RuntimeError("why " * 40 + "\nmore"))
    assert found == "A" * 77 + "...: cannot be opened (" + ("why " * 40)[:77] + "...)"
    found, _ = asked(monkeypatch, address="A" * 100, idn=b"\n")
    assert found == "A" * 77 + "...: does not say who it is (*IDN?)"
    found, _ = asked(monkeypatch, failure=RuntimeError())
    assert found == "BENCH: cannot be opened (RuntimeError)"
    error = pyvisa.errors.VisaIOError(pyvisa.constants.StatusCode.error_timeout)
    monkeypatch.setattr(Line, "write", lambda self, question: (_ for _ in ()).throw(error))
    assert asked(monkeypatch)[0] == "BENCH: does not take a question (Timeout expired before operation completed)"
    long = OSError("z" * 100)
    monkeypatch.setattr(Line, "write", lambda self, question: (_ for _ in ()).throw(long))
    assert asked(monkeypatch)[0] == "BENCH: does not take a question (" + "z" * 77 + "...)"


def test_a_ratio_is_asked_of_no_meter() -> None:
    for unit, word in (("1", "1"), ("", "none")):
        with pytest.raises(InputError, match=f"this quantity is in {word}$"):
            take("BENCH", unit)
