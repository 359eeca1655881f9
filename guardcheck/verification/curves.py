"""A captured scan line and the line its standard wants, as curves to be drawn over each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from guardcheck.formatting import show
from guardcheck.model import Curve, Limit, Standard
from guardcheck.signals import Timing, scan_line
from guardcheck.verification.measured import Captured
from guardcheck.verification.plan import Plan

MEASURED, TEMPLATE = "measured", "measured template"
LEVEL_OF: Mapping[str, str] = {"back porch": "blanking"}
"""The level that was read in a window, where it has another name."""
LEAD = 1e-6
"""How long before its sync edge a drawn scan line begins [s]."""
NOMINAL: Mapping[str, str] = {"white": "level.white", "sync": "level.sync"}


def curves_of(one: Captured, plan: Plan) -> tuple[Curve, ...]:
    """Return the averaged scan line of a capture with what was found in it, and its template; none when there is none.

    The bands are what the standard allows, counted from the blanking level that was captured.
    """
    template = one.analysis.template
    if template is None:
        return ()
    blank = template.levels.get("blanking", 0.0)
    limits = plan.standard.limits
    shown = np.isfinite(template.y)
    marks = {_mark(name, template.levels): window[0] for name, window in sorted(template.windows.items())}
    measured = Curve(
        one.use.line,
        None,
        "waveform",
        MEASURED,
        template.x[shown],
        template.y[shown],
        "s",
        "V",
        band=_band(limits.get("level.white") or _white_of(limits), blank, 1.0),
        band_label="white allowed",
        marks=marks,
    )
    return (measured, _wanted(one, plan, blank))


def _mark(name: str, levels: Mapping[str, float]) -> str:
    """Return a window's name with the level that was read in it."""
    level = levels.get(LEVEL_OF.get(name, name))
    return name if level is None else f"{name} {show(round(level, 3), 'V')}"


def _white_of(limits: Mapping[str, Limit]) -> Limit | None:
    """Return what the limit of the whole leaves for white, with sync at its nominal."""
    whole, sync = limits.get("level.pp"), limits.get("level.sync")
    if whole is None or sync is None or sync.nominal is None:
        return None
    ends = [None if end is None else end - sync.nominal for end in (whole.low, whole.high)]
    return replace(whole, low=ends[0], high=ends[1])


def _band(limit: Limit | None, blank: float, sign: float) -> tuple[float | None, float | None] | None:
    if limit is None:
        return None
    ends = [None if end is None else blank + sign * end for end in (limit.low, limit.high)]
    return (ends[0], ends[1]) if sign > 0 else (ends[1], ends[0])


def _wanted(one: Captured, plan: Plan, blank: float) -> Curve:
    """Return one scan line of white at the standard's nominal levels and timing."""
    standard = plan.standard
    timing = standard.timing
    corners = scan_line(
        _levels(standard, blank),
        Timing(
            period=timing.line_period,
            sync_width=timing.sync_width,
            back_porch=timing.back_porch,
            front_porch=timing.front_porch,
            edge=timing.edge,
        ),
    )
    x, y = (np.array(column) for column in zip(*corners, strict=True))
    return Curve(
        one.use.line,
        None,
        "waveform",
        TEMPLATE,
        x - LEAD,
        y,
        "s",
        "V",
        band=_band(standard.limits.get("level.sync"), blank, -1.0),
        band_label="sync tip allowed",
    )


def _levels(standard: Standard, blank: float) -> Mapping[str, float]:
    """Return the nominal level of each state about the blanking that was captured [V]: a line of white throughout.

    White follows from the peak to peak where only that is limited.
    """
    limits = standard.limits
    nominal = {state: limits[name].nominal for state, name in NOMINAL.items() if name in limits}
    sync, whole = nominal.get("sync"), limits["level.pp"].nominal if "level.pp" in limits else None
    if nominal.get("white") is None and whole is not None and standard.signal == "picture":
        nominal["white"] = whole - (sync or 0.0)
    signs = {"sync": -1.0}
    found = {state: blank + signs.get(state, 1.0) * level for state, level in nominal.items() if level is not None}
    if "white" in found:
        found["black"] = found["white"]
    return {"blank": blank, **found}
