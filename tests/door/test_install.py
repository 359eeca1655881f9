"""What `pip install` brings: every package the code imports is declared, and every file it reads is in the wheel."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def plain(name: str) -> str:
    """Return a distribution's name as indexes compare it."""
    return re.sub(r"[-_.]+", "-", re.split(r"[<>=!~;\[ ]", name)[0]).lower()


def imported() -> set[str]:
    """Return every top-level package the code imports anywhere, but for typing alone."""
    found: set[str] = set()
    for path in (ROOT / "guardcheck").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                found |= {alias.name.partition(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
                found.add(node.module.partition(".")[0])
    return found - set(sys.stdlib_module_names) - {"guardcheck"}


def test_every_import_is_declared() -> None:
    """An empty environment has nothing but what is declared: a package that is only on this machine fails there."""
    declared = {plain(name) for name in PROJECT["dependencies"]}
    extras = {plain(name) for key, rows in PROJECT["optional-dependencies"].items() if key != "dev" for name in rows}
    owners = packages_distributions()
    for package in sorted(imported()):
        homes = {plain(name) for name in owners.get(package, [])}
        assert homes & (declared | extras), f"{package} is imported and not declared in pyproject.toml"


def test_every_declared_package_is_imported() -> None:
    owners = packages_distributions()
    used = {plain(name) for package in imported() for name in owners.get(package, [])}
    assert {plain(name) for name in PROJECT["dependencies"]} <= used


def test_the_version_stands_in_one_file_alone() -> None:
    import guardcheck

    assert "version" not in PROJECT
    assert PROJECT["dynamic"] == ["version"]
    assert guardcheck.__version__ in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
