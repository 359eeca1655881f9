"""Raw values of a capture into quantities: scaled to 100 % white into 75 ohm, each with its uncertainty budget."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.found import NO_SYNC, Content, Found, Raw
from guardcheck.measure.readings.evaluate import (
    Circumstances,
    bound_words,
    picture_share,
    termination_rows,
    to_load,
)
from guardcheck.measure.readings.instruments import STATED, presumed
from guardcheck.measure.readings.records import AMPLITUDES, AT_LEAST, AT_MOST, DIRECT
from guardcheck.metrology import Accuracy, Budget, Contribution, parse_accuracy
from guardcheck.model import MEASURED, QUANTITIES, Quantity

NAMES = (
    "level.white",
    "level.black",
    "level.blank",
    "level.sync",
    "level.pp",
    "level.high",
    "level.low",
    "response.field_tilt",
    "response.line_tilt",
    "response.overshoot",
    "timing.line_period",
    "timing.sync_width",
    "timing.front_porch",
    "timing.back_porch",
    "timing.sync_fall",
    "timing.sync_rise",
    "timing.picture_rise",
    "timing.burst_start",
    "burst.amplitude",
    "burst.frequency",
    "noise.rms",
    "noise.hum",
    "picture.bars",
)
"""Every quantity a capture can give."""

BARS = ("bars-100", "bars-75")
"""Pictures whose steps tell which line is which."""
HIDDEN = (
    "it was captured on AC coupling, which hides the direct voltage; set the scope to DC coupling and capture again"
)
TILTED = "it was captured on AC coupling, which tilts a field by itself: set the scope to DC and capture again"

WHITE_FIELD = 35.0 / 64.0
"""Least length of a white field as a share of the line: of 52 us in 64 a console fills at least some 40, bars 26."""

FULL_WHITE_BAR = (0.55, 0.80)
"""Next lower level over white where bars of 75 % hold a white bar of 100 % (0.75 in R, G, B, 0.664 in luma; all bars
at 75 % give 0.886 in luma and 0 in R, G, B: ITU-R BT.471 notation 100/0/75/0 against 75/0/75/0)."""

DIFFERENCE = -0.5
"""Darkest over brightest, both from blanking, below which bars are a colour difference: -1 there, 0 on other lines."""

BY_THEMSELVES = ("timing.line_period", "timing.sync_fall", "timing.sync_rise", "timing.picture_rise")
"""Times whose own error holds all there is: no two half-amplitude points are taken from each other."""

FLAT_ONLY = ("response.line_tilt", "response.overshoot")
SLOW = (*DIRECT, "response.field_tilt")
"""What a scope's own coupling capacitor hides or bends."""
_VOLTS = (*AMPLITUDES, *DIRECT)


@dataclass(frozen=True)
class Settings:
    """What is known beside the samples.

    `picture`, `place`, `load`, `coupling` and `scale_at` are the words of a readings file; `accuracy` is the
    oscilloscope's, `timebase`, `probe_tolerance` and `termination` are fractions; None takes the presumed figures (no
    probe, for the probe). `probe` is an attenuation, `division` the vertical scale and `offset` the voltage in the
    middle of the screen [V], both as the samples count. `component` is what the line carries, by its name.
    """

    line: str = ""
    guarded: bool | None = None
    picture: str | None = None
    place: str | None = None
    load: str | None = None
    accuracy: Accuracy | None = None
    timebase: float | None = None
    probe_tolerance: float | None = None
    termination: float | None = None
    coupling: str | None = None
    probe: float | None = None
    scale_at: str | None = None
    division: float | None = None
    offset: float | None = None
    component: str | None = None
    circumstances: Circumstances = field(default_factory=Circumstances)


def nothing(name: str, reason: str, case: Settings) -> Quantity:
    """Return a quantity without value, and why.

    Parameters
    ----------
    name : of the quantity
    reason : why there is no value, as a sentence
    case : the capture it would be of

    """
    return Quantity(name, case.line, case.guarded, None, origin=MEASURED, failure=reason)


