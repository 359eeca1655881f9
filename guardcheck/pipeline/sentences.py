"""Sentences the result carries besides findings."""

from __future__ import annotations

from guardcheck.model import NOT_PROVEN, SIMULATED, Finding, Job, PartUse, Value

NO_EVENTS = (
    "Live plugging, electrostatic discharge, cable discharge, a misplug, a short, back-powering and power steps were "
    "not simulated: nothing here says that the pin survives them."
)
WITH_EVENTS = (
    "Stress events: arcs, bounce of contacts, several lines struck at once, damage that needs many hits, and strikes "
    "on anything but the line's own contact were not simulated."
)
NOT_MEASURED = "Nothing was measured: every level is simulated from what the job file declares."


def not_examined(*, events: bool) -> tuple[str, ...]:
    """Return what a check leaves open; `events` tells whether the stress events were run."""
    return (WITH_EVENTS if events else NO_EVENTS, NOT_MEASURED)


def advice(finding: Finding) -> str | None:
    """Return the general advice for a finding no simulated remedy was found for."""
    if finding.remedy is not None:
        return finding.remedy
    if finding.event is not None:
        return _event_advice(finding)
    if finding.outcome == NOT_PROVEN and "unknown" in finding.why:
        return "measure the source at its pin, open and into 75 ohm, and write both readings into the job file"
    if finding.outcome == NOT_PROVEN and finding.value is not None and finding.origin == SIMULATED:
        return "fit parts of closer tolerance, or measure the level after soldering"
    return None


def _event_advice(finding: Finding) -> str:
    """Return what to do about a stress that is too much, or that could not be decided."""
    line = finding.line or "the line"
    if finding.quantity == "part.power":
        return f"fit parts of {line} that stand the heat, or keep this mistake from happening: a keyed or labelled plug"
    if "bounds seen in data sheets" in finding.why:
        return (
            f"look up what the chip on {line} may take (clamp current, pin voltage) in its data sheet and write it "
            "into the job's pin table, or name its family"
        )
    return f"see which guard helps {line}, and where it must sit: guardcheck guards JOB --line {line}"


def plan_rows(job: Job) -> tuple[tuple[str, str, str], ...]:
    """Return what the job plans, as rows of line, what, and description."""
    rows: list[tuple[str, str, str]] = [("", "rail", _text(job.supply.get("rail")))]
    rows += [("", "display", _use(job.display)), ("", "cable", _use(job.cable))]
    for line in job.lines:
        rows.append((line.name, "standard", line.standard))
        rows += [(line.name, use.kind, _use(use)) for use in (line.source, line.stage, line.guard)]
    return tuple(rows)


def _text(value: object) -> str:
    if isinstance(value, Value):
        return value.text or f"{value.nominal:g} {value.unit}"
    return "unknown" if value is None else str(value)


def _use(use: PartUse) -> str:
    name = use.name if use.netlist is None else f"own netlist {use.netlist.rsplit('/', 1)[-1]}"
    values = ", ".join(f"{key} {_text(value)}" for key, value in use.values.items())
    return f"{name or 'none'}{': ' if values else ''}{values}"
