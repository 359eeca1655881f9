"""The words and the reading order every report shares, and the cleaning of text that came from a user."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache

from guardcheck.formatting import line_rank
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    KNOWN_BY,
    NOT_APPLICABLE,
    NOT_PROVEN,
    QUANTITIES,
    Finding,
)
from guardcheck.rules import all_rules

OUTCOME_WORDS: Mapping[str, str] = {
    CONFORMS: "conforms",
    DOES_NOT_CONFORM: "does not conform",
    NOT_PROVEN: "not proven",
    NOT_APPLICABLE: "not applicable",
}
MARKS: Mapping[str, str] = {CONFORMS: "ok", DOES_NOT_CONFORM: "NO", NOT_PROVEN: "open", NOT_APPLICABLE: "-"}
"""One short word per outcome, for places where the whole one does not fit; a legend always stands beside them."""

WORST_FIRST = (DOES_NOT_CONFORM, NOT_PROVEN, CONFORMS, NOT_APPLICABLE)

STATE_WORDS: Mapping[bool | None, str] = {False: "bare", True: "guarded", None: "value"}

COMMAND_TITLES: Mapping[str, str] = {
    "check": "Check of the planned mod",
    "verify": "Verification of the finished mod",
    "checklist": "Hand-over checklist",
}

ORIGIN_WORDS: Mapping[str, str] = {
    "simulated": "simulated",
    "measured": "measured",
    "declared": "declared, not measured",
    "computed": "computed",
}

KNOWN_WORDS: Mapping[str, str] = KNOWN_BY

PLACE_WORDS: Mapping[str, str] = {"joined": "unit and display joined", "crt": "picture tube"}
"""Places that a result names by a key, as a reader calls them; every other place stands as it is."""

BENCH_FACT = "declared.fact"
"""The quantity of findings that hold a fact and no number: the place says which."""

WHOLE_UNIT = "The unit as a whole"
_DOUBTFUL = ("recalled", "practice")


def clean(text: object) -> str:
    """Return text fit for any reader: no control, direction-override or zero-width characters, blanks collapsed.

    Names and notes come from a job file, so they are hostile until cleaned: an escape sequence could repaint a
    terminal, a direction override could make a printed value read backwards.
    """
    words = str(text)
    if words.isascii() and words.isprintable():  # nearly all of our own, and some ten thousand a page
        return " ".join(words.split())
    kept = (" " if char in "\t\n\r\v\f\x85\u2028\u2029" else char for char in words)
    return " ".join("".join(char for char in kept if not _forbidden(char)).split())


def _forbidden(char: str) -> bool:
    return unicodedata.category(char) in ("Cc", "Cf", "Cs")


def quantity_title(name: str) -> str:
    """Return the short title of a quantity; an unknown name is shown as it is."""
    kind = QUANTITIES.get(name)
    return clean(name) if kind is None else kind.title


def rule_word(code: str) -> str:
    """Return the word a rule is known by in print, ``touch-current`` for TCH01; a code of no rule stands as it is."""
    return _rule_words().get(code, clean(code))


@cache
def _rule_words() -> Mapping[str, str]:
    return {one.rule.code: one.slug for one in all_rules()}


def place_word(where: str) -> str:
    """Return a place of a finding as a reader calls it."""
    return PLACE_WORDS.get(where, clean(where))


def topic(quantity: str, where: str | None) -> str:
    """Return what a finding is about: its quantity with the place, or the place alone where that is the fact."""
    if quantity == BENCH_FACT and where:
        return place_word(where)
    return f"{quantity_title(quantity)}, {place_word(where)}" if where else quantity_title(quantity)


def doubt(finding: Finding) -> str | None:
    """Return the key of `KNOWN_BY` when the limit has no published source that was read; else None."""
    known = None if finding.limit is None else finding.limit.known_by
    return known if known in _DOUBTFUL else None


def in_order(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings worst first, then in bench order of their lines."""
    return sorted(findings, key=lambda one: (WORST_FIRST.index(one.outcome), line_rank(one.line), one.id))


def sentence(text: str) -> str:
    """Return cleaned text with a capital first letter and a full stop, so that reasons read as sentences."""
    body = clean(text)
    if not body:
        return ""
    body = body[0].upper() + body[1:] if body[1:2].islower() or " " in body[:3] else body
    return body if body[-1] in ".!?:" else f"{body}."
