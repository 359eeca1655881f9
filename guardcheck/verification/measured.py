"""Readings and captures of one job as quantities, each with what the instrument itself showed, and where."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from guardcheck.errors import InputError, JobError, accepted, nearest
from guardcheck.files import sha256_of
from guardcheck.measure.capture import Analysis, Capture, Settings, analyse, read_capture
from guardcheck.measure.readings import Accuracy, Budget, Circumstances, Reading, evaluate, parse_accuracy
from guardcheck.measure.readings.budget import COVERAGE
from guardcheck.model import MEASURED, CircuitUsed, Job, Quantity
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
NO_BARS = "bars were declared, but the brightest part is as long as a white field's"


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
    words = [word for word in (reading.place, reading.load) if word]
    label = " ".join([f"reading {number}", *words])
    return Measured(
        found.quantity, raw, expanded, reading.place, reading.load, READ, label, found.budget, reading.unread
    )


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
    given: Given, readings: Sequence[Reading], job: Job, plans: Mapping[str, Plan]
) -> tuple[tuple[Measured, ...], tuple[Captured, ...]]:
    """Return what every capture shows, and the captures themselves.

    What was said of all readings of a line (picture, place, load) holds for its capture, unless the command says
    otherwise; so does the accuracy the readings file states for the oscilloscope.

    Raises
    ------
    JobError
        a capture, or a word said of one, names a line the job does not have
    InputError
        a capture cannot be read, or has no such channel

    """
    for name in [use.line for use in given.captures] + [line for said in given.words.values() for line in said if line]:
        _known(name, plans, job)
    measured: list[Measured] = []
    captured: list[Captured] = []
    capture, path = None, None
    for number, use in enumerate(given.captures, start=1):
        if capture is None or use.path != path:
            capture, path = read_capture(use.path), use.path
        words, told = _said(use.line, given, readings)
        plan = plans[use.line]
        settings = Settings(
            line=use.line,
            guarded=plan.guarded,
            accuracy=given.accuracy or _scope_accuracy(readings),
            circumstances=plan.circumstances(),
            picture=words["picture"],
            place=words["place"],
            load=words["load"],
        )
        sync = None if plan.carries_sync else given.sync
        analysis = analyse(capture, _channel(capture, use, given.sync), sync_channel=sync, settings=settings)
        captured.append(Captured(use, analysis, file_used(use.path, "capture")))
        measured += _of_capture(analysis, plan, settings, f"capture {number}", told)
    return tuple(measured), tuple(captured)


def _said(line: str, given: Given, readings: Sequence[Reading]) -> tuple[dict[str, str | None], str | None]:
    """Return picture, place and load of a line's capture, and a sentence when its readings had to say them."""
    words: dict[str, str | None] = {}
    taken = []
    for key in WORDS:
        words[key] = given.word(key, line)
        said = {getattr(one, key) for one in readings if one.line == line} - {None}
        if words[key] is None and len(said) == 1:
            words[key] = said.pop()
            taken.append(f"{key} {words[key]}")
    return words, f"Taken with {', '.join(taken)}, as the readings of this line say." if taken else None


def _scope_accuracy(readings: Sequence[Reading]) -> Accuracy | None:
    """Return the accuracy the readings file states for every oscilloscope reading, None when it states none."""
    stated = (one.presumed.get("accuracy") for one in readings if one.instrument == "scope")
    found = next((text for text in stated if text), None)
    return None if found is None else parse_accuracy(found, "V")


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
        return use.channel or names[0]
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
    wanted = {*plan.standard.quantities, *plan.standard.extra.get("captured", ())}
    found = []
    for quantity in analysis.quantities:
        if quantity.name in wanted:
            budget = analysis.budgets.get(quantity.name)
            raw, expanded = _raw(quantity, budget, settings.load, settings.circumstances)
            if told is not None and quantity.value is not None and quantity.name.startswith("level."):
                quantity = replace(quantity, notes=(told, *quantity.notes))
            if quantity.name in ("level.white", "level.pp") and _no_bars(analysis, settings):
                quantity = replace(quantity, failure=NO_BARS)
            found.append(Measured(quantity, raw, expanded, settings.place, settings.load, CAPTURED, label, budget))
    return found


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
