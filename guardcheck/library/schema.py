"""What may stand in a part's metadata: keys by kind, ratings and their units. A new kind of metadata starts here."""

from __future__ import annotations

from collections.abc import Mapping

COMMON_KEYS = ("title", "purpose", "reference", "known_by", "formerly", "ports", "parameters", "part", "check", "real")
KIND_KEYS: Mapping[str, tuple[str, ...]] = {
    "source": ("states", "two_readings", "colour", "exposed", "pin", "feed", "ladder", "identified"),
    "stage": ("exposed", "signals"),
    "guard": ("exposed",),
    "cable": ("line",),
    "display": ("remedy", "sync_window"),
    "event": (
        "said",
        "unit",
        "mated",
        "mating",
        "severities",
        "stop",
        "step",
        "lasting",
        "charged",
        "claimed",
        "rated",
        "role",
        "use",
        "condition",
    ),
}
OWN_KEYS = ("title", "purpose", "reference", "known_by", "parameters", "states", "two_readings")
DEVICE_KEYS = ("title", "purpose", "reference", "known_by", "ports", "valid", "ratings", "check")
PARAMETER_KEYS = (
    "unit",
    "nominal",
    "same_as",
    "usual",
    "possible",
    "meaning",
    "choices",
    "word",
    "fixed",
    "moves",
)
MOVES = ("resistor", "capacitor")
"""What a parameter is that a search for values may move: a resistor or a coupling capacitor that is fitted anew."""
SIGNALS = ("picture", "sync", "control")
"""Kinds of signal a stage may be made for: a search fits it to no other."""
STATE_NAMES = ("white", "black", "blank", "sync")
READING_ROLES = ("open", "loaded", "load", "emf", "impedance")
BENCH_LOAD = "bench_load"
"""The heaviest load a technician is asked to hang on a source's pin: 75 ohm suits an analogue output, never logic."""

RATINGS: Mapping[str, str] = {
    "power": "W",
    "forward_current": "A",
    "repetitive_current": "A",
    "reverse_voltage": "V",
    "working_voltage": "V",
    "surge_1us": "A",
    "surge_8us": "A",
    "surge_1ms": "A",
    "surge_10_1000us": "A",
    "surge_10ms": "A",
    "surge_1s": "A",
    "esd_contact": "V",
    "collector_current": "A",
    "collector_voltage": "V",
}
"""Ratings a part or a device is judged by, with their units; `surge_8us` is the 8/20 us pulse."""
PRINTED: Mapping[str, str] = {"leakage": "A", "leakage_voltage": "V", "capacitance": "F"}
"""What a device's data sheet prints of it besides: facts for whoever chooses it and for its checks, nothing is held
against them."""

VALID: Mapping[str, str] = {"forward_current": "A", "reverse_current": "A", "collector_current": "A"}
"""Up to where a device model rests on data-sheet points."""

PIN_RATINGS: Mapping[str, str] = {
    "over_voltage": "V",
    "under_voltage": "V",
    "pin_voltage": "V",
    "clamp_current": "A",
    "output_current": "A",
    "latch_up": "A",
    "hbm": "V",
    "cdm": "V",
    "short_circuit": "A",
}
"""Ratings of a chip's pin, spelled as in a job file: how far above the rail and below 0 V, the highest voltage against
0 V whatever the rail does, the current its diodes may carry, what it may deliver itself, the latch-up test, and the ESD
classes."""

READ_UNITS: Mapping[str, str] = {"v": "V", "i": "A", "z": "ohm", "gain": "1"}
"""What a check may read, with its unit."""
