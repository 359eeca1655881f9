"""The strokes of a line's picture as SVG, drawn with schemdraw's symbols."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any

from guardcheck.model import Result, Schematic
from guardcheck.model.schematic import CABLE, CAPACITOR, DIODE, INDUCTOR, NPN, PNP, RESISTOR, ZENER
from guardcheck.report.arrange.line import FAILS, OPEN, RULED, Trouble, description, troubles
from guardcheck.report.arrange.words import clean
from guardcheck.report.pictures.line.layout import SIZE, UNIT, Layout, Stroke, lay_out

WIDE, PAPER, NARROW = 44.0, 23.5, 12.4
"""Widest rows [drawing units]: a screen, a sheet of A4 (its text stays above 8 points), a telephone."""
_TONES = {"ink": "#1b2328", "soft": "#48545c", FAILS: "#8c1919", OPEN: "#6e4600", RULED: "#1b2328"}
_MARGIN = 0.35
_NUMBER = re.compile(r"-?\d+\.\d+")
_PLAIN = "stroke-dasharray:-;"
_ENDS = "stroke-linecap:round;stroke-linejoin:round;"
_FAMILY = "system-ui,'Segoe UI',Roboto,'Liberation Sans',Arial,sans-serif"


def line_svg(
    line: Schematic, troubles: Sequence[Trouble], description: str, *, widest: float = WIDE, prefix: str = "line"
) -> str:
    """Return the picture as one SVG element. Same line, same bytes.

    Parameters
    ----------
    troubles : what happens to its parts, marked by number, by shape and by colour
    description : what the picture shows, in words, for those who do not see it
    widest : rows are no wider [drawing units of 28 points]
    prefix : makes the element's ids its own within a page

    """
    layout = lay_out(line, troubles, widest=widest)
    return _element(_strokes(layout), layout, _title(line), description, prefix)


def lines_svg(result: Result) -> str:
    """Return every line of a result as one SVG file, one picture under the other, lines that are alike once.

    A result without lines gives a file that says so.
    """
    drawn = [_placed(result, one, place) for place, one in enumerate(result.schematics, 1)]
    width = max((one[1] for one in drawn), default=320.0)
    y, body = 34.0, []
    for element, _, height in drawn:
        body.append(element.replace("<svg ", f'<svg x="0" y="{y:.0f}" ', 1))
        y += height + 10.0
    head = f"{clean(result.unit)}: {'the lines as planned' if drawn else 'no line is declared'}"
    return (
        f'<?xml version="1.0" encoding="utf-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" '
        f'height="{y:.0f}" viewBox="0 0 {width:.0f} {y:.0f}" font-family="{_FAMILY}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/>'
        f'<text x="12" y="24" font-size="14" font-weight="700">{escape(head)}</text>{"".join(body)}</svg>\n'
    )


def _placed(result: Result, line: Schematic, place: int) -> tuple[str, float, float]:
    found = troubles(result, line)
    layout = lay_out(line, found, widest=WIDE)
    element = _element(_strokes(layout), layout, _title(line), description(line, found), f"line-{place}")
    return element, (layout.width + 2 * _MARGIN) * UNIT, (layout.height + 2 * _MARGIN) * UNIT


def _title(line: Schematic) -> str:
    return f"The line drawn: {', '.join(clean(name) for name in line.lines)}"


def _element(body: str, layout: Layout, title: str, description: str, prefix: str) -> str:
    left, top = -_MARGIN * UNIT, -_MARGIN * UNIT
    width, height = (layout.width + 2 * _MARGIN) * UNIT, (layout.height + 2 * _MARGIN) * UNIT
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="line-drawn" role="img" '
        f'aria-labelledby="{prefix}-title {prefix}-desc" '
        f'viewBox="{left:.0f} {top:.0f} {width:.0f} {height:.0f}" width="{width:.0f}" height="{height:.0f}" '
        f'font-family="{_FAMILY}" stroke-linecap="round" stroke-linejoin="round">'
        f'<title id="{prefix}-title">{escape(title)}</title><desc id="{prefix}-desc">{escape(description)}</desc>'
        f"{body}</svg>"
    )


def _strokes(layout: Layout) -> str:
    import schemdraw
    from schemdraw import elements as elm

    schemdraw.use("svg")
    schemdraw.svgconfig.text = "text"
    drawing = schemdraw.Drawing(show=False, inches_per_unit=UNIT / 72.0)
    drawing.config(lw=1.3, color=_TONES["ink"], fontsize=SIZE, font="sans")
    for stroke in layout.strokes:
        if stroke.kind != "text":
            for element in _ELEMENTS[stroke.kind](elm, stroke):
                drawing.add(element)
    drawn = drawing.get_imagedata("svg").decode()
    inner = drawn[drawn.index(">") + 1 : drawn.rindex("</svg>")]
    inner = inner.replace(_PLAIN, "").replace(_ENDS, "")
    inner = _NUMBER.sub(lambda found: _short(float(found[0])), inner)
    return inner + "".join(_text(stroke) for stroke in layout.strokes if stroke.kind in ("text", "mark", "point"))


def _short(number: float) -> str:
    text = f"{number:.1f}"
    return "0" if text == "-0.0" else text.removesuffix(".0")


def _text(stroke: Stroke) -> str:
    """Return a text as SVG; schemdraw would put its own spans around it and not escape it."""
    x, y = stroke.at[0] * UNIT, -stroke.at[1] * UNIT
    if stroke.kind == "mark":
        fill, size, weight, align = ("#ffffff" if stroke.tone == FAILS else _TONES[stroke.tone]), 11.0, True, "middle"
    elif stroke.kind == "point":
        fill, size, weight, align = _TONES["ink"], 10.0, True, "middle"
    else:
        fill, size, weight = _TONES[stroke.tone], stroke.size, stroke.bold
        align = {"left": "start", "center": "middle", "right": "end"}[stroke.align]
    bold = ' font-weight="700"' if weight else ""
    halo = ' stroke="#ffffff" stroke-width="3" paint-order="stroke"' if stroke.kind == "text" else ""
    return (
        f'<text x="{_short(x)}" y="{_short(y + size * 0.35)}" font-size="{_short(size)}" text-anchor="{align}" '
        f'fill="{fill}"{bold}{halo}>{escape(stroke.text)}</text>'
    )


def _two(name: str) -> Callable[[Any, Stroke], list[Any]]:
    def made(elm: Any, stroke: Stroke) -> list[Any]:
        return [getattr(elm, name)().at(stroke.at).to(stroke.to)]

    return made


def _line(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Line().at(stroke.at).to(stroke.to)] if stroke.at != stroke.to else []


def _lead(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Line(color="#7b878e", lw=0.9, ls=":").at(stroke.at).to(stroke.to)]


def _dot(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Dot(radius=0.07).at(stroke.at)]


def _ring(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Dot(radius=0.16, open=True, lw=1.3).at(stroke.at)]


def _ground(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Ground().at(stroke.at).theta(180 if stroke.text == "up" else 0)]


def _supply(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Vdd().at(stroke.at).theta(0)]


def _polygon(elm: Any, stroke: Stroke, **style: Any) -> list[Any]:
    (left, top), (right, bottom) = stroke.at, stroke.to
    return [elm.Rect(corner1=(0, 0), corner2=(right - left, bottom - top), **style).at(stroke.at).theta(0)]


def _box(elm: Any, stroke: Stroke) -> list[Any]:
    heavy = stroke.tone in (FAILS, OPEN)
    return _polygon(
        elm, stroke, color=_TONES[stroke.tone], lw=2.6 if heavy else 1.3, ls="--" if stroke.tone == OPEN else "-"
    )


def _fence(elm: Any, stroke: Stroke) -> list[Any]:
    return _polygon(elm, stroke, color=_TONES[stroke.tone], lw=2.0, ls="--" if stroke.tone == OPEN else "-")


def _frame(elm: Any, stroke: Stroke) -> list[Any]:
    return _polygon(elm, stroke, color="#7b878e", lw=1.0, ls="--")


def _marked(elm: Any, stroke: Stroke) -> list[Any]:
    (x, y), wide = stroke.at, 0.17 * len(stroke.text) + 0.06
    here = Stroke("mark", (x - wide, y + 0.25), (x + wide, y - 0.25))
    if stroke.tone == FAILS:
        return _polygon(elm, here, color=_TONES[FAILS], fill=_TONES[FAILS], lw=1.3)
    ends = "--" if stroke.tone == OPEN else "-"
    return _polygon(elm, here, color=_TONES[stroke.tone], fill="#ffffff", lw=1.6, ls=ends)


def _pointed(elm: Any, stroke: Stroke) -> list[Any]:
    return [elm.Dot(radius=0.32, open=True, fill="#ffffff", lw=1.1).at(stroke.at)]


def _transistor(name: str) -> Callable[[Any, Stroke], list[Any]]:
    def made(elm: Any, stroke: Stroke) -> list[Any]:
        device = getattr(elm, name)().at(stroke.at).anchor("base").theta(0)
        return [device]

    return made


_ELEMENTS: Mapping[str, Callable[[Any, Stroke], list[Any]]] = {
    RESISTOR: _two("Resistor"),
    CAPACITOR: _two("Capacitor"),
    INDUCTOR: _two("Inductor2"),
    DIODE: _two("Diode"),
    ZENER: _two("Zener"),
    CABLE: _two("Coax"),
    NPN: _transistor("BjtNpn"),
    PNP: _transistor("BjtPnp"),
    "line": _line,
    "lead": _lead,
    "dot": _dot,
    "ring": _ring,
    "ground": _ground,
    "supply": _supply,
    "box": _box,
    "fence": _fence,
    "frame": _frame,
    "mark": _marked,
    "point": _pointed,
}
