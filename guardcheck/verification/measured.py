"""Readings and captures of one job as quantities, each with what the instrument itself showed, and where."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from guardcheck.errors import InputError, JobError, accepted, nearest
from guardcheck.files import sha256_of
from guardcheck.measure.capture import (
    NAMES,
    Analysis,
    Capture,
    Settings,
    analyse,
    channel_of,
    component_of,
    differs,
    is_copy,
    nothing,
    read_capture,
)
from guardcheck.measure.capture.header import NOTHING, ChannelFacts
from guardcheck.measure.readings import Budget, CaptureNote, Circumstances, Reading, ReadingsFile, evaluate
from guardcheck.measure.readings.records import AT_MOST
from guardcheck.metrology import COVERAGE
from guardcheck.model import MEASURED, CircuitUsed, Job, Limit, Quantity
from guardcheck.standards import limit_of
from guardcheck.toml_tables import read_table
from guardcheck.units import shown
from guardcheck.verification.inputs import WORDS, CaptureFile, Given
from guardcheck.verification.plan import Plan

OPEN = "open"
CONVERSION = "output impedance"
"""The budget's row that an open reading owes to its conversion, and that the raw reading does not have."""
READ, CAPTURED = "read", "captured"
BARS = ("bars-100", "bars-75")
WIDEST_BAR = 30e-6
"""Longest time [s] a primary stays bright on colour bars, with room: four of eight bars in 52 us are 26 us."""
AC = "ac"
"""What a file's own header tells of the scope's coupling is believed before what anybody says of it."""
PORCHES = ("timing.front_porch", "timing.back_porch")
BORDER = "A black border makes a porch look longer than it is: it can be proven too short, never too long."
DARK = "Nothing brighter than blanking stands on this line."
FLAT = 0.03
"""A trace whose whole height is below this [V] carries no signal: sync alone is ten times as high."""
FLAT_LINE = "Nothing moves on this line."
ZERO_MEAN = 0.01
"""A trace whose mean is below this share of its height averages to nothing."""
MEAN_ZERO = (
    "the trace averages to 0 V, as a scope on AC coupling shows it, and the plan has this line elsewhere: set the "
    "scope to DC and capture again"
)
NO_BARS = "bars were declared, but the brightest part is as long as a white field's"


@cache
def captured_limits() -> Mapping[str, Limit]:
    """Return what every measured line is held to, by quantity, from limits.toml."""
    top, _ = read_table(Path(__file__).parent / "limits.toml", error=InputError, shown_as="limits.toml")
    found = [limit_of(row) for row in top.tables("limit")]
    return {one.quantity: one for one in found}


@dataclass(frozen=True)
class Measured:
    """One measured quantity.

    `raw` and `raw_uncertainty` are the value at the place and load it was taken (an open line stays open), at 100 %
    white; None without a value. `place` and `load` are the words of a readings file. `how` is ``read`` or ``captured``,
    `label` tells several measurements of one quantity apart, `unread` marks a value nobody has taken yet.
    """

    quantity: Quantity
    raw: float | None
    raw_uncertainty: float | None
    place: str | None
    load: str | None
    how: str
    label: str
    budget: Budget | None = None
    unread: bool = False

    @property
    def usable(self) -> bool:
        """Tell whether it shows something a simulation can be compared with."""
        return self.raw is not None and self.raw_uncertainty is not None and self.quantity.failure is None


@dataclass(frozen=True)
class Captured:
    """One capture after its analysis, with the file's hash."""

    use: CaptureFile
    analysis: Analysis
    used: CircuitUsed


def from_readings(readings: Sequence[Reading], plans: Mapping[str, Plan]) -> tuple[Measured, ...]:
    """Return every reading as measured."""
    return tuple(_read(one, plans[one.line], number) for number, one in enumerate(readings, start=1))