def to_quantities(
    found: Found,
    resolution: float,
    step: float,
    volts: NDArray[np.floating],
    case: Settings,
    *,
    sign: int,
) -> tuple[tuple[Quantity, ...], Mapping[str, Budget]]:
    """Return every quantity of `NAMES` with its budget, if it has a value.

    Parameters
    ----------
    found
        the raw values
    resolution
        the trace's voltage step [V], 0 when none was found
    step
        sample interval [s]
    volts
        the samples, for the height of the screen
    case
        what is known beside them
    sign
        -1 for an inverted line: its amplitudes count as negative

    """
    bench = _Bench(found, resolution, step, float(volts.max()) - float(volts.min()), case)
    raw = dict(found.raw)
    raw.setdefault("noise.rms", Raw(found.noise, found.noise / math.sqrt(2.0 * found.lines)))
    quantities: list[Quantity] = []
    budgets: dict[str, Budget] = {}
    for name in NAMES:
        one = raw.get(name) or Raw(None, failure="not found")
        if name == "level.pp":
            quantity, budget = _peak_to_peak(found, quantities, budgets, bench)
        elif one.value is None:
            quantity, budget = nothing(name, one.failure or "not found", case), None
        else:
            quantity, budget = _one(name, one, bench, raw, sign)
        quantities.append(quantity)
        if budget is not None:
            budgets[name] = budget
    return tuple(quantities), budgets


@dataclass(frozen=True)
class _Bench:
    """The instrument's share of the uncertainty."""

    found: Found
    resolution: float
    step: float
    span: float
    case: Settings

    @property
    def averaged(self) -> str:
        """What the scatter was seen over."""
        return f"{self.found.lines} {self.found.counted} averaged"

    def volts(self, name: str, value: float, error: float) -> list[Contribution]:
        """Return the rows of a voltage: gain, quantisation, probe, scatter; offset for a level against 0 V.

        What is stated of the instrument is one bound, as for a typed reading. Only of noise and hum an offset is no
        part, as long as the statement says anything else.
        """
        scope, case = presumed()["scope"], self.case
        stated = case.accuracy
        accuracy = stated or parse_accuracy(scope["accuracy"].text, "V")
        source = STATED if stated else scope["accuracy"].cited()
        division, count = self.division()
        if name.startswith("noise.") and (accuracy.of_reading or accuracy.of_range or accuracy.counts):
            accuracy = replace(accuracy, absolute=0.0, divisions=0.0)
        half = accuracy.half_width(value, count=count, full_scale=8 * division, division=division)
        rows = [Contribution("accuracy", half or 0.0, source=source)]
        rounding, seen = self.rounding()
        if name in DIRECT:
            if not (accuracy.divisions or accuracy.absolute):
                offset = parse_accuracy(scope["offset"].text, "V")
                absolute = offset.divisions * division + offset.absolute
                rows.append(Contribution("offset", absolute, source=scope["offset"].cited()))
            rows.append(Contribution("wander", self.found.drift, "normal", source="seen from line to line"))
        ends = 1 if name in (*DIRECT, "noise.rms") else 2
        rows += [Contribution("quantisation", rounding, source=seen)] * ends
        share, known = self.probe()
        if share:
            rows.append(Contribution("probe", share * abs(value), source=known))
        rows.append(Contribution("scatter", error, "normal", source=self.averaged))
        return rows

    def division(self) -> tuple[float, float]:
        """Return a division of the screen and a step of the converter [V].

        Where nobody says the scale, a division is 32 steps of 8 bits; but a trace is not higher than eight of them,
        whatever finer steps a better converter makes. Without steps it is taken to fill four.
        """
        seen = max(32 * self.resolution, self.span / 8) if self.resolution else self.span / 4
        division = self.case.division or seen
        return division, self.resolution or division / 32

    def probe(self) -> tuple[float, str]:
        """Return the probe's tolerance as a fraction, 0 for a direct connection, and where it comes from."""
        case, usual = self.case, presumed()["scope"]["probe"]
        if case.probe_tolerance is not None:
            return case.probe_tolerance, STATED
        if case.probe in (None, 1.0):
            return 0.0, ""
        return parse_accuracy(usual.text, "V").of_reading, usual.cited()

    def rounding(self) -> tuple[float, str]:
        """Return how far the mean of rounded samples may lie from the truth [V], and where the step is known from.

        Noise smooths the steps of a converter: the worst mean error of a quantiser with step q, q / 2 without noise,
        is below q / 2 * exp(-2 pi^2 s^2 / q^2) under Gaussian noise of rms s; no converter's steps are more even than
        to a hundredth. A trace without visible steps has been averaged or rescaled; it still came from a converter.
        """
        scope = presumed()["scope"]
        q, source = self.resolution, "steps seen in the trace"
        if not q:
            q = 2 * self.span / 2 ** int(scope["bits"].text)
            source = f"no steps seen in the trace, {scope['bits'].cited()}, half of it used"
        return max(0.5 * q * math.exp(-2.0 * (math.pi * self.found.noise / q) ** 2), 0.01 * q), source

    def ratio(self, error: float, height: float) -> list[Contribution]:
        """Return the rows of a share of the picture's height [V]: there the gain drops out."""
        rounding, source = self.rounding()
        return [
            Contribution("scatter", error, "normal", source=self.averaged),
            Contribution("quantisation", rounding / max(height, 1e-3), source=source),
        ]

    def seconds(self, value: float, error: float) -> list[Contribution]:
        """Return the rows of a time or a frequency."""
        scope, stated = presumed()["scope"]["timebase"], self.case.timebase
        share = parse_accuracy(scope.text, "s").of_reading if stated is None else stated
        source = scope.cited() if stated is None else STATED
        return [
            Contribution("time base", share * abs(value), source=source),
            Contribution("scatter", error, "normal", source=self.averaged),
        ]


