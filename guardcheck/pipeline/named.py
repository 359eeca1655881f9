"""Names in a job that only a rule can know: refused before anything is computed, not found out in a finding."""

from __future__ import annotations

from guardcheck.errors import JobError, accepted, nearest
from guardcheck.model import INTERFACE, PERSON, Job
from guardcheck.rules import all_rules, known_settings
from guardcheck.simulate.planning import JobPlan
from guardcheck.simulate.stress.events import check_claims, event_names, library_events
from guardcheck.units import shown


def check_labels(plan: JobPlan) -> None:
    """Refuse an event that the job claims or forbids and that there is none of, before anything is computed.

    A label at the socket keeps an event away. It cannot keep away what protects a person, or what another apparatus is
    owed: that is no event, and the refusal says so.

    Raises
    ------
    JobError
        with the place, what is accepted and the nearest name

    """
    job = plan.job
    if not job.claims and not job.forbids:
        return
    for name in sorted(job.forbids):
        kind = _protects(name)
        if kind is not None:
            raise JobError(
                f"'{shown(name)}' {kind}: no label at the socket keeps that away; what it can forbid is an event: "
                f"{accepted(event_names(plan, library_events(plan)))}",
                file=job.file,
                key="use.forbids",
                line=job.lines_of.get("use.forbids"),
            )
    check_claims(plan, library_events(plan))


def _protects(name: str) -> str | None:
    """Return whom a rule or a quantity protects that nobody can forbid away, in words; None where it is neither."""
    words = {PERSON: "protects a person", INTERFACE: "is what the other apparatus is owed"}
    for one in all_rules():
        if one.rule.kind in words and name.casefold() in (
            one.rule.code.casefold(),
            one.slug,
            one.rule.title.casefold(),
            *one.rule.quantities,
        ):
            return words[one.rule.kind]
    return None


def check_settings(job: Job) -> None:
    """Refuse a setting whose name no rule knows. Raises `JobError` with the place and the nearest name."""
    for key, known in known_settings().items():
        given = job.settings.get(key)
        if given is None or given in known:
            continue
        raise JobError(
            f"no {key.replace('_', ' ')} '{shown(str(given))}'; accepted: {accepted(known)}, or leave the key out"
            f"{nearest(str(given), known)}",
            file=job.file,
            key=key,
            line=job.lines_of.get(key),
        )
