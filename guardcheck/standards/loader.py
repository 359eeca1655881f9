"""From a standards file to a `Standard`: limits with their reference, and how each of them is known.

A limit's ends are written as values (``low = "0.665 V"``), as level ratios to its nominal (``low_db = "-3 dB"``) or as
shares of it (``low_share = "-5 %"``), whichever the reference prints; they are worked out here, once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from guardcheck.errors import StandardError, accepted, nearest
from guardcheck.files import digest_of
from guardcheck.model import (
    CLAIMS,
    KNOWN_BY,
    QUANTITIES,
    WORKMANSHIP,
    Colour,
    Limit,
    ScanTiming,
    Standard,
    TestPicture,
    Window,
)
from guardcheck.toml_tables import Table, read_table
from guardcheck.units import shown

FOLDER = Path(__file__).resolve().parent
SIGNALS = ("picture", "sync", "control")
KEYS = (
    "title",
    "edition",
    "signal",
    "group",
    "display",
    "reference",
    "caution",
    "own_input",
    "shared_rate",
    "any_rate",
    "quantities",
    "captured",
    "line_rate",
    "field_rate",
    "band",
    "rise_time",
    "timing",
    "colour",
    "picture",
    "window",
    "limit",
)
LIMIT_KEYS = (
    "quantity",
    "nominal",
    "low",
    "high",
    "low_db",
    "high_db",
    "low_share",
    "high_share",
    "reference",
    "clause",
    "known_by",
    "note",
    "kind",
)
DOUBTFUL = ("practice", "recalled")
"""How a limit is known that no published source was read for: it is the workshop's target, unless its row says more."""
TIMING = ("line_period", "line_blanking", "front_porch", "sync_width", "edge")
COLOUR: Mapping[str, str] = {"subcarrier": "Hz", "burst": "V", "burst_start": "s", "burst_length": "s"}
PICTURE: Mapping[str, str] = {"bars_75_white": "1", "bars_75_peak": "1", "bars_100_peak": "1", "setup": "1"}


def standard_names(own: Path | None = None) -> tuple[str, ...]:
    """Return the names of all standards, sorted; `own` is a user's folder of more."""
    found = [
        path for folder in (own, FOLDER) if folder is not None and folder.is_dir() for path in folder.glob("*.toml")
    ]
    return tuple(sorted({path.stem for path in found}))


def load_standard(name: str, own: Path | None = None) -> Standard:
    """Return a standard by its name.

    Parameters
    ----------
    name : as `standard_names` lists it
    own : a user's folder of standards, searched first; what comes from there carries its content's SHA-256

    Raises
    ------
    StandardError
        there is none of that name (the sentence lists those there are), or its file cannot be used

    """
    known = standard_names(own)
    if name not in known:
        raise StandardError(
            f"there is no standard '{shown(name, 40)}'; accepted: {accepted(known)}{nearest(name, known)}"
        )
    if own is not None and (path := own / f"{name}.toml").is_file():
        if not path.resolve().is_relative_to(own.resolve()):
            raise StandardError("leads out of its folder", file=f"{own.name}/{name}.toml")
        top, data = read_table(path, error=StandardError, shown_as=f"{own.parent.name}/{own.name}/{name}.toml")
        return replace(standard_of(name, top), sha256=digest_of(data))
    top, _ = read_table(FOLDER / f"{name}.toml", error=StandardError, shown_as=f"standards/{name}.toml")
    return standard_of(name, top)


