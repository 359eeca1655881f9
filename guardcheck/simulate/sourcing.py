"""The source against what was read at its pin: does the one the job names give these readings, and which would."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from guardcheck.compose import EMF, RAIL, Chain, deck_of
from guardcheck.engine import Engine
from guardcheck.errors import JobError
from guardcheck.library import BENCH_LOAD, Library
from guardcheck.measure.identify import COVERAGE, FOLLOWER, LINEAR, Identified, Kind, LoadReading, identify
from guardcheck.model import DERIVED, SIMULATED, Deck, Fitted, Limit, Line, Operating, Part, Quantity, Value
from guardcheck.netlist import card, flatten, models_of
from guardcheck.simulate.fitting import READING_TOLERANCE, Fitter
from guardcheck.units import format_si, parse

FIT = "source.fit"
NO_LOAD = 1e9
"""What stands for nothing connected [ohm]."""
NORMALISED = "normalised error of ISO/IEC 17043: deviation over expanded uncertainty, at most 1"
UNITS = {"emf": "V", "impedance": "ohm", "current": "A"}
WORDS = {
    "linear": "a linear output",
    "open-collector": "an output with a pull-up resistor",
    "current": "a current output",
    "follower": "a follower with a current limit",
}


def readings_of(line: Line, source: Fitted | None = None) -> tuple[LoadReading, ...]:
    """Return what was read at a line's pin: its readings, else the two its fitted source was made of."""
    return tuple(
        LoadReading(math.inf if load is None else load.nominal, volts.nominal, _standard(volts))
        for load, volts in line.readings or _pair(source)
    )


def _pair(source: Fitted | None) -> tuple[tuple[Value | None, Value], ...]:
    if source is None or not source.part.identified:
        return ()
    return tuple(
        pair
        for two in source.follows.values()
        for pair in ((None, source.values[two.open]), (source.values[two.load], source.values[two.loaded]))
    )


def _standard(volts: Value) -> float:
    """Return the standard uncertainty of a reading [V]: rectangular limits over the root of three."""
    half = (volts.high - volts.low) / 2.0 if volts.varies else READING_TOLERANCE * abs(volts.nominal)
    return max(half, 1e-6) / math.sqrt(3.0)


def identified(line: Line, readings: Sequence[LoadReading], part: Part) -> Identified | None:
    """Return what readings at a line's pin say of its source; None for fewer than two loads."""
    if len({one.ohms for one in readings}) < 2:
        return None
    bears = _bears(part, readings)
    rise, fall = (line.edges.get(name) for name in ("rise", "fall"))
    if isinstance(rise, Value) and isinstance(fall, Value):
        return identify(readings, rise=rise.nominal, fall=fall.nominal, bears=bears)
    return identify(readings, bears=bears)


def _bears(part: Part, readings: Sequence[LoadReading]) -> float:
    """Return the heaviest load a technician may be asked to hang on a pin [ohm]: its part's, else what he took."""
    stated = part.two_readings.get(BENCH_LOAD)
    return min(one.ohms for one in readings) if stated is None else parse(stated, "ohm")[0].nominal


def informed(fitter: Fitter, line: Line) -> Line:
    """Return a line whose source has, of the values the job leaves out, those its readings show."""
    if not line.readings:
        return line
    part = fitter.part(line.source)
    _must_show(fitter, line)
    names, found = part.identified, identified(line, readings_of(line), part)
    if not names or found is None:
        return line
    kind = found.kind(names["kind"]) or (found.kind(LINEAR) if names["kind"] == FOLLOWER else None)
    if kind is None:
        return line
    derived = _as_two_readings(line, part, kind) or {
        names[role]: _value(kind, key, part.parameters[names[role]].unit)
        for role, key in _roles(kind)
        if role in names and names[role] not in line.source.values and kind.value(key) is not None
    }
    return replace(line, source=replace(line.source, values={**derived, **line.source.values}))


def _as_two_readings(line: Line, part: Part, kind: Kind) -> dict[str, Value]:
    """Return a linear source as its EMF and its level into the heaviest load that was read; empty for any other.

    Fitted EMF and impedance err together: a high EMF comes with a high impedance, and the level into that load stays as
    it was read. Told as two readings they vary together in the corners, V = E R / (R + Z).
    """
    names, read = part.two_readings, [one for one in readings_of(line) if one.ohms < NO_LOAD]
    emf, impedance = kind.value("emf"), kind.value("impedance")
    taken = [names.get(role) for role in ("emf", "impedance", "open", "loaded", "load")]
    if kind.name != LINEAR or not read or emf is None or impedance is None or None in taken:
        return {}
    if any(name in line.source.values for name in taken):
        return {}
    heaviest = min(read, key=lambda one: one.ohms)
    volts = emf * heaviest.ohms / (heaviest.ohms + max(impedance, 0.0))
    half = math.sqrt(3.0) * heaviest.u
    return {
        names["open"]: _value(kind, "emf", "V"),
        names["loaded"]: parse(f"{volts:.6g} V +/- {half:.3g} V", "V")[0].with_known(DERIVED),
        names["load"]: parse(f"{heaviest.ohms:.6g} ohm", "ohm")[0],
    }


def _must_show(fitter: Fitter, line: Line) -> None:
    """Refuse readings that can show nothing of a source: fewer than two loads, or no level."""
    readings, key = readings_of(line), f"line[{line.table}].readings"
    problem = None
    if len({one.ohms for one in readings}) < 2:
        problem = "readings with two different loads or more are wanted; one alone shows neither EMF nor impedance"
    elif any(one.volts <= 0.0 for one in readings):
        problem = "a reading at or below 0 V shows nothing of the source; read the level of white against black"
    if problem is not None:
        raise JobError(problem, file=fitter.job.file, key=key, line=fitter.job.lines_of.get(key))


