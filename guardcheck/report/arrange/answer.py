"""The short answer: will the picture be right, will the chip live, is it safe to touch, what to do, what to find out.

Terminal, page and README draw the same records, so that they can never disagree. Lines that are the same circuit are
one row, and the worst of them is what is said.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from guardcheck.formatting import limits, line_rank, quantity_rank, show, telling_digits, times
from guardcheck.model import (
    ASSUMED,
    CONFORMS,
    DOES_NOT_CONFORM,
    INTERFACE,
    NOT_APPLICABLE,
    NOT_PROVEN,
    PERSON,
    RATING_NOT_STATED,
    REMEDY_TRIED,
    SHORT_CIRCUIT,
    STRIKE,
    WITHSTAND,
    WORKMANSHIP,
    Finding,
    Question,
    Result,
)
from guardcheck.report.arrange.advice import counts
from guardcheck.report.arrange.line import LATCH_UP, MARGIN, PARTS, POWER, Bears, bears, beyond, event_words
from guardcheck.report.arrange.words import WORST_FIRST, clean, quantity_title, sentence
from guardcheck.verdict.claims import claims_of, leads_of
from guardcheck.verdict.outcome import worst

PICTURE, CHIP, PEOPLE = "picture", "chip", "people"
TILES = (PICTURE, CHIP, PEOPLE)
_BAD = (DOES_NOT_CONFORM, NOT_PROVEN)
_DRIVER = "driver ?"
"""Said of a stress that hangs on the current at which a driver gives way."""
_NEAR = 0.84
"""Share of a rating from which a stress is too near to decide: 1.5 dB."""
_AMPLITUDES = (
    "level.white", "level.sync", "level.pp", "level.high", "burst.amplitude", "level.low", "level.blank",
)  # fmt: skip
"""What a line is told by, the first it has."""
_ALWAYS = ("response.impedance",)
"""What is told beside it even where it conforms."""
_PEOPLE = ("touch", "stored", "bond", "barrier", "laser")
_EVENTS = ("event", "part")


@dataclass(frozen=True, slots=True)
class Bar:
    """A value between its limits: positions from 0 to 1 over what is shown; None for an end there is none of."""

    low: float | None
    high: float | None
    at: float


@dataclass(frozen=True, slots=True)
class AnswerRow:
    """One row: lines it is for, what it is about, the value, what is allowed, how it stands, and where to read more.

    `told` is a word or a multiple, `beyond` what the multiple is one of, empty for a word.
    """

    lines: tuple[str, ...]
    what: str
    value: str
    allowed: str
    outcome: str
    told: str = ""
    rule_of_use: bool = False
    bar: Bar | None = None
    ids: tuple[str, ...] = ()
    beyond: str = ""


@dataclass(frozen=True, slots=True)
class Tile:
    """One of the three questions: its outcome (None when nothing was asked), its one-line answer, its rows.

    `fine` counts needed checks that conform and have no row of their own.
    """

    name: str
    outcome: str | None
    said: str
    rows: tuple[AnswerRow, ...]
    fine: int = 0
    quiet: tuple[str, ...] = ()
    bar: Bar | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, with the lines it is for; `tried` when it was simulated; `rules` are what to print.

    `about` is what happens to the line, where the text does not say it.
    """

    text: str
    lines: tuple[str, ...] = ()
    tried: bool = False
    about: str = ""
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """One thing to find out, with how many checks it decides; `safe` false: only for a person trained for it."""

    text: str
    decides: int
    safe: bool = True


@dataclass(frozen=True, slots=True)
class Answer:
    """Everything the first screen says."""

    state: str
    verdict: str
    first: str
    tiles: tuple[Tile, ...]
    do: tuple[Step, ...]
    ask: tuple[Wanted, ...]
    count: str

    def tile(self, name: str) -> Tile:
        """Return one of the three."""
        return next(one for one in self.tiles if one.name == name)


