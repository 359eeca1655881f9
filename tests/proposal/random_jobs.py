"""Proposals of random jobs, the best written into its job and checked again: `check` must say what was promised.

Run as `python -m tests.proposal.random_jobs [COUNT] [SEED]`; not collected by pytest, which runs a few of them only.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from guardcheck.engine import Engine
from guardcheck.job import parse_job
from guardcheck.model import Build, Finding, LineProposals, Proposals
from guardcheck.pipeline import Options, check_job, job_with
from guardcheck.pipeline.options import plan_of
from guardcheck.proposal.search import propose_lines
from guardcheck.verdict.outcome import misses
from tests.pipeline.jobs import line, text

SUPPLY = '\nrail_capacitance = "{bulk}"\nrail_load = "{load}"\nrail_max = "{most}"\nrail_esr = "0.1 ohm"'
FAMILIES = ("hc-logic", "asic-video-dac", "bipolar-encoder", "microcontroller", "ls-ttl", "unknown")
DRAWERS = (
    "",
    '[drawer]\nparts = ["silicon-pair", "suppressor-diode", "resistor-and-pair"]\n',
    '[drawer]\nresistors = ["33 ohm 5%", "75 ohm", "91 ohm", "100 ohm", "240 ohm 5%", "270 ohm", "680 ohm", "1 kohm"]\n'
    'parts = ["silicon-pair"]\n',
)
SAMPLES, MOST = 10, 2
"""Samples drawn of every build, and builds of a job that are written and checked: small, so that many jobs fit."""
CLOSE = 1e-9


@dataclass(frozen=True)
class Outcome:
    """What came of one job: its builds, and where the check of a written job says something else."""

    found: LineProposals
    checked: int
    wrong: tuple[str, ...]


STAGES = (
    ("pass-through", lambda draw: ""),
    ("series-resistor", lambda draw: f'series = "{draw.choice((22, 75, 220, 680))} ohm 5%"'),
    (
        "two-resistor-pad",
        lambda draw: f'series = "{draw.choice((47, 100))} ohm", shunt = "{draw.choice((150, 470))} ohm"',
    ),
    ("ac-coupled", lambda draw: f'capacitor = "220 uF 20%", series = "{draw.choice((0, 75))} ohm"'),
    ("npn-follower", lambda draw: ""),
    ("video-buffer", lambda draw: 'series = "75 ohm 1%"'),
)
KINDS = ("rgb", "rgb", "composite", "component", "current", "sync", "logic-sync", "switching", "blanking")


def random_job(draw: random.Random) -> tuple[str, str]:
    """Return the text of a job and the name of its line: any source, level, standard, stage, rail and drawer."""
    rail, most = draw.choice((("5 V", "5.5 V"), ("5 V 5%", "5.5 V"), ("3.3 V", "3.6 V")))
    kind = draw.choice(KINDS)
    standard, source, values = _source(draw, kind, 3.3 if rail == "3.3 V" else 5.0)
    stage, written = draw.choice(STAGES)
    made = line("one", standard, source, values, stage, written(draw), draw.choice(("none", "none", "silicon-pair")))
    family = draw.choice(FAMILIES)
    made += 'pin = "unknown"\n' if family == "unknown" else f'pin = {{ family = "{family}" }}\n'
    supply = SUPPLY.format(bulk=draw.choice(("10 uF", "220 uF 20%")), load=draw.choice(("20 mA", "300 mA")), most=most)
    use = draw.choice(("", "", '[use]\nforbids = ["misplug", "hot-plug"]\n'))
    cable = draw.choice(("none", "none", "coax-75"))
    job = text(made, rail=rail, cable=cable).replace(f'rail = "{rail}"', f'rail = "{rail}"{supply}')
    if cable != "none":
        job = job.replace(f'kind = "{cable}"', f'kind = "{cable}"\nlength = "2 m"')
    return job + use + draw.choice(DRAWERS), "one"


def _source(draw: random.Random, kind: str, top: float) -> tuple[str, str, str]:
    """Return the standard, the source and the values of a line; its impedance is not always known."""
    tolerance = draw.choice(("", " 2%", " 10%"))
    ohms = draw.choice((1, 10, 47, 75, 150, 330))
    impedance = draw.choice((f', impedance = "{ohms} ohm"',) * 5 + ("",))
    if kind in ("sync", "logic-sync"):
        standard = "scart-sync" if kind == "sync" else "logic-sync"
        return standard, "logic-pin", f'high = "{top} V{tolerance}", low = "0 V"{impedance}'
    if kind in ("switching", "blanking"):
        volts = draw.choice((5.0, 9.0, 12.0)) if kind == "switching" else draw.choice((3.3, 5.0, 12.0))
        return f"scart-{kind}", "switch-pin", f'voltage = "{volts} V{tolerance}"{impedance}'
    if kind == "current":
        return (
            "scart-rgb",
            "current-dac",
            f'white = "{draw.choice((9, 18.7, 26.7))} mA{tolerance}", compliance = "1.5 V"',
        )
    white = round(draw.uniform(0.3, 0.9 * top), 2)
    if kind == "rgb":
        black = f', black = "{round(draw.uniform(0.0, 0.3 * white), 2)} V"' if draw.random() < 0.5 else ""
        return "scart-rgb", "video-pin", f'white = "{white} V{tolerance}"{impedance}{black}'
    white = max(white, 0.8)
    levels = f'black = "{white * 0.3:.2f} V", blank = "{white * 0.3:.2f} V", sync = "0 V"'
    standard = {"composite": "scart-composite", "component": "component-sd"}[kind]
    return standard, "video-pin", f'white = "{white} V{tolerance}", {levels}{impedance}'


def outcome_of(engine: Engine, job: str, name: str, folder: Path, builds: int | None = None) -> Outcome:
    """Search builds for a line, write each into the job and hold what `check` says against what was promised."""
    path = folder / "job.toml"
    path.write_text(job, encoding="utf-8")
    plan = plan_of(parse_job(job, file=str(path)), Options(samples=0))
    engine.allow(300.0)
    found = propose_lines(engine, plan, name, samples=SAMPLES, seed=1, say=lambda done, total, what: None)
    wrong: list[str] = []
    checked = found.builds[:builds]
    for build in checked:
        written = job_with(path, Proposals("BENCH-1", "invented", (found,), None), build.rank)
        engine.allow(300.0)
        result = check_job(parse_job(written, file=str(path)), engine, Options(samples=SAMPLES))
        rows = [one for one in result.findings if one.line == name and one.guarded == (build.guard != "none")]
        wrong += [f"build {build.rank}: {what}" for what in _differences(build, rows)]
    if not found.builds and not found.none_because:
        wrong.append("no build, and no reason why")
    return Outcome(found, len(checked), tuple(wrong))


def _differences(build: Build, rows: list[Finding]) -> Iterator[str]:
    for one in rows:
        if misses(one) and (one.needed or one.event is None):
            yield f"check says that {one.id} does not conform"
    promised = {"level.white": build.white, "level.sync": build.sync, "response.impedance": build.impedance}
    for quantity, spread in promised.items():
        seen = next((one for one in rows if one.quantity == quantity and one.event is None), None)
        value = None if seen is None else seen.value
        if (spread is None) != (value is None):
            yield f"{quantity}: promised {spread}, check says {value}"
        elif seen is not None and spread is not None and value is not None:
            low, high = seen.spread or (value, value)
            pairs = ((spread.value, value), (spread.low, low), (spread.high, high))
            if any(abs(ours - theirs) > CLOSE for ours, theirs in pairs):
                yield f"{quantity}: promised {spread}, check says {value} ({low} to {high})"
    shares = [one.yield_ for one in rows if one.yield_ is not None and one.event is None]
    if min(shares, default=None) != build.yield_:
        yield f"yield: promised {build.yield_}, check says {min(shares, default=None)}"
    margins: dict[str, float] = {}
    for one in rows:
        if one.quantity in ("event.margin", "event.part_margin") and one.needed and one.event is not None:
            margins[one.event] = min(margins.get(one.event, float("inf")), -120.0 if one.value is None else one.value)
    if set(margins) != set(build.margins):
        yield f"margins of {sorted(build.margins)} promised, check has those of {sorted(margins)}"
    for event, margin in build.margins.items():
        if event in margins and abs(margins[event] - (margin if margin is not None else -120.0)) > CLOSE:
            yield f"{event}: promised {margin} dB, check says {margins[event]} dB"
    unsure = {one.event or one.quantity for one in rows if one.needed and one.outcome == "not_proven"}
    if unsure != set(build.open_):
        yield f"open: promised {sorted(build.open_)}, check says {sorted(unsure)}"


def main(count: int, seed: int) -> int:
    """Run so many random jobs and print what came of them; returns 1 when a promise was not kept."""
    counts: Counter[str] = Counter()
    started = time.monotonic()
    with Engine() as engine, tempfile.TemporaryDirectory() as folder:
        for index in range(seed, seed + count):
            job, name = random_job(random.Random(index))
            one = outcome_of(engine, job, name, Path(folder), MOST)
            counts["jobs"] += 1
            counts["with a build"] += bool(one.found.builds)
            counts["builds checked"] += one.checked
            counts["jobs wrong"] += bool(one.wrong)
            told = one.found.builds[0].say if one.found.builds else one.found.none_because
            sys.stdout.write(f"{index}: {len(one.found.builds)} builds, {time.monotonic() - started:.0f} s; {told}\n")
            sys.stdout.writelines(f"    WRONG {what}\n" for what in one.wrong)
            sys.stdout.flush()
    sys.stdout.write(", ".join(f"{number} {name}" for name, number in counts.items()) + "\n")
    return 1 if counts["jobs wrong"] else 0


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    sys.exit(main(*(given + [50, 1][len(given) :])))