def _roles(kind: Kind) -> tuple[tuple[str, str], ...]:
    level = "current" if kind.value("current") is not None else "emf"
    return ("level", level), ("impedance", "impedance"), ("limit", "limit")


def _value(kind: Kind, key: str, unit: str) -> Value:
    value, spread = next((value, spread) for name, value, spread in kind.values if name == key)
    value = max(value, 1e-3)
    spread = min(spread, 0.99 * value)
    return parse(f"{value:.6g} {unit} +/- {spread:.3g} {unit}", unit)[0].with_known(DERIVED)


def source_quantities(engine: Engine, rows: Sequence[tuple[Line, Chain, float]], library: Library) -> list[Quantity]:
    """Return `source.fit` of every line whose pin was read into two loads or more.

    The source the job names is simulated into the same loads; the worst deviation over the expanded uncertainty of its
    reading is held against 1. Where the readings fit more than one kind of source, nothing is proven.

    Parameters
    ----------
    rows : line, its bare chain, and the level that was read, in the unit of the source's levels

    """
    wanted = [
        (line, chain, level, read, found)
        for line, chain, level in rows
        if (found := identified(line, read := readings_of(line, chain.source), chain.source.part)) is not None
    ]
    decks = [_deck(chain, level, read) for _, chain, level, read, _ in wanted]
    traces = engine.run(decks) if decks else ()
    made = []
    for (line, chain, _, readings, found), trace in zip(wanted, traces, strict=True):
        failure = trace.failure
        worst = None
        if failure is None:
            volts = np.real(np.ravel(trace.vectors["v(pin)"]))
            worst = max(abs(volts[index] - one.volts) / (COVERAGE * one.u) for index, one in enumerate(readings))
        if len(found.rivals) > 1:
            failure = failure or _undecided(found, chain.source.part, library)
        made.append(
            Quantity(
                FIT,
                line.name,
                None,
                worst,
                origin=SIMULATED,
                failure=failure,
                limit=Limit(FIT, None, 1.0, 0.0, NORMALISED, "read"),
                notes=(_told(found, chain.source.part, library),),
            )
        )
    return made


def _deck(chain: Chain, level: float, readings: Sequence[LoadReading]) -> Deck:
    source = chain.source
    values = {name: source.values[name].nominal for name in source.part.circuit.parameters if name in source.values}
    ports = {"emf": EMF, "pin": "pin", "vdd": RAIL, "gnd": "0"}
    cards = [
        *flatten(source.part.circuit, name="source", ports=ports, values=values, prefix="source_"),
        card("vrail", (RAIL, "0"), chain.rail.nominal),
        card("vemf", (EMF, "0"), level),
        card("rload", ("pin", "0"), np.array([min(one.ohms, NO_LOAD) for one in readings])),
    ]
    models = (*source.part.models, *models_of(source.part.circuit, prefix="source_"))
    return deck_of(f"readings at the pin of {chain.line}", cards, models, Operating(), ("v(pin)",))


def words(kind: Kind) -> str:
    """Return a kind with its values: ``a current output: current 18.7 mA ± 0.4 mA, limit 3 V ± 0.1 V``."""
    limit = "V" if kind.value("current") is not None else "A"
    values = ", ".join(
        f"{name} {format_si(value, UNITS.get(name, limit))} ± {format_si(spread, UNITS.get(name, limit), 2)}"
        for name, value, spread in kind.values
    )
    return f"{WORDS[kind.name]} ({values})"


def _told(found: Identified, part: Part, library: Library) -> str:
    if found.best is None and not found.rivals:
        return "No kind of output gives these readings together: read them again, one picture for all."
    if found.best is None:
        return "Two readings fit more than one kind of output."
    told = f"The readings show {words(found.best)}."
    names = part.identified
    same = names.get("kind") == found.best.name or (found.best.name == LINEAR and names.get("kind") == FOLLOWER)
    return told if same else f"{told} {_advice(found.best, library)}"


def _advice(kind: Kind, library: Library) -> str:
    for name in library.names("source"):
        names = library.get("source", name).identified
        if names.get("kind") == kind.name:
            values = ", ".join(
                f'{names[role]} = "{kind.value(key):.4g} {library.get("source", name).parameters[names[role]].unit}"'
                for role, key in _roles(kind)
                if role in names and kind.value(key) is not None
            )
            return f'Write source = "{name}", source_values = {{ {values} }}.'
    return ""


def _undecided(found: Identified, part: Part, library: Library) -> str:
    if found.ask is None:
        return f"the readings do not tell which kind of output this is, and {_no_heavier(part)}"
    ask = format_si(found.ask, "ohm")
    each = "; ".join(f"{words(one)} would read {format_si(one.predict(found.ask), 'V')} there" for one in found.rivals)
    advice = " ".join(_advice(one, library) for one in found.rivals if one.name != LINEAR)
    return (
        f"the readings do not tell which kind of output this is; read it once more into {ask}: {each}. {advice}".strip()
    )


def _no_heavier(part: Part) -> str:
    """Return what is left to do where no further load can be asked of a pin."""
    names = part.two_readings
    if BENCH_LOAD not in names:
        return "no heavier load may be asked of this pin: write its values from the data sheet in place of the readings"
    open_, loaded, load = (names[role] for role in ("open", "loaded", "load"))
    return (
        f"this pin bears no load below {names[BENCH_LOAD]}: write the open reading and the one into "
        f"{names[BENCH_LOAD]} as {open_}, {loaded} and {load}, or its data sheet's values, in place of the readings"
    )
