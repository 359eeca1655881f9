"""HUM01: hum that leakage current leaves across a bond.

Hazard
    Leakage of the Y capacitors flows between unit and display through whatever joins their 0 V. Its voltage stands in
    series with the signal: bars that roll through the picture, a buzz in the sound.
What is read
    Mains, Y capacitances and their coupling, whether the display is earthed, and each declared bond; the current is
    simulated with the plugs turned the worst way. Without a bond it returns through the signal loop of 150 ohm.
Limit and source
    None was found: the figure is shown as a fraction of 0.7 V and decides nothing. Half of a voltage in the loop
    reaches a 75-ohm input; peak to peak is 2.83 times root mean square.
Not covered
    Earth loops (both ends earthed), harmonics of a rectifier, hum from magnetic fields.
What to do at the bench
    Bond the two 0 V before the signal is joined; look for the bond with the highest reading first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import log10, sqrt
from typing import Any

from guardcheck.leakage import halves, known
from guardcheck.metrology import low_ohms
from guardcheck.model import NOT_APPLICABLE, SIGNAL, Ask, Case, Fact, Facts, Finding, Quantity, Rule, Value
from guardcheck.units import format_si
from guardcheck.verdict.outcome import finding

QUANTITY = "bond.hum"
RULE = Rule(code="HUM01", title="Hum across a bond", klass=SIGNAL, quantities=(QUANTITY,))

FULL_SIGNAL = 0.7
"""Peak-to-peak picture signal [V] the hum is compared with."""
SIGNAL_LOOP = 150.0
"""Resistance [ohm] the current meets when there is no bond: 75 ohm at either end."""
TIED, AFLOAT = 0.1, 1e9
"""Resistance [ohm] of the display's own tie to earth in the probe circuit, earthed and not."""
_PHASE = {"opposite": 180.0, "different": 120.0}


def asks(facts: Facts) -> tuple[Ask, ...]:
    """Return the simulations wanted: the leakage current of unit and display through each bond."""
    mains, frequency = known(facts.supply, "mains"), known(facts.supply, "mains_frequency")
    unit, display = known(facts.supply, "y_capacitance"), known(facts.display, "y_capacitance")
    earthed = facts.display.get("earthed") is True
    if mains is None or frequency is None or unit is None or (display is None and not earthed):
        return ()
    live, neutral = halves(facts.supply, unit.value)
    farads = 0.0 if display is None else display.value
    phase = _PHASE.get(str(facts.supply.get("phases")), 0.0)
    far_live, far_neutral = halves(facts.display, farads)
    if phase == 0.0:  # on one phase the worst plug is the one turned the other way
        far_live, far_neutral = far_neutral, far_live
    found = []
    for where, fact in facts.table("bond"):
        ohms = _path(fact)
        if ohms is not None:
            values = {
                "mains": mains.value,
                "phase": phase,
                "y_live": live,
                "y_neutral": neutral,
                "display_live": far_live,
                "display_neutral": far_neutral,
                "bond": max(ohms, 1e-3),
                "earth": TIED if earthed else AFLOAT,
            }
            found.append(Ask(f"HUM01/{where}", "bond-hum", values, "i(vsense)", frequency.value))
    return tuple(found)


def _path(fact: Fact) -> float | None:
    """Return the resistance the leakage current meets [ohm]: the bond, or the signal loop when there is none."""
    reading = fact.entries.get("reading")
    if fact.entries.get("state") == "not fitted":
        return SIGNAL_LOOP
    if not isinstance(reading, Mapping):
        return None
    if reading.get("value") == "over range":
        return SIGNAL_LOOP
    read = low_ohms(reading)
    return None if read is None else max(read.value, 0.0)


def judge(facts: Facts) -> tuple[Finding, ...]:
    """Show the hum across every declared bond; there is no limit, so it decides nothing."""
    return tuple(_hum(facts, where, fact) for where, fact in facts.table("bond"))


def _hum(facts: Facts, where: str, fact: Fact) -> Finding:
    amps, ohms = facts.answers.get(f"HUM01/{where}"), _path(fact)
    if amps is None or ohms is None:
        why = "Not simulated: mains, frequency, both Y capacitances and a reading of the bond are needed for its hum."
        return replace(finding(RULE.code, Quantity(QUANTITY, "", None, None, where=where), None, needed=False), why=why)
    volts = amps * ohms
    peaks = volts * 2.0 * sqrt(2.0)
    share = peaks / 2.0 / FULL_SIGNAL
    level = f" ({20.0 * log10(share):.0f} dB)" if share > 0 else ""
    path = "the bond" if ohms != SIGNAL_LOOP else "the signal loop, since there is no bond,"
    why = (
        f"{format_si(amps, 'A')} of leakage through {path} makes {format_si(volts, 'V')} rms, {format_si(peaks, 'V')} "
        f"peak to peak; half of it reaches a 75-ohm input: {100.0 * share:.2g} % of 0.7 V{level}. No limit applies."
    )
    return replace(finding(RULE.code, Quantity(QUANTITY, "", None, volts, where=where), None, needed=False), why=why)


def _case(reading: Mapping[str, Any], answer: float | None) -> Facts:
    entries = {"from": "board shield", "to": "connector shell", "purpose": "shield", "reading": reading}
    chassis = {"y_capacitance": Value.exact(4.7e-9, "F"), "y_coupling": "single"}
    mains = {"mains": Value.exact(230.0, "V"), "mains_frequency": Value.exact(50.0, "Hz")}
    return Facts(
        declared=(Fact("bond", 0, "shield", entries),),
        supply={**chassis, **mains},
        display=chassis,
        answers={"HUM01/shield": answer},
    )


CASES = (
    Case(
        "50 mohm and 170 uA",
        _case({"value": Value.exact(0.05, "ohm"), "method": "four-wire"}, 169.8e-6),
        NOT_APPLICABLE,
    ),
    Case("no bond: the signal loop carries it", _case({"value": "over range"}, 169.8e-6), NOT_APPLICABLE),
    Case("no simulator", _case({"value": Value.exact(0.05, "ohm")}, None), NOT_APPLICABLE),
)
