"""Where everything of a line's picture stands: blocks from left to right, folded into as many rows as it takes.

Lengths are in drawing units, one row after the other from the top; y grows upwards, as schemdraw has it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from guardcheck.formatting import show
from guardcheck.model import Schematic, SchematicPart
from guardcheck.model.schematic import CABLE, CHIP, NPN, PNP, SUPPLY
from guardcheck.report.arrange.line import CHIP_KEY, FAILS, OPEN, RULED, Trouble, state_word
from guardcheck.report.arrange.words import clean
from guardcheck.report.pictures.line.structure import Branch, Stop, structure
from guardcheck.report.text.grid import columns, wrap

UNIT = 28.0
"""Points per drawing unit."""
SIZE, SMALL = 12.0, 10.5
"""Text sizes [points of the drawing]."""
LEAST_CURRENT = 5e-5
"""Currents below this [A] are not written beside a part: the list of parts has them."""
_RISE, _DROP = 2.2, 2.2
"""How far the signs of the supply stand above the signal, those of 0 V below it."""
_BODY, _STRIP, _FOOT = 1.3, 1.0, 0.5
"""Least room above and below the signal; how far the strip of levels stands below that, and a row's end below it."""
_SIGNS = {"ground": -0.4, "supply": 0.1}
"""How far the sign of a rail reaches beyond its node."""
_MARKS = {FAILS: "x", OPEN: "?", RULED: "r"}
_STEP = 0.75
"""How far a transistor's emitter or collector stands from its base's level."""
_LEAST_STRIP = 0.6
_TITLE = 15
"""Widest line of a title inside a box [characters]."""


@dataclass(frozen=True, slots=True)
class Stroke:
    """One thing to draw. `kind` is a symbol of the model, or the name of a shape such as line, box, mark or text."""

    kind: str
    at: tuple[float, float]
    to: tuple[float, float] = (0.0, 0.0)
    text: str = ""
    align: str = "left"
    size: float = SIZE
    bold: bool = False
    tone: str = "ink"


@dataclass
class _Block:
    """A stretch of the line: its strokes in its own coordinates, its width, and its rise of the signal's level."""

    strokes: list[Stroke] = field(default_factory=list)
    width: float = 0.0
    rise: float = 0.0
    label: tuple[str, str] | None = None
    breakable: bool = False
    display: bool = False
    title: str = ""


@dataclass(frozen=True)
class Layout:
    """All strokes of a picture with its size in drawing units; (0, 0) is its upper left corner."""

    strokes: tuple[Stroke, ...]
    width: float
    height: float
    rows: int


def text_width(text: str, size: float = SIZE) -> float:
    """Return how wide a text is at most, in drawing units."""
    return columns(text) * size * 0.58 / UNIT


def together(values: Sequence[float | None], unit: str) -> str:
    """Return values of one kind with their unit once: ``1.88 / 0 V``."""
    known = [value for value in values if value is not None]
    if not known:
        return ""
    largest = max(known, key=abs)
    whole = show(largest, unit)
    number, _, shown = whole.partition(" ")
    scale = float(number) / largest if largest else 1.0
    digits = max(0, 2 - len(number.lstrip("-").partition(".")[0]) + 1)
    found = []
    for value in values:
        if value is None:
            found.append("?")
        elif value is largest:
            found.append(number)
        else:
            text = f"{value * scale:.{digits}f}"
            text = text.rstrip("0").rstrip(".") if "." in text else text
            found.append("0" if text in ("-0", "") else text)
    return f"{' / '.join(found)} {symbol(shown)}"


def symbol(unit: str) -> str:
    """Return a unit as it is drawn: ``k\N{GREEK CAPITAL LETTER OMEGA}`` for kohm."""
    return unit.replace("ohm", "Ω").replace("u", "µ", 1) if unit.startswith("u") else unit.replace("ohm", "Ω")


