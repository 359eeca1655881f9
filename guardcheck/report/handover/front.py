"""The customer's pages: what fails, what nobody has proven, what was shown, how to connect it, whom to trust it to."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from guardcheck.formatting import line_rank, quantity_rank
from guardcheck.model import (
    CONFORMS,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_MEASURED,
    NOT_PROVEN,
    Finding,
)
from guardcheck.report.arrange.words import clean, sentence
from guardcheck.report.handover.blocks import Blanks, Block, Boxes, Bullets, Cell, Grid, GridRow, Item, Section, Text
from guardcheck.report.handover.rows import places, title
from guardcheck.report.handover.strings import Words
from guardcheck.verdict.handover import Evidence
from guardcheck.verdict.outcome import worst

_BAD = (DOES_NOT_CONFORM, NOT_PROVEN)
_OTHER = "other"
_GOOD = "good"
_ROOM = 8
"""Entries that fit on the first page with a paragraph each; more are set tight, so that none leaves it."""
_FITTED = ("stage", "guard")
_ORDER = "connecting order"
"""The place a rule names when its finding tells in which order to connect the unit."""


def meaning(found: Evidence, say: Words) -> tuple[str, ...]:
    """Return what the verdict means, in sentences: never more than was shown."""
    tally = {outcome: count for outcome, _, count in tally_of(found, say)}
    judged = sum(tally.values())
    bad, open_ = tally[DOES_NOT_CONFORM], tally[NOT_PROVEN]
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
    """Return outcome, its word and how many counting findings have it, worst first."""
    outcomes = [one.outcome for one in found.counting]
    return tuple((o, say(f"outcome.{o}"), outcomes.count(o)) for o in (DOES_NOT_CONFORM, NOT_PROVEN, CONFORMS))


def front_page(found: Evidence, say: Words) -> tuple[Section, ...]:
    """Return the sections of the first page; what fails and what is not proven come before anything that conforms."""
    fails = _topics(found.counting, DOES_NOT_CONFORM, "fails", say)
    open_ = _open_items(found, say)
    tight = len(fails) + len(open_) > _ROOM
    sections = [_fails(fails, say, tight)] if fails else []
    sections.append(_open(found, open_, say, tight))
    sections.append(_shown(found, say))
    sections.append(_work(found, say))
    return tuple(sections)


def family(quantity: str, say: Words) -> str:
    """Return the family a quantity belongs to: the part of its name before the dot, if there are words for it."""
    name = quantity.split(".")[0]
    return name if f"family.{name}.name" in say.texts else _OTHER


def _topics(findings: Iterable[Finding], outcome: str, key: str, say: Words) -> tuple[Item, ...]:
    """Return one item per family that has this outcome: its plain sentence, the lines, how many checks."""
    by_family: dict[str, list[Finding]] = {}
    for one in findings:
        if one.outcome == outcome:
            by_family.setdefault(family(one.quantity, say), []).append(one)
    order = [name.split(".")[1] for name in say.texts if name.startswith("family.") and name.endswith(".name")]
    items = []
    for name in sorted(by_family, key=order.index):
        group = by_family[name]
        about = f"{places((one.line for one in group), say)} ({say.count('front.checks', len(group))})"
        items.append(Item(_topic_text(group, name, key, say), about, outcome, say(f"family.{name}.name")))
    return tuple(items)


def _topic_text(group: Sequence[Finding], name: str, key: str, say: Words) -> str:
    """Return a family's plain sentence; what conforms is named by quantity, so that no sentence claims more."""
    if key != _GOOD:
        return say(f"family.{name}.{key}")
    quantities = sorted({one.quantity for one in group}, key=quantity_rank)
    return say("front.shown_what", what=", ".join(title(quantity, say) for quantity in quantities))


def _fails(items: tuple[Item, ...], say: Words, tight: bool) -> Section:
    return Section("fails", say("front.fails"), (Bullets(items, style="fails", tight=tight),), "fails")


def _open_items(found: Evidence, say: Words) -> tuple[Item, ...]:
    items = _topics(found.counting, NOT_PROVEN, "open", say)
    if not found.unmeasured:
        return items
    return (Item(_unmeasured(found, say), "", NOT_PROVEN, say("front.unmeasured")), *items)


def _open(found: Evidence, items: tuple[Item, ...], say: Words, tight: bool) -> Section:
    blocks: list[Block] = [Text(say("front.open_lead"), "soft")] if items else [Text(say("front.none_open"))]
    if items:
        blocks.append(Bullets(items, style="open", tight=tight))
    blocks += unexamined(found, say)
    return Section("open", say("front.open"), tuple(blocks), "open")


def _unmeasured(found: Evidence, say: Words) -> str:
    whole = all(not gaps for _, gaps in found.unmeasured) and len(found.unmeasured) == len(found.lines)
    names = [
        clean(line) + (f" ({', '.join(title(name, say) for name in gaps)})" if gaps else "")
        for line, gaps in sorted(found.unmeasured, key=lambda pair: line_rank(pair[0]))
    ]
    which = say(f"verdict.unmeasured.{'all' if whole else 'some'}", lines=", ".join(names))
    return f"{which} {say('front.unmeasured_text')}"


