"""Capture files as oscilloscopes write them, and files that are not."""

from __future__ import annotations

import gzip
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from guardcheck.errors import InputError
from guardcheck.measure.capture import Capture, read_capture

DEEP = os.environ.get("GUARDCHECK_FUZZ") == "deep"
FUZZ = settings(
    max_examples=4000 if DEEP else 250,
    derandomize=True,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
TIMES = [1e-7 * i for i in range(40)]
VOLTS = [0.7 * np.sin(0.3 * i) for i in range(40)]


def table(cell: str, end: str = "\n", times: list[float] = TIMES) -> str:
    """Return rows made of a pattern with {t} and {v}."""
    return "".join(cell.format(t=t, v=v) + end for t, v in zip(times, VOLTS, strict=True))


def comma(text: str) -> str:
    return text.replace(".", ",")


def read(folder: Path, text: str | bytes, channel: str | None = None) -> Capture:
    path = folder / "scope.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_capture(path, channel=channel)


GOOD = {
    "comma": "Time (s),CH1 (V)\n" + table("{t:.9e},{v:.6f}"),
    "metadata and unit row": "Model,Bench\nRecord Length,40\n\nTime,CH1\ns,mV\n"
    + "".join(f"{t:.9e},{1e3 * v:.4f},\n" for t, v in zip(TIMES, VOLTS, strict=True)),
    "semicolon, decimal comma": "Zeit;Kanal A\n(us);(mV)\n"
    + comma("".join(f"{1e6 * t:.6f};{1e3 * v:.4f}\n" for t, v in zip(TIMES, VOLTS, strict=True))),
    "tab": "time in s\tred in V\n" + table("{t:.9e}\t{v:.6f}"),
    "tab, decimal comma": "time (s)\tred (V)\n" + comma(table("{t:.9e}\t{v:.6f}")),
    "spaces": table("{t:.9e}  {v:.6f}"),
    "quoted": '"Time (s)","CH1 (V)"\n' + table('"{t:.9e}","{v:.6f}"'),
    "quoted, decimal comma": '"Time (s)","CH1 (V)"\n' + comma(table('"{t:.9e}","{v:.6f}"')),
    "sample interval": "Sample Interval,1.0E-07\nCH1 (V)\n" + table("{v:.6f}"),
    "sample rate": "Sample rate: 10 MHz\nCH1 [V]\n" + table("{v:.6f}"),
    "sample rate with unit in key": "Sampling Rate (MHz);10\nCH1 [V]\n" + table("{v:.6f}"),
    "index and interval": "dt = 100 ns\nn,CH1 (V)\n" + "".join(f"{i},{v:.6f}\n" for i, v in enumerate(VOLTS)),
    "crlf and mark": "\ufeffTime (s),CH1 (V)\r\n" + table("{t:.9e},{v:.6f}", "\r\n"),
    "no last line end": ("Time (s),CH1 (V)\n" + table("{t:.9e},{v:.6f}")).rstrip("\n"),
    "upper case exponent": "TIME,CH1\nSECOND,VOLT\n" + table("{t:.6E},{v:+.6E}"),
    "blank lines at the end": "Time (s),CH1 (V)\n" + table("{t:.9e},{v:.6f}") + "\n\n",
    "trigger in the middle": "Time (s),CH1 (V)\n" + table("{t:.9e},{v:.6f}", times=[t - 2e-6 for t in TIMES]),
}


@pytest.mark.parametrize("name", list(GOOD))
def test_files_as_scopes_write_them(tmp_path: Path, name: str) -> None:
    capture = read(tmp_path, GOOD[name])
    (volts,) = capture.volts.values()
    assert volts.dtype == np.float32
    np.testing.assert_allclose(volts, VOLTS, atol=2e-6)
    assert capture.time_step == pytest.approx(1e-7, rel=1e-6)
    assert capture.n_points == 40


def test_a_compressed_file_is_the_same(tmp_path: Path) -> None:
    plain = read(tmp_path, GOOD["comma"])
    packed = read(tmp_path, gzip.compress(GOOD["comma"].encode()))
    np.testing.assert_array_equal(plain.volts["CH1"], packed.volts["CH1"])


def test_several_channels_and_the_choice_of_one(tmp_path: Path) -> None:
    text = "Time (s),red (V),sync (mV),ref (A)\n" + table("{t:.9e},{v:.6f},250,0.5")
    both = read(tmp_path, text)
    assert list(both.volts) == ["red", "sync"]
    assert both.volts["sync"][0] == pytest.approx(0.25)
    assert list(read(tmp_path, text, "SYNC").volts) == ["sync"]
    with pytest.raises(InputError, match="did you mean 'sync'"):
        read(tmp_path, text, "synk")
    with pytest.raises(InputError, match="'ref' holds A"):
        read(tmp_path, text, "ref")


def test_what_is_presumed_is_noted(tmp_path: Path) -> None:
    notes = " ".join(read(tmp_path, GOOD["spaces"]).notes)
    assert "taken as time in seconds" in notes
    assert "volts are presumed" in notes
    assert read(tmp_path, GOOD["comma"]).notes == ()


def test_times_printed_too_coarsely_are_averaged(tmp_path: Path) -> None:
    rows = "".join(f"{1e-9 * i + 0.5:.7f},{np.sin(i):.4f}\n" for i in range(2000))
    capture = read(tmp_path, "Time (s),CH1 (V)\n" + rows)
    assert capture.time_step == pytest.approx(1e-9, rel=0.02)
    assert any("too coarsely" in note for note in capture.notes)


def broken(row: str) -> str:
    lines = GOOD["comma"].split("\n")
    lines[21] = row
    return "\n".join(lines)


BAD = {
    "empty": ("", "the file is empty"),
    "blank": (" \n\n", "the file is empty"),
    "words": ("hello\nworld\n" * 20, "no table of numbers"),
    "no line end": ("x" * 300000, "no table of numbers"),
    "binary": (bytes(range(256)) * 8, "not a text file"),
    "utf-16": ("Time,CH1\n1,2\n".encode("utf-16"), "UTF-16"),
    "lone carriage returns": (GOOD["comma"].replace("\n", "\r"), "carriage return"),
    "word in a cell": (broken("2e-6,oops"), ":22: 'oops' is not a number"),
    "not a number": (broken("2e-6,nan"), ":22: 'nan' is not a number"),
    "infinite": (broken("2e-6,inf"), ":22: 'inf' is not a number"),
    "too large": (broken("2e-6,1e999"), ":22: '1e999' is not a number"),
    "digit groups": (broken("2e-6,1_000"), ":22: '1_000' is not a number"),
    "hexadecimal": (broken("2e-6,0x1F"), ":22: '0x1F' is not a number"),
    "cell missing": (broken("2e-6,"), ":22: this row holds 1 numbers"),
    "cell too many": (broken("2e-6,1,2"), ":22: this row holds 3 numbers"),
    "two numbers in a cell": (broken("2e-6,1 2"), ":22:"),
    "foreign digits": (broken("2e-6,\u0663"), ":22:"),
    "off the screen": (broken("2e-6,9.9E+37"), ":22: 9.9e+37 is no voltage"),
    "time backwards": (broken("-1,0.5"), ":22: time runs backwards"),
    "footer": (GOOD["comma"] + "end of file\n", ":42:"),
    "gap": (
        "Time (s),CH1 (V)\n" + table("{t:.9e},{v:.6f}", times=[t + 5e-5 * (t > 2e-6) for t in TIMES]),
        "not evenly spaced",
    ),
    "time stands still": ("Time (s),CH1 (V)\n" + table("0.5,{v:.6f}"), "does not advance"),
    "comma for everything": ("Time,CH1\n" + comma(table("{t:.7f}")).replace("\n", ",0,5\n"), "both the separator"),
    "two time bases": (
        "Sample Interval,1.02E-07\nTime (s),CH1 (V)\n"
        + "".join(f"{i * 1e-7:.7e},{v:.6f}\n" for i, v in enumerate(VOLTS)),
        "advances by 0.1 us, and above the table stands 0.102 us",
    ),
    "no time": ("CH1 (V)\n" + table("{v:.6f}"), "no time column and no sample interval"),
    "no volts": ("Time (s),CH1 (A)\n" + table("{t:.9e},{v:.6f}"), "no column holds volts"),
    "few points": ("Time (s),CH1 (V)\n0,1\n1e-7,1\n2e-7,1\n", "only 3 points"),
    "many columns": ("x\n" + table(",".join(["{t:.9e}"] * 12)), "12 columns"),
    "long line": (GOOD["comma"] + "1" * 9_000_000, "longer than"),
    "damaged": (gzip.compress(GOOD["comma"].encode())[:-30], "compressed file is damaged"),
    "damaged inside": (gzip.compress(os.urandom(0) + GOOD["comma"].encode())[:40] + b"\x00" * 60, "damaged"),
}


@pytest.mark.parametrize("name", list(BAD))
def test_bad_files_get_a_sentence_that_names_the_line(tmp_path: Path, name: str) -> None:
    text, words = BAD[name]
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 500


def test_a_folder_or_a_missing_file_is_said_to_be_one(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder"):
        read_capture(tmp_path)
    with pytest.raises(InputError, match="no such file"):
        read_capture(tmp_path / "none.csv")


def read_or_sentence(folder: Path, data: bytes) -> tuple[Capture | None, str]:
    """Return the capture, or the sentence that refused it; any other error passes through."""
    try:
        return read(folder, data), ""
    except InputError as error:
        return None, str(error)


@st.composite
def written(draw: st.DrawFn) -> tuple[str, list[float], float]:
    """Draw a file in a random dialect, with what it holds."""
    delimiter, decimal = draw(st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")]))
    unit, scale = draw(st.sampled_from([("V", 1.0), ("mV", 1e-3), ("Volt", 1.0)]))
    pattern = draw(st.sampled_from(["{:.6f}", "{:.6e}", "{:+.7E}"]))
    end = draw(st.sampled_from(["\n", "\r\n"]))
    step = draw(st.sampled_from([1e-9, 4e-8, 2.5e-7]))
    bracket = draw(st.sampled_from(["({})", "[{}]"]))
    values = draw(st.lists(st.floats(-50, 50), min_size=16, max_size=60))
    metadata = draw(st.lists(st.sampled_from(["Source,CH1", "Averages;4", "Note: a test", ""]), max_size=3))
    rows = [f"{i * step:.9e}{delimiter}{pattern.format(v)}" for i, v in enumerate(values)]
    body = [row.replace(".", decimal) for row in rows]
    head = f"Time {bracket.format('s')}{delimiter}CH1 {bracket.format(unit)}"
    return end.join([*metadata, head, *body, ""]), [v * scale for v in values], step


@FUZZ
@given(case=written())
def test_random_dialects_are_read_exactly(tmp_path: Path, case: tuple[str, list[float], float]) -> None:
    text, values, step = case
    capture = read(tmp_path, text)
    np.testing.assert_allclose(capture.volts["CH1"], values, rtol=1e-5, atol=1e-6)
    assert capture.time_step == pytest.approx(step, rel=1e-6)


@FUZZ
@given(data=st.binary(max_size=600))
def test_fuzz_random_bytes_never_raise_anything_else(tmp_path: Path, data: bytes) -> None:
    capture, sentence = read_or_sentence(tmp_path, data)
    assert "\n" not in sentence
    assert (capture is None) == bool(sentence)


@FUZZ
@given(
    case=written(),
    at=st.integers(0, 2000),
    junk=st.sampled_from([",", ";", "x", "-", "\x00", "1e", "\n", '"', " ", "\r"]),
)
def test_fuzz_damaged_files_are_refused_or_read(
    tmp_path: Path, case: tuple[str, list[float], float], at: int, junk: str
) -> None:
    text = case[0]
    at %= len(text)
    capture, sentence = read_or_sentence(tmp_path, (text[:at] + junk + text[at + 1 :]).encode())
    assert (capture is None) == bool(sentence)
    assert capture is None or all(np.isfinite(volts).all() for volts in capture.volts.values())


def test_a_million_points_stay_small(tmp_path: Path) -> None:
    """The limit for ten million is 1.5 GiB (benchmarks/capture_memory.py); a tenth must need far less."""
    bench = Path(__file__).parents[1] / "benchmarks" / "capture_memory.py"
    code = f"import runpy; run = runpy.run_path({str(bench)!r})['run']; print(*run(1_000_000))"
    out = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True, timeout=120).stdout
    points, _, _, peak, white = (float(part) for part in out.split())
    assert points == 1_000_000
    assert peak < 0.4
    assert white == pytest.approx(0.7, abs=0.005)