def lay_out(line: Schematic, troubles: Sequence[Trouble], *, widest: float) -> Layout:
    """Return the picture of a line in rows no wider than `widest` units, a single block excepted."""
    marks = {one.key: (number, one.outcome) for number, one in enumerate(troubles, 1)}
    blocks = _blocks(line, marks)
    rows = _folded(blocks, widest)
    strokes: list[Stroke] = []
    top = width = 0.0
    for number, row in enumerate(rows):
        made, wide, high = _row(row, first=number == 0, last=number == len(rows) - 1, letter="abcdefgh"[number % 8])
        strokes += [_moved(one, 0.0, -top) for one in made]
        top += high
        width = max(width, wide)
    states = " / ".join(state_word(state) for state in line.states)
    notes = [(f"M1, M2 ...: measuring points, volts against the unit's 0 V. Figures: {states}.", "soft", "")]
    for number, one in enumerate(troubles, 1):
        notes.append((clean(one.text), one.outcome, f"{_MARKS[one.outcome]}{number}"))
    wide = max(width, min(widest, 12.0))
    for text, tone, mark in notes:
        lead = 0.95 if mark else 0.0
        pieces = wrap(text, max(12, int((wide - lead) / text_width("x", SMALL))))
        if mark:
            strokes.append(Stroke("mark", (0.45, -top - 0.24), text=mark, tone=tone))
        for piece in pieces:
            strokes.append(Stroke("text", (lead, -top - 0.24), text=piece, size=SMALL, tone="ink" if mark else "soft"))
            top += 0.5
        top += 0.12
    return Layout(tuple(strokes), wide, top, len(rows))


def _moved(one: Stroke, x: float, y: float) -> Stroke:
    return replace(one, at=(one.at[0] + x, one.at[1] + y), to=(one.to[0] + x, one.to[1] + y))


def _folded(blocks: Sequence[_Block], widest: float) -> list[list[_Block]]:
    """Return the blocks in as few rows as fit, and the rows about equally long."""
    total = _width(blocks)
    if total <= widest:
        return [list(blocks)]
    for count in range(2, len(blocks) + 1):
        rows = _broken(blocks, max(total / count, 1.0), widest)
        if len(rows) <= count and all(_width(row) <= widest for row in rows):
            return rows
    return _broken(blocks, 0.0, widest)


def _broken(blocks: Sequence[_Block], wanted: float, widest: float) -> list[list[_Block]]:
    rows: list[list[_Block]] = [[]]
    for place, block in enumerate(blocks):
        ahead = _group(blocks, place)
        full = _width(rows[-1]) + _width(ahead) > widest or _width(rows[-1]) + _width(ahead) / 2 > wanted
        if block.breakable and rows[-1] and full:
            rows.append([])
        rows[-1].append(block)
    return rows


def _group(blocks: Sequence[_Block], place: int) -> Sequence[_Block]:
    """Return the block with those that must stand in its row."""
    stop = next((n for n in range(place + 1, len(blocks)) if blocks[n].breakable), len(blocks))
    return blocks[place:stop]


def _width(blocks: Sequence[_Block]) -> float:
    return sum(block.width for block in blocks) + 1.2


