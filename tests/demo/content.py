"""Whether two reports say the same: by what a reader sees of them, whatever machine made them.

Numbers in words must agree exactly. Drawn curves may differ by less than the eye sees, and whose simulator it was is no
content. A report that says the same is not written again, so that making the demo leaves the committed files alone.
"""

from __future__ import annotations

import io
import json
import math
import re
from collections.abc import Callable, Iterator
from itertools import zip_longest
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pypdf

PICTURE = re.compile(r"<svg.*?</svg>", re.DOTALL)
ENGINE = re.compile(r"ngspice[- ]\d+(?:\.\d+)*")
HASHED = re.compile(r"-[a-z][0-9a-f]{10}\b")
"""Names matplotlib makes of the shape they stand for."""
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[-+]?\d+)?")
PLACED = ("d", "x", "y", "cx", "cy", "r", "width", "height", "transform", "points")
DRAWN = 0.5
"""How far a drawn point may lie from where it lay [user units of the drawing, 389 wide]."""
CURVE = 1e-4
"""How far a saved point of a curve may lie from where it lay, as a share of the curve's range."""


def same(name: str, ours: bytes, theirs: bytes) -> bool:
    """Tell whether two files of one name say the same."""
    return next(differences(name, ours, theirs), None) is None


def differences(name: str, ours: bytes, theirs: bytes) -> Iterator[str]:
    """Yield what differs between two files of one name, in words."""
    if ours != theirs:
        yield from _BY_KIND[Path(name).suffix](ours, theirs)


def _text(ours: bytes, theirs: bytes) -> Iterator[str]:
    yield from _lines(*(ENGINE.sub("ngspice", one.decode()) for one in (ours, theirs)))


def _lines(ours: str, theirs: str) -> Iterator[str]:
    for number, (one, other) in enumerate(zip_longest(ours.splitlines(), theirs.splitlines()), 1):
        if one != other:
            yield f"line {number}: {_short(one)} against {_short(other)}"


def _short(text: object) -> str:
    return repr(text)[:200]


def _page(ours: bytes, theirs: bytes) -> Iterator[str]:
    one, other = (ENGINE.sub("ngspice", data.decode()) for data in (ours, theirs))
    yield from _lines(PICTURE.sub("<svg/>", one), PICTURE.sub("<svg/>", other))
    for first, second in zip_longest(PICTURE.findall(one), PICTURE.findall(other), fillvalue="<svg/>"):
        yield from _drawn(first, second)


def _drawing(ours: bytes, theirs: bytes) -> Iterator[str]:
    yield from _drawn(ours.decode(), theirs.decode())


def _drawn(ours: str, theirs: str) -> Iterator[str]:
    """Compare the structure of two drawings: elements, styles and words exactly, places as the eye sees them."""
    if ours == theirs:
        return
    for one, other in zip_longest(*(ElementTree.fromstring(text).iter() for text in (ours, theirs))):
        if one is None or other is None or _skeleton(one) != _skeleton(other):
            yield f"drawing: {_skeleton(one)} against {_skeleton(other)}"
            return
        for name in PLACED:
            if not _near(_extent(one.get(name, ""), name), _extent(other.get(name, ""), name), DRAWN):
                yield f"drawing: {name} of <{one.tag}>: {_short(one.get(name))} against {_short(other.get(name))}"


def _skeleton(node: ElementTree.Element | None) -> object:
    if node is None:
        return None
    kept = {key: HASHED.sub("", value) for key, value in node.attrib.items() if key not in PLACED}
    return node.tag.rpartition("}")[2], sorted(kept.items()), (node.text or "").strip()


def _extent(text: str, name: str) -> list[float]:
    """Return the numbers of a place; of a path's many points, where it starts, ends, and how far it reaches."""
    numbers = [float(one) for one in NUMBER.findall(text)]
    if name not in ("d", "points") or not numbers:
        return numbers
    across, along = numbers[::2], numbers[1::2]
    return [*numbers[:2], *numbers[-2:], min(across), max(across), min(along or [0.0]), max(along or [0.0])]


def _near(ours: list[float], theirs: list[float], tolerance: float) -> bool:
    return len(ours) == len(theirs) and all(
        math.dist((a,), (b,)) <= tolerance for a, b in zip(ours, theirs, strict=True)
    )


def _saved(ours: bytes, theirs: bytes) -> Iterator[str]:
    one, other = json.loads(ours), json.loads(theirs)
    for key in sorted(one.keys() | other.keys()):
        if key == "curves":
            yield from _curves(one.get(key, []), other.get(key, []))
        elif key != "engine" and one.get(key) != other.get(key):
            yield from _rows(key, one.get(key), other.get(key))


def _rows(key: str, ours: Any, theirs: Any) -> Iterator[str]:
    pairs = zip_longest(ours, theirs) if isinstance(ours, list) and isinstance(theirs, list) else [(ours, theirs)]
    for one, other in pairs:
        if one != other:
            yield f"{key}: {_short(one)} against {_short(other)}"


def _curves(ours: list[dict[str, Any]], theirs: list[dict[str, Any]]) -> Iterator[str]:
    for one, other in zip_longest(ours, theirs, fillvalue={}):
        name = f"curve {one.get('line')} {one.get('picture')} {one.get('label')}"
        if one.keys() != other.keys() or any(one[k] != other[k] for k in one if k not in ("x", "y", "marks", "band")):
            yield f"{name}: another one stands there"
            continue
        for axis in ("x", "y"):
            if not _alike(one[axis], other[axis]):
                yield f"{name}: {axis} differs"
        for key in ("marks", "band"):
            if not _alike(_numbers(one[key]), _numbers(other[key])):
                yield f"{name}: {key} differs"


def _numbers(value: Any) -> list[float | None]:
    return list(value.values()) if isinstance(value, dict) else list(value or ())


def _alike(ours: list[float | None], theirs: list[float | None]) -> bool:
    """Tell whether two axes reach as far; which of many points were kept may differ by a hair."""
    one, other = ([v for v in axis if v is not None] for axis in (ours, theirs))
    if not one or not other:
        return len(one) == len(other)
    room = CURVE * max(max(one) - min(one), max(abs(v) for v in one), 1e-12)
    ends = [(min(one), min(other)), (max(one), max(other)), (one[0], other[0]), (one[-1], other[-1])]
    return all(abs(a - b) <= room for a, b in ends)


def _paper(ours: bytes, theirs: bytes) -> Iterator[str]:
    yield from _lines(*("\n".join(pages(data)) for data in (ours, theirs)))


def pages(data: bytes) -> list[str]:
    """Return the text of each page of a PDF, without the simulator's version."""
    return [ENGINE.sub("ngspice", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(data)).pages]


_BY_KIND: dict[str, Callable[[bytes, bytes], Iterator[str]]] = {
    ".html": _page,
    ".json": _saved,
    ".pdf": _paper,
    ".svg": _drawing,
    ".toml": _text,
    ".txt": _text,
}
