"""What to do at the bench: remedies are tried in the simulator before they are proposed.

The order is what costs least to try: the display's termination, the guard's place, one resistor, a pad, a buffer. A
remedy for a level is only named when every level it gives was simulated and lies inside its limits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from guardcheck.compose import NEAR, Chain, emf_levels, impedance_deck
from guardcheck.engine import Engine
from guardcheck.measure import level_rows
from guardcheck.model import CONFORMS, NOT_PROVEN, REMEDY_TRIED, Finding, Limit, Standard
from guardcheck.simulate.experiment import Experiment
from guardcheck.simulate.levels import solve
from guardcheck.simulate.response import IMPEDANCE_AT, LOAD
from guardcheck.units import format_si
from guardcheck.verdict.outcome import inside

_LOWER = (1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0)
E24 = (*_LOWER, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1)
"""Preferred resistor values (IEC 60063, E24 series; from memory, unverified against the standard's text)."""

AMPLITUDES = ("level.white", "level.sync")
STEADY = "level.blank"
"""What a control line is judged by: it has no amplitude, only a level."""
LEVELS = (*AMPLITUDES, "level.blank", "level.pp", "level.mismatch", "level.headroom", "guard.level_error")
IMPEDANCES = ("response.impedance", "response.return_loss")


@dataclass(frozen=True)
class Trouble:
    """A line that does not conform as built, with what is known of its output.

    `limits` are the amplitudes its standard bounds. `impedance` is the output impedance [ohm] (NaN when not known) and
    `matched` its limit, if the standard has one. `reference_chain` ends in the standard's reference display;
    `display_remedy` is what to do when that alone cures the levels, None when the job's display is that one already.
    """

    experiment: Experiment
    limits: Mapping[str, Limit]
    impedance: float
    matched: Limit | None
    reference_chain: Chain
    display_remedy: str | None

    @property
    def line(self) -> str:
        """Name of the line."""
        return self.experiment.chain.line

    @property
    def main(self) -> str:
        """The amplitude that is brought to its nominal."""
        return next(name for name in (*AMPLITUDES, STEADY) if name in self.limits)

    @property
    def nominal(self) -> float:
        """What that amplitude should be [V]."""
        limit = self.limits[self.main]
        if limit.nominal is not None:
            return limit.nominal
        ends = [end for end in (limit.low, limit.high) if end is not None]
        return sum(ends) / len(ends)


@dataclass(frozen=True)
class Candidate:
    """A change to try: the changed chain, the sentence to print if it helps, the impedance it leaves [ohm]."""

    chain: Chain
    sentence: str
    impedance: float


@dataclass(frozen=True)
class Remedy:
    """What to do about a line's levels, and about its impedance; either may be None."""

    level: str | None = None
    impedance: str | None = None

    def for_(self, quantity: str) -> str | None:
        """Return the remedy owed to one quantity."""
        if quantity in LEVELS:
            return self.level
        return self.impedance if quantity in IMPEDANCES else None


def amplitude_limits(standard: Standard) -> Mapping[str, Limit]:
    """Return the limits a line's amplitude is judged by: white and sync, or the steady level of a control line."""
    names = [name for name in AMPLITUDES if name in standard.limits]
    if not names and not any(name in standard.quantities for name in AMPLITUDES):
        names = [name for name in (STEADY,) if name in standard.limits]
    return {name: standard.limits[name] for name in names}


def preferred(ohms: float) -> float:
    """Return the E24 value nearest to `ohms` by ratio."""
    decade = 10.0 ** np.floor(np.log10(ohms))
    choices = [value * decade * scale for value in E24 for scale in (1.0, 10.0)]
    return float(min(choices, key=lambda choice: abs(np.log(choice / ohms))))


def shown_ohms(value: float) -> str:
    """Return a resistor value as a technician says it."""
    return format_si(float(f"{value:.3g}"), "ohm")


def find(engine: Engine, troubles: Sequence[Trouble]) -> Mapping[str, Remedy]:
    """Return what to do, by line name."""
    troubles = _with_impedance(engine, troubles)
    at_reference = _amplitudes(engine, [(one, one.reference_chain) for one in troubles])
    plans = [
        (one, levels, _candidates(one, levels[one.main]))
        for one, levels in zip(troubles, at_reference, strict=True)
        if levels.get(one.main) is not None
    ]
    tried = [(one, candidate.chain) for one, _, candidates in plans for candidate in candidates]
    answers = iter(_amplitudes(engine, tried))
    remedies: dict[str, Remedy] = {}
    for one, levels, candidates in plans:
        outcomes = [(candidate, next(answers)) for candidate in candidates]
        remedies[one.line] = Remedy(_level_remedy(one, levels, outcomes), _impedance_remedy(one, outcomes))
    return remedies


def _with_impedance(engine: Engine, troubles: Sequence[Trouble]) -> Sequence[Trouble]:
    """Return the troubles with the output impedance filled in where the line's standard does not ask for it."""
    unknown = [one for one in troubles if not np.isfinite(one.impedance)]
    decks = []
    for one in unknown:
        experiment, nominal = one.experiment, one.experiment.builds.nominal()
        emf = emf_levels(experiment.chain, experiment.mapping, experiment.states, nominal)
        decks.append(impedance_deck(experiment.chain, emf[:, :1], nominal, band=IMPEDANCE_AT))
    found = {
        one.line: abs(complex(np.ravel(trace.vectors[f"v({NEAR})"])[0]))
        for one, trace in zip(unknown, engine.run(decks), strict=True)
        if trace.failure is None
    }
    return [replace(one, impedance=found.get(one.line, one.impedance)) for one in troubles]


def _good(one: Trouble, levels: Mapping[str, float]) -> bool:
    return all(name in levels and inside(levels[name], limit) for name, limit in one.limits.items())


def _level_remedy(
    one: Trouble, levels: Mapping[str, float], outcomes: Sequence[tuple[Candidate, Mapping[str, float]]]
) -> str:
    if _good(one, levels) and one.display_remedy is not None:
        return one.display_remedy
    for candidate, found in outcomes:
        if _good(one, found):
            also = f"; also: {one.display_remedy}" if one.display_remedy else ""
            return f"{candidate.sentence} (simulated: {format_si(found[one.main], 'V')}){also}"
    return _by_hand(one, levels)


def _impedance_remedy(one: Trouble, outcomes: Sequence[tuple[Candidate, Mapping[str, float]]]) -> str | None:
    if one.matched is None or not np.isfinite(one.impedance) or inside(one.impedance, one.matched):
        return None
    for candidate, found in outcomes:
        if _good(one, found) and inside(candidate.impedance, one.matched):
            return f"{candidate.sentence} (then {format_si(candidate.impedance, 'ohm')} at the connector)"
    return (
        f"{one.line} leaves the connector at {format_si(one.impedance, 'ohm')}: a buffer stage with its 75-ohm "
        "back-match gives 75 ohm whatever drives it"
    )


def _amplitudes(engine: Engine, cases: Sequence[tuple[Trouble, Chain]]) -> list[Mapping[str, float]]:
    """Return the nominal amplitudes each chain gives at its display [V], without those that were not solved."""
    experiments = [replace(one.experiment, chain=chain, builds=one.experiment.builds.nominal()) for one, chain in cases]
    found: list[Mapping[str, float]] = []
    for group in solve(engine, experiments):
        rows = level_rows(group[0].experiment.states, group[0].volts)
        found.append(
            {
                name: float(rows[name][0])
                for name in (*AMPLITUDES, STEADY)
                if name in rows and np.isfinite(rows[name][0])
            }
        )
    return found


def _candidates(one: Trouble, level: float) -> list[Candidate]:
    """Return the changes worth trying: another place for the guard, then resistors from the Thevenin equivalent."""
    return [*_elsewhere(one), *(_resistors(one, level) if np.isfinite(one.impedance) else [])]


def _elsewhere(one: Trouble) -> list[Candidate]:
    """Return the chain with its guard in each other place it can take."""
    chain = one.reference_chain
    if chain.guard is None or "place" not in chain.guard.part.parameters:
        return []
    here = chain.guard.words.get("place")
    return [
        Candidate(
            replace(chain, guard=replace(chain.guard, words={**chain.guard.words, "place": place})),
            f"move the guard of {one.line} from the {here} side to the {place} side",
            one.impedance,
        )
        for place in chain.guard.part.parameters["place"].choices
        if place != here
    ]


def _resistors(one: Trouble, level: float) -> list[Candidate]:
    """Return the single resistor and the pad that bring the level to its nominal at the reference display."""
    source, nominal = one.impedance, one.nominal
    if level <= nominal:
        return []
    series = level / nominal * (LOAD + source) - LOAD - source
    emf = level * (LOAD + source) / LOAD
    ratio = 2.0 * nominal / emf
    single = [_series(one, preferred(series))] if series > 1.0 else []
    pad: list[Candidate] = []
    if ratio < 1.0 and LOAD / ratio - source > 1.0:
        first, second = preferred(LOAD / ratio - source), preferred(LOAD / (1.0 - ratio))
        pad.append(
            Candidate(
                replace(one.reference_chain, series=first, shunt=second),
                f"fit {shown_ohms(first)} in series with {one.line} and {shown_ohms(second)} from its connector pin "
                "to 0 V",
                1.0 / (1.0 / (source + first) + 1.0 / second),
            )
        )
    fits = one.matched is None or (bool(single) and inside(single[0].impedance, one.matched))
    return [*single, *pad] if fits else [*pad, *single]


def _series(one: Trouble, value: float) -> Candidate:
    chain = replace(one.reference_chain, series=value)
    return Candidate(chain, f"fit {shown_ohms(value)} in series with {one.line}", one.impedance + value)


def _by_hand(one: Trouble, levels: Mapping[str, float]) -> str:
    """Return the advice when nothing that was tried brings every level inside."""
    level, nominal, line = levels[one.main], one.nominal, one.line
    fine = [
        name.removeprefix("level.")
        for name, limit in one.limits.items()
        if name in levels and inside(levels[name], limit)
    ]
    wrong = [name.removeprefix("level.") for name in one.limits if name.removeprefix("level.") not in fine]
    if fine and wrong:
        return (
            f"{' and '.join(fine)} of {line} is right, {' and '.join(wrong)} is not: something clips one end of the "
            "signal; check the stage's bias and the guard"
        )
    if not wrong:
        return (
            f"the levels of {line} are right, but the signal leaves no room before it clips: shift its bias away from "
            "the end it meets, raise the rail, or lower the signal"
        )
    if level <= 0.0:
        return f"no signal of the right polarity reaches the display on {line}: check the stage and the source's levels"
    if level > nominal:
        return f"{line} is {level / nominal:.2g} times too high: lower it before it reaches the display"
    return (
        f"{line} is {nominal / level:.2g} times too low: less resistance in its path or a buffer stage with gain would "
        "raise it; plan the change and check it again"
    )


def attach(
    findings: Sequence[Finding], remedies: Mapping[str, Remedy], fallback: Callable[[Finding], str | None]
) -> tuple[Finding, ...]:
    """Return the findings with remedies filled in where one is owed."""
    out = []
    for one in findings:
        text, codes = one.remedy, one.codes
        if text is None and one.needed and one.outcome != CONFORMS:
            if one.outcome != NOT_PROVEN:
                text = remedies.get(one.line or "", Remedy()).for_(one.quantity)
            codes = (*codes, REMEDY_TRIED) if text else codes
            text = text or fallback(one)
        out.append(one if text is None else replace(one, remedy=text, codes=codes))
    return tuple(out)
