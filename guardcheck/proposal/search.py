"""The search for builds of one line.

Everything in closed form, a shortlist by operating points, events coarsely, then the full check on the last few. What
is proposed is what the full check said of it, never what a formula promised.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from guardcheck.engine import Engine
from guardcheck.formatting import show
from guardcheck.model import (
    CONFORMS,
    DAILY,
    DOES_NOT_CONFORM,
    NOT_PROVEN,
    QUANTITIES,
    REFERENCE,
    WITHSTAND,
    Build,
    Facts,
    Finding,
    LineProposals,
    Spread,
)
from guardcheck.proposal.candidates import Tally, look, nominal_of, shortlist
from guardcheck.proposal.remedies import SIZES, SLOW
from guardcheck.proposal.space import Candidate, Drawer, drawer_of, guards_of, stages_of
from guardcheck.proposal.trials import Trial, alike, appraised
from guardcheck.rules import judge_all
from guardcheck.simulate.fitting import Fitter
from guardcheck.simulate.planning import JobPlan, LinePlan, plan_line
from guardcheck.simulate.stress.bench import bench_of
from guardcheck.simulate.stress.convergence import Event, groups_of, human_body, run_groups
from guardcheck.simulate.stress.events import decides, library_events, subject_of
from guardcheck.simulate.stress.quantities import quantities_of
from guardcheck.verdict.outcome import ASSUMED_FACTOR, EVENT_MARGIN_DB, misses

MOST_BUILDS = 5
FINALISTS, FEWER = 5, 2
"""Builds the full check is made of, and those it is made of once more when a limit is left out."""
STRESSED = 20
"""Builds whose events are run coarsely."""
SHORTLISTED = 120
"""Builds whose operating points are solved with their guard's diodes."""
VISIBLE = 0.06
"""Level error that a reader would see: builds inside it come first (application note AN-945: 6 %, 0.5 dB)."""
WITHOUT = -120.0
"""What stands for a margin that could not be simulated [dB]."""
Say = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Seen:
    """A candidate with what is known of it: what fails and is open, its least deciding margin [dB], its level error."""

    candidate: Candidate
    trial: Trial
    findings: tuple[Finding, ...]
    fails: int
    open_: int
    margin: float
    error: float

    @property
    def rank(self) -> tuple[object, ...]:
        """Sort key: what fails least, an error nobody sees, least open, a margin that holds, level, margin, parts.

        Margins count in whole decibels: the models of chips are no better.
        """
        one = self.candidate
        names = (one.stage.fitted.part.name, one.guard.name, one.guard.place or "")
        values = tuple(sorted(one.values.items())), tuple(sorted(one.guard.resistors.items()))
        return (
            self.fails,
            self.error > VISIBLE,
            self.open_,
            -round(min(self.margin, EVENT_MARGIN_DB)),
            round(self.error, 3),
            -round(self.margin),
            one.parts,
            one.cost,
            names,
            values,
        )

    def beats(self, other: Seen) -> bool:
        """Tell whether it is at least as good in margin, level, parts and cost, and better in one of them."""
        mine = (-self.margin, self.error, self.candidate.parts, self.candidate.cost)
        theirs = (-other.margin, other.error, other.candidate.parts, other.candidate.cost)
        return all(a <= b for a, b in zip(mine, theirs, strict=True)) and mine != theirs


