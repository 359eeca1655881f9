"""Physical values as a bench writes them, and the one pint registry.

A value is a string with its unit: ``"75 ohm"``, ``"4k7 5%"``, ``"2.2 nF"``, ``"1 Vpp"``. Everyday spellings are read
here from two small tables, exactly (``2.2 nF`` is the float nearest to 2.2e-9); spelled-out names go to pint. What pint
would silently read as something else (``10 M`` as molar, ``4.7 k`` as Boltzmann's constant) is refused by name.

Letters between digits follow the letter code of IEC 60062 (R k K M G T for ohm; p n u for farad), used for henry and
volt (``3V3``) as well: common practice, no published source.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

from guardcheck.errors import UnitError
from guardcheck.model.values import Range, Value

if TYPE_CHECKING:
    import pint

# Symbols of the SI brochure (9th edition) for the prefixes a bench uses; pint reads the others.
PREFIXES: Mapping[str, int] = {
    "f": -15, "p": -12, "n": -9, "u": -6, "m": -3, "": 0, "k": 3, "M": 6, "G": 9, "T": 12,
}  # fmt: skip
DIMENSIONS: Mapping[str, tuple[str, ...]] = {  # what it measures, an example, the prefixes a bench has use for
    "V": ("a voltage", "5 V", "numk"),
    "A": ("a current", "20 mA", "pnum"),
    "ohm": ("a resistance", "75 ohm", "numkMGT"),
    "F": ("a capacitance", "100 nF", "pnum"),
    "H": ("an inductance", "1 uH", "num"),
    "s": ("a time", "64 us", "pnum"),
    "Hz": ("a frequency", "50 Hz", "kMG"),
    "W": ("a power", "250 mW", "num"),
    "J": ("an energy", "12 uJ", "num"),
    "C": ("a charge", "200 nC", "pnum"),
    "m": ("a length", "1.8 m", "um"),
    "1": ("a plain ratio", "5 %"),
    "dB": ("a level ratio", "6 dB"),
    "degC": ("a temperature", "25 degC"),
    "ohm/m": ("a resistance per length", "50 mohm/m"),
    "F/m": ("a capacitance per length", "67 pF/m"),
    "H/m": ("an inductance per length", "380 nH/m"),
    "m/s": ("a speed", "2e8 m/s"),
    "s/m": ("a delay per length", "5 ns/m"),
    "V/s": ("a slew rate", "300 V/us"),
}
MAX_TEXT = 120
_ANY = "a value such as '75 ohm'"
_PREFIXED = ("V", "A", "ohm", "F", "H", "s", "Hz", "W", "J", "C", "m")
_SPELLED: Mapping[str, tuple[int, str]] = {
    **{f"{prefix}{unit}": (power, unit) for prefix, power in PREFIXES.items() for unit in _PREFIXED},
    **{
        f"{prefix}{name}": (power, "ohm")
        for prefix, power in [*PREFIXES.items(), ("K", 3)]
        for name in ("Ohm", "ohms", "Ohms", "\u03a9")
    },
    **{f"{prefix}{name}": (power, "V") for prefix, power in PREFIXES.items() for name in ("Vpp", "Vp-p")},
    **{f"{name}{s}": (3, "ohm") for name in ("Kohm", "kilohm") for s in ("", "s")},
    **{f"{name}{s}": (6, "ohm") for name in ("megohm", "Megohm") for s in ("", "s")},
    **{"cm": (-2, "m"), "%": (-2, "1"), "dB": (0, "dB"), "degC": (0, "degC"), "\u00b0C": (0, "degC")},
}  # fmt: skip
_LETTERS: Mapping[str, Mapping[str, int]] = {
    "ohm": {"R": 0, "k": 3, "K": 3, "M": 6, "G": 9, "T": 12},
    "F": {"p": -12, "n": -9, "u": -6},
    "H": {"p": -12, "n": -9, "u": -6},
    "V": {"V": 0},
}
_LONE = frozenset("fpnumkKMGTR") | {"meg", "Meg", "MEG"}
_REFUSED: Mapping[str, str] = {
    "dBu": "has two meanings (0.775 V, or a microwatt); write the voltage, such as '0.775 V'",
    "dBV": "is a level, not a value; write the voltage, such as '1 V'",
    "dBm": "is a level, not a value; write the voltage or the power, such as '1 mW'",
    "IRE": "depends on the video standard; write the voltage, such as '700 mV'",
    "Vrms": "mixes the unit with how it was measured; write plain volts, such as '1 V'",
}
_PINT_BASES: Mapping[str, str] = {
    "volt": "V", "ampere": "A", "ohm": "ohm", "farad": "F", "henry": "H", "second": "s", "minute": "s", "hour": "s",
    "day": "s", "hertz": "Hz", "watt": "W", "joule": "J", "coulomb": "C", "meter": "m", "inch": "m", "foot": "m",
    "percent": "1", "ppm": "1",
}  # fmt: skip
_MISTAKES = (
    (re.compile(r"[+-]?[0-9]*,[0-9]"), "has a comma in its number, where only a decimal point is read"),
    (re.compile(r"[+-]?[0-9]+[ _][0-9]"), "has a gap in its number"),
    (re.compile(r"[+-]?(nan|inf)", re.IGNORECASE), "is not a finite number"),
    (re.compile(r"[+-]?0[xob]", re.IGNORECASE), "is not a decimal number"),
)
_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,9})?"
_SIGN = r"(?:\u00b1|\+/-|\+-)"
_TOLERANCE = (
    rf"(?:{_SIGN}\s*|(?<=\s))(?P<tol>{_NUMBER})\s*%"
    rf"|{_SIGN}\s*(?P<abs>{_NUMBER}\s*[^\s0-9%][^0-9%]*)"
    rf"|\+\s*(?P<up>{_NUMBER})\s*%?\s*/?\s*-\s*(?P<down>{_NUMBER})\s*%"
    rf"|-\s*(?P<down2>{_NUMBER})\s*%?\s*/\s*\+\s*(?P<up2>{_NUMBER})\s*%"
)
_PLAIN = re.compile(rf"(?P<number>{_NUMBER})(?P<unit>\s*%|[^0-9%\u00b1+,]*?)(?:{_TOLERANCE})?")
_CODE = re.compile(rf"(?P<whole>[0-9]+\.[0-9]+|[0-9]*)(?P<letter>[A-Za-z])(?P<part>[0-9]*)(?:\s*(?:{_TOLERANCE}))?")
_SAME: Mapping[int, int] = str.maketrans("\u2126\u00b5\u03bc\u2212\u00a0\u2009\u202f", "\u03a9uu-   ")


class _Read(NamedTuple):
    """A value as read: number text, power of ten, factor left over (pint), SI unit ('' when none was written)."""

    number: str
    power: int
    factor: float
    unit: str
    tolerance: Mapping[str, str]

    @property
    def nominal(self) -> float:
        mantissa, _, exponent = self.number.lower().partition("e")
        return float(f"{mantissa}e{int(exponent or 0) + self.power}") * self.factor


class _SpellingError(Exception):
    """What is wrong with a value, before its place is known."""


@cache
def registry() -> pint.UnitRegistry[Any]:
    """Return the one pint registry; quantities of two registries do not add, so nobody makes another."""
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def noun(unit: str) -> str:
    """Return what a unit measures, such as ``a resistance``."""
    return DIMENSIONS[unit][0] if unit in DIMENSIONS else f"a value in {unit}"


def describe(unit: str, number: str | None = None) -> str:
    """Return what a unit measures with an example, such as ``a resistance such as '75 ohm'``."""
    example = DIMENSIONS.get(unit, ("", f"1 {unit}"))[1]
    return f"{noun(unit)} such as '{example if number is None or unit == '1' else f'{number} {unit}'}'"


def shown(text: str, most: int = 60) -> str:
    """Return text fit for a message: cut to `most` characters, unprintable characters as their code."""
    cut = text if len(text) <= most else text[: most - 3] + "..."
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in cut)


def parse(
    text: str,
    unit: str,
    *,
    key: str = "",
    file: str | None = None,
    line: int | None = None,
    usual: Range | None = None,
    possible: Range | None = None,
    what: str = "",
) -> tuple[Value, str | None]:
    """Read one value that must have the dimension of `unit`.

    Parameters
    ----------
    text
        what was written, such as ``"4k7 5%"`` or ``"100 uF -20/+80 %"``; kept in `Value.text`
    unit
        the SI unit wanted, a key of `DIMENSIONS`; ``"1"`` (a ratio) is the only one that may stay unwritten
    key, file, line
        the place, for messages
    usual, possible
        ranges [SI]: outside `possible` is an error, outside `usual` a warning
    what
        what the value is, for messages, such as ``"an insulation reading"``

    Returns
    -------
    the value with its worst-case bounds [SI], and a warning sentence or None

    Raises
    ------
    UnitError
        no unit, the wrong one, not a finite number, or an impossible size

    """
    try:
        value = _value(_read(text, unit), text, unit)
    except _SpellingError as problem:
        raise UnitError(str(problem), file=file, key=key or None, line=line) from None
    return value, held(value, unit, key=key, file=file, line=line, usual=usual, possible=possible, what=what)


def held(
    value: Value,
    unit: str,
    *,
    key: str = "",
    file: str | None = None,
    line: int | None = None,
    usual: Range | None = None,
    possible: Range | None = None,
    what: str = "",
) -> str | None:
    """Hold a value that was read against the unit and the ranges of its place; return a warning sentence or None.

    Parameters
    ----------
    value : what was read
    unit : the SI unit it must have
    key, file, line, usual, possible, what : as `parse` takes them

    Raises
    ------
    UnitError
        another unit, or an impossible size

    """
    try:
        if value.unit != unit:
            wrong = f"is {noun(value.unit)}, but {noun(unit)} is wanted; write {describe(unit)}"
            raise _SpellingError(f"'{shown(value.text.strip())}' {wrong}")
        return _plausible(value, usual, possible, what)
    except _SpellingError as problem:
        raise UnitError(str(problem), file=file, key=key or None, line=line) from None


def parse_any(text: str, *, key: str = "", file: str | None = None, line: int | None = None) -> Value:
    """Read one value whose dimension is not known yet; `Value.unit` is the SI unit that was written.

    A pure number is a ratio (unit ``1``), and ``100n`` is read in farad, as the letter code has it.

    Parameters
    ----------
    text : what was written, such as ``"4k7 5%"``
    key, file, line : the place, for messages

    """
    try:
        read = _read(text, None)
        return _value(read, text, read.unit or "1")
    except _SpellingError as problem:
        raise UnitError(str(problem), file=file, key=key or None, line=line) from None


def unit_of(text: str) -> str | None:
    """Return the SI unit written in a text, ``1`` for a pure number, None when it is no value."""
    try:
        return _read(text, None).unit or "1"
    except _SpellingError:
        return None


def last_place(text: str, unit: str) -> float:
    """Return what one of the last digit written stands for [`unit`]: 0.01 for ``5.00 V``, 0.1 for ``3V3``.

    Parameters
    ----------
    text : a value as `parse` takes it
    unit : SI unit it is written in

    Raises
    ------
    UnitError
        it is no such value

    """
    try:
        read = _read(text, unit)
    except _SpellingError as problem:
        raise UnitError(str(problem)) from None
    mantissa, _, exponent = read.number.lower().partition("e")
    places = len(mantissa.partition(".")[2])
    return read._replace(number=f"1e{int(exponent or 0) - places}").nominal


KEPT_DIGITS = 6
"""Significant digits of a number that is kept or judged: far finer than any instrument or model of this trade."""

DECIMALS: Mapping[str, int] = {"V": 7, "A": 12, "W": 9, "dB": 6, "ohm": 6, "Hz": 3, "s": 13, "1": 9}
"""Decimals below which a quantity of a unit is zero: what a solver leaves where the answer is nothing."""

_LEAST_DECIMALS = 15
_NOISE_DIGITS = 10


def steady(value: float, digits: int = KEPT_DIGITS) -> float:
    """Return a number with its noise taken off, then rounded to `digits` significant digits.

    Two processors differ in the last bits of a double, and a half that lies exactly between two digits would fall
    either way by them. So the noise goes first (10 digits). Doing it twice changes nothing.
    """
    if not math.isfinite(value):
        return value
    kept = float(f"{float(f'{value:.{_NOISE_DIGITS - 1}e}'):.{digits - 1}e}")
    return kept if math.isfinite(kept) else value


def settled(value: float, unit: str = "") -> float:
    """Return a number as it is kept, judged and shown: steady, and zero below the resolution of its unit.

    Parameters
    ----------
    value : any number [`unit`]; one that is not finite comes back as it is
    unit : SI unit, for what is nothing in it

    """
    kept = steady(value)
    return round(kept, DECIMALS.get(unit, _LEAST_DECIMALS)) + 0.0 if math.isfinite(kept) else kept


@lru_cache(maxsize=8192)  # every rating of a pin is said beside every run of an event
def format_si(value: float | None, unit: str, digits: int = 3) -> str:
    """Return a value for people: ``703 mV``, ``4.43 MHz``, ``12 mA``; ``-`` when there is none.

    Noise is taken off (see `steady`), then it is rounded to `digits` significant digits, before the prefix is chosen.

    Parameters
    ----------
    value : what is said [`unit`], None for none
    unit : its SI unit, ``1`` for a ratio
    digits : significant digits, 3 unless told

    """
    if value is None or not math.isfinite(value):
        return "-"
    label = "" if unit in ("1", "") else f" {unit}"
    mantissa, exponent = f"{steady(value) if digits <= KEPT_DIGITS else value:.{max(digits, 1) - 1}e}".split("e")
    power = int(exponent)
    if float(mantissa) == 0:
        return f"0{label}"
    if unit.split("/")[0] not in _PREFIXED or unit == "m/s":
        return _plain(mantissa, power) + label
    step = max(-15, min(12, power // 3 * 3))
    if not -18 <= power < 15:
        return f"{float(mantissa):g}e{power}{label}"
    prefix = next(letter for letter, size in PREFIXES.items() if size == step)
    return f"{_plain(mantissa, power - step)} {prefix}{unit}"


def _plain(mantissa: str, power: int) -> str:
    if not -7 <= power < 16:
        return f"{float(mantissa):g}e{power}"
    text = f"{float(f'{mantissa}e{power}'):.{max(len(mantissa.lstrip('-').replace('.', '')) - 1 - power, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _read(text: str, wanted: str | None) -> _Read:
    if len(text) > MAX_TEXT:
        raise _SpellingError(f"a value of {len(text)} characters is too long; at most {MAX_TEXT} are accepted")
    clean = text.translate(_SAME).strip()
    code = _CODE.fullmatch(clean)
    read = None if code is None else _coded(code, wanted)
    if read is not None:
        return read
    plain = _PLAIN.fullmatch(clean)
    if plain is None:
        _explain(text, clean, wanted)
    parts = plain.groupdict()
    spelled = parts["unit"]
    if not spelled.strip():
        return _Read(parts["number"], 0, 1.0, "", parts)
    if spelled.strip() == "m" and wanted not in (None, "m"):
        _refuse_unit(text, parts["number"], "m", wanted)  # a forgotten unit, not a metre
    power, factor, unit = _unit(text, parts["number"], spelled, wanted)
    return _Read(parts["number"], power, factor, unit, parts)


def _coded(match: re.Match[str], wanted: str | None) -> _Read | None:
    whole, letter, part = match["whole"], match["letter"], match["part"]
    if not (whole or part) or ("." in whole and part) or (not part and letter in _PREFIXED):
        return None
    for unit, letters in _LETTERS.items():
        if letter in letters and wanted in (None, unit):
            return _Read(f"{whole or 0}.{part or 0}" if part else whole, letters[letter], 1.0, unit, match.groupdict())
    return None


def _unit(text: str, number: str, spelled: str, wanted: str | None) -> tuple[int, float, str]:
    """Return power of ten, factor and SI unit of what stands behind a number."""
    name = spelled.strip()
    factors = [_factor(part.strip()) for part in name.split("/")]
    if len(factors) > 2 or None in factors:
        _refuse_unit(text, number, name, wanted)
    known = [factor for factor in factors if factor is not None]
    power, size, unit = known[0]
    if len(known) == 2:
        power, size, unit = power - known[1][0], size / known[1][1], f"{unit}/{known[1][2]}"
        if known[0][2] == known[1][2]:
            unit = "1"
    if unit not in DIMENSIONS:
        _refuse_unit(text, number, name, wanted)
    return power, size, unit


def _factor(name: str) -> tuple[int, float, str] | None:
    found = _SPELLED.get(name)
    if found is not None:
        return found[0], 1.0, found[1]
    return _by_pint(name) if re.fullmatch(r"[A-Za-z\u03a9]{3,20}|dm|ft|in|h", name) and name not in _REFUSED else None


def spellings(unit: str) -> Mapping[str, tuple[int, float]]:
    """Return the ways to write a unit with its prefix, long names too, each with its power of ten and a factor left."""
    written = {name: (power, 1.0) for name, (power, of) in _SPELLED.items() if of == unit}
    bases = [name for name, of in _PINT_BASES.items() if of == unit]
    for prefix in ("", "nano", "micro", "milli", "kilo", "mega"):
        for name in (f"{prefix}{base}{s}" for base in bases for s in ("", "s")):
            found = _factor(name)
            if found is not None and found[2] == unit:
                written.setdefault(name, found[:2])
    return written


@dataclass(frozen=True)
class Grammar:
    """How values are written, for a reader in another language: named patterns, unit letters, what is the same.

    `plain`, `code` are regular expressions in Python's spelling, `letters` powers of ten by unit and letter.
    """

    plain: str
    code: str
    letters: Mapping[str, Mapping[str, int]]
    same: Mapping[str, str]
    longest: int


def grammar() -> Grammar:
    """Return how values are written."""
    return Grammar(_PLAIN.pattern, _CODE.pattern, _LETTERS, {chr(a): chr(b) for a, b in _SAME.items()}, MAX_TEXT)


@cache
def _by_pint(name: str) -> tuple[int, float, str] | None:
    """Read a spelled-out unit such as ``kiloohm`` or ``minutes``; only names whose meaning is plain are let through."""
    units = registry()
    for _, base, _ in units.parse_unit_name(name)[:1]:
        if base in _PINT_BASES:
            unit = _PINT_BASES[base]
            factor = units.Quantity(1.0, name).to("dimensionless" if unit == "1" else unit)
            return 0, float(factor.magnitude), unit
    return None


def _refuse_unit(text: str, number: str, name: str, wanted: str | None) -> NoReturn:
    said, seen = f"'{shown(text.strip())}'", shown(name)
    if name in _REFUSED:
        raise _SpellingError(f"{said}: '{seen}' {_REFUSED[name]}")
    if name in _LONE:
        unit = wanted if wanted in _PREFIXED else "ohm"
        meant = {"R": "", "K": "k", "m": "mM", "M": "Mm"}.get(name, "M" if name.lower() == "meg" else name)
        likely = [f"'{number} {prefix}{unit}'" for prefix in meant or ("",) if prefix in DIMENSIONS[unit][2]]
        hint = f"write {' or '.join(likely) or describe(unit)}"
        raise _SpellingError(f"{said} has no unit, and '{seen}' alone means something else; {hint}")
    folded = {known.casefold(): known for known, (_, unit) in _SPELLED.items() if wanted in (None, unit)}
    near = difflib.get_close_matches(name.casefold(), list(folded), n=1, cutoff=0.6)
    hint = f"; did you mean '{number} {folded[near[0]]}'?" if near else ""
    want = "" if hint else f"; write {describe(wanted) if wanted else _ANY}"
    raise _SpellingError(f"{said}: '{seen}' is not a unit known here{hint}{want}")


def _explain(text: str, clean: str, wanted: str | None) -> NoReturn:
    """Say why a text is no value at all."""
    said, want = f"'{shown(text.strip())}'", describe(wanted) if wanted else _ANY
    problem = next((problem for pattern, problem in _MISTAKES if pattern.match(clean)), "is not a value with a unit")
    raise _SpellingError(f"{said} {problem}; write {want}")


def _value(read: _Read, text: str, unit: str) -> Value:
    number = read.number.lstrip("+")
    if read.unit != unit and not (read.unit == "" and unit == "1"):
        if read.unit == "":
            raise _SpellingError(f"'{shown(text.strip())}' has no unit; write {describe(unit, number[:20])}")
        wrong = f"is {noun(read.unit)}, but {noun(unit)} is wanted; write {describe(unit)}"
        raise _SpellingError(f"'{shown(text.strip())}' {wrong}")
    nominal = read.nominal
    if not math.isfinite(nominal):
        raise _SpellingError(f"'{shown(text.strip())}' is too large a number")
    if nominal == 0 and re.search(r"[1-9]", number.lower().partition("e")[0]):
        raise _SpellingError(f"'{shown(text.strip())}' is too small a number")
    low, high = _bounds(nominal + 0.0, read.tolerance, text, unit)
    if not (math.isfinite(low) and math.isfinite(high)):
        raise _SpellingError(f"'{shown(text.strip())}' is too large a number")
    return Value(nominal + 0.0, unit, low, high, text=text)


def _bounds(nominal: float, tolerance: Mapping[str, str], text: str, unit: str) -> tuple[float, float]:
    said = f"'{shown(text.strip())}'"
    absolute = tolerance.get("abs")
    if absolute is not None:
        width = _read(absolute, unit)
        if width.unit != unit or not math.isfinite(width.nominal) or width.nominal < 0:
            raise _SpellingError(f"{said}: the tolerance must be a positive value in the same unit, or in percent")
        return nominal - width.nominal, nominal + width.nominal
    up = tolerance.get("tol") or tolerance.get("up") or tolerance.get("up2")
    if up is None:
        return nominal, nominal
    down = tolerance.get("down") or tolerance.get("down2") or up
    if unit in ("dB", "degC"):
        raise _SpellingError(f"{said}: a tolerance in percent means nothing in {unit}; write it as '+/- 1 {unit}'")
    shares = float(down) / 100, float(up) / 100
    if min(shares) < 0:
        raise _SpellingError(f"{said} has a negative tolerance; write it without a sign, such as '5%'")
    if max(shares) > 1:
        raise _SpellingError(f"{said} has a tolerance above 100 %")
    ends = nominal - nominal * shares[0], nominal + nominal * shares[1]
    return min(ends), max(ends)


def _plausible(value: Value, usual: Range | None, possible: Range | None, what: str) -> str | None:
    written = shown(value.text.strip())
    subject = f" for {what}" if what else " here"
    if possible is not None and value.nominal not in possible:
        near = _neighbour(value, usual or possible) or _neighbour(value, possible)
        hint = f"; did you mean '{near}'?" if near else ""
        raise _SpellingError(f"'{written}' is not possible{subject} ({_span(possible, value.unit)}){hint}")
    if usual is not None and value.nominal not in usual:
        return f"'{written}' is unusual{subject} (usually {_span(usual, value.unit)}); check the value and its prefix"
    return None


def _span(limits: Range, unit: str) -> str:
    return f"{format_si(limits.low, unit)} to {format_si(limits.high, unit)}"


def _neighbour(value: Value, wanted: Range) -> str | None:
    """Return the same digits with the nearest prefix that fits; m and M are tried first, being one key apart."""
    if value.unit not in _PREFIXED:
        return None
    shifts = sorted((p for p in range(-27, 30, 3) if p), key=lambda p: (abs(p) != 9, abs(p)))
    fits = [value.nominal * 10.0**p for p in shifts if value.nominal * 10.0**p in wanted]
    return format_si(fits[0], value.unit, 6) if fits else None
