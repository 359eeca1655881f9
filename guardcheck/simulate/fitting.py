"""Job meets library: names, units and ranges are checked, defaults filled in, unknowns and two readings resolved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypedDict

from guardcheck.errors import InputError, JobError, accepted, nearest
from guardcheck.job.where import nearest_line
from guardcheck.library import BENCH_LOAD, Library
from guardcheck.model import (
    DEFAULT,
    DERIVED,
    UNKNOWN,
    UNKNOWN_WORD,
    Fitted,
    Job,
    Limit,
    Line,
    Parameter,
    Part,
    PartUse,
    Range,
    Standard,
    TwoReadings,
    Value,
)
from guardcheck.standards import load_standard, standard_names
from guardcheck.units import held, parse, parse_any

DECLARED_IN_JOB = "rating declared in the job file"
WIRE = 1e-3
"""What 0 ohm becomes [ohm]: a wire, which a netlist can hold."""
LOAD_RESISTOR = Parameter(
    "load", "ohm", "the resistor the pin was loaded with", usual=Range(37.5, 1e3), possible=Range(1.0, 1e6)
)
RATINGS = {
    "power_rating": Parameter(
        "power_rating",
        "W",
        "what each resistor of this part may turn into heat: its packet, its colour code's size, or the data sheet",
        usual=Range(0.05, 5.0),
        possible=Range(0.01, 100.0),
    ),
    "voltage_rating": Parameter(
        "voltage_rating",
        "V",
        "what each capacitor of this part may hold, or its resistors where it has none: printed on it",
        usual=Range(2.5, 500.0),
        possible=Range(0.5, 10e3),
    ),
}
"""Ratings that any part with rated components takes beside its parameters; not declared, each is assumed."""
HEAVY = 0.4
"""Part of the load a pin bears below which a reading is warned of: 37.5 ohm on an analogue output is still usual."""
READING_TOLERANCE = 0.03
"""Relative error of a scope level when the job states none: 3 % is what hand scopes print (common practice)."""


class _Place(TypedDict):
    """Where a value was written, as the readers of values want it."""

    key: str
    file: str
    line: int | None


@dataclass
class Fitter:
    """Fits parts to one job; collects the warnings that arise on the way."""

    job: Job
    library: Library
    warnings: list[str] = field(default_factory=list)
    _parts: dict[tuple[str, str], Part] = field(default_factory=dict)

    def part(self, use: PartUse) -> Part:
        """Return the part a job names, from its own netlist or the library."""
        place = (use.kind, use.netlist or use.name or "none")
        if place not in self._parts:
            if use.netlist is not None:
                path = Path(use.netlist)
                folder = Path(self.job.file).resolve().parent
                within = folder if path.resolve().is_relative_to(folder) else None
                self._parts[place] = self.library.own(use.kind, path.resolve(), within=within)
            else:
                try:
                    self._parts[place] = self.library.get(use.kind, use.name or "none")
                except InputError as error:
                    raise self._error(use.key, error.problem) from None
        return self._parts[place]

    @property
    def used(self) -> tuple[Part, ...]:
        """Parts fitted so far, sorted by kind and name."""
        return tuple(part for _, part in sorted(self._parts.items()))

    def fit(self, use: PartUse, signal: str | None = None) -> Fitted:
        """Return a part with the job's values, defaults filled in.

        A source need not be given the levels of a signal it does not make here: with `signal`, only the parameters of
        its netlist and of that signal's states are asked for.
        """
        part = self._rated(self.part(use), use)
        readings = part.two_readings if part.kind == "source" else {}
        given, words, missing = self._given(part, use, readings)
        given.update(self._two_readings(part, use, readings))
        follows = _follows(readings, given)
        values, same = dict(given), {}
        spoken = {target for states in part.states.values() for target in states.values()}
        idle = spoken - set(part.states.get(signal or "", {}).values()) - set(part.circuit.parameters)
        for name, parameter in part.parameters.items():
            if name in given or name in missing or parameter.choices:
                continue
            if parameter.same_as is not None:
                same[name] = parameter.same_as
            elif parameter.nominal is not None:
                nominal = parameter.nominal
                values[name] = nominal if nominal.known == UNKNOWN else nominal.with_known(DEFAULT)
            elif signal is None or name not in idle:
                raise self._error(
                    use.key,
                    f"{part.kind} '{part.name}' needs '{name}' ({parameter.meaning}); write it in {part.kind}_values",
                )
        for name, other in same.items():
            target = same.get(other, other)
            same[name] = target
            if target in values:
                values[name] = values[target]
        for parameter in part.parameters.values():
            if parameter.choices and parameter.name not in words and parameter.word is not None:
                words[parameter.name] = parameter.word
        return Fitted(part, values, words, same, tuple(missing), follows)

    def _rated(self, part: Part, use: PartUse) -> Part:
        """Return the part with the ratings the job declares of its components in place of the assumed ones."""
        declared = {
            name: self._value(RATINGS[name], use.values[name], f"{use.values_key}.{name}").low
            for name in _rateable(part)
            if name in use.values and name not in part.parameters and use.values[name] != UNKNOWN_WORD
        }
        if not declared:
            return part
        holds = any("working_voltage" in row for row in part.extra["parts"])
        return replace(
            part,
            extra={**part.extra, "parts": tuple(_as_declared(row, declared, holds) for row in part.extra["parts"])},
        )

    def _given(
        self, part: Part, use: PartUse, readings: Mapping[str, str]
    ) -> tuple[dict[str, Value], dict[str, str], list[str]]:
        values: dict[str, Value] = {}
        words: dict[str, str] = {}
        missing: list[str] = []
        reading_names = {readings[role] for role in ("open", "loaded", "load") if role in readings}
        for name, given in use.values.items():
            key = f"{use.values_key}.{name}"
            parameter = part.parameters.get(name)
            if name in reading_names or (parameter is None and name in _rateable(part)):
                continue
            if parameter is None and name in part.circuit.parameters:
                values[name] = self._own_value(given, key)
                continue
            if parameter is None:
                known = [*part.parameters, *part.circuit.parameters, *reading_names, *_rateable(part)]
                raise self._error(
                    key,
                    f"{part.kind} '{part.name}' has no parameter '{name}'; accepted: "
                    f"{accepted(known) or 'none'}{nearest(name, known)}",
                )
            if parameter.choices:
                words[name] = self._word(parameter, given, key)
            elif given == UNKNOWN_WORD:
                if parameter.usual is None:
                    missing.append(name)
                else:
                    values[name] = _unknown(parameter)
            else:
                values[name] = self._value(parameter, given, key)
        return values, words, missing

    def _word(self, parameter: Parameter, given: Value | str, key: str) -> str:
        if not isinstance(given, str) or given not in parameter.choices:
            found = given if isinstance(given, str) else given.text
            raise self._error(
                key,
                f"'{found}' is not accepted; write one of {accepted(parameter.choices)}"
                f"{nearest(found, parameter.choices)}",
            )
        return given

    def _value(self, parameter: Parameter, given: Value | str, key: str) -> Value:
        if not parameter.unit:
            return self._own_value(given, key)
        place = self._place(key)
        value = parse(given, parameter.unit, **place)[0] if isinstance(given, str) else given
        if value.nominal == 0.0 and value.unit == "ohm":
            return Value.exact(WIRE, "ohm", text=value.text)
        what = parameter.meaning.partition(":")[0]
        warning = held(value, parameter.unit, usual=parameter.usual, possible=parameter.possible, what=what, **place)
        if warning and warning not in self.warnings:
            self.warnings.append(warning)
        return value

    def _own_value(self, given: Value | str, key: str) -> Value:
        """Return a value for a parameter of an own netlist, whose unit only its author knows."""
        value = parse_any(given, **self._place(key)) if isinstance(given, str) else given
        if value.unit == "1":
            warning = f"{key}: '{value.text}' has no unit; the netlist gets it as a plain number"
            if warning not in self.warnings:
                self.warnings.append(warning)
        return value

    def _place(self, key: str) -> _Place:
        return {"key": key, "file": self.job.file, "line": nearest_line(self.job.lines_of, key)}

    def _two_readings(self, part: Part, use: PartUse, readings: Mapping[str, str]) -> dict[str, Value]:
        """Derive EMF and impedance from an open and a loaded scope reading: Z = R (open / loaded - 1)."""
        names = {role: readings[role] for role in ("open", "loaded", "load") if role in readings}
        present = {role: name for role, name in names.items() if name in use.values}
        if not present:
            return {}
        absent = sorted(set(names.values()) - set(present.values()))
        key = use.values_key
        if absent:
            raise self._error(
                key, f"two readings at the pin need {accepted(names.values())}; missing: {', '.join(absent)}"
            )
        for role in ("emf", "impedance"):
            if readings[role] in use.values:
                raise self._error(
                    key,
                    f"'{readings[role]}' follows from '{names['open']}' and '{names['loaded']}'; give one or the other",
                )
        volts = part.parameters[readings["emf"]]
        kinds = {
            "open": replace(volts, meaning="scope reading at the pin, nothing connected"),
            "loaded": replace(volts, meaning="scope reading at the pin, loaded"),
            "load": LOAD_RESISTOR,
        }
        read = {role: self._value(kinds[role], use.values[name], f"{key}.{name}") for role, name in names.items()}
        emf, loaded, load = (_with_tolerance(read[role], role) for role in ("open", "loaded", "load"))
        if loaded.nominal <= 0 or emf.nominal < loaded.nominal:
            raise self._error(
                key,
                f"'{names['loaded']}' ({loaded.text}) must be above 0 V and not above '{names['open']}' ({emf.text})",
            )

        def impedance(open_volts: float, loaded_volts: float, ohms: float) -> float:
            return max(ohms * (open_volts / loaded_volts - 1.0), WIRE)

        derived = Value(
            impedance(emf.nominal, loaded.nominal, load.nominal),
            "ohm",
            impedance(emf.low, loaded.high, load.low),
            impedance(emf.high, loaded.low, load.high),
            DERIVED,
            f"from {emf.text} open and {loaded.text} into {load.text}",
        )
        self._heavy(part, readings, load, key)
        presumed = (
            ""
            if read["open"].varies and read["loaded"].varies
            else "; ±3 % was taken where no tolerance was written (common practice, no published source)"
        )
        self.warnings.append(
            f"{key}: source impedance {derived.nominal:.3g} ohm ({derived.low:.3g} to {derived.high:.3g} ohm) derived "
            f"from two scope readings{presumed}"
        )
        found = {readings["emf"]: replace(emf, known=DERIVED), readings["impedance"]: derived}
        return {**found, names["loaded"]: loaded, names["load"]: load}

    def _heavy(self, part: Part, readings: Mapping[str, str], load: Value, key: str) -> None:
        """Warn of a load that a pin of this kind should not have been asked to bear."""
        bears = readings.get(BENCH_LOAD)
        if bears is not None and load.nominal < HEAVY * parse(bears, "ohm")[0].nominal:
            self.warnings.append(
                f"{key}: {load.text} is a heavier load than a '{part.name}' should bear ({bears}): the reading itself "
                "can hurt the pin; do not repeat it"
            )

    def _error(self, key: str, problem: str) -> JobError:
        return JobError(problem, file=self.job.file, key=key, line=nearest_line(self.job.lines_of, key))

    def rail(self) -> Value:
        """Return the supply rail [V]."""
        rail = self.job.supply.get("rail")
        if not isinstance(rail, Value):
            raise self._error(
                "supply.rail", "the rail that feeds the stage must be known; write a voltage such as '5 V'"
            )
        return rail


def _rateable(part: Part) -> tuple[str, ...]:
    """Return the ratings a job may declare of a part: those its components carry without a data sheet behind them."""
    rows = [row for row in part.extra.get("parts", ()) if "model" not in row]
    power = any("power" in row for row in rows)
    volts = power or any("working_voltage" in row for row in rows)
    return tuple(name for name, has in (("power_rating", power), ("voltage_rating", volts)) if has)


def _as_declared(row: Mapping[str, Any], declared: Mapping[str, float], holds: bool) -> Mapping[str, Any]:
    """Return one component's row with the declared ratings; `holds` tells whether the part has capacitors."""
    if "model" in row:
        return row
    key = "working_voltage" if holds else "voltage"
    found = dict(row)
    if "power_rating" in declared and "power" in row:
        found["power"] = declared["power_rating"]
    if "voltage_rating" in declared and (key in row or (not holds and "power" in row)):
        found[key] = declared["voltage_rating"]
    return row if found == row else {**found, "reference": DECLARED_IN_JOB, "known_by": "read"}