def _row(row: Sequence[_Block], *, first: bool, last: bool, letter: str) -> tuple[list[Stroke], float, float]:
    """Return one row's strokes with its upper left corner at (0, 0), its width and its height."""
    strokes: list[Stroke] = []
    x = 0.0 if first else 0.9
    level, strip = 0.0, -1e9
    rise, drop = _reach(row)
    foot = -drop - _STRIP
    frame: list[float] = []
    ends = [0.0]
    if not first:
        before = "abcdefgh"["abcdefgh".index(letter) - 1]
        strokes += [Stroke("text", (0.0, 0.0), text=before, bold=True), Stroke("line", (0.35, 0.0), (0.9, 0.0))]
    for block in row:
        if block.label is not None:
            x_label = max(x + 0.15, strip)
            strokes.append(Stroke("lead", (x, level), (x, foot + 0.3)))
            strokes.append(Stroke("point", (x, foot), text=block.label[0]))
            strokes.append(Stroke("text", (x_label + 0.3, foot), text=block.label[1], size=SMALL))
            strip = x_label + 0.3 + text_width(block.label[1], SMALL) + _LEAST_STRIP
        if block.display:
            frame.append(x - 0.45)
        strokes += [_moved(one, x, level) for one in block.strokes]
        x += block.width
        level += block.rise
        ends.append(level)
    if not last:
        strokes.append(Stroke("line", (x, level), (x + 0.7, level)))
        strokes.append(Stroke("text", (x + 0.8, level), text=letter, bold=True))
    width = max(x + (1.2 if not last else 0.3), strip)
    if frame:
        strokes.append(Stroke("frame", (min(frame), rise), (x + 0.1, -drop - 0.3)))
        strokes.append(Stroke("text", (min(frame) + 0.1, rise + 0.27), text=row[-1].title, size=SMALL))
    top = rise + (0.55 if frame else 0.3)
    return [_moved(one, 0.0, -top) for one in strokes], width, top - foot + _FOOT


def _reach(row: Sequence[_Block]) -> tuple[float, float]:
    """Return how far a row reaches above and below the signal."""
    heights = [0.0]
    level = 0.0
    for block in row:
        for one in block.strokes:
            sign = _SIGNS.get(one.kind, 0.0)
            heights += [level + one.at[1] + sign, level + one.to[1]]
        level += block.rise
    return max(_BODY, max(heights) + 0.25), max(_BODY, 0.25 - min(heights))


def _blocks(line: Schematic, marks: Mapping[str, tuple[int, str]]) -> list[_Block]:
    driver, legs, stops = structure(line)
    levels = {node.name: (node.point, together(node.volts, "V")) for node in line.path}
    titles = dict(line.titles)
    rail = "" if line.rail is None else show(line.rail, "V")
    blocks = [_driver(driver, titles.get("source", ""), legs, marks)]
    before = _strip(stops[0], levels)
    for place, stop in enumerate(stops):
        last = place == len(stops) - 1
        point = _Block(label=levels.get(stop.node), width=0.7, display=last)
        point.strokes.append(Stroke("line", (0.0, 0.0), (0.7, 0.0)))
        point.strokes.append(Stroke("dot", (0.0, 0.0)))
        if stop.onward is not None and stop.onward.symbol == CABLE:
            point.strokes.append(Stroke("ring", (0.0, 0.0)))
            point.strokes.append(Stroke("text", (0.0, 0.55), text="socket", align="center", size=SMALL))
        made = [point, *_hung(stop, marks, rail, last=last)]
        if last:
            title = f"display: {clean(titles.get('display', ''))}"[:40]
            made[-1].width += max(0.0, max(text_width(title, SMALL) - 0.3, before) - sum(one.width for one in made))
            for block in made:
                block.display, block.title = True, title
        if stop.onward is not None:
            onward = _onward(stop, titles, marks)
            have = sum(block.width for block in made) + onward.width
            short = before - have
            if short > 0.0:
                onward.strokes.append(Stroke("line", (onward.width, onward.rise), (onward.width + short, onward.rise)))
                onward.width += short
            made.append(onward)
            before = _strip(stops[place + 1], levels)
        blocks += made
    return blocks


def _strip(stop: Stop, levels: Mapping[str, tuple[str, str]]) -> float:
    """Return the room the strip needs for a node's mark and levels."""
    return text_width(levels.get(stop.node, ("", ""))[1], SMALL) + 0.45 + _LEAST_STRIP


