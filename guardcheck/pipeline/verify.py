"""`verify`: the finished mod, from readings and captures to a result. The plan is simulated to be compared with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from guardcheck.cautions import cautions_for
from guardcheck.engine import Engine
from guardcheck.errors import InputError
from guardcheck.formatting import line_rank
from guardcheck.job import read_job
from guardcheck.measure.capture import NAMES, component_of
from guardcheck.measure.readings import Budget, Reading, ReadingsFile, new_readings_text, read_readings, unknown_lines
from guardcheck.model import CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, CircuitUsed, Finding, Job, Result
from guardcheck.pipeline.judgement import CLIP, FIELD_TILT, Row, held, mismatches, to_measure
from guardcheck.pipeline.named import check_settings
from guardcheck.pipeline.next_reading import readings_to_take
from guardcheck.pipeline.options import Options, Progress, budget_of, plan_of, shelf_of
from guardcheck.pipeline.sentences import left_undone, plan_rows, put_right
from guardcheck.simulate.fitting import standard_of
from guardcheck.verdict.outcome import overall
from guardcheck.verification.curves import curves_of
from guardcheck.verification.diagnosis import Explanation, explain
from guardcheck.verification.inputs import Given
from guardcheck.verification.measured import (
    Captured,
    Measured,
    file_used,
    from_captures,
    from_readings,
    with_peak_to_peak,
)
from guardcheck.verification.plan import Plan, plans
from guardcheck.verification.sentences import causes_sentence, doubted, next_step, record
from guardcheck.version import __version__

BARS = "picture.bars"
READ_TWICE = (
    "read it again with the line open and into its load, check picture, probe and scale, then compare every part with "
    f"the job; {CLIP}"
)
"""What is left to do where a reading does not conform and no fault could be simulated for it."""
ORDER_UNSEEN = "Whether each line is on its own contact, not swapped or joined with another, was not seen"
NAMELESS = (
    "Their names do not say what they carry: name them red, green, blue, luma, pb or pr, and a capture of colour bars "
    "shows it."
)
HUM, HUM_UNSEEN = "noise.hum", "Only a capture of 20 ms or more of a line without a coupling capacitor shows it."
NOT_EXAMINED = (
    "Only what is listed as measured was measured: with that picture, that cable and that display, on that day.",
    "Stress events, bonds, barriers, touch current and stored charge are no part of this: see the check of the job.",
    "A level does not show whether the guard is there and the right way round: look, and test its diodes, power off.",
)


def verify(path: Path, given: Given, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of verifying the measurements of one job.

    Raises
    ------
    InputError
        job, readings or captures cannot be understood
    EngineMissing
        no simulator could be started

    """
    job = read_job(path, allow_outside=options.allow_outside)
    with Engine(workers=options.workers) as engine:
        return verify_job(job, engine, given, options, progress)


def new_readings(path: Path, options: Options) -> str:
    """Return a readings file to fill in for a job: one entry for each level its lines are judged by."""
    job = read_job(path, allow_outside=options.allow_outside)
    library = shelf_of(job, options)
    return new_readings_text((line.name, to_measure(standard_of(job, line, library))) for line in job.lines)


def verify_job(job: Job, engine: Engine, given: Given, options: Options, progress: Progress | None = None) -> Result:
    """Return the result of verifying measurements of a job that has been read, on a running engine."""
    if not job.lines:
        raise InputError("the job has no [[line]], so there is nothing to verify", file=Path(job.file).name)
    check_settings(job)
    with engine.allowing(budget_of(job)):
        return _verified(job, engine, given, options, progress)


def _verified(job: Job, engine: Engine, given: Given, options: Options, progress: Progress | None) -> Result:
    say = progress or (lambda done, total, what: None)
    plan = plan_of(job, options)
    say(0, 3, "the plan")
    file = _readings(job, given)
    planned = plans(engine, plan, _names(job, given, file.readings))
    say(1, 3, "readings and captures")
    read = from_readings(file.readings, planned)
    shot, captured = from_captures(given, file, job, planned)
    measured = _by_line(planned, (*read, *shot))
    rows = {name: held(one, measured[name]) for name, one in planned.items()}
    say(2, 3, "causes")
    troubled = {
        name: [row.measured for row in found if row.telling]
        for name, found in rows.items()
        if any(row.troubled for row in found)
    }
    explained = explain(engine, plan, planned, troubled)
    findings = [_told(row, explained.get(name)) for name, found in rows.items() for row in found]
    findings += [_put_right(one) for one in mismatches(planned, rows)]
    say(3, 3, "done")
    return Result(
        command="verify",
        unit=job.unit,
        unit_kind=job.unit_kind,
        outcome=overall(findings),
        seed=options.seed,
        n_samples=options.samples,
        engine=engine.info,
        findings=tuple(sorted(findings, key=lambda one: one.id)),
        circuits=(*plan.used, *_files(given, captured)),
        curves=tuple(curve for one in captured for curve in curves_of(one, planned[one.use.line])),
        warnings=plan.warnings,
        not_examined=(*NOT_EXAMINED, *_not_seen(planned, rows), *left_undone(engine.undone)),
        cautions=cautions_for(job, plan.standards.values()),
        plan=plan_rows(job),
        job_file=Path(job.file).name,
        job_sha256=job.sha256,
        guardcheck=__version__,
        asks=readings_to_take(planned, rows, explained),
        extra={
            "explanations": [record(explained[name]) for name in planned if name in explained],
            "captures": [_capture_record(one) for one in captured],
            "budgets": _budgets(rows),
        },
    )


