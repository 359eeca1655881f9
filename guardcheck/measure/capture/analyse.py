"""A scope capture into quantities: the whole way from samples to values with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.measure.capture.clipping import Screen
from guardcheck.measure.capture.fieldsync import NO_LINE, field_sync
from guardcheck.measure.capture.found import Found, Raw, look
from guardcheck.measure.capture.header import NOTHING
from guardcheck.measure.capture.lines import find_edges
from guardcheck.measure.capture.quantities import BARS, NAMES, Settings, nothing, to_quantities
from guardcheck.measure.capture.records import Analysis, Capture, Template
from guardcheck.measure.capture.slicer import MIN_LINES, Pulses, find_pulses
from guardcheck.measure.capture.systems import System, nearest_system, rates

SLOWEST = 0.26e-6
"""Longest sample interval [s] that still shows sync pulses well: 4 MHz, with a little to spare."""

FINEST = 12.5e-9
LONGEST = 0.1


def analyse(
    capture: Capture, channel: str | None = None, *, sync_channel: str | None = None, settings: Settings | None = None
) -> Analysis:
    """Find in a capture alone what it shows of one line.

    Parameters
    ----------
    capture
        what `read_capture` gave
    channel
        the channel to look at; may be left out when there is only one
    sync_channel
        where sync is taken from, for a line that carries none (red, green, blue)
    settings
        what is known of the line, the picture and the instrument; None means nothing is, and defaults are presumed

    Returns
    -------
    Analysis
        every quantity a capture can give, with expanded uncertainty (k = 2) or the reason why there is none

    Raises
    ------
    InputError
        there is no such channel

    """
    case = settings or Settings()
    name = channel_of(capture, channel)
    factor = _at_tip(capture, name, case)
    if isinstance(factor, str):
        return Analysis(name, tuple(nothing(one, factor, case) for one in NAMES), {}, None)
    volts, step, notes = _reduced(capture, name)
    volts, resolution = volts * factor, capture.resolution[name] * factor
    screen = _screen(capture, name, case, factor)
    case = replace(case, division=None if screen is None else screen.division)
    if factor != 1.0:
        notes = (*notes, f"times {factor:g} for the probe")
    timing = volts if sync_channel is None else _reduced(capture, channel_of(capture, sync_channel))[0]
    failure = _undersampled(step)
    pulses = None if failure else find_pulses(timing, step)
    edges = None if pulses is None else find_edges(pulses.sign * timing, step, pulses)
    if edges is not None:
        failure = _undersampled(step, edges.rate.scale)
    if pulses is None or edges is None or failure:
        alone = None
        if case.circumstances.signal == "sync" and sync_channel is None:
            alone = field_sync(volts, step, resolution, screen)
        if alone is not None:
            return _field_alone(name, *alone, resolution, step, volts, case, notes)
        reason = failure or _too_short(step * len(volts)) or _no_sync(sync_channel)
        span = float(volts.max()) - float(volts.min())
        return Analysis(name, tuple(nothing(one, reason, case) for one in NAMES), {}, None, notes=notes, span=span)
    system = nearest_system(edges.period, edges.width)
    own = sync_channel is None
    found = look(
        volts,
        step,
        edges,
        system,
        sign=pulses.sign if own else 1,
        own_sync=own,
        resolution=resolution,
        fields=pulses.field_starts(),
        coupled=case.circumstances.coupled,
        screen=screen,
        component=case.component if case.picture in BARS else None,
    )
    if isinstance(found, str):
        return Analysis(name, tuple(nothing(one, found, case) for one in NAMES), {}, None, notes=notes)
    scene = _Scene(found, system, pulses, edges.period, edges.width, own)
    quantities, budgets = to_quantities(found, resolution, step, volts, case, sign=scene.sign)
    return Analysis(
        name,
        quantities,
        budgets,
        Template(found.fold.x, scene.sign * found.fold.y, found.levels, found.windows),
        system.name if system else None,
        scene.scan(),
        "negative" if pulses.sign > 0 else "positive",
        found.lines,
        scene.termination(),
        (*notes, *found.notes, *scene.notes(case.circumstances.signal)),
        float(volts.mean()),
        float(volts.max()) - float(volts.min()),
        None if found.has_picture else found.least,
    )


def _field_alone(
    name: str,
    found: Found,
    sign: int,
    resolution: float,
    step: float,
    volts: NDArray[np.floating],
    case: Settings,
    notes: tuple[str, ...],
) -> Analysis:
    """Return what a line that carries field sync alone shows."""
    missing = {one: Raw(None, failure=NO_LINE) for one in NAMES if one not in found.raw}
    whole = replace(found, raw={**missing, **found.raw})
    quantities, budgets = to_quantities(whole, resolution, step, volts, case, sign=sign)
    quantities = tuple(nothing(one.name, NO_LINE, case) if one.name == "noise.rms" else one for one in quantities)
    budgets = {one: budget for one, budget in budgets.items() if one != "noise.rms"}
    return Analysis(
        name,
        quantities,
        budgets,
        None,
        polarity="negative" if sign > 0 else "positive",
        lines=found.lines,
        notes=(*notes, "field sync alone: two levels, no lines"),
        mean=float(volts.mean()),
        span=float(volts.max()) - float(volts.min()),
    )


def _at_tip(capture: Capture, name: str, case: Settings) -> float | str:
    """Return what the samples are to be multiplied by to stand at the probe's tip, or why that cannot be told."""
    told = capture.facts.get(name, NOTHING).probe
    if case.probe is None:
        return 1.0
    if told is not None:
        counted = {"tip": case.probe, "input": 1.0}.get(case.scale_at or "", told)
        return case.probe / told if counted == told else _at_odds(case, told)
    if case.probe == 1.0 or case.scale_at == "tip":
        return 1.0
    if case.scale_at == "input":
        return case.probe
    return f'a probe of x{case.probe:g} is declared, but not whether the scope knew: add scale_at = "tip" or "input"'