@dataclass(frozen=True)
class Search:
    """One search, and what it may leave out: `dropped` quantities, events `forbids`."""

    engine: Engine
    plan: JobPlan
    lines: tuple[LinePlan, ...]
    drawer: Drawer
    samples: int
    seed: int
    say: Say
    dropped: frozenset[str] = frozenset()

    @property
    def first(self) -> LinePlan:
        """The line the others are built like."""
        return self.lines[0]

    def shortlisted(self) -> tuple[list[Candidate], Tally]:
        """Return the candidates worth simulating, and what was looked at."""
        tally = Tally()
        guards = guards_of(self.plan, self.first, self.drawer)
        stages = list(stages_of(self.plan, self.first, self.drawer))
        looked = look(self.engine, self.first, stages, guards, tally, self.dropped)
        return shortlist(looked, self.first, guards, self.drawer), tally

    def trial(self, one: Candidate, rating: float | None = None) -> Trial:
        """Return the lines with a candidate on them."""
        return Trial(one.lines([line.line for line in self.lines], self.drawer, rating))

    def solved(self, candidates: Sequence[Candidate]) -> list[Seen]:
        """Return the candidates whose operating points keep every limit of the wanted signal."""
        chosen = _diverse(candidates, SHORTLISTED)
        trials = [Trial(self.trial(one).lines[:1]) for one in chosen]
        quick = {
            line.name: replace(
                line.standard, quantities=tuple(name for name in line.standard.quantities if name not in SLOW)
            )
            for line in self.lines
        }
        found = appraised(self.engine, self.plan, trials, events=False, standards=quick, nominal=True)
        seen = [self._seen(one, trial, mine) for one, trial, mine in zip(chosen, trials, found, strict=True) if mine]
        return [one for one in seen if not one.fails]

    def stressed(self, seen: Sequence[Seen]) -> list[Seen]:
        """Return candidates with the events that decide run once over, coarsely."""
        chosen = _diverse_seen(seen, STRESSED)
        fitter = Fitter(self.plan.job, self.plan.library)
        events = [event for each in library_events(self.plan) for event in self._deciding(each)]
        bench = bench_of(self.plan.job, self.plan.rail)
        plans = [plan_line(fitter, one.trial.lines[0], self.first.standard, 0, self.seed) for one in chosen]
        groups = [
            list(groups_of(subject_of(JobPlan(self.plan.job, (plan,), fitter), plan, plan.as_built, bench), events))
            for plan in plans
        ]
        run_groups(self.engine, [group for mine in groups for group in mine], self.say, coarse=True)
        out = []
        for one, plan, mine in zip(chosen, plans, groups, strict=True):
            reference = human_body(mine)
            quantities = [
                found
                for group in mine
                if group.event.plan.role != REFERENCE
                for found in quantities_of(group, reference, claims=self.plan.job.claims)
            ]
            facts = Facts(
                tuple(quantities),
                guarded_lines=frozenset(plan.name for _ in (0,) if plan.guarded is not None),
                forbids=self.plan.job.forbids,
            )
            findings = tuple(found for found in judge_all(facts) if found.event is not None)
            watts = [
                found.value
                for found in (*findings, *one.findings)
                if found.quantity == "part.power" and (found.where or "").startswith("stage") and found.value
            ]
            trial = self.trial(one.candidate, _rating(max(watts, default=0.0)))
            out.append(replace(self._seen(one.candidate, trial, findings), error=one.error))
        return out

    def _deciding(self, event: Event) -> list[Event]:
        """Return an event at its hardest level of daily use, or as it stands where it is claimed or the reference."""
        plan = event.plan
        if plan.role == REFERENCE:
            return [event]
        if event.name in self.plan.job.forbids or not decides(event, self.plan):
            return []
        levels = {name: values for name, values in plan.severities.items() if plan.use.get(name, DAILY) == DAILY}
        if plan.claimed:
            levels = dict(plan.severities)
        hardest = dict(list(levels.items())[-1:])
        return [Event(event.fitted, replace(plan, severities=hardest))] if hardest else []

    def checked(self, seen: Sequence[Seen], most: int = FINALISTS) -> list[Seen]:
        """Return the last few as the full check finds them."""
        chosen = _best(seen, most)
        found = appraised(
            self.engine, self.plan, [one.trial for one in chosen], events=True, samples=self.samples, seed=self.seed
        )
        return sorted(
            (self._seen(one.candidate, one.trial, mine) for one, mine in zip(chosen, found, strict=True) if mine),
            key=lambda one: one.rank,
        )

    def _seen(self, one: Candidate, trial: Trial, findings: Iterable[Finding]) -> Seen:
        name, guarded = trial.lines[0].name, trial.lines[0].has_guard
        mine = tuple(found for found in findings if found.line == name and found.guarded == guarded)
        counted = [found for found in mine if found.quantity not in self.dropped]
        fails = [
            found for found in counted if (misses(found) and (found.needed or found.event is None)) or _unsolved(found)
        ]
        unsure = [found for found in counted if found.needed and found.outcome == NOT_PROVEN]
        margins = [
            found.value if found.value is not None else WITHOUT
            for found in mine
            if found.quantity in ("event.margin", "event.part_margin") and found.needed
        ]
        return Seen(one, trial, mine, len(fails), len(unsure), min(margins, default=WITHOUT), self._error(mine))

    def _error(self, findings: Sequence[Finding]) -> float:
        errors = [
            abs(found.value / middle - 1.0)
            for found in findings
            if found.quantity in ("level.white", "level.sync") and found.limit is not None and found.value is not None
            if (middle := nominal_of(found.limit))
        ]
        return max(errors, default=0.0)


