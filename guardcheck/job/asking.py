"""A guided start: questions as data, answers as people type them, and the job file they make.

Asking itself (a terminal, a page) is somebody else's: this knows what is asked next, what an answer means, and how the
file is written. Questions and file are data (questions.toml, asked_job.toml), so that a page can do the same. An answer
nobody knows is written as ``unknown``, never guessed in silence.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from guardcheck.errors import InputError, UnitError, accepted, nearest
from guardcheck.job.schema import OVER_RANGE
from guardcheck.toml_tables import Table, read_table
from guardcheck.units import DIMENSIONS, PREFIXES, describe, format_si, grammar, noun, parse, shown, spellings

FILE = Path(__file__).parent / "questions.toml"
JOB_FILE = Path(__file__).parent / "asked_job.toml"
KINDS = ("text", "choice", "several", "part", "value")
NOT_KNOWN = ("", "?", "unknown", "-", "no idea")
OVER = ("ol", "over", "over range", "inf", "1.")
NONE = "none"
"""The answer to `several` where there is nothing of it."""
BARE = r"[0-9]+(?:[.,][0-9]+)?"
CODE = r"[1-9][0-9][1-6]"
SHORT = r"([0-9]+(?:\.[0-9]+)?)\s*([munp\u00b5])"
CONDITION = r"(not )?(\w+)(?:\|([\w.-]+))?(?:\s*(!?=)\s*(.+))?"
"""Whether it is turned round, the answer's name, what stands for none, the comparison, and the keys."""
PLACE = r"\{(\w+)(?:\|([^{}]*))?\}"
"""Where an answer goes in the job file, and what stands there when there is none."""


@dataclass(frozen=True)
class Choice:
    """One answer to pick: the key it is kept as, how it is shown, other words for it."""

    key: str
    label: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """One question.

    `when` names the answers it is asked after; `parts` maps what is printed to a library name; `shade` tells that it is
    a coupling capacitor, of which what it does to a white screen is said.
    """

    id: str
    kind: str
    ask: str
    cost: str
    unit: str = ""
    note: str = ""
    example: str = ""
    when: str = ""
    over_range: bool = False
    shade: bool = False
    choices: tuple[Choice, ...] = ()
    parts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Heard:
    """What an answer means: the `value` to keep (None for not known), and the words that say so."""

    value: str | None
    said: str


@dataclass(frozen=True)
class Piece:
    """One piece of the job file: its name, what joins its lines, and its parts, each lines under a condition."""

    name: str
    join: str
    parts: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True)
class Shade:
    """What a coupling capacitor is reckoned with: load, usual resistor, field rate, usual size."""

    load: float
    series: float
    rate: float
    usual: float

    def share(self, farads: float, ohms: float | None, rate: float | None) -> float:
        """Return how much darker a white screen gets from top to bottom.

        tanh(1 / (4 f R C)): a square wave of the field rate behind a high-pass, in the steady state (circuit law).

        Parameters
        ----------
        farads : the coupling capacitor [F]
        ohms : the resistor in the way [ohm], None for the usual one
        rate : fields a second [Hz], None for the slower ones

        """
        behind = self.load + (self.series if ohms is None else ohms)
        return math.tanh(1.0 / (4.0 * (rate or self.rate) * behind * farads)) if farads > 0 else 1.0


Answers = Mapping[str, str | None]


@cache
def _table() -> Table:
    top, _ = read_table(FILE, error=InputError, shown_as="questions.toml")
    top.only("say", "shade", "question")
    return top


@cache
def questions() -> tuple[Question, ...]:
    """Return the questions in the order they are asked."""
    return tuple(_question(row) for row in _table().tables("question"))


@cache
def sayings() -> Mapping[str, str]:
    """Return the sentences said of answers, with names in braces, by what they are for."""
    row = _table().table("say")
    return {name: row.text(name) for name in row}


@cache
def shading() -> Shade:
    """Return what a coupling capacitor is reckoned with."""
    row = _table().table("shade")
    return Shade(row.real("load", "ohm"), row.real("series", "ohm"), row.real("rate", "Hz"), row.real("usual", "F"))


