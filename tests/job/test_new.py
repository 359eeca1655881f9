"""The job file to fill in: valid as it stands, every key explained, every commented line usable."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from guardcheck.errors import InputError
from guardcheck.files import write_text
from guardcheck.job import new_job_text, parse_job, read_job
from guardcheck.job.keys import JOB
from guardcheck.job.schema import Key, Table
from guardcheck.pipeline import write_new

TEXT = new_job_text()
CODE = re.compile(r"# (?=\[|\]|[a-z_]+ = |  \{ )")


def all_keys(table: Table, place: str = "") -> Iterator[tuple[str, str, Key]]:
    for name, key in table.keys.items():
        yield place, name, key
        if key.table is not None:
            yield from all_keys(key.table, f"{place}.{name}" if place else name)


def blocks() -> list[tuple[int, int]]:
    """Return the line ranges of the commented-out pieces: a whole table, or one entry with its continuation."""
    rows = TEXT.split("\n")
    found, at = [], 0
    while at < len(rows):
        end = at + 1
        if CODE.match(rows[at]):
            whole = rows[at].startswith("# [")
            while end < len(rows) and CODE.match(rows[end]) and (whole or rows[end].startswith(("#   {", "# ]"))):
                end += 1
            found.append((at, end))
        at = end
    return found


def used(start: int, end: int) -> str:
    """Return the template with one piece in use, and what it replaces taken out."""
    rows = TEXT.split("\n")
    name = re.match(r"# ([a-z_]+) = ", rows[start])
    rows[start:end] = [CODE.sub("", row) for row in rows[start:end]]
    if name is not None:
        top = max((number for number in range(start) if rows[number].startswith("[")), default=-1)
        rivals = {
            name[1],
            name[1].removesuffix("_netlist"),
            *({"kind", "input"} if name[1].endswith("netlist") else ()),
        }
        for number in range(top + 1, start):
            key = re.match(r"([a-z_]+) = ", rows[number])
            if key is not None and key[1] in rivals:
                rows[number] = ""
    return "\n".join(rows)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in re.findall(r'"(my-[a-z-]+\.cir)"', TEXT):
        (tmp_path / name).write_text("* mine")
    (tmp_path / "my-parts").mkdir()
    return tmp_path


def test_the_template_is_a_job_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    write_new(path, new_job_text())
    job = read_job(path)
    assert [line.name for line in job.lines] == ["sync"]
    assert job.lines[0].stage.values["series"] == "1.2 kohm 5%"
    assert job.warnings == ()
    assert "invented" in job.unit_kind


@pytest.mark.parametrize(("start", "end"), blocks())
def test_every_commented_piece_works_when_used(start: int, end: int, folder: Path) -> None:
    text = used(start, end)
    assert text != TEXT
    job = parse_job(text, file="demo.toml", folder=folder)
    assert [one for one in job.warnings if "so its values say nothing" not in one] == []


def test_every_key_is_explained() -> None:
    active = "\n".join(CODE.sub("", row) for row in TEXT.split("\n"))
    for place, name, _ in all_keys(JOB):
        written = re.search(rf"(?m)(^|[{{,]) *{name} = |^\[+{name}\]", active)
        assert written, f"{place}.{name} does not stand in the template"
    assert TEXT.count("\n#") > 60


def test_every_choice_is_named_in_the_template() -> None:
    for place, name, key in all_keys(JOB):
        for word in key.choices:
            assert re.search(rf'"{re.escape(word)}"|\b{re.escape(word)}\b', TEXT), f"{place}.{name} = {word}"


def test_the_template_is_readable_in_a_narrow_editor() -> None:
    assert max(len(row) for row in TEXT.split("\n")) <= 130
    assert TEXT.isascii()
    tomllib.loads(TEXT)


def test_an_existing_file_is_never_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    path.write_text("mine")
    with pytest.raises(InputError, match=r"demo\.toml: exists already"):
        write_new(path, new_job_text())
    assert path.read_text() == "mine"
    (tmp_path / "link.toml").symlink_to(tmp_path / "nowhere.toml")
    with pytest.raises(InputError, match="exists already"):
        write_new(tmp_path / "link.toml", new_job_text())
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["demo.toml", "link.toml"]


def test_a_file_system_without_links_is_served_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, target: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", refuse)
    path = tmp_path / "demo.toml"
    write_new(path, new_job_text())
    assert path.read_text(encoding="utf-8") == TEXT
    with pytest.raises(InputError, match="exists already"):
        write_new(path, new_job_text())


@pytest.mark.parametrize("name", ["no-folder/demo.toml", "n" * 300, "a\0b", ""])
def test_an_impossible_name_is_one_sentence_and_leaves_nothing(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        write_new(tmp_path / name, new_job_text())
    assert str(caught.value).isprintable()
    assert list(tmp_path.iterdir()) == []


def test_writing_replaces_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "a.txt"
    write_text(path, "old\n")
    write_text(path, "new \u03a9\n")
    assert path.read_bytes() == "new \u03a9\n".encode()

    def fail(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(InputError, match="cannot be written: no space left on device"):
        write_text(path, "half")
    assert path.read_text(encoding="utf-8") == "new \u03a9\n"
    assert [entry.name for entry in tmp_path.iterdir()] == ["a.txt"]
