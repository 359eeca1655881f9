"""An invented result that holds everything a report must cope with. Its numbers are plausible, not computed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from guardcheck.model import (
    CONFORMS,
    DECLARED_ORIGIN,
    DOES_NOT_CONFORM,
    MEASURED,
    NOT_APPLICABLE,
    NOT_PROVEN,
    QUANTITIES,
    CircuitUsed,
    Curve,
    EngineInfo,
    Finding,
    Limit,
    Result,
)

WHITE = Limit(
    "level.white", 0.496, 0.989, 0.7, "Invented standard 1, 2nd edition", "computed", "table 1", "0.7 V, 3 dB"
)
SYNC = Limit("level.sync", 0.212, 0.949, 0.3, "Invented standard 1, 2nd edition", "read", "table 1")
BLANK = Limit("level.blank", 0.0, 2.0, None, "Invented standard 1, 2nd edition", "recalled")
IMPEDANCE = Limit("response.impedance", 61.4, 91.7, 75.0, "20 dB return loss", "practice")
MISMATCH = Limit("level.mismatch", None, 0.5, None, "Invented standard 1, 2nd edition", "recalled")
GUARD = Limit("guard.level_error", -0.06, 0.06, 0.0, "Invented application note 7", "read", "page 3")
TOUCH = Limit("touch.current", None, 0.00025, None, "Invented safety standard 2", "recalled")
MARGIN = Limit("event.margin", 0.0, None, None, "pin ratings declared in the job file", "computed")
BOND = Limit("bond.resistance", None, 0.1, None, "Invented safety standard 2", "read", "5.6.6")


def finding(
    rule: str, quantity: str, line: str | None, guarded: bool | None, value: float | None, **rest: Any
) -> Finding:
    """Return a finding with a reason of its own; `low` and `high` alone make a limit that nobody published."""
    ends = [rest.pop(key, None) for key in ("low", "high")]
    if ends != [None, None]:
        rest["limit"] = Limit(quantity, *ends, None, "Invented standard 9", "read")
    limit = rest.get("limit")
    base = {
        "unit": QUANTITIES[quantity].unit,
        "outcome": NOT_APPLICABLE if limit is None else CONFORMS,
        "why": "no limit applies" if limit is None else "the whole worst case lies inside the limits",
        "needed": limit is not None,
    }
    return Finding(rule, quantity, line, guarded, value, **{**base, **rest})


def _colour(line: str, white: float) -> list[Finding]:
    spread = (white * 0.97, white * 1.03)
    common = {"limit": WHITE, "spread": spread, "interval": (white * 0.98, white * 1.02), "yield_": 1.0}
    return [
        finding("LVL01", "level.white", line, False, white * 1.004, **common, needed=False),
        finding("LVL01", "level.white", line, True, white, **common),
        finding("LVL01", "level.blank", line, False, 0.0, limit=BLANK, needed=False),
        finding("LVL01", "level.blank", line, True, 0.0004, limit=BLANK, spread=(0.0, 0.0011)),
        finding("LVL01", "level.pp", line, False, white * 1.004),
        finding("LVL01", "level.pp", line, True, white),
        finding("LVL01", "level.mismatch", line, True, 0.12, limit=MISMATCH, spread=(0.0, 0.46)),
        finding("IMP01", "response.impedance", line, False, 75.1, limit=IMPEDANCE, needed=False),
        finding("IMP01", "response.impedance", line, True, 75.4, limit=IMPEDANCE, spread=(74.1, 76.7)),
        finding("GRD01", "guard.level_error", line, True, -0.0041, limit=GUARD, spread=(-0.006, -0.003)),
    ]


def _red() -> list[Finding]:
    hot = "Not proven: the white level is inside, but builds from 470 mV to 560 mV cross the limits; 8 % would fail."
    rows = [f for f in _colour("red", 0.514) if (f.quantity, f.guarded) != ("level.white", True)]
    rows.append(
        finding(
            "LVL01", "level.white", "red", True, 0.514, limit=WHITE, outcome=NOT_PROVEN, why=hot, spread=(0.47, 0.56),
            interval=(0.482, 0.547), yield_=0.92,
            remedy="fit parts of closer tolerance, or measure the level after soldering",
        )
    )  # fmt: skip
    return rows


def _sync() -> list[Finding]:
    high = "1.31 V lies above the limits (212 mV to 949 mV)"
    cure = "the display is not terminated: switch its 75-ohm termination on or fit a 75-ohm terminator"
    lost = "Not proven: the response deck did not converge; ngspice said: timestep too small"
    return [
        finding("LVL02", "level.sync", "sync", False, 1.31, limit=SYNC, outcome=DOES_NOT_CONFORM, why=high, remedy=cure,
                spread=(1.24, 1.38), interval=(1.26, 1.36), yield_=0.0),
        finding("LVL02", "level.blank", "sync", False, 0.65, limit=BLANK, spread=(0.6, 0.7)),
        finding("LVL02", "response.bandwidth", "sync", False, None, outcome=NOT_PROVEN, why=lost, needed=True),
        finding("LVL02", "response.impedance", "sync", False, 470.0),
    ]  # fmt: skip


def _events() -> list[Finding]:
    rows = []
    for event, severity, bare, guarded in (
        ("hot-plug", "first contact", -19.2, 4.4),
        ("hot-plug", "re-contact", -18.7, 0.6),
        ("esd-contact", "15 kV", -31.0, -6.1),
        ("esd-contact", "2 kV", -12.0, 8.8),
    ):
        for state, margin in ((False, bare), (True, guarded)):
            word = CONFORMS if margin >= 1.5 else DOES_NOT_CONFORM if margin <= -1.5 else NOT_PROVEN
            rows.append(
                finding(
                    "EVT01", "event.margin", "red", state, margin, limit=MARGIN, outcome=word, event=event,
                    severity=severity, needed=state and event == "hot-plug", estimate=margin < -30,
                    why=f"the pin takes {20 * 10 ** (-margin / 20):.0f} mA against a rating of 20 mA",
                    remedy="fit 100 ohm between the guard and the pin" if margin < 1.5 else None,
                )
            )  # fmt: skip
            current = 0.02 * 10 ** (-margin / 20)
            rows.append(finding("EVT01", "event.pin_current", "red", state, current, event=event, severity=severity))
            rows.append(finding("EVT01", "event.rail", "red", state, 5.07, event=event, severity=severity))
    return rows


def _unit() -> list[Finding]:
    declared = "a printed Y capacitance is a declaration: it can fail, it can never conform"
    return [
        finding("GND01", "bond.resistance", None, None, 0.02, limit=BOND, origin=MEASURED, uncertainty=0.011,
                where="board shield to connector shell", why="20 mohm with 11 mohm uncertainty is inside"),
        finding("TCH01", "touch.current", None, None, 0.00017, outcome=NOT_PROVEN, needed=True, limit=TOUCH,
                where="unit", origin=DECLARED_ORIGIN, why=declared),
    ]  # fmt: skip


def curves(line: str, white: float) -> list[Curve]:
    """Return a scan line, a response and samples, bare and guarded, of a smooth invented signal."""
    time = np.linspace(0.0, 64e-6, 900)
    bars = white * np.clip(8 - np.floor((time - 10.5e-6) / 6.5e-6), 0, 8) / 8 * (time > 10.5e-6) * (time < 62e-6)
    frequency = np.logspace(3, 8, 160)
    rng = np.random.default_rng(7)
    out = []
    for state in (False, True):
        word, scale = ("guarded", 0.995) if state else ("bare", 1.0)
        y = -10 * np.log10(1 + (frequency / (28e6 if state else 60e6)) ** 2)
        samples = white * scale * (1 + 0.03 * rng.uniform(-1, 1, 200))
        out += [
            Curve(line, state, "waveform", word, time, bars * scale, "s", "V", (0.496, 0.989), "limits of white"),
            Curve(line, state, "response", word, frequency, y, "Hz", "dB"),
            Curve(line, state, "samples", "level.white", samples, np.zeros(0), "V", "builds", (0.496, 0.989), "limits"),
        ]
    return out


def build() -> Result:
    """Return the invented result."""
    drawn = [*curves("red", 0.514), *curves("green", 0.703), *curves("blue", 0.699), *curves("sync", 1.31)]
    return Result(
        command="check",
        unit="DEMO-01",
        unit_kind="16-bit home console (invented)",
        outcome=DOES_NOT_CONFORM,
        seed=1,
        n_samples=200,
        engine=EngineInfo("ngspice", "39"),
        findings=(*_red(), *_colour("green", 0.703), *_colour("blue", 0.699), *_sync(), *_events(), *_unit()),
        circuits=(
            CircuitUsed("two-resistor-pad", "stage", "stages/two-resistor-pad/two-resistor-pad.cir", "3f" * 32),
            CircuitUsed("silicon-pair", "guard", "guards/silicon-pair/silicon-pair.cir", "a9" * 32),
        ),
        curves=tuple(drawn),
        warnings=("line[0].stage_values.shunt: 240 ohm is above the usual range of 100 ohm to 220 ohm",),
        not_examined=("A short of the output for longer than a minute was not simulated.",),
        cautions=(
            "Disconnect mains and wait until the main capacitor is below 60 V d.c. before touching the board.",
            "A class II unit has no protective earth: do not add one.",
        ),
        plan=(
            ("", "rail", "5 V"),
            ("", "display", "terminated"),
            ("red", "standard", "scart-rgb"),
            ("red", "source", "video-pin: white 2.0 V, black 0 V, impedance 10 ohm"),
            ("red", "stage", "two-resistor-pad: series 100 ohm 1%, shunt 240 ohm 1%"),
        ),
        job_file="demo-01.toml",
        job_sha256="5c" * 32,
        extra={"duration": None, "notes": ["invented"]},
    )


HOSTILE = (
    "<script>alert(1)</script> \x1b[31mred\x1b[0m \u202eevil\u202c $\\frac{1}{ &amp; \"q\" 'q' {{ 7*7 }} "
    "\x07\u200b\ud800"
)


def _poisoned(limit: Limit | None) -> Limit | None:
    return None if limit is None else replace(limit, reference=HOSTILE, clause=HOSTILE, note=HOSTILE)


def poison(result: Result) -> Result:
    """Return the result with hostile text wherever a job file could put text."""
    line = f"red{HOSTILE}"
    return replace(
        result,
        unit=HOSTILE,
        unit_kind=HOSTILE,
        findings=tuple(
            replace(f, line=line, why=f"{HOSTILE} {f.why}", remedy=HOSTILE, where=HOSTILE, limit=_poisoned(f.limit))
            for f in result.findings
        ),
        curves=tuple(replace(c, line=line, band_label=HOSTILE, marks={HOSTILE: 1e-5}) for c in result.curves),
        circuits=(CircuitUsed(HOSTILE, HOSTILE, HOSTILE, HOSTILE),),
        warnings=(HOSTILE,),
        not_examined=(HOSTILE,),
        cautions=(HOSTILE,),
        plan=((HOSTILE, HOSTILE, HOSTILE),),
        job_file=HOSTILE,
        job_sha256=HOSTILE,
    )


@pytest.fixture(scope="session")
def result() -> Result:
    return build()


@pytest.fixture(scope="session")
def hostile(result: Result) -> Result:
    return poison(result)


@pytest.fixture(scope="session")
def make_finding() -> Callable[..., Finding]:
    return finding
