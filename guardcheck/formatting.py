"""Numbers as a bench reads them: engineering prefixes, percent for ratios, bounds in words."""

from __future__ import annotations

import math
from collections.abc import Iterable

from guardcheck.model import QUANTITIES
from guardcheck.units import format_si, settled, steady

NO_VALUE = "-"
NO_LIMIT = "no limit"
NO_VOLTAGE = 5e-7
"""Voltages below this [V] are what a solver leaves instead of zero, and are shown as zero."""
_MOST_DIGITS = 6


def show(value: float | None, unit: str, digits: int = 3) -> str:
    """Return a value for a reader: ``703 mV``, ``5 %`` for a ratio (unit ``1``), ``-26.4 dB``; ``-`` for none."""
    if value is None or not math.isfinite(value):
        return NO_VALUE
    value = settled(value, unit)
    if unit == "1":
        return _percent(100.0 * value, digits)
    return format_si(0.0 if unit == "V" and abs(value) < NO_VOLTAGE else value, unit, digits)


def _percent(number: float, digits: int) -> str:
    """Return a percentage with at most `digits` decimals: what a solver leaves instead of zero is no news."""
    return format_si(round(settled(number), digits) + 0.0, "%", digits)


def share(fraction: float) -> str:
    """Return a fraction in percent that never rounds up to a claim of all, nor down to a claim of none."""
    fraction = steady(fraction, 9)  # the last bits of a count over a count, and no sample more
    percent = 100.0 * fraction
    if fraction < 1.0 and percent > 99.9:
        return "over 99.9 %"
    if fraction > 0.0 and percent < 0.1:
        return "under 0.1 %"
    return f"{percent:.3g} %"


def times(ratio: float) -> str:
    """Return a ratio as a bench says it: ``49 x``, ``5.4 x``, ``0.8 x``."""
    ratio = steady(ratio, 9)
    return f"{ratio:.0f} x" if ratio >= 9.95 else f"{ratio:.1f} x"


def reading(value: float, expanded: float, unit: str) -> str:
    """Return a measured value with its expanded uncertainty, no finer than that: ``703 mV ± 12 mV`` (GUM 7.2.6)."""
    expanded = settled(expanded, unit)
    if expanded > 0.0 and math.isfinite(expanded) and math.isfinite(value):
        value = round(settled(value, unit), 1 - math.floor(math.log10(expanded)))
    return f"{show(value, unit)} ± {show(expanded, unit, 2)}"


def limits(low: float | None, high: float | None, unit: str, digits: int = 3) -> str:
    """Return bounds in words: ``496 to 989 mV``, ``at most 20 mA``, ``no limit``."""
    if low is None and high is None:
        return NO_LIMIT
    if low is None:
        return f"at most {show(high, unit, digits)}"
    if high is None:
        return f"at least {show(low, unit, digits)}"
    return span((low, high), unit, digits)


def span(bounds: tuple[float, float] | None, unit: str, digits: int = 3) -> str:
    """Return an interval, its unit written once when both ends share it: ``690 to 716 mV``."""
    if bounds is None:
        return NO_VALUE
    first, last = show(bounds[0], unit, digits), show(bounds[1], unit, digits)
    if first == last:
        return first
    number, _, first_unit = first.partition(" ")
    return f"{number if first_unit == last.partition(' ')[2] else first} to {last}"


def telling_digits(values: Iterable[float | None], bounds: Iterable[float | None], unit: str) -> int:
    """Return the fewest digits at which no value looks equal to a bound it differs from.

    Without this a row could read "989 mV, at most 989 mV, does not conform".
    """
    pairs = [(v, b) for v in values if v is not None for b in list(bounds) if b is not None and v != b]
    for digits in range(3, _MOST_DIGITS):
        if all(show(v, unit, digits) != show(b, unit, digits) for v, b in pairs):
            return digits
    return _MOST_DIGITS


_LINE_ORDER = (
    "red", "green", "blue", "sync", "composite", "luma", "chroma", "pb", "pr", "audio-left", "audio-right",
)  # fmt: skip


def quantity_rank(name: str) -> tuple[int, str]:
    """Return the sort key that puts quantities in the order of the one table of names."""
    names = list(QUANTITIES)
    return (names.index(name) if name in QUANTITIES else len(names), name)


def line_rank(name: str | None) -> tuple[int, str]:
    """Return the sort key that puts lines in the order a bench works through them, the whole unit last."""
    if name is None:
        return (len(_LINE_ORDER) + 1, "")
    return (_LINE_ORDER.index(name) if name in _LINE_ORDER else len(_LINE_ORDER), name)