def _read(reading: Reading, plan: Plan, number: int) -> Measured:
    case = plan.circumstances()
    found = evaluate(reading, case, guarded=plan.guarded)
    raw, expanded = _raw(found.quantity, found.budget, reading.load, case)
    quantity = _porch(found.quantity, plan, reading.picture)
    words = [word for word in (reading.place, reading.load) if word]
    label = " ".join([f"reading {number}", *words])
    return Measured(quantity, raw, expanded, reading.place, reading.load, READ, label, found.budget, reading.unread)


def _raw(
    quantity: Quantity, budget: Budget | None, load: str | None, case: Circumstances
) -> tuple[float | None, float | None]:
    """Return a value and its expanded uncertainty as they stood on the line, before an open line was converted."""
    if quantity.value is None or quantity.uncertainty is None or budget is None:
        return quantity.value, quantity.uncertainty
    if load != OPEN or case.output_impedance is None or quantity.name.split(".")[0] not in ("level", "burst", "noise"):
        return quantity.value, quantity.uncertainty
    factor = case.load / (case.load + case.output_impedance)
    own = math.sqrt(math.fsum(row.standard**2 for row in budget.contributions if row.name != CONVERSION))
    return quantity.value / factor, COVERAGE * own / factor


def from_captures(
    given: Given, file: ReadingsFile, job: Job, plans: Mapping[str, Plan]
) -> tuple[tuple[Measured, ...], tuple[Captured, ...]]:
    """Return what every capture shows, and the captures themselves.

    What the command says of a line's capture comes first, then its ``[[capture]]`` in the readings file, then what all
    readings of the line say (picture, place, load); the file's own header tells coupling, probe and scale where nothing
    else does.

    Raises
    ------
    JobError
        a capture, or a word said of one, names a line the job does not have
    InputError
        a capture cannot be read, has no such channel, is the very trace another line was captured by, or is joined to
        a line that was not captured

    """
    for name in [use.line for use in given.captures] + [line for said in given.words.values() for line in said if line]:
        _known(name, plans, job)
    measured: list[Measured] = []
    captured: list[Captured] = []
    capture, path = None, None
    seen: list[tuple[CaptureFile, Capture, str]] = []
    for number, use in enumerate(given.captures, start=1):
        if capture is None or use.path != path:
            capture, path = read_capture(use.path), use.path
        plan, channel = plans[use.line], _channel(capture, use, given.sync)
        _own_trace(use, capture, channel, seen)
        settings, told = _settings(use.line, given, file, plan, capture.facts.get(channel, NOTHING))
        sync = None if plan.carries_sync else given.sync
        apart = _apart(capture, use, given, file)
        if apart is None:
            analysis = analyse(capture, channel, sync_channel=sync, settings=settings)
        else:
            analysis = Analysis(channel, tuple(nothing(name, apart, settings) for name in NAMES), {}, None)
        captured.append(Captured(use, analysis, file_used(use.path, "capture")))
        measured += _of_capture(analysis, plan, settings, f"capture {number}", told)
    return tuple(measured), tuple(captured)


def _apart(capture: Capture, use: CaptureFile, given: Given, file: ReadingsFile) -> str | None:
    """Say why a capture cannot be used with the one its note joins it to, None when it can or joins none."""
    note = file.capture(use.line)
    if note.joins is None:
        return None
    key = f"{note.key}.joins"
    other = next((one for one in given.captures if one.line == note.joins and one.line != use.line), None)
    if other is None:
        others = [one.line for one in given.captures if one.line != use.line]
        raise InputError(
            f"'{shown(note.joins)}' is no other line with a capture; accepted: {accepted(others) or 'none was given'}"
            f"{nearest(note.joins, others)}",
            file=note.file,
            key=key,
        )
    if given.sync is None:
        words = "captures are joined by the channel with sync: name it with --sync CHANNEL"
        raise InputError(words, file=note.file, key=key)
    return differs(read_capture(other.path), capture, given.sync)


