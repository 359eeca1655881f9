"""Scope captures made by independent code: the waveform as the reference tables print it, then a scope's faults.

Nothing here is imported from the program under test. Levels and timing are those of the composite tables collected
from ITU-R BT.470-5 (625 lines B,G; 525 lines M), colour bars follow its luma and colour-difference equations:
Y = 0.299 R + 0.587 G + 0.114 B, U = 0.492111 (B - Y), V = 0.877283 (R - Y).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BARS = ((1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 0))


@dataclass(frozen=True)
class System:
    """One scanning system; times in seconds, levels in volts into 75 ohm."""

    period: float
    half_lines: int  # in one field
    sync_width: float
    equalising: float
    broad: float
    pulses: int  # of each kind round the field sync
    burst_start: float
    burst_cycles: float
    subcarrier: float
    active: float
    front: float
    white: float
    sync: float
    setup: float
    burst: float
    pal: bool
    blanked: int  # half-lines of field blanking


S625 = System(
    period=64e-6, half_lines=625, sync_width=4.7e-6, equalising=2.35e-6, broad=27.3e-6, pulses=5, burst_start=5.6e-6,
    burst_cycles=10, subcarrier=4.43361875e6, active=10.5e-6, front=1.5e-6, white=0.7, sync=0.3, setup=0.0, burst=0.3,
    pal=True, blanked=50,
)  # fmt: skip
S525 = System(
    period=1 / 15734.264, half_lines=525, sync_width=4.7e-6, equalising=2.3e-6, broad=27.1e-6, pulses=6,
    burst_start=5.3e-6, burst_cycles=9, subcarrier=315e6 / 88, active=9.4e-6, front=1.5e-6, white=100 / 140,
    sync=40 / 140, setup=7.5 / 140, burst=40 / 140, pal=False, blanked=40,
)  # fmt: skip


def bar_levels(amplitude: float, system: System = S625, first_white: bool = False) -> list[tuple[float, float, float]]:
    """Return Y, U, V [V above blanking] of the eight bars at a colour amplitude of 0..1."""
    rows = []
    span = system.white - system.setup
    for index, colour in enumerate(BARS):
        full = 1.0 if first_white and index == 0 else amplitude
        red, green, blue = (full * c for c in colour)
        luma = 0.299 * red + 0.587 * green + 0.114 * blue
        rows.append((system.setup + span * luma, span * 0.492111 * (blue - luma), span * 0.877283 * (red - luma)))
    return rows


def _step(x: Array, rise: float) -> Array:
    """Raised-cosine step from 0 to 1 centred on x = 0 with a 10-90 % time of `rise`."""
    total = rise / 0.5903  # the 10-90 % part of a raised cosine is 59.03 % of its length
    z = np.clip(x / total, -0.5, 0.5)
    return 0.5 * (1 + np.sin(np.pi * z))


@dataclass(frozen=True)
class Shot:
    """What is on the line and how the scope saw it."""

    system: System = S625
    rate: float = 20e6
    duration: float = 5e-3
    start: float = 0.0  # where in the frame the capture begins [s]
    picture: str = "bars"  # bars, white, black, box, window
    amplitude: float = 1.0  # of the bars
    first_white: bool = False
    kind: str = "composite"  # composite, luma, red, green, blue, sync, chroma
    rise: float = 0.2e-6
    picture_rise: float = 0.25e-6
    gain: float = 1.0
    offset: float = 0.0
    noise: float = 0.0  # rms, of white
    hum: float = 0.0  # peak to peak [V]
    hum_frequency: float = 50.0
    bits: int | None = None
    full_scale: float = 1.6
    invert: bool = False
    tilt: float = 0.0  # of white, over the active line
    overshoot: float = 0.0
    clip_high: float | None = None
    clip_low: float | None = None
    progressive: bool = False
    seed: int = 1
    jitter: float = 0.0

    def but(self, **changes: object) -> Shot:
        return replace(self, **changes)  # type: ignore[arg-type]


def waveform(shot: Shot) -> tuple[Array, Array]:
    """Return times and volts, shape (n_samples,)."""
    n = round(shot.duration * shot.rate)
    t = np.arange(n) / shot.rate
    v = _clean(shot, t + shot.start)
    return t, _scope(shot, t + shot.start, v)


def _scope(shot: Shot, t: Array, v: Array) -> Array:
    rng = np.random.default_rng(shot.seed)
    v = shot.gain * (-v if shot.invert else v) + shot.offset
    if shot.hum:
        v = v + 0.5 * shot.hum * np.sin(2 * np.pi * shot.hum_frequency * t + 0.7)
    if shot.noise:
        v = v + shot.noise * shot.system.white * rng.standard_normal(len(v))
    if shot.clip_high is not None or shot.clip_low is not None:
        v = np.clip(v, shot.clip_low, shot.clip_high)
    if shot.bits:
        q = shot.full_scale / 2**shot.bits
        v = q * np.round(v / q)
    return v


def _clean(shot: Shot, t: Array) -> Array:
    s = shot.system
    half = s.period / 2
    lead = 1e-6
    h = np.floor((t + lead) / half).astype(np.int64)
    phase = t - h * half
    per_field = s.half_lines - 1 if shot.progressive else s.half_lines
    r = h % per_field
    parity = (h - (h // per_field) * per_field) % 2 if shot.progressive else h % 2
    broad = r < s.pulses
    equal = ((r >= s.pulses) & (r < 2 * s.pulses)) | (r >= per_field - s.pulses)
    normal = ~(broad | equal)
    width = np.where(broad, s.broad, np.where(equal, s.equalising, s.sync_width))
    has_pulse = broad | equal | (normal & (parity == 0))
    pulse = np.where(has_pulse, _step(phase, shot.rise) - _step(phase - width, shot.rise), 0.0)
    line_phase = phase + parity * half
    line = (h - parity) // 2
    visible = normal & (r >= s.blanked) & (r < per_field - s.pulses - 1)
    if shot.kind == "sync":
        return -s.sync * pulse
    luma, u, v = _picture(shot, line_phase, line, r)
    luma, u, v = (np.where(visible, x, 0.0) for x in (luma, u, v))
    if shot.kind in ("red", "green", "blue"):
        return luma
    has_burst = normal & (r > 14)
    chroma = _chroma(shot, t, line, line_phase, u, v, has_burst)
    if shot.kind == "chroma":
        return chroma
    if shot.kind == "luma":
        return luma - s.sync * pulse
    return luma + chroma - s.sync * pulse


def _picture(shot: Shot, x: Array, line: NDArray[np.int64], r: NDArray[np.int64]) -> tuple[Array, Array, Array]:
    s = shot.system
    end = s.period - s.front
    span = end - s.active
    if shot.picture == "bars":
        rows = bar_levels(shot.amplitude, s, shot.first_white)
        if shot.kind in ("red", "green", "blue"):
            index = ("red", "green", "blue").index(shot.kind)
            rows = [
                (s.white * (1.0 if shot.first_white and i == 0 else shot.amplitude) * colour[index], 0.0, 0.0)
                for i, colour in enumerate(BARS)
            ]
        edges = [s.active + span * i / 8 for i in range(9)]
    elif shot.picture == "white":
        rows, edges = [(s.white, 0.0, 0.0)], [s.active, end]
    elif shot.picture == "black":
        rows, edges = [(s.setup, 0.0, 0.0)], [s.active, end]
    elif shot.picture == "window":
        rows = [(s.setup, 0.0, 0.0), (s.white, 0.0, 0.0), (s.setup, 0.0, 0.0)]
        edges = [s.active, s.active + span / 4, s.active + 3 * span / 4, end]
    else:  # a white box low in the picture on a grey ground
        grey = s.setup + 0.3 * (s.white - s.setup)
        rows = [(grey, 0.0, 0.0), (s.white, 0.0, 0.0), (grey, 0.0, 0.0)]
        edges = [s.active, s.active + span / 3, s.active + 2 * span / 3, end]
    out = []
    for part in range(3):
        levels = [0.0, *(row[part] for row in rows), 0.0]
        y = np.zeros_like(x)
        for edge, before, after in zip(edges, levels, levels[1:], strict=False):
            y += (after - before) * _step(x - edge, shot.picture_rise)
        out.append(y)
    if shot.picture == "box":
        inside = (r > 200) & (r < 400)
        grey = s.setup + 0.3 * (s.white - s.setup)
        ground = grey * (_step(x - s.active, shot.picture_rise) - _step(x - end, shot.picture_rise))
        out[0] = np.where(inside, out[0], ground)
    if shot.tilt:
        out[0] = out[0] * (1 - shot.tilt * (x - s.active) / span)
    if shot.overshoot:
        after = x - s.active - shot.picture_rise
        out[0] = out[0] + s.white * shot.overshoot * np.exp(-((after / 0.1e-6) ** 2))
    return out[0], out[1], out[2]


def _chroma(
    shot: Shot, t: Array, line: NDArray[np.int64], x: Array, u: Array, v: Array, has_burst: NDArray[np.bool_]
) -> Array:
    s = shot.system
    angle = 2 * np.pi * s.subcarrier * t
    length = s.burst_cycles / s.subcarrier
    gate = _step(x - s.burst_start, 0.2e-6) - _step(x - s.burst_start - length, 0.2e-6)
    amplitude = 0.5 * s.burst * np.where(has_burst, gate, 0.0)
    swing = np.where(line % 2 == 0, 1.0, -1.0) if s.pal else np.ones_like(x)
    if s.pal:
        bu, bv = -amplitude / np.sqrt(2), amplitude / np.sqrt(2)
    else:
        bu, bv = -amplitude, 0.0 * amplitude
    return (u + bu) * np.sin(angle) + swing * (v + bv) * np.cos(angle)


def csv_text(t: Array | None, columns: dict[str, Array], header: str = "", names: bool = True) -> str:
    """Return plain comma-separated text with a time column when `t` is given."""
    parts = [header] if header else []
    heads = (["Time (s)"] if t is not None else []) + [f"{name} (V)" for name in columns]
    if names:
        parts.append(",".join(heads) + "\n")
    arrays = ([t] if t is not None else []) + list(columns.values())
    rows = np.column_stack(arrays)
    parts.extend(",".join(f"{x:.9g}" for x in row) + "\n" for row in rows)
    return "".join(parts)
