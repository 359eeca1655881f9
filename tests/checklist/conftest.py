"""Invented units for the hand-over documents, and one Chromium for the session. No number here is computed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

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
    EngineInfo,
    Finding,
    Limit,
    Result,
    Schematic,
    SchematicNode,
    SchematicPart,
)

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

WHITE = Limit("level.white", 0.496, 0.989, 0.7, "Invented standard 1, 2nd edition", "read", "table 1", "0.7 V, 3 dB")
BLANK = Limit("level.blank", -0.7, 2.0, None, "Invented standard 1, 2nd edition", "recalled")
SYNC = Limit("level.sync", 0.212, 0.949, 0.3, "Invented standard 1, 2nd edition", "read", "table 1")
MARGIN = Limit("event.margin", 0.0, None, None, "pin ratings declared in the job file", "computed")
TOUCH = Limit("touch.current", None, 0.00025, None, "Invented safety standard 2", "practice")
COLOURS = ("red", "green", "blue")
PLAN = (
    ("", "rail", "5 V"),
    *(
        (line, what, told)
        for line in COLOURS
        for what, told in (("stage", "pad-x: series 100 ohm"), ("guard", "pair-x"))
    ),
    ("sync", "stage", "series-x: series 1.2 kohm"),
    ("sync", "guard", "none"),
)
HASH = "ab" * 32
DRAWN = Schematic(
    lines=("red", "green"),
    guarded=False,
    states=("white", "black"),
    path=(SchematicNode("pin", "M1", (1.4, 0.0)), SchematicNode("near", "M2", (0.7, 0.0))),
    parts=(
        SchematicPart("source", "source", "chip", ("pin",), title="Video output pin"),
        SchematicPart("stage", "rs", "resistor", ("pin", "near"), key="stage series", value=75.0, unit="ohm"),
    ),
)


def row(quantity: str, line: str | None, guarded: bool | None, value: float | None, **rest: Any) -> Finding:
    """Return a finding; without more it is needed and conforms."""
    base = {
        "unit": QUANTITIES[quantity].unit,
        "outcome": CONFORMS,
        "why": "the whole worst case lies inside the limits",
    }
    return Finding("TST01", quantity, line, guarded, value, **{**base, **rest})


def planned() -> tuple[Finding, ...]:
    """Return findings of a plan that conforms: three guarded colours and a bare sync."""
    rows = []
    for line in COLOURS:
        rows += [
            row("level.white", line, False, 0.70, limit=WHITE, needed=False),
            row("level.white", line, True, 0.69, limit=WHITE, spread=(0.67, 0.71), interval=(0.68, 0.70), yield_=1.0),
            row("level.blank", line, True, 0.0, limit=BLANK),
            row("level.pp", line, True, 0.69, outcome=NOT_APPLICABLE, needed=False, why="no limit applies"),
        ]
    rows.append(row("level.sync", "sync", False, 0.3, limit=SYNC, spread=(0.28, 0.32)))
    return tuple(rows)


def measured() -> tuple[Finding, ...]:
    """Return readings of every needed level of the plan, all inside."""
    common = {"origin": MEASURED, "uncertainty": 0.021}
    rows = []
    for line in COLOURS:
        rows.append(row("level.white", line, True, 0.702, limit=WHITE, planned=0.69, **common))
        rows.append(row("level.blank", line, True, 0.01, limit=BLANK, planned=0.0, **common))
    rows.append(row("level.sync", "sync", False, 0.31, limit=SYNC, planned=0.3, **common))
    return tuple(rows)


def result(findings: tuple[Finding, ...], **rest: Any) -> Result:
    """Return an invented result around findings; its outcome is the worst needed one."""
    from guardcheck.verdict.outcome import worst

    base: dict[str, Any] = {
        "command": "check",
        "unit": "DEMO-01",
        "unit_kind": "16-bit home console (invented)",
        "outcome": worst(one.outcome for one in findings if one.needed),
        "seed": 1,
        "n_samples": 200,
        "engine": EngineInfo("ngspice", "39"),
        "findings": findings,
        "circuits": (CircuitUsed("pad-x", "stage", "circuits/stages/pad-x/pad-x.cir", "cd" * 32),),
        "not_examined": ("Live plugging was not simulated.",),
        "cautions": ("Unplug the unit from the mains.",),
        "plan": PLAN,
        "job_file": "job.toml",
        "job_sha256": HASH,
        "guardcheck": "0.1.0",
    }
    return Result(**{**base, **rest})


@pytest.fixture
def conforming() -> tuple[Result, Result]:
    """Return a check that conforms, and readings that show it of the finished unit."""
    check = result(planned())
    return check, result(measured(), command="verify", not_examined=(), engine=None)


@pytest.fixture
def failing() -> Result:
    """Return a unit that must not be handed over: a live plug kills the pin, the sync is too strong."""
    high = "1.31 V lies above the limits (212 mV to 949 mV)"
    rows = [one for one in planned() if one.quantity != "level.sync"]
    rows += [
        row("level.sync", "sync", False, 1.31, limit=SYNC, outcome=DOES_NOT_CONFORM, why=high,
            remedy="fit 1.2 kohm in series"),
        row("event.margin", "sync", False, -19.2, limit=MARGIN, outcome=DOES_NOT_CONFORM, event="hot-plug",
            severity="first contact", why="the pin takes 182 mA against a rating of 20 mA", remedy="fit a guard"),
        row("event.pin_current", "sync", False, 0.182, outcome=NOT_APPLICABLE, needed=False, event="hot-plug",
            severity="first contact", why="no limit"),
        row("event.margin", "red", True, 4.4, limit=MARGIN, event="hot-plug", severity="first contact"),
        row("event.margin", "red", False, -12.0, limit=MARGIN, outcome=DOES_NOT_CONFORM, needed=False,
            event="hot-plug", severity="first contact", why="the pin takes 80 mA against a rating of 20 mA"),
    ]  # fmt: skip
    return result(tuple(rows))


@pytest.fixture
def open_() -> Result:
    """Return a unit full of unproven items."""
    lost = "Not proven: the response deck did not converge; ngspice said: timestep too small"
    rows = (
        row("level.white", "red", True, 0.5, limit=WHITE, outcome=NOT_PROVEN, spread=(0.47, 0.53), yield_=0.8,
            interval=(0.48, 0.52), why="Not proven: 20 % of builds would fail."),
        row("level.white", "green", True, 0.69, limit=WHITE),
        row("response.bandwidth", "sync", False, None, outcome=NOT_PROVEN, why=lost),
        row("touch.current", None, None, 0.00017, limit=TOUCH, outcome=NOT_PROVEN, where="unit",
            origin=DECLARED_ORIGIN, why="a printed Y capacitance is a declaration: it can fail, it can never conform"),
        row("bond.resistance", None, None, None, outcome=NOT_PROVEN, where="shield to shell", origin=MEASURED,
            why="no reading", remedy="read it with four wires"),
    )  # fmt: skip
    return result(rows)


@pytest.fixture
def altered() -> Callable[..., Result]:
    """Return a function that copies a result with one finding per given quantity changed."""

    def change(base: Result, quantity: str, line: str | None = None, **values: Any) -> Result:
        hit = [one for one in base.findings if one.quantity == quantity and line in (None, one.line)]
        assert hit, quantity
        found = tuple(replace(one, **values) if one in hit else one for one in base.findings)
        return replace(base, findings=found)

    return change


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the session. Missing, the tests fail, unless GUARDCHECK_ALLOW_NO_CHROMIUM=1 is set by hand."""
    from playwright.sync_api import sync_playwright

    names = ("chromium", "chromium-browser", "google-chrome")
    program = os.environ.get("GUARDCHECK_CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    if program is None:
        if os.environ.get("GUARDCHECK_ALLOW_NO_CHROMIUM") and not os.environ.get("GUARDCHECK_CI"):
            pytest.skip("Chromium is missing and its absence was allowed by hand")
        pytest.fail("Chromium is missing: .ci/need-chromium installs it or says how")
    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=program, args=["--no-sandbox", "--disable-dev-shm-usage"])
        yield running
        running.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """Yield a page without network: any request but that of a local file fails the test."""
    context = browser.new_context(accept_downloads=True)
    asked: list[str] = []
    context.on("request", lambda request: asked.append(request.url))
    made = context.new_page()
    troubles: list[str] = []
    made.on("pageerror", lambda error: troubles.append(str(error)))
    made.on("console", lambda message: troubles.append(message.text) if message.type == "error" else None)
    yield made
    context.close()
    assert [url for url in asked if not url.startswith(("file:", "blob:"))] == []
    assert troubles == []
