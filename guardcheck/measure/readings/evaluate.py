"""A typed reading into a quantity with its uncertainty: every step shown, nothing presumed in silence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from guardcheck.measure.readings.instruments import STATED, Figure, figures, presumed
from guardcheck.measure.readings.records import (
    AMPLITUDES,
    AT_LEAST,
    AT_MOST,
    DIRECT,
    LOADS,
    PICTURES,
    PLACES,
    Evaluation,
    Reading,
)
from guardcheck.metrology import Accuracy, Budget, Contribution, from_step, meter_rows, parse_accuracy
from guardcheck.model import MEASURED, Quantity
from guardcheck.units import format_si, last_place

LOAD_OHM = 75.0
HIDDEN = "it was read on AC coupling, which hides the direct voltage; set the scope to DC coupling and read it again"
"""Why a direct voltage read through the scope's own capacitor is none."""


@dataclass(frozen=True)
class Circumstances:
    """What the job knows about the line a reading or capture was taken on.

    `output_impedance` [ohm] is simulated from the job's own netlist (None when that failed), `impedance_half_width`
    its spread; `signal` is the standard's word for what the line carries (``picture``, ``sync``, ``control`` …), of a
    picture `has_sync` and `has_chroma` tell what goes with it; `setup` is black above blanking as a fraction of white.
    `coupled` tells whether the unit couples the line through a capacitor, None when that is not known.
    """

    output_impedance: float | None = None
    impedance_half_width: float = 0.0
    has_sync: bool = False
    has_chroma: bool = False
    setup: float = 0.0
    signal: str = "picture"
    load: float = LOAD_OHM
    coupled: bool | None = None


def evaluate(
    reading: Reading, circumstances: Circumstances | None = None, *, guarded: bool | None = None
) -> Evaluation:
    """Return what a reading proves, scaled to 100 % white into 75 ohm.

    Parameters
    ----------
    reading
        as read from the file
    circumstances
        what the job knows of the line; None means nothing is known
    guarded
        passed through to the quantity: whether the line was measured with its guard fitted

    Returns
    -------
    Evaluation
        its quantity carries the expanded uncertainty (k = 2, JCGM 100:2008), or a failure that says why the reading
        proves nothing; `bound` is set when it proves only one side

    """
    case = circumstances or Circumstances()
    unknowns: list[str] = []
    steps: list[str] = [_opening(reading)]
    failure = _useless(reading, case)
    tip = _at_tip(reading, steps)
    if failure is None and tip is None:
        failure = _two_scales(reading)
    if failure is not None or tip is None:
        return _nothing(reading, failure or "", steps, guarded)
    budget = list(_instrument_rows(reading, tip))
    value, factor = tip, 1.0
    if reading.unit == "V" and reading.quantity in (*AMPLITUDES, *DIRECT):
        loaded = _to_load(reading, case, value, steps, unknowns)
        if isinstance(loaded, str):
            return _nothing(reading, loaded, steps, guarded)
        value, factor, rows = loaded
        budget = [_scaled(row, factor) for row in budget] + rows
    if reading.quantity in DIRECT and reading.instrument == "scope" and reading.coupling is None:
        unknowns.append("coupling")
        steps.append("the scope's coupling is not declared: on AC it hides the direct voltage")
    bound, share = picture_share(reading.quantity, reading.picture, case)
    if share != 1.0:
        value, budget = value / share, [_scaled(row, 1 / share) for row in budget]
        steps.append(
            f"scaled from {100 * share:.3g} % to 100 % white: {format_si(value, reading.unit, 4)} (if the white bar"
            " itself stands at 100 %, declare bars-100)"
        )
    if bound is not None:
        steps.append(bound_words(reading.picture, bound))
        unknowns.append("picture")
    sheet = Budget(reading.quantity, reading.unit, tuple(budget))
    known = any(row.half_width > 0 for row in budget)
    return Evaluation(
        reading,
        Quantity(
            name=reading.quantity,
            line=reading.line,
            guarded=guarded,
            value=value,
            origin=MEASURED,
            uncertainty=sheet.expanded if known else None,
            unknowns=tuple(unknowns),
            notes=tuple(f"{step[0].upper()}{step[1:]}." for step in steps),
            bound=bound,
        ),
        sheet,
        tuple(steps),
    )