def _driver(
    driver: SchematicPart | None,
    title: str,
    legs: Sequence[SchematicPart],
    marks: Mapping[str, tuple[int, str]],
) -> _Block:
    mark = marks.get(CHIP_KEY)
    title = clean(title if driver is None or not driver.title else driver.title)
    lines = ["chip", *wrap(title[:48], _TITLE)[:3]]
    width = max(2.6, max(text_width(one, SMALL) for one in lines) + 0.6)
    half = max(1.15, 0.5 * len(legs) + 0.2)
    block = _Block(width=width + (2.9 if legs else 0.6))
    block.strokes.append(Stroke("box", (0.0, half), (width, -half), tone=mark[1] if mark else "ink"))
    block.strokes += _stacked(lines, width / 2, 0.0)
    for place, leg in enumerate(legs):
        y = 0.5 * (len(legs) - 1) - place
        here = marks.get(leg.key) if leg.key else None
        block.strokes.append(Stroke(leg.symbol, (width, y), (width + 2.4, y)))
        block.strokes.append(Stroke("line", (width + 2.4, y), (width + 2.4, 0.0)))
        block.strokes.append(Stroke("text", (width + 1.2, y + 0.42), text=value_text(leg), align="center", size=SMALL))
        if here:
            block.strokes.append(_mark((width + 0.35, y), here))
    block.strokes.append(Stroke("line", (width + (2.4 if legs else 0.0), 0.0), (block.width, 0.0)))
    if mark:
        block.strokes.append(_mark((width - 0.15, half), mark))
    return block


def _stacked(lines: Sequence[str], x: float, middle: float) -> list[Stroke]:
    """Return lines of text one under the other around a height, the first one bold."""
    top = middle + 0.23 * (len(lines) - 1)
    return [
        Stroke("text", (x, top - 0.46 * place), text=one, align="center", size=SMALL, bold=place == 0)
        for place, one in enumerate(lines)
    ]


def _mark(at: tuple[float, float], mark: tuple[int, str]) -> Stroke:
    return Stroke("mark", at, text=f"{_MARKS[mark[1]]}{mark[0]}", tone=mark[1])


def value_text(part: SchematicPart) -> str:
    """Return what is written beside a part: its value, or what is printed on it."""
    if part.value is not None:
        number, _, unit = show(part.value, part.unit).partition(" ")
        return f"{number} {symbol(unit)}"
    return clean(part.title)[:24] or (part.role if part.symbol == CHIP else "")


def _current(part: SchematicPart) -> str:
    known = [abs(value) for value in part.currents if value is not None]
    return together(part.currents, "A") if known and max(known) >= LEAST_CURRENT else ""


def _hung(stop: Stop, marks: Mapping[str, tuple[int, str]], rail: str, *, last: bool) -> list[_Block]:
    """Return the columns of what hangs from a node: one up and one down share a column."""
    ups = [one for one in stop.branches if one.upward]
    downs = [one for one in stop.branches if not one.upward]
    blocks = []
    for place in range(max(len(ups), len(downs))):
        pair = [side[place] for side in (ups, downs) if place < len(side)]
        ends = last and place == max(len(ups), len(downs)) - 1
        blocks.append(_column(pair, marks, rail, ends=ends))
    return blocks


def _column(pair: Sequence[Branch], marks: Mapping[str, tuple[int, str]], rail: str, *, ends: bool) -> _Block:
    texts = [text for one in pair for part in one.parts for text in (value_text(part), _current(part))]
    boxed = [one for one in pair if one.rail is None]
    room = max((text_width(text, SMALL) for text in texts), default=1.0)
    block = _Block(width=max(2.0, room + 1.0))
    if boxed:
        lines = wrap(clean(boxed[0].parts[0].title)[:48] or boxed[0].parts[0].role, _TITLE)[:3]
        block.width = max(2.6, max(text_width(one, SMALL) for one in lines) + 0.9)
    middle = 0.4 if not boxed else block.width / 2 - 0.2
    block.strokes.append(Stroke("line", (0.0, 0.0), (middle if ends else block.width, 0.0)))
    block.strokes.append(Stroke("dot", (middle, 0.0)))
    for one in pair:
        block.strokes += _branch(one, middle, block.width, marks)
        if one.upward:
            block.strokes.append(Stroke("text", (middle + 0.4, _RISE), text=rail, size=SMALL - 1, tone="soft"))
    return block


