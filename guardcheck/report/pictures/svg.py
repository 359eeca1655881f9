"""matplotlib turned into small, repeatable, accessible SVG. Only this module and `pictures` know matplotlib."""

from __future__ import annotations

import io
import os
import re
import sys
import tempfile
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from xml.etree import ElementTree

INK, SOFT, GUARDED, BARE, GRID, BAND = "#1b2328", "#48545c", "#14506b", "#6a4a12", "#d5dade", "#e9efe9"
"""Every colour has its own line style, hatch or word beside it: the picture reads the same on a grey printer."""

_SIZE = (5.4, 2.9)
_STYLE: dict[str, Any] = {
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.5,
    "text.parse_math": False,
    "text.usetex": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "guardcheck",
    "svg.image_inline": True,
    "path.simplify": True,
    "path.simplify_threshold": 0.15,
    "hatch.linewidth": 0.6,
    "axes.unicode_minus": True,
    "axes.linewidth": 0.8,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "text.color": INK,
}
_OURS = (
    "font.",
    "svg.",
    "path.",
    "lines.",
    "patch.",
    "hatch.",
    "axes.",
    "xtick.",
    "ytick.",
    "text.",
    "grid.",
    "figure.",
)
_DROPPED = ("metadata", "style")
_URL = re.compile(r"url\(#([^)]+)\)")
_NUMBER = re.compile(r"-?\d+\.\d+")
_PLACED = ("d", "x", "y", "cx", "cy", "r", "width", "height", "transform", "points")


_ENVIRONMENT = {"MPL_IGNORE_SYSTEM_FONTS": "1"}
_FOLDER = "MPLCONFIGDIR"


_LOADING = threading.Lock()


def prepare_pictures() -> None:
    """Begin to load matplotlib beside whatever the caller does next; `draw`, or the end, waits until it is there."""
    threading.Thread(target=load).start()


def load() -> None:
    """Load matplotlib with the fonts it brings along and a folder of its own that is gone afterwards.

    By itself it would look through every font of the machine, so that widths and places of text would depend on what
    is installed there, and keep the list in the user's home. Somebody who has loaded it before us keeps what is loaded.
    """
    with _LOADING:
        if "matplotlib.font_manager" not in sys.modules:
            _load()


def _load() -> None:
    before = {name: os.environ.get(name) for name in (*_ENVIRONMENT, _FOLDER)}
    with tempfile.TemporaryDirectory(prefix="guardcheck-", ignore_cleanup_errors=True) as folder:
        os.environ.update(_ENVIRONMENT | {_FOLDER: folder})
        try:
            import matplotlib.backends.backend_svg  # noqa: F401
        finally:
            for name, value in before.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


def draw(paint: Callable[[Any], None], *, title: str, description: str, prefix: str) -> str:
    """Return one picture as an SVG element without XML header, to stand in a page or alone in a file.

    `paint` draws on the matplotlib axes it is handed. A screen reader reads `title` and `description` in place of the
    lines. `prefix` goes before every id, so that many pictures can share a page.
    """
    load()
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with _style(), warnings.catch_warnings():
        figure = Figure(figsize=_SIZE)
        canvas: Any = FigureCanvasSVG(figure)
        axes = figure.add_axes((0.105, 0.155, 0.835, 0.715))
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        paint(axes)
        out = io.StringIO()
        # The reader's own fonts draw the text; a glyph missing from matplotlib's font only makes its width a guess.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return _accessible(out.getvalue(), title, description, prefix)


@contextmanager
def _style() -> Iterator[None]:
    """Draw with matplotlib's own defaults and ours, whatever a user's settings file says."""
    import matplotlib

    with matplotlib.rc_context():
        settings: Any = matplotlib.rcParams
        settings.update({k: v for k, v in matplotlib.rcParamsDefault.items() if k.startswith(_OURS)})
        settings.update(_STYLE)
        yield


def _accessible(text: str, title: str, description: str, prefix: str) -> str:
    source = ElementTree.fromstring(text)
    used = set(_URL.findall(text)) | set(re.findall(r'href="#([^"]+)"', text))
    root = _copied(source, used, prefix)
    root.attrib = {
        "xmlns": "http://www.w3.org/2000/svg",
        "viewBox": source.attrib["viewBox"],
        "role": "img",
        "aria-labelledby": f"{prefix}-title {prefix}-desc",
        "stroke-linejoin": "round",
        "stroke-linecap": "butt",
        "class": "picture",
    }
    for place, (tag, words) in enumerate((("title", title), ("desc", description))):
        element = ElementTree.Element(tag, {"id": f"{prefix}-{tag}"})
        element.text = words
        root.insert(place, element)
    return ElementTree.tostring(root, encoding="unicode", short_empty_elements=False)


def _copied(source: ElementTree.Element, used: set[str], prefix: str) -> ElementTree.Element:
    """Return the element without namespaces, unused ids, needless digits and line breaks."""
    copy = ElementTree.Element(_local(source.tag))
    for name, value in source.attrib.items():
        key = _local(name)
        if key == "id" and value not in used:
            continue
        copy.set(key, _attribute(key, value, prefix))
    if source.text and source.text.strip():
        copy.text = source.text
    for child in source:
        if _local(child.tag) not in _DROPPED:
            inner = _copied(child, used, prefix)
            if _local(child.tag) not in ("g", "defs") or len(inner):
                copy.append(inner)
    return copy


def _attribute(key: str, value: str, prefix: str) -> str:
    if key == "id":
        return f"{prefix}-{value}"
    if key == "href":
        return f"#{prefix}-{value[1:]}"
    if key in _PLACED:
        value = _NUMBER.sub(lambda number: f"{float(number.group()):.2f}".rstrip("0").rstrip("."), value)
        return " ".join(value.split())
    return _URL.sub(lambda name: f"url(#{prefix}-{name.group(1)})", value)


def _local(name: str) -> str:
    return name.rpartition("}")[2]
