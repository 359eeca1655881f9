"""The blank bench sheet: tick boxes and fields in the order of the work, for a pen or for the browser.

In the browser it writes the readings file `verify` reads; it needs no network and no server, and its one script is
named by its hash, so the page can run nothing else.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from importlib import resources

from guardcheck.formatting import line_rank, quantity_rank
from guardcheck.measure.readings import READABLE
from guardcheck.measure.readings.records import COUPLINGS, INSTRUMENTS, LOADS, PICTURES, PLACES, PROBES, SCALES_AT
from guardcheck.model import QUANTITIES
from guardcheck.report.arrange.view import unique_slugs
from guardcheck.report.arrange.words import clean
from guardcheck.report.handover.rows import title
from guardcheck.report.handover.strings import DEFAULT, Words, words
from guardcheck.report.page.result import environment

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
class Step:
    """One step of the work: boxes to tick, fields to fill, a note."""

    slug: str
    title: str
    boxes: tuple[str, ...]
    fields: tuple[str, ...]
    note: str


def to_bench_sheet(
    lines: Iterable[tuple[str, Sequence[str]]] = (),
    *,
    unit: str = "",
    unit_kind: str = "",
    loads: Mapping[str, str] | None = None,
    language: str = DEFAULT,
) -> str:
    """Return the bench sheet as one HTML page. Same lines, same bytes.

    Parameters
    ----------
    lines : name of each line with the quantities its standard has; those no reading can give are left out. Without
        lines the sheet has free rows
    unit, unit_kind : what is on the bench
    loads : by line, the heaviest load its source's pin may be asked to bear, as text; a line without one has no field
        for a loaded reading
    language : a language there are strings for; `InputError` for another

    """
    from markupsafe import Markup

    say = words(language)
    jobs = sorted(((name, tuple(quantities)) for name, quantities in lines), key=lambda job: line_rank(job[0]))
    wanted = _wanted(jobs, say) or tuple(Wanted(f"free-{n}", say("sheet.free", n=n)) for n in range(1, _FREE + 1))
    script = resources.files("guardcheck.report").joinpath("templates/bench_sheet.js").read_text(encoding="utf-8")
    every = (*INSTRUMENTS, *PLACES, *LOADS, *PICTURES, *SCALES_AT, *PROBES, *COUPLINGS)
    return str(
        environment()
        .get_template("bench_sheet.html")
        .render(
            say=say,
            unit=unit,
            unit_kind=unit_kind,
            steps=tuple(_step(slug, [name for name, _ in jobs], loads or {}, say) for slug in STEPS),
            levels=tuple(one for one in wanted if one.level),
            further=tuple(one for one in wanted if not one.level),
            messages={name: say(f"sheet.{name}") for name in _MESSAGES},
            file=f"{unique_slugs([clean(unit) or 'bench'])[0]}-readings.toml",
            choice={name: say.known(f"sheet.choice.{name}", name) for name in every},
            instruments=INSTRUMENTS,
            places=tuple(PLACES),
            loads=tuple(LOADS),
            pictures=tuple(PICTURES),
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


def _step(slug: str, lines: Sequence[str], loads: Mapping[str, str], say: Words) -> Step:
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
    )


def _line_fields(key: str, line: str, load: str | None, say: Words) -> tuple[str, ...]:
    """Return the fields of one line; what loads its pin is asked for only where the source says what it bears."""
    texts = say.lists.get(f"{key}.line_fields", ())
    if load is not None:
        texts = (*texts, *(text.replace("{load}", clean(load)) for text in say.lists.get(f"{key}.loaded_fields", ())))
    return tuple(text.replace("{line}", clean(line)) for text in texts)