def _unsolved(one: Finding) -> bool:
    """Tell whether a figure of the wanted signal could not be found: nobody can propose what has no level."""
    signal = one.event is None and one.quantity.partition(".")[0] in ("level", "response")
    return signal and one.needed and one.outcome == NOT_PROVEN and one.value is None


def _rating(watts: float) -> float | None:
    """Return the size its resistors need declared [W]; None while what is usually assumed proves enough."""
    if watts <= SIZES[0] / ASSUMED_FACTOR:
        return None
    return next((size for size in SIZES if size >= 1.25 * watts), SIZES[-1])


def _kind(one: Candidate) -> tuple[str, str, str]:
    return one.stage.fitted.part.name, one.guard.name, one.guard.place or ""


def _diverse(candidates: Sequence[Candidate], most: int) -> list[Candidate]:
    """Return at most so many candidates, as many kinds of stage, guard and place among them as there are."""
    kinds: dict[tuple[str, str, str], list[Candidate]] = {}
    for one in candidates:
        kinds.setdefault(_kind(one), []).append(one)
    chosen: list[Candidate] = []
    depth = 0
    while len(chosen) < most and any(len(mine) > depth for mine in kinds.values()):
        chosen += [mine[depth] for mine in kinds.values() if len(mine) > depth]
        depth += 1
    return chosen[:most]


def _diverse_seen(seen: Sequence[Seen], most: int) -> list[Seen]:
    """Return at most so many, kinds taking turns: of guard and place first, then of stage."""
    kinds: dict[tuple[str, str], list[Seen]] = {}
    for one in sorted(seen, key=lambda each: (each.error, each.rank)):
        kinds.setdefault(_kind(one.candidate)[1:], []).append(one)
    chosen: list[Seen] = []
    depth = 0
    while len(chosen) < most and any(len(mine) > depth for mine in kinds.values()):
        chosen += [mine[depth] for mine in kinds.values() if len(mine) > depth]
        depth += 1
    return chosen[:most]


def _best(seen: Sequence[Seen], most: int) -> list[Seen]:
    """Return the best of them, those that no other beats first; of the same trial only one."""
    ordered = sorted(seen, key=lambda one: one.rank)
    level = [one for one in ordered if one.rank[:3] == ordered[0].rank[:3]]
    front = [one for one in level if not any(other.beats(one) for other in level)]
    rest = [one for one in ordered if one not in front]
    return [*front, *rest][:most]