def _unknown(parameter: Parameter) -> Value:
    assert parameter.usual is not None
    low, high = parameter.usual.low, parameter.usual.high
    return Value((low + high) / 2, parameter.unit, low, high, UNKNOWN, UNKNOWN_WORD)


def _follows(readings: Mapping[str, str], given: Mapping[str, Value]) -> dict[str, TwoReadings]:
    """Return what follows from two readings: their errors are the readings', so impedance and EMF vary together."""
    if readings.get("loaded") not in given:
        return {}
    return {readings["impedance"]: TwoReadings(readings["emf"], readings["loaded"], readings["load"])}


def _with_tolerance(value: Value, role: str) -> Value:
    if value.varies or role == "load":
        return value
    half = READING_TOLERANCE * abs(value.nominal)
    return replace(value, low=value.nominal - half, high=value.nominal + half)


def exact(fitted: Fitted) -> Fitted:
    """Return the part with every value that cannot vary from sample to sample (a line's length) at its high end."""
    exact = {
        name: replace(value, nominal=value.high, low=value.high)
        for name, value in fitted.values.items()
        if value.varies and name in fitted.part.parameters and fitted.part.parameters[name].fixed
    }
    return replace(fitted, values={**fitted.values, **exact}) if exact else fitted


def standard_of(job: Job, line: Line, library: Library) -> Standard:
    """Return the standard a line is held to, the user's own first."""
    known = standard_names(library.own_standards)
    if line.standard not in known:
        key = f"line[{line.table}].standard"
        raise JobError(
            f"no standard '{line.standard}'; accepted: {accepted(known)}{nearest(line.standard, known)}",
            file=job.file,
            key=key,
            line=job.lines_of.get(key),
        )
    return at_rate(load_standard(line.standard, library.own_standards), job.picture)


