"""Peak memory and time of a capture of ten million points: ``python tests/benchmarks/capture_memory.py [POINTS]``.

The file is written to a temporary folder, read and analysed in a fresh process whose peak is taken from the system.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

POINTS = 10_000_000
MOST_GIB = 1.5
STEP = 4e-9
PERIOD = 64e-6


def write(path: Path, points: int) -> None:
    """Write two channels with a time column: a white field with sync, and sync alone, 8-bit steps."""
    rng = np.random.default_rng(1)
    with path.open("wb") as stream:
        stream.write(b"Bench capture\nTime (s),CH1 (V),CH2 (V)\n")
        for first in range(0, points, 250_000):
            t = np.arange(first, min(first + 250_000, points)) * STEP
            phase = (t + 1e-6) % PERIOD - 1e-6
            sync = np.where((phase >= 0) & (phase < 4.7e-6), -0.3, 0.0)
            white = np.where((phase > 10.5e-6) & (phase < PERIOD - 1.5e-6), 0.7, 0.0)
            noisy = (sync + white)[None, :] * [[1], [0]] + sync * [[0], [1]] + rng.normal(0, 0.01, (2, len(t)))
            steps = np.round(noisy / 0.00625) * 0.00625
            columns = [np.char.mod("%.9e", t), np.char.mod("%.5f", steps[0]), np.char.mod("%.5f", steps[1])]
            rows = np.char.add(np.char.add(np.char.add(columns[0], ","), np.char.add(columns[1], ",")), columns[2])
            stream.write("\n".join(rows.tolist()).encode("ascii") + b"\n")


def measure(path: str) -> None:
    """Read and analyse; write seconds, peak [GiB] and what was found."""
    from guardcheck.measure.capture import Settings, analyse, read_capture

    start = time.perf_counter()
    capture = read_capture(path)
    read = time.perf_counter() - start
    found = analyse(capture, "CH1", settings=Settings(picture="white"))
    done = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    white = found.quantity("level.white").value or 0.0
    sys.stdout.write(f"{capture.n_points} {read:.2f} {done - read:.2f} {peak:.3f} {white:.4f}\n")


def run(points: int = POINTS) -> tuple[int, float, float, float, float]:
    """Return points, seconds to read, seconds to analyse, peak [GiB] and white [V]."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "capture.csv"
        write(path, points)
        out = subprocess.run(
            [sys.executable, __file__, "--measure", str(path)], check=True, capture_output=True, text=True, timeout=600
        ).stdout.split()
    return int(out[0]), float(out[1]), float(out[2]), float(out[3]), float(out[4])


def main() -> int:
    """Run and print; returns 1 when the peak is above the limit."""
    if sys.argv[1:2] == ["--measure"]:
        measure(sys.argv[2])
        return 0
    points, read, analysed, peak, white = run(int(sys.argv[1]) if len(sys.argv) > 1 else POINTS)
    verdict = "within" if peak <= MOST_GIB else "ABOVE"
    sys.stdout.write(
        f"{points} points, two channels: read in {read:.1f} s, analysed in {analysed:.1f} s, peak {peak:.2f} GiB"
        f" ({verdict} {MOST_GIB} GiB), white {white:.4f} V\n"
    )
    return 0 if peak <= MOST_GIB else 1


if __name__ == "__main__":
    sys.exit(main())
