"""The customer's two pages: the state, what to do, what was measured, what nobody has shown, whom to trust it to.

Nothing here is counted in decibels, and nothing is said of a value that its finding does not say.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources

from guardcheck.formatting import limits, line_rank, quantity_rank, show, telling_digits
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_MEASURED,
    NOT_PROVEN,
    UNKNOWN_OF,
    Finding,
    Result,
)
from guardcheck.report.arrange.words import BENCH_FACT, clean, doubt, in_order, place_word, sentence
from guardcheck.report.handover.rows import places, title
from guardcheck.report.handover.strings import DEFAULT, Words, words
from guardcheck.report.saved.write import result_hash
from guardcheck.verdict.claims import leads_of, tally
from guardcheck.verdict.handover import CONDITIONS, NOT_READY, Evidence, evidence

_OTHER = "other"
_FITTED = ("stage", "guard")
_TOUCH = "touch.current"
_ROOM: Mapping[str, int] = {"measured": 7, "list": 6, "conditions": 5, "done": 4, "parts": 8, "memory": 6}
"""Most entries of each part, so that a sheet stays two pages; the rest is counted and stands in the record."""
_WIDEST = 180
"""Most characters of a text that came from a job file; the record has the whole of it."""
_SPARE = 0.25
"""Share of the allowed span that a bar shows beyond either end."""
_HASH = 12


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, with its drawing and what the drawing shows."""

    drawing: str
    shows: str
    text: str


@dataclass(frozen=True, slots=True)
class Bar:
    """Where a reading lies: the allowed span and the value as shares of the bar's length."""

    low: float
    high: float
    value: float


@dataclass(frozen=True, slots=True)
class Read:
    """One reading: what it is of, what was read, what is allowed, its outcome and a bar where both ends are known."""

    name: str
    read: str
    allowed: str = ""
    outcome: str = NOT_PROVEN
    bar: Bar | None = None


@dataclass(frozen=True, slots=True)
class Listed:
    """A heading with a few lines under it."""

    title: str
    items: tuple[str, ...]
    none: str = ""


@dataclass(frozen=True, slots=True)
class Pair:
    """What stands in two columns: whose, and what."""

    first: str
    second: str


@dataclass(frozen=True)
class Sheet:
    """The two pages without a format: page and PDF draw the same."""

    language: str
    kicker: str
    title: str
    unit: str
    unit_kind: str
    state: str
    outcome: str
    headline: str
    meaning: tuple[str, ...]
    conditions: Listed
    done: tuple[Pair, ...]
    steps: tuple[Step, ...]
    measured: tuple[Read, ...]
    more_measured: str
    open: Listed
    against: Listed
    wrong: tuple[Pair, ...]
    stop: str
    keep: Listed
    unexamined: Listed
    memory: Listed
    label: Listed
    labels: Mapping[str, str]
    drawings: Mapping[str, str] = field(default_factory=dict)
    hash: str = ""


def sheet_of(check: Result, readings: Result | None = None, *, workshop: str = "", language: str = DEFAULT) -> Sheet:
    """Return the customer's two pages. Same results, same sheet.

    Parameters
    ----------
    check : result of `check`
    readings : result of `verify` for the same job file, or None when nothing was measured yet
    workshop : the name that heads the sheet; empty for the tool's own
    language : a language there are strings for

    Raises
    ------
    InputError
        the two results are not of the same job, or there is no such language

    """
    say = words(language)
    found = evidence(check, readings)
    number = " ".join(result_hash(check)[n : n + 4] for n in range(0, _HASH, 4))
    measured, hidden = _measured(found, say)
    steps = tuple(Step(name, say(f"drawing.{name}"), text) for name, text in say.two("home.steps"))
    return Sheet(
        language=say.language,
        kicker=short(workshop, 60) or say("title.kicker"),
        title=say("title.document"),
        unit=short(check.unit, 60),
        unit_kind=short(check.unit_kind, 90),
        state=found.state,
        outcome=found.outcome,
        headline=_headline(found, say),
        meaning=meaning(found, say),
        conditions=_conditions(found, say),
        done=_done(found, say),
        steps=steps,
        measured=measured,
        more_measured=say("sheet_of.more", n=hidden) if hidden else "",
        open=_listed("open", _open(found, say), say),
        against=_against(found, say),
        wrong=tuple(Pair(sign, act) for sign, act in say.two("wrong.rows")),
        stop=say("wrong.stop"),
        keep=Listed(say("keep.title"), (*say.all("keep.items"), *_hazards(found, say))),
        unexamined=_unexamined(found, say),
        memory=_memory(found, say),
        label=_label(found, say),
        labels=_labels(found, number, say),
        drawings={step.drawing: drawing(step.drawing) for step in steps},
        hash=number,
    )