def picture_share(quantity: str, picture: str | None, case: Circumstances) -> tuple[str | None, float]:
    """Return the bound an unknown picture leaves (None for none) and the share of 100 % white that was on the screen.

    Only the picture's own levels depend on it. On a line with sync the peak-to-peak value of bars is not that of a
    white field: with chroma, 75 % bars reach exactly 100 % (luma of 75 % yellow plus its chroma is the white level),
    100 % bars go beyond; without chroma, 75 % bars stay below.

    Parameters
    ----------
    quantity : name of the level
    picture : the word for what was on the screen, None for unknown
    case : what is known of the line

    """
    if case.signal != "picture" or quantity not in ("level.white", "level.pp"):
        return None, 1.0
    share = PICTURES[picture or "other"]
    if share is None:
        return AT_LEAST, 1.0
    if quantity == "level.white" or not case.has_sync:
        return None, share + (1 - share) * case.setup
    if picture == "white" or (picture == "bars-75") == case.has_chroma:
        return None, 1.0
    return (AT_MOST if case.has_chroma else AT_LEAST), 1.0


def bound_words(picture: str | None, bound: str) -> str:
    """Return the sentence that says why only one side is proven."""
    seen = "the picture is not declared" if picture is None else f"the picture is '{picture}'"
    side = "no lower than this" if bound == AT_LEAST else "no higher than this"
    can = "show a level too high" if bound == AT_LEAST else "show a level too low"
    return f"{seen}, so 100 % white is {side}: such a reading can {can}, never that it conforms"


def _opening(reading: Reading) -> str:
    if reading.unread:
        return "no reading yet"
    place = PLACES.get(reading.place or "", "at a place not declared")
    load = LOADS.get(reading.load or "", "load not declared")
    return f"read '{reading.written}' {place}, {load}"


def _useless(reading: Reading, case: Circumstances) -> str | None:
    if reading.unread:
        return "it has not been read yet"
    steady = reading.quantity == "level.blank" and reading.steady
    if reading.instrument == "meter" and reading.unit == "V" and not steady and case.signal != "control":
        return (
            "a meter shows the mean of the whole signal, never one level of it; this quantity needs an oscilloscope (a"
            " line that carried no signal while it was read: say steady = true)"
        )
    if reading.quantity in DIRECT and reading.coupling == "ac":
        return HIDDEN
    if reading.place == "pin" and reading.unit == "V" and reading.quantity in (*AMPLITUDES, *DIRECT):
        return (
            f"it was read {PLACES['pin']} ({reading.written}); the level {PLACES['display']} needs a reading there or"
            " at the connector"
        )
    return None


def _two_scales(reading: Reading) -> str:
    at_tip = format_si(reading.seen, reading.unit, 4)
    at_input = format_si(reading.seen * (reading.probe or 1.0), reading.unit, 4)
    return (
        f"it is {at_tip} if the scale is already that at the probe's tip, {at_input} if it is that at the instrument's"
        ' input: add scale_at = "tip" or "input"'
    )


def _at_tip(reading: Reading, steps: list[str]) -> float | None:
    """Return the value at the probe's tip, or None when the scale leaves that open."""
    if reading.instrument == "meter" or reading.unit != "V":
        return reading.seen
    if reading.probe is None:
        steps.append("no probe declared: taken as a direct connection")
        return reading.seen
    if reading.probe == 1.0 or reading.scale_at == "tip":
        return reading.seen
    if reading.scale_at == "input":
        steps.append(f"times {reading.probe:g} for the probe: {format_si(reading.seen * reading.probe, 'V', 4)}")
        return reading.seen * reading.probe
    return None