def _own_trace(use: CaptureFile, capture: Capture, channel: str, seen: list[tuple[CaptureFile, Capture, str]]) -> None:
    """Refuse the trace of another line, even from a copy of its file: a trace proves the one line it was taken on."""
    for other, before, named in seen:
        if other.line != use.line and is_copy(before, named, capture, channel):
            raise InputError(
                f"is sample for sample the trace given for {other.line}; a trace shows one line, so capture {use.line}"
                " by itself",
                file=str(use.path),
                key="--capture",
            )
    seen.append((use, capture, channel))


def _settings(
    line: str, given: Given, file: ReadingsFile, plan: Plan, facts: ChannelFacts
) -> tuple[Settings, str | None]:
    """Return what is known of a line's capture, and a sentence when its readings had to say some of it."""
    note = file.capture(line)
    words, told = _said(line, given, note, file.readings)
    return (
        Settings(
            line=line,
            guarded=plan.guarded,
            accuracy=given.accuracy or note.accuracy,
            circumstances=plan.circumstances(),
            picture=words["picture"],
            place=words["place"],
            load=words["load"],
            coupling=AC if facts.coupling == AC else words["coupling"] or facts.coupling,
            timebase=note.timebase,
            probe=note.probe,
            scale_at=note.scale_at,
            division=note.division,
            offset=note.offset,
            probe_tolerance=note.probe_tolerance,
            termination=note.termination,
            component=component_of(line),
        ),
        told,
    )


def _said(
    line: str, given: Given, note: CaptureNote, readings: Sequence[Reading]
) -> tuple[dict[str, str | None], str | None]:
    """Return picture, place, load and coupling of a capture, and a sentence when its readings had to say them."""
    words: dict[str, str | None] = {}
    taken = []
    for key in WORDS:
        words[key] = given.word(key, line) or getattr(note, key)
        said = {getattr(one, key) for one in readings if one.line == line} - {None}
        if words[key] is None and len(said) == 1 and key != "coupling":
            words[key] = said.pop()
            taken.append(f"{key} {words[key]}")
    return words, f"Taken with {', '.join(taken)}, as the readings of this line say." if taken else None


def _known(name: str, plans: Mapping[str, Plan], job: Job) -> None:
    if name not in plans:
        raise JobError(
            f"'{shown(name)}' is not a line of this job; accepted: {accepted(plans)}{nearest(name, plans)}",
            file=Path(job.file).name,
            key="--capture",
        )


def _channel(capture: Capture, use: CaptureFile, sync: str | None) -> str:
    """Return the channel of a line: named, the only one, named like the line, or the only one beside sync."""
    names = list(capture.volts)
    if use.channel is not None or len(names) == 1:
        return channel_of(capture, use.channel)
    alike = [name for name in names if name.casefold() == use.line.casefold()]
    beside = [name for name in names if sync is not None and name.casefold() != sync.casefold()]
    for found in (alike, beside):
        if len(found) == 1:
            return found[0]
    raise InputError(
        f"holds several channels: {accepted(names)}; say which shows {use.line}, as in"
        f" {use.line}={use.path.name}#{names[0]}",
        file=str(use.path),
        key="--capture",
    )


def _of_capture(analysis: Analysis, plan: Plan, settings: Settings, label: str, told: str | None) -> list[Measured]:
    """Return the quantities of a capture that its line's standard knows; `told` is said of each with a value."""
    wanted = {*plan.standard.quantities, *plan.standard.captured, *captured_limits()}
    found = []
    for quantity in analysis.quantities:
        if quantity.name in wanted:
            budget = analysis.budgets.get(quantity.name)
            quantity = _dead(quantity, analysis, plan, settings)
            raw, expanded = _raw(quantity, budget, settings.load, settings.circumstances)
            if told is not None and quantity.value is not None and quantity.name.startswith("level."):
                quantity = replace(quantity, notes=(told, *quantity.notes))
            if quantity.name in ("level.white", "level.pp") and _no_bars(analysis, settings):
                quantity = replace(quantity, failure=NO_BARS)
            if quantity.name == "level.blank" and _hidden(analysis, plan, quantity):
                quantity = replace(quantity, failure=MEAN_ZERO)
            quantity = _porch(quantity, plan, settings.picture)
            found.append(Measured(quantity, raw, expanded, settings.place, settings.load, CAPTURED, label, budget))
    return found


