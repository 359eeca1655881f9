"""Small jobs and readings files for the tests of `verify`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import Finding, Result
from guardcheck.pipeline import Options, given, verify_job
from tests.measure.measure_synth import Shot, csv_text, waveform
from tests.pipeline.jobs import line, text

BACK_MATCHED = line("red", source_values='white = "1.4 V", impedance = "1 mohm"', stage_values='series = "75 ohm 1%"')
"""A source of twice the level behind 75 ohm: the textbook output of video-levels, 0.7 V into 75 ohm."""


def lines(count: int) -> str:
    """Return so many lines f0, f1, ... all built as `BACK_MATCHED`: one run for a whole table of readings."""
    names = ", ".join(f'"f{index}"' for index in range(count))
    return BACK_MATCHED.replace('names = ["red"]', f"names = [{names}]")


def reading(line_: str = "red", quantity: str = "level.white", value: str = "700 mV", **more: str) -> str:
    """Return one reading, taken at the display into 75 ohm of a white field unless told otherwise ('' leaves out)."""
    told = {"place": "display", "load": "terminated", "picture": "white", **more}
    if quantity in ("level.blank", "level.high", "level.low") and "instrument" not in more:
        told = {"coupling": "dc", **told}
    rows = "".join(f'{key} = "{word}"\n' for key, word in told.items() if word)
    return f'[[reading]]\nline = "{line_}"\nquantity = "{quantity}"\nvalue = "{value}"\n{rows}'


def dark(line_: str = "red", *quantities: str) -> str:
    """Return readings of a line's dark levels, black and blanking unless told otherwise, all at 0 V on colour bars."""
    named = quantities or ("level.black", "level.blank")
    finely = {"picture": "bars-100", "accuracy": "3% + 5 mV", "resolution": "2 mV"}
    return "".join(reading(line_, quantity, "0 mV", **finely) for quantity in named)


def run(engine: Engine, folder: Path, job: str, *readings: str, captures: tuple[str, ...] = (), **more: Any) -> Result:
    """Verify readings (and captures) of a job, without tolerance samples."""
    file = None
    if readings:
        file = folder / "readings.toml"
        file.write_text("format = 1\n" + "".join(readings), encoding="utf-8")
    parsed = parse_job(job, file=str(folder / "job.toml"), folder=folder)
    return verify_job(parsed, engine, given(file, captures, **more), Options(samples=0))


def only(result: Result, quantity: str, line_: str = "red", where: str | None = None) -> Finding:
    """Return the one finding of a quantity."""
    found = [one for one in result.findings if (one.line, one.quantity, one.where) == (line_, quantity, where)]
    assert len(found) == 1, [one.id for one in result.findings]
    return found[0]


def causes(result: Result, line_: str = "red") -> list[str]:
    """Return the ids of what explains a line, best first."""
    found = [one for one in result.extra["explanations"] if one["line"] == line_]
    assert len(found) == 1, [one["line"] for one in result.extra["explanations"]]
    return [cause["id"] for cause in found[0]["causes"]]


def capture(folder: Path, name: str, **channels: Shot) -> str:
    """Write a capture with a channel for each shot and return its path."""
    columns = {}
    time = None
    for channel, shot in channels.items():
        time, columns[channel] = waveform(shot)
    path = folder / name
    path.write_text(csv_text(time, columns), encoding="utf-8")
    return str(path)


__all__ = ["BACK_MATCHED", "capture", "causes", "dark", "line", "lines", "only", "reading", "run", "text"]
