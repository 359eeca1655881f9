"""A guided start: questions as data, answers as people type them, and the job file they make.

Asking itself (a terminal, a page) is somebody else's: this knows what is asked next, what an answer means, and how the
file is written. An answer nobody knows is written as ``unknown``, never guessed in silence.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from guardcheck.errors import InputError, UnitError, accepted, nearest
from guardcheck.job.schema import OVER_RANGE
from guardcheck.model import UNKNOWN_WORD
from guardcheck.toml_tables import Table, read_table
from guardcheck.units import format_si, parse, shown

FILE = Path(__file__).parent / "questions.toml"
KINDS = ("text", "choice", "part", "value")
NOT_KNOWN = ("", "?", "unknown", "-", "no idea")
OVER = ("ol", "over", "over range", "inf", "1.")
_BARE = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
_CODE = re.compile(r"[1-9][0-9][1-6]")
_SHORT = re.compile(r"([0-9]+(?:\.[0-9]+)?)\s*([munp\u00b5])")


@dataclass(frozen=True)
class Choice:
    """One answer to pick: the key it is kept as, how it is shown, other words for it."""

    key: str
    label: str
    words: tuple[str, ...] = ()


@dataclass(frozen=True)
class Question:
    """One question. `when` names the answers it is asked after; `parts` maps what is printed to a library name."""

    id: str
    kind: str
    ask: str
    cost: str
    unit: str = ""
    note: str = ""
    example: str = ""
    when: str = ""
    over_range: bool = False
    choices: tuple[Choice, ...] = ()
    parts: Mapping[str, str] | None = None


@dataclass(frozen=True)
class Heard:
    """What an answer means: the `value` to keep (None for not known), and the words that say so."""

    value: str | None
    said: str


Answers = Mapping[str, str | None]


@cache
def questions() -> tuple[Question, ...]:
    """Return the questions in the order they are asked."""
    top, _ = read_table(FILE, error=InputError, shown_as="questions.toml")
    return tuple(_question(row) for row in top.tables("question"))


def _question(row: Table) -> Question:
    row.only("id", "kind", "ask", "cost", "unit", "note", "example", "when", "over_range", "choice", "parts")
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
        tuple(Choice(one.text("key"), one.text("label"), one.texts("words")) for one in row.tables("choice")),
        {name: parts.text(name) for name in parts} or None,
    )


def next_question(answers: Answers) -> Question | None:
    """Return the first question that is still to be asked, None when there is none."""
    return next((one for one in questions() if one.id not in answers and _due(one.when, answers)), None)


def _due(when: str, answers: Answers) -> bool:
    """Tell whether ``id = key, key``, ``id != key`` or ``id`` (answered at all) holds."""
    if not when:
        return True
    name, sign, keys = re.fullmatch(r"(\w+)\s*(!?=)?\s*(.*)", when).groups()  # type: ignore[union-attr]
    found = answers.get(name)
    if sign is None:
        return found is not None
    named = [key.strip() for key in keys.split(",")]
    return found is not None and ((found in named) == (sign == "="))


def heard(question: Question, answer: str) -> Heard:
    """Return what an answer means.

    Raises
    ------
    InputError
        it can mean several things, or none; the sentence asks again

    """
    text = " ".join(answer.strip().split())
    if text.casefold() in NOT_KNOWN:
        return Heard(None, f"not known: {question.cost}")
    return _READERS[question.kind](question, text)


def _text(question: Question, text: str) -> Heard:
    if len(text) > 80 or not text.isprintable() or '"' in text or "\\" in text:
        raise InputError("write a few plain words on one line, without quotes", key=question.id)
    return Heard(text, text)


def _choice(question: Question, text: str) -> Heard:
    word = text.casefold()
    if word.isdigit() and 0 < int(word) <= len(question.choices) and not any(word == c.key for c in question.choices):
        chosen = [question.choices[int(word) - 1]]
        chosen = [c for c in question.choices if word in c.words] or chosen
    else:
        chosen = [c for c in question.choices if word == c.key.casefold() or word in c.words]
    if len(chosen) > 1:
        labels = " or ".join(one.label for one in chosen)
        raise InputError(f"which of them: {labels}? Write its number", key=question.id)
    if not chosen:
        keys = [one.key for one in question.choices]
        raise InputError(
            f"'{shown(text, 40)}' is none of them; write a number from 1 to {len(keys)}{nearest(word, keys)}",
            key=question.id,
        )
    return Heard(chosen[0].key, chosen[0].label.split("   ")[-1])


def _part(question: Question, text: str) -> Heard:
    parts = question.parts or {}
    word = text.casefold().replace(" ", "").replace("-", "")
    # what is printed begins with the type: 74HC04N is a 74HC, and a 74HCT04 is no 74HC
    named = sorted((name for name in parts if word.startswith(name)), key=len)
    if text in parts.values():
        return Heard(text, text)
    if not named:
        raise InputError(
            f"'{shown(text, 40)}' is not known here; write one of {accepted(tuple(name.upper() for name in parts))}, "
            "or ENTER",
            key=question.id,
        )
    return Heard(parts[named[-1]], f"{text} is {parts[named[-1]]}")


def _value(question: Question, text: str) -> Heard:
    if question.over_range and text.casefold() in OVER:
        return Heard(OVER_RANGE, "over range: not connected. Fit the bond first")
    unit = question.unit
    if unit == "F" and _CODE.fullmatch(text):
        meant = format_si(float(text[:2]) * 10 ** int(text[2]) * 1e-12, "F")
        raise InputError(
            f"{text} printed on a small capacitor means {meant}: write {meant}, or {text} uF if that is what it is",
            key=question.id,
        )
    if unit == "F" and _BARE.fullmatch(text):
        raise InputError(f"{text} uF or {text} nF? Write it with its unit", key=question.id)
    short = _SHORT.fullmatch(text)
    written = f"{short[1]} {short[2]}{unit}" if short else f"{text} {unit}" if _BARE.fullmatch(text) else text
    written = written.replace(",", ".")
    try:
        value, _ = parse(written, unit)
    except UnitError as error:
        raise InputError(error.problem, key=question.id) from None
    return Heard(written, format_si(value.nominal, unit))


_READERS = {"text": _text, "choice": _choice, "part": _part, "value": _value}

PICTURE_LINES: Mapping[str, tuple[tuple[tuple[str, ...], str, str, str], ...]] = {
    "rgb": ((("red", "green", "blue"), "scart-rgb", "scart-rgb", "video-pin"),),
    "component": (
        (("luma",), "component-sd", "component-sd", "video-pin"),
        (("pb", "pr"), "component-sd-difference", "component-sd-difference", "video-pin"),
    ),
    "svideo": (
        (("luma",), "yc-625", "yc-525", "video-pin"),
        (("chroma",), "yc-625-chroma", "yc-525-chroma", "encoder-pin"),
    ),
    "composite": ((("composite",), "scart-composite", "composite-525", "encoder-pin"),),
    "vga": ((("red", "green", "blue"), "vga", "vga", "video-pin"),),
}
"""Lines of each connector: names, standard at 50 and at 60 Hz, source."""
SYNC_LINES: Mapping[str, tuple[tuple[str, ...], str]] = {
    "rgb": (("sync",), "scart-sync"),
    "vga": (("hsync", "vsync"), "logic-sync"),
}
SYNCED = ("luma", "composite")
"""Lines that carry sync themselves."""


def job_text(answers: Answers) -> str:
    """Return the job file that answers make; what nobody knew stands as ``unknown`` or is left to the shelf."""

    def said(name: str, otherwise: str) -> str:
        return answers.get(name) or otherwise

    rail = said("rail", "5 V")
    rows = [
        "# Written from answers to questions; every line may be changed. `guardcheck new FILE` explains all keys.",
        "format = 1",
        "",
        "[unit]",
        f'label = "{said("name", "JOB-1")}"',
    ]
    if answers.get("rate"):
        rows += ["", "[picture]", f'field_rate = "{answers["rate"]} Hz"']
    rows += ["", "[supply]", f'rail = "{rail}"', f'rail_capacitance = "{said("rail_capacitance", UNKNOWN_WORD)}"']
    rows += [f'protection_class = "{said("earthed", UNKNOWN_WORD)}"']
    if answers.get("earthed") != "III":
        rows += ['y_capacitance = "unknown"', f'y_coupling = "{said("y", UNKNOWN_WORD)}"']
    rows += ["", "[display]", 'input = "terminated"', "", "[cable]", 'kind = "coax-75"', 'length = "1.8 m"']
    connector, at_60 = said("connector", "rgb"), answers.get("rate") == "60"
    for names, at_50_standard, at_60_standard, source in PICTURE_LINES[connector]:
        rows += _picture_line(names, at_60_standard if at_60 else at_50_standard, source, answers)
    if connector in SYNC_LINES:
        rows += _sync_line(*SYNC_LINES[connector], rail, answers)
    return "\n".join([*rows, *_bench(answers)]) + "\n"


def _picture_line(names: tuple[str, ...], standard: str, source: str, answers: Answers) -> list[str]:
    values = {"white": UNKNOWN_WORD}
    both = answers.get("open") and answers.get("loaded")
    if both and source == "video-pin":
        values = {"open_white": str(answers["open"]), "loaded_white": str(answers["loaded"]), "load": "75 ohm"}
    elif answers.get("open"):
        values = {"white": str(answers["open"])}
    if names[0] in SYNCED:
        values["sync"] = UNKNOWN_WORD
    if names[0] in ("pb", "chroma"):
        values["black"] = UNKNOWN_WORD
    stage = answers.get("stage") or "pass-through"
    given = {name: str(answers[name]) for name in ("series", "shunt", "capacitor") if answers.get(name)}
    rows = ["", "[[line]]", f"names = {_list(names)}", f'standard = "{standard}"', f'source = "{source}"']
    rows += [f"source_values = {_inline(values)}", 'pin = "unknown"', f'stage = "{stage}"']
    rows += [f"stage_values = {_inline(given)}"] if given else []
    return [*rows, f'guard = "{answers.get("guard") or "none"}"']


def _sync_line(names: tuple[str, ...], standard: str, rail: str, answers: Answers) -> list[str]:
    family, series = answers.get("logic"), answers.get("sync_series") or "1.2 kohm"
    rows = ["", "[[line]]", f"names = {_list(names)}", f'standard = "{standard}"', 'source = "logic-pin"']
    rows += [f"source_values = {_inline({'high': rail, 'low': '0 V'})}"]
    rows += [f'pin = {{ family = "{family}" }}' if family else 'pin = "unknown"']
    if standard == "scart-sync":
        rows += ['stage = "series-resistor"', f"stage_values = {_inline({'series': series})}"]
    else:
        rows += ['stage = "pass-through"']
    return [*rows, 'guard = "none"']


def _bench(answers: Answers) -> list[str]:
    rows: list[str] = []
    reading = answers.get("shield")
    if reading is not None:
        rows += ["", "[[bond]]", 'from = "board shield"', 'to = "connector shell (unit 0 V)"', 'purpose = "shield"']
        if reading == OVER_RANGE:
            rows += ['state = "not fitted"']
        else:
            rows += [f'reading = {{ value = "{reading}", method = "two-wire" }}']
    sheet = answers.get("sheet")
    if sheet is not None and sheet.casefold() != "none":
        rows += ["", "[[barrier]]", 'where = "under the board"', f'material = "{sheet}"']
        rows += [f'working_voltage = "{UNKNOWN_WORD}"']
    return rows


def _list(names: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def _inline(values: Mapping[str, str]) -> str:
    return "{ " + ", ".join(f'{name} = "{value}"' for name, value in values.items()) + " }"
