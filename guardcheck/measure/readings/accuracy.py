"""Accuracy as a data sheet prints it: ``3%``, ``1.0% + 2 counts``, ``2% of full scale + 1 mV``, ``100 ppm``."""

from __future__ import annotations

import re
from dataclasses import dataclass

from guardcheck.errors import UnitError
from guardcheck.units import parse, shown

_NUMBER = r"([0-9]+\.?[0-9]*|\.[0-9]+)"
_SHARE = re.compile(rf"{_NUMBER}\s*(%|ppm)\s*(?:(?:of\s+)?(.*))?")
_COUNTS = re.compile(rf"{_NUMBER}\s*(?:counts?|digits?|dgts?|d)")
_DIVISIONS = re.compile(rf"{_NUMBER}\s*(?:div|divs|divisions?)")
_OF_READING = {"", "reading", "rdg", "rd", "value"}
_OF_RANGE = {"range", "full scale", "fs", "full-scale", "scale"}
_WANTED = "write it as the data sheet prints it, such as '3%', '1.0% + 2 counts' or '2% of full scale + 1 mV'"


@dataclass(frozen=True, slots=True)
class Accuracy:
    """Limits of error of an instrument.

    `of_reading` and `of_range` are fractions, `counts` multiples of the last digit, `divisions` of a screen division,
    `absolute` is in the quantity's SI unit; all are half-widths. `text` is what was written.
    """

    of_reading: float = 0.0
    of_range: float = 0.0
    counts: float = 0.0
    divisions: float = 0.0
    absolute: float = 0.0
    text: str = ""


def parse_accuracy(
    text: str, unit: str, *, key: str | None = None, file: str | None = None, line: int | None = None
) -> Accuracy:
    """Read an accuracy statement; terms are joined by ``+``, a leading ± is allowed.

    Parameters
    ----------
    text
        the statement
    unit
        SI unit of what is measured, for an absolute term
    key, file, line
        the place, for messages

    Raises
    ------
    UnitError
        a term that is none of share, counts, divisions or value with unit

    """
    totals = {"of_reading": 0.0, "of_range": 0.0, "counts": 0.0, "divisions": 0.0, "absolute": 0.0}
    for raw in re.split(r"\+(?!\s*/)", text.replace("±", "").replace("+/-", "")):
        term = " ".join(raw.strip().strip("()").casefold().split())
        kind, size = _term(term, raw.strip().strip("()"), unit)
        if kind is None:
            problem = f"'{shown(raw.strip())}' is not an accuracy; {_WANTED}"
            raise UnitError(problem, file=file, key=key, line=line)
        totals[kind] += size
    if totals["of_reading"] > 1 or totals["of_range"] > 1:
        raise UnitError(f"'{shown(text)}' is an accuracy above 100 %; {_WANTED}", file=file, key=key, line=line)
    return Accuracy(**totals, text=text.strip())


def _term(term: str, raw: str, unit: str) -> tuple[str | None, float]:
    share = _SHARE.fullmatch(term)
    if share:
        size = float(share[1]) * (1e-2 if share[2] == "%" else 1e-6)
        of = (share[3] or "").strip()
        return ("of_reading" if of in _OF_READING else "of_range" if of in _OF_RANGE else None), size
    counts = _COUNTS.fullmatch(term)
    if counts:
        return "counts", float(counts[1])
    divisions = _DIVISIONS.fullmatch(term)
    if divisions:
        return "divisions", float(divisions[1])
    try:
        value, _ = parse(raw, unit)
    except UnitError:
        return None, 0.0
    return ("absolute", value.nominal) if value.nominal >= 0 and not value.varies else (None, 0.0)
