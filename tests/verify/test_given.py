"""What the command line hands over: every text is understood or refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given as anything
from hypothesis import settings
from hypothesis import strategies as st

from guardcheck.errors import InputError
from guardcheck.pipeline import Given, given
from tests.demo.make_capture import FILE, capture_text

CALM = settings(derandomize=True, deadline=None, database=None, max_examples=150)
NAME = st.from_regex(r"[a-z][a-z0-9-]{0,10}", fullmatch=True)


def tried(**handed: tuple[str, ...]) -> Given | str:
    """Return what was understood, or the sentence it was refused with."""
    try:
        return given(**handed)  # type: ignore[arg-type]
    except InputError as error:
        return str(error)


@CALM
@anything(st.text(max_size=30))
def test_any_text_is_a_capture_or_a_sentence(text: str) -> None:
    found = tried(captures=(text,))
    if isinstance(found, str):
        assert "LINE=FILE" in found
        assert "\n" not in found
    else:
        assert text.strip().startswith(found.captures[0].line)


@CALM
@anything(NAME, NAME, st.none() | NAME)
def test_a_capture_is_read_as_it_is_written(line: str, file: str, channel: str | None) -> None:
    use = given(captures=(f"{line}={file}.csv" + ("" if channel is None else f"#{channel}"),)).captures[0]
    assert (use.line, use.path, use.channel) == (line, Path(f"{file}.csv"), channel)


@CALM
@anything(st.text(max_size=20))
def test_any_word_is_known_or_refused(text: str) -> None:
    found = tried(captures=("red=a.csv",), picture=(text,))
    assert "\n" not in found if isinstance(found, str) else found.words["picture"]


def test_a_word_for_one_line_goes_before_the_word_for_all() -> None:
    found = given(captures=("red=a.csv",), load=("terminated", "green=open"))
    assert (found.word("load", "red"), found.word("load", "green")) == ("terminated", "open")
    assert found.word("picture", "red") is None


@pytest.mark.parametrize("text", ["red=", "red=a.csv#", "=a.csv", "a.csv"])
def test_half_a_capture_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="LINE=FILE"):
        given(captures=(text,))


def test_an_accuracy_nobody_prints_is_refused() -> None:
    with pytest.raises(InputError, match="is not an accuracy"):
        given(captures=("red=a.csv",), accuracy="good")


def test_the_demo_capture_is_what_its_seeded_script_makes() -> None:
    assert FILE.read_text(encoding="utf-8") == capture_text()
    assert FILE.stat().st_size < 60_000