def unexamined(found: Evidence, say: Words) -> list[Block]:
    """Return what neither the check nor the readings looked at, each under whose work it was."""
    blocks: list[Block] = []
    for result, key in ((found.check, "front.unexamined_check"), (found.readings, "front.unexamined_verify")):
        notes = () if result is None else result.not_examined
        if found.readings is not None:
            notes = tuple(note for note in notes if note != NOT_MEASURED)
        if notes:
            blocks.append(Text(say(key), "lead"))
            blocks.append(Bullets(tuple(Item(sentence(note)) for note in notes), style="open"))
    return blocks


def _shown(found: Evidence, say: Words) -> Section:
    """Return what conforms, measured apart from simulated; lines with an open point in the same family stay out."""
    clouded = {(family(one.quantity, say), one.line) for one in found.counting if one.outcome in _BAD}
    good = [one for one in found.counting if one.outcome == CONFORMS]
    clear = [one for one in good if (family(one.quantity, say), one.line) not in clouded]
    blocks: list[Block] = []
    for key, wanted in (("measured", True), ("simulated", False)):
        chosen = [one for one in clear if (one.origin == MEASURED) == wanted]
        if chosen:
            blocks.append(Text(say(f"front.shown_{key}"), "lead"))
            blocks.append(Bullets(_topics(chosen, CONFORMS, _GOOD, say), style="good"))
    if len(clear) < len(good):
        blocks.append(Text(say.count("front.shown_clouded", len(good) - len(clear)), "soft"))
    return Section("shown", say("front.shown"), tuple(blocks) or (Text(say("front.shown_none")),))


def _work(found: Evidence, say: Words) -> Section:
    fitted: dict[tuple[str, ...], list[str]] = {}
    for line in found.lines:
        parts = {what: described for at, what, described in found.check.plan if at == line}
        if parts:
            fitted.setdefault(tuple(clean(parts.get(what, "")) for what in _FITTED), []).append(line)
    blocks: list[Block] = [Text(say("front.work_note"), "soft")]
    if fitted:
        rows = tuple(
            GridRow((Cell(places(lines, say)), *(Cell("", (_part(part, say),)) for part in parts)))
            for parts, lines in fitted.items()
        )
        heads = (say("plan.lines"), *(say(f"plan.{what}") for what in _FITTED))
        blocks.append(Grid(say("front.work"), heads, (0.22, 0.48, 0.3), rows))
    else:
        blocks = [Text(say("front.work_none"))]
    blocks.append(Blanks(say("front.other_work"), ("", "")))
    return Section("work", say("front.work"), tuple(blocks))


def _part(described: str, say: Words) -> str:
    return say("plan.nothing") if described in ("", "none") else described


def home_page(found: Evidence, say: Words) -> tuple[Section, ...]:
    """Return the customer's second page: connecting, a wrong picture, what to keep in mind, signatures."""
    return (_connect(found, say), _wrong(say), _keep(say), _sign(found, say))


def _connect(found: Evidence, say: Words) -> Section:
    steps = Bullets(tuple(Item(step) for step in say.all("home.steps")), ordered=True)
    stress = [one.outcome for one in found.counting if one.event is not None]
    told = worst(stress) if stress else "none"
    bad = (Text(say("home.bad"), "stop"),) if found.outcome == DOES_NOT_CONFORM else ()
    blocks: list[Block] = [
        *bad,
        Text(say("home.lead"), "soft"),
        steps,
        Text(say("home.apart")),
        Text(say("home.why")),
        Text(say(f"home.plugged.{'none' if told == NOT_APPLICABLE else told}"), "lead"),
    ]
    own = [one for one in found.findings if one.where == _ORDER and one.outcome != NOT_APPLICABLE]
    if own:
        blocks.append(Text(say("home.unit"), "lead"))
        blocks.append(Bullets(tuple(Item(sentence(one.why)) for one in own)))
    return Section("connect", say("home.title"), tuple(blocks))


def _wrong(say: Words) -> Section:
    rows = tuple(GridRow((Cell(sign), Cell("", (act,)))) for sign, act in say.two("wrong.rows"))
    table = Grid(say("wrong.title"), (say("wrong.sign"), say("wrong.act")), (0.32, 0.68), rows)
    return Section(
        "wrong", say("wrong.title"), (Text(say("wrong.stop"), "stop"), Text(say("wrong.lead"), "soft"), table)
    )


def _keep(say: Words) -> Section:
    return Section("keep", say("keep.title"), (Bullets(tuple(Item(text) for text in say.all("keep.items"))),))


def _sign(found: Evidence, say: Words) -> Section:
    people = tuple(say(f"sign.{name}") for name in ("name", "signature", "date"))
    boxes = [say("sign.built"), say("sign.read")]
    blocks: Sequence[Block] = (
        Text(say("sign.statement")),
        Boxes(tuple(boxes)),
        Blanks("", (say("sign.serial"),)),
        Blanks(say("sign.workshop"), people, 3),
        Blanks(say("sign.customer"), people, 3),
    )
    return Section("sign", say("sign.title"), tuple(blocks))
