"""The words of the hand-over checklist and the bench sheet, one TOML file per language beside this module.

A translation is one more file with the same keys and the same names in braces. Reasons and remedies come from the
rules and stand as the rules wrote them.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from guardcheck.errors import InputError, accepted, nearest

DEFAULT = "en"


@dataclass(frozen=True)
class Words:
    """The strings of one language under dotted keys such as ``verdict.headline.conforms``."""

    language: str
    texts: Mapping[str, str]
    lists: Mapping[str, tuple[str, ...]]
    pairs: Mapping[str, tuple[tuple[str, str], ...]]

    def __call__(self, key: str, **values: object) -> str:
        """Return one string with its names in braces filled in; `KeyError` for a key the file does not have."""
        return self.texts[key].format(**values) if values else self.texts[key]

    def count(self, key: str, n: int, **values: object) -> str:
        """Return the string for one or for many; `n` fills ``{n}``."""
        return self(f"{key}.{'one' if n == 1 else 'many'}", n=n, **values)

    def all(self, key: str) -> tuple[str, ...]:
        """Return a list of strings."""
        return self.lists[key]

    def two(self, key: str) -> tuple[tuple[str, str], ...]:
        """Return a list of pairs of strings."""
        return self.pairs[key]

    def known(self, key: str, otherwise: str) -> str:
        """Return a string, or `otherwise` when the language has no word for it."""
        return self.texts.get(key, otherwise)


def languages() -> tuple[str, ...]:
    """Return the languages there is a file for."""
    files = resources.files(__name__).iterdir()
    return tuple(sorted(file.name.removesuffix(".toml") for file in files if file.name.endswith(".toml")))


def words(language: str = DEFAULT) -> Words:
    """Return the strings of a language. Raises `InputError` for one without a file, with the nearest that has one."""
    if language not in languages():
        problem = f"no strings for language '{language[:20]}'; accepted: {accepted(languages())}"
        raise InputError(f"{problem}{nearest(language, languages())}", key="language")
    return _read(language)


@cache
def _read(language: str) -> Words:
    text = resources.files(__name__).joinpath(f"{language}.toml").read_text(encoding="utf-8")
    flat = dict(_flat(tomllib.loads(text), ""))
    return Words(
        language,
        {key: value for key, value in flat.items() if isinstance(value, str)},
        {key: tuple(value) for key, value in flat.items() if isinstance(value, list) and isinstance(value[0], str)},
        {
            key: tuple((first, second) for first, second in value)
            for key, value in flat.items()
            if isinstance(value, list) and isinstance(value[0], list)
        },
    )


def _flat(table: Mapping[str, Any], prefix: str) -> Iterator[tuple[str, Any]]:
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _flat(value, f"{prefix}{key}.")
        else:
            yield f"{prefix}{key}", value