def _branch(one: Branch, x: float, width: float, marks: Mapping[str, tuple[int, str]]) -> list[Stroke]:
    if one.rail is None:
        return _hanging_box(one.parts[0], x, width, marks)
    sign = 1.0 if one.upward else -1.0
    end = sign * (_RISE if one.upward else _DROP)
    step = end / max(1, len(one.parts))
    strokes = []
    for place, part in enumerate(one.parts):
        low, high = place * step, (place + 1) * step
        strokes += _standing(part, x, low, high)
        middle = (low + high) / 2
        current = _current(part)
        strokes.append(
            Stroke("text", (x + 0.45, middle + (0.2 if current else 0.0)), text=value_text(part), size=SMALL)
        )
        if current:
            strokes.append(Stroke("text", (x + 0.45, middle - 0.25), text=current, size=SMALL - 1, tone="soft"))
        mark = marks.get(part.key)
        if mark:
            strokes.append(Stroke("fence", (x - 0.42, middle + 0.72), (x + 0.36, middle - 0.72), tone=mark[1]))
            strokes.append(_mark((x - 0.8, middle), mark))
    strokes.append(Stroke("supply" if one.rail == SUPPLY else "ground", (x, end)))
    return strokes


def _hanging_box(part: SchematicPart, x: float, width: float, marks: Mapping[str, tuple[int, str]]) -> list[Stroke]:
    lines = wrap(clean(part.title)[:48] or part.role, _TITLE)[:3]
    mark = marks.get(part.key) if part.key else None
    half = width / 2 - 0.25
    strokes = [Stroke("line", (x, 0.0), (x, -0.7))]
    strokes.append(Stroke("box", (x - half, -0.7), (x + half, -2.1), tone=mark[1] if mark else "ink"))
    strokes += [replace(one, bold=False) for one in _stacked(lines, x, -1.4)]
    if mark:
        strokes.append(_mark((x + half, -0.7), mark))
    return strokes


def _standing(part: SchematicPart, x: float, low: float, high: float) -> list[Stroke]:
    """Return a part that stands upright between two heights; a chip there is a small box."""
    if part.symbol != CHIP:
        return [_symbol(part, (x, low), (x, high))]
    quarter = (high - low) / 4
    return [
        Stroke("line", (x, low), (x, low + quarter)),
        Stroke("box", (x - 0.35, low + quarter), (x + 0.35, high - quarter)),
        Stroke("line", (x, high - quarter), (x, high)),
    ]


def _symbol(part: SchematicPart, start: tuple[float, float], stop: tuple[float, float]) -> Stroke:
    """Return a two-ended part's stroke; a diode's first node is its anode, whichever end that is."""
    outward = part.nodes[-1] in ("0", "vdd", "far_gnd")
    return Stroke(part.symbol, start, stop) if outward else Stroke(part.symbol, stop, start)


def _onward(stop: Stop, titles: Mapping[str, str], marks: Mapping[str, tuple[int, str]]) -> _Block:
    part = stop.onward
    assert part is not None
    if part.symbol == CABLE:
        return _cable(part)
    if part.symbol in (NPN, PNP):
        return _transistor(stop, part, marks)
    if part.symbol == CHIP:
        return _box(part, titles, marks)
    text, current = value_text(part), _current(part)
    mark = marks.get(part.key) if part.key else None
    width = max(3.4 if mark else 2.4, text_width(text, SMALL) + 1.4, text_width(current, SMALL - 1) + 0.9)
    block = _Block(width=width, breakable=True)
    block.strokes.append(Stroke(part.symbol, (0.0, 0.0), (width, 0.0)))
    block.strokes.append(Stroke("text", (width / 2, 0.62), text=text, align="center", size=SMALL, bold=True))
    if current:
        block.strokes.append(
            Stroke("text", (width / 2, -0.6), text=current, align="center", size=SMALL - 1, tone="soft")
        )
    if mark:
        block.strokes.append(Stroke("fence", (width / 2 - 0.75, 0.38), (width / 2 + 0.75, -0.38), tone=mark[1]))
        block.strokes.append(_mark((width / 2 - 1.2, 0.0), mark))
    for place, other in enumerate(stop.beside):
        high = 1.3 + 0.9 * place
        block.strokes += [
            Stroke("line", (0.0, 0.0), (0.0, high)),
            Stroke(other.symbol, (0.0, high), (width, high)),
            Stroke("line", (width, high), (width, 0.0)),
            Stroke("text", (width / 2, high + 0.5), text=value_text(other), align="center", size=SMALL),
        ]
    return block


