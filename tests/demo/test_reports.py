"""The committed reports are what the code makes today: text exactly, numbers to 1e-6 relative, pictures by presence."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.demo.make_reports import DEMO, make_all

NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
PICTURE = re.compile(r"<svg.*?</svg>", re.DOTALL)
ENGINE = re.compile(r'ngspice[- ]\d+(?:\.\d+)*|"version": "\d+[^"]*"')
UNITS = sorted(path.parent.name for path in DEMO.glob("*/job.toml"))
RELATIVE = 1e-6
ABSOLUTE = 1e-9
"""What a solver leaves where the answer is zero differs between machines."""


def plain(path: Path) -> str:
    """Return the text that must agree: without pictures and without the simulator's version."""
    return ENGINE.sub("ngspice", PICTURE.sub("<svg/>", path.read_text(encoding="utf-8")))


def differences(made: str, kept: str) -> list[str]:
    """Return the places where two texts differ in words, or in numbers by more than the tolerance."""
    ours, theirs = NUMBER.split(made), NUMBER.split(kept)
    if ours != theirs:
        first = next((pair for pair in zip(ours, theirs, strict=False) if pair[0] != pair[1]), (ours[-1], theirs[-1]))
        return [f"text: {first[0][-80:]!r} against {first[1][-80:]!r}"]
    numbers = zip(NUMBER.findall(made), NUMBER.findall(kept), strict=True)
    return [
        f"number: {one} against {other}"
        for one, other in numbers
        if one != other and abs(float(one) - float(other)) > max(RELATIVE * abs(float(other)), ABSOLUTE)
    ]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All reports, made again in another folder."""
    folder = tmp_path_factory.mktemp("reports")
    for unit in UNITS:
        shutil.copytree(
            DEMO / unit, folder / unit, ignore=shutil.ignore_patterns("*.html", "*.svg", "*.json", "*.txt", "*.pdf")
        )
    make_all(folder)
    return folder


@pytest.mark.parametrize("unit", UNITS)
def test_reports_are_what_the_code_makes(made: Path, unit: str) -> None:
    kept, new = DEMO / unit, made / unit
    assert sorted(path.name for path in new.iterdir()) == sorted(path.name for path in kept.iterdir())
    for path in sorted(new.iterdir()):
        if path.suffix in (".svg", ".pdf"):
            assert path.stat().st_size > 500
        else:
            assert differences(plain(path), plain(kept / path.name)) == [], f"{unit}/{path.name}: run make reports"


def test_the_comparison_sees_a_change() -> None:
    assert differences("white 683 mV", "white 683.1 mV")
    assert differences("white 683 mV", "black 683 mV")
    assert not differences("white 0.6827671261 V", "white 0.6827671262 V")
