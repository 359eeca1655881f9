"""Public docstrings say what goes in and what goes wrong: the door in full, and the floors it stands on."""

from __future__ import annotations

import inspect
import pkgutil
from collections.abc import Callable, Iterator
from importlib import import_module
from types import ModuleType

import pytest

from guardcheck import compose, door, measure, model, units, verdict

CHATTY = 3
"""From this many parameters on, a function says what each is."""


def modules(root: ModuleType) -> Iterator[ModuleType]:
    yield root
    for found in pkgutil.walk_packages(getattr(root, "__path__", ()), f"{root.__name__}."):
        yield import_module(found.name)


def public(root: ModuleType) -> Iterator[tuple[str, Callable[..., object]]]:
    """Yield every public function of a package and of its modules, with its full name."""
    for module in modules(root):
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if not name.startswith("_") and function.__module__ == module.__name__:
                yield f"{module.__name__}.{name}", function


def parameters(function: Callable[..., object]) -> list[str]:
    return [name for name in inspect.signature(function).parameters if name != "self"]


def section(function: Callable[..., object], title: str) -> str:
    """Return the text under a heading of the docstring, empty when there is none."""
    text = inspect.getdoc(function) or ""
    _, found, rest = text.partition(f"{title}\n{'-' * len(title)}\n")
    return rest.split("\n\n")[0] if found else ""


def described(function: Callable[..., object]) -> set[str]:
    """Return the parameters the section names, one line or several names to a line."""
    names: set[str] = set()
    for row in section(function, "Parameters").splitlines():
        if not row.startswith(" "):
            names |= {name.strip() for name in row.partition(" :")[0].split(",")}
    return names


def raised(function: Callable[..., object]) -> bool:
    return "raise " in inspect.getsource(function)


@pytest.mark.parametrize(
    ("name", "function"), list(public(door)), ids=lambda value: value if isinstance(value, str) else ""
)
def test_the_door_describes_every_parameter_and_every_error(name: str, function: Callable[..., object]) -> None:
    if len(parameters(function)) > 1:
        assert described(function) == set(parameters(function)), name
    assert "InputError" in (inspect.getdoc(function) or ""), f"{name} does not say what bad input raises"


@pytest.mark.parametrize("root", [model, units, verdict, measure, compose], ids=lambda root: root.__name__)
def test_no_function_of_many_parameters_is_silent_about_them(root: ModuleType) -> None:
    silent = [name for name, one in public(root) if len(parameters(one)) >= CHATTY and not described(one)]
    assert silent == []


@pytest.mark.parametrize("root", [door, model, units, verdict, measure, compose], ids=lambda root: root.__name__)
def test_a_docstring_names_no_parameter_that_is_not_there(root: ModuleType) -> None:
    wrong = {name: extra for name, one in public(root) if (extra := described(one) - set(parameters(one)) - {""})}
    assert wrong == {}
