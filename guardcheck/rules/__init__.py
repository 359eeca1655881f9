"""Rules: one file each, found by scanning this folder. There is no list to edit."""

from __future__ import annotations

import importlib
import pkgutil
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache

from guardcheck.model import Ask, Case, Facts, Finding, Rule
from guardcheck.verdict.outcome import as_claim

_FILE = re.compile(r"[a-z]{3}[0-9]{2}_[a-z_]+")


@dataclass(frozen=True)
class Loaded:
    """A rule as found: its record, its function, its cases, its page (the docstring), and what it asks of ngspice.

    `slug` is what a reader calls it: the name of its file without the code.

    `settings` gives, for each key of a job that only this rule understands, the names it may have.
    """

    rule: Rule
    judge: Callable[[Facts], tuple[Finding, ...]]
    cases: tuple[Case, ...]
    page: str
    slug: str
    asks: Callable[[Facts], tuple[Ask, ...]] | None = None
    settings: Mapping[str, Callable[[], tuple[str, ...]]] = field(default_factory=dict)


@cache
def all_rules() -> tuple[Loaded, ...]:
    """Return every rule in this folder, sorted by code."""
    found = []
    for info in pkgutil.iter_modules(__path__):
        if _FILE.fullmatch(info.name):
            module = importlib.import_module(f"{__name__}.{info.name}")
            found.append(
                Loaded(
                    module.RULE,
                    module.judge,
                    module.CASES,
                    module.__doc__ or "",
                    info.name.partition("_")[2].replace("_", "-"),
                    getattr(module, "asks", None),
                    getattr(module, "SETTINGS", {}),
                )
            )
    return tuple(sorted(found, key=lambda one: one.rule.code))


def judge_all(facts: Facts) -> tuple[Finding, ...]:
    """Return the findings of every rule as the claims they make, sorted by id."""
    findings = [as_claim(finding, one.rule, facts.forbids) for one in all_rules() for finding in one.judge(facts)]
    return tuple(sorted(findings, key=lambda one: one.id))


def asks_of(facts: Facts) -> tuple[Ask, ...]:
    """Return what all rules ask of the simulator before they judge, in the order of their codes."""
    return tuple(ask for one in all_rules() if one.asks is not None for ask in one.asks(facts))


def handled_tables() -> frozenset[str]:
    """Return the names of the job tables some rule judges."""
    return frozenset(table for one in all_rules() for table in one.rule.tables)


def known_settings() -> Mapping[str, tuple[str, ...]]:
    """Return the names each key of a job may have that only a rule understands."""
    return {key: names() for one in all_rules() for key, names in one.settings.items()}