def standard_of(name: str, top: Table) -> Standard:
    """Return the standard a table describes."""
    top.only(*KEYS)
    quantities, captured = _quantities(top, "quantities"), _quantities(top, "captured")
    if not quantities:
        top.refuse("quantities", f"is missing; name at least one of {accepted(QUANTITIES)}")
    limits: dict[str, Limit] = {}
    for row in top.tables("limit"):
        limit = limit_of(row)
        if limit.quantity in limits:
            row.refuse("quantity", f"'{limit.quantity}' has two limits; one is wanted")
        if limit.quantity not in (*quantities, *captured):
            row.refuse("quantity", f"'{limit.quantity}' is not among this standard's quantities")
        limits[limit.quantity] = limit
    return Standard(
        name=name,
        title=top.text("title"),
        edition=top.text("edition"),
        signal=top.word("signal", SIGNALS),
        quantities=quantities,
        limits=limits,
        display=top.text("display"),
        group=top.text("group") if "group" in top else None,
        reference=top.text("reference"),
        file=top.file,
        timing=_timing(top.table("timing")),
        line_rate=top.real("line_rate", "Hz"),
        field_rate=top.real("field_rate", "Hz"),
        rise_time=top.real("rise_time", "s"),
        band=_band(top),
        captured=captured,
        colour=Colour(**_reals(top.table("colour"), COLOUR)),
        test_picture=TestPicture(**_reals(top.table("picture"), PICTURE)),
        windows=tuple(_window(row) for row in top.tables("window")),
        caution=top.text("caution") if "caution" in top else None,
        own_input=_flag(top, "own_input"),
        any_rate=_flag(top, "any_rate"),
        shared_rate=_flag(top, "shared_rate"),
    )


def _quantities(top: Table, key: str) -> tuple[str, ...]:
    names = top.texts(key)
    for name in names:
        if name not in QUANTITIES:
            top.refuse(key, f"'{name}' is no quantity{nearest(name, QUANTITIES)}")
    if len(set(names)) != len(names):
        top.refuse(key, "names a quantity twice")
    return names


def limit_of(row: Table) -> Limit:
    """Return the limit a table describes."""
    row.only(*LIMIT_KEYS)
    quantity = row.text("quantity")
    if quantity not in QUANTITIES:
        row.refuse("quantity", f"'{quantity}' is no quantity{nearest(quantity, QUANTITIES)}")
    unit = QUANTITIES[quantity].unit
    nominal = row.real("nominal", unit) if "nominal" in row else None
    low, high = (_end(row, side, unit, nominal) for side in ("low", "high"))
    if low is None and high is None:
        row.refuse(None, "bounds nothing; write low, high or both")
    if low is not None and high is not None and low > high:
        row.refuse("low", "lies above high")
    if nominal is not None and ((low is not None and nominal < low) or (high is not None and nominal > high)):
        row.refuse("nominal", "lies outside its own limits")
    known_by = row.word("known_by", tuple(KNOWN_BY))
    return Limit(
        quantity,
        low,
        high,
        nominal,
        reference=row.text("reference"),
        known_by=known_by,
        kind=row.word("kind", tuple(CLAIMS)) if "kind" in row else WORKMANSHIP if known_by in DOUBTFUL else "",
        clause=row.text("clause") if "clause" in row else None,
        note=row.text("note") if "note" in row else None,
    )


def _end(row: Table, side: str, unit: str, nominal: float | None) -> float | None:
    """Return one end of a limit [SI], however it is written; None when it is open."""
    written = [key for key in (side, f"{side}_db", f"{side}_share") if key in row]
    if not written:
        return None
    if len(written) > 1:
        row.refuse(written[1], f"says again what {written[0]} says; one is wanted")
    key = written[0]
    if key == side:
        return row.real(key, unit)
    if nominal is None:
        row.refuse(key, "is relative to a nominal; write one")
    ratio = 10.0 ** (row.real(key, "dB") / 20.0) if key.endswith("_db") else 1.0 + row.real(key, "1")
    return nominal * ratio


def _band(top: Table) -> tuple[float, float]:
    band = top.span("band", "Hz")
    if band is None:
        top.refuse("band", "is missing; write the lowest and the highest frequency of the signal")
    return band.low, band.high


def _timing(row: Table) -> ScanTiming:
    row.only(*TIMING)
    return ScanTiming(**{name: row.real(name, "s") for name in TIMING})


def _reals(row: Table, units: Mapping[str, str]) -> dict[str, float]:
    row.only(*units)
    return row.reals(units)


def _flag(top: Table, key: str) -> bool:
    return key in top and top.flag(key)


def _window(row: Table) -> Window:
    """Read a window of direct voltage that means something, such as a switching level."""
    row.only("means", "low", "high", "known_by", "reference")
    return Window(
        means=row.text("means"),
        low=row.real("low", "V"),
        high=row.real("high", "V"),
        known_by=row.word("known_by", tuple(KNOWN_BY)),
        reference=row.text("reference"),
    )