def _not_seen(planned: Mapping[str, Plan], rows: Mapping[str, Sequence[Row]]) -> tuple[str, ...]:
    """Say which lines may stand on each other's contacts for all that was read, and where nobody looked for hum.

    A level looks the same on either contact, and a line by whose name nobody knows what it carries looks right on any.
    """
    told = [name for name in rows if component_of(name) is not None]
    nameless = [name for name in rows if name not in told and FIELD_TILT in planned[name].standard.limits]
    seen = [name for name in told if any(row.finding.quantity == BARS for row in rows[name])]
    unseen = sorted(set(told) - set(seen), key=line_rank)
    hummed = sorted((name for name, found in rows.items() if _hum_unseen(found)), key=line_rank)
    said = []
    if len(told) + len(nameless) > 1:
        if unseen:
            said.append(f"{ORDER_UNSEEN}: {', '.join(unseen)}. Only a capture of colour bars shows it.")
        if nameless:
            said.append(f"{ORDER_UNSEEN}: {', '.join(sorted(nameless, key=line_rank))}. {NAMELESS}")
    if hummed:
        said.append(f"Hum was not seen in full: {', '.join(hummed)}. {HUM_UNSEEN}")
    return tuple(said)


def _hum_unseen(rows: Sequence[Row]) -> bool:
    """Tell whether a line was captured, and no capture shows a whole period of the mains."""
    hum = [row.finding for row in rows if row.finding.quantity == HUM]
    return bool(hum) and not any(one.needed for one in hum)


def _readings(job: Job, given: Given) -> ReadingsFile:
    """Return the readings handed over. Raises JobError for a file or a line that is not known."""
    if given.readings is None:
        return ReadingsFile()
    file = read_readings(given.readings)
    unknown_lines((*file.readings, *file.captures), tuple(line.name for line in job.lines))
    return file


def _names(job: Job, given: Given, readings: Sequence[Reading]) -> Mapping[str, set[str]]:
    """Return the names of what was measured, by line; a capture may show every quantity a capture can."""
    found: dict[str, set[str]] = {line.name: set() for line in job.lines}
    for reading in readings:
        found[reading.line].add(reading.quantity)
    for use in given.captures:
        found.setdefault(use.line, set()).update(NAMES)
    return found


def _by_line(planned: Mapping[str, Plan], measured: Sequence[Measured]) -> Mapping[str, tuple[Measured, ...]]:
    return {
        name: with_peak_to_peak([one for one in measured if one.quantity.line == name], plan)
        for name, plan in planned.items()
    }


def _told(row: Row, explanation: Explanation | None) -> Finding:
    """Return a finding with what explains it, where a cause was looked for; what looks misread proves nothing."""
    if explanation is None or not row.troubled:
        return _put_right(row.finding)
    outcome, why = row.finding.outcome, f"{row.finding.why} {causes_sentence(explanation)}"
    if outcome == CONFORMS and doubted(explanation, row.finding.quantity):
        outcome, why = NOT_PROVEN, f"Not proven, because it looks misread. {why}"
    steps = [row.finding.remedy, None if outcome == CONFORMS else next_step(explanation)]
    remedy = "; then ".join(step for step in steps if step) or None
    return replace(row.finding, outcome=outcome, why=why, remedy=remedy)


def _put_right(finding: Finding) -> Finding:
    """Return a finding that does not conform with what to look at, where nothing else says so."""
    if finding.remedy is not None or not finding.needed or finding.outcome != DOES_NOT_CONFORM:
        return finding
    return replace(finding, remedy=put_right(finding) or READ_TWICE)


def _files(given: Given, captured: Sequence[Captured]) -> tuple[CircuitUsed, ...]:
    readings = () if given.readings is None else (file_used(given.readings, "readings"),)
    return (*readings, *dict.fromkeys(one.used for one in captured))


def _capture_record(one: Captured) -> Mapping[str, Any]:
    found = one.analysis
    return {
        "line": one.use.line,
        "file": one.use.path.name,
        "channel": found.channel,
        "system": found.system,
        "scan": found.scan,
        "polarity": found.polarity,
        "lines": found.lines,
        "termination": found.termination,
        "notes": list(found.notes),
    }


def _budgets(rows: Mapping[str, Sequence[Row]]) -> Mapping[str, Any]:
    """Return the uncertainty budget of every finding that has one, by its id."""
    made = {row.finding.id: row.measured.budget for found in rows.values() for row in found}
    return {id_: _budget(budget) for id_, budget in sorted(made.items()) if budget is not None}


def _budget(budget: Budget) -> list[Mapping[str, Any]]:
    return [
        {"name": one.name, "standard": one.standard, "distribution": one.distribution, "source": one.source}
        for one in budget.contributions
    ]
