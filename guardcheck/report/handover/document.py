"""A result, with or without readings, as the blocks of the technician's record."""

from __future__ import annotations

from guardcheck.model import Result
from guardcheck.report.arrange.words import clean
from guardcheck.report.handover.blocks import Document
from guardcheck.report.handover.customer import meaning, tally_of
from guardcheck.report.handover.strings import DEFAULT, words
from guardcheck.report.handover.technician import record_pages
from guardcheck.report.pictures.line.paper import drawn_lines
from guardcheck.report.saved.write import hashes
from guardcheck.verdict.handover import evidence

_LABELS = ("title.skip", "title.contents", "title.bench", "title.bench_note", "sign.hand")
_SHOWN = 12


def record(check: Result, readings: Result | None = None, *, workshop: str = "", language: str = DEFAULT) -> Document:
    """Return the technician's record of a unit. Same results, same document.

    Parameters
    ----------
    check : result of `check`
    readings : result of `verify` for the same job file, or None when nothing was measured yet
    workshop : the name that heads it; empty for the tool's own
    language : a language there are strings for

    Raises
    ------
    InputError
        the two results are not of the same job, or there is no such language

    """
    say = words(language)
    found = evidence(check, readings)
    short = [" ".join(full[n : n + 4] for n in range(0, _SHOWN, 4)) for full in hashes(found)]
    labels = {key.replace(".", "_"): say(key) for key in _LABELS}
    labels |= {f"outcome_{outcome}": word for outcome, word, _ in tally_of(found, say)}
    labels["outcome_not_applicable"] = say("outcome.not_applicable")
    labels["page"] = say("title.page", page="{page}", pages="{pages}")
    names = (("title.sheet", short[0]), *(("title.sheet_readings", one) for one in short[1:]))
    labels["sheet"] = ", ".join(say(key, hash=one) for key, one in names)
    labels["fonts"] = say("bench.identity_fonts")
    return Document(
        language=say.language,
        kicker=clean(workshop) or say("title.kicker"),
        title=say("title.record"),
        unit=clean(check.unit),
        unit_kind=clean(check.unit_kind),
        outcome=found.outcome,
        headline=say(f"verdict.headline.{found.verdict}"),
        meaning=meaning(found, say),
        tally=tally_of(found, say),
        sections=record_pages(found, say),
        labels=labels,
        drawings={name: picture.svg for name, picture in drawn_lines(check).items()},
        hash=short[0],
    )