def _one(name: str, raw: Raw, bench: _Bench, others: Mapping[str, Raw], sign: int) -> tuple[Quantity, Budget | None]:
    value, case, unit = float(raw.value or 0.0), bench.case, QUANTITIES[name].unit
    level = _Level(value, None, [])
    if name in _VOLTS:
        found = _level(name, value, raw.error, bench, others)
        if isinstance(found, str):
            return nothing(name, found, case), None
        level = found
        if sign == -1 and name in ("level.white", "level.black", "level.sync"):
            if not bench.found.has_picture:
                reason = "sync goes positive; the standard's amplitude is that of negative sync"
                return nothing(name, reason, case), None
            level = level.turned()
    elif unit in ("s", "Hz"):
        level.rows.extend(bench.seconds(value, raw.error))
        if unit == "s" and name not in BY_THEMSELVES:
            level.rows.append(Contribution("half-amplitude level", _edge_time(bench), source="sampling of the edges"))
    elif unit == "V":  # hum, which moves with the supply whatever the load
        level.rows.extend(bench.volts(name, value, raw.error))
    else:
        level.rows.extend(bench.ratio(raw.error, abs(others["level.white"].value or others["level.sync"].value or 0.0)))
    budget = Budget(name, unit, tuple(row for row in level.rows if row.half_width > 0))
    quantity = Quantity(
        name,
        case.line,
        case.guarded,
        level.value,
        origin=MEASURED,
        uncertainty=budget.expanded,
        failure=raw.failure or _doubt(name, case.picture, bench.found.content) or _coupled(name, case),
        unknowns=(*level.unknowns, *_undeclared(name, case)),
        notes=level.notes if raw.note is None else (raw.note, *level.notes),
        bound=level.bound or raw.bound,
    )
    return quantity, budget


def _coupled(name: str, case: Settings) -> str | None:
    """Say what the scope's own coupling capacitor hides, None where it hides nothing."""
    if case.coupling != "ac" or name not in SLOW:
        return None
    return TILTED if name == "response.field_tilt" else HIDDEN


def _undeclared(name: str, case: Settings) -> tuple[str, ...]:
    """Return what must be declared before a quantity proves anything: the scope's coupling, for slow ones."""
    return ("coupling",) if case.coupling is None and name in SLOW else ()


def _doubt(name: str, picture: str | None, content: Content) -> str | None:
    """Say why a value may be the picture's own content, None when it may not."""
    if name in ("level.white", "level.pp") and picture not in (None, "other") and content.mixed:
        return (
            "its lines are not alike, as those of a white field or of bars are, and no field sync stands in it: what is"
            " bright may be pulses that follow field sync. Capture a whole field"
        )
    if name == "level.white" and picture not in (None, "other"):
        if content.uneven:
            return "the picture differs from line to line; it is not the plain one declared"
        least = WHITE_FIELD * content.period
        if picture == "white" and content.width < least:
            seen = f"the brightest part is {1e6 * content.width:.3g} us long"
            return f"{seen}, not a white field of at least {1e6 * least:.3g} us: if these are bars, declare them"
    if name in FLAT_ONLY and picture in (None, "other"):
        return "only a declared flat picture (white field or bars) shows it; this may be the picture's own content"
    if name == "level.black" and picture in (None, "other", "white"):
        return "only bars hold a known black; this is the darkest part of the picture"
    return None


@dataclass(frozen=True)
class _Level:
    """A value on its way: with the side it proves, its budget rows, and what was said of it."""

    value: float
    bound: str | None
    rows: list[Contribution]
    notes: tuple[str, ...] = ()
    unknowns: tuple[str, ...] = ()

    def turned(self) -> _Level:
        """Return the level of an inverted line."""
        return replace(self, value=-self.value, bound={AT_LEAST: AT_MOST, AT_MOST: AT_LEAST}.get(self.bound or ""))


