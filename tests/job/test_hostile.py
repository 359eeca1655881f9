"""Job files that must be refused: each with one sentence that names file, key, line and what is accepted."""

from __future__ import annotations

import os
import time
import tomllib
from pathlib import Path
from typing import Any

import pytest

from guardcheck.errors import JobError
from guardcheck.job import parse_job, read_job
from guardcheck.library import Library
from guardcheck.simulate.planning import plan_job

HERE = Path(__file__).parent
BASE = (HERE / "base.toml").read_text(encoding="utf-8")
CASES: list[dict[str, Any]] = tomllib.loads((HERE / "hostile" / "cases.toml").read_text(encoding="utf-8"))["case"]


def job_text(case: dict[str, Any]) -> str:
    if "text" in case:
        return str(case["text"])
    if not case["old"]:
        return BASE + str(case["new"])
    assert case["old"] in BASE
    return BASE.replace(case["old"], case["new"], 1)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    inside = tmp_path / "inside"
    inside.mkdir()
    (tmp_path / "secret.cir").write_text("secret")
    (inside / "mine.cir").write_text("mine")
    (inside / "link.cir").symlink_to(tmp_path / "secret.cir")
    (inside / "loop.cir").symlink_to(inside / "loop.cir")
    os.mkfifo(inside / "pipe.cir")
    return inside


def test_the_base_itself_is_accepted(folder: Path) -> None:
    assert len(parse_job(BASE, file="demo.toml", folder=folder).lines) == 4


def test_the_corpus_is_large_and_its_names_differ() -> None:
    assert len(CASES) >= 100
    assert len({case["name"] for case in CASES}) == len(CASES)


def refused(case: dict[str, Any], folder: Path) -> None:
    job = parse_job(job_text(case), file="demo.toml", folder=folder)
    if case.get("by") == "part":
        plan_job(job, Library.load(), samples=0, seed=1)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_hostile_jobs_are_refused_in_one_sentence(case: dict[str, Any], folder: Path) -> None:
    """What only a part can judge of its values (`by`) is refused when the line is fitted, with the same place."""
    with pytest.raises(JobError) as caught:
        refused(case, folder)
    message = str(caught.value)
    for words in case["says"]:
        assert words in message
    place = f"demo.toml:{case['line']}: " if "line" in case else "demo.toml"
    assert message.startswith(place)
    assert message.isprintable()
    assert len(message) < 600


BYTES = [
    ("UTF-16", "format = 1".encode("utf-16"), "UTF-16; save it as UTF-8"),
    ("Latin-1", b'format = 1\n[unit]\nlabel = "caf\xe9"\n', "demo.toml:3: byte 0xe9 is not UTF-8"),
    ("zero bytes", b"\0" * 1000, "not valid TOML"),
    ("executable", b"\x7fELF\x02\x01\x01" + bytes(range(256)), "not UTF-8"),
    ("too large", b"#" * 300_000, "the most a job file has"),
    ("one long line", b"format = 1\n# " + b"x" * 5_000, "demo.toml:2: this line has 5002 characters"),
    ("deep list", b"format = 1\nline = " + b"[" * 1_900 + b"]" * 1_900, "nested too deeply"),
    ("list of seven levels", b"format = 1\nline = [[[[[[[1]]]]]]]", "nested too deeply"),
    ("deep dotted key", b"a" + b".a" * 1_900 + b" = 1", "nested too deeply"),
    ("deep header", b"[a" + b".a" * 1_900 + b"]", "nested too deeply"),
    ("deep inline table", b"a = " + b"{a = " * 600 + b"1" + b"}" * 600, "nested too deeply"),
    ("huge whole number", b"format = " + b"9" * 3_990 + b"\n[unit]\nlabel = 'x'", "found the bare number 999"),
    ("long text", b'format = 1\n[unit]\nlabel = "' + b"x" * 501 + b'"', "a text of 501 characters; at most 500"),
    ("many keys", b"\n".join(b"k%d = 1" % n for n in range(65)), "65 keys in one table; at most 64"),
    ("many bonds", b"[[bond]]\n" * 65, "bond: a list of 65 entries; at most 64"),
    ("long list", b"line = [" + b"1," * 65 + b"]", "a list of 65 entries; at most 64"),
    ("surrogate", b'format = 1\n[unit]\nlabel = "\xed\xa0\x80"', "not UTF-8"),
]


@pytest.mark.parametrize(("data", "says"), [case[1:] for case in BYTES], ids=[case[0] for case in BYTES])
def test_hostile_bytes_are_refused(data: bytes, says: str, tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    path.write_bytes(data)
    with pytest.raises(JobError) as caught:
        read_job(path)
    assert says in str(caught.value)
    assert str(caught.value).isprintable()


def test_more_than_32_lines_are_refused(tmp_path: Path) -> None:
    names = ", ".join(f'"line-{number}"' for number in range(33))
    with pytest.raises(JobError, match=r"line\[1\]\.names\[31\]: more than 32 lines"):
        parse_job(BASE.replace('"sync"', names).replace('"red", "green", "blue"', '"x"'), folder=tmp_path)


@pytest.mark.parametrize(
    "data",
    [
        b"a.b.c.d.e.f = 1\n" * 16_000,
        b"\n".join(b"a" + b".a" * 1_900 + b".k%d = 1" % n for n in range(60)),
        b"\n".join(b"[" + b"a." * 1_900 + b"k%d]" % n for n in range(60)),
        b'k = "' + b"\\u0041" * 600 + b'"\n',
        b'k = """' + b"\n" * 200_000 + b'"""',
        b"[[a]]\n" * 40_000,
        b"k = [" + b"\n{}," * 50_000 + b"]",
        b"#" * 3_900 + (b"\n" + b"#" * 3_900) * 60,
    ],
    ids=["dotted keys", "deep keys", "deep headers", "escapes", "newlines", "tables", "inline tables", "comments"],
)
def test_no_file_costs_more_than_a_few_seconds(data: bytes, tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    path.write_bytes(data)
    started = time.monotonic()
    with pytest.raises(JobError):
        read_job(path)
    assert time.monotonic() - started < 5


def test_what_is_no_readable_file_is_refused(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    for path, says in [
        (tmp_path / "none.toml", "no such file"),
        (tmp_path, "is a folder"),
        (pipe, "not a regular file"),
        (Path("/dev/zero"), "not a regular file"),
        (tmp_path / ("n" * 300), "cannot be read"),
        (tmp_path / "a\0b", "cannot be read"),
    ]:
        with pytest.raises(JobError, match=says) as caught:
            read_job(path)
        assert str(caught.value).isprintable()
