"""The README shows what the product prints, and names only commands there are."""

from __future__ import annotations

import re

from tests.demo.readme import README, filled

TEXT = README.read_text(encoding="utf-8")


def test_output_blocks_are_real() -> None:
    assert filled(TEXT) == TEXT
    assert "does not conform" in TEXT


def test_every_command_named_exists() -> None:
    from guardcheck.cli import app

    known = {
        command.name or command.callback.__name__.rstrip("_") for command in app.registered_commands if command.callback
    }
    named = set(re.findall(r"`guardcheck ([a-z]+)", TEXT))
    assert named
    assert named <= known


def test_the_job_stands_in_one_paragraph_at_the_top() -> None:
    first = TEXT.split("\n\n")[1]
    assert "before you solder" in first.replace("**", "")
    assert "not proven" in first.replace("*", "")