def propose_lines(engine: Engine, plan: JobPlan, name: str, *, samples: int, seed: int, say: Say) -> LineProposals:
    """Return the builds proposed for a line and for all that are built like it.

    Parameters
    ----------
    engine : a running engine
    plan : the job as planned
    name : the name of a line of the plan
    samples, seed : of the tolerance samples of the last few
    say : told the step, of how many, and what it does

    """
    lines = alike(plan, name)
    search = Search(engine, plan, lines, drawer_of(plan.job, plan.library), samples, seed, say)
    say(0, 4, "closed forms")
    candidates, tally = search.shortlisted()
    say(1, 4, "operating points")
    solved = search.solved(candidates)
    say(2, 4, "stress events, coarsely")
    stressed = search.stressed(solved) if solved else []
    say(3, 4, "full check of the last few")
    checked = search.checked(stressed) if stressed else []
    good = [one for one in checked if not one.fails]
    good = [one for one in good if not one.open_] or good  # what is proven is not measured against what is not
    good = [one for one in good if not any(other.beats(one) for other in good)]
    good = _different(good)
    builds = tuple(build_of(one, rank, lines) for rank, one in enumerate(good[:MOST_BUILDS], 1))
    because, nearest = None, None
    if not builds:
        nearest = build_of(checked[0], 1, lines) if checked else None
        because = _because(search, tally, candidates, solved, checked)
    return LineProposals(
        line=lines[0].name,
        lines=tuple(one.name for one in lines),
        searched=tally.searched,
        confirmed=len(checked),
        builds=builds,
        none_because=because,
        nearest=nearest,
        notes=_notes(search, builds),
    )


def _different(seen: Sequence[Seen]) -> list[Seen]:
    """Return builds without those that are the same circuit under another name."""
    found: dict[tuple[object, ...], Seen] = {}
    for one in seen:
        guard = one.candidate.guard
        key = (round(one.error, 6), round(one.margin, 3), one.candidate.parts, guard.name, guard.place)
        found.setdefault(key, one)
    return list(found.values())


def _because(
    search: Search, tally: Tally, candidates: Sequence[Candidate], solved: Sequence[Seen], checked: Sequence[Seen]
) -> str:
    """Say which limit binds, proven by leaving it out and searching again; and whether the drawer is what binds."""
    binds = _check_binds(search, solved, checked) if candidates and checked else _signal_binds(search, tally)
    return "; ".join((binds, *_drawer_binds(search)))


def _check_binds(search: Search, solved: Sequence[Seen], checked: Sequence[Seen]) -> str:
    """Say what the nearest build fails, and what passes when that is forbidden by a label, or not asked for."""
    fails = [found for found in checked[0].findings if misses(found) and (found.needed or found.event is None)]
    binding = sorted({_title(search, found.event or found.quantity) for found in fails})
    lacking = sorted({_title(search, found.quantity) for found in checked[0].findings if _unsolved(found)})
    told = f"the nearest build fails {', '.join(binding)}"
    if not binding:
        told = f"no figure was found for the {' and the '.join(lacking)} of the nearest build"
    events = {event.name: event for event in library_events(search.plan)}
    labels = {one.event for one in fails if one.event is not None and one.kind == WITHSTAND}
    labels = {name for name in labels if name in events and events[name].plan.condition}
    quantities = frozenset(one.quantity for one in fails if one.event is None)
    tried = []
    if labels:
        forbids = search.plan.job.forbids | labels
        eased = replace(search, plan=replace(search.plan, job=replace(search.plan.job, forbids=forbids)))
        quoted = ", ".join(f'"{name}"' for name in sorted(labels))
        tried.append((eased, f"a label at the socket that forbids it ([use] forbids = [{quoted}])"))
    if quantities:
        names = " and ".join(sorted(_lower(QUANTITIES[name].title) for name in quantities))
        tried.append((replace(search, dropped=search.dropped | quantities), f"no limit on {names}"))
    for eased, words in tried:
        again = eased.checked(eased.stressed(solved), FEWER)
        if again and not again[0].fails:
            return f"{told}; with {words}, {_called(again[0].candidate)} {_passes(again[0])} (searched again so)"
        told += f"; {words} alone does not help (searched again so)"
    return told


def _title(search: Search, name: str) -> str:
    """Return what an event or a quantity is called at the bench."""
    if name in QUANTITIES:
        return _lower(QUANTITIES[name].title)
    return _lower(titles_of(search.plan, (name,)).get(name, name))


