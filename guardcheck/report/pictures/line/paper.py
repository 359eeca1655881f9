"""Pictures of lines as they stand on paper: how wide, what they show in words, and what is marked in them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from guardcheck.model import Result, Schematic
from guardcheck.report.arrange.line import Trouble, description, troubles
from guardcheck.report.pictures.line.svg import PAPER, line_svg

_WIDTH = re.compile(r'<svg [^>]*?width="([\d.]+)"')
_POINTS, _ROOM = 0.72, 505.0
"""Points of paper per pixel of a picture, so that its text stays above 8 points; and the room there is [pt]."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A line as a picture: SVG, the same in words, and its width on paper [pt]."""

    svg: str
    told: str
    width: float


def on_paper(line: Schematic, found: Sequence[Trouble] = (), *, prefix: str = "line") -> Drawn:
    """Return the picture of a line for a sheet of A4. Same line, same bytes."""
    told = description(line, found)
    svg = line_svg(line, found, told, widest=PAPER, prefix=prefix)
    width = _WIDTH.search(svg)
    points = _ROOM if width is None else min(_ROOM, _POINTS * float(width[1]))
    return Drawn(svg, told, points)


def drawn_lines(result: Result) -> dict[str, Drawn]:
    """Return every line of a result with what happens to its parts, lines that are alike once, by a name."""
    names = [f"line-{number}" for number in range(1, len(result.schematics) + 1)]
    return {
        name: on_paper(one, troubles(result, one), prefix=name)
        for name, one in zip(names, result.schematics, strict=True)
    }