def _level(name: str, value: float, error: float, bench: _Bench, others: Mapping[str, Raw]) -> _Level | str:
    """Return a level into 75 ohm at 100 % white, or why it cannot be told."""
    case = bench.case
    rows = bench.volts(name, value, error)
    loaded = to_load(name, value, case.load, case.circumstances)
    if isinstance(loaded, str):
        return loaded
    notes = [f"Raw {1e3 * value:.4g} mV with an open line."] if case.load == "open" else []
    unknowns = ["load"] if case.load is None else []
    value, factor, extra = loaded
    rows = [_scaled(row, factor) for row in rows] + extra
    if case.load != "open":
        rows += termination_rows(value, case.place, case.termination, case.circumstances)
    value, bound, share = _to_white(name, value, bench, others, factor)
    if bound is not None:
        unknowns.append("picture")
        notes.append(_sentence(bound_words(case.picture, bound)))
    elif share != 1.0:
        notes.append(f"Scaled from {100 * share:.3g} % to 100 % white.")
    return _Level(value, bound, [_scaled(row, 1 / share) for row in rows], tuple(notes), tuple(unknowns))


def _edge_time(bench: _Bench) -> float:
    """Return how far the half-amplitude crossings may be off together [s]: interpolation between samples."""
    return max(5e-9, bench.step / 6, bench.found.together)


def _to_white(
    name: str, value: float, bench: _Bench, others: Mapping[str, Raw], factor: float
) -> tuple[float, str | None, float]:
    """Scale white to 100 %: with the black the capture shows, else with the standard's setup.

    The two ends of a colour difference are as far from blanking as each other, and both are scaled from there.
    """
    case, following = bench.case, bench.found.content.next_level
    white, black = (others.get(one, Raw(None)).value for one in ("level.white", "level.black"))
    difference = white is not None and black is not None and black < DIFFERENCE * white
    if name != "level.white" and not (difference and name == "level.black"):
        return value, None, 1.0
    full = following is not None and FULL_WHITE_BAR[0] < following < FULL_WHITE_BAR[1] and not difference
    if case.picture == "bars-75" and full:
        return value, None, 1.0
    bound, share = picture_share("level.white", case.picture, replace(case.circumstances, setup=0.0))
    if bound is not None or share == 1.0:
        return value, bound if name == "level.white" else None, 1.0
    if black is None:
        _, share = picture_share(name, case.picture, case.circumstances)
        return value / share, None, share
    black *= 0.0 if difference else factor
    scaled = black + (value - black) / share
    return scaled, None, value / scaled


def _peak_to_peak(
    found: Found, so_far: list[Quantity], budgets: Mapping[str, Budget], bench: _Bench
) -> tuple[Quantity, Budget | None]:
    """Return tip to 100 % white on a line with sync, darkest to white without, the envelope of a chroma line."""
    known = {quantity.name: quantity for quantity in so_far}
    white, sync, black = known["level.white"], known["level.sync"], known["level.black"]
    own, case = sync.failure != NO_SYNC, bench.case
    if found.chroma and not own and not found.has_picture:
        return _one("level.pp", Raw(found.chroma, 0.01 * found.chroma), bench, found.raw, 1)
    parts = [part for part, there in ((white, found.has_picture or not own), (sync, own)) if there]
    for part in parts:
        if part.value is None:
            return nothing("level.pp", part.failure or "not found", case), None
    if not own and black.value is not None and black.value < 0:
        parts.append(black)
    budget = Budget("level.pp", "V", _joined(tuple(row for part in parts for row in budgets[part.name].contributions)))
    dark = parts[0] is sync and case.circumstances.signal == "picture" and case.picture in (None, "other")
    unknowns = [word for part in parts for word in part.unknowns] + ["picture"] * dark
    quantity = Quantity(
        "level.pp",
        case.line,
        case.guarded,
        sum(abs(part.value or 0.0) for part in parts),
        origin=MEASURED,
        uncertainty=budget.expanded,
        failure=parts[0].failure,
        unknowns=tuple(dict.fromkeys(unknowns)),
        notes=(*parts[0].notes, _sentence(bound_words(case.picture, AT_LEAST))) if dark else parts[0].notes,
        bound=AT_LEAST if dark or parts[0].bound else None,
    )
    return quantity, budget


def _joined(rows: tuple[Contribution, ...]) -> tuple[Contribution, ...]:
    """Add rows of the same cause as they stand: white and sync are wrong by the same gain, at the same time."""
    shared = ("accuracy", "probe", "75 ohm load", "output impedance")
    found: dict[str, Contribution] = {}
    rest = []
    for row in rows:
        if row.name not in shared:
            rest.append(row)
        elif row.name in found:
            sum_ = abs(found[row.name].sensitivity * found[row.name].half_width) + abs(row.sensitivity * row.half_width)
            found[row.name] = Contribution(row.name, sum_, row.distribution, 1.0, row.source)
        else:
            found[row.name] = row
    return (*found.values(), *rest)


def _scaled(row: Contribution, factor: float) -> Contribution:
    return replace(row, sensitivity=row.sensitivity * factor)


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