def titles_of(plan: JobPlan, events: Iterable[str]) -> dict[str, str]:
    """Return what each event is called at the bench, by its name; one of the user's own goes by its name.

    Events that are called alike have their names beside it.
    """
    said = {name: plan.library.get("event", name).said for name in plan.library.names("event")}
    alike = {words for words, count in Counter(said.values()).items() if count > 1}
    told = {name: f"{words} ({name})" if words in alike else words for name, words in said.items()}
    return {name: told[name] for name in sorted(set(events)) if name in told}


def _passes(one: Seen) -> str:
    """Say that a build fails nothing, and whether all of it is proven."""
    return "fails nothing, though not all of it is proven" if one.open_ else "passes"


def _drawer_binds(search: Search) -> Iterable[str]:
    """Say whether a part that is not in the drawer would do, proven by searching the whole shelf."""
    if search.drawer == Drawer():
        return
    eased = replace(search, drawer=Drawer())
    candidates, _ = eased.shortlisted()
    solved = eased.solved(candidates)
    again = eased.checked(eased.stressed(solved), FEWER) if solved else []
    if again and not again[0].fails:
        yield f"with parts that are not in the drawer this {_passes(again[0])} (searched again so): {_built(again[0])}"
    else:
        yield "parts that are not in the drawer do not help either (searched again with the whole shelf)"


def _signal_binds(search: Search, tally: Tally) -> str:
    first = search.first
    binding = max(tally.alone, key=lambda name: tally.alone[name], default=None)
    asked = _asked(first)
    ask = f"; {asked}: a reading would open more" if asked else ""
    if binding is None:
        return (
            f"none of {tally.searched} builds comes near: more than one limit fails with each of them; the source of "
            f"{first.name} is too weak, or too strong, for every stage there is{ask}"
        )
    eased = replace(search, dropped=search.dropped | {binding, *_with(binding)})
    left, _ = eased.shortlisted()
    title = QUANTITIES[binding].title
    if left and (again := eased.solved(left)):
        best = min(again, key=lambda one: one.error)
        value = next((one for one in best.findings if one.quantity == binding), None)
        got = "" if value is None or value.value is None else f", which then has {show(value.value, value.unit)}"
        return (
            f"{title} binds: without its limit {_called(best.candidate)} keeps the other levels{got} "
            f"(searched again without it){ask}"
        )
    return f"{title} binds, and leaving its limit out does not help either (searched again without it){ask}"


def _with(quantity: str) -> tuple[str, ...]:
    """Return the quantity that says the same of a line in other words."""
    pair = ("response.impedance", "response.return_loss")
    return pair if quantity in pair else ()


def _called(one: Candidate) -> str:
    guard = "no guard" if one.guard.use is None else f"{one.guard.name} at the {one.guard.place}"
    return f"{one.stage.fitted.part.name} with {guard}"


def _notes(search: Search, builds: Sequence[Build]) -> tuple[str, ...]:
    asked = _asked(search.first)
    if not asked or not builds:
        return ()
    loose = any(name in QUANTITIES for build in builds for name in build.open_)
    held = (
        "not every build keeps its levels over all that is usual" if loose else "the levels hold over all that is usual"
    )
    return (f"{asked[0].upper()}{asked[1:]}: {held}; a reading would {'decide it' if loose else 'open more'}.",)


def _asked(one: LinePlan) -> str:
    """Say what of the source nobody knows and how it is found out; nothing where all is known."""
    source = one.bare.source
    names = [name for name, value in source.values.items() if value.known == "unknown" and name not in source.same]
    told = [
        f"{name.replace('_', ' ')} ({source.part.parameters[name].meaning.partition('. Left out')[0].rstrip('.')})"
        for name in names
    ]
    return f"unknown of the source: {'; '.join(told)}" if told else ""


