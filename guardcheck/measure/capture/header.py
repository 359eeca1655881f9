"""What a scope wrote of itself above its table: coupling, probe, vertical scale and offset of each channel."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

_NUMBER = re.compile(r"[x×]?\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*([munkµμ]?)(v|x|×)?", re.IGNORECASE)
_PREFIX = {"": 1.0, "k": 1e3, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "n": 1e-9}


@dataclass(frozen=True, slots=True)
class ChannelFacts:
    """What stands above the table of one channel, None where nothing does.

    `coupling` is ``dc`` or ``ac``; `probe` the attenuation the instrument was told; `division` volts per division and
    `offset` the voltage it moved the trace by [V].
    """

    coupling: str | None = None
    probe: float | None = None
    division: float | None = None
    offset: float | None = None


NOTHING = ChannelFacts()


def channel_facts(rows: Sequence[tuple[str, Sequence[str]]], channels: Sequence[str]) -> Mapping[str, ChannelFacts]:
    """Return what the rows above a table say of each channel.

    A row holds for one channel when its key names it, for all when it has a value for each, and for the only channel
    when there is one; anything else says too little to be used.

    Parameters
    ----------
    rows : key and values of each row above the table, keys folded
    channels : the channels' names

    """
    found: dict[str, dict[str, str | float]] = {name: {} for name in channels}
    for key, values in rows:
        fact = next((one for one in _FACTS if one[0].search(key)), None)
        if fact is None:
            continue
        for name, text in _whose(key, values, channels):
            read = fact[2](text)
            if read is not None:
                found[name].setdefault(fact[1], read)
    return {name: ChannelFacts(**facts) for name, facts in found.items()}  # type: ignore[arg-type]


def _whose(key: str, values: Sequence[str], channels: Sequence[str]) -> list[tuple[str, str]]:
    filled = [text.strip() for text in values if text.strip()]
    named = [name for name in channels if re.search(rf"(?<![a-z0-9]){re.escape(name.casefold())}(?![a-z0-9])", key)]
    if len(named) == 1 and filled:
        return [(named[0], filled[0])]
    if len(filled) == len(channels):
        return list(zip(channels, filled, strict=True))
    return []


def _coupling(text: str) -> str | None:
    word = re.match(r"[a-z]+", text.casefold())
    return {"d": "dc", "a": "ac"}.get(word[0][0]) if word and word[0] in _COUPLING_WORDS else None


_COUPLING_WORDS = ("dc", "ac", "d", "a")


def _number(text: str) -> float | None:
    found = _NUMBER.match(text.strip())
    return None if found is None else float(found[1]) * _PREFIX[found[2].casefold()]


def _positive(text: str) -> float | None:
    number = _number(text)
    return number if number is not None and number > 0 else None


_FACTS: tuple[tuple[re.Pattern[str], str, Callable[[str], str | float | None]], ...] = (
    (re.compile(r"coupling"), "coupling", _coupling),
    (re.compile(r"probe"), "probe", _positive),
    (re.compile(r"vertical scale|volts?\s*/\s*div|\bv/div|vscale|vertical sensitivity"), "division", _positive),
    (re.compile(r"vertical offset|vertical position|\boffset\b|voffset"), "offset", _number),
)
