"""Quantities of one line, the findings made of them, and the result a report is rendered from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from guardcheck.model.deck import EngineInfo
from guardcheck.model.schematic import Schematic
from guardcheck.model.standard import Limit

CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, NOT_APPLICABLE = (
    "conforms",
    "does_not_conform",
    "not_proven",
    "not_applicable",
)
OUTCOMES = (CONFORMS, DOES_NOT_CONFORM, NOT_PROVEN, NOT_APPLICABLE)
BETTER, SAME, WORSE = "better", "same", "worse"
"""How a mod takes an event, held against the original build of the same line."""
FORBIDDEN = "forbidden"
"""Kind of a condition the workshop set itself; the other is the use ``mistake``."""
SIMULATED, MEASURED, DECLARED_ORIGIN, COMPUTED = "simulated", "measured", "declared", "computed"
ASKS = "asks-"
"""How the codes begin that name, by its key in the job, a fact whose answer may decide the finding."""
SHORT_CIRCUIT = f"{ASKS}pin.short_circuit"
"""Code of a finding that hangs on the current at which its line's driver gives way."""
UNKNOWN_OF = "unknown-"
"""How the codes begin that tell what a finding hangs on and nobody knows: ``unknown-source``, ``unknown-load``."""
NOT_MEASURED = "Nothing was measured: every level is simulated from what the job file declares."
"""What a check leaves open until readings are joined with it."""
RATING_NOT_STATED = "rating-not-stated"
"""Code of a finding judged against bounds of many data sheets, because nobody stated the pin's own rating."""
PART_NOT_RATED = "part-not-rated"
"""Code of a finding that hangs on what a part of an own netlist may take, because nobody stated that."""

REMEDY_TRIED = "remedy-tried"
"""Code of a finding whose remedy was simulated to the end in the job's own netlist."""


def unknown_codes(names: Iterable[str]) -> tuple[str, ...]:
    """Return the codes of declared unknowns named ``role parameter``, each once: ``unknown-source`` ..."""
    return tuple(dict.fromkeys(f"{UNKNOWN_OF}{name.split()[0]}" for name in names))


@dataclass(frozen=True, slots=True)
class Bearing:
    """What a margin rests on: a stress, and what of it is allowed, its strictest and its loosest bound [`unit`].

    The bounds differ where nobody stated the rating; `allowed` None means that nobody knows any. `part` is whose stress
    it is, as the picture of the line calls it (``guard upper diode``) or `RAIL_PART`, empty for the chip's own pin.
    `harm` marks bounds of what would be harm, where nobody knows of one that would hold.
    """

    stress: float
    allowed: tuple[float, float] | None
    unit: str
    part: str = ""
    harm: bool = False

    @property
    def open(self) -> bool:
        """Tell whether nobody stated the rating: then what is allowed is a range."""
        return self.allowed is None or self.allowed[0] != self.allowed[1]


RAIL_PART = "rail"
"""Whose stress it is where the supply rail is lifted."""


@dataclass(frozen=True)
class Quantity:
    """One quantity of one line as simulated, measured, declared or computed [SI].

    `value` None means there is none; then `failure` says why. `spread` is the worst case of the declared tolerances,
    `samples` the seeded samples, shape ``(n_samples,)`` (NaN for a sample that failed). `unknowns` names declared
    unknowns judged over their usual range. `uncertainty` is expanded, k = 2. `bound` is set when a measurement shows
    one side only: ``at_least`` (the true value is no lower: it can fail high, never conform), ``at_most`` the reverse.
    `against_original` holds it against the original build of its line, `original` and `original_spread` being that
    one's value and spread. `needed` false marks a quantity that is shown and decides nothing. `use` says what brings
    its event about, and `condition` is the rule of use that avoids it. `bearing` is what a margin rests on. `codes` say
    for programs what the sentences say for people: no decision is read out of prose.
    """

    name: str
    line: str
    guarded: bool | None
    value: float | None
    spread: tuple[float, float] | None = None
    samples: NDArray[np.float64] | None = None
    origin: str = SIMULATED
    uncertainty: float | None = None
    failure: str | None = None
    unknowns: tuple[str, ...] = ()
    limit: Limit | None = None
    pictures: tuple[float, float] | None = None
    event: str | None = None
    severity: str | None = None
    where: str | None = None
    estimate: bool = False
    notes: tuple[str, ...] = ()
    bound: str | None = None
    needed: bool = True
    use: str | None = None
    condition: str | None = None
    against_original: str | None = None
    original: float | None = None
    original_spread: tuple[float, float] | None = None
    codes: tuple[str, ...] = ()
    bearing: Bearing | None = None


