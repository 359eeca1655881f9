"""A plan simulated and held against every rule: what `check` prints, and what a remedy or a proposal is measured by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from guardcheck.compose import Chain
from guardcheck.engine import Engine
from guardcheck.model import Condition, Facts, Finding, Line, Quantity, Standard
from guardcheck.rules import asks_of, judge_all
from guardcheck.simulate.batch import both
from guardcheck.simulate.comparison import Solved, guard_errors, mismatches
from guardcheck.simulate.display import line_rates, sync_quantities
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.mating import Mating, half_declared, mating_of, mating_quantities, wrong_sockets
from guardcheck.simulate.planning import JobPlan, LinePlan
from guardcheck.simulate.probes import answer
from guardcheck.simulate.rest import unsettled
from guardcheck.simulate.signal import solve_signals
from guardcheck.simulate.sourcing import source_quantities
from guardcheck.simulate.stress.events import EventResults, event_results


@dataclass(frozen=True)
class Appraisal:
    """What was simulated of a plan, the facts made of it, and the findings of every rule.

    `mating` is what is plugged into what, `conditions` are the conditions of use that follow from it.
    """

    solved: tuple[Solved, ...]
    events: EventResults
    facts: Facts
    findings: tuple[Finding, ...]
    mating: Mating | None = None
    conditions: tuple[Condition, ...] = ()


def appraise(engine: Engine, plan: JobPlan, *, events: bool = True, deciding: bool = False) -> Appraisal:
    """Return what every rule finds in a plan.

    Parameters
    ----------
    engine : a running engine
    plan : the job with its lines fitted
    events : whether the stress events are simulated; without them nothing is said of what the pins survive
    deciding : leaves out what decides nothing (curves, and whatever a guarded line is like without its guard), for
        plans that are only tried

    """
    experiments = [
        _compared(one, chain) if deciding and chain is not one.as_built else one.experiment(chain)
        for one in plan.lines
        for chain in one.chains
        if not chain.missing
    ]
    gaps = [gap for one in plan.lines for chain in one.chains if chain.missing for gap in _gaps(chain, one.standard)]
    job = plan.job

    def signals() -> tuple[tuple[Solved, ...], list[Quantity]]:
        solved = solve_signals(engine, experiments, drawn=not deciding)
        return solved, [*guard_errors(engine, solved), *mismatches(job, solved), *sync_quantities(solved)]

    def stress() -> EventResults:
        return event_results(engine, plan, deciding=deciding) if events else EventResults()

    (solved, compared), stressed = both(engine, signals, stress)
    why = {(one.experiment.chain.line, one.experiment.chain.guarded): one.unrest for one in solved if one.unrest}
    mating = mating_of(job, plan.library, solved)
    conditions = () if mating is None else wrong_sockets(engine, plan.library, mating)
    facts = Facts(
        quantities=(
            *(quantity for one in solved for quantity in one.quantities),
            *compared,
            *line_rates(plan.standards.values()),
            *source_quantities(engine, [_read(one) for one in plan.lines if not one.bare.missing], plan.library),
            *(half_declared(job) if mating is None else mating_quantities(engine, mating)),
            *gaps,
            *(settled for one in stressed.quantities for settled in _resting(one, why)),
        ),
        limits={name: standard.limits for name, standard in plan.standards.items()},
        guarded_lines=frozenset(line.name for line in job.lines if line.has_guard),
        declared=job.facts,
        supply=job.supply,
        display=job.display_facts,
        settings=job.settings,
        forbids=job.forbids,
    )
    facts = replace(facts, answers=answer(engine, plan.library, asks_of(facts)))
    return Appraisal(solved, stressed, facts, judge_all(facts), mating, conditions)


def _compared(one: LinePlan, chain: Chain) -> Experiment:
    """Return the experiment of a chain that another is only compared with: its levels, and no quantity of its own."""
    return replace(one.experiment(chain), standard=replace(one.standard, quantities=()))


def _read(one: LinePlan) -> tuple[Line, Chain, float]:
    """Return a line, its bare chain and the level that was read at its pin: white, or the highest there is."""
    mapping, source = one.bare.source.part.states[one.standard.signal], one.bare.source
    names = [mapping["white"]] if "white" in mapping else list(mapping.values())
    levels = [source.values[source.same.get(name, name)].nominal for name in names]
    return one.line, one.bare, max(levels)


def _resting(one: Quantity, why: Mapping[tuple[str, bool], str]) -> tuple[Quantity, ...]:
    """Return an event's quantity, proving nothing where the line did not rest before the event."""
    return unsettled((one,), None if one.guarded is None else why.get((one.line, one.guarded)))


def _gaps(chain: Chain, standard: Standard) -> list[Quantity]:
    """Return the quantities no simulation can give, because a part of the chain is unknown."""
    why = f"{', '.join(chain.missing)} is unknown and has no usual range to judge it by"
    return [
        Quantity(name, chain.line, chain.guarded, None, failure=why)
        for name in standard.quantities
        if name.split(".")[0] in ("level", "response", "guard") and (chain.guarded or not name.startswith("guard."))
    ]
