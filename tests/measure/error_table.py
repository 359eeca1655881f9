"""Error of each quantity of a capture against noise and sample rate; `python -m tests.measure.error_table` prints it.

The captures come from independent code (measure_synth.py) with 8-bit quantisation, 50 mV of mains hum and a DC offset.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from guardcheck.measure.capture import Analysis, Capture, Settings, analyse
from guardcheck.measure.capture.reader import voltage_step
from guardcheck.measure.readings import Circumstances
from tests.measure.measure_synth import S525, S625, Shot, waveform

RATES = (4e6, 5e6, 8e6, 12.3e6, 20e6, 50e6)
NOISES = (0.0, 0.01, 0.03)
OFFSET = 0.23


class Row(NamedTuple):
    """One captured quantity: what it should be, what was found."""

    system: str
    rate: float
    noise: float
    quantity: str
    truth: float
    value: float | None
    uncertainty: float | None
    failure: str | None


def capture_of(shot: Shot, sync: Shot | None = None) -> Capture:
    """Return a shot as the reader would hand it over; `sync` becomes a second channel."""
    channels = {"signal": waveform(shot)[1].astype(np.float32)}
    if sync is not None:
        channels["sync"] = waveform(sync)[1].astype(np.float32)
    return Capture("made.csv", 1 / shot.rate, 0.0, channels, {name: voltage_step(v) for name, v in channels.items()})


def truths(shot: Shot) -> dict[str, float]:
    """Return what the reference tables say is on the line."""
    s = shot.system
    found = {
        "level.white": s.white,
        "level.sync": s.sync,
        "level.pp": s.white + s.sync,
        "level.blank": shot.offset,
        "timing.line_period": s.period,
        "timing.sync_width": s.sync_width,
        "timing.back_porch": s.active - s.sync_width,
        "noise.rms": float(np.hypot(shot.noise * s.white, 0.0)),
    }
    if shot.picture == "bars":
        found["level.black"] = s.setup
    if shot.picture == "white":
        found["response.line_tilt"] = shot.tilt
        found["timing.front_porch"] = s.front
    if shot.kind == "composite":
        found |= {"burst.amplitude": s.burst, "burst.frequency": s.subcarrier}
    return found


def shots() -> Iterator[Shot]:
    """Yield the matrix: both systems, bars and white, every rate and noise."""
    for system in (S625, S525):
        for picture in ("bars", "white"):
            for rate in RATES:
                for noise in NOISES:
                    yield Shot(
                        system=system, picture=picture, rate=rate, noise=noise, bits=8, hum=0.05, offset=OFFSET,
                        duration=8e-3, start=2.1e-3, seed=round(rate / 1e5) + round(1e3 * noise),
                        tilt=0.03 * (picture == "white"),
                    )  # fmt: skip


def look(shot: Shot) -> Analysis:
    """Analyse a shot with its picture declared and the stage known to be matched."""
    picture = "bars-100" if shot.picture == "bars" else "white"
    return analyse(
        capture_of(shot), settings=Settings(picture=picture, load="terminated", circumstances=Circumstances(75.0))
    )


def rows(shot: Shot) -> list[Row]:
    """Return one row for each quantity with a known truth."""
    found = look(shot)
    name = str(shot.system.half_lines)
    out = []
    for quantity, truth in truths(shot).items():
        if quantity in ("level.white", "level.pp") and shot.tilt:
            truth -= 0.5 * shot.tilt * shot.system.white
        q = found.quantity(quantity)
        out.append(Row(name, shot.rate, shot.noise, quantity, truth, q.value, q.uncertainty, q.failure))
    return out


def table() -> str:
    """Return the worst error of each quantity by rate and noise, as text."""
    worst: dict[tuple[str, float, float], float | None] = {}
    for shot in shots():
        for row in rows(shot):
            key = (row.quantity, row.rate, row.noise)
            if row.value is None:
                worst.setdefault(key, None)
                continue
            scale = row.truth if row.quantity in RELATIVE else 1.0
            worst[key] = max(worst.get(key) or 0.0, abs(row.value - row.truth) / abs(scale))
    lines = ["quantity (worst error)      noise " + "".join(f"{rate / 1e6:>10.4g} MHz" for rate in RATES)]
    for quantity in dict.fromkeys(key[0] for key in worst):
        for noise in NOISES:
            cells = "".join(f"{_cell(quantity, worst.get((quantity, rate, noise))):>14}" for rate in RATES)
            lines.append(f"{quantity:<26} {100 * noise:>4.0f} % {cells}")
    return "\n".join(lines) + "\n"


RELATIVE = ("level.white", "level.sync", "level.pp", "burst.amplitude", "burst.frequency", "timing.line_period")


def _cell(quantity: str, error: float | None) -> str:
    if error is None:
        return "not proven"
    if quantity in ("burst.frequency", "timing.line_period"):
        return f"{1e6 * error:.2f} ppm"
    if quantity in RELATIVE or quantity == "response.line_tilt":
        return f"{100 * error:.2f} %"
    if quantity.startswith("timing"):
        return f"{1e9 * error:.0f} ns"
    return f"{1e3 * error:.2f} mV"


if __name__ == "__main__":
    sys.stdout.write(table())
