"""From samples to what stands on the line: raw values with their scatter, or the reason why there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from guardcheck.measure.capture.bars import steps_of
from guardcheck.measure.capture.burst import Burst, can_see, envelope_peak, find_burst
from guardcheck.measure.capture.clipping import Screen, cut_off, fills_converter
from guardcheck.measure.capture.field import over_field
from guardcheck.measure.capture.lines import Edges, Lines, cut
from guardcheck.measure.capture.picture import (
    Folded,
    Plateau,
    bright,
    folded,
    leaves,
    overshoot,
    plateaus,
    tilt,
    trimmed,
)
from guardcheck.measure.capture.systems import System, systems
from guardcheck.measure.readings.records import AT_LEAST

Floats = NDArray[np.float64]

FIRST_PORCH = (8.0e-6, 8.9e-6)
"""Where the back porch is flat in both systems, whatever burst stands before it."""

LEAST_BAR = 10e-6
_BEFORE = 0.2e-3
"""How long before its broad pulses field blanking begins [s]: three lines."""
NO_SYNC = "the channel carries no sync of its own"


@dataclass(frozen=True)
class Raw:
    """One value as found [SI]: `error` is the standard error of the mean, `failure` says why there is none.

    A value together with a failure was seen, but proves nothing. `bound` tells that only one side was seen; `note` is a
    sentence to be said with the value.
    """

    value: float | None
    error: float = 0.0
    failure: str | None = None
    bound: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Content:
    """What the picture looks like: whether its lines differ, how wide its brightest part is [s], and the next level.

    `next_level` is the second highest level as a share of the highest, above blanking; None when there is none.
    """

    uneven: bool = False
    width: float = 0.0
    next_level: float | None = None


@dataclass(frozen=True)
class Found:
    """Everything found on one channel; `raw` is keyed by quantity, `least` is the smallest picture it shows [V]."""

    raw: Mapping[str, Raw]
    fold: Folded
    windows: Mapping[str, tuple[float, float]]
    levels: Mapping[str, float]
    noise: float
    lines: int
    drift: float
    has_picture: bool
    content: Content
    chroma: float | None = None
    notes: tuple[str, ...] = field(default=())
    least: float = 0.0


def look(
    volts: NDArray[np.floating],
    step: float,
    edges: Edges,
    system: System | None,
    *,
    sign: int,
    own_sync: bool,
    resolution: float,
    fields: Floats | None = None,
    coupled: bool | None = None,
    screen: Screen | None = None,
    component: str | None = None,
) -> Found | str:
    """Look at one channel, cut at sync edges found on it or on another.

    Parameters
    ----------
    volts
        the channel's samples [V]
    step
        sample interval [s]
    edges
        sync edges
    system
        the scanning system, None when the line period fits none
    sign
        -1 turns an inverted channel over
    own_sync
        whether the edges were found on this channel
    resolution
        the channel's voltage step [V], 0 when none was found
    fields
        where field syncs begin [s]
    coupled
        whether the line is known to be AC coupled, or known not to be
    screen
        the scope's vertical scale, where it is known
    component
        what the line carries, where colour bars were declared

    Returns
    -------
    what was found, or the reason why nothing could be

    """
    lines = cut(volts, step, edges, sign)
    if lines is None:
        return "fewer than three whole scan lines follow each other"
    system = system or systems()[0]
    starts = np.zeros(0) if fields is None else fields
    shown = _shown(lines, starts, system.field_blanking * edges.period)
    if not shown.any():
        return "it holds no line of the picture, only the lines that follow field sync"
    one = _Look(lines, edges, system, sign, own_sync, resolution, volts, shown, screen)
    return one.found(starts, coupled, component)


def _shown(lines: Lines, fields: Floats, blanking: float) -> NDArray[np.bool_]:
    """Return which lines may be of the picture, shape ``(n_lines,)``: those that follow field sync are not.

    What stands there is test lines, text, or pulses against copying, which may be brighter than white.
    """
    since = lines.starts[:, None] - fields[None, :]
    after = ((since > -_BEFORE) & (since < blanking)).any(axis=1)
    shown: NDArray[np.bool_] = np.asarray(~after)
    return shown


class _Look:
    """One pass over one channel; every step uses what the steps before it found."""

    def __init__(
        self,
        lines: Lines,
        edges: Edges,
        system: System,
        sign: int,
        own_sync: bool,
        resolution: float,
        volts: NDArray[np.floating],
        shown: NDArray[np.bool_],
        screen: Screen | None,
    ) -> None:
        self.lines, self.edges, self.system, self.sign, self.own = lines, edges, system, sign, own_sync
        self.resolution, self.volts, self.screen = resolution, volts, screen
        self.period, self.width = edges.period, edges.width
        self.raw: dict[str, Raw] = {}
        self.notes: list[str] = []
        first = lines.means(FIRST_PORCH)
        self.noise = _scatter(lines, FIRST_PORCH)
        seen = can_see(lines.step, self.system.subcarrier)  # what is undersampled shows up as another frequency
        self.burst = find_burst(lines, self.noise, self.period) if seen else None
        self.sync = float(np.median(first - lines.means(self._tip()))) if own_sync else 0.0
        chosen, self.floor = bright(lines, (9.5e-6, self.period - 1.2e-6), first, self.noise, shown)
        self.lit = lines.pick(chosen)
        self.fold = folded(self.lit, self.period, self.system.subcarrier)
        self.bin_noise = self._bin_noise()
        self.porch = self._porch(first[chosen])
        self.blank = lines.means(self.porch)
        self.noise = _scatter(lines, self.porch)
        self.level = float(self.blank[chosen].mean())
        self.lit_blank = self.blank[chosen]
        region = (self.porch[1], self.period - 0.8e-6)
        self.flats = plateaus(self.fold, region, self.height, self.bin_noise)
        self.white = max(self.flats, key=lambda flat: flat.level, default=None)
        span = float(volts.max()) - float(volts.min())
        least = max(0.05 * abs(self.sync), 5 * self.bin_noise, 0.01, 0.03 * span)
        leak = 1.1 if seen else 1.3  # undersampled chroma does not quite average out
        self.least = least
        self.uneven = self.floor > max(leak * self._height(), least)
        self.has_picture = self._height() > least or self.uneven

    def found(self, fields: Floats, coupled: bool | None, component: str | None) -> Found:
        self._levels()
        self._field(fields, coupled)
        self._bars(component)
        self._shape()
        self._timing()
        self._burst()
        drift = float(np.std(self.blank))
        if drift > max(3 * self.noise, 5e-3):
            self.notes.append(f"the blanking level wanders by {1e3 * drift:.3g} mV rms from line to line (hum)")
        windows = {"back porch": self.porch}
        levels = {"blanking": self.sign * self.level}
        if self.own:
            windows["sync tip"] = self._tip()
            levels["sync tip"] = self.sign * (self.level - self.sync)
        if self.white is not None and self.has_picture:
            windows["white"] = trimmed(self.white.window, 0.5e-6)
            levels["white"] = self.sign * self.white.level
        if self.burst is not None:
            windows["burst"] = self.burst.window
        chroma = envelope_peak(self.lit, self.burst.frequency, self.noise) if self.burst is not None else None
        return Found(
            self.raw,
            self.fold,
            windows,
            levels,
            self.noise,
            len(self.lines.rows),
            drift,
            self.has_picture,
            self._content(),
            chroma,
            tuple(self.notes),
            self.least,
        )

    def _field(self, fields: Floats, coupled: bool | None) -> None:
        scatter = float(self.noise / np.sqrt(max(1, len(range(*self.lines.columns(self.porch).indices(1 << 30))))))
        seen = over_field(
            self.volts, self.lines.step, self.lines, self.blank, scatter, fields, sign=self.sign, coupled=coupled
        )
        self.raw["response.field_tilt"] = Raw(seen.tilt, seen.tilt_error, seen.tilt_failure)
        self.raw["noise.hum"] = Raw(seen.hum, seen.hum_error, bound=None if seen.whole else AT_LEAST)

    def _bars(self, component: str | None) -> None:
        if component is None or self.uneven:
            reason = "colour bars were not declared, or the line's name does not tell what it carries"
            self.raw["picture.bars"] = Raw(None, failure=reason if component is None else "the bars cannot be seen")
            return
        least = max(0.02, 10 * self.bin_noise)
        steps = steps_of(self.fold, self.level, self.period, component, least)
        if steps is None:
            self.raw["picture.bars"] = Raw(None, failure="the bars cannot be seen")
            return
        whose = None if steps.whose in (None, component) else f"These steps are those of {steps.whose}."
        unclear = None if steps.whose else "these are not the eight bars that were declared, or not a whole row of them"
        error = self.bin_noise / least
        self.raw["picture.bars"] = Raw(steps.own, error, unclear, note=whose)

    def _height(self) -> float:
        """Return the height of the brightest plain part above blanking [V], 0 when there is none."""
        return 0.0 if self.white is None else self.white.level - self.level

    def _content(self) -> Content:
        height = self._height()
        if self.white is None or height <= 0:
            return Content(self.uneven)
        shares = [(flat.level - self.level) / height for flat in self.flats]
        below = [share for share in shares if share < 0.95]
        return Content(self.uneven, self.white.width, max(below) if below else None)

    def _tip(self) -> tuple[float, float]:
        return 0.8e-6, self.width - 0.8e-6

    def _bin_noise(self) -> float:
        """Return the standard error of a smoothed bin of the average line [V]."""
        samples = float(np.median(self.fold.count)) * max(1, round(2 / self.system.subcarrier / self.fold.bin))
        return self.noise / float(np.sqrt(max(1.0, samples)))

    def _porch(self, first: Floats) -> tuple[float, float]:
        """Return the burst-free part of the back porch [s]."""
        level = float(first.mean())
        self.height = float(np.max(self.fold.smooth[self.fold.x > 8.5e-6])) - level
        picture = leaves(self.fold, 8.4e-6, level, self.height, self.bin_noise)
        self.picture_start = picture
        if self.burst is not None:
            start = self.burst.window[1] + 0.45e-6
        elif can_see(self.lines.step, self.system.subcarrier):
            start = self.width + 0.9e-6
        else:
            start = FIRST_PORCH[0]  # a burst may stand there unseen
        end = self.system.blanking_end - 0.2e-6
        if picture is not None:
            end = min(end, picture - 0.45e-6)
        return (start, end) if end - start >= 0.5e-6 else FIRST_PORCH

    def _levels(self) -> None:
        top, low = float(self.volts.max()), float(self.volts.min())
        top, low = (top, low) if self.sign > 0 else (-low, -top)
        full = fills_converter(self.volts, self.resolution)
        self.raw["level.blank"] = Raw(self.sign * float(self.blank.mean()), _error(self.blank))
        self.raw["level.sync"] = Raw(None, failure=NO_SYNC)
        if self.own:
            depth = self.blank - self.lines.means(self._tip())
            lost = self._lost(self.lines, self._tip(), low, full, top - low, top=False)
            self.raw["level.sync"] = _unless(lost, "the sync tip", depth)
            self._ends(self.raw["level.blank"], self.raw["level.sync"])
        if self.uneven:
            self.raw["level.white"] = Raw(self.floor, self.noise)
            self.raw["level.black"] = Raw(None, failure="the picture differs from line to line")
            return
        if self.white is None or not self.has_picture:
            dark = Raw(None, failure="nothing brighter than blanking stands on this line")
            self.raw["level.white"] = self.raw["level.black"] = dark
            return
        window = trimmed(self.white.window, 0.5e-6)
        white = self.lit.means(window) - self.lit_blank
        lost = self._lost(self.lit, window, top, full, top - low, top=True)
        self.raw["level.white"] = _unless(lost, "white", white)
        darkest = min(self.flats, key=lambda flat: flat.level)
        self.raw["level.black"] = Raw(None, failure="the picture shows one level only, so no black to read")
        if darkest is not self.white:
            self.raw["level.black"] = _mean(self.lit.means(trimmed(darkest.window, 0.5e-6)) - self.lit_blank)

    def _ends(self, blank: Raw, sync: Raw) -> None:
        """Note the two levels of a line that carries nothing but sync, whichever of them is the higher."""
        if blank.value is None or sync.value is None:
            lost = Raw(None, failure=sync.failure or blank.failure)
            self.raw["level.high"] = self.raw["level.low"] = lost
            return
        tip = Raw(blank.value - self.sign * sync.value, math.hypot(blank.error, sync.error))
        low, high = sorted((blank, tip), key=lambda one: one.value or 0.0)
        self.raw["level.high"], self.raw["level.low"] = high, low

    def _lost(
        self, lines: Lines, window: tuple[float, float], extreme: float, full: bool, height: float, *, top: bool
    ) -> str | None:
        """Say whether a level was cut off by the edge of the screen; an inverted line is turned over."""
        if full:
            return "fills the whole range of the converter, so it may be cut off by the edge of the screen"
        screen = self.screen
        if screen is not None and self.sign < 0:
            screen = Screen(screen.division, None if screen.offset is None else -screen.offset)
        return cut_off(lines, window, extreme, self.noise, self.resolution, height, screen, top=top)

    def _shape(self) -> None:
        white = self.white
        if white is None or self.uneven or not self.has_picture or self.raw["level.white"].value is None:
            reason = self.raw["level.white"].failure or "the picture differs from line to line"
            self.raw["response.line_tilt"] = self.raw["response.overshoot"] = Raw(None, failure=reason)
            return
        if white.width < LEAST_BAR:
            reason = f"the brightest part is {1e6 * white.width:.3g} us long; tilt needs {1e6 * LEAST_BAR:g} us"
            self.raw["response.line_tilt"] = Raw(None, failure=reason)
        else:
            self.raw["response.line_tilt"] = Raw(*tilt(self.fold, white, self.level))
        before = self._before(white)
        peak = overshoot(self.fold, white, before, self.noise)
        reason = "the sampling is too coarse to show it"
        self.raw["response.overshoot"] = Raw(None, failure=reason) if peak is None else Raw(*peak)

    def _before(self, white: Plateau) -> float:
        """Return the level the picture rises from to reach white [V]."""
        earlier = [flat for flat in self.flats if flat.window[1] < white.window[0]]
        return earlier[-1].level if earlier else self.level

    def _timing(self) -> None:
        edges = self.edges
        self.raw["timing.line_period"] = Raw(edges.period, edges.period_error)
        widths = edges.trail - edges.lead
        self.raw["timing.sync_width"] = _mean(widths) if self.own else Raw(None, failure=NO_SYNC)
        start, period = self.picture_start, self.period
        if start is None:
            reason = "the picture is black at its left edge, so its start cannot be seen"
            self.raw["timing.back_porch"] = Raw(None, failure=reason)
        else:
            self.raw["timing.back_porch"] = Raw(start - self.width, self._edge_error())
        level = self.fold.mean((period - 0.7e-6, period - 0.5e-6))
        end = leaves(self.fold, period - 0.5e-6, level, self.height, self.bin_noise, back=True)
        if end is None or period - end > 4e-6:
            reason = "the picture is black at its right edge, so its end cannot be seen"
            self.raw["timing.front_porch"] = Raw(None, failure=reason)
        else:
            self.raw["timing.front_porch"] = Raw(period - end, self._edge_error())

    def _edge_error(self) -> float:
        """Return the standard error of an edge of the picture [s]: sampling, and noise over the slope of the edge."""
        slope = max(abs(self.height), 1e-3) / 0.4e-6
        return float(np.hypot(max(10e-9, self.lines.step / 6), 2 * self.bin_noise / slope))

    def _burst(self) -> None:
        burst: Burst | None = self.burst
        if burst is not None:
            self.raw["burst.amplitude"] = Raw(burst.amplitude, burst.amplitude_error)
            self.raw["burst.frequency"] = Raw(burst.frequency, burst.frequency_error)
            return
        reason = "no colour burst stands on the back porch"
        if not can_see(self.lines.step, self.system.subcarrier):
            rate = 1e-6 / self.lines.step
            reason = f"undersampled: {rate:.3g} MHz cannot show a burst of {1e-6 * self.system.subcarrier:.3g} MHz"
        self.raw["burst.amplitude"] = self.raw["burst.frequency"] = Raw(None, failure=reason)


def _scatter(lines: Lines, window: tuple[float, float]) -> float:
    """Return the rms within a window about each line's own mean [V]; that leaves hum and drift out."""
    part = lines.rows[:, lines.columns(window)]
    n = part.shape[1]
    if n < 2:
        return 0.0
    rest = part - part.mean(axis=1, keepdims=True)
    return float(np.sqrt(np.sum(rest**2) / (len(part) * (n - 1))))


def _error(values: Floats) -> float:
    return float(np.std(values) / np.sqrt(len(values)))


def _mean(values: Floats) -> Raw:
    return Raw(float(values.mean()), _error(values))


def _unless(lost: str | None, what: str, values: Floats) -> Raw:
    return _mean(values) if lost is None else Raw(None, failure=f"{what} {lost}")
