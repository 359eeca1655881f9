"""What each rule asks and finds on declared benches, to six figures: the arithmetic stands in ``benches.py``."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.rules.benches import BENCHES, said

TABLES = (Path(__file__).parent / "tables.txt").read_text(encoding="utf-8").splitlines()


@pytest.mark.parametrize("code", BENCHES)
def test_rule_says_what_was_worked_out(code: str) -> None:
    heads = [index for index, text in enumerate(TABLES) if not text.startswith(" ")]
    ends = [*heads[1:], len(TABLES)]
    expected = [
        text
        for start, end in zip(heads, ends, strict=True)
        if TABLES[start].startswith(f"{code} ")
        for text in TABLES[start:end]
    ]
    assert list(said(code)) == expected
