"""What to do at the bench: remedies are tried in the simulator before they are proposed.

The order is what costs least to try: the display's termination, then one resistor, then a pad, then a buffer. A
remedy is only named when the level it gives was simulated and lies inside the limits.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from guardcheck.compose import Chain
from guardcheck.engine import Engine
from guardcheck.measure import level_rows
from guardcheck.model import CONFORMS, NOT_PROVEN, Finding, Limit
from guardcheck.pipeline.levels import Experiment, solve
from guardcheck.pipeline.studies import LOAD
from guardcheck.units import format_si
from guardcheck.verdict import inside

E24 = (
    1.0,
    1.1,
    1.2,
    1.3,
    1.5,
    1.6,
    1.8,
    2.0,
    2.2,
    2.4,
    2.7,
    3.0,
    3.3,
    3.6,
    3.9,
    4.3,
    4.7,
    5.1,
    5.6,
    6.2,
    6.8,
    7.5,
    8.2,
    9.1,
)
"""Preferred resistor values (IEC 60063, E24 series; from memory, unverified against the standard's text)."""

AMPLITUDES = ("level.white", "level.sync")
REPAIRABLE = (*AMPLITUDES, "level.blank", "level.pp", "level.mismatch", "response.impedance", "response.return_loss")


@dataclass(frozen=True)
class Trouble:
    """A line whose level does not conform as built, with what is known of its output.

    `quantity` is the amplitude that decides, `impedance` the output impedance [ohm], `matched` whether the standard
    limits it. `reference_chain` ends in the standard's reference display; `display_remedy` is what to do when that
    alone cures the level, None when the job's display is that one already.
    """

    experiment: Experiment
    quantity: str
    limit: Limit
    impedance: float
    matched: bool
    reference_chain: Chain
    display_remedy: str | None


@dataclass(frozen=True)
class Candidate:
    """A change to try: the changed chain and the sentence to print if it helps."""

    chain: Chain
    sentence: str


def preferred(ohms: float) -> float:
    """Return the E24 value nearest to `ohms` by ratio."""
    decade = 10.0 ** np.floor(np.log10(ohms))
    choices = [value * decade * scale for value in E24 for scale in (1.0, 10.0)]
    return float(min(choices, key=lambda choice: abs(np.log(choice / ohms))))


def ohms(value: float) -> str:
    """Return a resistor value as a technician says it."""
    return format_si(float(f"{value:.3g}"), "ohm")


def find(engine: Engine, troubles: Sequence[Trouble]) -> Mapping[str, str]:
    """Return a remedy sentence by line name, for the lines one was found for."""
    levels = _amplitudes(engine, [(one, one.reference_chain) for one in troubles])
    remedies: dict[str, str] = {}
    open_cases: list[tuple[Trouble, list[Candidate]]] = []
    for one, level in zip(troubles, levels, strict=True):
        line = one.experiment.chain.line
        if level is None:
            continue
        if one.display_remedy is not None and inside(level, one.limit):
            remedies[line] = one.display_remedy
        elif one.limit.nominal is not None:
            open_cases.append((one, _candidates(one, level)))
            remedies[line] = _by_hand(one, level)
    tried = [(one, candidate.chain) for one, candidates in open_cases for candidate in candidates]
    outcomes = iter(_amplitudes(engine, tried))
    for one, candidates in open_cases:
        results = [(candidate, next(outcomes)) for candidate in candidates]
        for candidate, level in results:
            if level is not None and inside(level, one.limit):
                shown = format_si(level, "V")
                also = f"; also: {one.display_remedy}" if one.display_remedy else ""
                remedies[one.experiment.chain.line] = f"{candidate.sentence} (simulated: {shown}){also}"
                break
    return remedies


def _amplitudes(engine: Engine, cases: Sequence[tuple[Trouble, Chain]]) -> list[float | None]:
    """Return the nominal amplitude each chain gives at its display [V], None where it could not be solved."""
    if not cases:
        return []
    experiments = [replace(one.experiment, chain=chain, builds=one.experiment.builds.nominal()) for one, chain in cases]
    found: list[float | None] = []
    for (one, _), group in zip(cases, solve(engine, experiments), strict=True):
        rows = level_rows(group[0].experiment.states, group[0].volts)
        value = float(rows[one.quantity][0]) if one.quantity in rows else float("nan")
        found.append(value if np.isfinite(value) else None)
    return found


def _candidates(one: Trouble, level: float) -> list[Candidate]:
    """Return the resistors worth trying, computed from the output's Thevenin equivalent at the reference display."""
    nominal, line, source = one.limit.nominal, one.experiment.chain.line, one.impedance
    assert nominal is not None
    if level <= nominal or not np.isfinite(source):
        return []
    series = level / nominal * (LOAD + source) - LOAD - source
    candidates = []
    if series > 1.0 and (not one.matched or abs(series + source - LOAD) < LOAD / 4):
        candidates.append(_series(one, preferred(series), line))
    emf = level * (LOAD + source) / LOAD
    ratio = 2.0 * nominal / emf
    if ratio < 1.0 and LOAD / ratio - source > 1.0:
        first, second = preferred(LOAD / ratio - source), preferred(LOAD / (1.0 - ratio))
        chain = replace(one.reference_chain, series=first, shunt=second)
        candidates.append(
            Candidate(
                chain,
                f"fit {ohms(first)} in series with {line} and {ohms(second)} from its connector pin to 0 V",
            )
        )
    if series > 1.0:
        candidates.append(_series(one, preferred(series), line))
    return candidates


def _series(one: Trouble, value: float, line: str) -> Candidate:
    return Candidate(replace(one.reference_chain, series=value), f"fit {ohms(value)} in series with {line}")


def _by_hand(one: Trouble, level: float) -> str:
    """Return the advice when no resistor that was tried brings the level inside."""
    nominal, line = one.limit.nominal, one.experiment.chain.line
    assert nominal is not None
    if level <= 0.0:
        return f"no signal of the right polarity reaches the display on {line}; check the stage and the source's levels"
    if level > nominal:
        return f"{line} is {level / nominal:.2g} times too high: lower it before it reaches the display"
    wanted = (LOAD + one.impedance) * level / nominal - LOAD
    if np.isfinite(one.impedance) and wanted >= (0.8 * LOAD if one.matched else 0.0):
        return f"take about {ohms(one.impedance - wanted)} out of the series path of {line}"
    return f"{line} is {nominal / level:.2g} times too low and has no level to spare: use a buffer stage with gain"


def attach(
    findings: Sequence[Finding], remedies: Mapping[str, str], fallback: Callable[[Finding], str | None]
) -> tuple[Finding, ...]:
    """Return the findings with remedies filled in where one is owed."""
    out = []
    for one in findings:
        text = one.remedy
        if text is None and one.needed and one.outcome != CONFORMS:
            if one.outcome == NOT_PROVEN or one.quantity not in REPAIRABLE:
                text = fallback(one)
            else:
                text = remedies.get(one.line or "") or fallback(one)
        out.append(one if text is None else replace(one, remedy=text))
    return tuple(out)