def answer(result: Result) -> Answer:
    """Return the short answer of a result."""
    groups = line_groups(result)
    told = [one for one in result.findings if _as_built(one, groups)]
    tiles = (_picture(told, groups), _chip(result, told, groups), _people(told, groups))
    ask = _ask(result)
    return Answer(
        state=_state(result),
        verdict=_verdict(result, tiles),
        first=_first(result, ask),
        tiles=tiles,
        do=_do(result, tiles),
        ask=ask,
        count=_count(result),
    )


def line_groups(result: Result) -> tuple[tuple[str, ...], ...]:
    """Return the lines of a result, those that are the same circuit together, in bench order."""
    drawn = [tuple(sorted(one.lines, key=line_rank)) for one in result.schematics]
    seen = {name for names in drawn for name in names}
    rest = {one.line for one in result.findings if one.line is not None} - seen
    return tuple(sorted([*drawn, *((name,) for name in rest)], key=lambda names: line_rank(names[0])))


def group_name(names: Sequence[str]) -> str:
    """Return lines as they are told: ``red green blue (alike)``."""
    text = " ".join(clean(name) for name in names)
    return f"{text} (alike)" if len(names) > 1 else text


def tile_of(finding: Finding) -> str:
    """Return which of the three questions a finding belongs to."""
    family = finding.quantity.partition(".")[0]
    if finding.kind == PERSON or (not finding.kind and family in _PEOPLE):
        return PEOPLE
    if finding.kind == WITHSTAND or (finding.kind not in (INTERFACE, WORKMANSHIP) and family in _EVENTS):
        return CHIP
    return PICTURE


def _as_built(one: Finding, groups: Sequence[Sequence[str]]) -> bool:
    return one.needed or one.condition is not None or (one.use == STRIKE and one.guarded is not None)


def _of(names: Sequence[str], findings: Iterable[Finding]) -> list[Finding]:
    return [one for one in findings if one.line in names]


def _worst_of(findings: Sequence[Finding]) -> Finding:
    """Return the finding that speaks for lines that are alike: the worst, the farthest out of it."""
    return min(findings, key=lambda one: (WORST_FIRST.index(one.outcome), _margin(one), one.id))


def _margin(one: Finding) -> float:
    if one.quantity == MARGIN and one.value is not None:
        return one.value
    return 0.0


def _families(findings: Iterable[Finding]) -> list[Finding]:
    """Return one finding for each quantity, event and place, in reading order: the worst of the lines."""
    found: dict[tuple[str, str, str, str], list[Finding]] = {}
    for one in findings:
        found.setdefault((one.quantity, one.event or "", one.severity or "", one.where or ""), []).append(one)
    return [_worst_of(found[key]) for key in sorted(found, key=lambda key: (quantity_rank(key[0]), key[1:]))]


def value_row(one: Finding, lines: Sequence[str], *, what: str | None = None) -> AnswerRow:
    """Return a finding held against limits as a row, with its place between them."""
    low, high = one.bounds
    digits = telling_digits([one.value], (low, high), one.unit)
    where = f" ({clean(one.where)})" if one.where and what is None else ""
    allowed = "" if low is None and high is None else limits(low, high, one.unit, digits)
    return AnswerRow(
        lines=tuple(lines),
        what=what or f"{quantity_title(one.quantity)}{where}",
        value=show(one.value, one.unit, digits),
        allowed=allowed,
        outcome=one.outcome,
        bar=_bar(one.value, low, high),
        ids=(one.id,),
    )


def _bar(value: float | None, low: float | None, high: float | None) -> Bar | None:
    """Return where a value stands: with two limits they stand at 0.2 and 0.8; with one, at 0.8 or 0.2 over zero."""
    if value is None or (low is None and high is None):
        return None
    if low is not None and high is not None and high > low:
        at = 0.2 + 0.6 * (value - low) / (high - low)
        return Bar(0.2, 0.8, min(max(at, 0.0), 1.0))
    limit = high if high is not None else low
    assert limit is not None
    if limit <= 0.0:
        return None
    at = min(max(0.6 * value / limit, 0.0), 1.0)
    return Bar(None, 0.6, at) if high is not None else Bar(0.6, None, at)