def _at_odds(case: Settings, told: float) -> str:
    return (
        f"the file says that the scope counted a probe of x{told:g}, and x{case.probe:g} with the scale at the probe's "
        f"{case.scale_at} is declared: look at probe and channel setting, then say what they are"
    )


def _screen(capture: Capture, name: str, case: Settings, factor: float) -> Screen | None:
    """Return the height of a division and the voltage in the middle of the screen [V], as far as they are known."""
    facts = capture.facts.get(name, NOTHING)
    division = case.division or facts.division
    offset = facts.offset if case.offset is None else case.offset
    return Screen(division * factor, offset and offset * factor) if division else None


def channel_of(capture: Capture, name: str | None) -> str:
    """Return a channel by its name in whatever case, the only one for None; InputError when there is none."""
    names = list(capture.volts)
    if name is None:
        if len(names) == 1:
            return names[0]
        raise InputError(f"the capture holds several channels; say which of {accepted(names)}", file=capture.file)
    for one in names:
        if one.casefold() == name.casefold():
            return one
    raise InputError(
        f"there is no channel '{name}'{nearest(name, names)}; the capture has {accepted(names)}", file=capture.file
    )


def _reduced(capture: Capture, name: str) -> tuple[NDArray[np.floating], float, tuple[str, ...]]:
    """Return the samples to work on: at most `LONGEST` seconds, averaged to steps of at most `FINEST`."""
    volts: NDArray[np.floating] = capture.volts[name]
    step, notes = capture.time_step, list(capture.notes)
    most = round(LONGEST / step)
    if len(volts) > most:
        volts = volts[:most]
        notes.append(f"only the first {1e3 * LONGEST:g} ms of {1e3 * capture.duration:.4g} ms were looked at")
    group = int(FINEST / step)
    if group > 1:
        n = len(volts) // group
        volts = volts[: n * group].reshape(n, group).mean(axis=1, dtype=np.float64)
        step *= group
    return volts, step, tuple(notes)


def _undersampled(step: float, scale: float = 1.0) -> str | None:
    if step <= SLOWEST * scale:
        return None
    return f"undersampled: {1e-6 / step:.3g} MHz; these scan lines need at least {4 / scale:g} MHz"


def _too_short(duration: float) -> str | None:
    longest = max(rate.periods[1] for rate in rates())
    if duration >= (MIN_LINES + 1) * longest:
        return None
    held = duration / longest
    return (
        f"too short: {1e6 * duration:.3g} us hold {held:.2g} scan lines of 15 kHz; at least {MIN_LINES + 1} are needed"
    )


def _no_sync(sync_channel: str | None) -> str:
    known = " or ".join(f"{1e-3 / rate.periods[1]:.3g} to {1e-3 / rate.periods[0]:.3g} kHz" for rate in rates())
    if sync_channel is not None:
        return f"no line sync of {known} was found on channel '{sync_channel}'"
    return f"no line sync of {known} was found on it; give the channel that carries sync"


@dataclass(frozen=True)
class _Scene:
    """The capture as a whole: what can be said in words."""

    found: Found
    system: System | None
    pulses: Pulses
    period: float
    width: float
    own: bool

    @property
    def sign(self) -> int:
        return self.pulses.sign if self.own else 1

    def scan(self) -> str | None:
        """Tell interlaced from non-interlaced by the number of lines between two field syncs."""
        fields = self.pulses.field_starts()
        if len(fields) < 2:
            return None
        halves = float(np.median(np.diff(fields))) / (self.period / 2)
        return "interlaced" if round(halves) % 2 else "non-interlaced"

    def termination(self) -> str | None:
        """Say what the sync amplitude hints at; a hint, never evidence."""
        raw = self.found.raw.get("level.sync", Raw(None))
        if raw.value is None or self.system is None or not self.found.has_picture:
            return None
        ratio = abs(raw.value) / self.system.sync
        if 1.6 <= ratio <= 2.4:
            return (
                "levels are about twice the nominal: the far end is not terminated, the source's series resistor is"
                " missing, or the source is twice as strong; a second reading into another load tells them apart"
            )
        if 0.55 <= ratio <= 0.78:
            return (
                "levels are about two thirds of the nominal: two loads of 75 ohm in parallel, or two series resistors"
                " one behind the other"
            )
        if 0.85 <= ratio <= 1.18:
            return "levels fit one load of 75 ohm"
        return None

    def notes(self, signal: str) -> tuple[str, ...]:
        said = []
        if self.own and self.pulses.sign < 0:
            said.append("sync goes positive" if signal == "sync" else "sync goes positive: the line is inverted")
        if self.system is None:
            said.append(f"a line period of {1e6 * self.period:.4g} us is that of no system known here")
        elif abs(self.period / self.system.period - 1) > 3e-4:
            percent = 100 * (self.period / self.system.period - 1)
            said.append(
                f"the line period is {percent:+.2f} % off the {self.system.title}'s, as non-interlaced"
                " sources often are"
            )
        if self.scan() == "non-interlaced":
            lines = round(float(np.median(np.diff(self.pulses.field_starts()))) / self.period)
            said.append(f"not interlaced: {lines} lines in a field")
        chroma, white = self.found.chroma, self.found.raw.get("level.white", Raw(None)).value
        if chroma and white:
            said.append(f"chroma reaches {1e3 * chroma:.3g} mV peak to peak, beside the levels given here")
        return tuple(said)