def build_of(seen: Seen, rank: int, lines: Sequence[LinePlan]) -> Build:
    """Return the record of a build as the full check found it."""
    line = seen.trial.lines[0]
    findings = seen.findings
    margins: dict[str, float | None] = {}
    for found in findings:
        if found.quantity in ("event.margin", "event.part_margin") and found.event is not None and found.needed:
            before = margins.get(found.event, float("inf"))
            low = WITHOUT if found.value is None else found.value
            margins[found.event] = low if before is None else min(before, low)
    yields = [found.yield_ for found in findings if found.yield_ is not None and found.event is None]
    unsure = tuple(
        dict.fromkeys(
            found.event or found.quantity for found in findings if found.needed and found.outcome == NOT_PROVEN
        )
    )
    wrong = [found for found in findings if misses(found) and (found.needed or found.event is None)]
    outcome = DOES_NOT_CONFORM if wrong else NOT_PROVEN if unsure else CONFORMS
    rules = dict.fromkeys((found.event, found.condition) for found in findings if found.condition and found.event)
    return Build(
        rank=rank,
        outcome=outcome,
        stage=seen.candidate.stage.fitted.part.name,
        stage_values={name: _text(value) for name, value in line.stage.values.items()},
        guard=str(line.guard.name or "none"),
        guard_values={name: _text(value) for name, value in line.guard.values.items()},
        white=_spread(findings, "level.white"),
        sync=_spread(findings, "level.sync"),
        impedance=_spread(findings, "response.impedance"),
        yield_=min(yields, default=None),
        margins=dict(sorted(margins.items())),
        level_error=seen.error,
        binding=_binding(findings, margins),
        parts=seen.candidate.parts,
        cost_class=seen.candidate.cost,
        say=_say(seen, lines),
        open_=unsure,
        conditions=tuple(dict.fromkeys(event for event, _ in rules)),
        rules=tuple(dict.fromkeys(text for _, text in rules)),
        own=line.stage.netlist is not None,
    )


def _text(value: object) -> str:
    return value if isinstance(value, str) else str(getattr(value, "text", value))


def _spread(findings: Sequence[Finding], quantity: str) -> Spread | None:
    found = next((one for one in findings if one.quantity == quantity and one.event is None), None)
    if found is None or found.value is None:
        return None
    low, high = found.spread or (found.value, found.value)
    return Spread(found.value, low, high)


def _binding(findings: Sequence[Finding], margins: dict[str, float | None]) -> str:
    """Say what has least to spare."""
    wrong = next((one for one in findings if misses(one) and (one.needed or one.event is None)), None)
    if wrong is not None:
        return f"fails {wrong.event or QUANTITIES[wrong.quantity].title}"
    known = {name: value for name, value in margins.items() if value is not None}
    if known:
        name = min(known, key=lambda one: known[one])
        least = known[name]
        if least <= WITHOUT:
            return f"{name}, no value"
        return f"{name}, {abs(least):.1f} dB {'to spare' if least >= 0.0 else 'short of its strictest rating'}"
    return "no event decides"


def _lower(title: str) -> str:
    """Return a title as it stands inside a sentence: an abbreviation keeps its capitals."""
    return title if title[1:2].isupper() else title[0].lower() + title[1:]


def _say(seen: Seen, lines: Sequence[LinePlan]) -> str:
    """Tell a technician what to solder."""
    return f"On {', '.join(each.name for each in lines)}: {_built(seen)}."


def _built(seen: Seen) -> str:
    """Return a build in bench words: stage with values, guard with its place."""
    one, line = seen.candidate, seen.trial.lines[0]
    part = one.stage.fitted.part
    values = [
        f"{name.replace('_', ' ')} {_text(value)}" for name, value in line.stage.values.items() if name in one.values
    ]
    told = f"{_lower(part.title)} ({part.name})"
    told += f", {', '.join(values)}" if values else ""
    rating = line.stage.values.get("power_rating")
    told += f", resistors of {_text(rating)}" if rating is not None else ""
    if one.guard.fitted is None:
        return f"{told}; no guard"
    side = "at the chip's pin" if one.guard.place == "chip" else "at the connector, the stage between it and the chip"
    own = ", ".join(
        f"{name} {_text(value)}" for name, value in line.guard.values.items() if name in one.guard.resistors
    )
    return f"{told}; {_lower(one.guard.fitted.part.title)} ({one.guard.name}) {side}{f', {own}' if own else ''}"
