"""Readings straight from a meter: a simulated dialogue, and peers on the loopback that are mute, endless or broken.

SCPI-99: MEASure and READ queries, 9.9E37 for over range, SYSTem:ERRor? answering 0 for no error (from memory,
unverified against the standard's text).
"""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from guardcheck.cli import app
from guardcheck.errors import InputError
from guardcheck.measure.instrument import Taken, take
from guardcheck.measure.readings import read_readings
from guardcheck.verification.recording import facts_of, record_bond, record_reading

pytest.importorskip("pyvisa", reason="the extra 'instruments' is not installed")
pytest.importorskip("pyvisa_sim", reason="pyvisa-sim is not installed")

SIMULATED = f"{Path(__file__).parent / 'meter.yaml'}@sim"
ADDRESS = "TCPIP0::192.0.2.7::5025::SOCKET"


def test_a_meter_is_asked_three_times() -> None:
    found = take(ADDRESS, "V", backend=SIMULATED)
    assert found.identity == "BENCH,METER,0001,1.0"
    assert found.values == (1.002, 1.0, 1.0)
    assert found.mean == pytest.approx(3.002 / 3)
    assert found.spread == pytest.approx(0.002)


def test_over_range_is_no_value() -> None:
    with pytest.raises(InputError, match="over range"):
        take(ADDRESS, "ohm", backend=SIMULATED)


def test_what_no_meter_reads_is_refused_before_anything_is_asked() -> None:
    with pytest.raises(InputError, match="V, ohm or Hz"):
        take(ADDRESS, "1", backend=SIMULATED)


@contextmanager
def peer(answer: Callable[[bytes], bytes | None]) -> Iterator[str]:
    """Run a peer on the loopback that answers each line with what `answer` gives; None closes the line."""
    server = socket.create_server(("127.0.0.1", 0))
    stop = threading.Event()

    def serve() -> None:
        with contextlib.suppress(OSError):  # the other side may hang up at any time
            line, _ = server.accept()
            with line, line.makefile("rb") as questions:
                for question in questions:
                    said = answer(question.strip())
                    if said is None or stop.is_set():
                        return
                    line.sendall(said)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    try:
        yield f"TCPIP::127.0.0.1::{server.getsockname()[1]}::SOCKET"
    finally:
        stop.set()
        server.close()


def scripted(**changed: bytes | None) -> Callable[[bytes], bytes | None]:
    told: dict[bytes, bytes | None] = {
        b"*IDN?": b"BENCH,METER\n",
        b"MEAS:VOLT:DC?": b"+1.0E+00\n",
        b"READ?": b"+1.0E+00\n",
        b"FUNC?": b'"VOLT"\n',
        b"SYST:ERR?": b'+0,"No error"\n',
    }
    names = {"idn": b"*IDN?", "meas": b"MEAS:VOLT:DC?", "read": b"READ?", "func": b"FUNC?", "err": b"SYST:ERR?"}
    told |= {names[name]: answer for name, answer in changed.items()}
    return lambda question: told.get(question, b"")


def test_a_sound_peer_on_the_loopback() -> None:
    with peer(scripted()) as address:
        assert take(address, "V", patience=2.0) == Taken("BENCH,METER", (1.0, 1.0, 1.0))


PEERS = [
    ("mute", {"idn": b""}, "does not answer"),
    ("closed", {"meas": None}, "MEAS:VOLT:DC?"),
    ("endless", {"read": b"1" * 4000}, "sends without end"),
    ("half an answer", {"idn": b"BENCH"}, "*IDN?"),
    ("no number", {"meas": b"1.0 V\n"}, "no plain number"),
    ("not a number", {"meas": b"NAN\n"}, "no number"),
    ("another kind", {"func": b'"CURR"\n'}, "of another kind"),
    ("alternating volts", {"func": b'"VOLT:AC"\n'}, "of another kind"),
    ("an error", {"err": b'-113,"Undefined header"\n'}, "Undefined header"),
    ("no text", {"meas": b"\xff\xfe\n"}, "no text"),
]