@cache
def pieces() -> tuple[Piece, ...]:
    """Return the pieces of the job file in the order they are made; the last is the file."""
    top, _ = read_table(JOB_FILE, error=InputError, shown_as="asked_job.toml")
    return tuple(
        Piece(
            row.text("name"),
            row.text("join", "\n"),
            tuple((part.text("when", ""), part.texts("lines")) for part in row.tables("part")),
        )
        for row in top.tables("piece")
    )


def _question(row: Table) -> Question:
    row.only(
        "id", "kind", "ask", "cost", "unit", "note", "example", "when", "over_range", "shade", "choice", "parts"
    )  # fmt: skip
    parts = row.table("parts")
    return Question(
        row.text("id"),
        row.word("kind", KINDS),
        row.text("ask"),
        row.text("cost"),
        row.text("unit", ""),
        row.text("note", ""),
        row.text("example", ""),
        row.text("when", ""),
        row.flag("over_range"),
        row.flag("shade"),
        tuple(Choice(one.text("key"), one.text("label"), one.texts("words")) for one in row.tables("choice")),
        {name: parts.text(name) for name in parts},
    )


def next_question(answers: Answers) -> Question | None:
    """Return the first question that is still to be asked, None when there is none."""
    return next((one for one in questions() if one.id not in answers and _holds(one.when, answers)), None)


def _holds(when: str, answers: Answers) -> bool:
    """Tell whether all conditions hold, such as ``id``, ``not id``, ``id = key, key`` and ``id|otherwise != key``."""
    return not when or all(_condition(one, answers) for one in when.split(" and "))


def _condition(one: str, answers: Answers) -> bool:
    turned, name, otherwise, sign, keys = re.fullmatch(CONDITION, one).groups()  # type: ignore[union-attr]
    found = answers.get(name) or otherwise
    if sign is None:
        return (found is not None) != bool(turned)
    met = found is not None and bool(set(found.casefold().split(", ")) & set(keys.casefold().split(", ")))
    return found is not None and met == (sign == "=")


def heard(question: Question, answer: str, answers: Answers | None = None) -> Heard:
    """Return what an answer means.

    Parameters
    ----------
    question : what was asked
    answer : what was typed
    answers : what was answered before; it may say more about this answer

    Raises
    ------
    InputError
        it can mean several things, or none; the sentence asks again

    """
    text = " ".join(answer.strip().split())
    if text.casefold() in NOT_KNOWN:
        return Heard(None, _say("not_known", cost=question.cost))
    found = _READERS[question.kind](question, text)
    said = _shaded(found, answers or {}) if question.shade else found.said
    return Heard(found.value, _say("heard", said=said))


def _say(saying: str, /, **values: str) -> str:
    return sayings()[saying].format(**values)


def _refused(question: Question, saying: str, /, **values: str) -> InputError:
    return InputError(_say(saying, **values), key=question.id)


def _text(question: Question, text: str) -> Heard:
    if len(text) > 80 or not text.isprintable() or '"' in text or "\\" in text:
        raise _refused(question, "plain_text")
    return Heard(text, text)


def _matching(question: Question, text: str) -> list[Choice]:
    word = text.casefold()
    named = [one for one in question.choices if word == one.key.casefold() or word in one.words]
    at = int(word) if re.fullmatch(r"[0-9]{1,2}", word) else 0
    return named or list(question.choices[at - 1 : at] if at else ())


def _chosen(question: Question, text: str) -> Choice:
    chosen = _matching(question, text)
    if len(chosen) > 1:
        raise _refused(question, "which", labels=" / ".join(one.label for one in chosen))
    if not chosen:
        keys = [one.key for one in question.choices]
        problem = _say("none_of_them", text=shown(text, 40), count=str(len(keys)))
        raise InputError(f"{problem}{nearest(text.casefold(), keys)}", key=question.id)
    return chosen[0]


def _choice(question: Question, text: str) -> Heard:
    chosen = _chosen(question, text)
    return Heard(chosen.key, chosen.label.split("   ")[-1])


def _several(question: Question, text: str) -> Heard:
    if text.casefold() == NONE:
        return Heard(NONE, NONE)
    named = text.split(",") if "," in text else [text] if _matching(question, text) else text.split(" ")
    found = [word.strip() for word in named if word.strip()]
    if NONE in (word.casefold() for word in found):
        raise _refused(question, "none_and_more")
    picked = {_chosen(question, word) for word in found}
    chosen = [one for one in question.choices if one in picked]
    return Heard(", ".join(one.key for one in chosen), "; ".join(one.label for one in chosen))