def _dead(quantity: Quantity, analysis: Analysis, plan: Plan, settings: Settings) -> Quantity:
    """Return a line that shows nothing as what it is: no picture where one was declared, no sync where it should be.

    The smallest thing that would have been seen is how far from nothing it may be.
    """
    if quantity.value is not None:
        return quantity
    if quantity.name == "level.white" and analysis.least is not None and settings.picture in (*BARS, "white"):
        return replace(quantity, value=0.0, uncertainty=analysis.least, failure=None, notes=(DARK,))
    flat = analysis.template is None and 0.0 < analysis.span < FLAT
    if quantity.name in ("level.sync", "level.pp") and flat and plan.carries_sync:
        return replace(quantity, value=0.0, uncertainty=analysis.span, failure=None, notes=(FLAT_LINE,))
    return quantity


def _hidden(analysis: Analysis, plan: Plan, quantity: Quantity) -> bool:
    """Tell whether a trace averages to 0 V, as AC coupling makes it, where the plan has the line elsewhere."""
    planned = plan.nominal("level.blank")
    if quantity.value is None or quantity.uncertainty is None or planned is None or plan.coupled:
        return False
    off = abs(planned - quantity.value) > math.hypot(quantity.uncertainty, 2.0 * plan.half_spread("level.blank"))
    return off and abs(analysis.mean) < ZERO_MEAN * analysis.span


def _porch(quantity: Quantity, plan: Plan, picture: str | None) -> Quantity:
    """Return a porch as what it can prove: a picture black at its edge makes it look longer, never shorter."""
    limit = plan.standard.limits.get(quantity.name)
    if quantity.name not in PORCHES or limit is None or quantity.value is None:
        return quantity
    longer = limit.high is not None and quantity.value > limit.high
    if picture in (*BARS, "white") and not longer:
        return quantity
    return replace(quantity, bound=AT_MOST, notes=(*quantity.notes, BORDER))


def _no_bars(analysis: Analysis, settings: Settings) -> bool:
    """Tell whether bars were declared and a white field was captured: scaled as bars, it would read too high."""
    white = None if analysis.template is None else analysis.template.windows.get("white")
    return settings.picture in BARS and white is not None and white[1] - white[0] > WIDEST_BAR


def file_used(path: Path, kind: str) -> CircuitUsed:
    """Return a measured file with its hash, by its bare name: where it lay on somebody's disk proves nothing."""
    return CircuitUsed(path.stem, kind, path.name, sha256_of(path))


def with_peak_to_peak(measured: Sequence[Measured], plan: Plan) -> tuple[Measured, ...]:
    """Return what was measured of a line, with the peak to peak its white and sync make when nobody read that itself.

    Both are wrong by the same gain at the same time, so their uncertainties add as they stand.
    """
    by_name = {one.quantity.name: one for one in measured if one.usable and not one.unread}
    white, sync = by_name.get("level.white"), by_name.get("level.sync")
    if "level.pp" not in plan.standard.quantities or "level.pp" in by_name or white is None or sync is None:
        return tuple(measured)
    pair = (white.quantity, sync.quantity)
    value = sum(one.value or 0.0 for one in pair)
    quantity = Quantity(
        "level.pp",
        plan.line.name,
        plan.guarded,
        value,
        origin=MEASURED,
        uncertainty=sum(one.uncertainty or 0.0 for one in pair),
        unknowns=tuple(dict.fromkeys(word for one in pair for word in one.unknowns)),
        notes=("White and sync as read, added; their uncertainties are added as they stand.",),
        bound=white.quantity.bound,
    )
    kept = [one for one in measured if one.quantity.name != "level.pp"]
    return (*kept, replace(white, quantity=quantity, raw=None, raw_uncertainty=None, label="", budget=None))
