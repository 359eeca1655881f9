"""Judge what ngspice printed. Its return codes say nothing, so its own words and the data decide."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

_HARMLESS = re.compile(
    r"note:|using (?:sparse|klu)|trying gmin|(?:warning: )?(?:dynamic |true |spice3 )?gmin stepping|"
    r"(?:note: )?starting (?:dynamic |true |spice3 )?gmin|"
    r"warning: (?:further gmin|(?:dynamic|true|spice3) gmin|last gmin|source stepping|one successful)|"
    r"(?:note: )?(?:starting )?source stepping|supplies reduced|one successful|last gmin|further gmin|"
    r"(?:true|dynamic|spice3) gmin|warning: [vi]\w*: no dc value, transient time 0 value used|\s*$",
    re.IGNORECASE,
)
_PREFIX = re.compile(r"\A(?:stdout |stderr )?(?:trying gmin = *\S+ *)?", re.IGNORECASE)
_NOISE = re.compile(
    r"note: no compatibility mode|circuit:|doing analysis at|no\. of data rows|note: 'quit'|reference value|"
    r".*awaits to be detached|using (?:sparse|klu)",
    re.IGNORECASE,
)
_FATAL = re.compile(
    r"singular matrix|aborted|interrupted|timestep too small|can't allocate|no such|"
    r"transient op",  # ngspice's last resort ramps the supplies for 10 us and takes what it finds for the steady state
    re.IGNORECASE,
)
_HELP = (("gmin stepping", re.compile("gmin", re.IGNORECASE)), ("source stepping", re.compile("source stepping", re.I)))
_LONGEST = 300


def complaints(log: Iterable[str], *, loading: bool) -> tuple[str, ...]:
    """Return the lines that mean the result cannot be trusted.

    While a deck is loaded every line on ngspice's error channel counts (an ignored model parameter is only a warning
    there, and changes the circuit); during a run the lines of its own convergence help are let pass.
    """
    found = []
    for line in log:
        channel, _, words = line.partition(" ")
        if channel != "stderr":
            if _FATAL.search(words) or words.lstrip().lower().startswith(("error", "fatal")):
                found.append(words)
            continue
        if _FATAL.search(words) or not words.strip() or not _HARMLESS.match(words.strip()):
            if words.strip():
                found.append(words)
        elif loading and not words.strip().lower().startswith("note:"):
            found.append(words)
    return tuple(found)


def help_words(log: Sequence[str]) -> tuple[str, ...]:
    """Return which of its own convergence help ngspice used, in the order it is always tried."""
    said = [line.partition(" ")[2] for line in log if line.startswith("stderr")]
    return tuple(name for name, pattern in _HELP if any(pattern.search(line) for line in said))


def clean(lines: Iterable[str]) -> str:
    """Return ngspice's words as one printable line without repeats."""
    seen: list[str] = []
    for line in lines:
        words = _PREFIX.sub("", re.sub(r"[^\x20-\x7e]+", " ", line).strip())
        words = re.sub(r"\s+", " ", words).strip(" .:")
        if words and words not in seen and not _NOISE.match(words):
            seen.append(words)
    text = "; ".join(seen)
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
