"""SPICE numbers, read strictly.

SPICE itself reads `10M` as ten thousandths, `4k7` as 4000 and `1,000` as one thousandth without a word, because it
ignores what it does not know behind a number. Here a number is digits, then nothing, a power of ten or one scale
factor; anything else is refused with the spelling that was probably meant.

Scale factors: ngspice manual, "Some naming conventions", table 2.2 (`mil` is left out on purpose).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping

from guardcheck.netlist.place import quoted

SCALE: Mapping[str, int] = {
    "t": 12,
    "g": 9,
    "meg": 6,
    "k": 3,
    "m": -3,
    "u": -6,
    "n": -9,
    "p": -12,
    "f": -15,
}
ACCEPTED = "digits, then nothing, a power of ten or one of t g meg k m u n p f, such as 4.7k or 1e-6"

_LONGEST = 64
_MANTISSA = r"([+-]?(?:\d+\.?\d*|\.\d+))"
_NUMBER = re.compile(_MANTISSA + r"(?:[eE]([+-]?\d{1,4})|([tT]|[gG]|[mM][eE][gG]|[kK]|m|[uU]|[nN]|[pP]|f))?", re.ASCII)
_UNIT = r"(?:hz|ohms?|[vafhswjr])"


class NumberError(ValueError):
    """A text is not a SPICE number; the message is the problem in words, without the place."""


def number(text: str) -> float:
    """Return the value of a SPICE number, correctly rounded.

    Raises
    ------
    NumberError
        for anything but digits with one power of ten or scale factor, for overflow, and for a value so small that it
        would silently become zero

    """
    if len(text) > _LONGEST:
        raise NumberError(f"{quoted(text)} is longer than a number can be")
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise NumberError(f"{quoted(text)} is not a SPICE number; {_advice(text)}")
    mantissa, power, suffix = match.groups()
    exponent = SCALE[suffix.lower()] if suffix else int(power or 0)
    value = float(f"{mantissa}e{exponent}")
    if math.isinf(value):
        raise NumberError(f"{quoted(text)} is too large for a number")
    if value == 0.0 and re.search(r"[1-9]", mantissa):
        raise NumberError(f"{quoted(text)} is too small for a number; write 0 if nothing is meant")
    return value


def _advice(text: str) -> str:
    for pattern, advice in _MISSPELLED:
        match = pattern.fullmatch(text)
        if match is not None:
            return advice(match)
    return f"accepted are {ACCEPTED}"


def _rule(
    pattern: str, advice: Callable[[re.Match[str]], str]
) -> tuple[re.Pattern[str], Callable[[re.Match[str]], str]]:
    return re.compile(pattern, re.ASCII | re.IGNORECASE), advice


def _scale_letter(letter: str) -> str:
    """Return the SPICE scale factor for a bench letter: `M` on a bench is a million, `R` and units are nothing."""
    if letter == "M" or letter.lower() == "meg":
        return "meg"
    return letter.lower() if letter.lower() in SCALE else ""


def _letter_as_point(match: re.Match[str]) -> str:
    whole, letter, rest = match.groups()
    return f"write {whole}.{rest}{_scale_letter(letter)}"


def _without_unit(match: re.Match[str]) -> str:
    digits, scale = match.group(1), match.group(2) or ""
    return f"write {digits}{_scale_letter(scale)}: no unit stands behind a SPICE number"


_MISSPELLED = (
    _rule(_MANTISSA + r"[µμ].*", lambda m: f"write {m[1]}u: SPICE does not know the Greek letter"),
    _rule(_MANTISSA + r"\s*[Ωω].*", lambda m: f"write {m[1]}: no unit stands behind a SPICE number"),
    _rule(r"([+-]?\d+),(\d{3})", lambda m: f"write {m[1]}{m[2]} for thousands or {m[1]}.{m[2]} for a decimal point"),
    _rule(r"([+-]?\d+),(\d+)([a-z]*)", lambda m: f"write {m[1]}.{m[2]}{m[3]}: the decimal sign is a point"),
    _rule(r".*,.*", lambda m: "separate numbers with blanks, not commas"),
    _rule(r"([+-]?)0x([0-9a-f]{1,12})", lambda m: f"write {m[1]}{int(m[2], 16)}: numbers are decimal"),
    _rule(r"[+-]?0[xbo].*", lambda m: "numbers are decimal"),
    _rule(r"([+-]?[\d_.]*\d[\d_.]*_[\d_.]*)", lambda m: f"write {m[1].replace('_', '')}, without the underline"),
    _rule(_MANTISSA + r"(?-i:M)", lambda m: f"write {m[1]}meg for a million or {m[1]}m for a thousandth"),
    _rule(_MANTISSA + r"(?-i:F)", lambda m: f"write {m[1]} for a farad or {m[1]}f for a femtofarad"),
    _rule(_MANTISSA + r"mils?", lambda m: f"write {m[1]} thousandths of an inch in metres, as a power of ten"),
    _rule(_MANTISSA + r"d([+-]?\d+)", lambda m: f"write {m[1]}e{m[2]}"),
    _rule(r"([+-]?\d+)(meg|[tgkmunpfr])(\d+)", _letter_as_point),
    _rule(_MANTISSA + r"(meg|[tgkmunp])?" + _UNIT, _without_unit),
    _rule(_MANTISSA + r"e[+-]?\d+[a-z]+", lambda m: "write a power of ten or a scale factor, not both"),
    _rule(_MANTISSA + r"e[+-]?", lambda m: "the power of ten is missing behind the e"),
    _rule(_MANTISSA + r"\s*%", lambda m: "a tolerance belongs in the job file, not in a netlist"),
    _rule(r"[+-]?(inf|infinity|nan)", lambda m: "a value must be finite"),
    _rule(r"[+-]?[\d.(][^'\"]*[-+*/^)].*", lambda m: f"write an expression in braces: {{{m[0][:40]}}}"),
    _rule(r"[a-z_]\w*", lambda m: f"write a parameter in braces: {{{m[0][:40].lower()}}}"),
)