@pytest.mark.parametrize(("name", "changed", "words"), PEERS, ids=[row[0] for row in PEERS])
def test_broken_peers_are_one_sentence_and_leave_no_file(
    tmp_path: Path, name: str, changed: dict[str, bytes | None], words: str
) -> None:
    from typer.testing import CliRunner

    target = tmp_path / "readings.toml"
    with peer(scripted(**changed)) as address:
        told = ["read", address, "--quantity", "level.blank", "--line", "red", "--into", str(target)]
        done = CliRunner().invoke(app, [*told, "--accuracy", "1%", "--patience", "0.3"])
    assert isinstance(done.exception, InputError), done.output
    sentence = str(done.exception)
    assert words in sentence
    assert sentence.startswith("TCPIP::127.0.0.1")
    assert "\n" not in sentence
    assert not target.exists()


def test_nobody_there() -> None:
    with pytest.raises(InputError, match=r"cannot be opened|does not"):
        take("TCPIP::127.0.0.1::1::SOCKET", "V", patience=0.3)
    with pytest.raises(InputError, match="cannot be opened"):
        take("NONSENSE", "V", patience=0.3)


TAKEN = Taken('MAKER,"X",1', (5.003, 5.004, 5.002))


def test_a_reading_is_appended_and_comments_stay(tmp_path: Path) -> None:
    file = tmp_path / "readings.toml"
    facts = facts_of("level.blank", TAKEN, "1% + 2 counts", "1 mV")
    record_reading(file, "function", "level.blank", facts)
    file.write_text("# mine, keep it\n" + file.read_text(encoding="utf-8"), encoding="utf-8")
    record_reading(file, "function", "level.blank", facts, place="connector", steady=True)
    text = file.read_text(encoding="utf-8")
    assert text.startswith("# mine, keep it\nformat = 1\n")
    first, second = read_readings(file).readings
    assert (first.seen, first.instrument, first.resolution) == (pytest.approx(5.003), "meter", pytest.approx(1e-3))
    assert (second.place, second.steady) == ("connector", True)
    assert "MAKER,?X?,1; 3 readings, spread 2 mV" in first.note


def test_counts_need_the_size_of_one() -> None:
    with pytest.raises(InputError, match="--resolution"):
        facts_of("level.blank", TAKEN, "1% + 2 counts", None)
    with pytest.raises(InputError, match="no instrument has"):
        facts_of("level.blank", TAKEN, "0%", None)


JOB = """# a bench
format = 1
[unit]
label = "X-1"
[[bond]]
from = "board shield"  # the one beside the socket
to = "shell"
purpose = "shield"
"""


def test_a_bond_goes_into_its_place_in_the_job(tmp_path: Path) -> None:
    file = tmp_path / "job.toml"
    file.write_text(JOB, encoding="utf-8")
    facts = facts_of("bond.resistance", Taken("M", (0.12, 0.12, 0.12)), "1% + 2 counts", "0.01 ohm")
    record_bond(file, "board shield to shell", facts)
    text = file.read_text(encoding="utf-8")
    assert "# a bench" in text
    assert "# the one beside the socket" in text
    assert 'value = "120 mohm"' in text
    for where, words in (("board shield to shell", "has a reading already"), ("bord shield to shell", "did you mean")):
        with pytest.raises(InputError, match=words):
            record_bond(file, where, facts)
    assert file.read_text(encoding="utf-8") == text


def test_a_file_that_would_be_none_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "readings.toml"
    file.write_text("format = 2\n", encoding="utf-8")
    with pytest.raises(InputError, match="format = 1"):
        record_reading(file, "red", "level.blank", facts_of("level.blank", TAKEN, "1%", None))
    assert file.read_text(encoding="utf-8") == "format = 2\n"
    assert [one.name for one in tmp_path.iterdir()] == ["readings.toml"]