def _picture(told: Sequence[Finding], groups: Sequence[Sequence[str]]) -> Tile:
    mine = [one for one in told if tile_of(one) == PICTURE and one.needed]
    rows: list[AnswerRow] = []
    shown: list[Finding] = []
    for names in groups:
        found = _families(_of(names, mine))
        lead = next((one for name in _AMPLITUDES for one in found if one.quantity == name), None)
        keep = [one for one in found if one is lead or one.quantity in _ALWAYS or one.outcome in _BAD]
        keep.sort(key=lambda one: (one is not lead, WORST_FIRST.index(one.outcome)))
        rows += [value_row(one, names) for one in keep]
        shown += [one for one in _of(names, mine) if any(_same(one, kept) for kept in keep)]
    unit = [one for one in _families(one for one in mine if one.line is None) if one.outcome in _BAD]
    rows += [value_row(one, ()) for one in unit]
    shown += unit
    outcome = worst(one.outcome for one in mine) if mine else None
    speaks = _picture_lead(outcome, rows)
    said = "no signal line was judged" if outcome is None else ""
    if speaks is not None:
        said = f"{' '.join(clean(line) for line in speaks.lines)}: {speaks.what} {speaks.value}, {speaks.allowed}"
    fine = _fine(mine, groups, shown)
    return Tile(PICTURE, outcome, said, tuple(rows), fine, bar=None if speaks is None else speaks.bar)


def _fine(mine: Iterable[Finding], groups: Sequence[Sequence[str]], shown: Sequence[Finding] = ()) -> int:
    """Return how many claims conform and are not shown."""
    leads = {line: names[0] for names in groups for line in names}
    claims = [claim for claim in claims_of(mine, leads) if not any(one in shown for one in claim)]
    return sum(1 for claim in claims if worst(one.outcome for one in claim) == CONFORMS)


def _same(one: Finding, other: Finding) -> bool:
    return (one.quantity, one.event, one.severity, one.where) == (
        other.quantity,
        other.event,
        other.severity,
        other.where,
    )


def _picture_lead(outcome: str | None, rows: Sequence[AnswerRow]) -> AnswerRow | None:
    """Return the row that speaks for the picture: the first with its outcome, one with a value before one without."""
    found = [row for row in rows if row.outcome == outcome] or list(rows)
    return min(found, key=lambda row: (row.bar is None, row.bar is not None and row.bar.low is None), default=None)


def _chip(result: Result, told: Sequence[Finding], groups: Sequence[Sequence[str]]) -> Tile:
    mine = [one for one in told if tile_of(one) == CHIP]
    rows: list[AnswerRow] = []
    quiet: dict[str, None] = {}
    decided = [one for one in mine if one.use != STRIKE or one.needed]
    for names in groups:
        found = [one for one in _families(_of(names, decided)) if one.quantity == MARGIN or one.outcome in _BAD]
        bad = [(one, bears(one)) for one in found if one.outcome in _BAD]
        bad.sort(key=lambda pair: (not pair[0].needed, WORST_FIRST.index(pair[0].outcome), -_times(pair[1])))
        rows += [_chip_row(result, names, one, bearing) for one, bearing in bad]
    rows += [
        AnswerRow((), quantity_title(one.quantity), show(one.value, one.unit), "", one.outcome, ids=(one.id,))
        for one in _families(one for one in decided if one.line is None)
        if one.needed and one.outcome in _BAD
    ]
    events = {one.event: True for one in decided if one.event}
    for one in decided:
        if one.event and one.outcome in _BAD:
            events[one.event] = False
    for one in decided:
        if one.event and events[one.event]:
            quiet[event_words(result, _plain(one))] = None
    needed = [one.outcome for one in mine if one.needed]
    outcome = worst(needed) if needed else (CONFORMS if decided else None)
    fine = _fine([one for one in mine if one.needed], groups)
    return Tile(CHIP, outcome, _chip_said(outcome, rows, bool(mine)), tuple(rows), fine, tuple(quiet))


def _plain(one: Finding) -> Finding:
    return replace(one, severity=None)


