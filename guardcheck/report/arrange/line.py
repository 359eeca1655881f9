"""What the picture of a line says, in words: the troubles marked in it, its description, and its parts as a list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from guardcheck.formatting import show, times
from guardcheck.model import (
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    RAIL_PART,
    SHORT_CIRCUIT,
    STRIKE,
    Finding,
    Result,
    Schematic,
    SchematicPart,
)
from guardcheck.model.schematic import RAILS, SUPPLY
from guardcheck.report.arrange.words import clean, sentence
from guardcheck.units import settled

FAILS, OPEN, RULED = "fails", "open", "ruled"
"""How a part is marked: it fails, nobody has shown that it holds, or a rule of use keeps the mistake away."""
OF_OUTCOME: Mapping[str, str] = {DOES_NOT_CONFORM: FAILS, NOT_PROVEN: OPEN}
CHIP_KEY = "chip"
"""What troubles of the chip that drives the line are filed under."""
MARGIN, LATCH_UP, PARTS, POWER = "event.margin", "event.latch_up", "event.part_margin", "part.power"
STATES: Mapping[str, str] = {"blank": "blanking", "sync": "sync tip"}
"""Signal states in bench words; the others are words already."""
_MOST_TIMES = 1e6
"""What a stress is told as at most, in multiples of what is allowed: where nothing is allowed, it is any number."""
_MOST = 4
"""Most troubles marked in one picture: the worst of each part, the rest is in the tables."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """What happens to a part: `outcome` is one of the three marks, `text` one sentence for the list under it."""

    key: str
    outcome: str
    text: str


@dataclass(frozen=True, slots=True)
class Bears:
    """What bears on a pin or part and what it may take, in words; `times` how often the stress holds the rating.

    Where nobody stated the rating, `allowed` is a range, or what would be harm where a pulse is beyond that; then it is
    `ranged`, and `times` tells what it is at least; `harm` marks the latter. `of` says what it bears on, where that is
    not the pin itself.
    """

    value: str
    allowed: str
    times: float
    of: str = ""
    ranged: bool = False
    harm: bool = False


def bears(finding: Finding) -> Bears | None:
    """Return what a margin or a dissipation rests on, None where nothing was obtained or nobody knows a rating."""
    if finding.quantity == POWER:
        if finding.value is None or not finding.high:
            return None
        at_worst = finding.spread is not None and SHORT_CIRCUIT in finding.codes
        watts = finding.spread[1] if at_worst and finding.spread else finding.value
        return Bears(show(watts, "W"), show(finding.high, "W"), watts / finding.high)
    found = finding.bearing
    if finding.value is None or found is None or found.allowed is None:
        return None
    unit, of = clean(found.unit), RAIL_PART if found.part == RAIL_PART else ""
    strict, loose = (show(end, unit) for end in found.allowed)
    if found.open:
        most = finding.value if finding.spread is None else finding.spread[1]
        return Bears(show(found.stress, unit), f"{strict} to {loose}", 10.0 ** (-most / 20.0), of, True)
    stress, most = (settled(one, unit) for one in (found.stress, found.allowed[0]))
    over = min(stress / most, _MOST_TIMES) if most > 0.0 else _MOST_TIMES
    return Bears(show(stress, unit), strict, over, of, found.harm, found.harm)


def beyond(finding: Finding, bearing: Bears) -> str:
    """Return what a multiple is one of, in the words that follow it."""
    if finding.outcome == DOES_NOT_CONFORM:
        return "too much"
    return "what would be harm" if bearing.harm else "what is proven"


def event_words(result: Result, finding: Finding) -> str:
    """Return what happened in bench words: ``lead plugged in live, re-contact``."""
    said = result.extra.get("events")
    name = finding.event or ""
    words = said.get(name) if isinstance(said, Mapping) else None
    parts = (words if isinstance(words, str) and words else name, finding.severity or "")
    return ", ".join(clean(part) for part in parts if part)


def troubles(result: Result, line: Schematic) -> tuple[Trouble, ...]:
    """Return what to mark in a line's picture: of every part the worst that fails or is open, the hardest first.

    Strikes (static, charged leads) are grades, not mistakes or daily use: they are marked only if nothing else is.
    """
    mine = [
        one
        for one in result.findings
        if one.line in line.lines
        and one.guarded is line.guarded
        and one.outcome in OF_OUTCOME
        and one.quantity in (MARGIN, LATCH_UP, PARTS, POWER)
    ]
    mine = [one for one in mine if one.use != STRIKE] or [one for one in mine if one.needed]
    best: dict[str, tuple[tuple[bool, bool, float], Trouble]] = {}
    for one in mine:
        key = _key(one, line)
        bearing = bears(one)
        rank = (not one.needed, one.outcome != DOES_NOT_CONFORM, -(bearing.times if bearing else 0.0))
        if key and (key not in best or rank < best[key][0]):
            best[key] = (rank, Trouble(key, _mark(one), _told(result, line, one, key, bearing)))
    ordered = sorted(best.values(), key=lambda pair: (pair[0], pair[1].key))
    return tuple(trouble for _, trouble in ordered[:_MOST])


def _mark(one: Finding) -> str:
    return RULED if one.condition is not None else OF_OUTCOME[one.outcome]


def _key(one: Finding, line: Schematic) -> str:
    """Return the part a finding is about."""
    if one.quantity in (MARGIN, LATCH_UP):
        return CHIP_KEY
    if one.quantity == POWER:
        return one.where or ""
    part = "" if one.bearing is None else one.bearing.part
    return part if any(each.key == part for each in line.parts) else ""


def _told(result: Result, line: Schematic, one: Finding, key: str, bearing: Bears | None) -> str:
    what = "chip" if key == CHIP_KEY else next((said(part) for part in line.parts if part.key == key), key)
    happens = event_words(result, one) or "in normal use"
    if bearing is None:
        return f"{what}: {happens}: not proven"
    text = f"{what}: {happens}: {bearing.value}, allowed {bearing.allowed}"
    if bearing.times > 1.0 and one.outcome == DOES_NOT_CONFORM:
        text += f": {times(bearing.times)} {beyond(one, bearing)}{' at least' if bearing.ranged else ''}"
    elif bearing.times > 1.0:
        text += f": {times(bearing.times)} {beyond(one, bearing)}"
    elif one.outcome == NOT_PROVEN:
        text += ": not proven"
    return f"{text} (a mistake: see the rules of use)" if one.condition is not None else text


def said(part: SchematicPart) -> str:
    """Return a part by what is printed on it: ``100 ohm``, ``1N4148 (upper diode)``."""
    if part.value is not None:
        return show(part.value, part.unit)
    name = part.key.partition(" ")[2]
    title = clean(part.title) or part.symbol
    return f"{title} ({name})" if name else title


@dataclass(frozen=True, slots=True)
class PartRow:
    """One part in the list beside the picture: what it is, between which points, its currents."""

    what: str
    between: str
    currents: str


@dataclass(frozen=True, slots=True)
class PointRow:
    """One measuring point in the list beside the picture, with its level in each signal state."""

    point: str
    place: str
    levels: tuple[str, ...]


def part_rows(line: Schematic) -> tuple[PartRow, ...]:
    """Return every part of a picture; a chip says how many elements of the netlist model it, so that none is lost."""
    places = _places(line)
    rows = []
    for part in line.parts:
        what = f"{part.symbol} {said(part)}" if part.value is not None else said(part)
        if len(part.cards) > 1 or (part.value is None and part.cards):
            what += f" ({', '.join(clean(card) for card in part.cards)})"
        currents = [
            f"{state_word(state)} {show(value, 'A')}"
            for state, value in zip(line.states, part.currents, strict=False)
            if value is not None
        ]
        rows.append(
            PartRow(what, " and ".join(places.get(node, clean(node)) for node in part.nodes), ", ".join(currents))
        )
    return tuple(rows)


def point_rows(line: Schematic) -> tuple[PointRow, ...]:
    """Return every measuring point with where it is and what is there."""
    last = len(line.path) - 1
    return tuple(
        PointRow(
            clean(node.point),
            "chip's pin" if place == 0 else "display input" if place == last else _place(node.name),
            tuple("unknown" if value is None else show(value, "V") for value in node.volts),
        )
        for place, node in enumerate(line.path)
    )


def _place(node: str) -> str:
    return "socket" if node == "near" else "between the parts"


def _places(line: Schematic) -> dict[str, str]:
    names = {node: "the rail" if node == SUPPLY else "0 V" for node in RAILS}
    return names | {node.name: clean(node.point) for node in line.path}


def state_word(state: str) -> str:
    """Return a signal state in bench words."""
    return STATES.get(state, clean(state))


def description(line: Schematic, found: Sequence[Trouble]) -> str:
    """Return in words what the picture shows, for those who do not see it."""
    names = ", ".join(clean(name) for name in line.lines)
    points = [
        f"{row.point} ({row.place}): "
        + ", ".join(f"{state_word(s)} {v}" for s, v in zip(line.states, row.levels, strict=False))
        for row in point_rows(line)
    ]
    parts = [f"{row.what} between {row.between}" for row in part_rows(line)]
    words = {FAILS: "Fails", OPEN: "Open", RULED: "Kept away by a rule of use"}
    marked = [f"{words[one.outcome]}: {sentence(one.text)}" for one in found]
    return " ".join(
        [f"{names}, from chip to display.", *(f"{one}." for one in points), f"{'; '.join(parts)}.", *marked]
    )