def drawing(name: str) -> str:
    """Return one of the small drawings beside the steps, as SVG."""
    folder = resources.files("guardcheck.report.handover").joinpath("drawings")
    return folder.joinpath(f"{name}.svg").read_text(encoding="utf-8").strip()


def short(text: str, most: int = _WIDEST) -> str:
    """Return cleaned text of at most `most` characters: the record has the whole of it."""
    told = clean(text)
    return told if len(told) <= most else f"{told[: most - 1].rstrip()}…"


def meaning(found: Evidence, say: Words) -> tuple[str, ...]:
    """Return what the state means, in sentences: never more than was shown."""
    counted = {outcome: count for outcome, _, count in tally_of(found, say)}
    judged = sum(counted.values())
    bad, open_ = counted[DOES_NOT_CONFORM], counted[NOT_PROVEN]
    key = f"verdict.meaning.{found.verdict}"
    if found.verdict == DOES_NOT_CONFORM:
        sentences = [say.count(key, bad, judged=judged)]
        sentences += [say.count("verdict.also_open", open_)] if open_ else []
    elif found.verdict == NOT_PROVEN and judged:
        sentences = [say.count(key, open_, judged=judged)]
    else:
        sentences = [say(f"verdict.meaning.{NOT_APPLICABLE if not judged else found.verdict}", judged=judged)]
    return tuple(sentences)


def tally_of(found: Evidence, say: Words) -> tuple[tuple[str, str, int], ...]:
    """Return outcome, its word and how many claims that count have it, worst first."""
    counted = tally(found.counting, leads_of(found.check.schematics))
    return tuple((o, say(f"outcome.{o}"), counted[o]) for o in (DOES_NOT_CONFORM, NOT_PROVEN, CONFORMS))


def family(quantity: str, say: Words) -> str:
    """Return the family a quantity belongs to: the part of its name before the dot, if there are words for it."""
    name = quantity.split(".")[0]
    return name if f"family.{name}.name" in say.texts else _OTHER


def event_word(result: Result, event: str) -> str:
    """Return an event in bench words, such as ``lead plugged in live``; its name where there are none."""
    said = result.extra.get("events")
    word = said.get(event) if isinstance(said, Mapping) else None
    return clean(word) if isinstance(word, str) and word else clean(event)


def _headline(found: Evidence, say: Words) -> str:
    if found.state == CONDITIONS:
        return say.count("state_of.conditions", len(_conditions(found, say).items))
    return say(f"state_of.{found.state}")


def _cut(items: Iterable[str], room: int, say: Words) -> tuple[str, ...]:
    """Return as many entries as there is room for; those left out are counted, never dropped in silence."""
    told = list(dict.fromkeys(short(item) for item in items))
    return (*told[:room], say("sheet_of.more", n=len(told) - room)) if len(told) > room else tuple(told)


def _listed(key: str, items: Iterable[str], say: Words) -> Listed:
    return Listed(say(f"sheet_of.{key}"), _cut(items, _ROOM["list"], say), say(f"sheet_of.{key}_none"))


def _conditions(found: Evidence, say: Words) -> Listed:
    texts = [one.text for one in found.check.conditions]
    key = "conditions_later" if found.state == NOT_READY else "conditions"
    return Listed(say(f"sheet_of.{key}") if texts else "", _cut(texts, _ROOM["conditions"], say))