def _part(question: Question, text: str) -> Heard:
    parts = question.parts
    word = text.casefold().replace(" ", "").replace("-", "")
    # what is printed begins with the type: 74HC04N is a 74HC, and a 74HCT04 is no 74HC
    named = sorted((name for name in parts if word.startswith(name)), key=len)
    if text in parts.values():
        return Heard(text, text)
    if not named:
        known = accepted(tuple(name.upper() for name in parts))
        raise _refused(question, "no_part", text=shown(text, 40), parts=known)
    return Heard(parts[named[-1]], _say("part", text=text, name=parts[named[-1]]))


def _value(question: Question, text: str) -> Heard:
    if question.over_range and text.casefold() in OVER:
        return Heard(OVER_RANGE, _say("over_range"))
    unit = question.unit
    if unit == "F" and re.fullmatch(CODE, text):
        meant = format_si(float(text[:2]) * 10 ** int(text[2]) * 1e-12, "F")
        raise _refused(question, "code", text=text, meant=meant)
    if unit == "F" and re.fullmatch(BARE, text):
        raise _refused(question, "bare", text=text)
    short = re.fullmatch(SHORT, text)
    written = f"{short[1]} {short[2]}{unit}" if short else f"{text} {unit}" if re.fullmatch(BARE, text) else text
    written = written.replace(",", ".")
    try:
        value, _ = parse(written, unit)
    except UnitError as error:
        raise InputError(error.problem, key=question.id) from None
    return Heard(written, format_si(value.nominal, unit))


_READERS = {"text": _text, "choice": _choice, "several": _several, "part": _part, "value": _value}


def _shaded(found: Heard, answers: Answers) -> str:
    """Return what is said of a coupling capacitor: its size, what it does to a white screen, and the usual one."""
    shade = shading()
    series, rate = answers.get("series"), answers.get("rate")
    ohms = None if series is None else parse(series, "ohm")[0].nominal
    hertz = None if rate is None else float(rate)
    share = shade.share(parse(found.value or "", "F")[0].nominal, ohms, hertz)
    usual = shade.share(shade.usual, ohms, hertz)
    said = _say("shade", said=found.said, share=_percent(share))
    if share <= usual * 1.01:
        return said
    return _say("shade_usual", said=said, usual=format_si(shade.usual, "F"), usual_share=_percent(usual))


def _percent(share: float) -> str:
    return f"{float(f'{100 * share:.1e}'):g}"


def job_text(answers: Answers) -> str:
    """Return the job file that answers make; what nobody knew stands as ``unknown`` or is left to the shelf."""
    known = dict(answers)
    for piece in pieces():
        lines = [line for when, lines in piece.parts if _holds(when, known) for line in lines]
        known[piece.name] = piece.join.join(_filled(line, known) for line in lines) or None
    return f"{known[pieces()[-1].name]}\n"


def _filled(line: str, known: Answers) -> str:
    return re.sub(PLACE, lambda found: known.get(found[1]) or found[2] or "", line)


def asking() -> Mapping[str, Any]:
    """Return all that asking needs in JSON's own types: questions, sentences, patterns, units, pieces of the file.

    Somebody who can read it asks, hears and writes as this module does, without it.
    """
    units = sorted({one.unit for one in questions() if one.unit})
    return {
        "questions": [asdict(one) for one in questions()],
        "say": dict(sayings()),
        "pieces": [asdict(one) for one in pieces()],
        "shade": asdict(shading()),
        "not_known": NOT_KNOWN,
        "over": OVER,
        "over_range": OVER_RANGE,
        "none": NONE,
        "patterns": {"bare": BARE, "code": CODE, "short": SHORT, "condition": CONDITION, "place": PLACE},
        "grammar": asdict(grammar()),
        "prefixes": PREFIXES,
        "wanted": {unit: describe(unit) for unit in units},
        "units": {unit: spellings(unit) for unit in units},
        "others": {
            unit: {"noun": noun(unit), "names": list(spellings(unit))} for unit in DIMENSIONS if "/" not in unit
        },
    }
