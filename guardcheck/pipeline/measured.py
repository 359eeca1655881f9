"""Readings and captures of one job as quantities, each with what the instrument itself showed, and where."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from guardcheck.errors import InputError, JobError, accepted, nearest
from guardcheck.measure.capture import Analysis, Capture, Settings, analyse, read_capture
from guardcheck.measure.readings import Budget, Circumstances, Reading, evaluate, read_readings, unknown_lines
from guardcheck.measure.readings.budget import COVERAGE
from guardcheck.model import MEASURED, CircuitUsed, Job, Quantity
from guardcheck.pipeline.given import CaptureFile, Given
from guardcheck.pipeline.planned import Plan
from guardcheck.units import shown

OPEN = "open"
CONVERSION = "output impedance"
"""The budget's row that an open reading owes to its conversion, and that the raw reading does not have."""
READ, CAPTURED = "read", "captured"


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


def from_readings(path: Path, plans: Mapping[str, Plan]) -> tuple[Measured, ...]:
    """Return every reading of a file as measured. Raises JobError for a file or a line that is not known."""
    readings = read_readings(path)
    unknown_lines(readings, tuple(plans))
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
    given: Given, job: Job, plans: Mapping[str, Plan]
) -> tuple[tuple[Measured, ...], tuple[Captured, ...]]:
    """Return what every capture shows, and the captures themselves.

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
    for number, use in enumerate(given.captures, start=1):
        one = _analysed(use, given, plans[use.line])
        captured.append(one)
        measured += _of_capture(one, given, plans[use.line], number)
    return tuple(measured), tuple(captured)


def _known(name: str, plans: Mapping[str, Plan], job: Job) -> None:
    if name not in plans:
        raise JobError(
            f"'{shown(name)}' is not a line of this job; accepted: {accepted(plans)}{nearest(name, plans)}",
            file=Path(job.file).name,
            key="--capture",
        )


def _analysed(use: CaptureFile, given: Given, plan: Plan) -> Captured:
    capture = read_capture(use.path)
    sync = None if plan.carries_sync or given.sync is None else given.sync
    settings = Settings(
        line=use.line,
        guarded=plan.guarded,
        picture=given.word("picture", use.line),
        place=given.word("place", use.line),
        load=given.word("load", use.line),
        accuracy=given.accuracy,
        circumstances=plan.circumstances(),
    )
    analysis = analyse(capture, _channel(capture, use, given.sync), sync_channel=sync, settings=settings)
    return Captured(use, analysis, file_used(use.path, "capture"))


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


def _of_capture(one: Captured, given: Given, plan: Plan, number: int) -> list[Measured]:
    """Return the quantities of a capture that its line's standard knows."""
    wanted = {*plan.standard.quantities, *plan.standard.extra.get("captured", ())}
    case, load = plan.circumstances(), given.word("load", one.use.line)
    found = []
    for quantity in one.analysis.quantities:
        if quantity.name in wanted:
            budget = one.analysis.budgets.get(quantity.name)
            raw, expanded = _raw(quantity, budget, load, case)
            place = given.word("place", one.use.line)
            found.append(Measured(quantity, raw, expanded, place, load, CAPTURED, f"capture {number}", budget))
    return found


def file_used(path: Path, kind: str) -> CircuitUsed:
    """Return a measured file with its hash, by its bare name: where it lay on somebody's disk proves nothing."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(1 << 20):
            digest.update(block)
    return CircuitUsed(path.stem, kind, path.name, digest.hexdigest())


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
