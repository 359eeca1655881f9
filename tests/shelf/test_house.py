"""The page of the house: what DEVELOPERS.md says stands where it says, and every room has its place in the table."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
TABLE = PAGE[PAGE.index("| storey |") : PAGE.index("A line is fitted once")]
PATHS = sorted(set(re.findall(r"`([\w./*-]+(?:\.(?:py|toml|typ|md)|/))`", PAGE)))
STOREYS = [set(re.findall(r"`(\w+)`", row.split("|")[2])) for row in TABLE.splitlines()[2:] if row.startswith("|")]
CONTRACTS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]["contracts"]
LAYERS = next(one["layers"] for one in CONTRACTS if one["type"] == "layers" and one["containers"] == ["guardcheck"])


@pytest.mark.parametrize("path", PATHS)
def test_every_path_of_the_page_is_there(path: str) -> None:
    folders = (ROOT, ROOT / "guardcheck", ROOT / "guardcheck" / "report" / "handover")
    assert any(any(folder.glob(path.rstrip("/"))) for folder in folders), path


def test_the_storeys_are_those_of_the_import_contract() -> None:
    """The contract is exhaustive, so every room stands in the table, on its floor, top to bottom."""
    assert [set(layer.split(" | ")) for layer in LAYERS] == STOREYS


@pytest.mark.parametrize("room", sorted(one.parent.name for one in (ROOT / "guardcheck/report").glob("*/__init__.py")))
def test_every_room_of_the_report_is_named(room: str) -> None:
    assert f"`{room}`" in TABLE


def test_no_module_is_longer_than_one_subject() -> None:
    """600 lines is the bound the page of the house sets itself."""
    long = {
        str(one.relative_to(ROOT)): count
        for one in (ROOT / "guardcheck").rglob("*.py")
        if (count := len(one.read_text(encoding="utf-8").splitlines())) > 600
    }
    assert long == {}


UNSEEN = re.compile(r"models\.md|worked example|\b(?:WL|WH|WI|WD)\d\d\b", re.IGNORECASE)
"""Pages nobody who reads a shipped file can open: a figure stands on its formula or on a publication."""


def test_no_shipped_file_leans_on_a_page_that_is_not_shipped() -> None:
    shipped = [one for folder in ("guardcheck", "circuits") for one in sorted((ROOT / folder).rglob("*.*"))]
    texts = {one: one.read_text(encoding="utf-8") for one in shipped if one.suffix in (".py", ".toml", ".cir", ".typ")}
    assert len(texts) > 400
    assert [str(one.relative_to(ROOT)) for one, text in texts.items() if UNSEEN.search(text)] == []