def _to_load(
    reading: Reading, case: Circumstances, value: float, steps: list[str], unknowns: list[str]
) -> tuple[float, float, list[Contribution]] | str:
    """Return the value into 75 ohm, the factor that led there and the rows it adds, or why that cannot be told."""
    converted = to_load(reading.quantity, value, reading.load, case)
    if isinstance(converted, str):
        return converted
    loaded, factor, rows = converted
    if reading.load == "open":
        steps.append(
            f"raw {format_si(value, 'V', 4)} with an open line is {format_si(loaded, 'V', 4)} into {case.load:.4g} ohm"
            f" behind {case.output_impedance:.4g} ohm (simulated from this job's own netlist)"
        )
        return loaded, factor, rows
    if reading.load is None:
        unknowns.append("load")
        steps.append("the load is not declared: the value stays as seen")
    return loaded, factor, [*rows, *termination_rows(loaded, reading.place, reading.termination, case)]


def to_load(
    quantity: str, value: float, load: str | None, case: Circumstances
) -> tuple[float, float, list[Contribution]] | str:
    """Return the value into the exact load, the factor, and the rows the conversion adds; or why it cannot be done.

    Parameters
    ----------
    quantity : name of the level
    value : the reading [V]
    load : the word for the load it was taken into, None for unknown
    case : what is known of the line

    """
    if load != "open":
        return value, 1.0, []
    if quantity in DIRECT:
        return f"the direct voltage of an open line does not tell the one into {case.load:.4g} ohm; read it terminated"
    if case.output_impedance is None:
        return "it was read with an open line, and the output impedance of the stage is not known"
    factor = case.load / (case.load + case.output_impedance)
    slope = -value * factor / (case.load + case.output_impedance)
    row = Contribution(
        "output impedance", case.impedance_half_width, "uniform", slope, "spread of the simulated output impedance"
    )
    return value * factor, factor, [row]


def termination_rows(value: float, place: str | None, stated: float | None, case: Circumstances) -> list[Contribution]:
    """Return the row for a load that is not exact; sensitivity Zout / (Zout + load), 1 when Zout is unknown.

    Parameters
    ----------
    value : the reading [V]
    place : where it was taken, None for unknown
    stated : half width of the stated load as a share, None for none
    case : what is known of the line

    """
    usual = presumed()["termination"]["bench" if place == "connector" else "display"]
    share = parse_accuracy(usual.text, "1").of_reading if stated is None else stated
    z = case.output_impedance
    slope = 1.0 if z is None else z / (z + case.load)
    source = usual.cited() if stated is None else STATED
    return [Contribution("75 ohm load", share * abs(value), "uniform", slope, source)]


def _scaled(row: Contribution, factor: float) -> Contribution:
    return Contribution(row.name, row.half_width, row.distribution, row.sensitivity * factor, row.source)


def _instrument_rows(reading: Reading, tip: float) -> list[Contribution]:
    usual = figures(reading.instrument, reading.presumed)
    if reading.instrument == "meter":
        return _meter_rows(reading, usual)
    if reading.unit not in ("V", "s", "Hz"):
        stated = reading.accuracy
        return _stated_rows(reading, stated, abs(tip), STATED, None) if stated else []
    ratio = tip / reading.seen if reading.seen else (reading.probe or 1.0 if reading.scale_at == "input" else 1.0)
    return [_scaled(row, ratio) for row in _scope_rows(reading, usual)]


def _meter_rows(reading: Reading, usual: Mapping[str, Figure]) -> list[Contribution]:
    figure = usual["accuracy"]
    accuracy = reading.accuracy or parse_accuracy(figure.text, reading.unit)
    digit = reading.resolution or last_digit(reading)
    sources = (
        STATED if reading.accuracy else figure.cited(),
        STATED if reading.resolution else "last digit written",
    )
    full = reading.range if reading.range is not None else abs(reading.seen)
    return list(meter_rows(accuracy, reading.seen, count=digit, full_scale=full, sources=sources) or ())