def _times(bearing: Bears | None) -> float:
    return 0.0 if bearing is None else bearing.times


def _chip_row(result: Result, names: Sequence[str], one: Finding, bearing: Bears | None) -> AnswerRow:
    happens = event_words(result, one) or quantity_title(one.quantity)
    lead = {MARGIN: "", LATCH_UP: "latch-up: ", PARTS: "parts: ", POWER: f"{clean(one.where or '')}: "}
    what = f"{lead.get(one.quantity, quantity_title(one.quantity) + ': ')}{happens}"
    rule = one.condition is not None
    if bearing is not None and bearing.of:
        what = f"{bearing.of}: {happens}"
    if bearing is None:
        told = "too much" if one.outcome == DOES_NOT_CONFORM else "not proven"
        value = "" if one.outcome == DOES_NOT_CONFORM else "no value"
        return AnswerRow(tuple(names), what, value, "", one.outcome, told, rule, ids=(one.id,))
    told, more = _why_open(one, bearing) if one.outcome == NOT_PROVEN else "", ""
    if told == _DRIVER:
        pass  # at the other end of what its driver may carry it holds: a ratio would say too much
    elif bearing.times >= 1.0:
        told, more = times(bearing.times) + (" up" if bearing.ranged else ""), beyond(one, bearing)
    elif bearing.ranged and one.outcome == NOT_PROVEN:
        told = "no rating"
    return AnswerRow(
        tuple(names),
        what,
        bearing.value,
        bearing.allowed.replace(" to ", " - "),
        one.outcome,
        told,
        rule,
        ids=(one.id,),
        beyond=more,
    )


def _why_open(one: Finding, bearing: Bears) -> str:
    """Return in a word or two why a stress within its rating proves nothing."""
    if SHORT_CIRCUIT in one.codes:
        return _DRIVER
    if one.limit is not None and one.limit.known_by == ASSUMED:
        return "assumed"
    if bearing.times > _NEAR:
        return "too near"
    return "model end" if one.estimate else "not proven"


def _chip_said(outcome: str | None, rows: Sequence[AnswerRow], judged: bool) -> str:
    if not judged:
        return "no event was simulated"
    lead = next((row for row in rows if not row.rule_of_use), rows[0] if rows else None)
    if lead is None:
        return "lives through every event that counts"
    what = f"{lead.what}: {lead.value}{f', allowed {lead.allowed}' if lead.allowed else ''}"
    if lead.rule_of_use and outcome == CONFORMS:
        return f"lives if the rules of use are kept: {what}"
    return f"{what}: {f'{lead.told} {lead.beyond}'.rstrip()}"


def _people(told: Sequence[Finding], groups: Sequence[Sequence[str]]) -> Tile:
    mine = [one for one in told if tile_of(one) == PEOPLE and one.needed]
    found = sorted(_families(mine), key=lambda one: (WORST_FIRST.index(one.outcome), -abs(one.value or 0.0)))
    bad: dict[str, Finding] = {}
    for one in found:
        if one.outcome in _BAD:
            bad.setdefault(one.quantity, one)
    lead = list(bad.values()) or found[:1]
    rows = tuple(value_row(one, () if one.line is None else (one.line,)) for one in lead)
    outcome = worst(one.outcome for one in mine) if mine else None
    said = "nothing was declared" if outcome is None else ""
    if rows:
        said = f"{rows[0].what} {rows[0].value}" + (f", {rows[0].allowed}" if rows[0].allowed else "")
    fine = _fine(mine, groups)
    return Tile(PEOPLE, outcome, said, rows, fine, bar=rows[0].bar if rows else None)


_PICTURE_WORDS = {
    CONFORMS: "The picture will be right.",
    DOES_NOT_CONFORM: "The picture will not be right.",
    NOT_PROVEN: "Nobody has shown that the picture will be right.",
}
_MEASURED_WORDS = {
    CONFORMS: "What was read is right.",
    DOES_NOT_CONFORM: "What was read is not right.",
    NOT_PROVEN: "What was read does not prove the picture right.",
}
_PEOPLE_WORDS = {
    CONFORMS: "Safe to touch, as far as declared.",
    DOES_NOT_CONFORM: "IT IS NOT SAFE TO TOUCH: do not connect it.",
    NOT_PROVEN: "Nobody has shown that it is safe to touch.",
}