OTHER_RATE = 0.07
"""Line rates that differ by more than this share are not one to a display (common practice, no published source)."""


def at_rate(standard: Standard, picture: Mapping[str, Any]) -> Standard:
    """Return a standard for the picture the unit makes: its own field rate, and line rate where it counts lines.

    What is not declared stays as the standard has it: the slowest field its sets take, which tilts most. Where a
    standard's inputs take any line rate, a captured line is held to the one declared. At another line rate than the
    standard's the display has to say that it takes it.
    """
    rate, lines = picture.get("field_rate"), picture.get("lines_per_field")
    if not isinstance(rate, Value):
        return standard
    declared = replace(standard, field_rate=rate.nominal, field_rate_declared=True)
    if not isinstance(lines, Value):
        return declared
    line_rate = rate.nominal * lines.nominal
    limits = _moved(standard.limits, 1.0 / line_rate) if standard.any_rate else standard.limits
    timing = replace(standard.timing, line_period=1.0 / line_rate)
    other = abs(line_rate / standard.line_rate - 1.0) > OTHER_RATE
    shared = standard.shared_rate or other
    return replace(declared, line_rate=line_rate, timing=timing, limits=limits, shared_rate=shared)


def _moved(limits: Mapping[str, Limit], period: float) -> Mapping[str, Limit]:
    """Return limits with that of the line period about another one [s], as wide as it was."""
    name = "timing.line_period"
    one = limits.get(name)
    if one is None or one.nominal is None:
        return limits
    low, high = (None if end is None else end / one.nominal * period for end in (one.low, one.high))
    words = (
        f"The line rate declared in the job, {1e-3 / period:.5g} kHz. In its place the standard has: {one.reference}"
    )
    return {**limits, name: replace(one, nominal=period, low=low, high=high, reference=words)}


def states_of(job: Job, fitter: Fitter, line: Line, standard: Standard) -> tuple[str, ...]:
    """Return the signal states a line's source gives for its standard."""
    source = fitter.part(line.source)
    mapping = source.states.get(standard.signal)
    if mapping is None or "blank" not in mapping:
        key = f"line[{line.table}].source"
        raise JobError(
            f"source '{source.name}' has no {standard.signal} signal, which '{standard.name}' needs; it gives: "
            f"{accepted(source.states) or 'none'}",
            file=job.file,
            key=key,
            line=job.lines_of.get(key),
        )
    return tuple(mapping)
