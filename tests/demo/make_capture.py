"""Make the demo's scope capture: an invented unit's red line and sync, as an 8-bit scope would write them. Seeded."""

from __future__ import annotations

import sys
from pathlib import Path

if __package__ in (None, ""):  # run as a script
    sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.measure.measure_synth import Shot, waveform

FILE = Path(__file__).parents[2] / "reports-demo" / "lantern-16" / "red.csv"
RATE = 8e6
WHITE = 0.678
"""White of the finished unit [V]: close to the plan, not on it."""


def capture_text() -> str:
    """Return six scan lines of a white field on channel CH1, sync on CH2, with the interval above the table."""
    shot = Shot(rate=RATE, duration=0.42e-3, start=4e-3, bits=8, noise=0.004, full_scale=1.6, seed=16)
    _, red = waveform(shot.but(kind="red", picture="white", gain=WHITE / 0.7))
    _, sync = waveform(shot.but(kind="sync", seed=17, gain=0.97))
    head = f"Record Length,{len(red)}\nSample Interval,{1 / RATE:.3e}\nVertical Units,V\nCH1 (V),CH2 (V)\n"
    return head + "".join(f"{a:.4f},{b:.4f}\n" for a, b in zip(red, sync, strict=True))


if __name__ == "__main__":
    FILE.write_text(capture_text(), encoding="utf-8")
