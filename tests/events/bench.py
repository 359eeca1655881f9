"""One event on one chain with everything stated: what the worked examples need, without a job's assumptions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from guardcheck.compose import Chain, EventCase, Rail, event_deck
from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.library import Library
from guardcheck.measure import PinWaves, Stress
from guardcheck.model import Fitted, PartUse, Transient, Value
from guardcheck.simulate.fitting import Fitter
from guardcheck.simulate.stress.runs import Seen, seen_of
from guardcheck.units import parse, unit_of

HERE = Path(__file__).parent
STIFF = Rail(5.0, 1.0, 0.0, 1e6)
"""A rail nothing lifts: one farad."""
UNDRIVEN = {"white": "0 V", "impedance": "100 kohm", "capacitance": "10 pF"}
"""A chip's pin whose driver takes no part: only its diodes are left."""
OPEN_JOB = """
format = 1
[unit]
label = "BENCH-2"
[supply]
rail = "5 V"
[display]
input = "terminated"
[cable]
kind = "none"
[[line]]
names = ["red"]
standard = "scart-rgb"
source = "video-pin"
source_values = { white = "1 V", impedance = "1 ohm" }
stage = "pass-through"
"""


@cache
def fitter(models: str | None) -> Fitter:
    """Return a fitter over the library; `models` names a folder here whose device models stand in for its own."""
    library = Library.load(None if models is None else HERE / models)
    return Fitter(parse_job(OPEN_JOB, file=str(HERE / "job.toml")), library)


def fit(kind: str, name: str, values: Mapping[str, str], models: str | None = None) -> Fitted:
    """Return a part of the library with values written as in a job."""
    given: dict[str, Value | str] = {
        key: text if unit_of(text) is None else parse(text, unit_of(text) or "1")[0] for key, text in values.items()
    }
    return fitter(models).fit(PartUse(kind, name, values=given, key=kind))


def chain(
    *,
    source: str = "video-pin",
    source_values: Mapping[str, str] = UNDRIVEN,
    stage: str = "pass-through",
    stage_values: Mapping[str, str] | None = None,
    guard: str | None = None,
    guard_values: Mapping[str, str] | None = None,
    cable: str = "none",
    cable_values: Mapping[str, str] | None = None,
    display: str = "terminated",
    models: str | None = None,
) -> Chain:
    """Return a chain; the display's own capacitance is next to nothing."""
    display_values = {"capacitance": "0.01 pF"} if display == "terminated" else {}
    return Chain(
        line="red",
        guarded=guard is not None,
        source=fit("source", source, source_values, models),
        stage=fit("stage", stage, stage_values or {}, models),
        guard=None if guard is None else fit("guard", guard, guard_values or {}, models),
        cable=fit("cable", cable, cable_values or {}, models),
        display=fit("display", display, display_values, models),
        rail=Value.exact(5.0, "V"),
    )


@dataclass(frozen=True)
class Ran:
    """What one run gave: the pin's waves and stress, and everything else that was seen."""

    seen: Seen

    @property
    def pin(self) -> Stress:
        return self.seen.pins[0].stress

    @property
    def waves(self) -> PinWaves:
        return self.seen.pins[0].waves


def case(
    event: str,
    on: Chain,
    *,
    unit: str = "on",
    mated: str | None = None,
    level: float = 0.0,
    rail: Rail = STIFF,
    step: float | None = None,
    stop: float | None = None,
    models: str | None = None,
    at_pin: bool = False,
    **values: float,
) -> EventCase:
    """Return one run of an event; `values` are its parameters [SI]."""
    fitted = fit("event", event, {}, models)
    plan = fitted.part.plan
    return EventCase(
        chain=on,
        rail=rail,
        event=fitted,
        unit=unit,
        mated=mated or plan.mated[0],
        level=level,
        step=step or plan.step,
        stop=stop or plan.stop,
        edge=plan.step,
        values=values,
        at_pin=at_pin,
    )


def run(engine: Engine, one: EventCase) -> Ran:
    """Run one case; fails the test when it cannot be solved."""
    deck, probes = event_deck(one)
    (trace,) = engine.run([deck])
    assert isinstance(deck.analysis, Transient)
    seen = seen_of(one, deck.analysis.max_step, probes, trace, lasting=one.event.part.plan.lasting)
    assert seen.failure is None, seen.failure
    assert seen.help_used == ()
    return Ran(seen)


def finer(one: EventCase, times: float = 8.0) -> EventCase:
    """Return the same case with a finer step."""
    return replace(one, step=one.step / times, tolerance=one.tolerance / times)


def at(waves: PinWaves, time: float) -> float:
    """Return the pin's current at a time [A]."""
    return float(np.interp(time, waves.time, waves.amps))