def _done(found: Evidence, say: Words) -> tuple[Pair, ...]:
    """Return what was fitted to which lines: stage and guard as the job file declares them."""
    fitted: dict[tuple[str, ...], list[str]] = {}
    for line in found.lines:
        parts = {what: told for at, what, told in found.check.plan if at == line}
        if parts:
            fitted.setdefault(tuple(parts.get(what, "") for what in _FITTED), []).append(line)
    rows = [
        Pair(
            short(places(lines, say), 60),
            short("; ".join(_part(part, what, say) for what, part in zip(_FITTED, parts, strict=True))),
        )
        for parts, lines in fitted.items()
    ]
    room = _ROOM["done"]
    more = [Pair("", say("sheet_of.more", n=len(rows) - room))] if len(rows) > room else []
    return (*rows[:room], *more)


def _part(described: str, what: str, say: Words) -> str:
    bare = described in ("", "none")
    return f"{say(f'plan.{what}').lower()}: {say('plan.nothing') if bare else clean(described)}"


def _measured(found: Evidence, say: Words) -> tuple[tuple[Read, ...], int]:
    """Return the readings that are shown, failing ones first, and how many there was no room for.

    Lines and touch current without a reading stand there as well: what nobody measured must be seen.
    """
    held = [one for one in found.findings if one.origin == MEASURED and one.needed and one.unit != "dB"]
    held = [one for one in held if one.outcome != NOT_APPLICABLE and one.value is not None]
    held.sort(
        key=lambda one: (one.outcome != DOES_NOT_CONFORM, quantity_rank(one.quantity), line_rank(one.line), one.id)
    )
    unread = [Read(name, say("sheet_of.unread")) for name in _unread(found, say)]
    room = max(_ROOM["measured"] - len(unread), 3)
    return (*(_read(one, say) for one in held[:room]), *unread), max(len(held) - room, 0)


def _unread(found: Evidence, say: Words) -> list[str]:
    lines = [line for line, gaps in found.unmeasured if not gaps]
    partly = [
        f"{clean(line)}: {', '.join(title(name, say) for name in gaps)}" for line, gaps in found.unmeasured if gaps
    ]
    names = [short(places(lines, say), 60)] if lines else []
    names += [short(", ".join(partly), 60)] if partly else []
    touch = [one for one in found.counting if one.quantity == _TOUCH]
    measured = any(one.origin == MEASURED for one in touch)
    return [*names, *([title(_TOUCH, say)] if touch and not measured else [])]


def _read(one: Finding, say: Words) -> Read:
    low, high = one.bounds
    digits = telling_digits([one.value], (low, high), one.unit)
    line, what = clean(one.line or ""), title(one.quantity, say)
    about = what if not line or what.startswith(line) else f"{line} {what}"
    place = f", {place_word(one.where)}" if one.where else ""
    value = show(one.value, one.unit, digits)
    unsure = "" if one.uncertainty is None else f" ± {show(one.uncertainty, one.unit, 2)}"
    return Read(short(about + place, 64), value + unsure, limits(low, high, one.unit, digits), one.outcome, bar_of(one))


def bar_of(one: Finding) -> Bar | None:
    """Return where a value lies between its limits; a limit with one end has zero, or twice itself, as the other."""
    low, high = one.bounds
    if one.value is None or (low is None and high is None):
        return None
    if low is None or high is None:
        low, high = (0.0, high) if high is not None else (low, 2.0 * (low or 0.0))
    if low is None or high is None or high <= low:
        return None
    start, span = low - _SPARE * (high - low), (1.0 + 2.0 * _SPARE) * (high - low)
    return Bar((low - start) / span, (high - start) / span, min(max((one.value - start) / span, 0.0), 1.0))


def _open(found: Evidence, say: Words) -> list[str]:
    """Return what nobody has shown, by family, the unmeasured lines first."""
    items = [say("front.unmeasured")] if found.unmeasured else []
    return items + _families(found, NOT_PROVEN, say)


def _families(found: Evidence, outcome: str, say: Words) -> list[str]:
    """Return the families with this outcome in plain words, each with its lines; events stand by their own names."""
    by_name: dict[str, list[Finding]] = {}
    for one in in_order(found.counting):
        if one.outcome == outcome:
            plain = f"family.{family(one.quantity, say)}.{'fails' if outcome == DOES_NOT_CONFORM else 'name'}"
            name = event_word(found.check, one.event) if one.event else say(plain).removesuffix(".")
            by_name.setdefault(name, []).append(one)
    return [f"{name} ({places((one.line for one in group), say)})" for name, group in by_name.items()]


