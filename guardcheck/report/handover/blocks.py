"""The checklist as blocks without a format: page and PDF draw the same blocks, so they say the same."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph. `tone` is ``plain``, ``lead`` (stands out), ``soft`` (an aside) or ``stop`` (a warning)."""

    text: str
    tone: str = "plain"
    kind: str = "text"


@dataclass(frozen=True, slots=True)
class Item:
    """One entry of a list: the sentence, what it is about, and its outcome (None when it has none)."""

    text: str
    about: str = ""
    outcome: str | None = None
    title: str = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list; `ordered` numbers it. `style` is ``plain``, ``open`` (not proven), ``fails`` or ``good``.

    `tight` runs title, text and subject together, so that many entries stay on one page.
    """

    items: tuple[Item, ...]
    ordered: bool = False
    style: str = "plain"
    tight: bool = False
    kind: str = "bullets"


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: `main` stands out, `small` lines follow; `outcome` draws the word of an outcome before them."""

    main: str = ""
    small: tuple[str, ...] = ()
    outcome: str | None = None
    code: bool = False


@dataclass(frozen=True, slots=True)
class GridRow:
    """One row. The first cell heads it; a `group` row spans the table; `quiet` rows decide nothing.

    `note` stands below the other cells, over their whole width: a reason of six sentences fills a page in a column.
    `ids` are the findings it stands for; no reader sees them.
    """

    cells: tuple[Cell, ...]
    group: bool = False
    quiet: bool = False
    note: tuple[str, ...] = ()
    ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Grid:
    """A table with caption and column heads; `widths` are shares of the page width."""

    caption: str
    heads: tuple[str, ...]
    widths: tuple[float, ...]
    rows: tuple[GridRow, ...]
    kind: str = "grid"


@dataclass(frozen=True, slots=True)
class Blanks:
    """Lines to fill by hand, each with its label; `columns` of them side by side."""

    title: str
    labels: tuple[str, ...]
    columns: int = 1
    kind: str = "blanks"


@dataclass(frozen=True, slots=True)
class Boxes:
    """Boxes to tick by hand."""

    labels: tuple[str, ...]
    kind: str = "boxes"


@dataclass(frozen=True, slots=True)
class Drawing:
    """One of the document's pictures, `told` in words for those who do not see it, `width` on paper [pt]."""

    picture: str
    told: str
    width: float
    kind: str = "drawing"


Block = Text | Bullets | Grid | Blanks | Boxes | Drawing


@dataclass(frozen=True, slots=True)
class Section:
    """A heading with its blocks; `slug` is its anchor, `weight` ``open`` or ``fails`` marks what must not be missed."""

    slug: str
    title: str
    blocks: tuple[Block, ...]
    weight: str = "plain"
    about: str = ""


@dataclass(frozen=True, slots=True)
class Document:
    """The technician's record: the verdict, what it means, and its sections."""

    language: str
    kicker: str
    title: str
    unit: str
    unit_kind: str
    outcome: str
    headline: str
    meaning: tuple[str, ...]
    tally: tuple[tuple[str, str, int], ...]
    sections: tuple[Section, ...]
    labels: dict[str, str] = field(default_factory=dict)
    drawings: dict[str, str] = field(default_factory=dict)
    hash: str = ""