def _state(result: Result) -> str:
    """Return the overall outcome in bench words."""
    if result.outcome == CONFORMS and result.conditions:
        count = len(result.conditions)
        return f"CONFORMS UNDER {count} CONDITION{'' if count == 1 else 'S'}"
    words = {CONFORMS: "CONFORMS", DOES_NOT_CONFORM: "STOP: DOES NOT CONFORM", NOT_PROVEN: "NOT PROVEN"}
    return words.get(result.outcome, "NOTHING WAS JUDGED")


def _verdict(result: Result, tiles: Sequence[Tile]) -> str:
    picture, chip, people = tiles
    words = _MEASURED_WORDS if result.command == "verify" else _PICTURE_WORDS
    parts = [words[picture.outcome]] if picture.outcome in words else []
    if chip.outcome is not None:
        parts.append(_chip_words(chip, len(result.conditions)))
    if people.outcome in _PEOPLE_WORDS:
        parts.append(_PEOPLE_WORDS[people.outcome])
    if people.outcome == DOES_NOT_CONFORM:
        parts.reverse()
    return " ".join(parts) or "Nothing here was held against a limit, so nothing was shown to be right."


def _chip_words(chip: Tile, conditions: int) -> str:
    daily = {row.what for row in chip.rows if not row.rule_of_use and row.outcome == DOES_NOT_CONFORM}
    rules = f"{conditions} rule{'' if conditions == 1 else 's'} of use"
    if daily:
        count = len(daily)
        what = next(iter(daily)) if count == 1 else f"{count} things that happen every day"
        return f"The chip can die: {what}."
    if chip.outcome == NOT_PROVEN:
        return "Nobody has shown that the chip lives."
    return (
        f"The chip lives if {rules} {'is' if conditions == 1 else 'are'} kept."
        if conditions
        else "The chip lives through what was simulated."
    )


def _first(result: Result, ask: Sequence[Wanted]) -> str:
    tally = counts(result)
    open_ = tally[DOES_NOT_CONFORM] + tally[NOT_PROVEN]
    if not ask or not open_:
        return ""
    lead = ask[0]
    return f"One answer decides {lead.decides} of the {open_} open or failing checks: see ASK 1."


def _do(result: Result, tiles: Sequence[Tile]) -> tuple[Step, ...]:
    """Return what to do: for people first, then what was tried, then what to try, then the rules of use to print."""
    families: dict[str, list[Finding]] = {}
    ordered = sorted(
        (one for one in result.findings if one.needed and one.remedy and one.outcome in _BAD),
        key=lambda one: (
            tile_of(one) != PEOPLE,
            REMEDY_TRIED not in one.codes,
            WORST_FIRST.index(one.outcome),
            TILES.index(tile_of(one)),
            one.id,
        ),
    )
    asked = {id_ for question in result.asks for id_ in question.findings}
    leads = {line: names[0] for names in line_groups(result) for line in names}
    for one in ordered:
        if one.id in asked or (tile_of(one) == PEOPLE and one.outcome == NOT_PROVEN):
            continue
        families.setdefault(sentence(_for_all(one.remedy or "", one.line, leads)), []).append(one)
    steps = [
        Step(text, _lines(found), any(REMEDY_TRIED in one.codes for one in found), _about(result, found))
        for text, found in families.items()
    ]
    if result.conditions:
        count = len(result.conditions)
        lead = "Print this rule" if count == 1 else f"Print these {count} rules"
        rules = tuple(sentence(one.text) for one in result.conditions)
        steps.append(Step(f"{lead} on the label at the socket:", rules=rules))
    return tuple(steps)


