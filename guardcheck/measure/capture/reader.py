"""Scope captures read from text files, block by block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from guardcheck.errors import InputError, accepted, nearest
from guardcheck.measure.capture.dialect import Column, Dialect, sniff, wanted_units
from guardcheck.measure.capture.header import channel_facts
from guardcheck.measure.capture.records import Capture
from guardcheck.measure.capture.table import open_capture, read_block, to_numbers, whole_lines

HEAD_BYTES = 1 << 17
MIN_POINTS, MAX_POINTS = 16, 20_000_000
OFF_SCREEN = 1e5
STATED_OFF = 0.01
"""Share by which the time column may differ from the sample interval stated above it: printed figures are rounded."""


def read_capture(path: Path | str, *, channel: str | None = None) -> Capture:
    """Read a scope capture from delimited text, gzip-compressed or not.

    Lines of text before the table are allowed; columns may be separated by comma, semicolon, tab or spaces, with
    decimal points or (not with comma as separator) decimal commas. Time comes from a time column or from a sample
    interval or sample rate stated above the table. Units stand in the header; without one, seconds and volts are
    presumed and a note says so.

    Parameters
    ----------
    path : the file
    channel : keep only this channel, by its name in the header; None keeps all

    Returns
    -------
    Capture
        samples as float32 [V], shape ``(n_points,)`` for each channel

    Raises
    ------
    InputError
        the file cannot be understood; the sentence names the line where one is to blame

    """
    file = str(path)
    stream = open_capture(Path(path))
    with stream:
        head = read_block(stream, HEAD_BYTES, file)
        dialect = sniff(_head_lines(head, file), file=file)
        body = head.split(b"\n", dialect.skip)[dialect.skip]
        collector = _Collector(dialect, file, channel)
        line = dialect.skip + 1
        for block in whole_lines(body, stream, file):
            collector.add(to_numbers(block, dialect, len(dialect.columns), line, file), line)
            line += block.count(b"\n")
    return collector.capture()


def _head_lines(head: bytes, file: str) -> list[str]:
    if not head.strip():
        raise InputError("the file is empty", file=file)
    if head[:2] in (b"\xff\xfe", b"\xfe\xff") or head[1:2] == b"\x00":
        raise InputError("the file is UTF-16 text; save it as plain text (UTF-8)", file=file)
    if b"\x00" in head:
        raise InputError("this is not a text file; accepted is delimited text, plain or gzip-compressed", file=file)
    if b"\n" not in head and b"\r" in head:
        raise InputError("lines end with a lone carriage return; save the file with ordinary line ends", file=file)
    text = head.decode("utf-8", errors="replace").removeprefix("\ufeff")
    return text.replace("\r\n", "\n").split("\n")[: -1 if not text.endswith("\n") and text.count("\n") > 3 else None]


@dataclass
class _Collector:
    """Gathers blocks; knows which columns are wanted once the first block is seen."""

    dialect: Dialect
    file: str
    channel: str | None
    columns: tuple[Column, ...] = ()
    time_column: int | None = None
    kept: tuple[int, ...] = ()
    points: int = 0
    times: list[NDArray[np.float64]] = field(default_factory=list)
    volts: list[list[NDArray[np.float32]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def add(self, rows: NDArray[np.float64], line: int) -> None:
        if not len(rows):
            return
        if not self.columns:
            self._settle(rows)
        self.points += len(rows)
        if self.points > MAX_POINTS:
            raise InputError(
                f"the file holds more than {MAX_POINTS} points; a few fields of video are enough", file=self.file
            )
        if self.time_column is not None:
            time = rows[:, self.time_column] * self.columns[self.time_column].scale
            before = self.times[-1][-1] if self.times else -np.inf
            back = np.flatnonzero(np.diff(time, prepend=before) < 0)
            if len(back):
                raise InputError("time runs backwards here", file=self.file, line=line + int(back[0]))
            self.times.append(time)
        for place, index in enumerate(self.kept):
            values = rows[:, index] * self.columns[index].scale
            wild = np.flatnonzero(np.abs(values) > OFF_SCREEN)
            if len(wild):
                raise InputError(
                    f"{rows[wild[0], index]:g} is no voltage: instruments write such a number for 'off the screen';"
                    " capture again with the whole trace on the screen",
                    file=self.file,
                    line=line + int(wild[0]),
                )
            self.volts[place].append(values.astype(np.float32))

    def _settle(self, rows: NDArray[np.float64]) -> None:
        self.notes.extend(self.dialect.notes)
        columns = list(self.dialect.columns)
        times = [i for i, column in enumerate(columns) if column.kind == "time"]
        if not times and not columns[0].name and len(columns) > 1 and _looks_like_time(rows[:, 0]):
            columns[0] = replace(columns[0], name="time", kind="time", scale=1.0)
            self.notes.append("the first column rises evenly and is taken as time in seconds")
            times = [0]
        self.time_column = times[0] if times else None
        if self.time_column is None and self.dialect.interval is None:
            raise InputError(
                "no time column and no sample interval was found; add a column 'Time (s)' or a line"
                " 'sample interval, 1e-7 s' above the table",
                file=self.file,
            )
        names: list[str] = []
        for index, column in enumerate(columns):
            name = column.name or f"column {index + 1}"
            while name in names:
                name += "'"
            names.append(name)
            columns[index] = replace(column, name=name)
            if column.kind == "volts" and not column.unit:
                self.notes.append(f"no unit stands beside '{name}': volts are presumed")
        self.columns = tuple(columns)
        self.kept = self._choose()
        self.volts = [[] for _ in self.kept]

    def _choose(self) -> tuple[int, ...]:
        usable = [i for i, column in enumerate(self.columns) if column.kind == "volts"]
        if self.channel is None:
            if not usable:
                units = ", ".join(f"'{c.name}' in {c.unit or '?'}" for c in self.columns)
                raise InputError(f"no column holds volts (found {units}; accepted {wanted_units()})", file=self.file)
            return tuple(usable)
        for index, column in enumerate(self.columns):
            if column.name.casefold() == self.channel.casefold():
                if index in usable:
                    return (index,)
                raise InputError(
                    f"column '{column.name}' holds {column.unit or column.kind}, volts are wanted", file=self.file
                )
        names = [self.columns[i].name for i in usable]
        raise InputError(
            f"there is no channel '{self.channel}'{nearest(self.channel, names)}; the file has {accepted(names)}",
            file=self.file,
        )

    def capture(self) -> Capture:
        if self.points < MIN_POINTS:
            raise InputError(f"only {self.points} points; at least {MIN_POINTS} are needed", file=self.file)
        start, step = self._time_base()
        volts: dict[str, NDArray[np.float32]] = {}
        for place, index in enumerate(self.kept):
            volts[self.columns[index].name] = np.concatenate(self.volts[place])
            self.volts[place] = []
        resolution = {name: voltage_step(values) for name, values in volts.items()}
        facts = channel_facts(self.dialect.rows, [c.name for c in self.columns if c.kind == "volts"])
        return Capture(self.file, step, start, volts, resolution, tuple(self.notes), {n: facts[n] for n in volts})

    def _time_base(self) -> tuple[float, float]:
        if self.time_column is None:
            return 0.0, float(self.dialect.interval or 0.0)
        last = float(self.times[-1][-1])
        first = float(self.times[0][0])
        step = (last - first) / (self.points - 1)
        if step <= 0:
            raise InputError("the time column does not advance", file=self.file)
        coarse = _print_step(self.times, step)
        stated = self.dialect.interval
        if stated is not None and abs(stated / step - 1.0) > STATED_OFF:
            raise InputError(
                f"the time column advances by {1e6 * step:.4g} us, and above the table stands {1e6 * stated:.4g} us for"
                " each sample: one of them is wrong; take away the wrong one",
                file=self.file,
            )
        done = 0
        for time in self.times:
            off = np.abs(time - first - step * np.arange(done, done + len(time)))
            worst = int(np.argmax(off))
            if off[worst] > max(1.01 * step, coarse):
                raise InputError(
                    f"the samples are not evenly spaced (row {done + worst + 1} of the table is"
                    f" {off[worst] / step:.3g} steps from its place): rows are missing or the capture is in segments",
                    file=self.file,
                    line=self.dialect.skip + 1 + done + worst,
                )
            done += len(time)
        if coarse > 1.5 * step:
            self.notes.append("the time column is printed too coarsely to tell samples apart; the step is the average")
        self.times = []
        return first, step


def _looks_like_time(values: NDArray[np.float64]) -> bool:
    steps = np.diff(values)
    return bool(len(steps) and steps.min() >= 0 and values[-1] > values[0] and steps.max() < 20 * steps.mean())


def _print_step(times: Sequence[NDArray[np.float64]], step: float) -> float:
    """Return the step the printed times advance in, where it is coarser than the samples [s]."""
    gaps = np.concatenate([np.diff(time) for time in (times[0], times[-1])])
    equal = float(np.mean(gaps <= 1e-3 * step)) if len(gaps) else 0.0
    return float(1.01 * gaps.max()) if equal > 0.2 else 0.0


def voltage_step(values: NDArray[np.float32]) -> float:
    """Return the smallest step between the values of a quantised trace [V], 0 when they form no steps.

    A scope of 8 to 10 bits gives at most some thousand different values; more means the file was averaged or made.
    """
    sample = values[: 1 << 18]
    levels = np.unique(sample).astype(np.float64)
    if not 2 <= len(levels) <= min(2048, len(sample) // 4):
        return 0.0
    gaps = np.diff(levels)
    real = gaps[gaps > 1e-3 * (levels[-1] - levels[0]) / len(levels)]
    return float(np.median(real[real < 1.5 * real.min()]))