def _cable(part: SchematicPart) -> _Block:
    lines = wrap(clean(part.title)[:44], 22)[:2] if part.title else ["lead"]
    width = max(3.4, max(text_width(one, SMALL) for one in lines) + 0.6)
    block = _Block(width=width, breakable=True)
    block.strokes.append(Stroke(CABLE, (0.0, 0.0), (width, 0.0)))
    block.strokes += [
        Stroke("text", (width / 2, 0.7 + 0.46 * (len(lines) - 1 - n)), text=one, align="center", size=SMALL)
        for n, one in enumerate(lines)
    ]
    return block


def _box(part: SchematicPart, titles: Mapping[str, str], marks: Mapping[str, tuple[int, str]]) -> _Block:
    title = clean(part.title or titles.get(part.role, "") or part.role)[:48]
    lines = ["chip" if part.title else part.role, *wrap(title, _TITLE)[:3]]
    if not part.title:
        lines.append(f"{len(part.cards)} parts: see list")
    width = max(2.6, max(text_width(one, SMALL) for one in lines) + 0.6)
    block = _Block(width=width + 1.0, breakable=True)
    mark = marks.get(part.key) if part.key else None
    block.strokes += [
        Stroke("line", (0.0, 0.0), (0.5, 0.0)),
        Stroke("box", (0.5, 1.15), (width + 0.5, -1.15), tone=mark[1] if mark else "ink"),
        *_stacked(lines, width / 2 + 0.5, 0.0),
        Stroke("line", (width + 0.5, 0.0), (width + 1.0, 0.0)),
    ]
    if mark:
        block.strokes.append(_mark((width + 0.5, 1.15), mark))
    return block


def _transistor(stop: Stop, part: SchematicPart, marks: Mapping[str, tuple[int, str]]) -> _Block:
    """Return a transistor driven at its base; the signal goes on at the level of its emitter or collector."""
    collector = part.nodes[0]
    upper = "collector" if part.symbol == NPN else "emitter"
    taken = {end for branch in stop.third for end in (branch.rail, *(n for part in branch.parts for n in part.nodes))}
    leaves = "collector" if collector not in taken and stop.node != collector else "emitter"
    up = leaves == upper
    rise = _STEP if up else -_STEP
    text = value_text(part)
    block = _Block(width=max(2.2, text_width(text, SMALL) + 1.4), rise=rise, breakable=True)
    block.strokes.append(Stroke(part.symbol, (0.0, 0.0), (1.0, 0.0)))
    block.strokes.append(Stroke("line", (1.0, rise), (block.width, rise)))
    block.strokes.append(Stroke("text", (1.2, 0.0), text=text, size=SMALL))
    for branch in stop.third:
        block.strokes += _third(branch, (1.0, -rise), marks)
    return block


def _third(branch: Branch, at: tuple[float, float], marks: Mapping[str, tuple[int, str]]) -> list[Stroke]:
    x, y = at
    up = y > 0.0
    end = _RISE if up else -_DROP
    rail = Stroke("supply" if branch.rail == SUPPLY else "ground", (x, end), text="up" if up else "")
    if not branch.parts:
        return [Stroke("line", at, (x, end)), rail]
    step = (end - y) / len(branch.parts)
    strokes = []
    for place, part in enumerate(branch.parts):
        low, high = y + place * step, y + (place + 1) * step
        strokes += _standing(part, x, low, high)
        strokes.append(Stroke("text", (x + 0.45, (low + high) / 2), text=value_text(part), size=SMALL))
    return [*strokes, rail]