@dataclass(frozen=True)
class Finding:
    """One quantity of one line, bare or guarded, held against one limit: a row of the result contract.

    `kind` is a key of `CLAIMS`, empty until the rule's own is filled in. `use` is ``daily``, ``mistake`` or ``strike``
    for an event; `condition` is the rule of use that stands in its place where it does not conform, and then it decides
    nothing. `against_original` holds it against the original build of the line, whose value is `original`. `bearing` is
    what a margin rests on. `codes` name what stands behind its reason (``unknown-source``, ``rating-not-stated``):
    advice is chosen by them, never by words of a sentence. What it was held against is its `limit` alone.
    """

    rule: str
    quantity: str
    line: str | None
    guarded: bool | None
    value: float | None
    unit: str
    outcome: str
    why: str
    needed: bool = True
    limit: Limit | None = None
    spread: tuple[float, float] | None = None
    interval: tuple[float, float] | None = None
    yield_: float | None = None
    uncertainty: float | None = None
    origin: str = SIMULATED
    planned: float | None = None
    estimate: bool = False
    remedy: str | None = None
    event: str | None = None
    severity: str | None = None
    where: str | None = None
    kind: str = ""
    use: str | None = None
    condition: str | None = None
    against_original: str | None = None
    original: float | None = None
    codes: tuple[str, ...] = ()
    bearing: Bearing | None = None

    @property
    def low(self) -> float | None:
        """Return the lower bound it was held against [`unit`], None for none."""
        return None if self.limit is None else self.limit.low

    @property
    def high(self) -> float | None:
        """Return the upper bound it was held against [`unit`], None for none."""
        return None if self.limit is None else self.limit.high

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """Return both bounds it was held against [`unit`]."""
        return self.low, self.high

    @property
    def reference(self) -> str | None:
        """Return where its limit comes from and how that is known, None without a limit."""
        return None if self.limit is None else self.limit.cited()

    @property
    def id(self) -> str:
        """Return ``rule/line/bare|guarded/quantity[/event/severity][/where]``; parts that are None are left out."""
        state = {True: "guarded", False: "bare", None: None}[self.guarded]
        parts = (self.rule, self.line, state, self.quantity, self.event, self.severity, self.where)
        return "/".join(part for part in parts if part is not None)


@dataclass(frozen=True)
class Curve:
    """One drawn line: waveform, response or sample histogram, with the band a limit allows [SI]."""

    line: str
    guarded: bool | None
    picture: str
    label: str
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    x_unit: str
    y_unit: str
    band: tuple[float | None, float | None] | None = None
    band_label: str = ""
    marks: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CircuitUsed:
    """A file that took part in the result, by name, path as found and content hash."""

    name: str
    kind: str
    file: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Condition:
    """A rule of use the mod is handed over with: which event it keeps away, from which lines.

    `kind` is ``mistake``, or ``forbidden`` where the workshop set it.
    """

    event: str
    text: str
    lines: tuple[str, ...]
    kind: str


@dataclass(frozen=True, slots=True)
class Question:
    """What an answer is still owed: the fact by its key, where to find it, and the findings it decides.

    `safe` false: only a person trained for it may find it out.
    """

    key: str
    question: str
    where: str
    decides: int
    findings: tuple[str, ...]
    safe: bool = True


@dataclass(frozen=True)
class Result:
    """Everything a report needs; nothing in it can run anything. `guardcheck` is the version that judged it.

    `conditions` are the rules of use it is handed over with, `asks` what is still to be found out, that which decides
    most first.
    """

    command: str
    unit: str
    unit_kind: str
    outcome: str
    seed: int
    n_samples: int
    engine: EngineInfo | None
    findings: tuple[Finding, ...]
    circuits: tuple[CircuitUsed, ...]
    curves: tuple[Curve, ...] = ()
    schematics: tuple[Schematic, ...] = ()
    warnings: tuple[str, ...] = ()
    not_examined: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    plan: tuple[tuple[str, str, str], ...] = ()
    conditions: tuple[Condition, ...] = ()
    asks: tuple[Question, ...] = ()
    job_file: str = ""
    job_sha256: str = ""
    guardcheck: str = ""
    extra: Mapping[str, Any] = field(default_factory=dict)
