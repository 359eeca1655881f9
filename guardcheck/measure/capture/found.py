"""From samples to what stands on the line: raw values with their scatter, or the reason why there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

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
    smoothing,
    tilt,
    trimmed,
)
from guardcheck.measure.capture.systems import System, plainest_system
from guardcheck.measure.capture.transitions import edge_time
from guardcheck.measure.readings.records import AT_LEAST

Floats = NDArray[np.float64]

LEAST_BAR = 10e-6
"""Least length of a bar that shows line tilt; this and the times below are those of 15 kHz [s]."""
ALIKE = 0.9
"""Least share of lines as bright as the brightest where all are of one plain picture."""
_BEFORE = 0.2e-3
"""How long before its broad pulses field blanking begins: three lines."""
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
    `period` is that of the line [s]. `mixed` tells that some lines are darker than the brightest though no field sync
    was seen: what is bright may then be pulses that follow it.
    """

    uneven: bool = False
    width: float = 0.0
    next_level: float | None = None
    period: float = 64e-6
    mixed: bool = False


@dataclass(frozen=True)
class Found:
    """Everything found on one channel; `raw` is keyed by quantity, `least` is the smallest picture it shows [V].

    `lines` were averaged, or what `counted` says. `together` is how far the half-amplitude points of sync may all lie
    off in the same way [s].
    """

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
    counted: str = "scan lines"
    together: float = 0.0


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
    system = system or plainest_system(edges.rate, edges.width)
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
    after = ((since > -_BEFORE * lines.scale) & (since < blanking)).any(axis=1)
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
        self.period, self.width, self.scale = edges.period, edges.width, edges.rate.scale
        self.us = 1e-6 * self.scale
        self.first = self._first_porch()
        self.raw: dict[str, Raw] = {}
        self.notes: list[str] = []
        first = lines.means(self.first)
        self.noise = _scatter(lines, self.first)
        seen = can_see(lines.step, self.system.subcarrier)  # what is undersampled shows up as another frequency
        self.burst = find_burst(lines, self.noise, self.period) if seen and self.system.subcarrier else None
        self.sync = float(np.median(first - lines.means(self._tip()))) if own_sync else 0.0
        chosen, self.floor = bright(lines, self._active(0.6, 1.2), first, self.noise, shown)
        self.lit = lines.pick(chosen)
        self.lit_share = float(np.mean(chosen))
        self.fold = folded(self.lit, self.period, self.system.subcarrier)
        self.bin_noise = self._bin_noise()
        self.porch = self._porch(first[chosen])
        self.blank = lines.means(self.porch)
        self.noise = _scatter(lines, self.porch)
        self.level = float(self.blank[chosen].mean())
        self.lit_blank = self.blank[chosen]
        region = (self.porch[1], self.period - 0.8 * self.us)
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
            windows["white"] = trimmed(self.white.window, 0.5 * self.us)
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
            replace(self._content(), mixed=not len(fields) and self.lit_share < ALIKE),
            chroma,
            tuple(self.notes),
            self.least,
            together=self.edges.together,
        )

    def _field(self, fields: Floats, coupled: bool | None) -> None:
        """Note what moves the blanking level; where that was cut off, neither this nor its noise was seen."""
        lost = self.raw["level.blank"]
        if lost.value is None:
            self.raw["response.field_tilt"] = self.raw["noise.hum"] = self.raw["noise.rms"] = lost
            return
        part = self.lines.columns(self.porch)
        scatter = self.noise / math.sqrt(part.stop - part.start)
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
            return Content(self.uneven, period=self.period)
        shares = [(flat.level - self.level) / height for flat in self.flats]
        below = [share for share in shares if share < 0.95]
        return Content(self.uneven, self.white.width, max(below) if below else None, self.period)

    def _tip(self) -> tuple[float, float]:
        return 0.8 * self.us, self.width - 0.8 * self.us

    def _first_porch(self) -> tuple[float, float]:
        """Return where the back porch is flat in every system of the rate, whatever burst stands before it [s]."""
        wide = self.width > self.system.sync_width + 0.3 * self.us
        start, end = (one + (self.width if wide else self.system.sync_width) for one in self.edges.rate.porch)
        late = max(0.0, end - (self.system.blanking_end - 0.2e-6))
        return start - late, end - late

    def _active(self, after: float, before: float) -> tuple[float, float]:
        """Return from so long after the first porch to so long before the next sync [us at 15 kHz], in seconds."""
        return self.first[1] + after * self.us, self.period - before * self.us

    def _bin_noise(self) -> float:
        """Return the standard error of a smoothed bin of the average line [V]."""
        samples = float(np.median(self.fold.count)) * max(1, round(smoothing(self.system.subcarrier) / self.fold.bin))
        return self.noise / float(np.sqrt(samples))

    def _porch(self, first: Floats) -> tuple[float, float]:
        """Return the burst-free part of the back porch [s]."""
        level = float(first.mean())
        middle = 0.5 * sum(self.first)
        self.height = float(np.max(self.fold.smooth[self.fold.x > middle])) - level
        picture = leaves(self.fold, middle, level, self.height, self.bin_noise)
        self.picture_start = picture
        if self.burst is not None:
            start = self.burst.window[1] + 0.45 * self.us
        elif can_see(self.lines.step, self.system.subcarrier):
            start = self.width + 0.9 * self.us
        else:
            start = self.first[0]  # a burst may stand there unseen
        end = self.system.blanking_end - 0.2e-6
        if picture is not None:
            end = min(end, picture - 0.45 * self.us)
        return (start, end) if end - start >= 0.5 * self.us else self.first

    def _levels(self) -> None:
        top, low = float(self.volts.max()), float(self.volts.min())
        top, low = (top, low) if self.sign > 0 else (-low, -top)
        full = fills_converter(self.volts, self.resolution)
        cut = self._blanking_lost(top, low, full)
        blank = Raw(self.sign * float(self.blank.mean()), _error(self.blank)) if cut is None else Raw(None, failure=cut)
        self.raw["level.blank"] = blank
        self.raw["level.sync"] = Raw(None, failure=NO_SYNC)
        if self.own:
            depth = self.blank - self.lines.means(self._tip())
            lost = self._lost(self.lines, self._tip(), low, full, top - low, top=False)
            sync = _unless(lost, "the sync tip", depth)
            self._ends(blank, sync)
            self.raw["level.sync"] = sync if cut is None or lost else blank
        if cut is not None and self.has_picture:
            self.raw["level.white"] = self.raw["level.black"] = blank
            return
        if self.uneven:
            self.raw["level.white"] = Raw(self.floor, self.noise)
            self.raw["level.black"] = Raw(None, failure="the picture differs from line to line")
            return
        if self.white is None or not self.has_picture:
            dark = Raw(None, failure="nothing brighter than blanking stands on this line")
            self.raw["level.white"] = self.raw["level.black"] = dark
            return
        window = trimmed(self.white.window, 0.5 * self.us)
        white = self.lit.means(window) - self.lit_blank
        lost = self._lost(self.lit, window, top, full, top - low, top=True)
        self.raw["level.white"] = _unless(lost, "white", white)
        darkest = min(self.flats, key=lambda flat: flat.level)
        self.raw["level.black"] = Raw(None, failure="the picture shows one level only, so no black to read")
        if darkest is not self.white:
            self.raw["level.black"] = _mean(self.lit.means(trimmed(darkest.window, 0.5 * self.us)) - self.lit_blank)

    def _blanking_lost(self, top: float, low: float, full: bool) -> str | None:
        """Say whether the level that others count from was cut off: the highest of sync alone, the lowest of a picture.

        Where a line carries both it lies between them, and where it carries neither nothing counts from it.
        """
        if self.own == self.has_picture:
            return None
        lost = self._lost(self.lines, self.porch, top if self.own else low, full, top - low, top=self.own)
        what = "the level between the pulses" if self.own else "blanking"
        return None if lost is None else f"{what} {lost}"

    def _ends(self, blank: Raw, sync: Raw) -> None:
        """Note the two levels of a line that carries nothing but sync, whichever of them is the higher."""
        if blank.value is None or sync.value is None:
            self.raw["level.high"] = self.raw["level.low"] = Raw(None, failure=sync.failure or blank.failure)
            return
        tip = Raw(blank.value - self.sign * sync.value, math.hypot(blank.error, sync.error))
        low, high = sorted((blank, tip), key=lambda one: one.value or 0.0)
        self.raw["level.high"], self.raw["level.low"] = high, low

    def _lost(
        self, lines: Lines, window: tuple[float, float], extreme: float, full: bool, height: float, *, top: bool
    ) -> str | None:
        """Say whether a level was cut off by the edge of the screen, which looks the same from either side."""
        if full:
            return "fills the whole range of the converter, so it may be cut off by the edge of the screen"
        return cut_off(lines, window, extreme, self.noise, self.resolution, height, self.screen, top=top)

    def _shape(self) -> None:
        white = self.white
        if white is None or self.uneven or self.raw["level.white"].value is None:
            reason = self.raw["level.white"].failure or "the picture differs from line to line"
            self.raw["response.line_tilt"] = self.raw["response.overshoot"] = Raw(None, failure=reason)
            return
        if white.width < LEAST_BAR * self.scale:
            least = 1e6 * LEAST_BAR * self.scale
            reason = f"the brightest part is {1e6 * white.width:.3g} us long; tilt needs {least:g} us"
            self.raw["response.line_tilt"] = Raw(None, failure=reason)
        else:
            self.raw["response.line_tilt"] = Raw(*tilt(self.fold, white, self.level))
        before = self._before(white)
        peak = overshoot(self.fold, white, before, self.noise)
        reason = "the sampling is too coarse to show it"
        self.raw["response.overshoot"] = Raw(None, failure=reason) if peak is None else Raw(*peak)

    def _before(self, white: Plateau) -> float:
        """Return the level the picture rises from to reach white [V]."""
        earlier = self.flats[: self.flats.index(white)]
        return earlier[-1].level if earlier else self.level

    def _timing(self) -> None:
        """Note the times of the line; where the height of sync was not seen, nobody knows where half of it lies."""
        edges = self.edges
        self.raw["timing.line_period"] = Raw(edges.period, edges.period_error)
        lost = self.raw["level.sync"].failure
        self.raw["timing.sync_width"] = Raw(None, failure=lost) if lost else _mean(edges.trail - edges.lead)
        start, period = self.picture_start, self.period
        if start is None:
            reason = "the picture is black at its left edge, so its start cannot be seen"
            self.raw["timing.back_porch"] = Raw(None, failure=reason)
        else:
            self.raw["timing.back_porch"] = Raw(start - self.width, self._edge_error())
        level = self.fold.mean((period - 0.7 * self.us, period - 0.5 * self.us))
        end = leaves(self.fold, period - 0.5 * self.us, level, self.height, self.bin_noise, back=True)
        if end is None or period - end > 4 * self.us:
            reason = "the picture is black at its right edge, so its end cannot be seen"
            self.raw["timing.front_porch"] = Raw(None, failure=reason)
        else:
            self.raw["timing.front_porch"] = Raw(period - end, self._edge_error())

        self._edges()

    def _edges(self) -> None:
        """Note how long the edges of sync take, and the rise to a picture that is bright from its left edge on."""
        tip, names = self.level - self.sync, ("timing.sync_fall", "timing.sync_rise")
        for name, near, levels in zip(
            names if self.sign > 0 else names[::-1],
            (0.0, self.width),
            ((self.level, tip), (tip, self.level)),
            strict=True,
        ):
            lost = self.raw["level.sync"].failure
            self.raw[name] = Raw(None, failure=lost) if lost else self._edge(near, levels)
        start = self.picture_start
        first = next(iter(self.flats), None)
        lost = self.raw["level.white"].failure
        if lost or start is None or first is None or first is not self.white or first.window[0] - start > 1.5 * self.us:
            lost = lost or "the picture does not begin with its brightest part, so its rise cannot be told"
            self.raw["timing.picture_rise"] = Raw(None, failure=lost)
        else:
            self.raw["timing.picture_rise"] = self._edge(start, (self.level, first.level))

    def _edge(self, near: float, levels: tuple[float, float]) -> Raw:
        found = edge_time(self.fold, near, 0.7 * self.us, levels, self.noise, self.edges.jitter)
        return Raw(None, failure=found) if isinstance(found, str) else Raw(*found)

    def _edge_error(self) -> float:
        """Return the standard error of an edge of the picture [s]: sampling, and noise over the slope of the edge."""
        slope = max(abs(self.height), 1e-3) / (0.4 * self.us)
        return float(np.hypot(max(10e-9, self.lines.step / 6), 2 * self.bin_noise / slope))

    def _burst(self) -> None:
        burst: Burst | None = self.burst
        if burst is not None:
            self.raw["burst.amplitude"] = Raw(burst.amplitude, burst.amplitude_error)
            self.raw["burst.frequency"] = Raw(burst.frequency, burst.frequency_error)
            hidden = "the burst begins too close behind sync, or the sampling is too coarse, to tell where"
            self.raw["timing.burst_start"] = Raw(*burst.start) if burst.start else Raw(None, failure=hidden)
            return
        reason, subcarrier = "no colour burst stands on the back porch", self.system.subcarrier
        if subcarrier is None:
            reason = f"a {self.system.title} has no colour burst"
        elif not can_see(self.lines.step, subcarrier):
            rate = 1e-6 / self.lines.step
            reason = f"undersampled: {rate:.3g} MHz cannot show a burst of {1e-6 * subcarrier:.3g} MHz"
        for name in ("burst.amplitude", "burst.frequency", "timing.burst_start"):
            self.raw[name] = Raw(None, failure=reason)


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