def last_digit(reading: Reading) -> float:
    """Return the place value of the last digit written, in SI: 0.01 of ``5.00 V``, 0.02 of ``4.0 div`` of 0.2 V."""
    if reading.by_eye and reading.division is not None:
        return last_place(reading.written.partition("div")[0], "1") * reading.division
    return last_place(reading.written, reading.unit)


def _scope_rows(reading: Reading, usual: Mapping[str, Figure]) -> list[Contribution]:
    """Return the rows of an oscilloscope reading, at the instrument's input."""
    rows: list[Contribution] = []
    divisions, bits = int(usual["divisions"].text), int(usual["bits"].text)
    division, where = _division(reading, divisions)
    screen = division * divisions
    level = reading.quantity in (*AMPLITUDES, *DIRECT)
    gain = usual["accuracy"] if level else usual["timebase"]
    accuracy = reading.accuracy or parse_accuracy(gain.text, reading.unit)
    source = STATED if reading.accuracy else gain.cited()
    rows += _stated_rows(reading, accuracy, abs(reading.seen), source, reading.resolution, screen, division)
    if reading.quantity in DIRECT and reading.accuracy is None:
        offset = parse_accuracy(usual["offset"].text, "V")
        half = offset.divisions * division + offset.absolute + offset.of_reading * abs(reading.seen)
        rows.append(Contribution("offset", half, source=usual["offset"].cited()))
    rows += _reading_rows(reading, usual, division, where)
    if level:
        step = screen / 2**bits
        if reading.resolution is None or reading.by_eye:
            rows.append(from_step("quantisation", step, usual["bits"].cited() + where))
        rows += _probe_rows(reading, usual)
    return rows


def _division(reading: Reading, divisions: int) -> tuple[float, str]:
    if reading.division is not None:
        return reading.division, ""
    if reading.range is not None:
        return reading.range / divisions, ""
    return abs(reading.seen) / 4.0, "; scale not given, presumed: the value fills at least 4 divisions"


def _reading_rows(reading: Reading, usual: Mapping[str, Figure], division: float, where: str) -> list[Contribution]:
    if reading.resolution is not None:
        return [from_step("reading", reading.resolution, STATED)]
    if reading.unit == "Hz":
        return [from_step("reading", last_digit(reading), "last digit written")]
    figure = usual["resolution"] if reading.unit == "V" else usual["time_reading"]
    own = parse_accuracy(figure.text, reading.unit)
    step = own.divisions * division + own.absolute + own.of_reading * abs(reading.seen)
    source = figure.cited() + where
    if reading.by_eye:
        return [from_step("reading, one end", step, source), from_step("reading, other end", step, source)]
    return [from_step("reading", step, source)]


def _probe_rows(reading: Reading, usual: Mapping[str, Figure]) -> list[Contribution]:
    if reading.probe in (None, 1.0) and reading.probe_tolerance is None:
        return []
    if reading.probe_tolerance is not None:
        return [Contribution("probe", reading.probe_tolerance * abs(reading.seen), source=STATED)]
    share = parse_accuracy(usual["probe"].text, "V").of_reading
    return [Contribution("probe", share * abs(reading.seen), source=usual["probe"].cited())]


def _stated_rows(
    reading: Reading,
    accuracy: Accuracy,
    value: float,
    source: str,
    digit: float | None,
    screen: float | None = None,
    division: float | None = None,
) -> list[Contribution]:
    """Return an accuracy statement as one row: its terms together are one bound."""
    full = reading.range if reading.range is not None else screen or value
    count = digit if digit is not None else last_digit(reading)
    half = accuracy.half_width(value, count=count, full_scale=full, division=division)
    return [Contribution("accuracy", half or 0.0, source=source)]


def _nothing(reading: Reading, failure: str, steps: list[str], guarded: bool | None) -> Evaluation:
    quantity = Quantity(
        name=reading.quantity,
        line=reading.line,
        guarded=guarded,
        value=None,
        origin=MEASURED,
        failure=failure,
        notes=tuple(f"{step[0].upper()}{step[1:]}." for step in steps),
    )
    return Evaluation(reading, quantity, None, tuple(steps))