def _against(found: Evidence, say: Words) -> Listed:
    """Return what fails and what the conditions keep away, without what is listed as open: nothing stands twice."""
    fails = _families(found, DOES_NOT_CONFORM, say)
    listed_already = {one.event for one in found.counting if one.outcome in (DOES_NOT_CONFORM, NOT_PROVEN)}
    kept = [
        f"{event_word(found.check, one.event)} ({places(one.lines, say)})"
        for one in found.check.conditions
        if one.event not in listed_already
    ]
    listed = _listed("against", [*fails, *kept], say)
    return listed if not fails else Listed(f"{say('sheet_of.against_fails')}, {listed.title.lower()}", listed.items)


def _hazards(found: Evidence, say: Words) -> tuple[str, ...]:
    """Return what the customer must know of the hazards this unit holds, or may hold where nobody knows."""
    told = []
    for one in found.findings:
        key = clean(one.where or "").replace(" ", "_") if one.quantity == BENCH_FACT else one.quantity.split(".")[0]
        unknown = any(code.startswith(UNKNOWN_OF) for code in one.codes)
        told.append(f"keep.{'perhaps' if unknown else 'hazard'}.{key}")
    return tuple(dict.fromkeys(say(key) for key in told if key in say.texts))


def _unexamined(found: Evidence, say: Words) -> Listed:
    """Return what neither the check nor the readings looked at."""
    results = [one for one in (found.check, found.readings) if one is not None]
    notes = [note for one in results for note in one.not_examined]
    notes = [note for note in notes if found.readings is None or note != NOT_MEASURED]
    return Listed(say("bench.unexamined"), _cut((sentence(note) for note in notes), _ROOM["list"], say))


def _memory(found: Evidence, say: Words) -> Listed:
    """Return the limits of needed checks that rest on memory alone."""
    recalled = [one for one in found.counting if doubt(one) == "recalled" and one.limit is not None]
    recalled.sort(key=lambda one: (quantity_rank(one.quantity), line_rank(one.line)))
    texts = [
        say(
            "sheet_of.memory_row",
            quantity=title(one.quantity, say),
            limits=limits(*one.bounds, one.unit),
            reference=clean(one.limit.reference),
        )
        for one in recalled
        if one.limit is not None and one.unit != "dB"
    ]
    return Listed(say("sheet_of.memory"), _cut(texts, _ROOM["memory"], say), say("sheet_of.memory_none"))


def _label(found: Evidence, say: Words) -> Listed:
    """Return the label for the socket: the plugs first, then every rule of use."""
    rules: Sequence[str] = [one.text for one in found.check.conditions]
    return Listed(say("sheet_of.label"), _cut((say("sheet_of.label_first"), *rules), 1 + _ROOM["conditions"], say))


def _labels(found: Evidence, number: str, say: Words) -> dict[str, str]:
    """Return the fixed words of the two pages."""
    keys = ("done", "steps", "measured", "read", "allowed", "unread_none", "date", "overview")
    labels = {key: say(f"sheet_of.{key}") for key in keys}
    labels |= {f"outcome_{one}": say(f"outcome.{one}") for one in (CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN)}
    labels |= {
        f"sign_{key}": say(f"sign.{key}") for key in ("workshop", "customer", "name", "signature", "date", "serial")
    }
    labels |= {key: say(f"wrong.{key}") for key in ("sign", "act")}
    labels |= {"wrong": say("wrong.title"), "wrong_lead": say("wrong.lead"), "steps_lead": say("home.lead")}
    labels |= {"why": say("home.why"), "statement": say("sign.statement"), "skip": say("title.skip")}
    labels["job"] = say("sheet_of.job", unit=short(found.check.unit, 60))
    labels["details"] = say("sheet_of.details", hash=number)
    labels["other_work"] = say("front.other_work")
    labels["page"] = say("title.page", page="{page}", pages="{pages}")
    if found.state == NOT_READY and found.outcome == DOES_NOT_CONFORM:
        labels["steps_lead"] = say("home.bad")
    return labels