def _about(result: Result, findings: Sequence[Finding]) -> str:
    """Return what happens to a line, as far as nothing was found that helps against it."""
    if any(REMEDY_TRIED in one.codes for one in findings):
        return ""
    events = dict.fromkeys(event_words(result, _plain(one)) for one in findings if one.event)
    first, more = next(iter(events), ""), len(events) - 1
    return f"{first} and {more} more" if more > 0 else first


def _for_all(text: str, line: str | None, leads: Mapping[str, str]) -> str:
    """Return what is to be done on a line in the name of the first of those that are alike."""
    if line is None or leads.get(line, line) == line:
        return text
    return re.sub(rf"(?<![\w-]){re.escape(line)}(?![\w-])", lambda found: leads[line], text)


def _lines(findings: Iterable[Finding]) -> tuple[str, ...]:
    return tuple(sorted({one.line for one in findings if one.line is not None}, key=line_rank))


def _ask(result: Result) -> tuple[Wanted, ...]:
    """Return what to find out, the answer that decides most first; what no question names is asked for by its code."""
    asked = {id_ for question in result.asks for id_ in question.findings}
    found = _questions(result)
    open_ = [one for one in result.findings if one.needed and one.outcome in _BAD and one.id not in asked]
    for lines, rows in _by_group(result, [one for one in open_ if RATING_NOT_STATED in one.codes]):
        text = (
            f"{' '.join(lines)}: what may the chip's pin take? Its data sheet, or its family, into the job's pin table."
        )
        found.append(Wanted(text, _claims(result, rows)))
    people: dict[str, list[Finding]] = {}
    for one in open_:
        if tile_of(one) == PEOPLE and one.remedy and one.outcome == NOT_PROVEN:
            people.setdefault(sentence(one.remedy), []).append(one)
    found += [Wanted(text, _claims(result, rows), safe=False) for text, rows in people.items()]
    return tuple(sorted(found, key=lambda one: -one.decides))


def _questions(result: Result) -> list[Wanted]:
    """Return the questions of a result, those about lines that are alike as one."""
    alike: dict[tuple[str, str], list[tuple[str, Question]]] = {}
    groups = {line: names for names in line_groups(result) for line in names}
    for one in result.asks:
        line, _, rest = one.key.partition(".")
        names = groups.get(line)
        key = (names[0], rest) if names else (one.key, "")
        alike.setdefault(key, []).append((line if names else "", one))
    by_id = [(one.id, one) for one in result.findings]
    found = []
    for unsorted in alike.values():
        asked = sorted(unsorted, key=lambda pair: line_rank(pair[0] or None))
        line, first = asked[0]
        question = clean(first.question)
        if len(asked) > 1:
            question = question.replace(f"{clean(line)}?", f"{' '.join(clean(name) for name, _ in asked)}?")
        ids = {id_ for _, one in asked for id_ in one.findings}
        decides = _claims(result, [one for id_, one in by_id if id_ in ids])
        decides = decides or max(one.decides for _, one in asked)
        found.append(Wanted(f"{question} {sentence(first.where)}", decides, all(one.safe for _, one in asked)))
    return found


def _by_group(result: Result, findings: Sequence[Finding]) -> list[tuple[tuple[str, ...], list[Finding]]]:
    pairs = [(names, _of(names, findings)) for names in line_groups(result)]
    return [(names, rows) for names, rows in pairs if rows]


def _claims(result: Result, findings: Iterable[Finding]) -> int:
    """Return how many claims findings make: one fault is counted once."""
    return len(claims_of(findings, leads_of(result.schematics)))


def _count(result: Result) -> str:
    tally: Mapping[str, int] = counts(result)
    judged = sum(count for outcome, count in tally.items() if outcome != NOT_APPLICABLE)
    if not judged:
        return "No needed check has an answer. Not proven is not a pass."
    bad, open_ = tally[DOES_NOT_CONFORM], tally[NOT_PROVEN]
    parts = [f"{bad} {'does' if bad == 1 else 'do'} not conform"] if bad else []
    parts += [f"{open_} not proven"] if open_ else []
    return f"Of {judged} checks {', '.join([*parts, f'{tally[CONFORMS]} conform'])}."
