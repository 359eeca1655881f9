"""The blank bench sheet: tick boxes and fields in the order of the work, for a pen or for the browser.

In the browser it writes the readings file `verify` reads; it needs no network and no server, and its one script is
named by its hash, so the page can run nothing else.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from hashlib import sha256
from importlib import resources
from typing import Any

from guardcheck.formatting import line_rank, quantity_rank, show
from guardcheck.measure.readings import READABLE
from guardcheck.measure.readings.records import COUPLINGS, INSTRUMENTS, LOADS, PICTURES, PLACES, PROBES, SCALES_AT
from guardcheck.model import QUANTITIES, Expected, Schematic
from guardcheck.model.expected import FIRST_POWER
from guardcheck.report.arrange.view import unique_slugs
from guardcheck.report.arrange.words import clean
from guardcheck.report.handover.pdf import typeset
from guardcheck.report.handover.rows import title
from guardcheck.report.handover.strings import DEFAULT, Words, words
from guardcheck.report.page.result import environment
from guardcheck.report.pictures.line.paper import Drawn, on_paper

STEPS = ("unplug", "discharge", "before", "solder", "inspect", "measure", "connect")
"""The order of the work; every step has its own words in the strings."""

_FREE = 8
_PICTURED = ("level.white", "level.pp", "level.black")
_EXAMPLES = {"V": "700 mV", "s": "4.7 us", "Hz": "4.43 MHz", "ohm": "75 ohm", "1": "2 %"}
_SCALES = {"V": "200 mV/div", "s": "1 us/div"}
_MESSAGES = (
    "saved", "wrong", "wrong_one", "needs_unit", "needs_scale", "needs_line", "needs_reading", "discard", "file_head",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wanted:
    """One reading to take. In a free row, `line` None, line and quantity are filled in by hand."""

    slug: str
    heading: str
    line: str | None = None
    quantity: str = ""
    unit: str = "V"
    pictured: bool = True

    @property
    def level(self) -> bool:
        """Tell whether it is a level: these come first, the others only where the instrument can."""
        return self.line is None or self.quantity.startswith("level.")

    @property
    def example(self) -> str:
        """A value as it is to be written."""
        return _EXAMPLES[self.unit]

    @property
    def scale(self) -> str:
        """A scale as it is to be written; empty where divisions make no sense."""
        return _SCALES.get(self.unit, "")


@dataclass(frozen=True, slots=True)
class Point:
    """One reading to expect: the point's mark and place, whose it is, with what it is read and what it should show."""

    slug: str
    mark: str
    where: str
    lines: str
    state: str
    instrument: str
    what: str
    shows: str


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the work: boxes to tick, fields to fill, a note, and what each point should show."""

    slug: str
    title: str
    boxes: tuple[str, ...]
    fields: tuple[str, ...]
    note: str
    points: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Blank:
    """The bench sheet without a format: page and PDF draw the same."""

    language: str
    title: str
    unit: str
    unit_kind: str
    warnings: tuple[str, ...]
    drawn: tuple[Drawn, ...]
    steps: tuple[Step, ...]
    wanted: tuple[Wanted, ...]


def blank_of(
    lines: Iterable[tuple[str, Sequence[str]]] = (),
    *,
    unit: str = "",
    unit_kind: str = "",
    loads: Mapping[str, str] | None = None,
    expected: Sequence[Expected] = (),
    drawn: Sequence[Schematic] = (),
    language: str = DEFAULT,
) -> Blank:
    """Return the bench sheet. Same lines, same sheet.

    Parameters
    ----------
    lines : name of each line with the quantities its standard has; those no reading can give are left out. Without
        lines the sheet has free rows
    unit, unit_kind : what is on the bench
    loads : by line, the heaviest load its source's pin may be asked to bear, as text; a line without one has no field
        for a loaded reading
    expected : what each point should show when the mod is right
    drawn : the lines as pictures, with the same points
    language : a language there are strings for; `InputError` for another

    """
    say = words(language)
    jobs = sorted(((name, tuple(quantities)) for name, quantities in lines), key=lambda job: line_rank(job[0]))
    names = [name for name, _ in jobs]
    wanted = _wanted(jobs, say) or tuple(Wanted(f"free-{n}", say("sheet.free", n=n)) for n in range(1, _FREE + 1))
    return Blank(
        language=say.language,
        title=say("sheet.title"),
        unit=unit,
        unit_kind=unit_kind,
        warnings=(say("sheet.first"), say("sheet.scope")),
        drawn=tuple(on_paper(one, prefix=f"line-{n}") for n, one in enumerate(drawn, 1)),
        steps=tuple(_step(slug, names, loads or {}, expected, say) for slug in STEPS),
        wanted=wanted,
    )


def to_bench_sheet(lines: Iterable[tuple[str, Sequence[str]]] = (), **given: Any) -> str:
    """Return the bench sheet as one HTML page. Same lines, same bytes. Parameters are those of `blank_of`."""
    from markupsafe import Markup

    sheet = blank_of(lines, **given)
    say = words(sheet.language)
    script = resources.files("guardcheck.report").joinpath("bench_sheet/bench_sheet.js").read_text(encoding="utf-8")
    every = (*INSTRUMENTS, *PLACES, *LOADS, *PICTURES, *SCALES_AT, *PROBES, *COUPLINGS)
    return str(
        environment()
        .get_template("bench_sheet/bench_sheet.html")
        .render(
            say=say,
            sheet=sheet,
            unit=sheet.unit,
            unit_kind=sheet.unit_kind,
            pictures=tuple(Markup(one.svg) for one in sheet.drawn),  # drawn here, every text in them escaped
            steps=sheet.steps,
            levels=tuple(one for one in sheet.wanted if one.level),
            further=tuple(one for one in sheet.wanted if not one.level),
            messages={name: say(f"sheet.{name}") for name in _MESSAGES},
            file=f"{unique_slugs([clean(sheet.unit) or 'bench'])[0]}-readings.toml",
            choice={name: say.known(f"sheet.choice.{name}", name) for name in every},
            instruments=INSTRUMENTS,
            places=tuple(PLACES),
            loads=tuple(LOADS),
            pictures_shown=tuple(PICTURES),
            scales_at=tuple(SCALES_AT),
            probes=tuple(PROBES),
            couplings=tuple(COUPLINGS),
            readable=tuple((name, title(name, say), QUANTITIES[name].unit) for name in READABLE),
            examples=_EXAMPLES,
            scales=_SCALES,
            script=Markup(script),  # our own file: its hash is what the page allows to run
            script_hash=b64encode(sha256(script.encode()).digest()).decode(),
        )
    )


def to_bench_sheet_pdf(lines: Iterable[tuple[str, Sequence[str]]] = (), *, paper: str = "a4", **given: Any) -> bytes:
    """Return the bench sheet as a tagged PDF for a pen. Same lines, same bytes.

    `paper` is ``a4`` or ``letter``; the other parameters are those of `blank_of`.
    """
    sheet = blank_of(lines, **given)
    say = words(sheet.language)
    keys = (
        "serial",
        "technician",
        "date",
        "signature",
        "value",
        "note",
        "drawn",
        "point",
        "state",
        "instrument",
        "shows",
    )
    labels = {key: say(f"sheet.{key}") for key in keys} | {"levels": say("sheet.levels"), "read": say("sheet_of.read")}
    labels |= {"quantity": say("column.quantity"), "page": say("title.page", page="{page}", pages="{pages}")}
    told = [one.told for one in sheet.drawn]
    blocks = {
        "language": sheet.language,
        "title": sheet.title,
        "unit": clean(sheet.unit) or "…",
        "unit_kind": clean(sheet.unit_kind),
        "warnings": sheet.warnings,
        "told": told,
        "widths": [one.width for one in sheet.drawn],
        "steps": [asdict(one) for one in sheet.steps],
        "rows": [one.heading for one in sheet.wanted],
        "labels": labels,
    }
    drawings = {str(number): one.svg for number, one in enumerate(sheet.drawn)}
    return typeset("bench_sheet/bench_sheet.typ", blocks, paper, drawings=drawings)


def _wanted(jobs: Iterable[tuple[str, Sequence[str]]], say: Words) -> tuple[Wanted, ...]:
    rows = [
        (name, quantity)
        for name, quantities in jobs
        for quantity in sorted(set(quantities).intersection(READABLE), key=quantity_rank)
    ]
    return tuple(
        Wanted(
            slug=f"reading-{n}",
            heading=say("sheet.row", line=clean(name), quantity=title(quantity, say)),
            line=name,
            quantity=quantity,
            unit=QUANTITIES[quantity].unit,
            pictured=quantity in _PICTURED,
        )
        for n, (name, quantity) in enumerate(rows, 1)
    )


def _step(slug: str, lines: Sequence[str], loads: Mapping[str, str], expected: Sequence[Expected], say: Words) -> Step:
    key = f"sheet.{slug}"
    return Step(
        slug=slug,
        title=say(f"{key}.title"),
        boxes=say.all(f"{key}.boxes"),
        fields=(
            *say.lists.get(f"{key}.fields", ()),
            *(text for line in lines for text in _line_fields(key, line, loads.get(line), say)),
        ),
        note=say.known(f"{key}.note", ""),
        points=tuple(
            _point(n, one, say)
            for n, one in sorted(enumerate(expected, 1), key=lambda pair: pair[1].when == FIRST_POWER)
            if _step_of(one) == slug
        ),
    )


def _line_fields(key: str, line: str, load: str | None, say: Words) -> tuple[str, ...]:
    """Return the fields of one line; what loads its pin is asked for only where the source says what it bears."""
    texts = say.lists.get(f"{key}.line_fields", ())
    if load is not None:
        texts = (*texts, *(text.replace("{load}", clean(load)) for text in say.lists.get(f"{key}.loaded_fields", ())))
    return tuple(text.replace("{line}", clean(line)) for text in texts)


def _step_of(one: Expected) -> str:
    """Return the step a reading belongs to: without power and at the first power-up before the finished unit runs."""
    return "measure" if one.runs else "inspect"


def _point(number: int, one: Expected, say: Words) -> Point:
    over = say("sheet.over")
    shown, *ends = (over if end is None else show(end, one.unit) for end in (one.expected, one.low, one.high))
    span = "" if len({shown, *ends}) == 1 else f" ({ends[0]} … {ends[1]})"
    lines = ", ".join(clean(line) for line in one.lines)
    what = say.known(f"sheet.reads.{one.quantity}", "") or title(one.quantity, say)
    where, state = clean(one.where), clean(one.state)
    return Point(f"point-{number}", clean(one.point), where, lines, state, clean(one.instrument), what, shown + span)
